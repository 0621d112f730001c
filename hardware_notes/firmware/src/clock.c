#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

void clock_begin(void)
{
    TCCR1A = 0;
    TCCR1B = 1 << CS10; /* one tick a cycle, all 16 bits */
    TIMSK1 = 1 << TOIE1;
}

/* An overflow that waits for its interrupt came before the reading if that is small. */
static inline uint8_t uncounted(uint16_t low, uint8_t flags)
{
    return (flags & (1 << TOV1)) && low < 0x8000;
}

struct tick clock_now(void)
{
    struct tick now;
    uint8_t flags;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        now.low = TCNT1;
        now.wraps = clock_wraps;
        flags = TIFR1;
    }
    now.wraps += uncounted(now.low, flags);
    return now;
}

uint32_t clock_ticks(struct reading reading)
{
    uint16_t wraps = reading.wraps + uncounted(reading.low, reading.flags);
    return (uint32_t)wraps << 16 | reading.low;
}

uint32_t clock_short(void)
{
    struct reading reading;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        reading = clock_read();
    }
    return clock_ticks(reading);
}

struct tick clock_after(struct tick start, uint32_t ticks)
{
    uint32_t low = (uint32_t)start.low + (uint16_t)ticks;
    start.low = (uint16_t)low;
    start.wraps += (ticks >> 16) + (low >> 16);
    return start;
}

uint32_t clock_low32(struct tick tick)
{
    return (uint32_t)(uint16_t)tick.wraps << 16 | tick.low;
}

struct tick clock_near(uint32_t low)
{
    struct tick now = clock_now();
    int32_t ahead = (int32_t)(low - clock_low32(now));
    if (ahead >= 0)
        return clock_after(now, (uint32_t)ahead);
    /* Adding 2^32 - n and taking the carry back is going n back. */
    now = clock_after(now, (uint32_t)ahead);
    now.wraps -= 0x10000UL;
    return now;
}

uint32_t clock_of_record(const volatile uint8_t *record)
{
    uint32_t low24 = record[0] | (uint16_t)record[1] << 8 | (uint32_t)record[2] << 16;
    uint32_t now = clock_short();
    return now - ((now - low24) & 0xFFFFFFUL);
}

/* Time since reset in ticks of 62.5 ns: timer 1 and a count of its overflows. */
#ifndef CLOCK_H
#define CLOCK_H

#include <avr/io.h>
#include <stdint.h>

#include "rings.h"

#define TICKS_PER_MS 16000UL
#define TICKS_PER_SECOND 16000000UL

/* 48 bits, in the order of the line. */
struct tick {
    uint16_t low;
    uint32_t wraps;
};

void clock_begin(void);

struct tick clock_now(void);

/* The low 32 bits, enough for spans up to 268 s. */
uint32_t clock_short(void);

/* The same in two parts, for those who read something else at the same instant: the first takes
 * 14 cycles and is called with interrupts off, the second makes ticks of it afterwards. */
struct reading {
    uint16_t low, wraps;
    uint8_t flags;
};

static inline __attribute__((always_inline)) struct reading clock_read(void)
{
    return (struct reading){TCNT1, (uint16_t)clock_wraps, TIFR1};
}

uint32_t clock_ticks(struct reading reading);

uint32_t clock_low32(struct tick tick);

/* The tick with these low 32 bits that lies within 134 s of now. */
struct tick clock_near(uint32_t low);

struct tick clock_after(struct tick start, uint32_t ticks);

/* Low 32 bits of a record of an interrupt that is less than 1 s old. */
uint32_t clock_of_record(const volatile uint8_t *record);

#endif

#include "converter.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "pins.h"
#include "rings.h"

/* 962 conversions: between bursts lie whole ones, so that times count on through them. */
#define BURST_TICKS 400192UL

/* A start is prepared so many ticks before it, and its interrupt comes so many before it. */
#define PREPARE_TICKS 60000UL
#define TOO_LATE_TICKS 2000UL
#define LEAD_TICKS 400
#define LEAST_LEAD 60

static const struct way ways[MODES] = {
    [BURST10] = {32, 5, 1, true},
    [STREAM10] = {64, 6, 1, false},
    [STREAM8] = {16, 4, 0, false},
    [CHECK10] = {32, 5, 1, true},
};

/* Inputs by the protocol's numbers of channels, and the channels of check10 in turn */
static const uint8_t inputs[] = {PILOT_INPUT, GROUND_INPUT, INTERNAL_REFERENCE_INPUT,
                                 HALF_REFERENCE_INPUT, RAMP_INPUT};
static const uint8_t check_turns[] = {1, 2, 3, 4, 4};
#define RAMP_CHANNEL 4
#define FALLING_TURN 4

struct way converter_way;

static enum converter_state state;
static bool checks;  /* check10 */
static uint8_t turn; /* of its channels */
static struct tick start;

/* For the interrupt that starts it, and what that says */
static volatile uint16_t begin_low;
static volatile uint8_t begin_control;
static volatile bool begun, missed;

/* Writes ADCSRA so that the converter starts exactly at begin_low. What is left to wait is known
 * when the interrupt runs; the loop takes three ticks a turn and the rest is made up after it. */
ISR(TIMER1_COMPB_vect)
{
    TIMSK1 &= ~(1 << OCIE1B);
    uint16_t left = begin_low - TCNT1;
    if (left < LEAST_LEAD || left > LEAD_TICKS) {
        missed = true;
        return;
    }
    while (left > 200)
        left = begin_low - TCNT1;
    uint8_t wait;
    __asm__ volatile("lds %[wait], %[tcnt]\n\t"
                     "neg %[wait]\n\t"
                     "add %[wait], %[low]\n\t"
                     "subi %[wait], 10\n\t" /* from the reading to the write, with nothing left over */
                     "1: subi %[wait], 3\n\t"
                     "brcc 1b\n\t"
                     "cpi %[wait], 254\n\t" /* 253, 254, 255: 0, 1, 2 ticks left over */
                     "brlo 2f\n\t"
                     "breq 2f\n\t"
                     "nop\n\t"
                     "nop\n\t"
                     "2: sts %[adcsra], %[control]\n\t"
                     : [wait] "=&d"(wait)
                     : [tcnt] "n"(_SFR_MEM_ADDR(TCNT1L)), [low] "r"((uint8_t)begin_low),
                       [adcsra] "n"(_SFR_MEM_ADDR(ADCSRA)), [control] "r"(begin_control));
    begun = true;
}

void converter_begin(void)
{
    DIDR0 = 0x0F; /* analog pins */
    DDRB |= 1 << RAMP_BIT;
}

static void plan(struct tick when)
{
    start = when;
    state = CONVERTER_PLANNED;
}

void converter_use(enum mode mode)
{
    converter_way = ways[mode];
    checks = mode == CHECK10;
    turn = 0;
    plan(clock_after(clock_now(), TICKS_PER_MS));
}

void converter_again(void)
{
    turn = turn + 1 < (uint8_t)sizeof check_turns ? turn + 1 : 0;
    plan(clock_after(start, BURST_TICKS));
}

uint8_t converter_channel(void)
{
    return checks ? check_turns[turn] : 0;
}

struct tick converter_start(void)
{
    return start;
}

static void prepare(void)
{
    int32_t left = (int32_t)(clock_low32(start) - clock_short());
    if (left < (int32_t)TOO_LATE_TICKS) {
        /* The line was held up; the bursts stay on their grid. */
        plan(clock_after(start, BURST_TICKS));
        return;
    }
    if (left > (int32_t)PREPARE_TICKS)
        return;
    ADCSRA = 0;
    ADCSRB = 0;
    ADMUX = inputs[converter_channel()] | (converter_way.wide ? 0 : 1 << ADLAR); /* AREF */
    if (converter_way.wide)
        GPIOR0 |= 1 << SAMPLES_WIDE;
    else
        GPIOR0 &= ~(1 << SAMPLES_WIDE);
    /* An odd place would let a sample of two bytes reach over the end of the ring. */
    sample_head = 0;
    begun = missed = false;
    begin_low = start.low;
    begin_control = (1 << ADEN) | (1 << ADSC) | (1 << ADATE) | (1 << ADIF) | (1 << ADIE) |
                    converter_way.prescaler;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        OCR1B = start.low - LEAD_TICKS;
        TIFR1 = 1 << OCF1B;
        TIMSK1 |= 1 << OCIE1B;
    }
    state = CONVERTER_PREPARED;
}

static void drive_ramp(void)
{
    if (converter_channel() == RAMP_CHANNEL && turn != FALLING_TURN)
        PORTB |= 1 << RAMP_BIT;
    else
        PORTB &= ~(1 << RAMP_BIT);
}

bool converter_poll(void)
{
    if (state == CONVERTER_PLANNED)
        prepare();
    else if (state == CONVERTER_PREPARED && missed)
        plan(clock_after(start, BURST_TICKS));
    else if (state == CONVERTER_PREPARED && begun) {
        state = CONVERTER_RUNS;
        drive_ramp();
        return true;
    }
    return false;
}

void converter_stop(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        ADCSRA = 0;
        TIMSK1 &= ~(1 << OCIE1B);
    }
    state = CONVERTER_RESTS;
}

void converter_rest(void)
{
    converter_stop();
    PORTB &= ~(1 << RAMP_BIT);
}

enum converter_state converter_state(void)
{
    return state;
}

bool converter_is_free(void)
{
    if (state == CONVERTER_RESTS)
        return true;
    int32_t left = (int32_t)(clock_low32(start) - clock_short());
    return state == CONVERTER_PLANNED && left > (int32_t)(PREPARE_TICKS + 10000);
}

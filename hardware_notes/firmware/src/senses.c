#include "senses.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "clock.h"
#include "identity.h"
#include "messages.h"
#include "pins.h"
#include "rings.h"
#include "rules.h"

/* A sense is blind around a zero crossing for 0.8 ms at most; interrupts are late by up to 20 us. */
#define LATE_TICKS 320UL
#define DOUBT_TICKS (12800UL + LATE_TICKS)
#define OFF_AFTER_TICKS (3 * TICKS_PER_MS)
/* Conduction shorter than this, alone, is a disturbance and no mains. */
#define CONFIRM_TICKS (TICKS_PER_MS / 2)
/* The interlock opens at once and closes when its contact has stopped bouncing. */
#define CLOSED_AFTER_TICKS (10 * TICKS_PER_MS)

#define PHASES 3
#define WATCHED (MAINS_MASK | (1 << INTERLOCK_BIT))

static struct phase {
    bool conducts;  /* now */
    bool candidate; /* conduction was seen lately, not yet enough to call it mains */
    bool on;
    uint32_t first; /* first conduction since off */
    uint32_t since; /* when this conduction began */
    uint32_t last;  /* when the last conduction ended */
} phases[PHASES];

static bool contact_closed; /* as the pin is */
static bool closed;         /* as it is reported */
static uint32_t contact_tick;

static void let_in(void)
{
    PCIFR = 1 << PCIF2;
    PCICR = 1 << PCIE2;
}

void senses_begin(void)
{
    DDRD &= ~WATCHED;
    PORTD |= WATCHED; /* pull-ups */
    pin_head = pin_tail = PIN_RING_FIRST;
    PCMSK2 = WATCHED;
    for (volatile uint8_t wait = 0; wait < 50; wait++)
        ; /* the pull-ups need a few microseconds */
    contact_closed = closed = !(PIND & (1 << INTERLOCK_BIT));
    PCICR = 0; /* the first poll looks at the pins and lets changes in */
}

bool senses_interlock_closed(void)
{
    return closed;
}

uint8_t senses_mains(void)
{
    uint8_t seen = 0;
    for (uint8_t i = 0; i < PHASES; i++)
        if (phases[i].on)
            seen |= 1 << i;
    return seen;
}

static void watch_interlock(bool now_closed, uint32_t tick)
{
    if (now_closed == contact_closed)
        return;
    contact_closed = now_closed;
    contact_tick = tick;
    if (!now_closed && closed) {
        closed = false;
        message_event(clock_near(tick), INTERLOCK, 0, 0);
        rules_interlock_opened();
    }
}

static void watch_phase(struct phase *phase, bool conducts, uint32_t tick)
{
    if (conducts == phase->conducts)
        return;
    phase->conducts = conducts;
    if (!conducts) {
        phase->last = tick;
        return;
    }
    phase->since = tick;
    if (!phase->on && !phase->candidate) {
        phase->candidate = true;
        phase->first = tick;
    }
}

static void watch(uint8_t port, uint32_t tick)
{
    watch_interlock(!(port & (1 << INTERLOCK_BIT)), tick);
    for (uint8_t i = 0; i < identity.phases; i++)
        watch_phase(&phases[i], !(port & (1 << (MAINS_SHIFT + i))), tick);
}

static void judge_phase(uint8_t number, uint32_t now)
{
    struct phase *phase = &phases[number];
    if (phase->candidate && phase->conducts && now - phase->since >= CONFIRM_TICKS) {
        phase->candidate = false;
        phase->on = true;
        message_event(clock_near(phase->first), MAINS_ON, number + 1, DOUBT_TICKS);
    }
    if (phase->conducts || now - phase->last < OFF_AFTER_TICKS)
        return;
    phase->candidate = false;
    if (phase->on) {
        phase->on = false;
        message_event(clock_near(phase->last - LATE_TICKS), MAINS_OFF, number + 1, DOUBT_TICKS);
    }
}

/* Changes came faster than they can be taken: for a while the pins are only looked at, so that the
 * interrupt takes little time from the others. */
static void look_without_interrupt(void)
{
    static bool shut;
    static uint32_t shut_tick;
    uint32_t now = clock_short();
    if (!shut) {
        shut = true;
        shut_tick = now;
    } else if (now - shut_tick >= TICKS_PER_MS) {
        shut = false;
        let_in();
    }
    watch(PIND, clock_short());
}

void senses_poll(void)
{
    while (pin_tail != pin_head) {
        const volatile uint8_t *record = pin_ring + (pin_tail - PIN_RING_FIRST);
        watch(record[3], clock_of_record(record));
        pin_tail = pin_tail + RECORD == PIN_RING_END ? PIN_RING_FIRST : pin_tail + RECORD;
    }
    if (!PCICR)
        look_without_interrupt();
    uint32_t now = clock_short();
    for (uint8_t i = 0; i < identity.phases; i++)
        judge_phase(i, now);
    if (contact_closed && !closed && now - contact_tick >= CLOSED_AFTER_TICKS) {
        closed = true;
        message_event(clock_near(contact_tick), INTERLOCK, 1, 0);
    }
}

#include "edges.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <util/atomic.h>

#include "clock.h"
#include "frame.h"
#include "line.h"
#include "pins.h"
#include "protocol.h"
#include "rings.h"
#include "sampler.h"

#define REACH 0xFFFFUL /* ticks that an offset can tell */
#define HEAD_BYTES 8   /* of the payload, before the offsets */
#define RECORDS 64
#define BLOCK_ROOM (HEAD_BYTES + FRAME_EXTRA + 2 * RECORDS)
/* With so many waiting a block is sent before its time is up. */
#define MANY 40

static bool wanted; /* a host has said hello */
static uint16_t number; /* of the next edge, modulo 2^16 */
static uint16_t not_sent;

void edges_begin(void)
{
    DDRB &= ~(1 << COMPARATOR_BIT);
    /* The limiter is in force until the first poll, which looks where the comparator stands. */
    TIMSK1 &= ~(1 << ICIE1);
    __asm__ volatile("ldi r30, %0\n\tmov r7, r30" ::"M"(1 << ICES1) : "r30"); /* interrupts.S */
}

void edges_restart(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        edge_tail = edge_head;
        edges_dropped = 0;
    }
    wanted = true;
    number = 0;
    not_sent = 0;
}

uint16_t edges_not_sent(void)
{
    return not_sent;
}

static void count_not_sent(uint8_t dropped)
{
    number += dropped;
    not_sent = not_sent + dropped < not_sent ? 0xFFFF : not_sent + dropped;
}

/* Lets edges in again after there were too many. How many went by meanwhile nobody knows: an odd
 * number if the comparator stands on the other side, and two if it is back after it moved. */
static void let_in(void)
{
    ATOMIC_BLOCK(ATOMIC_FORCEON)
    {
        if (!(TIMSK1 & (1 << ICIE1)) && edge_budget) {
            bool high = PINB & (1 << COMPARATOR_BIT);
            bool rise_awaited = TCCR1B & (1 << ICES1);
            if (rise_awaited == high)
                edges_dropped += 1;
            else if (TIFR1 & (1 << ICF1))
                edges_dropped += 2;
            if (edges_dropped > MOST_DROPPED)
                edges_dropped -= 2;
            TCCR1B = (1 << CS10) | (high ? 0 : 1 << ICES1);
            TIFR1 = 1 << ICF1;
            TIMSK1 |= 1 << ICIE1;
        }
    }
}

static const volatile uint8_t *record_at(uint8_t place)
{
    return edge_ring + place;
}

static void put_u16(uint16_t value)
{
    frame_put((uint8_t)value);
    frame_put((uint8_t)(value >> 8));
}

/* The records from the first on that fit one block. */
static void send_block(uint32_t first, uint8_t waiting)
{
    uint8_t place = edge_tail;
    bool rises = record_at(place)[3] & 1;
    struct tick tick = clock_near(first);
    count_not_sent(record_at(place)[3] >> 1);
    frame_begin(EDGES);
    frame_put_bytes(&tick, sizeof tick);
    put_u16((number & 0x7FFF) | (uint16_t)rises << 15);
    do {
        const volatile uint8_t *record = record_at(place);
        uint32_t offset = clock_of_record(record) - first;
        bool next_rises = record[3] & 1;
        if (offset > REACH || next_rises != rises || (place != edge_tail && record[3] >> 1))
            break;
        put_u16((uint16_t)offset);
        number++;
        rises = !rises;
        place += RECORD;
    } while (--waiting);
    edge_tail = place;
    frame_end();
}

/* Whether the first block is complete: nothing more can fall into it, or too much waits. */
static bool is_complete(uint32_t first, uint8_t waiting)
{
    return waiting >= MANY || clock_short() - first > REACH;
}

void edges_poll(void)
{
    let_in();
    if (!wanted || sampler_block_is_open() || sampler_is_behind())
        return;
    /* Two between two blocks of samples are enough for 1 kHz in every mode. */
    for (uint8_t blocks = 0; blocks < 2; blocks++) {
        uint8_t waiting = (uint8_t)(edge_head - edge_tail) / RECORD;
        if (!waiting)
            return;
        uint32_t first = clock_of_record(record_at(edge_tail));
        if (!is_complete(first, waiting) || line_room() < BLOCK_ROOM)
            return;
        send_block(first, waiting);
    }
}

#include "sampler.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "clock.h"
#include "converter.h"
#include "frame.h"
#include "line.h"
#include "rings.h"

#define BURST 500
#define BLOCK_BYTES 224
#define BLOCK_ROOM (6 + 4 + 2 + 1 + BLOCK_BYTES + FRAME_EXTRA)
#define CHUNK_BYTES 48
/* The ring has 256 bytes; a chunk is read while more come. */
#define MOST_WAITING 232
#define BEHIND_BYTES 128

static enum mode mode;
static uint16_t interval;

static uint8_t tail;        /* next byte of the ring to send */
static uint8_t counted;     /* the ring's head when conversions were counted last */
static uint16_t waiting;    /* samples from tail on that are known to follow one another */
static uint32_t due;        /* tick at which the next conversion not counted yet is complete */
static uint16_t burst_left; /* samples of this burst still to count */

static struct tick block_tick; /* of the sample at tail */
static uint32_t block_index;
static bool block_open;
static uint8_t block_left, block_taken;

static uint16_t lost, not_sent;

static void add(uint16_t *count, uint32_t more)
{
    *count = more > (uint16_t)(0xFFFF - *count) ? 0xFFFF : *count + (uint16_t)more;
}

/* Counting ------------------------------------------------------------------------------------ */

static void start_counting(void)
{
    struct tick start = converter_start();
    tail = counted = 0;
    waiting = 0;
    burst_left = BURST;
    due = clock_low32(start) + (uint16_t)(FIRST_COMPLETE * converter_way.divisor);
    block_tick = clock_after(start, (uint16_t)(FIRST_SAMPLE * converter_way.divisor));
}

/* Samples that cannot be sent keep their numbers and their time. */
static void skip(uint32_t samples)
{
    sampler_close_block();
    block_index += samples;
    block_tick = clock_after(block_tick, samples * interval);
}

/* What waits and the `fresh` ones after it are given up, and `gone` conversions never arrived. */
static void give_up(uint8_t fresh, uint32_t gone)
{
    add(&not_sent, waiting + fresh);
    add(&lost, gone);
    skip(waiting + fresh + gone);
    waiting = 0;
    tail = counted;
    due += gone * interval;
}

/* How many conversions are new, and by how many the timer is ahead of them. A conversion that is
 * due just now is waited for: up to a converter clock passes between the write that starts the
 * converter and its first clock, and as much again is allowed for. */
static uint8_t look(uint32_t *gone)
{
    int16_t unsure = 2 * converter_way.divisor + 16;
    uint8_t head, fresh;
    int32_t late;
    do {
        uint8_t control;
        struct reading now;
        ATOMIC_BLOCK(ATOMIC_FORCEON)
        {
            control = ADCSRA;
            head = sample_head;
            now = clock_read();
        }
        bool pending = control & (1 << ADIF);
        fresh = (uint8_t)(head - counted) >> converter_way.wide;
        late = (int32_t)(clock_ticks(now) - due - (uint32_t)(fresh + pending) * interval);
    } while (late >= -16 && late < unsure);
    counted = head;
    due += (uint32_t)fresh * interval;
    *gone = late < 0 ? 0 : 1 + (uint32_t)(late - unsure) / interval;
    return fresh;
}

static void count(void)
{
    uint32_t gone;
    uint8_t fresh = look(&gone);
    if (converter_way.bursts) {
        if (fresh + gone >= burst_left) {
            converter_stop();
            fresh = fresh < burst_left ? fresh : burst_left;
            gone = gone < burst_left - fresh ? gone : burst_left - fresh;
        }
        burst_left -= fresh + gone;
    }
    if (gone || (waiting + fresh) << converter_way.wide > MOST_WAITING)
        give_up(fresh, gone);
    else
        waiting += fresh;
}

/* Blocks -------------------------------------------------------------------------------------- */

static void open_block(void)
{
    struct __attribute__((packed)) {
        struct tick tick;
        uint32_t index;
        uint16_t interval;
        uint8_t form;
    } head = {
        .tick = block_tick,
        .index = block_index,
        .interval = interval,
        .form = (converter_way.wide ? 10 : 8) | converter_channel() << 4,
    };
    frame_begin(SAMPLES);
    frame_put_bytes(&head, sizeof head);
    block_open = true;
    block_left = BLOCK_BYTES >> converter_way.wide;
    block_taken = 0;
}

void sampler_close_block(void)
{
    if (!block_open)
        return;
    block_open = false;
    frame_end();
    block_index += block_taken;
    block_tick = clock_after(block_tick, (uint32_t)block_taken * interval);
}

static void fill_block(void)
{
    if (!block_open) {
        if (line_room() < BLOCK_ROOM)
            return;
        open_block();
    }
    uint8_t samples = CHUNK_BYTES >> converter_way.wide;
    if (samples > waiting)
        samples = waiting;
    if (samples > block_left)
        samples = block_left;
    frame_put_samples(tail, samples << converter_way.wide);
    tail += samples << converter_way.wide;
    waiting -= samples;
    block_left -= samples;
    block_taken += samples;
    if (block_left == 0 || (waiting == 0 && converter_state() == CONVERTER_RESTS))
        sampler_close_block();
}

/* ---------------------------------------------------------------------------------------------- */

void sampler_restart(void)
{
    converter_rest();
    mode = MODE_OFF;
    waiting = 0;
    block_open = false; /* its frame is given up with the running sequence */
    block_index = 0;
    lost = not_sent = 0;
}

void sampler_set_mode(enum mode wanted)
{
    if (wanted == mode)
        return;
    if (converter_state() == CONVERTER_RUNS)
        count();
    converter_rest();
    /* What the old mode left is sent: at most 240 bytes, a few milliseconds. */
    while (waiting)
        fill_block();
    sampler_close_block();
    mode = wanted;
    if (mode == MODE_OFF)
        return;
    converter_use(mode);
    interval = CONVERSION * converter_way.divisor;
}

enum mode sampler_mode(void)
{
    return mode;
}

void sampler_poll(void)
{
    if (mode == MODE_OFF)
        return;
    if (converter_state() == CONVERTER_RUNS)
        count();
    else if (converter_poll())
        start_counting();
    if (waiting) {
        fill_block();
    } else if (converter_state() == CONVERTER_RESTS) {
        sampler_close_block(); /* a burst has ended */
        converter_again();
    }
}

bool sampler_block_is_open(void)
{
    return block_open;
}

bool sampler_is_behind(void)
{
    return waiting << converter_way.wide > BEHIND_BYTES;
}

uint16_t sampler_lost(void)
{
    return lost;
}

uint16_t sampler_not_sent(void)
{
    return not_sent;
}

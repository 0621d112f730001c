// The pilot over time: the generator's edges, the contact and the front end between them, and the
// comparator that the board's capture pin hangs on. Times are true seconds.
#ifndef PILOT_H
#define PILOT_H

#include <stdbool.h>
#include <stdint.h>

#include "circuit.h"
#include "dice.h"
#include "traits.h"

// What was really there, for tests of what was measured. Widths and periods at the contact, not
// behind the front end.
struct truth {
    uint64_t periods;
    double period_sum_s;
    uint64_t widths;
    double zero_width_sum_s, zero_width_squares;
    uint64_t mid_widths;
    double mid_width_sum_s;
};

enum generator { GENERATOR_OFF, GENERATOR_HIGH, GENERATOR_PULSING, GENERATOR_APPLIED };

enum { SHAPES = 6 };

struct pilot {
    const struct traits *traits;
    struct dice *dice;
    struct circuit circuit;
    enum generator generator;
    double duty, next_duty;
    double cycle_at, fall_at, rise_at; // of the generator; INFINITY: none due
    double begun_at;                   // pulses since
    double source_v;
    // The shape that is going on, and some that were solved before.
    struct shape *shape, *shapes[SHAPES];
    uint64_t load_number, shape_load[SHAPES], shape_used[SHAPES], uses;
    double shape_at;
    // The one before it: a conversion may fall between its end and the moment it is asked for.
    struct shape *before;
    double before_at;
    // The comparator: `crossed_at` is when the front end goes through the threshold, `told_at`
    // when its output follows.
    bool above;
    double crossed_at, told_at;
    bool told_above;
    void (*tell)(void *context, bool above, double time);
    void *context;
    // Crossings of the contact that are still to come, for the truth.
    double zero_at, mid_at;
    bool zero_up, mid_up;
    double last_rise, last_mid_rise;
    struct truth truth;
};

void pilot_begin(struct pilot *pilot, const struct traits *traits, struct dice *dice);

// When something happens next, and do all that happens up to `time`.
double pilot_next(const struct pilot *pilot);
void pilot_advance(struct pilot *pilot, double time);

// From now on. `pilot_advance` must have come up to `time`.
void pilot_load(struct pilot *pilot, double time, struct load load);
void pilot_traits(struct pilot *pilot, double time);
void pilot_steady(struct pilot *pilot, double time, enum generator level);
void pilot_pulse(struct pilot *pilot, double time, double duty);

// Levels at `time`, which `pilot_advance` must have come up to. The second one is what a converter
// sees, noise included.
double pilot_volts(const struct pilot *pilot, double time);
double pilot_front(struct pilot *pilot, double time);

// Settled levels of the contact with the present load.
double pilot_high(const struct pilot *pilot);
double pilot_low(const struct pilot *pilot);

#endif

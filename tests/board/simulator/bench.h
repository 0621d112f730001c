// Everything around the microcontroller: registers and relays, charger, pilot, mains, and what the
// pins of the board get to see of it. Knows nothing of the microcontroller.
#ifndef BENCH_H
#define BENCH_H

#include <stdbool.h>
#include <stdint.h>

#include "charger.h"
#include "dice.h"
#include "mains.h"
#include "pilot.h"
#include "relays.h"
#include "traits.h"

enum { CHANGES = 16384, PLANNED = 64 };

// What happened at the pins and contacts, for tests that look at them.
struct change {
    double time;
    const char *what;
    char value[24];
};

struct planned {
    double time;
    char pair[96];
};

struct bench {
    struct traits traits;
    struct dice dice;
    struct pilot pilot;
    struct charger charger;
    struct relays relays;
    struct mains mains;
    double now;
    bool was_pulsing, was_closed;
    // The charge pump that a toggling pin keeps charged.
    bool in_reset;
    int beats;
    double last_beat;
    // The R-C ramp of the board's check of itself.
    double ramp_v, ramp_since;
    bool ramp_high;
    bool interlock_closed, lamp;
    struct planned planned[PLANNED];
    int planned_count;
    struct change changes[CHANGES];
    unsigned change_count;
    const char *rung;
    // To the pins: enable sense, and whether an output drives a rung that energises.
    void (*tell_enable)(void *context, bool enabled, double time);
    void (*tell_energise)(void *context, bool on, double time);
    void *context;
};

void bench_begin(struct bench *bench, const struct traits *traits);

double bench_next(struct bench *bench);
void bench_advance(struct bench *bench, double time);

// What the pins of the board do.
void bench_latch(struct bench *bench, double time);
void bench_beat(struct bench *bench, double time);
void bench_drive_ramp(struct bench *bench, double time, bool high);
void bench_reset(struct bench *bench, double time, bool held);
void bench_lamp(struct bench *bench, double time, bool on);

// What the converter of the board finds: volts at the pin of channel 0..3, at `time`.
double bench_pin_volts(struct bench *bench, int channel, double time);

// Change a trait now, or later; on trouble false and one sentence in `why`.
bool bench_change(struct bench *bench, double time, const char *pair, char *why, size_t room);
bool bench_plan(struct bench *bench, double time, const char *pair, char *why, size_t room);

void bench_note(struct bench *bench, double time, const char *what, const char *value);

#endif

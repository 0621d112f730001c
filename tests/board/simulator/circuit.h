// The pilot circuit as differential equations: a source behind a resistor, the capacitance at the
// contact, what the stand-in loads it with, and the low pass of the front end.
#ifndef CIRCUIT_H
#define CIRCUIT_H

#include <stdbool.h>

struct load {
    double ladder_ohm; // INFINITY: no ladder
    bool diode;        // in series with the ladder
    double shunt_ohm;  // everything without a diode: short, measuring path
};

struct circuit {
    double source_ohm;
    double farad;
    double front_s;   // time constant of the front end
    double diode_is;  // saturation current in A
    double diode_nvt; // emission coefficient times thermal voltage in V
    struct load load;
};

enum { SHAPE_POINTS = 32768 };

// Where the contact and the front end are when the source begins to move, or when the load changes.
struct start {
    double from_v, to_v, ramp_s; // of the source
    double v, front_v;
};

// How the contact goes from one state to another. Times count from the beginning.
struct shape {
    struct start start;
    double end_v; // settled
    double step_s;
    int points;
    double v[SHAPE_POINTS], dv[SHAPE_POINTS];
    double front[SHAPE_POINTS], dfront[SHAPE_POINTS];
};

// Current from the contact into the load at `volts`.
double circuit_current(const struct circuit *circuit, double volts);

// The contact's level after a long time with the source at `source_v`.
double circuit_level(const struct circuit *circuit, double source_v);

// Solves the equations.
void shape_solve(struct shape *shape, const struct circuit *circuit, struct start start);

// The contact and the front end, `since` seconds after the beginning.
double shape_volts(const struct shape *shape, double since);
double shape_front(const struct shape *shape, double since);

// First time at which the contact (or the front end, `after` a time) goes through `level`, upwards or
// downwards; INFINITY if it never does. `slope` gets that of the front end there, in V/s.
double shape_crossing(const struct shape *shape, double level, bool upwards);
double shape_front_crossing(const struct shape *shape, double level, bool upwards, double after,
                            double *slope);

#endif

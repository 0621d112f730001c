// The model without the microcontroller, for tests of the model itself.
//
//   circuit_probe shape LADDER_OHM|none DIODE|bypass SHUNT_OHM FROM_V TO_V RAMP_US [key=value ...]
//     the contact and the front end behind a step of the source: lines of "us volts front"
//   circuit_probe edges SECONDS [key=value ...]
//     the comparator at rung B: lines of "us level", then one line of truth
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"

static struct bench bench;
static struct shape shape;

static int complain(const char *why)
{
    fprintf(stderr, "circuit_probe: %s\n", why);
    return 2;
}

static bool take_traits(struct traits *traits, int count, char **words)
{
    char why[160];
    *traits = SOUND;
    for (int i = 0; i < count; i++)
        if (!traits_set_pair(traits, words[i], why, sizeof why)) {
            complain(why);
            return false;
        }
    return true;
}

static int show_shape(char **words)
{
    struct circuit circuit = bench.pilot.circuit;
    double from_v = atof(words[3]), to_v = atof(words[4]);
    circuit.load.ladder_ohm = strcmp(words[0], "none") == 0 ? INFINITY : atof(words[0]);
    circuit.load.diode = strcmp(words[1], "DIODE") == 0;
    circuit.load.shunt_ohm = atof(words[2]);
    double level = circuit_level(&circuit, from_v);
    shape_solve(&shape, &circuit, (struct start){from_v, to_v, atof(words[5]) * 1e-6, level, level});
    for (double us = 0.0; us < 40.0; us += 0.05)
        printf("%.9g %.12g %.12g\n", us, shape_volts(&shape, us * 1e-6), shape_front(&shape, us * 1e-6));
    printf("%.9g %.12g %.12g\n", 1e6, shape.end_v, shape.end_v);
    return 0;
}

static void show_edge(void *context, bool above, double time)
{
    (void)context;
    printf("%.9f %d\n", time * 1e6, above);
}

static int show_edges(double seconds)
{
    bench.pilot.tell = show_edge;
    bench_reset(&bench, 0.0, false);
    bench.relays.shift = 1u << (PERMANENT_LOW + 1);
    bench_latch(&bench, 0.0);
    for (double t = 0.0; t < seconds; t += 5e-3)
        bench_beat(&bench, t);
    bench_advance(&bench, seconds);
    const struct truth *truth = &bench.pilot.truth;
    printf("truth %.9f %.9f\n", truth->period_sum_s / truth->periods * 1e6,
           truth->zero_width_sum_s / truth->widths * 1e6);
    return 0;
}

int main(int count, char **words)
{
    struct traits traits;
    bool is_shape = count > 7 && strcmp(words[1], "shape") == 0;
    bool is_edges = count > 2 && strcmp(words[1], "edges") == 0;
    if (!is_shape && !is_edges)
        return complain("shape or edges, and what they need");
    int used = is_shape ? 8 : 3;
    if (!take_traits(&traits, count - used, words + used))
        return 2;
    bench_begin(&bench, &traits);
    return is_shape ? show_shape(words + 2) : show_edges(atof(words[2]));
}

#include "pilot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// Levels at which the diode's drop is stated: the middle of 2.75 to 10 mA, where IEC 61851-1:2017
// Table A.3 states it.
static const double DIODE_A = 6e-3;
static const double APPLIED_OHM = 50.0; // of what is applied in the charger's place
static const double THERMAL_V = 0.02585; // k T / q at 300 K
static const double SAME_V = 1e-6;
// Front end and comparator pass noise up to about here: a chattering comparator goes no faster.
static const double NOISE_HZ = 1e6;

static void take_traits(struct pilot *pilot)
{
    const struct traits *traits = pilot->traits;
    struct circuit *circuit = &pilot->circuit;
    bool charger = isnan(traits->applied_v) && isnan(traits->applied_hz);
    circuit->source_ohm = charger ? traits->source_ohm : APPLIED_OHM;
    circuit->farad = (traits->cs_pf + traits->board_pf) * 1e-12;
    circuit->front_s = traits->front_us * 1e-6;
    circuit->diode_nvt = traits->diode_n * THERMAL_V;
    circuit->diode_is = DIODE_A / expm1(traits->diode_v / circuit->diode_nvt);
    pilot->load_number++;
}

static double level_of(const struct pilot *pilot, enum generator generator)
{
    switch (generator) {
    case GENERATOR_HIGH:
        return pilot->traits->voc_high_v;
    case GENERATOR_APPLIED:
        return pilot->traits->applied_v;
    default:
        return 0.0;
    }
}

static bool same(const struct start *one, const struct start *other)
{
    return one->from_v == other->from_v && one->to_v == other->to_v
        && one->ramp_s == other->ramp_s && fabs(one->v - other->v) < SAME_V
        && fabs(one->front_v - other->front_v) < SAME_V;
}

// One of the solved shapes if it begins in the same way, else a new one in the place of the one
// that was used longest ago.
static struct shape *solved(struct pilot *pilot, const struct start *start)
{
    int oldest = -1, found = -1;
    for (int i = 0; i < SHAPES; i++) {
        if (pilot->shape_load[i] == pilot->load_number && same(&pilot->shapes[i]->start, start))
            found = i;
        if (pilot->shapes[i] != pilot->shape && pilot->shapes[i] != pilot->before
            && (oldest < 0 || pilot->shape_used[i] < pilot->shape_used[oldest]))
            oldest = i;
    }
    if (found < 0) {
        found = oldest;
        shape_solve(pilot->shapes[found], &pilot->circuit, *start);
        pilot->shape_load[found] = pilot->load_number;
    }
    pilot->shape_used[found] = ++pilot->uses;
    return pilot->shapes[found];
}

static double threshold(const struct pilot *pilot, bool upwards)
{
    const struct traits *traits = pilot->traits;
    return (traits->threshold_mv + (upwards ? 0.5 : -0.5) * traits->hysteresis_mv) * 1e-3;
}

static double delay(const struct pilot *pilot, bool upwards)
{
    const struct traits *traits = pilot->traits;
    return (traits->delay_ns + (upwards ? -0.5 : 0.5) * traits->skew_ns) * 1e-9;
}

// Where the level is settled near the threshold, noise alone takes it across. Rate of crossings:
// S. O. Rice, "Mathematical Analysis of Random Noise", Bell System Technical Journal 24, 1945.
static double chatter_at(struct pilot *pilot, double from, bool upwards)
{
    double noise = pilot->traits->noise_v;
    if (noise <= 0.0)
        return INFINITY;
    double away = (threshold(pilot, upwards) - pilot->shape->end_v) / noise;
    if (upwards ? away < 0.0 : away > 0.0)
        away = 0.0;
    double rate = NOISE_HZ * exp(-0.5 * away * away);
    return rate < 1e-3 ? INFINITY : from + dice_wait(pilot->dice, rate);
}

// When the comparator crosses next, in the shape that goes on, from `from` on.
static void expect_comparator(struct pilot *pilot, double from)
{
    const struct shape *shape = pilot->shape;
    bool upwards = !pilot->above;
    double level = threshold(pilot, upwards), slope = 0.0;
    double passed = fmax(0.0, from - pilot->shape_at);
    if ((upwards ? 1.0 : -1.0) * (shape_front(shape, passed) - level) > SAME_V) {
        pilot->crossed_at = from;
        return;
    }
    double since = shape_front_crossing(shape, level, upwards, passed, &slope);
    if (isfinite(since)) {
        double steep = fmax(fabs(slope), 1e3);
        double noise = dice_normal(pilot->dice) * pilot->traits->noise_v / steep;
        pilot->crossed_at = fmax(from, pilot->shape_at + since + fmax(-1e-6, fmin(1e-6, noise)));
        return;
    }
    double settled = pilot->shape_at + shape->points * shape->step_s;
    pilot->crossed_at = chatter_at(pilot, fmax(from, settled), upwards);
}

static void expect_truth(struct pilot *pilot)
{
    const struct shape *shape = pilot->shape;
    double middle = 0.5 * (pilot_high(pilot) + pilot_low(pilot));
    pilot->zero_up = shape->start.v < 0.0;
    pilot->mid_up = shape->start.v < middle;
    pilot->zero_at = pilot->shape_at + shape_crossing(shape, 0.0, pilot->zero_up);
    pilot->mid_at = pilot->shape_at + shape_crossing(shape, middle, pilot->mid_up);
}

// The source goes from where it is to `to_v` from `time` on, or the load has changed at `time`.
static void go(struct pilot *pilot, double time, double to_v, double ramp_s)
{
    struct start start = {
        .from_v = pilot->source_v,
        .to_v = to_v,
        .ramp_s = ramp_s,
        .v = pilot_volts(pilot, time),
        .front_v = shape_front(pilot->shape, time - pilot->shape_at),
    };
    struct shape *shape = solved(pilot, &start);
    pilot->before = pilot->shape;
    pilot->before_at = pilot->shape_at;
    pilot->shape = shape;
    pilot->shape_at = time;
    pilot->source_v = to_v;
    if (!isfinite(pilot->told_at))
        expect_comparator(pilot, time);
    expect_truth(pilot);
}

static double ramp_s(const struct pilot *pilot)
{
    // 10 to 90 % are eight tenths of a straight ramp.
    return pilot->traits->generator_rise_us * 1e-6 / 0.8;
}

static void forget_truth(struct pilot *pilot)
{
    pilot->last_rise = pilot->last_mid_rise = NAN;
}

void pilot_begin(struct pilot *pilot, const struct traits *traits, struct dice *dice)
{
    memset(pilot, 0, sizeof *pilot);
    pilot->traits = traits;
    pilot->dice = dice;
    pilot->circuit.load = (struct load){INFINITY, true, traits->input_ohm};
    for (int i = 0; i < SHAPES; i++) {
        pilot->shapes[i] = calloc(1, sizeof(struct shape));
        if (pilot->shapes[i] == NULL)
            abort();
    }
    take_traits(pilot);
    pilot->shape = pilot->before = pilot->shapes[0];
    shape_solve(pilot->shape, &pilot->circuit, (struct start){0});
    pilot->cycle_at = pilot->fall_at = pilot->rise_at = INFINITY;
    pilot->crossed_at = pilot->told_at = INFINITY;
    pilot->zero_at = pilot->mid_at = INFINITY;
    forget_truth(pilot);
}

double pilot_next(const struct pilot *pilot)
{
    double next = fmin(fmin(pilot->cycle_at, pilot->fall_at), pilot->rise_at);
    next = fmin(next, fmin(pilot->crossed_at, pilot->told_at));
    return fmin(next, fmin(pilot->zero_at, pilot->mid_at));
}

static double jitter(struct pilot *pilot)
{
    double us = fmax(-5.0, fmin(5.0, dice_normal(pilot->dice))) * pilot->traits->jitter_us;
    return us * 1e-6;
}

static double frequency(const struct traits *traits)
{
    return isnan(traits->applied_hz) ? traits->frequency_hz : traits->applied_hz;
}

static double width_s(const struct pilot *pilot, double period)
{
    const struct traits *traits = pilot->traits;
    if (!isnan(traits->applied_width_us))
        return traits->applied_width_us * 1e-6;
    return pilot->duty * period + traits->pulse_offset_us * 1e-6;
}

// A cycle of the generator begins: its edges are known from here on. `cycle_at` runs without the
// jitter, so that jitter does not add up.
static void begin_cycle(struct pilot *pilot)
{
    const struct traits *traits = pilot->traits;
    double begin = pilot->cycle_at;
    double drifted = 1.0 + traits->drift_ppm_per_s * 1e-6 * (begin - pilot->begun_at);
    double period = 1.0 / (frequency(traits) * drifted);
    pilot->duty = pilot->next_duty;
    double width = width_s(pilot, period);
    // Edges come a little later than the cycle, so that jitter never puts them before it.
    double lead = 6.0 * traits->jitter_us * 1e-6;
    pilot->rise_at = begin + lead + jitter(pilot);
    pilot->fall_at = fmax(pilot->rise_at + 1e-6, begin + lead + width + jitter(pilot));
    pilot->cycle_at = begin + period;
}

static void rise(struct pilot *pilot)
{
    double time = pilot->rise_at;
    pilot->rise_at = INFINITY;
    go(pilot, time, pilot->traits->voc_high_v, ramp_s(pilot));
}

static void fall(struct pilot *pilot)
{
    double time = pilot->fall_at;
    pilot->fall_at = INFINITY;
    go(pilot, time, pilot->traits->voc_low_v, ramp_s(pilot));
}

static void cross(struct pilot *pilot)
{
    pilot->told_above = !pilot->above;
    pilot->told_at = pilot->crossed_at + delay(pilot, pilot->told_above);
    pilot->crossed_at = INFINITY;
}

static void told(struct pilot *pilot)
{
    double time = pilot->told_at;
    pilot->above = pilot->told_above;
    pilot->told_at = INFINITY;
    if (pilot->tell != NULL)
        pilot->tell(pilot->context, pilot->above, time);
    expect_comparator(pilot, time);
}

static void note_zero(struct pilot *pilot)
{
    double time = pilot->zero_at;
    pilot->zero_at = INFINITY;
    if (pilot->generator != GENERATOR_PULSING)
        return;
    if (!pilot->zero_up) {
        if (!isnan(pilot->last_rise)) {
            double width = time - pilot->last_rise;
            pilot->truth.widths++;
            pilot->truth.zero_width_sum_s += width;
            pilot->truth.zero_width_squares += width * width;
        }
        return;
    }
    if (!isnan(pilot->last_rise)) {
        pilot->truth.periods++;
        pilot->truth.period_sum_s += time - pilot->last_rise;
    }
    pilot->last_rise = time;
}

static void note_mid(struct pilot *pilot)
{
    double time = pilot->mid_at;
    pilot->mid_at = INFINITY;
    if (pilot->generator != GENERATOR_PULSING)
        return;
    if (pilot->mid_up) {
        pilot->last_mid_rise = time;
    } else if (!isnan(pilot->last_mid_rise)) {
        pilot->truth.mid_widths++;
        pilot->truth.mid_width_sum_s += time - pilot->last_mid_rise;
    }
}

void pilot_advance(struct pilot *pilot, double time)
{
    double due;
    while ((due = pilot_next(pilot)) <= time) {
        if (due == pilot->told_at)
            told(pilot);
        else if (due == pilot->crossed_at)
            cross(pilot);
        else if (due == pilot->zero_at)
            note_zero(pilot);
        else if (due == pilot->mid_at)
            note_mid(pilot);
        else if (due == pilot->fall_at)
            fall(pilot);
        else if (due == pilot->rise_at)
            rise(pilot);
        else
            begin_cycle(pilot);
    }
}

void pilot_load(struct pilot *pilot, double time, struct load load)
{
    // What is left of a ramp goes on with the new load.
    double left = fmax(0.0, pilot->shape_at + pilot->shape->start.ramp_s - time);
    double to_v = pilot->source_v;
    if (left > 0.0) {
        const struct start *start = &pilot->shape->start;
        double passed = (time - pilot->shape_at) / start->ramp_s;
        pilot->source_v = start->from_v + (to_v - start->from_v) * passed;
    }
    pilot->circuit.load = load;
    pilot->load_number++;
    forget_truth(pilot);
    go(pilot, time, to_v, left);
}

void pilot_traits(struct pilot *pilot, double time)
{
    take_traits(pilot);
    double to_v = pilot->source_v;
    if (pilot->generator == GENERATOR_PULSING)
        to_v = to_v > 0.0 ? pilot->traits->voc_high_v : pilot->traits->voc_low_v;
    else
        to_v = level_of(pilot, pilot->generator);
    forget_truth(pilot);
    go(pilot, time, to_v, ramp_s(pilot));
}

void pilot_steady(struct pilot *pilot, double time, enum generator level)
{
    pilot->generator = level;
    pilot->cycle_at = pilot->fall_at = pilot->rise_at = INFINITY;
    forget_truth(pilot);
    go(pilot, time, level_of(pilot, level), ramp_s(pilot));
}

void pilot_pulse(struct pilot *pilot, double time, double duty)
{
    pilot->next_duty = duty;
    if (pilot->generator == GENERATOR_PULSING)
        return;
    pilot->generator = GENERATOR_PULSING;
    pilot->begun_at = pilot->cycle_at = time;
    pilot->fall_at = pilot->rise_at = INFINITY;
    forget_truth(pilot);
}

double pilot_volts(const struct pilot *pilot, double time)
{
    if (time < pilot->shape_at)
        return shape_volts(pilot->before, time - pilot->before_at);
    return shape_volts(pilot->shape, time - pilot->shape_at);
}

double pilot_front(struct pilot *pilot, double time)
{
    double front = time < pilot->shape_at ? shape_front(pilot->before, time - pilot->before_at)
                                          : shape_front(pilot->shape, time - pilot->shape_at);
    double hum = pilot->traits->hum_v * sin(2.0 * M_PI * pilot->traits->mains_hz * time);
    return front + hum + pilot->traits->noise_v * dice_normal(pilot->dice);
}

double pilot_high(const struct pilot *pilot)
{
    return circuit_level(&pilot->circuit, pilot->traits->voc_high_v);
}

double pilot_low(const struct pilot *pilot)
{
    return circuit_level(&pilot->circuit, pilot->traits->voc_low_v);
}

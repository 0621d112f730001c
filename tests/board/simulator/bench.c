#include "bench.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double REFERENCE_V = 4.096;
static const double RAMP_S = 3e-3;
static const int BEATS = 4; // edges that charge the pump
static const double NTC_OHM = 10e3, NTC_B = 3950.0, ZERO_C = 273.15, NTC_C = 25.0;

void bench_note(struct bench *bench, double time, const char *what, const char *value)
{
    struct change *change = &bench->changes[bench->change_count++ % CHANGES];
    change->time = time;
    change->what = what;
    snprintf(change->value, sizeof change->value, "%s", value);
}

static void note_contacts(struct bench *bench, double time)
{
    const char *rung = relays_rung(&bench->relays);
    if (rung != bench->rung) {
        bench->rung = rung;
        bench_note(bench, time, "rung", rung);
    }
}

static bool differs(const struct load *one, const struct load *other)
{
    return one->ladder_ohm != other->ladder_ohm || one->diode != other->diode
        || one->shunt_ohm != other->shunt_ohm;
}

static void contacts_moved(struct bench *bench, double time)
{
    struct load load = relays_load(&bench->relays);
    if (differs(&load, &bench->pilot.circuit.load))
        pilot_load(&bench->pilot, time, load);
    note_contacts(bench, time);
    charger_look(&bench->charger, time, relays_cable_ohm(&bench->relays));
}

static bool enabled(const struct bench *bench)
{
    return bench->relays.enabled;
}

static void look_at_outputs(struct bench *bench, double time)
{
    if (bench->tell_energise != NULL)
        bench->tell_energise(bench->context, relays_energise(&bench->relays), time);
}

static void set_enable(struct bench *bench, double time, bool on)
{
    if (on == enabled(bench))
        return;
    relays_enable(&bench->relays, time, on);
    bench_note(bench, time, "enable", on ? "1" : "0");
    if (bench->tell_enable != NULL)
        bench->tell_enable(bench->context, on, time);
    look_at_outputs(bench, time);
}

static void note_pole(void *context, int phase, bool closed, double time)
{
    char value[24];
    snprintf(value, sizeof value, "%d %s", phase + 1, closed ? "on" : "off");
    bench_note(context, time, "pole", value);
}

static double pump_empty_at(const struct bench *bench)
{
    if (enabled(bench) && bench->traits.pump_broken)
        return bench->now;
    return enabled(bench) && !bench->traits.pump_stuck ? bench->last_beat + bench->traits.pump_ms * 1e-3 : INFINITY;
}

void bench_begin(struct bench *bench, const struct traits *traits)
{
    memset(bench, 0, sizeof *bench);
    bench->traits = *traits;
    dice_seed(&bench->dice, (uint64_t)traits->seed);
    relays_begin(&bench->relays, &bench->traits, dice_bits(&bench->dice));
    pilot_begin(&bench->pilot, &bench->traits, &bench->dice);
    charger_begin(&bench->charger, &bench->traits, &bench->pilot);
    mains_begin(&bench->mains, &bench->traits);
    bench->mains.tell_pole = note_pole;
    bench->mains.pole_context = bench;
    bench->interlock_closed = true;
    bench->in_reset = true;
    bench->last_beat = -INFINITY;
    bench->rung = relays_rung(&bench->relays);
    contacts_moved(bench, 0.0);
}

static double planned_next(const struct bench *bench)
{
    double next = INFINITY;
    for (int i = 0; i < bench->planned_count; i++)
        next = fmin(next, bench->planned[i].time);
    return next;
}

double bench_next(struct bench *bench)
{
    double next = fmin(pilot_next(&bench->pilot), charger_next(&bench->charger));
    next = fmin(next, fmin(relays_next(&bench->relays), mains_next(&bench->mains)));
    return fmin(next, fmin(pump_empty_at(bench), planned_next(bench)));
}

// What the charger did to its pulses and its contactor.
static void note_charger(struct bench *bench, double time)
{
    bool pulsing = bench->pilot.generator == GENERATOR_PULSING;
    if (pulsing != bench->was_pulsing)
        bench_note(bench, time, "pulses", pulsing ? "1" : "0");
    bench->was_pulsing = pulsing;
    if (bench->charger.closed != bench->was_closed) {
        bench->was_closed = bench->charger.closed;
        bench_note(bench, time, "mains", bench->was_closed ? "1" : "0");
        mains_switch(&bench->mains, time, bench->was_closed);
    }
}

static void do_planned(struct bench *bench, double due)
{
    for (int i = 0; i < bench->planned_count; i++) {
        if (bench->planned[i].time != due)
            continue;
        char why[128];
        struct planned plan = bench->planned[i];
        bench->planned[i] = bench->planned[--bench->planned_count];
        bench_change(bench, due, plan.pair, why, sizeof why);
        return;
    }
}

void bench_advance(struct bench *bench, double time)
{
    double due;
    while ((due = bench_next(bench)) <= time) {
        pilot_advance(&bench->pilot, due);
        if (relays_move(&bench->relays, due))
            contacts_moved(bench, due);
        charger_advance(&bench->charger, due, relays_cable_ohm(&bench->relays));
        note_charger(bench, due);
        mains_advance(&bench->mains, due);
        if (pump_empty_at(bench) <= due) {
            bench->beats = 0;
            set_enable(bench, due, false);
        }
        do_planned(bench, due);
    }
    bench->now = fmax(bench->now, time);
}

void bench_latch(struct bench *bench, double time)
{
    char word[24];
    bench_advance(bench, time);
    relays_latch(&bench->relays, time);
    look_at_outputs(bench, time);
    snprintf(word, sizeof word, "%06x", (unsigned)bench->relays.latched);
    bench_note(bench, time, "word", word);
}

void bench_beat(struct bench *bench, double time)
{
    bench_advance(bench, time);
    if (bench->in_reset)
        return;
    bench->beats = time - bench->last_beat < bench->traits.pump_ms * 1e-3 ? bench->beats + 1 : 1;
    bench->last_beat = time;
    if (bench->beats >= BEATS && !bench->traits.pump_broken)
        set_enable(bench, time, true);
}

void bench_reset(struct bench *bench, double time, bool held)
{
    bench_advance(bench, time);
    bench->in_reset = held;
    bench->beats = 0;
    if (held || bench->traits.pump_stuck)
        set_enable(bench, time, !held);
}

void bench_lamp(struct bench *bench, double time, bool on)
{
    if (on != bench->lamp)
        bench_note(bench, time, "lamp", on ? "1" : "0");
    bench->lamp = on;
}

static double ramp_volts(const struct bench *bench, double time)
{
    double aim = bench->ramp_high ? bench->traits.supply_v : 0.0;
    return aim + (bench->ramp_v - aim) * exp(-(time - bench->ramp_since) / RAMP_S);
}

void bench_drive_ramp(struct bench *bench, double time, bool high)
{
    bench->ramp_v = ramp_volts(bench, time);
    bench->ramp_since = time;
    bench->ramp_high = high;
}

// The divider from the contact to the pin with the errors of its parts. The deviation from a line
// is a parabola that is zero at the middle and at both ends of the used range.
static double front_end(struct bench *bench, double time)
{
    const struct traits *traits = &bench->traits;
    double volts = pilot_front(&bench->pilot, time);
    double bow = volts / 12.0 * (1.0 - volts * volts / 144.0) * 2.6 * traits->linearity_mv * 1e-3;
    double seen = volts * (1.0 + traits->gain_error) + traits->offset_mv * 1e-3 + bow;
    return (seen + 15.0) / 30.0 * REFERENCE_V;
}

static double thermistor_volts(const struct bench *bench)
{
    double kelvin = bench->traits.temperature_c + ZERO_C;
    double ohm = NTC_OHM * exp(NTC_B * (1.0 / kelvin - 1.0 / (NTC_C + ZERO_C)));
    return REFERENCE_V * ohm / (ohm + NTC_OHM);
}

double bench_pin_volts(struct bench *bench, int channel, double time)
{
    bench_advance(bench, time);
    switch (channel) {
    case 0:
        return front_end(bench, time);
    case 1:
        return ramp_volts(bench, time);
    case 2:
        return REFERENCE_V / 2.0;
    case 3:
        return thermistor_volts(bench);
    default:
        return 0.0;
    }
}

bool bench_change(struct bench *bench, double time, const char *pair, char *why, size_t room)
{
    struct traits traits = bench->traits;
    if (!traits_set_pair(&traits, pair, why, room))
        return false;
    bench->traits = traits;
    pilot_traits(&bench->pilot, time);
    contacts_moved(bench, time);
    charger_traits(&bench->charger, time);
    return true;
}

bool bench_plan(struct bench *bench, double time, const char *pair, char *why, size_t room)
{
    struct traits traits = bench->traits;
    if (!traits_set_pair(&traits, pair, why, room))
        return false;
    if (bench->planned_count == PLANNED) {
        snprintf(why, room, "no more than %d changes can be planned", PLANNED);
        return false;
    }
    struct planned *plan = &bench->planned[bench->planned_count++];
    plan->time = time;
    snprintf(plan->pair, sizeof plan->pair, "%s", pair);
    return true;
}

#include "charger.h"

#include <math.h>

// Halves between the windows of IEC 61851-1:2017 Table A.4 (common practice, no source).
static const double A_B_V = 10.5, B_C_V = 7.5, C_D_V = 4.5, D_E_V = 1.5;
// A low plateau above this shows that no diode blocks it; the window of Table A.4 begins at -11 V.
static const double DIODE_V = -10.5;
static const double BELIEVE_S = 0.012; // how long a level must stand, invented
static const double STOP_S = 0.15;     // vehicle gone: pulses off, invented
static const double BOOT_S = 0.4;      // supply back: generator on, invented
static const double EARLY_S = 0.3;     // with mains_in_b: pulses to mains, invented

static const struct vehicle NOBODY = {STATE_A, true, INFINITY};

static bool pulsing(const struct charger *charger)
{
    return charger->pilot->generator == GENERATOR_PULSING;
}

static enum state state_of(double high_v)
{
    if (high_v > A_B_V)
        return STATE_A;
    if (high_v > B_C_V)
        return STATE_B;
    if (high_v > C_D_V)
        return STATE_C;
    return high_v > D_E_V ? STATE_D : STATE_E;
}

// A charger compares with its own rails: thresholds move with them.
static struct vehicle look(const struct charger *charger, double cable_ohm)
{
    double shift = charger->traits->high_threshold_shift_v;
    return (struct vehicle){
        .state = state_of(pilot_high(charger->pilot) - shift),
        .diode = !pulsing(charger) || pilot_low(charger->pilot) < DIODE_V,
        .cable_ohm = cable_ohm,
    };
}

// Cable coding, IEC 61851-1:2017 Table B.2, accepted ranges; 0: no plug, or a broken one.
static double cable_a(double ohm)
{
    if (ohm >= 1100 && ohm <= 2460)
        return 13;
    if (ohm >= 400 && ohm <= 936)
        return 20;
    if (ohm >= 164 && ohm <= 308)
        return 32;
    return ohm >= 80 && ohm <= 140 ? 63 : 0;
}

static bool plugged(const struct charger *charger)
{
    return charger->traits->outlet == OUTLET_CABLE || cable_a(charger->believed.cable_ohm) > 0;
}

// Duty of a current, IEC 61851-1:2017 Table A.7.
static double duty_of(double ampere)
{
    return (ampere <= 51.0 ? ampere / 0.6 : ampere / 2.5 + 64.0) / 100.0;
}

static double set_a(const struct traits *traits)
{
    return isnan(traits->set_a) ? traits->rated_a : traits->set_a;
}

static double duty(const struct charger *charger)
{
    double ampere = charger->offered_a;
    double cable = cable_a(charger->believed.cable_ohm);
    if (charger->traits->outlet == OUTLET_SOCKET && charger->traits->obeys_cable && cable > 0)
        ampere = fmin(ampere, cable);
    return duty_of(ampere);
}

static void clear_timers(struct charger *charger)
{
    charger->believe_at = charger->pulse_at = charger->stop_at = INFINITY;
    charger->close_at = charger->open_at = charger->offer_at = charger->boot_at = INFINITY;
}

static void boot(struct charger *charger, double time)
{
    charger->powered = true;
    charger->believed = NOBODY;
    charger->seen = NOBODY;
    charger->offered_a = set_a(charger->traits);
    pilot_steady(charger->pilot, time, GENERATOR_HIGH);
    if (charger->traits->pwm_in_a)
        pilot_pulse(charger->pilot, time, duty(charger));
}

// A supply or a pulse generator in the charger's place, or the charger again.
static void replace(struct charger *charger, double time)
{
    const struct traits *traits = charger->traits;
    bool supply = !isnan(traits->applied_v), pulses = !isnan(traits->applied_hz);
    if (!supply && !pulses && !charger->replaced)
        return;
    clear_timers(charger);
    charger->replaced = supply || pulses;
    charger->powered = charger->closed = false;
    if (supply)
        pilot_steady(charger->pilot, time, GENERATOR_APPLIED);
    else if (pulses)
        pilot_pulse(charger->pilot, time, 0.5);
    else
        boot(charger, time);
}

void charger_begin(struct charger *charger, const struct traits *traits, struct pilot *pilot)
{
    *charger = (struct charger){.traits = traits, .pilot = pilot};
    clear_timers(charger);
    boot(charger, 0.0);
    replace(charger, 0.0);
}

static bool same(const struct vehicle *one, const struct vehicle *other)
{
    return one->state == other->state && one->diode == other->diode
        && (one->cable_ohm == other->cable_ohm
            || fabs(one->cable_ohm - other->cable_ohm) < 0.1 * other->cable_ohm);
}

void charger_look(struct charger *charger, double time, double cable_ohm)
{
    if (!charger->powered)
        return;
    struct vehicle now = look(charger, cable_ohm);
    if (same(&now, &charger->seen))
        return;
    if (same(&charger->seen, &charger->believed))
        charger->seen_since = time; // the old level is being left
    charger->seen = now;
    charger->believe_at = same(&now, &charger->believed) ? INFINITY : time + BELIEVE_S;
}

static double opening_s(const struct charger *charger)
{
    switch (charger->believed.state) {
    case STATE_A:
        return charger->traits->unplug_ms * 1e-3;
    case STATE_E:
        return charger->traits->short_ms * 1e-3;
    default:
        return charger->traits->open_ms * 1e-3;
    }
}

static bool wants_mains(const struct charger *charger)
{
    const struct traits *traits = charger->traits;
    const struct vehicle *vehicle = &charger->believed;
    if (!pulsing(charger) || !plugged(charger) || (traits->checks_diode && !vehicle->diode))
        return false;
    switch (vehicle->state) {
    case STATE_B:
        return traits->mains_in_b;
    case STATE_C:
        return true;
    case STATE_D:
        return traits->ventilation == VENTILATION_ALLOW;
    default:
        return false;
    }
}

// A short that is ignored changes nothing.
static bool ignores(const struct charger *charger)
{
    return charger->believed.state == STATE_E && isinf(charger->traits->short_ms);
}

static void order_mains(struct charger *charger, double since, double time)
{
    if (ignores(charger))
        return;
    if (wants_mains(charger)) {
        double delay = charger->believed.state == STATE_B ? EARLY_S : charger->traits->close_s;
        charger->open_at = INFINITY;
        if (!charger->closed && isinf(charger->close_at))
            charger->close_at = fmax(time, since + delay);
        return;
    }
    charger->close_at = INFINITY;
    if (charger->closed && isinf(charger->open_at))
        charger->open_at = fmax(time, since + opening_s(charger));
}

static void order_pulses(struct charger *charger, double since, double time)
{
    const struct traits *traits = charger->traits;
    enum state state = charger->believed.state;
    charger->pulse_at = charger->stop_at = INFINITY;
    if (ignores(charger))
        return;
    bool wanted = state == STATE_A ? traits->pwm_in_a : state != STATE_E && plugged(charger);
    if (wanted && pulsing(charger))
        pilot_pulse(charger->pilot, time, duty(charger));
    else if (wanted)
        charger->pulse_at = fmax(time, since + traits->pulses_after_s);
    else if (pulsing(charger))
        charger->stop_at
            = fmax(time, since + (state == STATE_E ? traits->short_ms * 1e-3 : STOP_S));
}

static void believe(struct charger *charger, double time)
{
    charger->believe_at = INFINITY;
    charger->believed = charger->seen;
    // Mains first: whether it may stay depends on the pulses that are there.
    order_mains(charger, charger->seen_since, time);
    order_pulses(charger, charger->seen_since, time);
    charger->seen_since = time;
}

static void begin_pulses(struct charger *charger, double time)
{
    charger->pulse_at = INFINITY;
    pilot_pulse(charger->pilot, time, duty(charger));
    order_mains(charger, time, time);
}

static void stop_pulses(struct charger *charger, double time)
{
    charger->stop_at = INFINITY;
    pilot_steady(charger->pilot, time, GENERATOR_HIGH);
    order_mains(charger, time, time);
}

static void take_offer(struct charger *charger, double time)
{
    charger->offer_at = INFINITY;
    charger->offered_a = set_a(charger->traits);
    if (pulsing(charger))
        pilot_pulse(charger->pilot, time, duty(charger));
}

static void close_mains(struct charger *charger)
{
    charger->close_at = INFINITY;
    charger->closed = true;
}

static void open_mains(struct charger *charger)
{
    charger->open_at = INFINITY;
    if (!charger->traits->welded)
        charger->closed = false;
}

void charger_traits(struct charger *charger, double time)
{
    replace(charger, time);
    if (charger->powered && set_a(charger->traits) != charger->offered_a)
        charger->offer_at = time + charger->traits->duty_lag_s;
}

void charger_restart(struct charger *charger, double time, double off_s)
{
    clear_timers(charger);
    charger->powered = false;
    if (!charger->traits->welded)
        charger->closed = false;
    charger->boot_at = time + off_s + BOOT_S;
    pilot_steady(charger->pilot, time, GENERATOR_OFF);
}

double charger_next(const struct charger *charger)
{
    double next = fmin(charger->believe_at, charger->boot_at);
    next = fmin(next, fmin(charger->pulse_at, charger->stop_at));
    next = fmin(next, fmin(charger->close_at, charger->open_at));
    return fmin(next, charger->offer_at);
}

void charger_advance(struct charger *charger, double time, double cable_ohm)
{
    double due;
    while ((due = charger_next(charger)) <= time) {
        if (due == charger->believe_at)
            believe(charger, due);
        else if (due == charger->boot_at) {
            charger->boot_at = INFINITY;
            boot(charger, due);
        } else if (due == charger->pulse_at)
            begin_pulses(charger, due);
        else if (due == charger->stop_at)
            stop_pulses(charger, due);
        else if (due == charger->close_at)
            close_mains(charger);
        else if (due == charger->open_at)
            open_mains(charger);
        else
            take_offer(charger, due);
        charger_look(charger, due, cable_ohm);
    }
}

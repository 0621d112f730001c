#include "relays.h"

#include <math.h>
#include <string.h>

static const double LADDER_OHM[] = {1870, 2740, 4610, 909, 1300, 1723, 140, 270, 448};
static const double CABLE_OHM[] = {1500, 680, 220, 100};
static const double SHORT_OHM = 80.0;
static const uint32_t PERMANENT = 7u << PERMANENT_LOW;
static const uint32_t SWITCHED_C = 7u << SWITCHED_C_LOW;
static const uint32_t SWITCHED_D = 7u << SWITCHED_D_LOW;

void relays_begin(struct relays *relays, const struct traits *traits, uint32_t garbage)
{
    memset(relays, 0, sizeof *relays);
    relays->traits = traits;
    relays->shift = garbage & 0xFFFFFF;
    relays->latched = ~garbage & 0xFFFFFF;
}

void relays_shift(struct relays *relays, bool bit)
{
    relays->shift = (relays->shift << 1 | bit) & 0xFFFFFF;
}

bool relays_out(const struct relays *relays)
{
    return !relays->traits->chain_broken && (relays->shift >> 23 & 1);
}

// The contact bounces when it makes: it closes, opens and closes again within `bounce_ms`.
// No two relays are quite alike.
static void pull(struct relays *relays, int number, double time)
{
    static const double BOUNCE[] = {0.0, 0.2, 0.35, 0.7, 1.0};
    const struct traits *traits = relays->traits;
    double alike = 1.0 + 0.04 * (number * 7 % 5 - 2);
    double first = time + traits->operate_ms * 1e-3 * alike;
    int bounces = traits->bounce_ms > 0.0 ? 5 : 1;
    for (int i = 0; i < bounces; i++)
        relays->moves[number][bounces - 1 - i] = first + BOUNCE[i] * traits->bounce_ms * 1e-3;
    relays->moves_left[number] = bounces;
}

static void release(struct relays *relays, int number, double time)
{
    double alike = 1.0 + 0.04 * (number * 3 % 5 - 2);
    relays->moves[number][0] = time + relays->traits->release_ms * 1e-3 * alike;
    relays->moves_left[number] = 1;
}

static void drive(struct relays *relays, double time)
{
    uint32_t coils = relays->enabled ? relays->latched : 0;
    coils |= relays->traits->output_stuck ? 2u << SWITCHED_C_LOW : 0;
    uint32_t changed = coils ^ relays->coils;
    uint32_t elsewhere = coils ^ relays->pulled;
    relays->coils = coils;
    for (int n = 0; n < RELAYS; n++) {
        uint32_t mask = 1u << n;
        if (!(changed & mask))
            continue;
        relays->moves_left[n] = 0;
        if (!(elsewhere & mask))
            continue;
        if (coils & mask)
            pull(relays, n, time);
        else
            release(relays, n, time);
    }
}

void relays_latch(struct relays *relays, double time)
{
    if (!relays->traits->latch_broken)
        relays->latched = relays->shift;
    drive(relays, time);
}

void relays_enable(struct relays *relays, double time, bool enabled)
{
    relays->enabled = enabled;
    drive(relays, time);
}

bool relays_energise(const struct relays *relays)
{
    return relays->coils & (SWITCHED_C | SWITCHED_D);
}

double relays_next(const struct relays *relays)
{
    double next = INFINITY;
    for (int n = 0; n < RELAYS; n++)
        if (relays->moves_left[n])
            next = fmin(next, relays->moves[n][relays->moves_left[n] - 1]);
    return next;
}

bool relays_move(struct relays *relays, double time)
{
    for (int n = 0; n < RELAYS; n++) {
        int left = relays->moves_left[n];
        if (left && relays->moves[n][left - 1] <= time) {
            relays->moves_left[n]--;
            relays->pulled ^= 1u << n;
            return true;
        }
    }
    return false;
}

// Conductance of those resistors of the ladder whose relays are pulled.
static double ladder_siemens(const struct relays *relays)
{
    double siemens = 0.0;
    for (int n = 0; n < 9; n++)
        if (relays->pulled >> n & 1)
            siemens += 1.0 / (LADDER_OHM[n] * (1.0 + relays->traits->ladder_error));
    return siemens;
}

struct load relays_load(const struct relays *relays)
{
    double siemens = ladder_siemens(relays), shunt = 1.0 / relays->traits->input_ohm;
    bool returned = !(relays->pulled >> RETURN_RELAY & 1);
    if (relays->pulled >> SHORT_RELAY & 1)
        shunt += 1.0 / SHORT_OHM;
    return (struct load){
        .ladder_ohm = returned && siemens > 0.0 ? 1.0 / siemens : INFINITY,
        .diode = !(relays->pulled >> BYPASS_RELAY & 1),
        .shunt_ohm = 1.0 / shunt,
    };
}

double relays_cable_ohm(const struct relays *relays)
{
    double siemens = 0.0;
    for (int n = 0; n < 4; n++)
        if (relays->pulled >> (CABLE_13_RELAY + n) & 1)
            siemens += 1.0 / CABLE_OHM[n];
    if (relays->pulled >> CABLE_SHORT_RELAY & 1)
        siemens += 1.0;
    return siemens > 0.0 ? 1.0 / siemens : INFINITY;
}

const char *relays_rung(const struct relays *relays)
{
    uint32_t pulled = relays->pulled;
    bool permanent = pulled & PERMANENT, c = pulled & SWITCHED_C, d = pulled & SWITCHED_D;
    if (pulled >> SHORT_RELAY & 1)
        return "short";
    if (!(pulled & (PERMANENT | SWITCHED_C | SWITCHED_D)))
        return "open";
    uint32_t permanents = pulled & PERMANENT;
    if (permanents & (permanents - 1))
        return "two permanent ones"; // which a charger may take for C
    if (permanent && !c && !d)
        return "B";
    if (permanent && c && !d)
        return "C";
    if (permanent && !c && d)
        return "D";
    return "none of these";
}

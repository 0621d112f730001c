#include "mains.h"

#include <math.h>
#include <string.h>

void mains_begin(struct mains *mains, const struct traits *traits)
{
    memset(mains, 0, sizeof *mains);
    mains->traits = traits;
    for (int p = 0; p < PHASES; p++)
        mains->pole_at[p] = mains->toggle_at[p] = INFINITY;
}

// Half waves since time zero; phases are a third of a cycle apart, and L1 is at an odd place then.
static double halves(const struct mains *mains, int phase, double time)
{
    return 2.0 * mains->traits->mains_hz * time + 0.37 - 2.0 * phase / 3.0;
}

static double time_of(const struct mains *mains, int phase, double halves)
{
    return (halves - 0.37 + 2.0 * phase / 3.0) / (2.0 * mains->traits->mains_hz);
}

// Part of a half wave, at either end, in which the voltage is too low for the sense.
static double blind(const struct mains *mains)
{
    double peak = mains->traits->mains_v * sqrt(2.0);
    return peak > mains->traits->sense_v ? asin(mains->traits->sense_v / peak) / M_PI : 0.5;
}

static void conduct(struct mains *mains, int phase, bool conducts, double time)
{
    if (conducts == mains->conducts[phase])
        return;
    mains->conducts[phase] = conducts;
    if (mains->tell != NULL)
        mains->tell(mains->context, phase, conducts, time);
}

static void close_pole(struct mains *mains, int p, double time)
{
    double now = halves(mains, p, time), b = blind(mains);
    double place = now - floor(now);
    mains->half[p] = (long)floor(now);
    bool conducts = place >= b && place < 1.0 - b;
    if (place >= 1.0 - b)
        mains->half[p]++;
    mains->toggle_at[p] = time_of(mains, p, mains->half[p] + (conducts ? 1.0 - b : b));
    conduct(mains, p, conducts, time);
}

static void move_pole(struct mains *mains, int p)
{
    double time = mains->pole_at[p];
    mains->pole_at[p] = INFINITY;
    if (mains->pole[p] == mains->pole_to[p])
        return;
    mains->pole[p] = mains->pole_to[p];
    mains->toggle_at[p] = INFINITY;
    if (mains->tell_pole != NULL)
        mains->tell_pole(mains->pole_context, p, mains->pole[p], time);
    if (mains->pole[p])
        close_pole(mains, p, time);
    else
        conduct(mains, p, false, time);
}

static void toggle(struct mains *mains, int p)
{
    double time = mains->toggle_at[p], b = blind(mains);
    bool conducts = !mains->conducts[p];
    if (!conducts)
        mains->half[p]++;
    mains->toggle_at[p] = time_of(mains, p, mains->half[p] + (conducts ? 1.0 - b : b));
    conduct(mains, p, conducts, time);
}

void mains_switch(struct mains *mains, double time, bool closed)
{
    for (int p = 0; p < PHASES; p++) {
        if (p >= mains->traits->phases)
            continue;
        mains->pole_to[p] = closed;
        mains->pole_at[p] = time + p * mains->traits->pole_spread_ms * 1e-3;
    }
}

double mains_next(const struct mains *mains)
{
    double next = INFINITY;
    for (int p = 0; p < PHASES; p++)
        next = fmin(next, fmin(mains->pole_at[p], mains->toggle_at[p]));
    return next;
}

void mains_advance(struct mains *mains, double time)
{
    double due;
    while ((due = mains_next(mains)) <= time) {
        for (int p = 0; p < PHASES; p++) {
            if (mains->pole_at[p] == due)
                move_pole(mains, p);
            else if (mains->toggle_at[p] == due)
                toggle(mains, p);
        }
    }
}

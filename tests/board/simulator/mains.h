// Mains at the outlet and the board's insulated senses: a sense conducts in both half waves while
// its phase stands above the sense's threshold.
#ifndef MAINS_H
#define MAINS_H

#include <stdbool.h>

#include "traits.h"

enum { PHASES = 3 };

struct mains {
    const struct traits *traits;
    bool pole[PHASES], pole_to[PHASES]; // contacts, and where they go
    double pole_at[PHASES];
    bool conducts[PHASES];
    double toggle_at[PHASES]; // of the conduction
    long half[PHASES];        // number of the half wave that goes on
    void (*tell)(void *context, int phase, bool conducts, double time);
    void *context;
    void (*tell_pole)(void *context, int phase, bool closed, double time);
    void *pole_context;
};

void mains_begin(struct mains *mains, const struct traits *traits);

// The charger's contactor closes or opens.
void mains_switch(struct mains *mains, double time, bool closed);

double mains_next(const struct mains *mains);
void mains_advance(struct mains *mains, double time);

#endif

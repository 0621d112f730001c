// A charger as IEC 61851-1:2017 describes it, with the faults that its traits ask for. It sees
// nothing but levels at its contacts.
#ifndef CHARGER_H
#define CHARGER_H

#include <stdbool.h>

#include "pilot.h"
#include "traits.h"

enum state { STATE_A, STATE_B, STATE_C, STATE_D, STATE_E };

// What it sees of the vehicle: state by the high level, diode by the low one, cable by the
// proximity resistor.
struct vehicle {
    enum state state;
    bool diode;
    double cable_ohm;
};

struct charger {
    const struct traits *traits;
    struct pilot *pilot;
    struct vehicle seen, believed;
    double seen_since, believe_at;
    double pulse_at, stop_at, close_at, open_at, offer_at, boot_at;
    double offered_a;
    bool powered, closed, replaced; // replaced: something else is at the contact
};

void charger_begin(struct charger *charger, const struct traits *traits, struct pilot *pilot);

// Something at the contacts may have changed.
void charger_look(struct charger *charger, double time, double cable_ohm);

// Another set current, or other traits.
void charger_traits(struct charger *charger, double time);

// Lose the supply for so many seconds.
void charger_restart(struct charger *charger, double time, double off_s);

double charger_next(const struct charger *charger);
void charger_advance(struct charger *charger, double time, double cable_ohm);

#endif

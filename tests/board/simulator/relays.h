// The chain of registers with its relays, and what their contacts make of the pilot and of the
// proximity contact.
#ifndef RELAYS_H
#define RELAYS_H

#include <stdbool.h>
#include <stdint.h>

#include "circuit.h"
#include "traits.h"

enum { RELAYS = 24, MOVES = 6 };

// Bits of the relay word.
enum relay {
    PERMANENT_LOW = 0,
    SWITCHED_C_LOW = 3,
    SWITCHED_D_LOW = 6,
    SHORT_RELAY = 9,
    BYPASS_RELAY = 10,
    RETURN_RELAY = 11, // its contact opens when it is pulled
    CABLE_13_RELAY = 12,
    CABLE_SHORT_RELAY = 16,
};

struct relays {
    const struct traits *traits;
    uint32_t shift, latched; // registers before and behind the latch
    bool enabled;            // outputs of the registers
    uint32_t coils;          // what the coils get
    uint32_t pulled;         // where the armatures are
    // When an armature moves next: it toggles at each time.
    double moves[RELAYS][MOVES];
    int moves_left[RELAYS];
};

// At switch-on the registers hold whatever they come up with.
void relays_begin(struct relays *relays, const struct traits *traits, uint32_t garbage);

void relays_shift(struct relays *relays, bool bit);
bool relays_out(const struct relays *relays);
void relays_latch(struct relays *relays, double time);
void relays_enable(struct relays *relays, double time, bool enabled);

// Whether an output that drives a switched resistor is on.
bool relays_energise(const struct relays *relays);

// When a contact moves next. `relays_move` makes the move that is due; true if one was.
double relays_next(const struct relays *relays);
bool relays_move(struct relays *relays, double time);

struct load relays_load(const struct relays *relays);
double relays_cable_ohm(const struct relays *relays);

// What the contacts present, as a word: "open", "B", "C", "D", "short" or "none of these".
const char *relays_rung(const struct relays *relays);

#endif

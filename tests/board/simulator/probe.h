// Looks into the running firmware: its memory, and how long its interrupts take.
#ifndef PROBE_H
#define PROBE_H

#include <stdio.h>

#include "mcu.h"

void probe_begin(struct mcu *mcu);
void probe_memory(const struct mcu *mcu, FILE *replies, const char *arguments);
void probe_interrupts(struct mcu *mcu, FILE *replies, bool clear);


// After each instruction, while the main loop is watched.
void probe_step(struct mcu *mcu);

// With an address: watch the loop there, 0 ends it. Without: tell what was seen since.
void probe_loop(struct mcu *mcu, FILE *replies, const char *argument);

#endif

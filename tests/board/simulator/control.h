// Lines that drive the simulator: one command a line, one JSON object back for each.
//
//   advance MICROSECONDS [HEX]   send the bytes to the board, run on; returns what it said
//                                (lock step only; at most 20000)
//   set KEY=VALUE                change a trait now
//   at TICK set KEY=VALUE        change it when the board's clock has made so many cycles
//   interlock open|closed        the emergency stop's auxiliary contact
//   reset [MILLISECONDS]         pull the reset line
//   restart SECONDS              take the charger's supply away for so long
//   pins                         what can be seen at pins and contacts now
//   truth [clear]                widths, periods and levels as they really were
//   changes                      what happened at pins and contacts since the last time
//   chain broken|sound           what the relay registers give back
//   memory ADDRESS COUNT         bytes of the data space as hexadecimal
//   interrupts [clear]           how often each vector was served, and cycles: longest, total, longest wait
//   loop [ADDRESS]               turns of the loop that passes there since the last time, cycles: total,
//                                longest, longest with interrupts off; 0 ends it
//   pull                         pull the line to the host (pty only)
//   quit
#ifndef CONTROL_H
#define CONTROL_H

#include <stdbool.h>
#include <stdio.h>

#include "mcu.h"

struct control {
    struct mcu *mcu;
    FILE *replies;
    unsigned changes_told;
    bool lock_step, quit, pull;
};

void control_line(struct control *control, char *line);

#endif

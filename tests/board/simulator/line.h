// The line to the host as a pseudo terminal.
#ifndef LINE_H
#define LINE_H

#include <stdbool.h>

#include "mcu.h"

struct line {
    int master, slave;
    char path[64];
};

bool line_begin(struct line *line);

// Moves what waits, in both directions, as far as the terminal takes it.
void line_serve(struct line *line, struct mcu *mcu);

// As if the cable had been pulled.
void line_pull(struct line *line);

#endif

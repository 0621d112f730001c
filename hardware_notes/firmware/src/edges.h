/* Edges of the pilot at 0 V: from the interrupt's records to edge blocks. */
#ifndef EDGES_H
#define EDGES_H

#include <stdint.h>

void edges_begin(void);

/* Running numbers from 0 again; what waits is forgotten. */
void edges_restart(void);

/* Sends a block that is complete, if the line has room. */
void edges_poll(void);

/* Edges not sent since the restart, at most 65535. */
uint16_t edges_not_sent(void);

#endif

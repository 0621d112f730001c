/* Mains senses and interlock: changes time-stamped by interrupt, meaning given here. */
#ifndef SENSES_H
#define SENSES_H

#include <stdbool.h>
#include <stdint.h>

void senses_begin(void);
void senses_poll(void);

bool senses_interlock_closed(void);

/* Bit 0: mains is seen on L1, and so on. */
uint8_t senses_mains(void);

#endif

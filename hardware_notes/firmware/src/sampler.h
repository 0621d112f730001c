/* Samples: modes, whether a conversion was lost, and sample blocks. */
#ifndef SAMPLER_H
#define SAMPLER_H

#include <stdbool.h>
#include <stdint.h>

#include "protocol.h"

/* Mode off, running numbers from 0 again; what waits is forgotten. */
void sampler_restart(void);

void sampler_set_mode(enum mode mode);
enum mode sampler_mode(void);

/* Takes what the converter has made; puts a piece of it into a block. */
void sampler_poll(void);

/* A block in the making occupies the line until it is closed. */
bool sampler_block_is_open(void);
void sampler_close_block(void);

/* Whether samples wait so long that edges have to stand back. */
bool sampler_is_behind(void);

/* Since the restart, at most 65535: conversions lost, and samples not sent. */
uint16_t sampler_lost(void);
uint16_t sampler_not_sent(void);

#endif

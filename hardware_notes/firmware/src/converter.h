/* The converter: started at a tick known exactly, then left to the hardware. Its interrupt fills the
 * ring of samples. */
#ifndef CONVERTER_H
#define CONVERTER_H

#include <stdbool.h>
#include <stdint.h>

#include "clock.h"
#include "protocol.h"

/* Converter clocks: the divider begins with its low half when the converter is switched on; the
 * first conversion takes 25 and samples after 13.5, each one after it takes 13. */
#define CONVERSION 13
#define FIRST_SAMPLE 14
#define FIRST_COMPLETE 25

/* How a mode converts. */
struct way {
    uint8_t divisor; /* of the converter's clock */
    uint8_t prescaler;
    uint8_t wide; /* 1: ten bits in two bytes */
    bool bursts;
};

extern struct way converter_way;

/* Rests; a start is planned; the interrupt that starts it is set; it runs. */
enum converter_state { CONVERTER_RESTS, CONVERTER_PLANNED, CONVERTER_PREPARED, CONVERTER_RUNS };

void converter_begin(void);

/* Plans the first start of a mode, 1 ms from now, or the next burst, 25 ms after the last. */
void converter_use(enum mode mode);
void converter_again(void);

/* Prepares what is planned; true once when it has started, at `converter_start`. */
bool converter_poll(void);
struct tick converter_start(void);
uint8_t converter_channel(void);

/* The end of a burst, or of a mode: the ramp then falls. */
void converter_stop(void);
void converter_rest(void);

enum converter_state converter_state(void);

/* Whether it has nothing to do for the next half millisecond. */
bool converter_is_free(void);

#endif

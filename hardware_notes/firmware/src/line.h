/* The serial line: bytes that leave are in a ring, bytes that came are in another. */
#ifndef LINE_H
#define LINE_H

#include <stdbool.h>
#include <stdint.h>

void line_begin(void);

/* Free bytes of the ring that leaves. */
uint16_t line_room(void);

/* All bytes up to `end` may be sent. */
void line_publish(uint8_t *end);

/* Next byte from the host, or -1. */
int16_t line_take(void);

/* Received bytes lost since it was asked last. */
uint8_t line_lost(void);

#endif

/* Memory and registers that interrupts and the main loop share. Included by C and by assembly.
 *
 * The rings lie at the start of the RAM, each on a boundary of its size, so that an interrupt
 * steps its place by an 8-bit counter that wraps by itself (see the linker's options in the
 * Makefile). Places are low bytes of addresses.
 */
#ifndef RINGS_H
#define RINGS_H

#define SAMPLE_RING 0x100 /* 256 bytes: counts, one or two bytes each */
#define OUT_RING 0x200    /* 512 bytes: encoded frames on their way to the line */
#define OUT_RING_SIZE 512
#define EDGE_RING 0x400 /* 64 records of 4 bytes */
#define IN_RING 0x500   /* 64 bytes received */
#define IN_RING_SIZE 64
#define PIN_RING 0x540 /* 16 records of 4 bytes */
#define PIN_RING_FIRST 0x40
#define PIN_RING_END 0x80

/* An edge record: capture low, capture high, low byte of the overflow count, and a byte with bit
 * 0: rises, bits 1 to 7: edges dropped just before it. A pin record: the same three, and port D. */
#define RECORD 4

/* Edges taken between two overflows of timer 1 (4.096 ms). 1 kHz makes at most nine. */
#define EDGE_BUDGET 32
/* An edge that waits before the one before it is done with (5 us) counts as so many more: one
 * such is let through, so that a short spike does not blind the board for 4 ms; the second is not. */
#define EDGE_HASTE 16
/* Dropped edges that a record can tell; beyond it the number keeps only its lowest bit. */
#define MOST_DROPPED 127

/* Registers of their own for the interrupts: the compiler leaves r2 to r7 alone (-ffixed), so
 * saving costs one cycle or nothing. GPIOR0 and GPIOR1 are plain bytes of I/O memory. */
#define SAMPLES_WIDE 0 /* bit of GPIOR0: samples take two bytes */

#define LINE_IDLE ((1 << RXCIE0) | (1 << RXEN0) | (1 << TXEN0))
#define LINE_SENDING (LINE_IDLE | (1 << UDRIE0))

#ifndef __ASSEMBLER__
#include <stdint.h>

#define sample_ring ((volatile uint8_t *)SAMPLE_RING)
#define out_ring ((uint8_t *)OUT_RING)
#define edge_ring ((volatile uint8_t *)EDGE_RING)
#define in_ring ((volatile uint8_t *)IN_RING)
#define pin_ring ((volatile uint8_t *)PIN_RING)

#define sample_head GPIOR1

extern volatile uint32_t clock_wraps;
extern uint8_t *volatile out_head; /* first free byte; what lies before it may be sent */
extern uint8_t *volatile out_tail; /* next byte to send */
extern volatile uint8_t edge_head, edge_tail, edge_budget, edges_dropped;
extern volatile uint8_t in_head, in_tail, in_lost;
extern volatile uint8_t pin_head, pin_tail;
#endif

#endif

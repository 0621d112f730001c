; The interrupts that must be short. Cycles from the entry to the return: the entry (4) and the jump from
; the vector table (3) included, as measured; README.md has the budget that they make together.
;
;   what                 usual  longest   how often, at most
;   PCINT2                 55      66     600 a second on three phases
;   TIMER1_CAPT            81     116     2,000 a second at 1 kHz, 7,812 when the limit acts
;   TIMER1_OVF             24      32     244 a second
;   USART_RX               34      39     one in 160 cycles
;   USART_UDRE             32      38     one in 160 cycles
;   ADC, 8 bits            22      22     one in 208 cycles
;   ADC, 10 bits           27      27     one in 416 cycles
;
; The first two serve a conversion that waits before they return: their figures hold it at times.
;
; Registers: r2:r3 keep Z, r4 and r6 are free to use, r5 keeps SREG, r7 is 1 << ICES1. None of these interrupts
; interrupts another. Most need no SREG at all: loads, stores, skips and moves leave it alone.

#define __SFR_OFFSET 0
#include <avr/io.h>

#include "rings.h"

    .section .bss
    .global clock_wraps, out_head, out_tail, edge_head, edge_tail, edge_budget, edges_dropped
    .global in_head, in_tail, in_lost, pin_head, pin_tail
clock_wraps:   .space 4
out_head:      .space 2
out_tail:      .space 2
edge_head:     .space 1
edge_tail:     .space 1
edge_budget:   .space 1
edges_dropped: .space 1
in_head:       .space 1
in_tail:       .space 1
in_lost:       .space 1
pin_head:      .space 1
pin_tail:      .space 1

; Places in the rings, so that sizes show and nothing else is put there.
    .section .rings, "aw", @nobits
    .global rings
rings: .space 0x480

    .text

; A conversion is complete: its counts go to the ring.
    .global ADC_vect
ADC_vect:
    movw r2, r30
    in   r30, GPIOR1
    ldi  r31, hi8(SAMPLE_RING)
    sbic GPIOR0, SAMPLES_WIDE
    rjmp 1f
    lds  r4, ADCH
    st   Z+, r4
    out  GPIOR1, r30
    movw r30, r2
    reti
1:  lds  r4, ADCL
    st   Z+, r4
    lds  r4, ADCH
    st   Z+, r4
    out  GPIOR1, r30
    movw r30, r2
    reti

; The line takes another byte. Only enabled while there is one.
    .global USART_UDRE_vect
USART_UDRE_vect:
    movw r2, r30
    lds  r30, out_tail
    lds  r31, out_tail + 1
    ld   r4, Z+
    sts  UDR0, r4
    sbrc r31, 2                     ; 0x400 is one beyond the ring
    ldi  r31, hi8(OUT_RING)
    sts  out_tail, r30
    sts  out_tail + 1, r31
    lds  r4, out_head
    cpse r30, r4
    rjmp 1f
    lds  r4, out_head + 1
    cpse r31, r4
    rjmp 1f
    ldi  r30, LINE_IDLE
    sts  UCSR0B, r30
1:  movw r30, r2
    reti

; A byte came from the host.
    .global USART_RX_vect
USART_RX_vect:
    in   r5, SREG
    movw r2, r30
    lds  r4, UCSR0A                 ; before UDR0: it belongs to the byte
    lds  r6, UDR0
    lds  r30, in_head
    ldi  r31, hi8(IN_RING)
    st   Z+, r6
    sbrc r30, 6
    ldi  r30, lo8(IN_RING)
    lds  r6, in_tail
    cp   r30, r6
    breq 2f
    sts  in_head, r30
    sbrc r4, DOR0
    rjmp 2f
1:  movw r30, r2
    out  SREG, r5
    reti
2:  lds  r30, in_lost               ; the ring was full, or the receiver lost one before this
    inc  r30
    breq 1b
    sts  in_lost, r30
    rjmp 1b

; 65,536 ticks have passed.
    .global TIMER1_OVF_vect
TIMER1_OVF_vect:
    in   r5, SREG
    movw r2, r30
    ldi  r30, EDGE_BUDGET
    sts  edge_budget, r30
    lds  r30, clock_wraps
    inc  r30
    sts  clock_wraps, r30
    breq 2f
1:  movw r30, r2
    out  SREG, r5
    reti
2:  lds  r30, clock_wraps + 1
    inc  r30
    sts  clock_wraps + 1, r30
    brne 1b
    lds  r30, clock_wraps + 2
    inc  r30
    sts  clock_wraps + 2, r30
    brne 1b
    lds  r30, clock_wraps + 3
    inc  r30
    sts  clock_wraps + 3, r30
    rjmp 1b

; The comparator crossed 0 V; the timer kept when. The edge to wait for is turned over as early as
; possible, so that a pulse of 2 us is still seen whole.
    .global TIMER1_CAPT_vect
TIMER1_CAPT_vect:
    in   r5, SREG
    movw r2, r30
    lds  r30, edge_head
    ldi  r31, hi8(EDGE_RING)
    lds  r4, ICR1L
    st   Z+, r4
    lds  r4, ICR1H
    st   Z+, r4
    lds  r6, TCCR1B
    eor  r6, r7                     ; the next edge goes the other way
    sts  TCCR1B, r6
    sbi  TIFR1, ICF1                ; changing the edge may have set the flag
    bst  r4, 7
    lds  r4, clock_wraps
    sbis TIFR1, TOV1
    rjmp 1f
    brts 1f
    inc  r4                         ; an overflow not counted yet came before the edge
1:  st   Z+, r4
    lds  r4, edges_dropped
    lsl  r4
    sbrs r6, ICES1
    inc  r4
    st   Z+, r4
    lds  r4, edge_tail
    cp   r30, r4
    breq full
    sts  edge_head, r30
    clr  r4
    sts  edges_dropped, r4
2:  sbrs r6, ICES1
    rjmp 3f
    sbic PINB, 0                    ; the next rises, so it must be low now
    rjmp short
    rjmp 4f
3:  sbis PINB, 0                    ; the next falls, so it must be high now
    rjmp short
4:  lds  r30, edge_budget
    subi r30, 1
    sbic TIFR1, ICF1                ; the next edge is there already: hardly a pilot
    subi r30, EDGE_HASTE
    brmi over
    sts  edge_budget, r30
leave:                              ; what comes next would be served before a conversion that waits
    lds  r30, ADCSRA
    sbrc r30, ADIF
    sbrs r30, ADIE
    rjmp 5f
    sts  ADCSRA, r30                ; writing ADIF back clears it
    movw r30, r2
    out  SREG, r5
    rjmp ADC_vect
5:  movw r30, r2
    out  SREG, r5
    reti

short:                              ; the pulse was too short: its second edge is over
    sbic TIFR1, ICF1
    rjmp 4b                         ; no, it came just now and waits
    eor  r6, r7
    sts  TCCR1B, r6
    sbi  TIFR1, ICF1
    lds  r30, edges_dropped
    inc  r30
    sbrc r30, 7
    ldi  r30, MOST_DROPPED - 1      ; keeps even and odd apart
    sts  edges_dropped, r30
    rjmp 4b

full:                               ; no room in the ring
    lds  r30, edges_dropped
    inc  r30
    sbrc r30, 7
    ldi  r30, MOST_DROPPED - 1
    sts  edges_dropped, r30
    rjmp 2b

over:                               ; too many: no more until the main loop lets them in again
    clr  r4
    sts  edge_budget, r4
    lds  r30, TIMSK1
    andi r30, ~(1 << ICIE1)
    sts  TIMSK1, r30
    rjmp leave

; A mains sense or the interlock changed.
    .global PCINT2_vect
PCINT2_vect:
    in   r5, SREG
    movw r2, r30
    lds  r4, TCNT1L
    lds  r6, TCNT1H
    lds  r30, pin_head
    ldi  r31, hi8(PIN_RING)
    st   Z+, r4
    st   Z+, r6
    lds  r4, clock_wraps
    sbis TIFR1, TOV1
    rjmp 1f
    sbrs r6, 7
    inc  r4
1:  st   Z+, r4
    in   r4, PIND
    st   Z+, r4
    sbrc r30, 7                     ; PIN_RING_END
    ldi  r30, PIN_RING_FIRST
    lds  r4, pin_tail
    cp   r30, r4
    breq 2f
    sts  pin_head, r30
    rjmp leave
2:  clr  r4                         ; full: the main loop looks for itself, then lets them in again
    sts  PCICR, r4
    rjmp leave

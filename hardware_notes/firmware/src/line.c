#include "line.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "rings.h"

void line_begin(void)
{
    out_head = out_tail = out_ring;
    in_head = in_tail = 0;
    UBRR0H = 0;
    UBRR0L = 0; /* 16 MHz / 16 = 1 Mbaud exactly */
    UCSR0A = 0;
    UCSR0C = (1 << UCSZ01) | (1 << UCSZ00);
    UCSR0B = LINE_IDLE;
    UDR0 = 0; /* ends the frame that a reset has cut, so that the identity after it arrives */
}

uint16_t line_room(void)
{
    uint8_t *tail;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        tail = out_tail;
    }
    /* Only this side moves the head. One byte stays free: a full ring would look empty. */
    return (uint16_t)(tail - out_head - 1) & (OUT_RING_SIZE - 1);
}

void line_publish(uint8_t *end)
{
    /* Both at once: between them the interrupt could send all, switch itself off, and be switched
     * on again with nothing to send. */
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        out_head = end;
        UCSR0B = LINE_SENDING;
    }
}

int16_t line_take(void)
{
    uint8_t place = in_tail;
    if (place == in_head)
        return -1;
    uint8_t byte = in_ring[place];
    in_tail = (place + 1) & (IN_RING_SIZE - 1);
    return byte;
}

uint8_t line_lost(void)
{
    uint8_t lost;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        lost = in_lost;
        in_lost = 0;
    }
    return lost;
}

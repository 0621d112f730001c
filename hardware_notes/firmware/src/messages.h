/* What the board says, field by field as in hardware_notes/link_protocol.md, section 4. */
#ifndef MESSAGES_H
#define MESSAGES_H

#include <stdbool.h>
#include <stdint.h>

#include "clock.h"
#include "protocol.h"

/* Begins a frame once there is room; gives up or closes what is half made. `size` is that of the
 * payload, at most 64: the wait is then bounded by the speed of the line. */
void message_begin(uint8_t type, uint8_t size);

void message_identity(bool asked);
void message_event(struct tick tick, enum event_kind kind, uint16_t value, uint32_t interval);
void message_answer(uint8_t to, enum code code, uint32_t nonce);

/* Nothing but answers and the first identity may be said before a host has said hello. */
void message_allow(void);

#endif

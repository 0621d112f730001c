/* The rules that the board keeps by itself: hardware_notes/link_protocol.md, section 7. */
#ifndef RULES_H
#define RULES_H

#include <stdbool.h>
#include <stdint.h>

/* A new host: to open, unarmed, alive. */
void rules_greet(void);
void rules_keep_alive(void);
void rules_arm(uint8_t sequence);
void rules_present(uint8_t sequence, uint16_t setting, uint32_t nonce);

void rules_interlock_opened(void);

/* What is due by time, and the relays' own troubles. */
void rules_poll(void);

/* The registers no longer hold what was written. */
void rules_fault(void);

uint16_t rules_setting(void);
bool rules_armed(void);

#endif

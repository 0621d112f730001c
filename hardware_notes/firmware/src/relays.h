/* The relay registers: settings into relays, checked, and the heartbeat that lets them act. */
#ifndef RELAYS_H
#define RELAYS_H

#include <stdbool.h>
#include <stdint.h>

/* All without current; nothing is enabled until the main loop beats. */
void relays_begin(void);

/* Presents a setting; one with a relay in it ends a rest. False: nothing was latched. Either the registers did not
 * give back what was written; then the heartbeat rests, so that the hardware lets every relay go.
 * Or the enable was never seen off since the reset, and a relay was asked for. */
bool relays_present(uint16_t setting);

/* What a setting still has to do later. False as above. */
bool relays_go_on(void);

/* How long after its command the last setting stands, bounce and all. */
uint32_t relays_settling_ticks(void);

/* No heartbeat until the next setting with a relay in it: the second way to let every relay go,
 * which needs neither latch nor registers. */
void relays_rest(void);

/* Whether the registers still hold what was written. As above if they do not. */
bool relays_intact(void);

/* False once the enable was lost while a relay should be on. */
bool relays_enabled(void);

/* Only the main loop may call this: its edges prove that the loop runs. The first one waits until
 * the enable is off. */
void relays_beat(void);

#endif

/* The relay registers: settings into relays, checked, and the heartbeat that lets them act. */
#ifndef RELAYS_H
#define RELAYS_H

#include <stdbool.h>
#include <stdint.h>

/* All without current; nothing is enabled until the main loop beats. */
void relays_begin(void);

/* Presents a setting; one with a relay in it ends a rest, one without begins it. False: nothing was
 * latched. Either the registers did not give back what was written; then the heartbeat rests, so
 * that the hardware lets every relay go. Or a relay was asked for, and since the reset the enable
 * was never seen off, or the outputs were seen not to follow. */
bool relays_present(uint16_t setting);

/* What a setting still has to do later. False as above. */
bool relays_go_on(void);

/* How long after its command the last setting stands, bounce and all. */
uint32_t relays_settling_ticks(void);

/* No heartbeat until the next setting with a relay in it: the second way to let every relay go,
 * which needs neither latch nor registers. */
void relays_rest(void);

/* Whether the registers still hold what was written. If not, the heartbeat rests. */
bool relays_intact(void);

/* False once the enable was lost while a relay should be on. */
bool relays_enabled(void);

/* False from when outputs and word differed in whether a rung that energises is driven: a latch
 * that does not take over, or an output that is stuck. Holds until the next reset. */
bool relays_follow(void);

/* Only the main loop may call this: its edges prove that the loop runs. The first one waits until
 * the enable is off. */
void relays_beat(void);

#endif

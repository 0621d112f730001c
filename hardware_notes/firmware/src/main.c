/* The stand-in's board: what happens in which order. Nothing here waits for long, nothing sleeps:
 * the watchdog and the heartbeat of the relays both live from this loop alone. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "clock.h"
#include "converter.h"
#include "edges.h"
#include "identity.h"
#include "line.h"
#include "messages.h"
#include "pins.h"
#include "relays.h"
#include "rules.h"
#include "sampler.h"
#include "senses.h"
#include "session.h"

int main(void)
{
    relays_begin(); /* first: the registers are empty before the heartbeat can enable them */
    DDRC |= 1 << ARMED_LAMP_BIT;
    PORTC |= 1 << ENERGISED_BIT; /* pull-up */
    identity_begin();
    clock_begin();
    line_begin();
    edges_begin();
    converter_begin();
    senses_begin();
    sei();
    wdt_enable(WDTO_120MS);
    message_identity(false);
    for (;;) {
        wdt_reset();
        relays_beat();
        senses_poll();
        rules_poll();
        session_poll();
        sampler_poll();
        edges_poll();
    }
}

#include "rules.h"

#include <avr/io.h>

#include "clock.h"
#include "identity.h"
#include "messages.h"
#include "pins.h"
#include "protocol.h"
#include "relays.h"
#include "senses.h"

#define ALIVE_TICKS TICKS_PER_SECOND
#define ARM_TICKS (10 * TICKS_PER_SECOND)

static uint16_t setting = OPEN_SETTING;
static bool settling;
static struct tick commanded; /* when the relays were told */
static bool alive; /* a keep-alive came within the last second */
static uint32_t alive_tick;

static bool armed;
static uint32_t nonce, arm_tick;
static uint32_t expired_nonce; /* so that a late present learns why */

uint16_t rules_setting(void)
{
    return setting;
}

bool rules_armed(void)
{
    return armed;
}

static bool energises(uint16_t what)
{
    return SETTING_RUNG(what) == RUNG_C || SETTING_RUNG(what) == RUNG_D;
}

static void light_lamp(void)
{
    if (armed || energises(setting))
        PORTC |= 1 << ARMED_LAMP_BIT;
    else
        PORTC &= ~(1 << ARMED_LAMP_BIT);
}

static void disarm(enum reason reason)
{
    if (!armed)
        return;
    armed = false;
    message_event(clock_now(), DISARMED, reason, 0);
}

static bool go(uint16_t what)
{
    /* Without a heartbeat the hardware lets every relay go: that is open, whatever the chain does. */
    bool done = relays_present(what) || what == OPEN_SETTING;
    commanded = clock_now();
    setting = done ? what : OPEN_SETTING;
    settling = true;
    light_lamp();
    return done;
}

static void fall(enum reason reason)
{
    struct tick now = clock_now();
    go(OPEN_SETTING); /* first, before anything is said */
    relays_rest();    /* should the latch not have taken it over */
    disarm(reason);
    light_lamp();
    message_event(now, FELL_OPEN, reason, 0);
}

void rules_greet(void)
{
    rules_keep_alive();
    if (setting != OPEN_SETTING)
        fall(NEW_HOST);
    else
        disarm(NEW_HOST);
    light_lamp();
}

void rules_keep_alive(void)
{
    alive = true;
    alive_tick = clock_short();
}

/* Not to be guessed, not twice the same, never 0; no secret. */
static uint32_t next_nonce(void)
{
    static uint32_t state = 0x2545F491UL;
    state ^= clock_short();
    do {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        state += state == 0;
    } while (state == nonce);
    return state;
}

void rules_arm(uint8_t sequence)
{
    if (!senses_interlock_closed()) {
        message_answer(sequence, INTERLOCK_IS_OPEN, 0);
        return;
    }
    nonce = next_nonce();
    message_answer(sequence, ACCEPTED, nonce);
    disarm(ARM_WITHDRAWN);
    armed = true;
    arm_tick = clock_short();
    light_lamp();
    message_event(clock_now(), ARMED, 1, 0);
}

static enum code verdict(uint16_t what, uint32_t given)
{
    if (!energises(what))
        return ACCEPTED;
    if (!senses_interlock_closed())
        return INTERLOCK_IS_OPEN;
    if (!armed)
        return given != 0 && given == expired_nonce ? ARMING_EXPIRED : NOT_ARMED;
    return given == nonce ? ACCEPTED : WRONG_NONCE;
}

void rules_present(uint8_t sequence, uint16_t what, uint32_t given)
{
    enum code code = verdict(what, given);
    if (code == WRONG_NONCE) {
        message_answer(sequence, code, 0);
        disarm(ARM_WITHDRAWN);
        light_lamp();
        return;
    }
    if (code != ACCEPTED) {
        message_answer(sequence, code, 0);
        return;
    }
    if (energises(what))
        disarm(ARM_USED);
    else if (SETTING_RUNG(what) == RUNG_OPEN)
        disarm(ARM_WITHDRAWN);
    bool done = go(what);
    message_answer(sequence, done ? ACCEPTED : CANNOT_PRESENT, 0);
    if (!done)
        fall(FAULT);
}

void rules_interlock_opened(void)
{
    if (energises(setting))
        fall(INTERLOCK_OPENED);
}

void rules_fault(void)
{
    if (setting != OPEN_SETTING)
        fall(FAULT);
}

static uint32_t hold_ticks(void)
{
    uint16_t seconds = SETTING_RUNG(setting) == RUNG_C ? identity.hold_c_s : identity.hold_d_s;
    return seconds * TICKS_PER_SECOND;
}

void rules_poll(void)
{
    uint32_t now = clock_short(), settles = relays_settling_ticks();
    if (settling && now - clock_low32(commanded) >= settles) {
        settling = false;
        message_event(clock_after(commanded, settles), SETTING_APPLIED, setting, settles);
    }
    if (armed && now - arm_tick >= ARM_TICKS) {
        expired_nonce = nonce;
        disarm(ARM_EXPIRED);
        light_lamp();
    }
    if (energises(setting) && now - clock_low32(commanded) >= hold_ticks())
        fall(HOLD_LIMIT);
    if (now - alive_tick >= ALIVE_TICKS)
        alive = false;
    if ((SETTING_RUNG(setting) != RUNG_OPEN || armed) && !alive)
        fall(KEEP_ALIVE_LOST);
    if (!relays_go_on() || !relays_enabled() || !relays_follow())
        rules_fault();
}

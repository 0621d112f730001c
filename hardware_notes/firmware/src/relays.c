#include "relays.h"

#include <avr/io.h>

#include "clock.h"
#include "pins.h"
#include "protocol.h"

/* Bits of the 24-bit word, one for each relay */
#define PERMANENT 0  /* and the two after it: low, nominal, high */
#define SWITCHED_C 3 /* and the two after it */
#define SWITCHED_D 6 /* and the two after it */
#define SHORT_TO_PE 9
#define DIODE_BYPASS 10
#define PE_RETURN_OPEN 11
#define CABLE 12 /* and the four after it: 13 A, 20, 32, 63, short */
#define PERMANENTS (7UL << PERMANENT)
#define ENERGISING (0x3FUL << SWITCHED_C)

#define BEAT_TICKS 16384U /* half a period; the pump holds the enable for up to 50 ms */
#define ENABLE_LATE_TICKS (20 * TICKS_PER_MS)  /* the pump may take so long to charge */
#define ENABLE_LOST_TICKS (2 * TICKS_PER_MS)   /* shorter gaps are noise on the sense */
#define ASTRAY_TICKS (2 * TICKS_PER_MS)        /* so is this; below what a relay takes to operate */
#define SETTLING_TICKS (10 * TICKS_PER_MS)     /* relays operate and bounce within 5 ms; twice that */
#define BREAK_TICKS (4 * TICKS_PER_MS)         /* relays release within 3 ms */

static uint32_t word;       /* what the registers hold */
static bool resting;        /* no heartbeat: every relay is let go */
static bool let_go;         /* the enable was seen off since the reset: it is not stuck */
static bool charging;       /* the pump is given time, until enable_due */
static bool parting;        /* a permanent resistor's contact may still be closed */
static uint32_t parted_tick;
static bool making;         /* a setting waits for that */
static uint32_t to_make, settling_ticks;
static uint16_t beat_tick;
static uint32_t enable_due; /* from then on the enable must be there */
static uint32_t enabled_tick;
static bool astray;         /* outputs once differed from the word: not to be trusted until a reset */
static uint32_t followed_tick;

void relays_begin(void)
{
    PORTB &= ~((1 << LATCH_BIT) | (1 << DATA_BIT) | (1 << CLOCK_BIT));
    DDRB |= (1 << LATCH_BIT) | (1 << DATA_BIT) | (1 << CLOCK_BIT);
    DDRD |= 1 << HEARTBEAT_BIT;
    relays_present(OPEN_SETTING);
}

static uint32_t word_of(uint16_t setting)
{
    uint8_t set = SETTING_LADDER(setting), cable = SETTING_CABLE(setting);
    uint32_t relays = 0;
    switch (SETTING_RUNG(setting)) {
    case RUNG_C:
        relays |= 1UL << (SWITCHED_C + set);
        break;
    case RUNG_D:
        relays |= 1UL << (SWITCHED_D + set);
        break;
    case RUNG_SHORT:
        relays |= 1UL << SHORT_TO_PE;
        break;
    }
    if (SETTING_RUNG(setting) >= RUNG_B && SETTING_RUNG(setting) <= RUNG_D)
        relays |= 1UL << (PERMANENT + set);
    if (!SETTING_DIODE_IN(setting))
        relays |= 1UL << DIODE_BYPASS;
    if (!SETTING_PE_CLOSED(setting))
        relays |= 1UL << PE_RETURN_OPEN;
    if (cable)
        relays |= 1UL << (CABLE + cable - 1);
    return relays;
}

/* Clocks a byte through the chain, bit 7 first; returns what came out at its end. */
static uint8_t shift_byte(uint8_t byte)
{
    uint8_t came = 0;
    for (uint8_t bit = 0x80; bit; bit >>= 1) {
        if (byte & bit)
            PORTB |= 1 << DATA_BIT;
        else
            PORTB &= ~(1 << DATA_BIT);
        if (PINB & (1 << READ_BACK_BIT))
            came |= bit;
        PORTB |= 1 << CLOCK_BIT;
        PORTB &= ~(1 << CLOCK_BIT);
    }
    return came;
}

static uint32_t shift(uint32_t relays)
{
    uint32_t came = (uint32_t)shift_byte(relays >> 16) << 16;
    came |= (uint16_t)shift_byte(relays >> 8) << 8;
    return came | shift_byte(relays);
}

/* In, and in once more while the first comes out: a broken chain or a stuck line does not pass. */
static bool load(uint32_t relays)
{
    shift(relays);
    bool same = shift(relays) == relays;
    resting |= !same;
    return same;
}

static bool put(uint32_t relays)
{
    uint32_t now = clock_short();
    /* All ones and zeros in turn first: a line stuck at the level of a word of zeros shows. */
    if (!load(0x555555UL) || !load(relays))
        return false;
    PORTB |= 1 << LATCH_BIT;
    PORTB &= ~(1 << LATCH_BIT);
    if (word == 0 || resting) {
        charging = true;
        enable_due = now + ENABLE_LATE_TICKS;
    }
    if (word & ~relays & PERMANENTS) {
        parting = true;
        parted_tick = now;
    }
    /* With nothing to hold, the enable goes as well: a latch that does not take over holds nothing. */
    resting = !relays;
    word = relays;
    enabled_tick = followed_tick = now;
    return true;
}

/* Two permanent resistors at once look like rung C. Towards B of another set, which needs no
 * arming, the old one therefore opens before the new one closes. */
static bool would_look_like_c(uint32_t wanted)
{
    return !(wanted & ENERGISING) && (wanted & ~word & PERMANENTS) &&
           (parting || (word & ~wanted & PERMANENTS));
}

bool relays_present(uint16_t setting)
{
    uint32_t wanted = word_of(setting);
    making = false;
    settling_ticks = SETTLING_TICKS + (resting && wanted ? ENABLE_LATE_TICKS : 0);
    if (wanted && (!let_go || astray))
        return false;
    if (!would_look_like_c(wanted))
        return put(wanted);
    making = true;
    to_make = wanted;
    settling_ticks += BREAK_TICKS;
    return put(word & wanted);
}

bool relays_go_on(void)
{
    if (parting && clock_short() - parted_tick >= BREAK_TICKS)
        parting = false;
    if (!making || parting)
        return true;
    making = false;
    return put(to_make);
}

uint32_t relays_settling_ticks(void)
{
    return settling_ticks;
}

bool relays_intact(void)
{
    if (resting && word)
        return false;
    /* The first time round brings out what the registers held since the last setting. */
    bool same = shift(word) == word;
    resting |= !same;
    return same;
}

bool relays_enabled(void)
{
    uint32_t now = clock_short();
    /* Not by the tick alone: it turns its sign every 134 s. */
    if (charging && (int32_t)(now - enable_due) >= 0)
        charging = false;
    if (word == 0 || (PIND & (1 << ENABLED_BIT)) || charging)
        enabled_tick = now;
    return now - enabled_tick < ENABLE_LOST_TICKS;
}

bool relays_follow(void)
{
    uint32_t now = clock_short();
    bool wanted = word & ENERGISING, seen = !(PINC & (1 << ENERGISED_BIT));
    bool enabled = PIND & (1 << ENABLED_BIT);
    if (seen == wanted || (wanted && (charging || resting || !enabled)))
        followed_tick = now;
    astray |= now - followed_tick >= ASTRAY_TICKS;
    return !astray;
}

void relays_rest(void)
{
    resting = true;
}

void relays_beat(void)
{
    uint16_t now = (uint16_t)clock_short();
    /* An enable that is on before the first beat would stay on if this loop hung. */
    if (!(PIND & (1 << ENABLED_BIT)))
        let_go = true;
    if (resting || !let_go || (uint16_t)(now - beat_tick) < BEAT_TICKS)
        return;
    beat_tick = now;
    PIND = 1 << HEARTBEAT_BIT; /* writing a one to PIN turns the output over */
}

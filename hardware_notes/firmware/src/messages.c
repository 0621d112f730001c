#include "messages.h"

#include "frame.h"
#include "identity.h"
#include "line.h"
#include "sampler.h"

static bool allowed;

void message_allow(void)
{
    allowed = true;
}

void message_begin(uint8_t type, uint8_t size)
{
    sampler_close_block();
    while (line_room() < (uint16_t)(size + FRAME_EXTRA))
        ; /* the line empties the ring by interrupt: at most 0.8 ms */
    frame_begin(type);
}

void message_identity(bool asked)
{
    struct __attribute__((packed)) {
        uint8_t protocol, major, minor, patch;
        char board_id[BOARD_ID_SIZE];
        uint8_t oscillator, reset_cause, modes, rungs, ladders, cables, flags, phases, quantum, bits;
        int16_t low_mv, high_mv;
        uint16_t hold_c_s, hold_d_s;
    } say = {
        .protocol = PROTOCOL_VERSION,
        .major = FIRMWARE_MAJOR,
        .minor = FIRMWARE_MINOR,
        .patch = FIRMWARE_PATCH,
        .oscillator = identity.oscillator,
        .reset_cause = identity_reset_cause(),
        .modes = (1 << MODES) - 1,
        .rungs = (1 << RUNGS) - 1,
        .ladders = (1 << LADDER_SETS) - 1,
        .cables = (1 << CABLE_CODES) - 1,
        .flags = 1 | 2 | (asked ? 8 : 0), /* diode bypass, PE return; no simulated bench */
        .phases = identity.phases,
        .quantum = 1,
        .bits = 10,
        .low_mv = -15000,
        .high_mv = 15000,
        .hold_c_s = identity.hold_c_s,
        .hold_d_s = identity.hold_d_s,
    };
    for (uint8_t i = 0; i < BOARD_ID_SIZE; i++)
        say.board_id[i] = identity.board_id[i];
    message_begin(IDENTITY, sizeof say);
    frame_put_bytes(&say, sizeof say);
    frame_end();
}

void message_event(struct tick tick, enum event_kind kind, uint16_t value, uint32_t interval)
{
    struct __attribute__((packed)) {
        struct tick tick;
        uint8_t kind;
        uint16_t value;
        uint32_t interval;
    } say = {tick, kind, value, interval};
    if (!allowed)
        return;
    message_begin(EVENT, sizeof say);
    frame_put_bytes(&say, sizeof say);
    frame_end();
}

void message_answer(uint8_t to, enum code code, uint32_t nonce)
{
    struct __attribute__((packed)) {
        uint8_t to, code;
        uint32_t nonce;
    } say = {to, code, nonce};
    message_begin(ANSWER, sizeof say);
    frame_put_bytes(&say, sizeof say);
    frame_end();
}

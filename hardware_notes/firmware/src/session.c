#include "session.h"

#include "clock.h"
#include "edges.h"
#include "frame.h"
#include "line.h"
#include "messages.h"
#include "protocol.h"
#include "relays.h"
#include "rules.h"
#include "sampler.h"
#include "senses.h"
#include "thermometer.h"

#define HEALTH_TICKS (100 * TICKS_PER_MS)
#define HALF_TURN 128
#define MOST_BYTES 24 /* of the line, two requests */

static bool greeted;
static uint8_t host_version;
static bool counting; /* whether it is known which sequence number is due */
static uint8_t sequence_due;
static uint32_t health_due;
static uint16_t bytes_lost;

static uint16_t u16_at(const uint8_t *bytes)
{
    return bytes[0] | (uint16_t)bytes[1] << 8;
}

static uint32_t u32_at(const uint8_t *bytes)
{
    return u16_at(bytes) | (uint32_t)u16_at(bytes + 2) << 16;
}

static void greet(uint8_t version)
{
    greeted = true;
    host_version = version;
    sampler_restart();
    edges_restart();
    line_lost();
    bytes_lost = 0;
    frame_restart();
    message_allow();
    message_identity(true);
    rules_greet();
    health_due = clock_short() + HEALTH_TICKS;
}

static bool is_setting(uint16_t setting)
{
    return SETTING_RUNG(setting) < RUNGS && SETTING_LADDER(setting) < LADDER_SETS &&
           SETTING_CABLE(setting) < CABLE_CODES && !SETTING_UNUSED(setting);
}

static enum code refusal(const struct request *request)
{
    if (!greeted)
        return NO_HELLO;
    if (host_version != PROTOCOL_VERSION)
        return OTHER_PROTOCOL;
    switch (request->type) {
    case PRESENT:
        return request->size == 6 && is_setting(u16_at(request->payload)) ? ACCEPTED : MALFORMED;
    case SET_MODE:
        if (request->size != 1)
            return MALFORMED;
        return request->payload[0] < MODES ? ACCEPTED : UNKNOWN_MODE;
    case KEEP_ALIVE:
    case ARM:
        return request->size == 0 ? ACCEPTED : MALFORMED;
    default:
        return MALFORMED;
    }
}

static void obey(const struct request *request)
{
    enum code code = refusal(request);
    if (request->type == KEEP_ALIVE && request->size == 0) {
        if (code == ACCEPTED)
            rules_keep_alive();
    } else if (code != ACCEPTED) {
        message_answer(request->sequence, code, 0);
    } else if (request->type == PRESENT) {
        rules_present(request->sequence, u16_at(request->payload), u32_at(request->payload + 2));
    } else if (request->type == ARM) {
        rules_arm(request->sequence);
    } else {
        message_answer(request->sequence, ACCEPTED, 0);
        sampler_set_mode(request->payload[0]);
    }
}

/* Section 3: what comes behind its turn is dropped. */
static bool in_turn(uint8_t sequence)
{
    if (counting && (uint8_t)(sequence - sequence_due) >= HALF_TURN)
        return false;
    counting = true;
    sequence_due = sequence + 1;
    return true;
}

static void take(const struct request *request)
{
    bool hello = request->type == HELLO;
    if (hello)
        counting = false;
    if (!in_turn(request->sequence))
        return;
    if (hello && request->size)
        greet(request->payload[0]);
    else
        obey(request);
}

static void send_health(void)
{
    bytes_lost += line_lost();
    uint32_t overruns = (uint32_t)bytes_lost + sampler_lost();
    struct __attribute__((packed)) {
        struct tick tick;
        uint16_t overruns, dropped_edges, dropped_samples;
        int16_t temperature;
        uint8_t flags;
        uint16_t setting;
        uint8_t mode, mains;
    } say = {
        .tick = clock_now(),
        .overruns = overruns > 0xFFFF ? 0xFFFF : (uint16_t)overruns,
        .dropped_edges = edges_not_sent(),
        .dropped_samples = sampler_not_sent(),
        .temperature = thermometer_tenths(),
        .flags = rules_armed() | senses_interlock_closed() << 1,
        .setting = rules_setting(),
        .mode = sampler_mode(),
        .mains = senses_mains(),
    };
    message_begin(HEALTH, sizeof say);
    frame_put_bytes(&say, sizeof say);
    frame_end();
}

void session_poll(void)
{
    struct request request;
    /* One request at a turn, and no more bytes than that takes: a flood must not hold up the rest. */
    for (uint8_t bytes = 0; bytes < MOST_BYTES; bytes++) {
        int16_t byte = line_take();
        if (byte < 0)
            break;
        if (frame_take((uint8_t)byte, &request)) {
            take(&request);
            break;
        }
    }
    /* A block of samples in the making is not cut for it: the tick says when it was. */
    if (greeted && (int32_t)(clock_short() - health_due) >= 0 && !sampler_block_is_open()) {
        health_due += HEALTH_TICKS;
        if (!relays_intact())
            rules_fault();
        thermometer_read();
        send_health();
    }
}

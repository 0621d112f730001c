/* Numbers of hardware_notes/link_protocol.md. */
#ifndef PROTOCOL_H
#define PROTOCOL_H

#define PROTOCOL_VERSION 1
#define FIRMWARE_MAJOR 1
#define FIRMWARE_MINOR 1
#define FIRMWARE_PATCH 0

enum board_type { IDENTITY = 0x10, SAMPLES, EDGES, EVENT, HEALTH, ANSWER };
enum host_type { HELLO = 0x40, PRESENT, SET_MODE, KEEP_ALIVE, ARM };

enum event_kind { SETTING_APPLIED, MAINS_ON, MAINS_OFF, INTERLOCK, ARMED, DISARMED, FELL_OPEN };

enum reason {
    KEEP_ALIVE_LOST,
    HOLD_LIMIT,
    INTERLOCK_OPENED,
    WAS_RESET,
    ARM_EXPIRED,
    ARM_USED,
    ARM_WITHDRAWN,
    NEW_HOST,
    FAULT,
};

enum code {
    ACCEPTED,
    NOT_ARMED,
    WRONG_NONCE,
    ARMING_EXPIRED,
    INTERLOCK_IS_OPEN,
    CANNOT_PRESENT,
    UNKNOWN_MODE,
    MALFORMED,
    OTHER_PROTOCOL,
    NO_HELLO,
};

enum mode { MODE_OFF, BURST10, STREAM10, STREAM8, CHECK10, MODES };

/* Fields of a setting */
enum rung { RUNG_OPEN, RUNG_B, RUNG_C, RUNG_D, RUNG_SHORT, RUNGS };
#define LADDER_SETS 3
#define CABLE_CODES 6
#define SETTING_RUNG(setting) ((uint8_t)(setting)&7)
#define SETTING_LADDER(setting) ((uint8_t)(setting) >> 3 & 3)
#define SETTING_DIODE_IN(setting) ((uint8_t)(setting) >> 5 & 1)
#define SETTING_PE_CLOSED(setting) ((uint8_t)(setting) >> 6 & 1)
#define SETTING_CABLE(setting) ((uint8_t)((setting) >> 7) & 7)
#define SETTING_UNUSED(setting) ((setting) >> 10)
#define OPEN_SETTING ((uint16_t)(1 << 3 | 1 << 5 | 1 << 6)) /* nominal, diode in, PE closed */

#endif

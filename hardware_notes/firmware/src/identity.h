/* Who the board is, from its EEPROM, and why it last began anew. */
#ifndef IDENTITY_H
#define IDENTITY_H

#include <stdint.h>

#define BOARD_ID_SIZE 12

/* Bytes 0 to 22 of the EEPROM; numbers little endian. */
struct __attribute__((packed)) identity {
    uint16_t magic;
    uint8_t version;
    char board_id[BOARD_ID_SIZE];
    uint8_t oscillator; /* 0 unknown, 1 crystal, 2 resonator */
    uint8_t phases;     /* sensed, L1 first */
    uint16_t hold_c_s, hold_d_s;
    uint16_t crc; /* over the bytes before */
};

extern struct identity identity;

void identity_begin(void);

/* Number of the link protocol; 0 where a boot loader has taken the register away. */
uint8_t identity_reset_cause(void);

#endif

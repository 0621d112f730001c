/* Frames: type, sequence, payload, CRC-16/IBM-3740, in COBS, ended by a zero byte. */
#ifndef FRAME_H
#define FRAME_H

#include <stdbool.h>
#include <stdint.h>

/* Bytes that a frame adds to its payload: type, sequence, CRC, COBS code, closing zero. */
#define FRAME_EXTRA 6

uint16_t frame_crc(const uint8_t *bytes, uint8_t count);

/* Outgoing: one frame at a time is put together, straight into the ring of the line. Whoever
 * begins a frame has seen that there is room for all of it. */
void frame_begin(uint8_t type);
void frame_put(uint8_t byte);
void frame_put_bytes(const void *bytes, uint8_t count);
/* `count` bytes of the sample ring from place `from` on. */
void frame_put_samples(uint8_t from, uint8_t count);
void frame_end(void);

/* The next frame gets sequence number 0; one that is not ended is given up. */
void frame_restart(void);

/* Incoming. */
#define REQUEST_BYTES 10 /* of the longest request: type, sequence, setting, nonce, CRC */

struct request {
    uint8_t type;
    uint8_t sequence;
    uint8_t size; /* of the payload; larger than what is kept if the frame is too long */
    const uint8_t *payload;
};

/* Takes a byte of the line; true when it completes a sound frame. */
bool frame_take(uint8_t byte, struct request *request);

#endif

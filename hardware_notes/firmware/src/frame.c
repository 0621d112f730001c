#include "frame.h"

#include <util/crc16.h>

#include "line.h"
#include "rings.h"

#define LONGEST 245 /* bytes of an encoded frame without its zero */

uint16_t frame_crc(const uint8_t *bytes, uint8_t count)
{
    uint16_t crc = 0xFFFF;
    while (count--)
        crc = _crc_xmodem_update(crc, *bytes++); /* the step of CRC-16/IBM-3740 */
    return crc;
}

/* Outgoing ------------------------------------------------------------------------------------ */

static struct {
    uint8_t *place; /* next free byte */
    uint8_t *code;  /* where the length of the group in progress goes */
    uint8_t length; /* that length */
    uint16_t crc;
    uint8_t sequence;
} out;

/* The ring is 512 bytes from 0x200 on: the byte after it has bit 10 of its address set. */
static inline uint8_t *next(uint8_t *place)
{
    place++;
    if ((uintptr_t)place & (OUT_RING + OUT_RING_SIZE))
        place = out_ring;
    return place;
}

static inline void stuff(uint8_t byte)
{
    if (byte) {
        *out.place = byte;
        out.length++;
    } else {
        *out.code = out.length;
        out.code = out.place;
        out.length = 1;
    }
    out.place = next(out.place);
}

void frame_put(uint8_t byte)
{
    out.crc = _crc_xmodem_update(out.crc, byte);
    stuff(byte);
}

void frame_begin(uint8_t type)
{
    out.code = out_head;
    out.place = next(out_head);
    out.length = 1;
    out.crc = 0xFFFF;
    frame_put(type);
    frame_put(out.sequence++);
}

void frame_put_bytes(const void *bytes, uint8_t count)
{
    const uint8_t *byte = bytes;
    while (count--)
        frame_put(*byte++);
}

/* As frame_put, with all that changes in registers: nine bytes of ten go this way. */
__attribute__((optimize("O2"))) void frame_put_samples(uint8_t from, uint8_t count)
{
    uint8_t *place = out.place, *code = out.code;
    uint8_t length = out.length;
    uint16_t crc = out.crc;
    do {
        uint8_t byte = sample_ring[from++];
        crc = _crc_xmodem_update(crc, byte);
        if (byte) {
            *place = byte;
            length++;
        } else {
            *code = length;
            code = place;
            length = 1;
        }
        place = next(place);
    } while (--count);
    out.place = place, out.code = code;
    out.length = length;
    out.crc = crc;
}

void frame_end(void)
{
    uint16_t crc = out.crc;
    stuff((uint8_t)(crc >> 8));
    stuff((uint8_t)crc);
    *out.code = out.length;
    *out.place = 0;
    line_publish(next(out.place));
}

void frame_restart(void)
{
    out.sequence = 0;
}

/* Incoming ------------------------------------------------------------------------------------ */

static struct {
    uint8_t bytes[REQUEST_BYTES];
    uint8_t count;  /* decoded bytes, also those beyond what is kept */
    uint8_t raw;    /* bytes of the line since the last zero, at most LONGEST + 1 */
    uint8_t left;   /* bytes of the group still to come */
    bool zero_owed; /* a zero stands between this group and the next */
    uint16_t crc;
} in = {.crc = 0xFFFF};

static void keep(uint8_t byte)
{
    if (in.count < REQUEST_BYTES)
        in.bytes[in.count] = byte;
    in.count++; /* cannot wrap: LONGEST is below 256 */
    in.crc = _crc_xmodem_update(in.crc, byte);
}

static void unstuff(uint8_t byte)
{
    if (in.left) {
        in.left--;
        keep(byte);
        return;
    }
    if (in.zero_owed)
        keep(0);
    in.left = byte - 1;
    in.zero_owed = byte != 0xFF;
}

bool frame_take(uint8_t byte, struct request *request)
{
    if (byte) {
        if (in.raw > LONGEST)
            return false;
        if (in.raw++ < LONGEST)
            unstuff(byte);
        return false;
    }
    bool sound = in.raw <= LONGEST && in.left == 0 && in.count >= 4 && in.crc == 0;
    request->type = in.bytes[0];
    request->sequence = in.bytes[1];
    request->payload = in.bytes + 2;
    request->size = in.count - 4;
    in.count = in.raw = in.left = 0;
    in.zero_owed = false;
    in.crc = 0xFFFF;
    return sound;
}

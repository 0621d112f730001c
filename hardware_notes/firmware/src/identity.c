#include "identity.h"

#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>
#include <stddef.h>
#include <string.h>

#include "frame.h"

#define MAGIC 0x5242
#define VERSION 1
#define LONGEST_HOLD_S 60

static const struct identity unset = {
    .magic = MAGIC,
    .version = VERSION,
    .board_id = "RB-UNSET",
    .phases = 3,
    .hold_c_s = LONGEST_HOLD_S,
    .hold_d_s = LONGEST_HOLD_S,
};

struct identity identity;

static uint8_t reset_flags __attribute__((section(".noinit")));

/* Before anything else: a watchdog that bit stays on, at its shortest, over the reset, and old
 * boot loaders leave it so. Then the free memory is painted, so that the deepest stack can be
 * measured. */
void early(void) __attribute__((naked, used, section(".init3")));
void early(void)
{
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
    __asm__ volatile("ldi r30, lo8(_end)\n"
                     "ldi r31, hi8(_end)\n"
                     "ldi r24, 0xC5\n"
                     "ldi r25, hi8(%0 + 1)\n"
                     "1: st Z+, r24\n"
                     "cpi r30, lo8(%0 + 1)\n"
                     "cpc r31, r25\n"
                     "brne 1b\n" ::"i"(RAMEND)
                     : "r24", "r25", "r30", "r31");
}

static uint16_t crc_of(const struct identity *block)
{
    return frame_crc((const uint8_t *)block, offsetof(struct identity, crc));
}

static uint8_t is_sound(const struct identity *block)
{
    return block->magic == MAGIC && block->version == VERSION && block->crc == crc_of(block) &&
           block->oscillator <= 2 && block->phases <= 3 && block->hold_c_s >= 1 &&
           block->hold_c_s <= LONGEST_HOLD_S && block->hold_d_s >= 1 &&
           block->hold_d_s <= LONGEST_HOLD_S;
}

/* What the board is told by the file that it is flashed with: the boot loader then needs to know
 * nothing of EEPROM. Written once; a file that tells nothing leaves the EEPROM alone. `make eeprom`
 * builds it in, and name_board.py puts it into a finished file, which it finds by the mark. */
#define MARK "stand-in"
static const struct __attribute__((packed)) {
    char mark[sizeof MARK - 1];
    uint8_t tells;
    char board_id[BOARD_ID_SIZE];
    uint8_t oscillator, phases, hold_c_s, hold_d_s;
} told PROGMEM = {
    .mark = MARK,
#ifdef BOARD_ID
    .tells = 1,
    .board_id = BOARD_ID,
    .oscillator = BOARD_OSCILLATOR,
    .phases = BOARD_PHASES,
    .hold_c_s = BOARD_HOLD_C_S,
    .hold_d_s = BOARD_HOLD_D_S,
#endif
};

#ifdef BOARD_ID
#if BOARD_HOLD_C_S < 1 || BOARD_HOLD_C_S > 60 || BOARD_HOLD_D_S < 1 || BOARD_HOLD_D_S > 60
#error "hold limits are 1 to 60 s"
#endif
#if BOARD_PHASES < 0 || BOARD_PHASES > 3
#error "PHASES is 0 to 3"
#endif
_Static_assert(sizeof BOARD_ID - 1 <= BOARD_ID_SIZE && sizeof BOARD_ID > 1,
               "BOARD_ID has 1 to 12 characters");
#endif

static void write_identity(void)
{
    struct identity block = unset;
    if (pgm_read_byte(&told.tells) != 1)
        return;
    memcpy_P(block.board_id, told.board_id, BOARD_ID_SIZE);
    block.oscillator = pgm_read_byte(&told.oscillator);
    block.phases = pgm_read_byte(&told.phases);
    block.hold_c_s = pgm_read_byte(&told.hold_c_s);
    block.hold_d_s = pgm_read_byte(&told.hold_d_s);
    block.crc = crc_of(&block);
    eeprom_update_block(&block, (void *)0, sizeof block);
}

void identity_begin(void)
{
    write_identity();
    eeprom_read_block(&identity, (const void *)0, sizeof identity);
    if (!is_sound(&identity))
        identity = unset;
}

uint8_t identity_reset_cause(void)
{
    /* Power on also sets others, and a boot loader may leave by the watchdog: the rarer first. */
    static const uint8_t order[] = {PORF, BORF, EXTRF, WDRF};
    static const uint8_t number[] = {1, 3, 2, 4};
    for (uint8_t i = 0; i < sizeof order; i++)
        if (reset_flags & (1 << order[i]))
            return number[i];
    return 0;
}

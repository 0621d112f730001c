// The SPI of the ATmega328P as master in mode 0, with the chain of registers at its other end.
#include "mcu.h"

enum { VECTOR_SPI = 17 };
enum { SPIE = 0x80, SPE = 0x40, DORD = 0x20, MSTR = 0x10 };
enum { SPIF = 0x80, SPI2X = 0x01 };

bool spi_on(const struct mcu *mcu)
{
    return (mcu->avr->data[REG_SPCR] & (SPE | MSTR)) == (SPE | MSTR);
}

static unsigned clock_cycles(const struct mcu *mcu)
{
    static const unsigned DIVIDERS[] = {4, 16, 64, 128};
    unsigned divider = DIVIDERS[mcu->avr->data[REG_SPCR] & 3];
    return mcu->avr->data[REG_SPSR] & SPI2X ? divider / 2 : divider;
}

// What comes in is what the chain shows before each clock.
static uint8_t exchange(struct mcu *mcu, uint8_t out)
{
    bool low_first = mcu->avr->data[REG_SPCR] & DORD;
    uint8_t in = 0;
    for (int i = 0; i < 8; i++) {
        int bit = low_first ? i : 7 - i;
        in |= (uint8_t)(relays_out(&mcu->bench->relays) << bit);
        relays_shift(&mcu->bench->relays, out >> bit & 1);
    }
    return in;
}

static avr_cycle_count_t transferred(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when;
    struct mcu *mcu = param;
    struct spi *spi = &mcu->spi;
    spi->busy = false;
    spi->done = true;
    spi->done_seen = false;
    spi->in = exchange(mcu, spi->out);
    if (avr->data[REG_SPCR] & SPIE)
        avr_raise_interrupt(avr, mcu_vector(mcu, VECTOR_SPI));
    return 0;
}

static void touched(struct spi *spi)
{
    if (spi->done_seen)
        spi->done = spi->done_seen = false;
}

static void write_data(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)address;
    struct mcu *mcu = param;
    touched(&mcu->spi);
    if (!spi_on(mcu) || mcu->spi.busy)
        return;
    mcu->spi.busy = true;
    mcu->spi.out = value;
    avr_cycle_timer_register(avr, 8 * clock_cycles(mcu), transferred, mcu);
}

static uint8_t read_data(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)avr;
    (void)address;
    struct mcu *mcu = param;
    touched(&mcu->spi);
    return mcu->spi.in;
}

static uint8_t read_status(avr_t *avr, avr_io_addr_t address, void *param)
{
    struct mcu *mcu = param;
    mcu->spi.done_seen = mcu->spi.done;
    return (uint8_t)((mcu->spi.done ? SPIF : 0) | (avr->data[address] & SPI2X));
}

static void write_plain(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
}

static void handled(avr_irq_t *irq, uint32_t running, void *param)
{
    (void)irq;
    struct mcu *mcu = param;
    if (running)
        mcu->spi.done = false;
}

void spi_reset(struct mcu *mcu)
{
    mcu->spi = (struct spi){0};
}

void spi_begin(struct mcu *mcu)
{
    mcu_on_write(mcu, REG_SPDR, write_data);
    mcu_on_read(mcu, REG_SPDR, read_data);
    mcu_on_read(mcu, REG_SPSR, read_status);
    mcu_on_write(mcu, REG_SPSR, write_plain);
    mcu_on_write(mcu, REG_SPCR, write_plain);
    mcu_on_return(mcu, VECTOR_SPI, handled);
}

// What simavr 1.6 does otherwise than the chip in registers that firmware needs:
//
// - SBI on a flag register or on PINx reads the register and writes all bits back, so that all flags
//   are cleared and all pins toggled; the chip changes the one bit only.
// - Writing TIFRx clears every flag of the timer, whatever was written; PCIFR takes what is written
//   as new flags.
// - An interrupt that is raised while it is disabled, or disabled while it waits, is forgotten; on
//   the chip its flag stands, and it comes when it is enabled.
// - A capture between the reading of ICR1L and of ICR1H tears the value; the chip keeps the high byte.
// - Entering an interrupt takes no time; on the chip it takes four cycles.
#include "mcu.h"

// The value that an instruction really writes: SBI is 1001 1010 AAAA Abbb.
static uint8_t written(const avr_t *avr, uint8_t value)
{
    uint16_t opcode = (uint16_t)(avr->flash[avr->pc] | avr->flash[avr->pc + 1] << 8);
    return (opcode & 0xFF00) == 0x9A00 ? (uint8_t)(1 << (opcode & 7)) : value;
}

static void write_flags(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    value = written(avr, value);
    avr_int_table_t *table = &avr->interrupts;
    for (int i = 0; i < table->vector_count; i++) {
        avr_int_vector_t *vector = table->vector[i];
        uint8_t mask = (uint8_t)(vector->raised.mask << vector->raised.bit);
        if (vector->raised.reg == address && (value & mask))
            avr_clear_interrupt(avr, vector);
    }
}

static void write_enables(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
    avr_int_table_t *table = &avr->interrupts;
    for (int i = 0; i < table->vector_count; i++) {
        avr_int_vector_t *vector = table->vector[i];
        if (vector->enable.reg != address || !vector->raised.reg)
            continue;
        bool waits = avr_regbit_get(avr, vector->enable) && avr_regbit_get(avr, vector->raised);
        if (waits && !vector->pending)
            avr_raise_interrupt(avr, vector);
        else if (!avr_regbit_get(avr, vector->enable))
            vector->pending = 0;
    }
}

static void write_pins(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct mcu *mcu = param;
    int port = (address - REG_PINB) / 3;
    mcu->pin_write[port](avr, address, written(avr, value), mcu->pin_param[port]);
}

static uint8_t read_capture(avr_t *avr, avr_io_addr_t address, void *param)
{
    struct mcu *mcu = param;
    if (address == REG_ICR1H)
        return mcu->capture_high;
    mcu->capture_high = avr->data[REG_ICR1H];
    return avr->data[REG_ICR1L];
}

static void enter(avr_irq_t *irq, uint32_t running, void *param)
{
    (void)irq;
    if (running)
        ((struct mcu *)param)->avr->cycle += ENTRY_CYCLES;
}

void mending_begin(struct mcu *mcu)
{
    static const avr_io_addr_t FLAGS[] = {REG_TIFR0, REG_TIFR1, REG_TIFR2, REG_PCIFR};
    static const avr_io_addr_t ENABLES[] = {REG_TIMSK0, REG_TIMSK1, REG_TIMSK2, REG_PCICR};
    for (unsigned i = 0; i < sizeof FLAGS / sizeof *FLAGS; i++) {
        mcu_on_write(mcu, FLAGS[i], write_flags);
        mcu_on_write(mcu, ENABLES[i], write_enables);
    }
    mcu_on_read(mcu, REG_ICR1L, read_capture);
    mcu_on_read(mcu, REG_ICR1H, read_capture);
    for (int vector = 1; vector < VECTORS; vector++)
        if (avr_get_interrupt_irq(mcu->avr, (uint8_t)vector) != NULL)
            mcu_on_return(mcu, vector, enter);
    for (int port = 0; port < PORTS; port++) {
        avr_io_addr_t io = AVR_DATA_TO_IO(REG_PINB + 3 * port);
        mcu->pin_write[port] = mcu->avr->io[io].w.c;
        mcu->pin_param[port] = mcu->avr->io[io].w.param;
        mcu_on_write(mcu, (avr_io_addr_t)(REG_PINB + 3 * port), write_pins);
    }
}

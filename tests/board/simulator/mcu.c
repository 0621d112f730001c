#include "mcu.h"
#include "probe.h"

#include <math.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_watchdog.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_hex.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// From the end of a reset to the first instruction: fuses of the usual board, data sheet,
// "System clock, start-up times".
static const double START_UP_S = 0.065;
static const char PORT_NAMES[] = "BCD";

enum {
    BIT_CAPTURE = 0, BIT_RAMP = 1, BIT_LATCH = 2, BIT_DATA_OUT = 3, BIT_DATA_IN = 4, BIT_CLOCK = 5,
    BIT_SENSE = 2, BIT_INTERLOCK = 5, BIT_BEAT = 6, BIT_ENABLE = 7,
    BIT_LAMP = 4, BIT_ENERGISED = 5,
};

double mcu_time_of(const struct mcu *mcu, avr_cycle_count_t cycle)
{
    return (double)cycle / mcu->hz;
}

double mcu_time(const struct mcu *mcu)
{
    return mcu_time_of(mcu, mcu->avr->cycle);
}

// The first cycle that does not lie before `time`.
avr_cycle_count_t mcu_cycle_of(const struct mcu *mcu, double time)
{
    return (avr_cycle_count_t)ceil(time * mcu->hz - 1e-6);
}

void mcu_fail(struct mcu *mcu, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(mcu->trouble_text, sizeof mcu->trouble_text, format, arguments);
    va_end(arguments);
    mcu->trouble = mcu->trouble_text;
}

avr_int_vector_t *mcu_vector(struct mcu *mcu, int number)
{
    avr_int_table_t *table = &mcu->avr->interrupts;
    for (int i = 0; i < table->vector_count; i++)
        if (table->vector[i]->vector == number)
            return table->vector[i];
    abort();
}

void mcu_on_write(struct mcu *mcu, avr_io_addr_t address, avr_io_write_t write)
{
    avr_io_addr_t io = AVR_DATA_TO_IO(address);
    mcu->avr->io[io].w.c = write;
    mcu->avr->io[io].w.param = mcu;
}

void mcu_on_read(struct mcu *mcu, avr_io_addr_t address, avr_io_read_t read)
{
    avr_io_addr_t io = AVR_DATA_TO_IO(address);
    mcu->avr->io[io].r.c = read;
    mcu->avr->io[io].r.param = mcu;
}

void mcu_on_return(struct mcu *mcu, int vector, avr_irq_notify_t notify)
{
    avr_irq_register_notify(mcu_vector(mcu, vector)->irq + AVR_INT_IRQ_RUNNING, notify, mcu);
}

// ---- the bench moves on with the processor -----------------------------------------------------

static avr_cycle_count_t bench_due(struct mcu *mcu, avr_cycle_count_t after)
{
    double next = fmin(bench_next(mcu->bench), mcu_time_of(mcu, after) + 0.1);
    avr_cycle_count_t due = mcu_cycle_of(mcu, next);
    return due > after ? due : after + 1;
}

// Only up to the event that is due: a conversion may be due between it and the next one.
static avr_cycle_count_t run_bench(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    struct mcu *mcu = param;
    bench_advance(mcu->bench, mcu_time_of(mcu, when));
    return bench_due(mcu, when);
}

void mcu_wake_bench(struct mcu *mcu)
{
    avr_cycle_count_t now = mcu->avr->cycle;
    avr_cycle_timer_register(mcu->avr, bench_due(mcu, now) - now, run_bench, mcu);
}

// ---- pins --------------------------------------------------------------------------------------

// simavr lifts every input with a pull-up whenever its port is written, unless told that something
// outside holds it.
void mcu_pin(struct mcu *mcu, int port, int bit, bool high)
{
    uint8_t mask = (uint8_t)(1 << bit);
    mcu->held[port] |= mask;
    mcu->level[port] = (uint8_t)(high ? mcu->level[port] | mask : mcu->level[port] & ~mask);
    avr_ioport_external_t external = {
        .name = PORT_NAMES[port],
        .mask = mcu->held[port],
        .value = mcu->level[port],
    };
    avr_ioctl(mcu->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(PORT_NAMES[port]), &external);
    avr_raise_irq(avr_io_getirq(mcu->avr, AVR_IOCTL_IOPORT_GETIRQ(PORT_NAMES[port]), bit), high);
}

// The counter is read when simavr gets to it, up to an instruction after the edge: what the
// capture register holds is put right.
static void capture(void *context, bool above, double time)
{
    struct mcu *mcu = context;
    uint8_t *data = mcu->avr->data;
    bool rising = data[REG_TCCR1B] & 0x40;
    if (mcu->bench->traits.log_edges)
        bench_note(mcu->bench, time, "edge", above ? "1" : "0");
    mcu_pin(mcu, PORT_B, BIT_CAPTURE, above);
    avr_cycle_count_t at = mcu_cycle_of(mcu, time);
    if (rising != above || (data[REG_TCCR1B] & 7) != 1 || mcu->avr->cycle <= at)
        return;
    uint16_t count = (uint16_t)(data[REG_ICR1L] | data[REG_ICR1H] << 8);
    count = (uint16_t)(count - (mcu->avr->cycle - at));
    data[REG_ICR1L] = (uint8_t)count;
    data[REG_ICR1H] = (uint8_t)(count >> 8);
}

static void sense(void *context, int phase, bool conducts, double time)
{
    (void)time;
    mcu_pin(context, PORT_D, BIT_SENSE + phase, !conducts);
}

static void enable_sense(void *context, bool enabled, double time)
{
    (void)time;
    mcu_pin(context, PORT_D, BIT_ENABLE, enabled);
}

static void energise_sense(void *context, bool on, double time)
{
    (void)time;
    mcu_pin(context, PORT_C, BIT_ENERGISED, !on);
}

void mcu_interlock(struct mcu *mcu, bool closed)
{
    bench_note(mcu->bench, mcu_time(mcu), "interlock", closed ? "1" : "0");
    mcu->bench->interlock_closed = closed;
    mcu_pin(mcu, PORT_D, BIT_INTERLOCK, !closed);
}

static void write_b(struct mcu *mcu, uint8_t before, uint8_t after)
{
    uint8_t rose = (uint8_t)(after & ~before);
    double now = mcu_time(mcu);
    if ((before ^ after) >> BIT_RAMP & 1)
        bench_drive_ramp(mcu->bench, now, after >> BIT_RAMP & 1);
    if (!spi_on(mcu) && rose >> BIT_CLOCK & 1) {
        relays_shift(&mcu->bench->relays, after >> BIT_DATA_OUT & 1);
        mcu_pin(mcu, PORT_B, BIT_DATA_IN, !mcu->chain_broken && relays_out(&mcu->bench->relays));
    }
    if (rose >> BIT_LATCH & 1)
        bench_latch(mcu->bench, now);
}

static void outputs_changed(struct mcu *mcu, int port, uint8_t driven)
{
    uint8_t before = mcu->outputs[port];
    mcu->outputs[port] = driven;
    if (before == driven)
        return;
    if (port == PORT_B)
        write_b(mcu, before, driven);
    else if (port == PORT_C && (before ^ driven) >> BIT_LAMP & 1)
        bench_lamp(mcu->bench, mcu_time(mcu), driven >> BIT_LAMP & 1);
    else if (port == PORT_D && (before ^ driven) >> BIT_BEAT & 1)
        bench_beat(mcu->bench, mcu_time(mcu));
    mcu_wake_bench(mcu);
}

static int port_of(avr_t *avr, avr_irq_t *irq)
{
    for (int port = 0; port < PORTS; port++)
        if (irq == avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(PORT_NAMES[port]), irq->irq))
            return port;
    abort();
}

static void port_written(avr_irq_t *irq, uint32_t value, void *param)
{
    struct mcu *mcu = param;
    int port = port_of(mcu->avr, irq);
    outputs_changed(mcu, port, (uint8_t)(value & mcu->ddr[port]));
}

static void direction_written(avr_irq_t *irq, uint32_t value, void *param)
{
    struct mcu *mcu = param;
    int port = port_of(mcu->avr, irq);
    mcu->ddr[port] = (uint8_t)value;
    outputs_changed(mcu, port, mcu->avr->data[REG_PORTB + 3 * port] & (uint8_t)value);
}

static void watch_port(struct mcu *mcu, int port, int which, avr_irq_notify_t notify)
{
    avr_irq_t *irq
        = avr_io_getirq(mcu->avr, AVR_IOCTL_IOPORT_GETIRQ(PORT_NAMES[port]), which);
    // Not only changes: a reset changes registers unsaid.
    avr_irq_set_flags(irq, avr_irq_get_flags(irq) & (uint8_t)~IRQ_FLAG_FILTERED);
    avr_irq_register_notify(irq, notify, mcu);
}

// When the firmware starts its clock, its ticks begin.
static void write_timer(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct mcu *mcu = param;
    if ((avr->data[address] & 7) == 0 && (value & 7) != 0)
        bench_note(mcu->bench, mcu_time(mcu), "clock", "1");
    mcu->timer_write(avr, address, value, mcu->timer_param);
}

// ---- switch-on and reset -----------------------------------------------------------------------

static void note_reset(avr_t *avr)
{
    ((struct mcu *)avr->custom.data)->was_reset = true;
}

static void sleep_without_waiting(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles;
}

// A reset of simavr clears all registers and timers.
static void after_reset(struct mcu *mcu)
{
    mcu->was_reset = false;
    mcu->resets++;
    memset(mcu->ddr, 0, sizeof mcu->ddr);
    for (int port = 0; port < PORTS; port++) {
        mcu->outputs[port] = 0;
        mcu->avr->data[REG_PINB + 3 * port] = mcu->level[port];
    }
    bench_lamp(mcu->bench, mcu_time(mcu), false);
    bench_reset(mcu->bench, mcu_time(mcu), true);
    uart_reset(mcu);
    converter_reset(mcu);
    spi_reset(mcu);
    avr_cycle_count_t start = mcu->avr->cycle + (avr_cycle_count_t)(START_UP_S * mcu->hz);
    if (mcu->reset_until < start)
        mcu->reset_until = start;
}

void mcu_reset(struct mcu *mcu, double seconds)
{
    bench_note(mcu->bench, mcu_time(mcu), "reset", "1");
    mcu->reset_until = mcu->avr->cycle + (avr_cycle_count_t)((seconds + START_UP_S) * mcu->hz);
    avr_reset(mcu->avr);
    avr_regbit_set(mcu->avr, mcu->avr->reset_flags.extrf);
    after_reset(mcu);
}

static void wait_in_reset(struct mcu *mcu, avr_cycle_count_t target)
{
    if (target < mcu->reset_until) {
        mcu->avr->cycle = target;
        bench_advance(mcu->bench, mcu_time(mcu));
        return;
    }
    mcu->avr->cycle = mcu->reset_until;
    bench_advance(mcu->bench, mcu_time(mcu));
    bench_reset(mcu->bench, mcu_time(mcu), false);
    mcu->reset_until = 0;
    // It is on after a reset by itself, and counts from the first instruction.
    avr_ioctl(mcu->avr, AVR_IOCTL_WATCHDOG_RESET, NULL);
    mcu_wake_bench(mcu);
}

static avr_cycle_count_t arrived(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    (void)when;
    (void)param;
    return 0;
}

bool mcu_run(struct mcu *mcu, avr_cycle_count_t target)
{
    avr_t *avr = mcu->avr;
    while (avr->cycle < target && mcu->trouble == NULL) {
        if (mcu->reset_until) {
            wait_in_reset(mcu, target);
            continue;
        }
        // Sleep goes on to the next timer: let one be due at the target.
        avr_cycle_timer_register(avr, target - avr->cycle, arrived, mcu);
        while (avr->cycle < target && !mcu->was_reset && mcu->trouble == NULL) {
            avr->run_cycle_limit = mcu->loop.at ? 1 : 1000; // 1: a single instruction
            avr_run(avr);
            if (mcu->loop.at)
                probe_step(mcu);
            if (avr->state == cpu_Done || avr->state == cpu_Crashed)
                mcu_fail(mcu, "the firmware has %s at 0x%04x",
                         avr->state == cpu_Done ? "gone to sleep for ever" : "crashed", avr->pc);
        }
        if (mcu->was_reset) {
            bench_note(mcu->bench, mcu_time(mcu), "reset", "watchdog");
            after_reset(mcu);
        }
    }
    return mcu->trouble == NULL;
}

static void log_to_stderr(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level <= LOG_WARNING)
        vfprintf(stderr, format, arguments);
}

static bool load(avr_t *avr, const char *file, char *why, size_t room)
{
    size_t length = strlen(file);
    if (length > 4 && strcmp(file + length - 4, ".hex") == 0) {
        uint32_t size, start;
        uint8_t *code = read_ihex_file(file, &size, &start);
        if (code != NULL)
            avr_loadcode(avr, code, size, start);
        else
            snprintf(why, room, "%s cannot be read", file);
        return code != NULL;
    }
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(file, &firmware) != 0 || firmware.flashsize == 0) {
        snprintf(why, room, "%s cannot be read", file);
        return false;
    }
    avr_load_firmware(avr, &firmware);
    return true;
}

// Nothing in the memory may be relied on at switch-on.
static void fill_memory(struct mcu *mcu)
{
    for (unsigned i = mcu->avr->ioend + 1; i <= mcu->avr->ramend; i++)
        mcu->avr->data[i] = (uint8_t)dice_bits(&mcu->bench->dice);
}

static void wire(struct mcu *mcu)
{
    for (int port = 0; port < PORTS; port++) {
        watch_port(mcu, port, IOPORT_IRQ_REG_PORT, port_written);
        watch_port(mcu, port, IOPORT_IRQ_DIRECTION_ALL, direction_written);
    }
    avr_io_addr_t timer = AVR_DATA_TO_IO(REG_TCCR1B);
    mcu->timer_write = mcu->avr->io[timer].w.c;
    mcu->timer_param = mcu->avr->io[timer].w.param;
    mcu_on_write(mcu, REG_TCCR1B, write_timer);
    struct bench *bench = mcu->bench;
    bench->pilot.tell = capture;
    bench->pilot.context = mcu;
    bench->mains.tell = sense;
    bench->mains.context = mcu;
    bench->tell_enable = enable_sense;
    bench->tell_energise = energise_sense;
    bench->context = mcu;
    mcu_pin(mcu, PORT_B, BIT_CAPTURE, bench->pilot.above);
    mcu_pin(mcu, PORT_B, BIT_DATA_IN, relays_out(&bench->relays));
    for (int phase = 0; phase < PHASES; phase++)
        mcu_pin(mcu, PORT_D, BIT_SENSE + phase, true);
    mcu_pin(mcu, PORT_D, BIT_INTERLOCK, !bench->interlock_closed);
    mcu_pin(mcu, PORT_D, BIT_ENABLE, false);
    mcu_pin(mcu, PORT_C, BIT_ENERGISED, true);
}

bool mcu_begin(struct mcu *mcu, struct bench *bench, const char *file, char *why, size_t room)
{
    memset(mcu, 0, sizeof *mcu);
    mcu->bench = bench;
    mcu->hz = 16e6 * (1.0 + bench->traits.clock_ppm * 1e-6);
    avr_global_logger_set(log_to_stderr);
    avr_t *avr = mcu->avr = avr_make_mcu_by_name("atmega328p");
    if (avr == NULL) {
        snprintf(why, room, "this simavr has no ATmega328P");
        return false;
    }
    avr->custom.data = mcu;
    avr_init(avr);
    if (!load(avr, file, why, room))
        return false;
    avr->frequency = 16000000;
    avr->vcc = avr->avcc = 5000;
    avr->aref = 4096;
    avr->reset = note_reset;
    avr->sleep = sleep_without_waiting;
    avr_extint_set_strict_lvl_trig(avr, 0, 0);
    avr_extint_set_strict_lvl_trig(avr, 1, 0);
    fill_memory(mcu);
    mending_begin(mcu);
    probe_begin(mcu);
    uart_begin(mcu);
    converter_begin(mcu);
    spi_begin(mcu);
    wire(mcu);
    mcu->reset_until = (avr_cycle_count_t)(START_UP_S * mcu->hz);
    return true;
}

bool mcu_eeprom(struct mcu *mcu, const char *file, char *why, size_t room)
{
    uint8_t bytes[1024];
    FILE *stream = fopen(file, "rb");
    size_t size = stream != NULL ? fread(bytes, 1, sizeof bytes, stream) : 0;
    if (stream != NULL)
        fclose(stream);
    avr_eeprom_desc_t content = {.ee = bytes, .offset = 0, .size = (uint32_t)size};
    // Success is -1 there, like "not for me".
    if (size == 0 || avr_ioctl(mcu->avr, AVR_IOCTL_EEPROM_SET, &content) < -1) {
        snprintf(why, room, "%s is no content of an EEPROM of 1024 bytes", file);
        return false;
    }
    return true;
}

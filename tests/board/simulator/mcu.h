// The microcontroller, an ATmega328P at 16 MHz in simavr, wired to the bench.
//
// The processor, ports and timers are simavr's. Its converter, serial line and SPI are replaced
// (converter.c, uart.c, spi.c), because their timing in version 1.6 is not that of the chip, and a
// few registers are mended (mending.c). Cycles of the processor are counted from switch-on.
#ifndef MCU_H
#define MCU_H

#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#include "bench.h"

enum { PORT_B, PORT_C, PORT_D, PORTS };

struct uart {
    bool sending, buffered, complete; // TX
    uint8_t shift, buffer;
    uint8_t received[3]; // two in the buffer, the third in the shift register
    int received_count;
    bool overrun;
    avr_cycle_count_t receive_at; // last byte's end
    // Bytes on their way to the board, and those that came from it.
    uint8_t to_board[1 << 16];
    unsigned to_board_in, to_board_out;
    uint8_t from_board[1 << 17];
    unsigned from_board_count;
    unsigned long from_board_lost, overruns;
};

struct converter {
    bool converting, fresh; // fresh: switched on, first conversion still to come
    bool first;             // this one is it
    avr_cycle_count_t on_at;
    uint8_t mux;
    uint16_t sampled, data;
    bool locked; // low byte read, high byte not yet
    uint64_t conversions;
};

struct spi {
    bool busy, done, done_seen;
    uint8_t out, in;
};

// How long one interrupt's routine took, entry and return included, and waited for before.
struct service {
    unsigned long count, longest, total, waited; // cycles; the first a number, the last the longest
    avr_cycle_count_t entered, raised;           // 0: not now
};

// How long the main loop takes from one passing of an address to the next, and for how long it keeps
// interrupts off. Watched while `at` is not 0.
struct loop {
    avr_flashaddr_t at;
    unsigned long turns, total, longest, masked; // all but the first: cycles
    avr_cycle_count_t began, masked_since;       // 0: not yet
};

enum { VECTORS = 26, ENTRY_CYCLES = 4 };

struct mcu {
    avr_t *avr;
    struct bench *bench;
    double hz;
    struct uart uart;
    struct converter converter;
    struct spi spi;
    struct service services[VECTORS];
    struct loop loop;
    uint8_t capture_high; // read with the low byte of the capture register
    bool chain_broken;    // the relay registers' read-back does not come through
    uint8_t ddr[PORTS], outputs[PORTS];
    uint8_t held[PORTS], level[PORTS]; // pins that the bench drives, and how
    avr_cycle_count_t reset_until;
    bool was_reset;
    unsigned resets;
    avr_io_write_t pin_write[PORTS];
    void *pin_param[PORTS];
    avr_io_write_t timer_write;
    void *timer_param;
    const char *trouble; // why it cannot go on
    char trouble_text[128];
};

// Registers of the ATmega328P in data space, and bits, as its data sheet has them.
enum {
    REG_PINB = 0x23, REG_PORTB = 0x25,
    REG_TIFR0 = 0x35, REG_TIFR1 = 0x36, REG_TIFR2 = 0x37, REG_PCIFR = 0x3B,
    REG_SPCR = 0x4C, REG_SPSR = 0x4D, REG_SPDR = 0x4E,
    REG_PCICR = 0x68, REG_TIMSK0 = 0x6E, REG_TIMSK1 = 0x6F, REG_TIMSK2 = 0x70,
    REG_ADCL = 0x78, REG_ADCH = 0x79, REG_ADCSRA = 0x7A, REG_ADCSRB = 0x7B, REG_ADMUX = 0x7C,
    REG_TCCR1B = 0x81, REG_ICR1L = 0x86, REG_ICR1H = 0x87,
    REG_UCSR0A = 0xC0, REG_UCSR0B = 0xC1, REG_UBRR0L = 0xC4, REG_UBRR0H = 0xC5, REG_UDR0 = 0xC6,
};

// Builds the chip with the program of `file` (ELF, or Intel HEX if it ends so) and what the EEPROM
// holds. On trouble returns false and puts one sentence into `why`.
bool mcu_begin(struct mcu *mcu, struct bench *bench, const char *file, char *why, size_t room);
bool mcu_eeprom(struct mcu *mcu, const char *file, char *why, size_t room);

// Runs up to a cycle; false when the program cannot go on (`trouble`).
bool mcu_run(struct mcu *mcu, avr_cycle_count_t cycle);

// Pulls the reset line for so many seconds.
void mcu_reset(struct mcu *mcu, double seconds);

// Opens or closes the interlock.
void mcu_interlock(struct mcu *mcu, bool closed);

double mcu_time(const struct mcu *mcu);
double mcu_time_of(const struct mcu *mcu, avr_cycle_count_t cycle);
avr_cycle_count_t mcu_cycle_of(const struct mcu *mcu, double time);

// A pin is driven from outside from now on.
void mcu_pin(struct mcu *mcu, int port, int bit, bool high);

// When the bench's next event is due may have changed.
void mcu_wake_bench(struct mcu *mcu);

void mcu_fail(struct mcu *mcu, const char *format, ...) __attribute__((format(printf, 2, 3)));

// For the modules of the chip.
avr_int_vector_t *mcu_vector(struct mcu *mcu, int number);
void mcu_on_write(struct mcu *mcu, avr_io_addr_t address, avr_io_write_t write);
void mcu_on_read(struct mcu *mcu, avr_io_addr_t address, avr_io_read_t read);
void mcu_on_return(struct mcu *mcu, int vector, avr_irq_notify_t notify);

void mending_begin(struct mcu *mcu);
void uart_begin(struct mcu *mcu);
void uart_reset(struct mcu *mcu);
void uart_send(struct mcu *mcu, const uint8_t *bytes, unsigned count);
void converter_begin(struct mcu *mcu);
void converter_reset(struct mcu *mcu);
void spi_begin(struct mcu *mcu);
void spi_reset(struct mcu *mcu);
bool spi_on(const struct mcu *mcu);

#endif

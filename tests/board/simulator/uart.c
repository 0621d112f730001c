// The serial line of the ATmega328P as its data sheet describes it: ten bits a byte, one byte being
// sent and one waiting, two received and a third in the shift register, data overrun.
#include "mcu.h"

enum { VECTOR_RX = 18, VECTOR_EMPTY = 19, VECTOR_TX = 20 };
enum { RXC = 0x80, TXC = 0x40, UDRE = 0x20, DOR = 0x08, U2X = 0x02 };
enum { RXCIE = 0x80, TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08 };

static uint8_t control(const struct mcu *mcu)
{
    return mcu->avr->data[REG_UCSR0B];
}

static avr_cycle_count_t byte_cycles(struct mcu *mcu)
{
    const uint8_t *data = mcu->avr->data;
    unsigned divider = (unsigned)(data[REG_UBRR0L] | (data[REG_UBRR0H] & 15) << 8) + 1;
    unsigned bit = divider * (data[REG_UCSR0A] & U2X ? 8 : 16);
    if (bit != 16)
        mcu_fail(mcu, "the firmware's line runs at %u baud and not at 1000000", 16000000 / bit);
    return 10 * bit;
}

static void level(struct mcu *mcu, int number, bool wanted)
{
    avr_int_vector_t *vector = mcu_vector(mcu, number);
    if (wanted && !vector->pending)
        avr_raise_interrupt(mcu->avr, vector);
    else if (!wanted && vector->pending)
        vector->pending = 0;
}

// Data register empty and receive complete are levels: the interrupt comes as long as they stand.
static void update(struct mcu *mcu)
{
    struct uart *uart = &mcu->uart;
    level(mcu, VECTOR_RX, uart->received_count > 0 && control(mcu) & RXCIE);
    level(mcu, VECTOR_EMPTY, !uart->buffered && control(mcu) & UDRIE && control(mcu) & TXEN);
    level(mcu, VECTOR_TX, uart->complete && control(mcu) & TXCIE);
}

static avr_cycle_count_t sent(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    struct mcu *mcu = param;
    struct uart *uart = &mcu->uart;
    if (uart->from_board_count < sizeof uart->from_board)
        uart->from_board[uart->from_board_count++] = uart->shift;
    else
        uart->from_board_lost++;
    uart->sending = uart->buffered;
    uart->shift = uart->buffer;
    uart->complete = !uart->sending;
    uart->buffered = false;
    update(mcu);
    return uart->sending ? when + byte_cycles(mcu) : 0;
}

static void write_data(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)address;
    struct mcu *mcu = param;
    struct uart *uart = &mcu->uart;
    if (!(control(mcu) & TXEN))
        return;
    if (!uart->sending) {
        uart->sending = true;
        uart->shift = value;
        avr_cycle_timer_register(avr, byte_cycles(mcu), sent, mcu);
    } else if (!uart->buffered) {
        uart->buffered = true;
        uart->buffer = value;
    } // else the chip ignores it
    update(mcu);
}

static uint8_t read_data(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)avr;
    (void)address;
    struct mcu *mcu = param;
    struct uart *uart = &mcu->uart;
    uint8_t value = uart->received[0];
    if (uart->received_count > 0)
        uart->received_count--;
    uart->received[0] = uart->received[1];
    uart->received[1] = uart->received[2];
    uart->overrun = false;
    update(mcu);
    return value;
}

static uint8_t read_status(avr_t *avr, avr_io_addr_t address, void *param)
{
    struct mcu *mcu = param;
    const struct uart *uart = &mcu->uart;
    uint8_t value = avr->data[address] & (U2X | 1);
    value |= uart->received_count > 0 ? RXC : 0;
    value |= uart->complete ? TXC : 0;
    value |= uart->buffered ? 0 : UDRE;
    value |= uart->overrun ? DOR : 0;
    avr->data[address] = value;
    return value;
}

static void write_status(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct mcu *mcu = param;
    avr->data[address] = value & (U2X | 1);
    if (value & TXC)
        mcu->uart.complete = false;
    update(mcu);
}

static void write_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct mcu *mcu = param;
    avr->data[address] = value;
    if (!(value & RXEN))
        mcu->uart.received_count = 0;
    update(mcu);
}

static void returned(avr_irq_t *irq, uint32_t running, void *param)
{
    (void)irq;
    struct mcu *mcu = param;
    if (!running)
        update(mcu);
}

static void transmit_handled(avr_irq_t *irq, uint32_t running, void *param)
{
    (void)irq;
    struct mcu *mcu = param;
    if (running)
        mcu->uart.complete = false;
}

static avr_cycle_count_t received(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    struct mcu *mcu = param;
    struct uart *uart = &mcu->uart;
    uint8_t value = uart->to_board[uart->to_board_out++ % sizeof uart->to_board];
    if (!(control(mcu) & RXEN)) {
        // Nobody listens.
    } else if (uart->received_count < 3) {
        uart->received[uart->received_count++] = value;
    } else {
        uart->overrun = true;
        uart->overruns++;
    }
    update(mcu);
    return uart->to_board_out != uart->to_board_in ? when + 160 : 0;
}

void uart_send(struct mcu *mcu, const uint8_t *bytes, unsigned count)
{
    struct uart *uart = &mcu->uart;
    bool idle = uart->to_board_out == uart->to_board_in;
    for (unsigned i = 0; i < count; i++)
        if (uart->to_board_in - uart->to_board_out < sizeof uart->to_board)
            uart->to_board[uart->to_board_in++ % sizeof uart->to_board] = bytes[i];
    if (idle && uart->to_board_out != uart->to_board_in)
        avr_cycle_timer_register(mcu->avr, 160, received, mcu);
}

void uart_reset(struct mcu *mcu)
{
    struct uart *uart = &mcu->uart;
    uart->sending = uart->buffered = uart->complete = uart->overrun = false;
    uart->received_count = 0;
    if (uart->to_board_out != uart->to_board_in)
        avr_cycle_timer_register(mcu->avr, 160, received, mcu);
}

void uart_begin(struct mcu *mcu)
{
    mcu_on_write(mcu, REG_UDR0, write_data);
    mcu_on_read(mcu, REG_UDR0, read_data);
    mcu_on_write(mcu, REG_UCSR0A, write_status);
    mcu_on_read(mcu, REG_UCSR0A, read_status);
    mcu_on_write(mcu, REG_UCSR0B, write_control);
    mcu->avr->io[AVR_DATA_TO_IO(REG_UCSR0B)].r.c = NULL;
    mcu->avr->io[AVR_DATA_TO_IO(REG_UBRR0L)].w.c = NULL;
    mcu_on_return(mcu, VECTOR_RX, returned);
    mcu_on_return(mcu, VECTOR_EMPTY, returned);
    mcu_on_return(mcu, VECTOR_TX, transmit_handled);
}

// The converter of the ATmega328P as its data sheet describes it ("Analog-to-digital converter"):
// its clock runs from the moment at which it is switched on, the first conversion takes 25 clocks and
// samples after 13.5, every other one 13 and 1.5, and in free running the next one begins where one
// ends. Channel and reference are those of the register when a conversion begins.
#include "mcu.h"

#include <math.h>

enum { VECTOR_ADC = 21 };
enum { ADEN = 0x80, ADSC = 0x40, ADATE = 0x20, ADIF = 0x10, ADIE = 0x08 };
enum { ADLAR = 0x20, MUX_PILOT = 0, MUX_BANDGAP = 14, MUX_GROUND = 15 };
static const double AREF_V = 4.096;

static unsigned prescaler(const struct mcu *mcu)
{
    unsigned select = mcu->avr->data[REG_ADCSRA] & 7;
    return select == 0 ? 2 : 1u << select;
}

static double pin_volts(struct mcu *mcu, double time)
{
    switch (mcu->converter.mux & 15) {
    case MUX_BANDGAP:
        return mcu->bench->traits.bandgap_v;
    case MUX_GROUND:
        return 0.0;
    default:
        return bench_pin_volts(mcu->bench, mcu->converter.mux & 15, time);
    }
}

static double reference_volts(const struct mcu *mcu)
{
    switch (mcu->converter.mux >> 6) {
    case 0:
        return AREF_V;
    case 1:
        return mcu->bench->traits.supply_v;
    default:
        return mcu->bench->traits.bandgap_v;
    }
}

// A triangle on the pilot's input alone, as the board's oscillator gives it; in steps.
static double dither(const struct mcu *mcu, double time)
{
    const struct traits *traits = &mcu->bench->traits;
    double turn = time * traits->dither_hz;
    double triangle = 4.0 * fabs(turn - floor(turn) - 0.5) - 1.0;
    return (mcu->converter.mux & 15) == MUX_PILOT ? sqrt(3.0) * traits->dither_steps * triangle : 0.0;
}

// The pilot's design is count = (v + 15 V) / 30 V * 1023. Noise is the converter's own.
static uint16_t count_of(struct mcu *mcu, double time)
{
    double steps = pin_volts(mcu, time) / reference_volts(mcu) * 1023.0 + dither(mcu, time);
    steps += mcu->bench->traits.converter_noise_steps * dice_normal(&mcu->bench->dice);
    return (uint16_t)fmax(0.0, fmin(1023.0, rint(steps)));
}

static avr_cycle_count_t sample(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    struct mcu *mcu = param;
    if (mcu->converter.first) {
        mcu->converter.first = false;
        bench_note(mcu->bench, mcu_time_of(mcu, when), "sample", "1");
    }
    mcu->converter.sampled = count_of(mcu, mcu_time_of(mcu, when));
    return 0;
}

static avr_cycle_count_t finish(avr_t *avr, avr_cycle_count_t when, void *param);

// `at` may lie a little in the past, by the instruction in which the last conversion ended.
static void begin(struct mcu *mcu, avr_cycle_count_t at)
{
    avr_t *avr = mcu->avr;
    struct converter *converter = &mcu->converter;
    unsigned clock = prescaler(mcu);
    double until_sample = converter->fresh ? 13.5 : 1.5, whole = converter->fresh ? 25 : 13;
    converter->converting = true;
    converter->first = converter->fresh;
    converter->fresh = false;
    converter->mux = avr->data[REG_ADMUX];
    avr_cycle_count_t sample_at = at + (avr_cycle_count_t)(until_sample * clock);
    avr_cycle_count_t end_at = at + (avr_cycle_count_t)(whole * clock);
    avr_cycle_timer_register(avr, sample_at > avr->cycle ? sample_at - avr->cycle : 0, sample, mcu);
    avr_cycle_timer_register(avr, end_at > avr->cycle ? end_at - avr->cycle : 0, finish, mcu);
}

static avr_cycle_count_t finish(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct mcu *mcu = param;
    struct converter *converter = &mcu->converter;
    converter->conversions++;
    if (!converter->locked)
        converter->data = converter->sampled;
    avr_raise_interrupt(avr, mcu_vector(mcu, VECTOR_ADC));
    converter->converting = false;
    if (avr->data[REG_ADCSRA] & ADATE && (avr->data[REG_ADCSRB] & 7) == 0)
        begin(mcu, when);
    else
        avr->data[REG_ADCSRA] &= (uint8_t)~ADSC;
    return 0;
}

static void switch_off(struct mcu *mcu)
{
    avr_cycle_timer_cancel(mcu->avr, sample, mcu);
    avr_cycle_timer_cancel(mcu->avr, finish, mcu);
    mcu->converter.converting = false;
}

static void write_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct mcu *mcu = param;
    struct converter *converter = &mcu->converter;
    avr_int_vector_t *vector = mcu_vector(mcu, VECTOR_ADC);
    bool was_on = avr->data[address] & ADEN, flag = avr->data[address] & ADIF;
    if (value & ADIF) {
        flag = false; // a one clears it
        vector->pending = 0;
    }
    bool starts = value & ADSC && !converter->converting;
    avr->data[address] = (uint8_t)((value & ~(ADIF | ADSC)) | (flag ? ADIF : 0)
                                   | (converter->converting ? ADSC : 0));
    if (!(value & ADEN)) {
        switch_off(mcu);
        avr->data[address] &= (uint8_t)~ADSC;
    } else if (!was_on) {
        converter->fresh = true;
        converter->on_at = avr->cycle;
    }
    if (!(value & ADIE))
        vector->pending = 0;
    else if (flag && !vector->pending)
        avr_raise_interrupt(avr, vector);
    if (value & ADEN && starts) {
        unsigned clock = prescaler(mcu);
        // The next rising edge of the converter's clock; its divider began with a low half.
        avr_cycle_count_t since = avr->cycle - converter->on_at + clock / 2;
        avr->data[address] |= ADSC;
        begin(mcu, converter->on_at + since / clock * clock + clock / 2);
    }
}

static void write_plain(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
}

static uint16_t adjusted(const struct mcu *mcu)
{
    uint16_t data = mcu->converter.data;
    return mcu->avr->data[REG_ADMUX] & ADLAR ? (uint16_t)(data << 6) : data;
}

static uint8_t read_low(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)avr;
    (void)address;
    struct mcu *mcu = param;
    mcu->converter.locked = true;
    return (uint8_t)adjusted(mcu);
}

static uint8_t read_high(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)avr;
    (void)address;
    struct mcu *mcu = param;
    mcu->converter.locked = false;
    return (uint8_t)(adjusted(mcu) >> 8);
}

void converter_reset(struct mcu *mcu)
{
    mcu->converter = (struct converter){.conversions = mcu->converter.conversions};
}

void converter_begin(struct mcu *mcu)
{
    mcu_on_write(mcu, REG_ADCSRA, write_control);
    mcu_on_write(mcu, REG_ADCSRB, write_plain);
    mcu_on_write(mcu, REG_ADMUX, write_plain);
    mcu_on_read(mcu, REG_ADCL, read_low);
    mcu_on_read(mcu, REG_ADCH, read_high);
}

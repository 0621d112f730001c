#include "thermometer.h"

#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>

#include "clock.h"
#include "converter.h"
#include "pins.h"

#define OLD_TICKS (60 * TICKS_PER_SECOND)

/* 10 kohm at 25 degrees, B = 3950 K, to ground, 10 kohm to the reference: tenths of a degree at
 * every 32nd count from 64 on. 1 / T = 1 / 298.15 + ln(n / (1023 - n)) / 3950. Straight lines
 * between them are within 0.4 degrees from -20 to 80; the thermistor's own 1 % is as much. */
#define FIRST_COUNT 64
#define STEP 32
static const int16_t table[] PROGMEM = {
    1016, 866, 763, 685, 621, 567, 519, 477, 438, 403, 369,  338,  307,  278,  250,
    222,  194, 166, 139, 111, 82,  52,  21,  -12, -48, -88,  -133, -188, -258, -368,
};
#define LAST_COUNT (FIRST_COUNT + STEP * (sizeof table / sizeof *table - 1))

static int16_t tenths = TEMPERATURE_UNKNOWN;
static uint32_t read_tick;

static int16_t tenths_of(uint16_t count)
{
    if (count < FIRST_COUNT || count >= LAST_COUNT)
        return TEMPERATURE_UNKNOWN; /* shorted, not fitted, or beyond the table */
    uint8_t place = (count - FIRST_COUNT) / STEP, rest = (count - FIRST_COUNT) % STEP;
    int16_t here = (int16_t)pgm_read_word(&table[place]);
    int16_t next = (int16_t)pgm_read_word(&table[place + 1]);
    return here + (next - here) * rest / STEP;
}

void thermometer_read(void)
{
    if (!converter_is_free())
        return;
    ADMUX = THERMISTOR_INPUT;
    ADCSRA = (1 << ADEN) | (1 << ADSC) | 7; /* 125 kHz */
    while (ADCSRA & (1 << ADSC))
        ;
    uint16_t count = ADC;
    ADCSRA = 0;
    tenths = tenths_of(count);
    read_tick = clock_short();
}

int16_t thermometer_tenths(void)
{
    if (clock_short() - read_tick >= OLD_TICKS)
        tenths = TEMPERATURE_UNKNOWN;
    return tenths;
}

#include "traits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// An invented charger that conforms: 16 A, three phases, tethered cable, on an invented board whose
// parts are as good as its bill of materials asks for.
const struct traits SOUND = {
    .frequency_hz = 999.8,
    .jitter_us = 0.015,
    .voc_high_v = 11.97,
    .voc_low_v = -12.04,
    .generator_rise_us = 1.0,
    .source_ohm = 997.0,
    .cs_pf = 820.0,
    .noise_v = 0.004,
    .rated_a = 16.0,
    .set_a = NAN,
    .close_s = 0.6,
    .open_ms = 45.0,
    .unplug_ms = 38.0,
    .short_ms = 70.0,
    .pulses_after_s = 0.5,
    .duty_lag_s = 1.0,
    .phases = 3,
    .checks_diode = true,
    .obeys_cable = true,
    .outlet = OUTLET_CABLE,
    .ventilation = VENTILATION_REFUSE,
    .applied_v = NAN,
    .applied_hz = NAN,
    .applied_width_us = NAN,
    .mains_hz = 50.02,
    .mains_v = 230.0,
    .clock_ppm = 11.0,
    .front_us = 0.08,
    .input_ohm = 1e6,
    .board_pf = 60.0,
    .gain_error = 0.0011,
    .offset_mv = 7.0,
    .linearity_mv = 3.0,
    .dither_steps = 0.57,
    .dither_hz = 8527.0,
    .converter_noise_steps = 0.2,
    .threshold_mv = 3.0,
    .hysteresis_mv = 30.0,
    .delay_ns = 60.0,
    .skew_ns = 20.0,
    .diode_v = 0.70,
    .diode_n = 1.8,
    .ladder_error = 0.0004,
    .operate_ms = 4.0,
    .release_ms = 2.5,
    .bounce_ms = 1.0,
    .pump_ms = 30.0,
    .sense_v = 40.0,
    .temperature_c = 23.5,
    .bandgap_v = 1.087,
    .supply_v = 4.96,
    .seed = 1,
};

enum kind { NUMBER, YES_NO, OUTLET, VENTILATION };

struct key {
    const char *name;
    enum kind kind;
    size_t offset;
    double low, high;
    const char *word; // taken in place of a number
    double meaning;
};

#define NUM(field, low, high) {#field, NUMBER, offsetof(struct traits, field), low, high, "", 0}
#define DELAY(field, high) \
    {#field, NUMBER, offsetof(struct traits, field), 0, high, "never", INFINITY}
#define OPTIONAL(field, low, high) \
    {#field, NUMBER, offsetof(struct traits, field), low, high, "none", NAN}
#define SWITCH(field) {#field, YES_NO, offsetof(struct traits, field), 0, 0, "", 0}

static const struct key KEYS[] = {
    NUM(frequency_hz, 100, 5000),
    NUM(drift_ppm_per_s, -1000, 1000),
    NUM(jitter_us, 0, 5),
    NUM(pulse_offset_us, -200, 200),
    NUM(voc_high_v, 0, 14.5),
    NUM(voc_low_v, -14.5, 0),
    NUM(generator_rise_us, 0, 20),
    NUM(source_ohm, 100, 10000),
    NUM(cs_pf, 0, 10000),
    NUM(noise_v, 0, 2),
    NUM(hum_v, 0, 2),
    NUM(rated_a, 6, 80),
    OPTIONAL(set_a, 6, 80),
    DELAY(close_s, 60),
    DELAY(open_ms, 60000),
    DELAY(unplug_ms, 60000),
    DELAY(short_ms, 60000),
    NUM(pole_spread_ms, 0, 20),
    NUM(pulses_after_s, 0, 60),
    DELAY(duty_lag_s, 60),
    NUM(high_threshold_shift_v, -3, 3),
    NUM(phases, 1, 3),
    SWITCH(checks_diode),
    SWITCH(obeys_cable),
    SWITCH(pwm_in_a),
    SWITCH(mains_in_b),
    SWITCH(welded),
    {"outlet", OUTLET, offsetof(struct traits, outlet), 0, 0, "", 0},
    {"ventilation", VENTILATION, offsetof(struct traits, ventilation), 0, 0, "", 0},
    OPTIONAL(applied_v, -14.5, 14.5),
    OPTIONAL(applied_hz, 100, 5000),
    OPTIONAL(applied_width_us, 1, 9900),
    NUM(mains_hz, 40, 70),
    NUM(mains_v, 0, 300),
    NUM(clock_ppm, -10000, 10000),
    NUM(front_us, 0.01, 20),
    NUM(input_ohm, 1e4, 1e9),
    NUM(board_pf, 10, 10000),
    NUM(gain_error, -0.1, 0.1),
    NUM(offset_mv, -2000, 2000),
    NUM(linearity_mv, -200, 200),
    NUM(dither_steps, 0, 5),
    NUM(dither_hz, 100, 100000),
    NUM(converter_noise_steps, 0, 5),
    NUM(threshold_mv, -1000, 1000),
    NUM(hysteresis_mv, 0, 1000),
    NUM(delay_ns, 0, 10000),
    NUM(skew_ns, -5000, 5000),
    NUM(diode_v, 0.1, 2),
    NUM(diode_n, 1, 3),
    NUM(ladder_error, -0.2, 0.2),
    NUM(operate_ms, 0.1, 20),
    NUM(release_ms, 0.1, 20),
    NUM(bounce_ms, 0, 5),
    NUM(pump_ms, 1, 50),
    NUM(sense_v, 1, 300),
    NUM(temperature_c, -30, 90),
    NUM(bandgap_v, 1, 1.2),
    NUM(supply_v, 4, 5.5),
    SWITCH(chain_broken),
    SWITCH(latch_broken),
    SWITCH(output_stuck),
    SWITCH(pump_broken),
    SWITCH(pump_stuck),
    SWITCH(log_edges),
    NUM(seed, 0, 1e9),
};

static bool set_number(const struct key *key, void *field, const char *text)
{
    if (*key->word && strcmp(text, key->word) == 0) {
        *(double *)field = key->meaning;
        return true;
    }
    char *end;
    double value = strtod(text, &end);
    if (end == text || *end != '\0' || !(value >= key->low && value <= key->high))
        return false;
    *(double *)field = value;
    return true;
}

static bool set_word(int *field, const char *text, const char *zero, const char *one)
{
    if (strcmp(text, zero) != 0 && strcmp(text, one) != 0)
        return false;
    *field = strcmp(text, one) == 0;
    return true;
}

static bool set_field(const struct key *key, struct traits *traits, const char *text)
{
    void *field = (char *)traits + key->offset;
    int word;
    switch (key->kind) {
    case NUMBER:
        return set_number(key, field, text);
    case YES_NO:
        if (!set_word(&word, text, "no", "yes"))
            return false;
        *(bool *)field = word != 0;
        return true;
    case OUTLET:
        return set_word(field, text, "cable", "socket");
    case VENTILATION:
        return set_word(field, text, "refuse", "allow");
    }
    return false;
}

bool traits_set(struct traits *traits, const char *key, const char *text, char *why, size_t room)
{
    for (size_t i = 0; i < sizeof KEYS / sizeof *KEYS; i++) {
        if (strcmp(KEYS[i].name, key) != 0)
            continue;
        if (set_field(&KEYS[i], traits, text))
            return true;
        snprintf(why, room, "%s cannot be %s", key, text);
        return false;
    }
    snprintf(why, room, "there is no trait %s", key);
    return false;
}

bool traits_set_pair(struct traits *traits, const char *pair, char *why, size_t room)
{
    char key[64];
    const char *equals = strchr(pair, '=');
    if (equals == NULL || (size_t)(equals - pair) >= sizeof key) {
        snprintf(why, room, "%s is no key=value", pair);
        return false;
    }
    memcpy(key, pair, (size_t)(equals - pair));
    key[equals - pair] = '\0';
    return traits_set(traits, key, equals + 1, why, room);
}

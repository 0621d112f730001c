// What the charger and the board are like: every trait by a key, in physical units.
#ifndef TRAITS_H
#define TRAITS_H

#include <stdbool.h>
#include <stddef.h>

enum outlet { OUTLET_CABLE, OUTLET_SOCKET };
enum ventilation { VENTILATION_REFUSE, VENTILATION_ALLOW };

struct traits {
    // The charger.
    double frequency_hz, drift_ppm_per_s, jitter_us, pulse_offset_us;
    double voc_high_v, voc_low_v, generator_rise_us, source_ohm, cs_pf;
    double noise_v, hum_v;
    double rated_a, set_a; // set_a is NAN: as rated
    double close_s, open_ms, unplug_ms, short_ms, pole_spread_ms;
    double pulses_after_s, duty_lag_s, high_threshold_shift_v;
    double phases;
    bool checks_diode, obeys_cable, pwm_in_a, mains_in_b, welded;
    int outlet, ventilation;
    // In the charger's place, for calibrations: a steady supply, or a pulse generator with the
    // charger's levels. NAN: none.
    double applied_v, applied_hz, applied_width_us;
    // The grid.
    double mains_hz, mains_v;
    // The board.
    double clock_ppm, front_us, input_ohm, board_pf;
    double gain_error, offset_mv, linearity_mv;
    double dither_steps, dither_hz, converter_noise_steps; // in root mean square
    double threshold_mv, hysteresis_mv, delay_ns, skew_ns;
    double diode_v, diode_n;
    double ladder_error;
    double operate_ms, release_ms, bounce_ms, pump_ms;
    double sense_v;
    double temperature_c, bandgap_v, supply_v;
    bool chain_broken; // nothing comes back from the last register
    bool latch_broken; // the registers never take over what was shifted in
    bool output_stuck; // that of the nominal C holds its relay whatever the registers say
    bool pump_broken;  // the registers' enable never comes
    bool pump_stuck;   // it stays on without a heartbeat, but for the reset line
    bool log_edges;    // tell every edge of the comparator among the changes
    double seed;
};

extern const struct traits SOUND;

// Sets one trait from its text. On trouble returns false and puts one sentence into `why`.
bool traits_set(struct traits *traits, const char *key, const char *text, char *why, size_t room);

// Same from "key=value".
bool traits_set_pair(struct traits *traits, const char *pair, char *why, size_t room);

#endif

"""The rows of the fault matrix, written down from the physics before the first run.

Limits are those of IEC 61851-1:2017 (SAE J1772 OCT2017 where a row says so), by the clause in each
name; levels at the contact are worked out with the simulated circuit, nominal ladder of Table A.3.
"""

from dataclasses import replace
from typing import Final

from matrix_levels import SOUND, level, load, rail_for, source_equivalent_rail
from matrix_run import SAE, TETHERED
from matrix_table import REST, Follow, Trait, by_factor, only

from rungbench.link.words import LadderSet
from rungbench.simulated.circuit import Load

B, C = load("B"), load("C")
B_LOW, B_HIGH = load("B", LadderSet.LOW), load("B", LadderSet.HIGH)
C_LOW, C_HIGH = load("C", LadderSet.LOW), load("C", LadderSet.HIGH)
D_LOW, D_HIGH = load("D", LadderSet.LOW), load("D", LadderSet.HIGH)
_B_V, _C_V = level(SOUND.voc_high_v, B), level(SOUND.voc_high_v, C)
# Table A.10, lower bounds of the plateaus.
_LOWEST_B_V, _LOWEST_C_V = 8.37, 5.47

_VENTILATED: Final = replace(TETHERED, ventilation="allow")
_SOCKET: Final = replace(TETHERED, outlet="socket")
_SOCKET_63: Final = replace(_SOCKET, rated_current_a=63.0, set_current_a=63.0)
_SET_TO_6: Final = replace(TETHERED, set_current_a=6.0)

_DIVIDED = Follow(
    ("plateau-b", "plateau-b1"),
    "B is divided from the same rail: 0.9 V at the rail are 0.66 V there, beyond its window.",
)
_LATE_MAINS = Follow(
    ("recognised-c-low", "recognised-c-high"),
    "The ladders of the window edges wait 4.5 s for mains, which then is not there yet.",
)
_ENDS = Follow((REST,), "Mains where it must not be ends the run for safety.")
_NO_CURRENT = Follow(
    ("advertised-current", "least-current", "set-points", "reactions", "duty-steps"),
    "A duty of 5 % offers no current, whatever the charger is set to.",
)
_D_UNSEEN = Follow(
    ("recognised-d-low", "recognised-d-high"),
    "Mains tells whether D was recognised, and on the nominal D it tells the wrong thing already.",
)
_NEEDS_MAINS = Follow(
    (
        "phases",
        "mains-off-b",
        "mains-off-unplug",
        "session-kept",
        "mains-off-c1",
        "mains-kept",
        "mains-off-loop",
        "mains-off-short",
        "recognised-c-low",
        "recognised-c-high",
    ),
    "What is never on cannot be seen to go off, nor counted.",
)
_SAME_CURRENT = Follow(
    ("set-points", "duty-steps"), "The duty stays that of the current it was set to at first."
)


def _visible(level_v: float, at: Load, also: str = "") -> str:
    """Keys of a conforming charger whose level at a ladder is this, close to a border."""
    rail = rail_for(level_v, at)
    return "&".join(filter(None, (also, f"voc_high_v={rail:.4f}")))


LEVELS: Final = (
    Trait(
        "high rail too high (Table A.2: 12.6 V)",
        "voc_high_v",
        by_factor(lambda f: 12.0 + 0.6 * f),
        ("idle-level", "rail-high"),
        (_DIVIDED,),
    ),
    Trait(
        "high rail too low (Table A.2: 11.4 V)",
        "voc_high_v",
        by_factor(lambda f: 12.0 - 0.6 * f),
        ("idle-level", "rail-high"),
        (_DIVIDED,),
    ),
    Trait(
        "low rail too low (Table A.2: -12.6 V)",
        "voc_low_v",
        by_factor(lambda f: -12.0 - 0.6 * f),
        ("rail-low", "low-plateau-b", "low-plateau-c", "low-plateau-d"),
    ),
    Trait(
        "low rail too high (Table A.2: -11.4 V)",
        "voc_low_v",
        by_factor(lambda f: -12.0 + 0.6 * f),
        ("rail-low", "low-plateau-b", "low-plateau-c", "low-plateau-d"),
    ),
    Trait(
        "source resistor too high (Table A.2: 1030 ohm)",
        "source_ohm",
        by_factor(lambda f: 1000.0 + 30.0 * f),
        ("source-resistance",),
        doubtful=True,
    ),
    Trait(
        "source resistor too low (Table A.2: 970 ohm)",
        "source_ohm",
        by_factor(lambda f: 1000.0 - 30.0 * f),
        ("source-resistance",),
        doubtful=True,
    ),
    Trait(
        "high rail sags in B as a source resistor of 1030 ohm would (Table A.2)",
        "high_sag_b_v",
        by_factor(lambda f: SOUND.voc_high_v - source_equivalent_rail(1000.0 + 30.0 * f, B)),
        ("source-resistance",),
        doubtful=True,
    ),
    Trait(
        "high rail sags in B without pulses (Table A.10: 8.37 V)",
        "high_sag_b1_v",
        by_factor(lambda f: SOUND.voc_high_v - rail_for(_B_V - f * (_B_V - _LOWEST_B_V), B)),
        ("plateau-b1",),
    ),
    Trait(
        "high rail sags in C (Table A.10: 5.47 V)",
        "high_sag_c_v",
        by_factor(lambda f: SOUND.voc_high_v - rail_for(_C_V - f * (_C_V - _LOWEST_C_V), C)),
        ("plateau-c",),
    ),
    Trait(
        "low rail sags in B (Table A.10: -11.4 V)",
        "low_sag_b_v",
        by_factor(lambda f: -12.0 + 0.6 * f - SOUND.voc_low_v),
        ("low-plateau-b", "rail-low"),
    ),
    Trait(
        "low rail sags in C (Table A.10, extended: -11.4 V)",
        "low_sag_c_v",
        by_factor(lambda f: -12.0 + 0.6 * f - SOUND.voc_low_v),
        ("low-plateau-c",),
    ),
    Trait(
        "low rail sags in D (Table A.10, extended: -11.4 V)",
        "low_sag_d_v",
        by_factor(lambda f: -12.0 + 0.6 * f - SOUND.voc_low_v),
        ("low-plateau-d",),
    ),
)

PULSES: Final = (
    Trait(
        "frequency too high (A.4.4: 1005 Hz)",
        "frequency_hz",
        by_factor(lambda f: 1000.0 + 5.0 * f),
        ("frequency-b", "frequency-c"),
    ),
    Trait(
        "frequency too low (A.4.4: 995 Hz)",
        "frequency_hz",
        by_factor(lambda f: 1000.0 - 5.0 * f),
        ("frequency-b", "frequency-c"),
    ),
    Trait(
        "frequency too high in C only (A.4.4: 1005 Hz)",
        "frequency_in_c_hz",
        by_factor(lambda f: 1000.0 + 5.0 * f - SOUND.frequency_hz),
        ("frequency-c",),
    ),
    Trait(
        "pulses too long (Table A.2: 5 us)",
        "pulse_offset_us",
        by_factor(lambda f: 5.0 * f),
        ("pulse-width-b", "pulse-width-c", "advertised-current", "set-points"),
    ),
    Trait(
        "pulses too short (Table A.2: -5 us)",
        "pulse_offset_us",
        by_factor(lambda f: -5.0 * f),
        ("pulse-width-b", "pulse-width-c", "set-points"),
    ),
    Trait(
        "pulses too long in C only (Table A.2: 5 us)",
        "pulse_offset_in_c_us",
        by_factor(lambda f: 5.0 * f),
        ("pulse-width-c",),
    ),
    Trait(
        "pulses too long at low set currents (Table A.7: 5 us)",
        "low_set_error_us",
        by_factor(lambda f: 5.0 * f),
        ("set-points",),
    ),
    Trait(
        "offers more than its rating (Table A.7: 0.3 A for 5 us)",
        "set_a",
        by_factor(lambda f: 16.0 + 0.3 * f),
        ("pulse-width-b", "pulse-width-c", "advertised-current"),
    ),
    Trait(
        "offers less than 6 A (Table A.7: 0.3 A for 5 us)",
        "set_a",
        by_factor(lambda f: 6.0 - 0.3 * f),
        ("pulse-width-b", "pulse-width-c", "least-current"),
        charger=_SET_TO_6,
    ),
    Trait(
        "cannot be set down to 6 A (Table A.7: 0.3 A for 5 us)",
        "lowest_a",
        by_factor(lambda f: 6.0 + 0.3 * f),
        ("set-points",),
    ),
    Trait(
        "new duty late (Table A.6, 6: 10 s)",
        "duty_lag_s",
        by_factor(lambda f: 10.0 * f),
        ("reactions",),
    ),
    Trait(
        "duty changes too close together (Table A.6, 6: 5 s)",
        "duty_step_s",
        by_factor(lambda f: 5.0 * (2.0 - f)),
        ("duty-steps",),
    ),
    Trait(
        "pulses go on after unplugging (SAE J1772 OCT2017: 2 s)",
        "pwm_off_s",
        by_factor(lambda f: 2.0 * f),
        ("pwm-off",),
        profile=SAE,
    ),
    Trait(
        "pulses come back too soon after they ended (Table A.6, 9.2: 3 s)",
        "pwm_returns_s",
        by_factor(lambda f: 3.0 * (2.0 - f)),
        ("steady-held",),
    ),
    Trait(
        "state F too short (Annex A: 300 ms)",
        "f_ms",
        by_factor(lambda f: 300.0 * (2.0 - f)),
        ("f-duration-short", "f-duration-missing-diode"),
    ),
)

MAINS: Final = (
    Trait(
        "mains on late (Table A.6, 4: 3 s)",
        "close_s",
        by_factor(lambda f: 3.0 * f),
        ("mains-on",),
        (_LATE_MAINS,),
    ),
    Trait(
        "one phase on late (Table A.6, 4: 3 s)",
        "late_on_s",
        by_factor(lambda f: 3.0 * f - SOUND.close_s),
        ("mains-on",),
    ),
    Trait(
        "mains off late, C to B (Table A.6, 8.1: 100 ms)",
        "open_ms",
        by_factor(lambda f: 100.0 * f),
        ("mains-off-b",),
    ),
    Trait(
        "mains off late, C1 to B1 (Table A.6, 8.2: 100 ms)",
        "open_c1_ms",
        by_factor(lambda f: 100.0 * f),
        ("mains-off-c1",),
    ),
    Trait(
        "mains off late, unplugged (Table A.6, 2.2: 100 ms)",
        "unplug_ms",
        by_factor(lambda f: 100.0 * f),
        ("mains-off-unplug",),
    ),
    Trait(
        "mains off late, loop open (A.4.8: 100 ms)",
        "pe_open_ms",
        by_factor(lambda f: 100.0 * f),
        ("mains-off-loop",),
    ),
    Trait(
        "mains off late, short (Table A.6, 12: 3 s)",
        "short_ms",
        by_factor(lambda f: 3000.0 * f),
        ("mains-off-short",),
    ),
    Trait(
        "one phase off late (Table A.6, 2.2, 8.1 and 8.2, A.4.8: 100 ms)",
        "late_off_ms",
        by_factor(lambda f: 100.0 * f - SOUND.unplug_ms),
        ("mains-off-b", "mains-off-unplug", "mains-off-loop", "mains-off-c1"),
    ),
    Trait(
        "mains off under load too soon after the offer ended (Table A.6, 10.2: 6 s)",
        "withdraw_s",
        by_factor(lambda f: 6.0 * (2.0 - f)),
        ("mains-kept",),
    ),
)

RECOGNITION: Final = (
    Trait(
        "border of A and B too low (Table A.4: 10 V)",
        "border_ab_v",
        by_factor(lambda f: 10.5 - 0.5 * f),
        ("recognised-b-high",),
        also=_visible(9.965, B_HIGH),
    ),
    Trait(
        "border of B and C too high (Table A.4: 8 V)",
        "border_bc_v",
        by_factor(lambda f: 7.5 + 0.5 * f),
        ("recognised-b-low",),
        also=_visible(8.035, B_LOW),
    ),
    Trait(
        "border of B and C too low (Table A.4: 7 V)",
        "border_bc_v",
        by_factor(lambda f: 7.5 - 0.5 * f),
        ("recognised-c-high",),
        also=_visible(6.965, C_HIGH),
    ),
    Trait(
        "border of C and D too high (Table A.4: 5 V)",
        "border_cd_v",
        by_factor(lambda f: 4.5 + 0.5 * f),
        ("recognised-c-low",),
        also=_visible(5.035, C_LOW),
    ),
    Trait(
        "border of C and D too low (Table A.4: 4 V)",
        "border_cd_v",
        by_factor(lambda f: 4.5 - 0.5 * f),
        ("recognised-d-high",),
        also=_visible(3.965, D_HIGH),
    ),
    Trait(
        "border of D and E too high (Table A.4: 2 V)",
        "border_de_v",
        by_factor(lambda f: 1.5 + 0.5 * f),
        ("recognised-d-low",),
        also=_visible(2.035, D_LOW, "ventilation=allow"),
        charger=_VENTILATED,
    ),
    Trait(
        "cable code 13 misread (Table B.2: 13 A, and 0.3 A for 5 us)",
        "cable_13_a",
        by_factor(lambda f: 13.0 + 0.3 * f),
        ("cable-code-13",),
        also="outlet=socket&rated_a=63",
        charger=_SOCKET_63,
    ),
    Trait(
        "cable code 20 misread (Table B.2: 20 A, and 0.3 A for 5 us)",
        "cable_20_a",
        by_factor(lambda f: 20.0 + 0.3 * f),
        ("cable-code-20",),
        also="outlet=socket&rated_a=63",
        charger=_SOCKET_63,
    ),
    Trait(
        "cable code 32 misread (Table B.2: 32 A, and 0.3 A for 5 us)",
        "cable_32_a",
        by_factor(lambda f: 32.0 + 0.3 * f),
        ("cable-code-32",),
        also="outlet=socket&rated_a=63",
        charger=_SOCKET_63,
    ),
)

YES_OR_NO: Final = (
    Trait("a phase is missing", "missing_phase", only("3"), ("phases",)),
    Trait("one phase instead of three", "phases", only("1"), ("phases",)),
    Trait("mains never comes", "close_s", only("never"), ("mains-on",), (_NEEDS_MAINS,)),
    Trait("mains in B", "mains_in_b", only("yes"), ("no-mains-first-b",), (_ENDS,)),
    Trait("contacts welded", "welded", only("yes"), ("mains-off-b", "outlet-dead"), (_ENDS,)),
    Trait("short ignored", "short_ms", only("never"), ("mains-off-short",), (_ENDS,)),
    Trait(
        "mains comes back after unplugging",
        "mains_returns_s",
        only("3.5"),
        ("outlet-dead",),
        (_ENDS,),
    ),
    Trait(
        "mains on after the restart",
        "restart_mains",
        only("yes"),
        ("no-mains-restart", "outlet-dead"),
    ),
    Trait(
        "mains although nothing is offered",
        "mains_without_offer",
        only("yes"),
        ("no-mains-unauthorised", "no-mains-c1"),
        also="authorised=no",
    ),
    Trait(
        "mains at 5 % without communication",
        "digital_mains",
        only("yes"),
        ("no-mains-digital",),
        (_NO_CURRENT,),
        also="digital=yes",
    ),
    Trait("diode not tested", "checks_diode", only("no"), ("no-mains-diode",)),
    Trait(
        "ventilation allowed, declared refused",
        "ventilation",
        only("allow"),
        ("ventilation",),
        (_D_UNSEEN,),
    ),
    Trait(
        "ventilation refused, declared allowed",
        "ventilation",
        only("refuse"),
        ("ventilation",),
        (_D_UNSEEN,),
        charger=_VENTILATED,
    ),
    Trait("pulses with nothing connected", "pwm_in_a", only("yes"), ("no-pwm-unplugged",)),
    Trait("session lost by quick toggling", "toggle_s", only("0.6"), ("session-kept",)),
    Trait("new duty never", "duty_lag_s", only("never"), ("reactions",), (_SAME_CURRENT,)),
    Trait(
        "cable coding ignored",
        "obeys_cable",
        only("no"),
        ("cable-code-13", "cable-code-20", "cable-code-32"),
        also="outlet=socket&rated_a=63",
        charger=_SOCKET_63,
    ),
    Trait(
        "offers without a code",
        "offers_without_code",
        only("yes"),
        ("cable-code-open",),
        also="outlet=socket",
        charger=_SOCKET,
    ),
    Trait(
        "offers with a shorted code",
        "offers_shorted",
        only("yes"),
        ("cable-code-short",),
        also="outlet=socket",
        charger=_SOCKET,
    ),
)

TRAITS: Final = (*LEVELS, *PULSES, *MAINS, *RECOGNITION, *YES_OR_NO)

EXCLUDED: Final = {
    "cs_pf": "capacitance shows in the edge times only, which are indicative without all of it",
    "generator_rise_us": "edges of the generator lie behind resistor and capacitance: indicative",
    "jitter_us": "no clause limits jitter: observed",
    "noise_v": "no clause limits noise on the pilot: it widens uncertainties",
    "hum_v": "no clause limits hum on the pilot: it widens uncertainties",
    "drift_ppm_per_s": "the frequency itself is limited, not its drift",
    "latches": "no clause forbids a fault that stays until somebody clears it: observed",
    "one_phase_below_a": "a change of phases is no fault: observed",
    "cable_63_a": "no rating lies above the highest code, so that nothing can be offered above it",
    "high_threshold_shift_v": "it moves all borders at once; each has a row of its own",
    "border_de_v, downwards": "no ladder gives a level between the windows of D and E",
}
"""Traits that are left out, by key, and why."""

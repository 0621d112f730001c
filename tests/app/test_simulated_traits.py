"""The address of a simulated bench: keys, ranges, one sentence for what is wrong."""

import math

import pytest

from rungbench.errors import ExitStatus, WrongUse
from rungbench.simulated.traits import KEYS, Traits, traits_of

# The keys that the bench was specified with.
SPECIFIED = [
    "frequency_hz",
    "pulse_offset_us",
    "voc_high_v",
    "voc_low_v",
    "source_ohm",
    "cs_pf",
    "generator_rise_us",
    "noise_v",
    "jitter_us",
    "hum_v",
    "rated_a",
    "set_a",
    "close_s",
    "open_ms",
    "unplug_ms",
    "short_ms",
    "pe_open_ms",
    "checks_diode",
    "ventilation",
    "obeys_cable",
    "outlet",
    "pwm_in_a",
    "duty_lag_s",
    "phases",
    "authorised",
    "offers",
    "digital",
    "digital_mains",
    "withdraw_s",
    "pwm_returns_s",
    "pwm_off_s",
    "latches",
    "f_ms",
    "toggle_s",
    "drift_ppm_per_s",
    "frequency_in_c_hz",
    "pulse_offset_in_c_us",
    "high_sag_b1_v",
    "high_sag_b_v",
    "high_sag_c_v",
    "low_sag_b_v",
    "low_sag_c_v",
    "low_sag_d_v",
    "open_c1_ms",
    "late_on_s",
    "late_off_ms",
    "missing_phase",
    "one_phase_below_a",
    "lowest_a",
    "low_set_error_us",
    "duty_step_s",
    "high_threshold_shift_v",
    "border_ab_v",
    "border_bc_v",
    "border_cd_v",
    "border_de_v",
    "cable_13_a",
    "cable_20_a",
    "cable_32_a",
    "cable_63_a",
    "offers_without_code",
    "offers_shorted",
    "mains_without_offer",
    "mains_returns_s",
    "restart_mains",
    "mains_in_b",
    "welded",
    "frame_loss",
    "byte_error",
    "unplug_after_s",
    "applied_v",
    "applied_hz",
    "applied_width_us",
    "board_id",
    "dither_v",
    "temperature_c",
    "clock_ppm",
    "missing_code",
    "bow_v",
    "seed",
    "speed",
]


def test_every_specified_key_exists_and_no_other() -> None:
    assert set(KEYS) == set(SPECIFIED)
    assert set(KEYS) == set(Traits.__dataclass_fields__)


def test_without_keys_it_is_the_sound_charger() -> None:
    traits = traits_of("sim://sound")
    assert traits == Traits()
    assert (traits.rated_a, traits.limit_a, traits.phases, traits.outlet) == (16, 16, 3, "cable")


def test_keys_become_values_in_their_units() -> None:
    traits = traits_of("sim://sound?set_a=10&short_ms=never&welded=yes&phases=1&speed=max&seed=7")
    assert traits.limit_a == 10.0
    assert math.isinf(traits.short_ms)
    assert traits.welded
    assert traits.phases == 1
    assert math.isinf(traits.speed)
    assert traits.seed == 7


@pytest.mark.parametrize(
    "url",
    [
        "sim://",
        "sim://quiet",
        "sim://sound/more",
        "sim://sound?colour=red",
        "sim://sound?seed",
        "sim://sound?seed=1&seed=2",
        "sim://sound?frequency_hz=1k",
        "sim://sound?frequency_hz=nan",
        "sim://sound?frequency_hz=inf",
        "sim://sound?frequency_hz=0",
        "sim://sound?frequency_hz=",
        "sim://sound?set_a=2",
        "sim://sound?set_a=81",
        "sim://sound?source_ohm=-1000",
        "sim://sound?voc_low_v=12",
        "sim://sound?phases=2",
        "sim://sound?welded=maybe",
        "sim://sound?welded=Yes",
        "sim://sound?ventilation=yes",
        "sim://sound?open_ms=forever",
        "sim://sound?seed=-1",
        "sim://sound?seed=1.5",
        "sim://sound?frame_loss=1.1",
        "sim://sound?speed=0",
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_sentence(url: str) -> None:
    with pytest.raises(WrongUse) as refused:
        traits_of(url)
    text = str(refused.value)
    assert text.endswith(".")
    assert "\n" not in text
    assert refused.value.exit_status is ExitStatus.WRONG_USE


def test_the_refusal_says_what_would_do() -> None:
    with pytest.raises(WrongUse, match=r"phases is 1 or 3"):
        traits_of("sim://sound?phases=2")
    with pytest.raises(WrongUse, match=r"known: sim://sound"):
        traits_of("sim://quiet")
    with pytest.raises(WrongUse, match=r"from 0 to 60000 ms or 'never'"):
        traits_of("sim://sound?short_ms=x")
    with pytest.raises(WrongUse, match="it knows .*frequency_hz"):
        traits_of("sim://sound?frequency=1000")

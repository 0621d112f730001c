"""Records without a pilot to time: steady levels, noise, silence, a period or less."""

from dataclasses import replace

import numpy as np
import pytest
from pilot_waves import fine, pilot

from pilotsignal.capture import Capture
from pilotsignal.errors import CaptureError
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.synth import Converter, PilotWave, record_edges, synthesise

TIMED = ("frequency_hz", "duty_percent", "pulse_width_zero_us", "pulse_width_mid_us")


def raw(volts: np.ndarray | list[float]) -> PilotMeasurement:
    return measure(Capture.from_volts(volts, 1e-5, "made up"))


def untimed(found: PilotMeasurement) -> bool:
    return all(found.quantities()[name] is None for name in TIMED)


@pytest.mark.parametrize(
    ("level", "state"),
    [(12.0, "A1"), (8.98, "B1"), (6.0, "C1"), (2.93, "D1"), (0.0, "E"), (-12.0, "F")],
)
@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("noise", [0.0, 0.02, 0.1])
def test_a_steady_level_is_measured(level: float, state: str, bits: int, noise: float) -> None:
    """States after IEC 61851-1:2017 Table A.4; levels of the nominal ladder."""
    converter = Converter(bits=bits, u_gain_relative=0.0, u_offset_v=0.0)
    sampling = replace(fine(count=5000, noise_v=noise), converter=converter)
    found = measure(synthesise(PilotWave.steady(level), sampling)[0])
    assert found.state == (state,)
    assert found.pwm_on is False
    assert untimed(found)
    assert found.advertised_current_a is None
    held, other = found.high_plateau_v, found.low_plateau_v
    if state == "F":
        held, other = other, held
    assert other is None
    assert held is not None
    assert abs(held.value - level) <= 2 * held.expanded()
    assert abs(held.value - level) <= converter.step_v / 2 + 4 * noise / 5000**0.5
    if noise == 0.0:
        assert held.expanded() > 0.5 * converter.step_v  # half a step each way, rectangular


def test_a_grey_band_names_both_neighbours() -> None:
    """IEC 61851-1:2017 Table A.4 leaves 10 to 11 V open."""
    assert measure(synthesise(PilotWave.steady(10.5), fine(count=3000))[0]).state == ("A1", "B1")


@pytest.mark.parametrize("spread", [1, 2, 3])
def test_flicker_between_codes_is_no_pwm(spread: int) -> None:
    """A level between codes with hum of its own flickers regularly; it is still one level."""
    converter = Converter(bits=10, u_gain_relative=0.0, u_offset_v=0.0)
    codes = 819 + spread * (np.arange(5000) // 37 % 2)
    capture = Capture.from_counts(
        codes.astype(np.int16), 5.2e-5, "flicker", calibration=converter.calibration()
    )
    found = measure(capture)
    assert found.pwm_on is False
    assert found.state == ("B1",)
    assert found.has("no-pwm")
    assert untimed(found)
    assert found.high_plateau_v is not None
    middle = converter.low_v + (819 + spread / 2) * converter.step_v
    assert abs(found.high_plateau_v.value - middle) < spread * converter.step_v


def test_all_zero() -> None:
    for samples in (np.zeros(5000), np.zeros(1)):
        found = raw(samples)
        assert found.state == ("E",)
        assert found.pwm_on is False
        assert untimed(found)


def test_a_quiet_level_with_a_spike_is_a_level_with_a_spike() -> None:
    """Noise-free and 8 bits wide, as a quiet converter gives it."""
    volts = np.full(5000, 9.0)
    volts[[100, 900, 2000]] = (14.0, -14.0, 0.0)
    found = raw(volts)
    assert found.state == ("B1",)
    assert found.has("no-pwm")
    assert found.has("outliers")
    assert found.high_plateau_v is not None
    assert found.high_plateau_v.value == 9.0


@pytest.mark.parametrize("sigma", [0.6, 3.0, 50.0])
def test_noise_gives_no_number(sigma: float) -> None:
    for seed in range(20):
        found = raw(sigma * np.random.default_rng(seed).standard_normal(10_000))
        assert found.has("not-pilot")
        assert all(quantity is None for quantity in found.quantities().values())
        assert found.state == ()
        assert found.pwm_on is None


@pytest.mark.parametrize("shape", ["sine", "triangle", "staircase"])
def test_other_waveforms_give_no_number(shape: str) -> None:
    phase = np.arange(20_000) * 1e-5 * 1000.7 % 1.0
    volts = {
        "sine": 12 * np.sin(2 * np.pi * phase),
        "triangle": 24 * np.abs(2 * phase - 1) - 12,
        "staircase": np.floor(phase * 8) * 3 - 12,
    }[shape]
    found = raw(volts)
    assert found.has("not-pilot")
    assert all(quantity is None for quantity in found.quantities().values())


@pytest.mark.parametrize("count", [40, 90, 110, 190])
def test_less_than_two_periods_give_no_times(count: int) -> None:
    found = measure(synthesise(pilot("B"), fine(count=count))[0])
    assert untimed(found) or found.has("too-few-periods")
    if count <= 110:
        assert untimed(found)
        assert found.advertised_current_a is None


@pytest.mark.parametrize("length", [1, 2, 3, 5, 10])
def test_tiny_records_never_raise(length: int) -> None:
    rng = np.random.default_rng(length)
    for _ in range(100):
        found = raw(rng.choice([-12.0, 0.0, 9.0, 12.0], length))
        assert untimed(found)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(CaptureError):
        raw([12.0, bad, -12.0])


def test_edges_of_a_comparator_take_over_the_times() -> None:
    capture, truth = synthesise(pilot("B"), fine())
    record, _ = record_edges(pilot("B"), 0.2)
    found, alone = measure(capture, record), measure(capture)
    assert found.frequency_hz is not None
    assert found.pulse_width_zero_us is not None
    assert "comparator" in found.frequency_hz.method
    for name in TIMED[:3]:
        quantity = found.quantities()[name]
        assert quantity is not None
        assert abs(quantity.value - getattr(truth, name)) <= 2 * quantity.expanded()
    assert found.high_plateau_v == alone.high_plateau_v
    assert found.pulse_width_mid_us == alone.pulse_width_mid_us


def test_edges_without_a_comb_do_not_replace_what_samples_say() -> None:
    capture, _ = synthesise(pilot("B"), fine())
    record, _ = record_edges(pilot("B"), 0.2)
    few = replace(record, times=record.times[:3], rising=record.rising[:3])
    found, alone = measure(capture, few), measure(capture)
    assert found.frequency_hz == alone.frequency_hz
    assert found.has("too-few-periods")

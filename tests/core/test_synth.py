"""The truth of synthetic pilots, against integration of the circuit and against the samples."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from pilotsignal.capture import Gap
from pilotsignal.errors import CaptureError
from pilotsignal.synth import (
    Circuit,
    Converter,
    PilotWave,
    Ramp,
    Relaxation,
    Sampling,
    record_edges,
    synthesise,
)

VEHICLES = {"A": None, "B": 2740.0, "C": 882.0, "D": 246.0}


def integrated_us(circuit: Circuit, generator_v: float, start_v: float, level_v: float) -> float:
    """Crossing of a level, from Kirchhoff's law at the contact integrated step by step."""

    def slope(_at: float, volts: np.ndarray) -> np.ndarray:
        current = (generator_v - volts) / circuit.source_ohm
        if circuit.load_ohm is not None:
            current -= np.maximum(volts - circuit.diode_v, 0.0) / circuit.load_ohm
        return np.asarray(current / circuit.capacitance_f)

    def crossing(_at: float, volts: np.ndarray) -> float:
        return float(volts[0] - level_v)

    tau = circuit.source_ohm * circuit.capacitance_f
    solution = solve_ivp(
        slope, (0.0, 20 * tau), [start_v], events=crossing, rtol=1e-9, atol=1e-9, max_step=tau / 50
    )
    return float(solution.t_events[0][0]) * 1e6


@pytest.mark.parametrize("load", VEHICLES.values(), ids=VEHICLES)
def test_widths_and_edges_follow_the_circuit(load: float | None) -> None:
    circuit = Circuit(load_ohm=load, capacitance_f=3.1e-9)
    wave = circuit.wave(1000.0, 500.0)
    low, high = wave.low_v, wave.high_v
    rises = [integrated_us(circuit, 12.0, low, low + part * (high - low)) for part in (0.1, 0.9)]
    falls = [integrated_us(circuit, -12.0, high, low + part * (high - low)) for part in (0.9, 0.1)]
    truth = wave.truth()
    assert truth.rise_time_us == pytest.approx(rises[1] - rises[0], abs=1e-3)
    assert truth.fall_time_us == pytest.approx(falls[1] - falls[0], abs=1e-3)
    for level, width in (
        (0.0, truth.pulse_width_zero_us),
        ((low + high) / 2, truth.pulse_width_mid_us),
    ):
        shift = integrated_us(circuit, -12.0, high, level) - integrated_us(
            circuit, 12.0, low, level
        )
        assert width == pytest.approx(500.0 + shift, abs=1e-3)


def test_plateaus_of_the_nominal_ladder() -> None:
    """IEC 61851-1:2017, A.2 and A.3: 12 V, 1 kohm, diode 0.70 V; worked out by hand."""
    for load, volts in ((2740.0, 8.979), (882.0, 5.996), (246.0, 2.931)):
        assert Circuit(load_ohm=load).loaded_v(12.0) == pytest.approx(volts, abs=0.001)


def test_full_capacitance_shifts_the_width_at_zero() -> None:
    """3.1 nF: -0.5, -1.0 and -1.5 us in B, C and D (recomputed from the circuit, no source)."""
    for load, shift in ((2740.0, -0.5), (882.0, -1.0), (246.0, -1.5)):
        wave = Circuit(load_ohm=load, capacitance_f=3.1e-9).wave(1000.0, 500.0)
        assert wave.width_at_us(0.0) - 500.0 == pytest.approx(shift, abs=0.1)


def test_ramps() -> None:
    wave = PilotWave(1000.0, 250.0, 10.0, -10.0, Ramp(20.0), Ramp(10.0))
    truth = wave.truth()
    assert truth.rise_time_us == pytest.approx(16.0)
    assert truth.fall_time_us == pytest.approx(8.0)
    assert truth.pulse_width_mid_us == truth.pulse_width_zero_us == pytest.approx(245.0)


def crossings_us(volts: np.ndarray, interval_us: float, level: float) -> np.ndarray:
    at = np.flatnonzero((volts[:-1] < level) != (volts[1:] < level))
    share = (level - volts[at]) / (volts[at + 1] - volts[at])
    return np.asarray((at + share) * interval_us)


def test_samples_cross_where_the_truth_says() -> None:
    wave = replace(Circuit(load_ohm=882.0, capacitance_f=2e-9).wave(1000.0, 266.7), phase_us=100.3)
    capture, truth = synthesise(wave, Sampling(interval_s=2e-8, count=150_000))
    for level, width in ((0.0, truth.pulse_width_zero_us), (-3.0, None)):
        found = crossings_us(capture.samples, 0.02, level)
        assert found[1] - found[0] == pytest.approx(width or wave.width_at_us(level), abs=2e-3)
        assert found[2] - found[0] == pytest.approx(1000.0, abs=2e-3)
    assert capture.samples.max() == pytest.approx(wave.high_v, abs=1e-5)
    assert capture.samples.min() == pytest.approx(wave.low_v, abs=1e-5)


def test_jitter_has_the_size_stated() -> None:
    wave = PilotWave(1000.0, 300.0, 12.0, -12.0, width_jitter_us=0.4, period_jitter_us=0.6)
    record, _ = record_edges(wave, 20.0, 1e-9, seed=4)
    rises, falls = record.times[record.rising] / 1e3, record.times[~record.rising] / 1e3
    falls = falls[falls > rises[0]]
    widths = falls[: rises.size] - rises[: falls.size]
    # 20,000 periods: a standard deviation is known to 0.5 %; four times that is allowed.
    assert widths.std() == pytest.approx(0.4, rel=0.02)
    assert np.diff(rises).std() == pytest.approx(0.6, rel=0.02)


def test_edges_are_stamped_with_the_tick_that_they_fall_into() -> None:
    wave = PilotWave(1000.0, 300.0, 12.0, -12.0, phase_us=10.03)
    record, truth = record_edges(wave, 0.01)
    assert record.times[0] == int(10.03 / 0.0625)
    assert record.times[1] == int(310.03 / 0.0625)
    assert record.rising.tolist()[:4] == [True, False, True, False]
    assert truth.pulse_width_zero_us == 300.0


def test_drift_changes_the_frequency_as_stated() -> None:
    wave = PilotWave(1000.0, 300.0, 12.0, -12.0, drift_ppm_per_s=100.0)
    record, truth = record_edges(wave, 4.0, 1e-9)
    rises = record.times[record.rising]
    assert truth.frequency_hz == pytest.approx(1000.0 * (1 + 200e-6))
    last = 1e9 / np.diff(rises[-500:]).mean()
    assert last == pytest.approx(1000.0 * (1 + 100e-6 * 3.75), rel=2e-6)


def test_converter_noise_and_calibration() -> None:
    converter = Converter(bits=10, u_gain_relative=1e-3, u_offset_v=0.01)
    sampling = Sampling(1e-5, 20_000, converter, noise_v=0.05, seed=3)
    capture, _ = synthesise(PilotWave.steady(9.0), sampling)
    assert capture.samples.dtype == np.int16
    assert capture.converter_range == (0, 1023)
    volts = capture.volts()
    # 29.3 mV a step: its own noise of a step over the root of twelve comes on top.
    assert volts.std() == pytest.approx(np.hypot(0.05, converter.step_v / 12**0.5), rel=0.03)
    assert volts.mean() == pytest.approx(9.0, abs=4 * 0.051 / 20_000**0.5)


def test_errors_that_the_calibration_does_not_know() -> None:
    converter = Converter(bits=15, gain_error=0.01, offset_error_v=0.1)
    capture, truth = synthesise(PilotWave.steady(10.0), Sampling(converter=converter))
    assert truth.high_plateau_v == 10.0
    assert capture.volts().mean() == pytest.approx(10.0 * 1.01 + 0.1, abs=converter.step_v)


def test_a_converter_out_of_range_clips() -> None:
    converter = Converter(bits=8, low_v=-5.0, range_v=10.0)
    capture, _ = synthesise(PilotWave(1000.0, 500.0, 12.0, -12.0), Sampling(converter=converter))
    assert set(capture.samples.tolist()) == {0, 255}


def test_gaps_take_samples_away_and_keep_the_time() -> None:
    wave = PilotWave(1000.0, 500.0, 12.0, -12.0)
    whole, _ = synthesise(wave, Sampling(count=1000))
    holed, _ = synthesise(wave, Sampling(count=950, gaps=(Gap(300, 20), Gap(600, 30))))
    kept = np.delete(whole.samples, np.r_[300:320, 620:650])
    assert np.array_equal(holed.samples, kept)
    assert holed.duration_s == pytest.approx(whole.duration_s)


def test_hum_drift_spikes_and_a_wrong_clock() -> None:
    steady = PilotWave.steady(6.0)
    hum, _ = synthesise(steady, Sampling(count=100_000, hum_v=0.2))
    assert hum.samples.std() == pytest.approx(0.2 / 2**0.5, rel=1e-3)
    drift, _ = synthesise(steady, Sampling(count=100_001, level_drift_v_per_s=0.5))
    assert drift.samples[-1] - drift.samples[0] == pytest.approx(0.5)
    spiked, _ = synthesise(steady, Sampling(spikes=((17, 9.0),)))
    assert np.flatnonzero(spiked.samples != 6.0).tolist() == [17]
    slow, _ = synthesise(PilotWave(1000.0, 500.0, 1.0, -1.0), Sampling(clock_error=0.01))
    assert np.flatnonzero(np.diff(slow.samples) > 0)[8] - np.flatnonzero(np.diff(slow.samples) > 0)[
        0
    ] == pytest.approx(800 / 1.01, abs=1)


def test_the_same_seed_gives_the_same_samples() -> None:
    wave = replace(Circuit(load_ohm=2740.0).wave(1000.0, 500.0), width_jitter_us=1.0)
    first, again = (synthesise(wave, Sampling(noise_v=0.1, seed=7))[0] for _ in range(2))
    other = synthesise(wave, Sampling(noise_v=0.1, seed=8))[0]
    assert first.sha256() == again.sha256() != other.sha256()


def test_steady_levels_have_no_timing() -> None:
    truth = PilotWave.steady(-12.0).truth()
    assert truth.high_plateau_v == -12.0
    assert truth.frequency_hz is truth.duty_percent is truth.pulse_width_zero_us is None
    low = PilotWave(1000.0, 0.0, 12.0, -12.0).truth()
    assert (low.high_plateau_v, low.low_plateau_v) == (None, -12.0)


def test_no_width_at_zero_where_zero_is_not_crossed() -> None:
    truth = PilotWave(1000.0, 500.0, 5.0, 0.5).truth()
    assert truth.pulse_width_zero_us is truth.duty_percent is None
    assert truth.pulse_width_mid_us == 500.0


NAN = float("nan")
IMPOSSIBLE: dict[str, Callable[[], PilotWave]] = {
    "no frequency": lambda: PilotWave(0.0, 500.0, 12.0, -12.0),
    "frequency NaN": lambda: PilotWave(NAN, 500.0, 12.0, -12.0),
    "wider than the period": lambda: PilotWave(1000.0, 1001.0, 12.0, -12.0),
    "width NaN": lambda: PilotWave(1000.0, NAN, 12.0, -12.0),
    "upside down": lambda: PilotWave(1000.0, 500.0, 12.0, 13.0),
    "slow rise": lambda: PilotWave(1000.0, 500.0, 12.0, -12.0, Relaxation(40.0)),
    "slow fall": lambda: PilotWave(1000.0, 500.0, 12.0, -12.0, fall=Ramp(600.0)),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_waves_that_cannot_be(name: str) -> None:
    with pytest.raises(CaptureError):
        IMPOSSIBLE[name]()


@pytest.mark.parametrize(
    "sampling", [Sampling(count=0), Sampling(spikes=((10_000, 1.0),)), Sampling(gaps=(Gap(0, 5),))]
)
def test_records_that_cannot_be(sampling: Sampling) -> None:
    with pytest.raises(CaptureError):
        synthesise(PilotWave.steady(1.0), sampling)


@pytest.mark.parametrize("tau", [0.0, -1.0, float("nan")])
def test_time_constants_that_cannot_be(tau: float) -> None:
    with pytest.raises(CaptureError):
        Relaxation(tau)


def test_an_edge_ends_before_the_next_one_begins() -> None:
    """A low pulse of 45.5 us on samples of 13 us: the fall lasts 44 us, and the rise comes next."""
    wave = Circuit(load_ohm=2740.0, capacitance_f=2.73e-9).wave(1005.0, 949.5)
    coarse, _ = synthesise(wave, Sampling(13e-6, 1000))
    fine, _ = synthesise(wave, Sampling(1e-6, 13_000))
    assert np.array_equal(coarse.samples, fine.samples[::13])


def test_sixteen_bits_are_unsigned() -> None:
    converter = Converter(16, -16.0, 32.0)
    capture, _ = synthesise(PilotWave.steady(12.0), Sampling(1e-5, 100, converter))
    assert capture.samples.dtype == np.uint16
    assert capture.volts()[0] == pytest.approx(12.0, abs=converter.step_v)
    with pytest.raises(CaptureError, match="17 bits"):
        Converter(17)

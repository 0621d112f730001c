"""The Cramer-Rao bound against results in closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest
from estimator_cells import Cell, record

from pilotsignal.bound import Record, cramer_rao, moved, parameters, wave_volts
from pilotsignal.errors import CaptureError
from pilotsignal.measure import measure
from pilotsignal.synth import Circuit, PilotWave, Ramp, Relaxation, Sampling, synthesise

NOISE_V = 0.02


def fast(edge_us: float = 4.0) -> PilotWave:
    edge = Ramp(edge_us)
    return PilotWave(1000.37, 400.0, 9.0, -12.0, edge, edge, phase_us=123.4)


def test_a_level_is_known_as_a_mean_is() -> None:
    """Kay 1993, example 3.3: sigma over the root of the number of samples."""
    record = Record(1.0, 100_000, NOISE_V)
    bound = cramer_rao(fast(0.5), record)
    high = 0.4 * record.count
    assert bound["high_plateau_v"] == pytest.approx(NOISE_V / math.sqrt(high), rel=0.01)
    low = 0.6 * record.count
    assert bound["low_plateau_v"] == pytest.approx(NOISE_V / math.sqrt(low), rel=0.01)


def test_the_middle_of_ramps() -> None:
    """Delay: sigma^2 over the sum of squared slopes (Kay 1993, example 3.13, range estimation).

    A ramp's duration, taken about its middle, does not mix with its delay. The width has two edges.
    """
    record, duration = Record(0.05, 2_000_000, NOISE_V), 4.0
    samples = duration / 0.05 * 100  # of 100 edges of one direction
    one = NOISE_V**2 / ((21.0 / duration) ** 2 * samples)
    bound = cramer_rao(fast(duration), record)
    assert bound["pulse_width_mid_us"] == pytest.approx(math.sqrt(2.0 * one), rel=0.02)


def test_the_middle_of_relaxations() -> None:
    """Worked out by hand for an unknown time constant.

    With x = t/tau the information is 1/2, 1/4, 1/4 for delay and constant, and the middle is the
    delay plus ln 2 constants: a variance of 4 - 8 ln 2 + 8 ln^2 2 instead of 2.
    """
    tau, interval = 3.0, 0.05
    edge = Relaxation(tau)
    wave = PilotWave(1000.37, 400.0, 12.0, -12.0, edge, edge, phase_us=123.4)
    bound = cramer_rao(wave, Record(interval, 2_000_000, NOISE_V))
    log2 = math.log(2.0)
    one = (4.0 - 8.0 * log2 + 8.0 * log2**2) * tau * interval / 100 * (NOISE_V / 24.0) ** 2
    assert bound["pulse_width_mid_us"] == pytest.approx(math.sqrt(2.0 * one), rel=0.02)


def test_the_period_is_known_as_a_slope_is() -> None:
    """Kay 1993, example 3.7, line fitting: the variance goes with one over N cubed."""
    short, long = (cramer_rao(fast(), Record(0.5, n, NOISE_V)) for n in (40_000, 160_000))
    assert short["frequency_hz"] / long["frequency_hz"] == pytest.approx(8.0, rel=0.03)


def test_rounding_counts_as_noise() -> None:
    plain = cramer_rao(fast(), Record(0.5, 40_000, 0.05))
    rounded = cramer_rao(fast(), Record(0.5, 40_000, 0.03, 0.04 * math.sqrt(12.0)))
    for name, value in plain.items():
        assert rounded[name] == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("load", [None, 2740.0, 246.0])
def test_the_wave_is_the_one_that_is_synthesised(load: float | None) -> None:
    wave = Circuit(load_ohm=load, capacitance_f=2e-9).wave(1001.3, 300.0)
    wave = replace(wave, phase_us=77.7)
    capture, _ = synthesise(wave, Sampling(1e-6, 20_000))
    time = np.arange(20_000, dtype=np.float64)
    # Beyond 16 time constants the synthetic edge is cut off.
    assert np.abs(wave_volts(wave, time) - capture.samples).max() < 5e-6


def test_a_knee_moves_without_a_jump_of_the_slope() -> None:
    wave = Circuit(load_ohm=2740.0, capacitance_f=3e-9).wave(1000.0, 300.0)
    assert len(parameters(wave)) == 11
    for name in parameters(wave):
        same = moved(moved(wave, name, 1e-3), name, -1e-3)
        time = np.linspace(0.0, 1000.0, 5001)
        assert np.abs(wave_volts(same, time) - wave_volts(wave, time)).max() < 1e-9


def test_what_has_no_bound() -> None:
    with pytest.raises(CaptureError, match="no bound"):
        cramer_rao(fast(), Record(1.0, 1000, 0.0))
    with pytest.raises(CaptureError, match="without duration"):
        cramer_rao(PilotWave(1000.0, 300.0, 9.0, -12.0), Record(1.0, 1000, NOISE_V))


def test_a_creep_that_meets_each_edge_once_leaves_duration_and_period_open() -> None:
    """250.0045 samples a period. The fit has its derivatives in closed form, not by differences."""
    taken = record(Cell(250.0, 10, 2.0, 0.02, 0.2, False), 14, systematic=False)
    bound, found = taken.bound(), measure(taken.capture)
    assert found.frequency_hz is not None
    assert found.rise_time_us is not None
    assert found.frequency_hz.u == pytest.approx(bound["frequency_hz"], rel=0.1)
    assert found.rise_time_us.u == pytest.approx(bound["rise_time_us"], rel=0.2)

"""When the model is used, what it does with jitter, spikes and foreign shapes."""

from dataclasses import replace

import numpy as np
import pytest
from estimator_cells import Cell, record
from pilot_waves import fine, pilot
from scipy.signal import lfilter

from pilotsignal.capture import Capture, Gap
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.quantity import Quantity
from pilotsignal.synth import PilotWave, Ramp, Sampling, synthesise

NAMES = ("frequency_hz", "pulse_width_zero_us", "pulse_width_mid_us", "rise_time_us")


def quantity(found: PilotMeasurement, name: str) -> Quantity:
    value = found.quantities()[name]
    assert value is not None, [notice.text for notice in found.notices]
    return value


def modelled(found: PilotMeasurement) -> bool:
    return quantity(found, "frequency_hz").method.startswith("least squares")


@pytest.mark.parametrize("state", "ABCD")
def test_a_pilot_is_what_the_model_says(state: str) -> None:
    assert modelled(measure(synthesise(pilot(state), fine(interval_s=1e-6))[0]))


def test_straight_edges_as_well() -> None:
    wave = replace(pilot("B"), rise=Ramp(9.0), fall=Ramp(7.0))
    assert modelled(measure(synthesise(wave, fine(interval_s=2e-6))[0]))


def test_another_shape_is_left_to_the_fold() -> None:
    """A ramp with an overshoot of a tenth that rings out."""
    time = np.arange(20_000) * 1e-6
    late = np.mod(time * 1e6 - 100.2, 999.3)
    step = 1.0 - np.exp(-late / 4.0) * np.cos(late / 3.0)
    fall = np.clip(late - 300.0, 0.0, None)
    down = 1.0 - np.exp(-fall / 4.0) * np.cos(fall / 3.0)
    volts = -12.0 + 21.0 * np.where(late < 300.0, step, 1.0 - down)
    volts += 0.02 * np.random.default_rng(1).standard_normal(volts.size)
    found = measure(Capture.from_volts(volts, 1e-6, "ringing"))
    assert not modelled(found)
    assert abs(quantity(found, "frequency_hz").value - 1e6 / 999.3) < 0.02


def test_jitter_widens_what_it_makes_doubtful() -> None:
    """Forty edges with 10 ns of jitter: their mean is known to some 1.6 ns and no better."""
    inside = 0
    for seed in range(60):
        wave = replace(pilot("B"), width_jitter_us=0.01, phase_us=100.0 + seed)
        capture, truth = synthesise(wave, fine(interval_s=1e-6, count=40_000, seed=seed))
        found = measure(capture)
        assert modelled(found)
        width = quantity(found, "pulse_width_zero_us")
        assert 0.0012 < width.u < 0.005
        assert truth.pulse_width_zero_us is not None
        inside += abs(width.value - truth.pulse_width_zero_us) <= width.expanded()
        assert quantity(found, "width_jitter_us").value == pytest.approx(0.01, rel=0.5)
    assert inside >= 49  # 57 expected; fewer than 49 of 60 come once in a million at 95 %


@pytest.mark.parametrize("height", [6.0, -6.0])
@pytest.mark.parametrize("after", [-4, 3, 8])
def test_spikes_around_edges_are_found_and_left_out(height: float, after: int) -> None:
    """The eleventh rise is at sample 10,117; the edge has settled some 5 samples later."""
    wave = pilot("B")
    at = round((wave.phase_us + 10 * wave.period_us) / 1.0) + after
    sampling = replace(fine(interval_s=1e-6), spikes=((at, height),))
    found = measure(synthesise(wave, sampling)[0])
    assert found.has("outliers")
    truth = wave.truth()
    for name in NAMES:
        value = quantity(found, name)
        assert abs(value.value - getattr(truth, name)) <= 2.0 * value.expanded(), name


def test_gaps_are_counted_over() -> None:
    sampling = replace(fine(interval_s=1e-6), gaps=(Gap(5000, 1040), Gap(12_000, 35)))
    found = measure(synthesise(pilot("C"), sampling)[0])
    assert modelled(found)
    for name in NAMES:
        value = quantity(found, name)
        assert abs(value.value - getattr(pilot("C").truth(), name)) <= 2.0 * value.expanded(), name


def test_a_level_at_the_end_of_the_range_is_no_edge_to_fit() -> None:
    capture, _ = synthesise(pilot("A"), fine(interval_s=1e-6))
    top = int(capture.samples.max()) - 400
    cut = replace(capture, samples=np.minimum(capture.samples, top), converter_range=(0, top))
    found = measure(cut)
    assert found.has("clipped")
    assert not modelled(found)


def test_almost_locked_sampling_is_no_reason_for_doubt() -> None:
    """Phases that stay 0.9 us apart on edges of 2 us: the shape tells what lies between."""
    wave = pilot("B", frequency_hz=998.995)
    inside = 0
    for seed in range(40):
        moved = replace(wave, phase_us=100.0 + 0.37 * seed)
        capture, truth = synthesise(moved, fine(interval_s=1e-6, seed=seed))
        width = quantity(measure(capture), "pulse_width_zero_us")
        assert width.expanded() < 0.02
        assert truth.pulse_width_zero_us is not None
        inside += abs(width.value - truth.pulse_width_zero_us) <= width.expanded()
    assert inside >= 30  # 38 expected; fewer than 30 of 40 come once in a million at 95 %


def test_sixteen_bits() -> None:
    twelve = fine().converter
    assert twelve is not None
    converter = replace(twelve, bits=16)
    capture, truth = synthesise(pilot("B"), replace(fine(interval_s=1e-6), converter=converter))
    assert capture.samples.dtype == np.uint16
    found = measure(capture)
    assert modelled(found)
    for name in NAMES:
        value = quantity(found, name)
        assert abs(value.value - getattr(truth, name)) <= 2.0 * value.expanded(), name


def test_unresolved_edges_have_no_duration() -> None:
    found = measure(synthesise(PilotWave(1000.7, 300.0, 9.0, -12.0), Sampling(1e-5, 10_000))[0])
    assert found.rise_time_us is found.fall_time_us is None
    assert found.has("edges-unresolved")


def test_an_edge_among_missing_samples_spoils_nothing() -> None:
    """Five lengths of a gap, up to three periods and a half, on rising and on falling edges."""
    capture, truth = synthesise(pilot("B"), fine(interval_s=1e-5, count=20_000))
    edges = np.flatnonzero(np.diff(capture.samples > capture.samples.mean()))
    for edge, missing in zip(edges[100:105], (3, 30, 70, 140, 350), strict=True):
        first = int(edge) - missing // 2
        samples = np.delete(capture.samples, slice(first, first + missing))
        found = measure(replace(capture, samples=samples, gaps=(Gap(first, missing),)))
        assert {notice.code for notice in found.notices} - {"edges-unresolved"} == {
            "missing-samples"
        }
        for name in ("frequency_hz", "pulse_width_zero_us"):
            value = quantity(found, name)
            assert abs(value.value - getattr(truth, name)) < 2.0 * value.expanded(), (missing, name)


@pytest.mark.parametrize("interval_s", [2e-6, 5e-7])
def test_jitter_is_no_spike_and_both_edges_of_a_pulse_share_it(interval_s: float) -> None:
    """Edges 50 ns early or late beside 20 mV of noise; the falling edge follows the rising one."""
    errors: dict[str, list[float]] = {}
    for seed in range(25):
        wave = replace(pilot("B"), width_jitter_us=0.05, period_jitter_us=0.05)
        sampling = fine(interval_s=interval_s, count=int(0.05 / interval_s), seed=seed)
        capture, truth = synthesise(wave, sampling)
        found = measure(capture)
        assert modelled(found)
        assert found.notices == ()
        for name in ("frequency_hz", "pulse_width_zero_us", "rise_time_us", "fall_time_us"):
            value = quantity(found, name)
            errors.setdefault(name, []).append((value.value - getattr(truth, name)) / value.u)
    for name, off in errors.items():
        # Chance makes 1.6 of one at 1e-6 with so many seeds (chi-squared).
        assert np.sqrt(np.mean(np.square(off))) < 1.6, name


@pytest.mark.parametrize(
    ("interval_s", "duration_s", "width_us", "period_us"),
    [(5e-7, 0.05, 0.0, 0.02), (1e-5, 0.2, 0.1, 0.1), (1e-5, 0.2, 0.0, 0.02)],
)
def test_jitter_many_times_the_noise_is_in_every_uncertainty(
    interval_s: float, duration_s: float, width_us: float, period_us: float
) -> None:
    """Samples of one edge that came late move together; edges that were met rarely, too."""
    errors: dict[str, list[float]] = {}
    for seed in range(40):
        wave = replace(pilot("B"), width_jitter_us=width_us, period_jitter_us=period_us)
        sampling = fine(interval_s=interval_s, count=int(duration_s / interval_s), seed=seed)
        capture, truth = synthesise(wave, sampling)
        found = measure(capture)
        for name in ("frequency_hz", "pulse_width_zero_us", "rise_time_us", "fall_time_us"):
            value = found.quantities()[name]
            if value is not None:
                off = value.value - getattr(truth, name)
                errors.setdefault(name, []).append(off / (0.5 * value.expanded()))
    for name, off in errors.items():
        assert len(off) >= 36, name
        # Chance makes 1.48 of one at 1e-6 with forty seeds (chi-squared).
        assert np.sqrt(np.mean(np.square(off))) < 1.48, name


def test_a_wrong_period_that_calls_edges_spikes_is_given_up() -> None:
    """Edges of 0.2 us and 13 us between samples: two samples on edges tell which period it is."""
    taken = record(Cell(77.0, 12, 0.5, 0.02, 0.2, False), 19, systematic=False)
    found = measure(taken.capture)
    assert modelled(found)
    frequency, truth = quantity(found, "frequency_hz"), taken.wave.frequency_hz
    assert abs(frequency.value - truth) < frequency.expanded() < 1e-5


@pytest.mark.parametrize("state", "BCD")
def test_the_path_to_the_converter_is_in_widths_and_edge_times(state: str) -> None:
    """A low pass of 0.1 us, filtered by scipy.signal: it moves no value by more than its row."""
    capture, _ = synthesise(pilot(state), fine(interval_s=2.5e-8, count=2_000_000, noise_v=0.0))
    share = 1.0 - np.exp(-2.5e-8 / 1e-7)
    plain = capture.volts()
    noise = 0.02 * np.random.default_rng(3).standard_normal(plain[4000::20].size)
    stated = replace(capture.calibration, gain_v=1.0, offset_v=0.0, front_end_us=0.1)
    before, behind = (
        measure(Capture.from_volts(volts[4000::20] + noise, 5e-7, "slow", calibration=stated))
        for volts in (plain, lfilter([share], [1.0, share - 1.0], plain))
    )
    for name in ("pulse_width_zero_us", "pulse_width_mid_us", "rise_time_us", "fall_time_us"):
        value = quantity(behind, name)
        (row,) = (row for row in value.rows if row.id.startswith("front-end-"))
        moved = value.value - quantity(before, name).value
        assert abs(moved) < np.sqrt(3.0) * row.u + 0.001, (name, moved, row.u)

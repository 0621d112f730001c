"""One period in equivalent time, against waveforms whose truth is known; the set-point table."""

from dataclasses import replace

import numpy as np
import pytest
from archive_examples import CALIBRATION, check, quantity
from report_examples import EDGES, SAMPLES, levels, record

from pilotsignal.calibration import CRYSTAL_50_PPM, WidthBias
from pilotsignal.capture import Capture, EdgeRecord, Gap
from pilotsignal.judge import Judgement, Limit, Rule, Verdict
from rungbench.archive.record import CheckResult
from rungbench.report.period import Mask, lay_over, views
from rungbench.report.setpoints import set_points

_TICK = 62.5e-9
_PERIOD = 16_004  # ticks: 1000.25 us
_HIGH = 4272  # ticks: 267 us
_STEP = 832  # ticks between samples: 52 us


def known(periods: int = 400, lost: int | None = None) -> tuple[EdgeRecord, Capture]:
    """Rectangular pulses of 9 V and -12 V; with `lost` the edges of that period are missing."""
    first = 10_000
    starts = first + _PERIOD * np.arange(periods, dtype=np.int64)
    kept = starts if lost is None else np.delete(starts, lost)
    times = np.column_stack((kept, kept + _HIGH)).reshape(-1)
    rising = np.tile(np.array([True, False]), kept.size)
    bias = WidthBias("none", 0.0, 0.0)
    edges = EdgeRecord(times, rising, _TICK, "known", CRYSTAL_50_PPM, bias)
    ticks = np.arange(first + 300, int(starts[-1]), _STEP)
    line = replace(CALIBRATION, gain_v=0.03, offset_v=-15.0)
    counts = np.where((ticks - first) % _PERIOD < _HIGH, 800, 100).astype(np.uint16)
    capture = Capture.from_counts(
        counts, _STEP * _TICK, "known", calibration=line, time_base=CRYSTAL_50_PPM
    )
    return edges, capture.recorded(first_tick=first + 300)


def test_samples_lie_where_they_were_taken() -> None:
    period = lay_over(*known())
    assert period is not None
    assert period.period_us == pytest.approx(_PERIOD * _TICK * 1e6)
    assert period.periods == 399
    high = period.phase_us < _HIGH * _TICK * 1e6
    assert np.allclose(period.volts[high], 9.0)
    assert np.allclose(period.volts[~high], -12.0)
    assert bool((np.diff(period.phase_us) >= 0).all())
    assert period.middle_v == pytest.approx(-1.5)


def test_samples_of_a_period_with_a_lost_edge_are_left_out() -> None:
    whole, lost = lay_over(*known()), lay_over(*known(lost=200))
    assert whole is not None
    assert lost is not None
    assert whole.volts.size - lost.volts.size >= 2 * (_PERIOD // _STEP)
    high = lost.phase_us < _HIGH * _TICK * 1e6
    assert np.allclose(lost.volts[~high], -12.0)


def test_gaps_move_the_samples_after_them() -> None:
    edges, capture = known()
    missing = 37
    cut = np.delete(capture.samples, np.arange(1000, 1000 + missing))
    with_gap = replace(capture, samples=cut, gaps=(Gap(1000, missing),))
    period = lay_over(edges, with_gap)
    assert period is not None
    high = period.phase_us < _HIGH * _TICK * 1e6
    assert np.allclose(period.volts[high], 9.0)


def test_near_wraps_around_the_rising_edge_and_is_thinned() -> None:
    period = lay_over(*known())
    assert period is not None
    phase, volts = period.near(-200.0, 200.0)
    assert 200 < phase.size <= 260
    assert bool((np.diff(phase) > 0).all())
    assert np.allclose(volts[phase < 0], -12.0)
    assert np.allclose(volts[phase > 0], 9.0)


def test_nothing_is_drawn_of_what_does_not_pulse() -> None:
    edges, capture = known()
    two = replace(edges, times=edges.times[:4], rising=edges.rising[:4])
    assert lay_over(two, capture) is None
    assert lay_over(edges, replace(capture, first_tick=None)) is None


def test_the_mask_comes_from_the_judgements_of_all_checks_of_a_capture() -> None:
    limit = Limit(-5.0, 5.0, "us", "iec-61851-1-2017", "Table A.7", Rule.GUARDED, "M")
    error = replace(quantity("pulse_width_error_us", 0.3, "us"), u=0.03)
    width = quantity("pulse_width_zero_us", 266.9, "us")
    pulse = replace(
        check("pulse-width-b"),
        title="Pulse width (B)",
        judgements=(Judgement(Verdict.PASS, "inside", error, limit, 1.0),),
        quantities=(error, width),
        captures=(EDGES, SAMPLES),
    )
    (view,) = views(record(levels(), pulse, check("elsewhere")))
    assert view.step == "B"
    assert view.mask.high is not None
    assert (view.mask.high.low, view.mask.high.high) == (8.37, 9.59)
    assert view.mask.low is None
    assert view.mask.width_us == pytest.approx(266.6)
    assert view.mask.at_zero
    assert view.mask != Mask()


def test_a_retake_replaces_the_first_look() -> None:
    again = replace(levels(), attempt=2, captures=("c" * 64, "d" * 64))
    (view,) = views(record(levels(), again))
    assert view.captures == again.captures


def sweep() -> CheckResult:
    limit = Limit(-5.0, 5.0, "us", "iec-61851-1-2017", "Table A.7", Rule.GUARDED, "M")
    errors = [
        replace(quantity(f"pulse_width_error_us_at_{a:g}A", 0.1, "us"), u=0.03) for a in (6, 13.5)
    ]
    return replace(
        check("set-points"),
        judgements=tuple(Judgement(Verdict.PASS, "inside", one, limit, 1.0) for one in errors),
        quantities=(*errors, quantity("advertised_current_a_at_13.5A", 13.49, "A")),
    )


def test_set_points_are_read_from_the_names_of_quantities() -> None:
    first, second = set_points(record(check(), sweep()))
    assert (first.set_a, first.advertised) == (6.0, None)
    assert second.set_a == 13.5
    assert second.advertised is not None
    assert second.advertised.value == 13.49

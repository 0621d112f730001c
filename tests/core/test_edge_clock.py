"""Comparator edges to times: truth within U, rounding to ticks, what was lost, what is refused."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from pilotsignal.budget import derive
from pilotsignal.calibration import CRYSTAL_50_PPM, TimeBase, WidthBias
from pilotsignal.capture import EdgeRecord, Gap
from pilotsignal.edge_clock import EdgeTiming, read_edges
from pilotsignal.quantity import Quantity
from pilotsignal.synth import Circuit, PilotWave, Truth, record_edges

# Binomial quantile: 60 trials, 5 %, probability 1e-4 to reach it.
OUTSIDE_95 = int(binom.isf(1e-4, 60, 0.05)) + 1
TIMES = ("frequency_hz", "duty_percent", "pulse_width_zero_us")


def recorded(
    seed: int, *, locked: bool = False, duration_s: float = 0.2
) -> tuple[EdgeRecord, Truth]:
    rng = np.random.default_rng(seed)
    frequency = 1000.0 if locked else float(rng.uniform(994.0, 1006.0))
    width = float(rng.uniform(0.08, 0.90)) * 1e6 / frequency
    circuit = Circuit(load_ohm=(None, 2740.0, 882.0, 246.0)[seed % 4], capacitance_f=2e-9)
    wave = replace(circuit.wave(frequency, width), phase_us=float(rng.uniform(0.0, 1000.0)))
    return record_edges(wave, duration_s, time_base=CRYSTAL_50_PPM, seed=seed)


def present(quantity: Quantity | None) -> Quantity:
    assert quantity is not None
    return quantity


def codes(timing: EdgeTiming) -> list[str]:
    return [notice.code for notice in timing.notices]


@pytest.mark.parametrize("locked", [False, True])
def test_truth_within_the_uncertainty(locked: bool) -> None:
    """The clock of the record is exact here, so that its row is left out of the comparison.

    A width is off by the difference of two roundings: by chance outside U (95 %), never by more
    than a tick.
    """
    outside = dict.fromkeys(TIMES, 0)
    for seed in range(60):
        record, truth = recorded(seed, locked=locked)
        timing = read_edges(replace(record, time_base=TimeBase("exact", "calibrated", 0.0)))
        assert codes(timing) == []
        for name in TIMES:
            found = present(getattr(timing, name))
            off = abs(found.value - getattr(truth, name))
            assert off <= 2 * found.expanded(), (seed, name)
            outside[name] += off > found.expanded()
        # Half a tick of 62.5 ns at each edge is all that there is to know.
        width = present(timing.pulse_width_zero_us)
        assert abs(width.value - (truth.pulse_width_zero_us or 0.0)) <= 0.0625 + 1e-9
        assert width.expanded() < 0.06
    assert max(outside.values()) < OUTSIDE_95, outside


def test_the_comparator_bias_is_taken_off() -> None:
    record, truth = recorded(2)
    plain = present(read_edges(record).pulse_width_zero_us)
    biased = replace(record, width_bias=WidthBias("board-7", 0.8, 0.15))
    timing = read_edges(biased)
    width = present(timing.pulse_width_zero_us)
    assert width.value == pytest.approx(plain.value - 0.8)
    assert width.u == pytest.approx(np.hypot(plain.u, 0.15), rel=1e-4)
    # The duty moves by as much of a period.
    duty = present(timing.duty_percent)
    off = duty.value - present(read_edges(record).duty_percent).value
    assert off == pytest.approx(-0.8e-4 * (truth.frequency_hz or 0.0), rel=1e-6)
    shared = {row.id for row in width.rows} & {row.id for row in duty.rows}
    assert "width-bias@board-7" in shared


def test_edges_locked_to_the_counter_keep_half_a_tick() -> None:
    """16,000 ticks a period exactly: every edge is rounded alike, and no number of them helps."""
    wave = PilotWave(1000.0, 300.03, 12.0, -12.0, phase_us=10.01)
    for duration in (0.05, 2.0):
        record, _ = record_edges(wave, duration, time_base=TimeBase("exact", "calibrated", 0.0))
        width = present(read_edges(record).pulse_width_zero_us)
        assert width.value != pytest.approx(300.03, abs=1e-3)
        assert abs(width.value - 300.03) <= width.expanded()
        assert width.expanded() > 0.04


def test_a_coarser_counter_is_stated() -> None:
    record, truth = recorded(4)
    coarse = replace(record, times=record.times // 8 * 8, quantum_ticks=8)
    timing = read_edges(coarse)
    for name in TIMES:
        found = present(getattr(timing, name))
        assert abs(found.value - getattr(truth, name)) <= found.expanded()
    assert (
        present(timing.pulse_width_zero_us).u
        > 4 * present(read_edges(record).pulse_width_zero_us).u
    )


def test_a_wrong_clock_lies_within_its_stated_uncertainty_and_cancels_in_the_duty() -> None:
    record, truth = recorded(5)
    slow = replace(record, tick_s=record.tick_s * (1 + 40e-6))
    timing = read_edges(slow)
    frequency, duty = present(timing.frequency_hz), present(timing.duty_percent)
    assert abs(frequency.value / (truth.frequency_hz or 1.0) - 1) == pytest.approx(40e-6, rel=0.1)
    assert abs(frequency.value - (truth.frequency_hz or 0.0)) <= frequency.expanded()
    assert duty.value == pytest.approx(present(read_edges(record).duty_percent).value, rel=1e-12)
    assert not any(row.id.startswith("timebase") for row in duty.rows)
    corrected = replace(slow, time_base=replace(CRYSTAL_50_PPM, correction=40e-6))
    again = present(read_edges(corrected).frequency_hz)
    assert again.value == pytest.approx(truth.frequency_hz, rel=1e-7)


def test_the_clock_cancels_when_duty_is_worked_out_from_width_and_frequency() -> None:
    timing = read_edges(recorded(6)[0])
    sources = [present(timing.pulse_width_zero_us), present(timing.frequency_hz)]
    made = derive("duty_percent", "%", "product", lambda w, f: w * f * 1e-4, sources)
    direct = present(timing.duty_percent)
    assert made.value == pytest.approx(direct.value, rel=1e-12)
    assert made.u == pytest.approx(direct.u, rel=1e-3)


def test_lost_edges_are_stepped_over() -> None:
    record, truth = recorded(7)
    keep = np.r_[0:101, 160 : record.times.size]
    holed = replace(
        record, times=record.times[keep], rising=record.rising[keep], gaps=(Gap(101, 59),)
    )
    timing = read_edges(holed)
    assert codes(timing) == ["missing-samples"]
    for name in TIMES:
        found = present(getattr(timing, name))
        assert abs(found.value - getattr(truth, name)) <= found.expanded()


def test_jitter_has_the_size_put_in() -> None:
    """2000 periods tell a standard deviation to 1.6 %; four times that."""
    wave = PilotWave(1000.3, 300.0, 12.0, -12.0, width_jitter_us=0.4, period_jitter_us=0.6)
    timing = read_edges(record_edges(wave, 2.0, seed=3)[0])
    # The synthetic falling edge follows its own rise, so that the width has its jitter alone.
    assert present(timing.width_jitter_us).value == pytest.approx(0.4, rel=0.065)
    assert present(timing.period_jitter_us).value == pytest.approx(0.6, rel=0.065)
    quiet = read_edges(record_edges(PilotWave(1000.3, 300.0, 12.0, -12.0), 2.0)[0])
    for found in (present(quiet.width_jitter_us), present(quiet.period_jitter_us)):
        assert found.value <= found.expanded()  # the counter's rounding alone


def test_the_counters_rounding_is_taken_off() -> None:
    """20 ns of jitter on ticks of 62.5 ns: rounding alone would make it 32 ns."""
    wave = PilotWave(1000.3, 300.0, 12.0, -12.0, width_jitter_us=0.02)
    inside = 0
    for seed in range(20):
        timing = read_edges(record_edges(replace(wave, phase_us=0.1 * seed), 2.0, seed=seed)[0])
        jitter = present(timing.width_jitter_us)
        assert jitter.value == pytest.approx(0.02, abs=0.004)
        inside += abs(jitter.value - 0.02) <= jitter.expanded()
    assert inside == 20  # the budget holds the rounding as well


def chattering(record: EdgeRecord) -> EdgeRecord:
    """Each edge three times, as by a comparator without hysteresis on a slow noisy edge."""
    times = (record.times[:, None] + np.array([0, 3, 9])).ravel()
    rising = (record.rising[:, None] ^ np.array([False, True, False])).ravel()
    return replace(record, times=times, rising=rising)


def noise(record: EdgeRecord) -> EdgeRecord:
    times = np.sort(np.random.default_rng(2).integers(0, 3_000_000, record.times.size))
    return replace(record, times=times)


@pytest.mark.parametrize("spoil", [chattering, noise])
def test_edges_that_follow_no_comb_give_no_number(
    spoil: Callable[[EdgeRecord], EdgeRecord],
) -> None:
    timing = read_edges(spoil(recorded(8)[0]))
    assert codes(timing) == ["not-periodic"]
    assert all(getattr(timing, name) is None for name in TIMES)


@pytest.mark.parametrize(("edges", "code"), [(0, "no-pwm"), (1, "too-few"), (3, "too-few")])
def test_too_few_edges_give_no_number(edges: int, code: str) -> None:
    record, _ = recorded(9)
    short = replace(record, times=record.times[:edges], rising=record.rising[:edges])
    timing = read_edges(short)
    assert [found.startswith(code) for found in codes(timing)] == [True]
    assert all(getattr(timing, name) is None for name in TIMES)


def test_two_periods_are_a_number_with_a_remark() -> None:
    record, truth = recorded(10)
    timing = read_edges(replace(record, times=record.times[:5], rising=record.rising[:5]))
    assert codes(timing) == ["too-few-periods"]
    found = present(timing.frequency_hz)
    assert abs(found.value - (truth.frequency_hz or 0.0)) <= found.expanded()
    assert timing.width_jitter_us is timing.period_jitter_us is None


def test_inputs_are_named_by_record_and_clock() -> None:
    first, second = (read_edges(recorded(seed)[0]) for seed in (11, 12))
    ids = [{row.id for row in present(t.frequency_hz).rows} for t in (first, second)]
    assert ids[0] & ids[1] == {"timebase@crystal-50ppm"}

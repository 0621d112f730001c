"""Crossings of folded edges with a known shape, and slew rates that others printed."""

import numpy as np
import pytest

from pilotsignal.folded_edges import FoldedEdge, Window, fold_edge, gather
from pilotsignal.levels import find_levels
from pilotsignal.transitions import Crossing, Swing, crossing, edge_offsets, period_step


def folded(times: np.ndarray, values: np.ndarray) -> FoldedEdge:
    return FoldedEdge(times, values, np.ones(times.size), np.zeros(times.size))


def relaxation(times: np.ndarray, tau: float) -> np.ndarray:
    """From 0 to 1, beginning at time 0."""
    return np.where(times > 0, 1.0 - np.exp(-np.maximum(times, 0.0) / tau), 0.0)


@pytest.mark.parametrize("level", [0.1, 0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("tau", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("density", [4, 10, 60])
def test_a_relaxation_is_crossed_where_the_logarithm_says(
    level: float, tau: float, density: int
) -> None:
    times = np.arange(-20.0, 60.0, tau / density) + 0.003
    found = crossing(folded(times, relaxation(times, tau)), level, Swing(0.0, 1.0, 1e-6))
    assert found is not None
    true = -tau * np.log(1.0 - level)
    assert abs(found.phase - true) <= found.bound + 2 * found.u + 1e-9
    assert found.bound <= found.gap + 0.02 * tau
    assert found.gap == pytest.approx(tau / density, rel=0.01)


def test_falling_edges_count_like_rising_ones() -> None:
    times = np.arange(-20.0, 20.0, 0.05)
    rising = crossing(folded(times, relaxation(times, 1.0)), 0.5, Swing(0.0, 1.0, 1e-6))
    falling = crossing(folded(times, 1.0 - relaxation(times, 1.0)), 0.5, Swing(1.0, 0.0, 1e-6))
    assert rising is not None
    assert falling is not None
    assert falling.phase == pytest.approx(rising.phase, abs=1e-9)
    assert falling.slope == pytest.approx(-rising.slope)
    assert rising.slope == pytest.approx(0.5, rel=0.02)


def test_an_edge_between_two_samples_lies_between_them() -> None:
    times = np.array([-3.0, -2.0, -0.6, 0.2, 1.0, 2.0])
    found = crossing(folded(times, (times > 0) * 1.0), 0.5, Swing(0.0, 1.0, 0.001))
    assert found is not None
    assert not found.resolved
    assert found.phase - found.bound == pytest.approx(-0.6)
    assert found.phase + found.bound == pytest.approx(0.2)
    assert found.gap == pytest.approx(0.8)


def test_noise_moves_a_crossing_by_what_is_claimed() -> None:
    """A line of slope 1/10 a sample, noise 0.02: over many seeds the claim is not exceeded."""
    off, claimed = [], []
    times = np.arange(-30.0, 30.0, 0.2)
    clean = np.clip(times / 10.0 + 0.5, 0.0, 1.0)
    for seed in range(300):
        values = clean + 0.02 * np.random.default_rng(seed).standard_normal(times.size)
        found = crossing(folded(times, values), 0.5, Swing(0.0, 1.0, 0.02))
        assert found is not None
        off.append(found.phase)
        claimed.append(np.hypot(found.u, found.bound / 3**0.5))
    scatter = float(np.std(off))
    # 1.4: the claim must cover at least 85 % (1.44 sigma of 2); 95 % is later work.
    assert scatter <= np.median(claimed) * 1.4
    assert scatter >= 0.3 * np.median(claimed)
    assert abs(np.mean(off)) <= 4 * scatter / 300**0.5


@pytest.mark.parametrize("level", [-0.5, 1.5])
def test_a_level_that_is_never_passed(level: float) -> None:
    times = np.arange(-20.0, 20.0, 0.1)
    assert crossing(folded(times, relaxation(times, 1.0)), level, Swing(0.0, 1.0, 0.01)) is None


def test_nothing_to_cross() -> None:
    empty = np.empty(0)
    assert crossing(folded(empty, empty), 0.5, Swing(0.0, 1.0, 0.01)) is None


def test_single_edges_are_timed_against_the_fold() -> None:
    """Edges late by a known amount each; noise-free, so that only the one step's error is left."""
    rng = np.random.default_rng(6)
    period, number = 100.37, np.arange(200)
    late = 0.05 * rng.standard_normal(200)
    true = 57.3 + period * number + late
    time = np.arange(int(true[-1]) + 60)
    samples = np.zeros(time.size)
    for at in true:
        samples += relaxation(time - at, 4.0) * (time - at < 40)
    where = np.ceil(true).astype(np.int64)
    parts = gather(samples, (), where, number, Window(12, 12))
    edge = fold_edge(parts, 57.3, period)
    middle = crossing(edge, 0.5, Swing(0.0, 1.0, 1e-4))
    assert middle is not None
    assert middle.resolved
    found = edge_offsets(parts, middle, 57.3, period, 1e-4)
    assert found.cycle.size > 150
    rest = found.late - late[found.cycle]
    assert np.std(rest) < 0.1 * np.std(late)


def slew(base: float) -> tuple[Crossing, Crossing]:
    """Crossings of 10 and 90 % of the rising half of a triangle from -1 to 1 in `base` seconds."""
    rate = 100.0
    triangle = np.linspace(-1, 1, int(base * rate), endpoint=False)
    wave = np.tile(np.concatenate((triangle, -triangle)), 3)
    levels = find_levels(wave)
    times = np.arange(triangle.size, dtype=float) / rate
    swing = Swing(-1.0, 1.0, 1e-9)
    ends = [crossing(folded(times, triangle), level, swing) for level in (-0.8, 0.8)]
    assert levels.settled < 0.6  # no rectangular wave, see below
    assert ends[0] is not None
    assert ends[1] is not None
    return ends[0], ends[1]


@pytest.mark.parametrize(("base", "printed"), [(1.0, 2.0), (4.0, 0.5)])
def test_slew_rate_of_a_triangle_as_printed(base: float, printed: float) -> None:
    """MathWorks, Signal Processing documentation, "Slew Rate of Triangular Waveform".

    Printed: +/- 2.0000 for base 1 and +/- 0.5000 for base 4, per unit.  A triangle is refused by
    the measurement as a whole, since it has no plateaus; its edge is not.
    """
    ten, ninety = slew(base)
    assert 1.6 / (ninety.phase - ten.phase) == pytest.approx(printed, abs=5e-5)
    assert ten.slope == pytest.approx(printed, abs=5e-5)


def leverage(period: float, cycles: int) -> tuple[float, float]:
    """What samples of a slow edge say of the period, against what a known shape would let them."""
    number = np.arange(cycles)
    true = 57.3 + period * number
    where = np.ceil(true).astype(np.int64)
    samples = np.zeros(int(true[-1]) + 60)
    place = np.arange(samples.size)
    for at in true:
        near = slice(int(at) - 30, int(at) + 30)
        samples[near] = relaxation(place[near] - at, 0.5)
    parts = gather(samples, (), where, number, Window(12, 12))
    middle = crossing(fold_edge(parts, 57.3, period), 0.5, Swing(0.0, 1.0, 1e-3))
    assert middle is not None
    assert middle.resolved
    found = period_step(parts, middle, 57.3, period, 1e-3)
    phase = parts.phase(57.3, period)
    inside = (phase >= middle.reach[0]) & (phase <= middle.reach[1])
    held = np.broadcast_to(number[-parts.cycle.size :, None], phase.shape)[inside]
    naive = float(np.sum((held - held.mean()) ** 2)) * middle.slope**2 / 1e-6
    return found.leverage, naive


def test_where_phase_and_cycle_go_together_the_period_is_not_known() -> None:
    """All but locked: each phase is met in one stretch of cycles, and a slower edge looks alike."""
    locked, naive = leverage(100.0041, 240)
    assert locked < 0.05 * naive
    free, naive = leverage(100.6180, 240)
    assert free > 0.3 * naive

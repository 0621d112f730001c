"""The measurement against waveforms whose truth is known in closed form.

Tolerances come from the claimed uncertainty U (95 %): in each cell at least 93 % of the intervals
hold the truth, less what chance allows at one in a million (binomial), and none is off by more than
2.5 U, which chance alone would do once in a million.  `test_estimators` has cells with many more
seeds, and `grid_estimators` the whole grid.
"""

import itertools

import pytest
from pilot_waves import Cell
from scipy.stats import binom

from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.synth import Truth

SEEDS = 20
INSIDE = int(binom.ppf(1e-6, SEEDS, 0.93))
FARTHEST = 2.5
# Ticks of 62.5 ns: the board's three modes, and 100, 500 and 2000 kS/s.
RATES = ((832, 10), (416, 10), (208, 8), (160, 12), (32, 12), (8, 12))
ALWAYS = ("frequency_hz", "duty_percent", "pulse_width_zero_us", "pulse_width_mid_us")
LEVELS = ("high_plateau_v", "low_plateau_v")
TIMES = ("rise_time_us", "fall_time_us")
CELLS = [
    Cell(ticks, bits, capacitance, noise, locked)
    for (ticks, bits), capacitance, noise, locked in itertools.product(
        RATES, (300e-12, 3.1e-9), (0.005, 0.02, 0.1), (False, True)
    )
]


class Tally:
    """How errors compare with U, quantity by quantity."""

    def __init__(self) -> None:
        self.ratios: dict[str, list[float]] = {}

    def add(self, found: PilotMeasurement, truth: Truth) -> None:
        for name in (*ALWAYS, *LEVELS, *TIMES):
            quantity = getattr(found, name)
            if quantity is not None:
                off = abs(quantity.value - getattr(truth, name))
                self.ratios.setdefault(name, []).append(off / quantity.expanded())


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_truth_within_the_uncertainty(cell: Cell) -> None:
    tally = Tally()
    for seed in range(SEEDS):
        capture, truth = cell.record(seed)
        found = measure(capture)
        assert found.pwm_on
        tally.add(found, truth)
        _within_the_sampling(found, truth, capture.interval_s * 1e6)
    for name, ratios in tally.ratios.items():
        assert max(ratios) <= FARTHEST, (name, ratios.index(max(ratios)))
        if len(ratios) == SEEDS:
            assert sum(ratio <= 1.0 for ratio in ratios) >= INSIDE, name
    assert {*ALWAYS, *LEVELS} <= set(tally.ratios)
    assert all(len(tally.ratios[name]) == SEEDS for name in (*ALWAYS, *LEVELS))


def _within_the_sampling(found: PilotMeasurement, truth: Truth, interval_us: float) -> None:
    """A sample on each side of an edge bounds it, whatever was claimed.

    At the middle level a width is off by one sample at most. At 0 V the edge's own 10 to 90 % time
    comes on top, for an edge that hides between two samples may be of any shape.
    """
    assert found.frequency_hz is not None
    assert found.pulse_width_mid_us is not None
    assert found.pulse_width_zero_us is not None
    off = abs(found.pulse_width_mid_us.value - (truth.pulse_width_mid_us or 0.0))
    assert off <= interval_us
    edges = (truth.rise_time_us or 0.0) + (truth.fall_time_us or 0.0)
    off = abs(found.pulse_width_zero_us.value - (truth.pulse_width_zero_us or 0.0))
    assert off <= interval_us + edges
    # Two samples over a tenth of a second (ten periods in the shortest record).
    assert found.frequency_hz.value == pytest.approx(
        truth.frequency_hz, rel=2 * interval_us * 1e-6 / 0.009
    )


def test_what_can_be_told_is_told_sharply() -> None:
    """Uncertainties that say nothing would pass everything above."""
    cell = Cell(8, 12, 3.1e-9, 0.02, False)
    for seed in range(4):
        found = measure(cell.record(seed)[0])
        assert found.frequency_hz is not None
        assert found.pulse_width_zero_us is not None
        assert found.high_plateau_v is not None
        assert found.frequency_hz.expanded() < 0.05
        assert found.pulse_width_zero_us.expanded() < 0.1
        assert found.high_plateau_v.expanded() < 0.003
        assert found.rise_time_us is not None
        assert found.rise_time_us.expanded() < 0.1 * found.rise_time_us.value
    board = measure(Cell(416, 10, 1e-9, 0.02, False).record(1, duration_s=0.5)[0])
    assert board.pulse_width_zero_us is not None
    assert board.pulse_width_zero_us.expanded() < 1.0


@pytest.mark.parametrize("duration", [0.0042, 0.0125])
def test_short_records(duration: float) -> None:
    """Four periods, and the board's bursts of twelve and a half."""
    tally = Tally()
    for seed in range(SEEDS):
        capture, truth = Cell(160, 12, 1e-9, 0.02, False).record(seed, duration_s=duration)
        tally.add(measure(capture), truth)
    for name, ratios in tally.ratios.items():
        assert max(ratios) <= FARTHEST, (name, ratios.index(max(ratios)))
    assert len(tally.ratios["frequency_hz"]) == SEEDS

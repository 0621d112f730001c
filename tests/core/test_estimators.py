"""A part of the grid, with fixed seeds: ratios to the bound, and coverage.

`grid_estimators` runs the whole grid.  The bound and its references are in `pilotsignal.bound`.
"""

import math

import pytest
from estimator_cells import Cell, record
from grid_estimators import BOUNDED, MOST, Tally, run, shares
from scipy.stats import chi2

CHANCE = 1e-6

# Rates, converters, edges, noises and records of all sizes; each inside the region of the bound for
# most seeds.
BOUND_CELLS = (
    Cell(19.2, 12, 20.0, 0.02, 0.2, False),
    Cell(38.46, 10, 6.0, 0.06, 0.2, False),
    Cell(77.0, 12, 2.0, 0.02, 0.2, False),
    Cell(250.0, 8, 20.0, 0.2, 0.02, True),
    Cell(500.0, 10, 6.0, 0.02, 0.02, False),
    Cell(2000.0, 12, 2.0, 0.06, 0.02, True),
    Cell(2000.0, 16, 6.0, 0.005, 0.02, False),
)
COVERED_CELLS = (
    Cell(250.0, 12, 20.0, 0.06, 0.02, False),
    Cell(500.0, 10, 6.0, 0.06, 0.02, True),
    Cell(77.0, 12, 20.0, 0.02, 0.02, False),
    # Gap or step dominate: locked, unresolved, two codes.
    Cell(19.2, 10, 2.0, 0.02, 0.02, False),
    Cell(38.46, 10, 0.5, 0.005, 0.02, True),
    Cell(250.0, 12, 2.0, 0.02, 0.02, True),
    Cell(500.0, 8, 6.0, 0.02, 0.02, True),
)


@pytest.mark.parametrize("cell", BOUND_CELLS, ids=str)
def test_scatter_is_near_the_bound(cell: Cell) -> None:
    """At most 1.2 times the bound, and no more above it than chance makes of an estimator at it."""
    (tally,) = run([cell], 24, bounded=True)
    ratios = tally.ratios()
    assert set(ratios) == set(BOUNDED)
    for name, (ratio, count) in ratios.items():
        chance = math.sqrt(float(chi2.isf(CHANCE, count)) / count)
        assert ratio <= MOST * chance, name


def test_scatter_of_all_cells_together_is_within_the_limit() -> None:
    """Some hundred seeds leave chance little room."""
    squares: dict[str, list[float]] = {name: [] for name in BOUNDED}
    for cell in BOUND_CELLS[3:]:
        (tally,) = run([cell], 24, bounded=True)
        for name, values in tally.over_bound.items():
            squares[name] += [value**2 for value in values]
    for name, values in squares.items():
        assert math.sqrt(sum(values) / len(values)) <= MOST, name


@pytest.mark.parametrize("cell", COVERED_CELLS, ids=str)
def test_intervals_hold_the_truth(cell: Cell) -> None:
    (tally,) = run([cell], 80, bounded=False)
    found = shares(tally)
    assert found
    for key, share in found.items():
        assert not share.fails, (key, share.text)


@pytest.mark.slow
@pytest.mark.parametrize("cell", COVERED_CELLS, ids=str)
def test_intervals_of_two_thousand_seeds(cell: Cell) -> None:
    (tally,) = run([cell], 2000, bounded=False)
    for key, share in shares(tally).items():
        assert not share.fails, (key, share.text)


def test_the_judgement_of_a_cell_can_fail() -> None:
    """Uncertainties half as large as they are, or ten times, would be noticed."""
    cell = COVERED_CELLS[0]
    for factor in (2.0, 0.1):
        tally = Tally(cell)
        for seed in range(100):
            tally.add(record(cell, seed, systematic=True), bounded=False)
        for values in tally.noise.values():
            values[:] = [value * factor for value in values] * 10
        assert any(share.fails for share in shares(tally).values())

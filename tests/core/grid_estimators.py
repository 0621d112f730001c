"""How close the measurement comes to the Cramer-Rao bound, and how often U covers the truth.

    PYTHONPATH=signal:tests/core .venv/bin/python -m grid_estimators ratios --seeds 40
    PYTHONPATH=signal:tests/core .venv/bin/python -m grid_estimators coverage --seeds 2000

`--every N` takes each N-th cell of the whole grid, `--from K` begins with cell K; `--shortest` and
`--longest` keep records of some lengths only. `--processes P` works at P cells at once: what each
cell draws depends on the cell and the seed alone, so that the results are the same.
"""

import argparse
import math
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from estimator_cells import Cell, Recorded, all_cells, record
from scipy.stats import binom, chi2

from pilotsignal.measure import measure

BOUNDED = (
    "frequency_hz",
    "pulse_width_zero_us",
    "pulse_width_mid_us",
    "duty_percent",
    "high_plateau_v",
    "low_plateau_v",
)
COVERED = (*BOUNDED, "rise_time_us", "fall_time_us")
MOST = 1.2
CHANCE = 1e-6
LEAST_SEEDS = 16


@dataclass(slots=True)
class Tally:
    """Errors of one cell: over the bound, and over U, by quantity."""

    cell: Cell
    over_bound: dict[str, list[float]] = field(default_factory=dict)
    noise: dict[str, list[float]] = field(default_factory=dict)
    limited: dict[str, list[float]] = field(default_factory=dict)
    missing: int = 0

    def add(self, taken: Recorded, *, bounded: bool) -> None:
        found = measure(taken.capture).quantities()
        inside = taken.cell.dithered and taken.dense()
        bound = taken.bound() if bounded and inside else {}
        for name in COVERED:
            quantity, truth = found[name], getattr(taken.truth, name)
            if quantity is None:
                self.missing += inside
                continue
            off = quantity.value - truth
            where = self.noise if inside else self.limited
            where.setdefault(name, []).append(abs(off) / quantity.expanded())
            if name in bound and name in BOUNDED:
                self.over_bound.setdefault(name, []).append(off / bound[name])

    def ratios(self) -> dict[str, tuple[float, int]]:
        """Root of the mean square of error over bound, and how many seeds."""
        return {
            name: (float(np.sqrt(np.mean(np.square(values)))), len(values))
            for name, values in self.over_bound.items()
            if len(values) >= LEAST_SEEDS
        }


@dataclass(frozen=True, slots=True)
class Share:
    """How many of `count` intervals hold the truth, and whether that may be."""

    inside: int
    count: int
    limited: bool

    @property
    def text(self) -> str:
        return f"{100 * self.inside / self.count:.1f}"

    @property
    def fails(self) -> bool:
        """Too few, or where noise dominates too many, for chance at one in a million."""
        low = 0.95 if self.limited else 0.93
        few = bool(binom.cdf(self.inside, self.count, low) < CHANCE)
        many = bool(binom.sf(self.inside - 1, self.count, 0.975) < CHANCE)
        return few or (many and not self.limited)


def shares(tally: Tally) -> dict[tuple[str, bool], Share]:
    """By quantity and by whether gap or step dominate."""
    found = {}
    for limited, where in ((False, tally.noise), (True, tally.limited)):
        for name, values in where.items():
            inside = sum(value <= 1.0 for value in values)
            found[name, limited] = Share(inside, len(values), limited)
    return found


def run_cell(cell: Cell, seeds: int, *, bounded: bool) -> Tally:
    tally = Tally(cell)
    for seed in range(seeds):
        tally.add(record(cell, seed, systematic=not bounded), bounded=bounded)
    return tally


def run(cells: Iterable[Cell], seeds: int, *, bounded: bool) -> Iterable[Tally]:
    return map(partial(run_cell, seeds=seeds, bounded=bounded), cells)


def print_ratios(tallies: Iterable[Tally]) -> None:
    worst: dict[str, list[float]] = {name: [] for name in BOUNDED}
    allowed = outside = cells = 0.0
    print("cell;" + ";".join(BOUNDED))
    for tally in tallies:
        ratios = tally.ratios()
        if not ratios:
            continue
        cells += 1
        for name, (ratio, count) in ratios.items():
            worst[name].append(ratio)
            outside += ratio > MOST
            allowed += float(chi2.sf(MOST**2 * count, count))
        row = [f"{ratios[name][0]:.2f}" if name in ratios else "" for name in BOUNDED]
        print(
            f"{tally.cell};" + ";".join(row) + (f";missing {tally.missing}" * (tally.missing > 0)),
            flush=True,
        )
    print("quantity; cells; median; 95 %; highest; above 1.2")
    for name, values in worst.items():
        if values:
            high = np.array(values)
            print(
                f"{name}; {high.size}; {np.median(high):.2f}; {np.percentile(high, 95):.2f};"
                f" {high.max():.2f}; {np.count_nonzero(high > MOST)}"
            )
    print(
        f"{cells:.0f} cells; {outside:.0f} ratios above {MOST}; at the bound it would be"
        f" {allowed:.1f} by chance, at most {allowed + 4 * math.sqrt(allowed) + 1:.0f}"
    )


def print_coverage(tallies: Iterable[Tally]) -> None:
    failing = total = 0
    print("cell;regime;" + ";".join(COVERED))
    for tally in tallies:
        found = shares(tally)
        for limited in (False, True):
            row = [found.get((name, limited)) for name in COVERED]
            if not any(row):
                continue
            failing += sum(share.fails for share in row if share)
            total += sum(share is not None for share in row)
            text = ";".join(
                "" if share is None else share.text + "!" * share.fails for share in row
            )
            count = max(share.count for share in row if share)
            print(f"{tally.cell};{'limited' if limited else 'noise'} {count};{text}", flush=True)
    print(f"{failing} of {total} shares fail at {CHANCE:g}; chance allows {total * CHANCE:.2g}")


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("what", choices=("ratios", "coverage"))
    words.add_argument("--seeds", type=int, default=40)
    words.add_argument("--every", type=int, default=1)
    words.add_argument("--from", type=int, default=0, dest="first")
    words.add_argument("--longest", type=float, default=1.0, help="longest record in s")
    words.add_argument("--shortest", type=float, default=0.0, help="shortest record in s")
    words.add_argument("--processes", type=int, default=1, help="cells worked at at once")
    told = words.parse_args()
    fitting = [c for c in all_cells() if told.shortest <= c.duration_s <= told.longest]
    cells = fitting[told.first :: told.every]
    bounded = told.what == "ratios"
    begun = time.monotonic()
    one = partial(run_cell, seeds=told.seeds, bounded=bounded)
    show = print_ratios if bounded else print_coverage
    if told.processes == 1:
        show(map(one, cells))
    else:
        with ProcessPoolExecutor(told.processes) as pool:
            show(pool.map(one, cells))
    print(f"{len(cells)} cells, {told.seeds} seeds each, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()

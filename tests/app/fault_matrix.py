"""The fault matrix and the random conforming chargers: one command, by two processes.

    .venv/bin/python tests/app/fault_matrix.py                 everything, some 40 minutes
    .venv/bin/python tests/app/fault_matrix.py --only traits
    .venv/bin/python tests/app/fault_matrix.py --only chargers --chargers 50
    .venv/bin/python tests/app/fault_matrix.py --keys close_s,open_ms

It prints one line a trait with what its own checks said at 1.5, 1.1 and 0.7 times its tolerance,
then every miss and every false alarm, then the counts.  It ends with status 1 if there is any.
"""

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

if __name__ == "__main__":
    ROOT = Path(__file__).resolve().parents[2]
    sys.path[:0] = [str(ROOT / "app"), str(ROOT / "signal"), str(Path(__file__).parent)]

from matrix_chargers import conforming
from matrix_run import Job, Outcome, outcome
from matrix_table import FACTORS, Trait, false_alarms, misses
from matrix_traits import EXCLUDED, TRAITS

CHARGERS = 300
LEAST_PASS = 295
_TELL_EVERY = 20
_SHORT = {
    "pass": "pass",
    "fail": "FAIL",
    "undecided": "und.",
    "not run": "n.r.",
    "observed": "obs.",
}


@dataclass(frozen=True, slots=True)
class Row:
    """A trait with what its runs came to, by factor."""

    trait: Trait
    seen: dict[float, Outcome]

    def misses(self) -> list[str]:
        """Own checks that did not say what they must."""
        return [
            f"{self.trait.name} at {factor:g}: {text} ({_why(text, seen)})"
            for factor, seen in self.seen.items()
            for text in misses(self.trait, factor, seen)
        ]

    def false_alarms(self) -> list[str]:
        """Checks that nothing in the table lets say what they said."""
        return [
            f"{self.trait.name} at {factor:g}: {text} ({_why(text, seen)})"
            for factor, seen in self.seen.items()
            for text in false_alarms(self.trait, factor, seen)
        ]

    def text(self) -> str:
        """One line of the matrix."""
        cells = "  ".join(f"{self._cell(factor):<22}" for factor in FACTORS)
        return f"{self.trait.name:<75} {self.trait.key:<20} {cells}"

    def _cell(self, factor: float) -> str:
        seen = self.seen.get(factor)
        if seen is None:
            return "-"
        said = Counter(seen.checks.get(check, "absent") for check in self.trait.own)
        return ", ".join(
            f"{count} {_SHORT.get(verdict, verdict)}" for verdict, count in said.items()
        )


def _why(text: str, seen: Outcome) -> str:
    """Why the check that a text begins with said what it said."""
    return seen.why.get(text.partition(":")[0], seen.interrupted or "it is not in the record")


@dataclass(frozen=True, slots=True)
class Lot:
    """What the random conforming chargers came to, in order of their numbers."""

    seen: Sequence[Outcome]

    @property
    def verdicts(self) -> Counter[str]:
        """How many runs came to each verdict."""
        return Counter(one.verdict for one in self.seen)

    def wrong(self) -> list[str]:
        """Fails, and doubts away from a limit."""
        return [
            f"charger {number}: {check}: {verdict} ({one.why[check]})"
            for number, one in enumerate(self.seen)
            for check, verdict in one.checks.items()
            if verdict not in ("pass", "observed")
            and not (verdict == "undecided" and check in one.near)
        ]

    def doubts(self) -> list[str]:
        """What was undecided within U of a limit."""
        return [
            f"charger {number}: {check} ({one.why[check]})"
            for number, one in enumerate(self.seen)
            for check, verdict in one.checks.items()
            if verdict == "undecided" and check in one.near
        ]

    def enough(self) -> bool:
        """Whether at least 295 of 300 pass, and none fails."""
        passed = self.verdicts["pass"] >= len(self.seen) * LEAST_PASS / CHARGERS
        return passed and self.verdicts["fail"] == 0


def outcomes(jobs: Iterable[Job], processes: int) -> Iterator[Outcome]:
    """What became of each job, in order."""
    jobs = list(jobs)
    if processes == 1:
        yield from map(outcome, jobs)
        return
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(outcome, jobs)


def run_traits(traits: Sequence[Trait], processes: int) -> Iterator[Row]:
    """Each trait at all its factors."""
    results = outcomes((t.job(factor) for t in traits for factor in t.values), processes)
    for trait in traits:
        yield Row(trait, {factor: next(results) for factor in trait.values})


def run_chargers(numbers: Iterable[int], processes: int, *, tell: bool = False) -> Lot:
    """The conforming chargers of these numbers; with `tell` it prints how far it is."""
    seen: list[Outcome] = []
    for one in outcomes((conforming(number) for number in numbers), processes):
        seen.append(one)
        if tell and len(seen) % _TELL_EVERY == 0:
            told = ", ".join(f"{n} {verdict}" for verdict, n in Lot(tuple(seen)).verdicts.items())
            print(f"{len(seen)} chargers so far: {told}", flush=True)
    return Lot(tuple(seen))


def _print_matrix(traits: Sequence[Trait], processes: int) -> bool:
    heads = "  ".join(f"{f'{factor:g} times':<22}" for factor in FACTORS)
    print(f"{'trait':<75} {'key':<20} {heads}")
    rows = []
    for row in run_traits(traits, processes):
        rows.append(row)
        print(row.text(), flush=True)
    missed = [text for row in rows for text in row.misses()]
    alarms = [text for row in rows for text in row.false_alarms()]
    for title, texts in (("missed", missed), ("false alarm", alarms)):
        for text in texts:
            print(f"{title}: {text}")
    runs = sum(len(row.seen) for row in rows)
    keys = len({row.trait.key for row in rows})
    print(
        f"{len(rows)} rows, {keys} keys, {runs} runs: {len(missed)} misses, "
        f"{len(alarms)} false alarms"
    )
    return not missed and not alarms


def _print_chargers(count: int, processes: int) -> bool:
    lot = run_chargers(range(count), processes, tell=True)
    for text in lot.wrong():
        print(f"wrong: {text}")
    for text in lot.doubts():
        print(f"within U of a limit: {text}")
    told = ", ".join(f"{number} {verdict}" for verdict, number in lot.verdicts.items())
    print(f"{count} conforming chargers: {told}")
    return lot.enough() and not lot.wrong()


def main(words: Sequence[str]) -> int:
    """Run what was asked for; 0 if nothing was missed and no alarm was false."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--processes", type=int, default=min(2, os.cpu_count() or 1))
    parser.add_argument("--only", choices=("traits", "chargers"))
    parser.add_argument("--keys", default="", help="keys of the simulated charger, with commas")
    parser.add_argument("--chargers", type=int, default=CHARGERS)
    asked = parser.parse_args(words)
    start = time.monotonic()
    good = True
    if asked.only != "chargers":
        keys = set(filter(None, asked.keys.split(",")))
        traits = [trait for trait in TRAITS if not keys or trait.key in keys]
        good = _print_matrix(traits, asked.processes)
        for key, why in EXCLUDED.items():
            print(f"left out: {key}: {why}")
    if asked.only != "traits" and not asked.keys:
        good = _print_chargers(asked.chargers, asked.processes) and good
    print(f"{time.monotonic() - start:.0f} s by {asked.processes} processes")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

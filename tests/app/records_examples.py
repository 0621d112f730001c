"""Archives with many runs, written in bulk: invented chargers, verdicts in turn."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from archive_examples import header

from rungbench.archive import schema
from rungbench.archive.record import ChargerIdentity, RunVerdict
from rungbench.archive.rows import header_row
from rungbench.archive.store import open_archive

BEGIN = datetime(2024, 1, 1, 6, 0, tzinfo=UTC)
MAKERS = ("Demo Works", "Sample Electric", "Example AG", "Probe & Sons")
ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"
RARE = 9973
"""One run of so many is a bench fault."""


def run_id(number: int) -> str:
    """Unlike any other; digits of 31."""
    digits = []
    for _ in range(10):
        number, digit = divmod(number * 7919 + 13, 31)
        digits.append(ALPHABET[digit])
    return "".join(digits[:5]) + "-" + "".join(digits[5:])


def verdict_of(number: int) -> RunVerdict:
    """Mostly pass, some fail, hardly ever a bench fault."""
    if number % RARE == RARE - 1:
        return RunVerdict.BENCH_FAULT
    return RunVerdict.FAIL if number % 23 == 0 else RunVerdict.PASS


def serial_of(number: int) -> str:
    """A serial number for each run."""
    return f"DEMO-{number:06d}"


def rows(count: int, *, simulated: bool) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """A row of `runs` and one of `run_ends` for each run."""
    first = header(simulated=simulated)
    for number in range(1, count + 1):
        started = BEGIN + timedelta(minutes=7 * number)
        maker = MAKERS[number % len(MAKERS)]
        charger = ChargerIdentity(maker, "Sample 11", serial_of(number), 16.0, None, 3, "cable")
        one = replace(first, run_id=f"{number:05x}-{run_id(number)[:5]}", started=started)
        row = dict(header_row(replace(one, charger=charger)))
        end: dict[str, Any] = {
            "run": number,
            "verdict": verdict_of(number).value,
            "finished": started + timedelta(seconds=40),
            "interrupted": None,
            "make_safe": {},
        }
        yield {**row, "number": number}, end


def fill(path: Path, count: int, *, simulated: bool = False) -> Path:
    """Make an archive with so many runs; each without checks, which no list looks at."""
    with open_archive(path, simulated) as archive, archive.writing() as connection:
        block: list[tuple[dict[str, Any], dict[str, Any]]] = []
        for pair in rows(count, simulated=simulated):
            block.append(pair)
            if len(block) == 2000:
                _insert(connection, block)
                block = []
        _insert(connection, block)
    return path


def _insert(connection: Any, block: list[tuple[dict[str, Any], dict[str, Any]]]) -> None:
    if block:
        connection.execute(schema.runs.insert(), [run for run, _ in block])
        connection.execute(schema.run_ends.insert(), [end for _, end in block])

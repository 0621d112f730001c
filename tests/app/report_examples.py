"""Records for the report's tests, and what an independent reader (poppler) finds in a PDF."""

import re
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from archive_examples import check, counts, edges, header, quantity

from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.judge import Judgement, Limit, Rule, Verdict
from rungbench.archive.errors import NoSuchRecord
from rungbench.archive.record import CheckResult, Record, Role, run_verdict
from rungbench.report.evidence import Evidence

HOSTILE_SERIAL = "S\x00\x1b[2J\n2"
HOSTILE_MAKER = '<b>Bold</b> &amp; <font color="red">x</font> \u202eevil'
HOSTILE_MODEL = '=HYPERLINK("x";"y")' + "W" * 3000
EDGES, SAMPLES = "e" * 64, "5" * 64


def captures(key: str) -> Capture | EdgeRecord:
    """Edges and samples of one stretch of time, under two keys."""
    if key == EDGES:
        return edges()
    if key == SAMPLES:
        return counts()
    raise NoSuchRecord(f"No capture begins with {key!r}.")


def levels(name: str = "plateau-b") -> CheckResult:
    """A high plateau judged by its window, with captures to draw."""
    window = Limit(8.37, 9.59, "V", "iec-61851-1-2017", "Table A.10", Rule.GUARDED, "H")
    measured = replace(quantity("high_plateau_v", 8.88, "V"), u=0.01)
    judged = Judgement(Verdict.PASS, "8.880 V lies inside.", measured, window, 1.0)
    return CheckResult(
        name,
        "High plateau (B)",
        Role.REQUIRED,
        Verdict.PASS,
        (judged,),
        (measured,),
        captures=(EDGES, SAMPLES),
    )


def record(*checks: CheckResult, simulated: bool = False, ended: bool = True) -> Record:
    """A run with these checks."""
    start = header(simulated=simulated)
    interrupted = None if ended else "Stopped by Ctrl-C."
    finished = start.started + timedelta(seconds=57) if ended else None
    verdict = run_verdict(checks, interrupted)
    return Record(start, checks, verdict, finished, interrupted)


def described(one: Record, **charger: Any) -> Record:
    """The same record of another charger."""
    return replace(one, header=replace(one.header, charger=replace(one.header.charger, **charger)))


def hostile() -> Record:
    """Texts that want to be markup, formulas, commands, or simply endless."""
    evil = replace(
        check("evil"),
        title="<para>T" + "x" * 900,
        why="z " * 800,
        observations={"<i>k</i>" * 40: "v\n" * 500},
    )
    failed = replace(check("b", Verdict.FAIL), title="B", why="w" * 2000)
    one = described(
        record(evil, failed, ended=False),
        maker=HOSTILE_MAKER,
        model=HOSTILE_MODEL,
        serial=HOSTILE_SERIAL,
        notes="Пример " * 300,
    )
    return replace(one, interrupted="because " * 90, capture_names=(("n" * 300, SAMPLES),))


def many(count: int) -> Record:
    """A record with that many checks, every seventh of them undecided."""
    results = []
    for number in range(count):
        verdict = Verdict.UNDECIDED if number % 7 == 0 else Verdict.PASS
        results.append(replace(check(f"check-{number}", verdict), title=f"Check {number} (B)"))
    return record(*results, levels())


def evidence(one: Record) -> Evidence:
    return Evidence.of(one, captures)


@dataclass(frozen=True, slots=True)
class Word:
    """A word and its box in points from the upper left corner."""

    page: int
    left: float
    top: float
    right: float
    bottom: float
    text: str

    def overlap(self, other: "Word") -> float:
        """Area that both boxes share, in square points."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across * down if self.page == other.page and min(across, down) > 0 else 0.0


def pages(content: bytes, folder: Path) -> list[str]:
    """The text of each page."""
    text = _poppler("pdftotext", content, folder, "-layout", "-enc", "UTF-8", "FILE", "-")
    return text.split("\f")[:-1]


def words(content: bytes, folder: Path) -> list[Word]:
    """Every word with its box."""
    text = _poppler("pdftotext", content, folder, "-bbox", "FILE", "-")
    found, page = [], 0
    pattern = r'<page |<word xMin="(\S+)" yMin="(\S+)" xMax="(\S+)" yMax="(\S+)">(.*?)</word>'
    for match in re.finditer(pattern, text):
        if match[1] is None:
            page += 1
        else:
            left, top, right, bottom = (float(part) for part in match.groups()[:4])
            found.append(Word(page, left, top, right, bottom, match[5]))
    return found


def fonts(content: bytes, folder: Path) -> list[tuple[str, bool]]:
    """Name of each font, and whether it is embedded."""
    lines = _poppler("pdffonts", content, folder, "FILE").splitlines()[2:]
    return [(line.split()[0], line.split()[-5] == "yes") for line in lines]


def _poppler(program: str, content: bytes, folder: Path, *words: str) -> str:
    file = folder / "looked-at.pdf"
    file.write_bytes(content)
    command: Sequence[str] = [program, *(str(file) if one == "FILE" else one for one in words)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout

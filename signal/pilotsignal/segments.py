"""What changes inside a record: found, dated, and measured piece by piece.

A record in which the duty steps has no duty, and one in which it drifts has none to the digits that
averaging seems to give.  `inside` tells what happens; `Steadiness.segments` are the pieces
between which something steps, each with values of its own.

False alarms are below 1e-5 a record, and the smallest changes that are found are measured in
``tests/core/test_segments_power.py``.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.budget import combine, half_width
from pilotsignal.capture import Capture, EdgeRecord, Gap
from pilotsignal.changes import MOST, Change
from pilotsignal.edges import Edges, find_edges
from pilotsignal.folded_edges import missing_before
from pilotsignal.level_changes import LevelScale, PerPulse, bursts, level_changes
from pilotsignal.levels import Levels, find_levels
from pilotsignal.notices import Notice
from pilotsignal.period_changes import EdgeTimes, period_changes
from pilotsignal.periodic import coarse_comb
from pilotsignal.plateaus import Margins, Plateau, plateau, settled_pulses
from pilotsignal.quantity import Quantity
from pilotsignal.quick import between, inside, median, windows
from pilotsignal.timing import Comb, Floats

Values = Mapping[str, Quantity | None]

_THINNED = 1024
_SETTLED = 3
_SAMPLES, _LOOKED_AT = 16, 4096  # of a pulse, and pulses of a level, whose spread is looked at
_COARSE = 6.0
_PAUSE = 2.5  # periods
_LEAST_S = 4e-3  # pieces shorter than four periods carry no values


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of a record in which nothing steps.

    Parameters
    ----------
    start_s, end_s : seconds after the first sample or edge, by the nominal rate.
    what : what happens in it, in words: ``steady``, or the codes of drifts, hum and bursts.
    values : quantities by name, as of a measurement of this stretch alone.
    """

    start_s: float
    end_s: float
    what: str
    values: Values

    @property
    def paused(self) -> bool:
        """Whether there is no PWM in it: then it says nothing of the rest."""
        return "pwm-pause" in self.what


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What a record does while it is taken.

    Parameters
    ----------
    changes : in order of time; empty where it is steady.
    segments : in order of time; one that holds the whole record where nothing steps.
    """

    changes: tuple[Change, ...] = ()
    segments: tuple[Segment, ...] = ()

    @property
    def explains(self) -> bool:
        """Whether its parts have a frequency: then an irregular record is made of them."""
        return any(part.values.get("frequency_hz") is not None for part in self.segments)

    def notices(self) -> list[Notice]:
        """One for each kind of change: its first, and how many more there are.

        Gaps that were reported are left to the remarks on the record.
        """
        by_code: dict[str, list[Change]] = {}
        for change in self.changes:
            if not change.reported:
                by_code.setdefault(change.code, []).append(change)
        return [Notice(code, _sentence(changes)) for code, changes in by_code.items()]


def _sentence(changes: list[Change]) -> str:
    first = changes[0].text
    more = len(changes) - 1
    if more == 0:
        return first
    return f"{first} And {more} more {'change' if more == 1 else 'changes'} of this kind."


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What a measurement of the whole record has at hand already.

    Parameters
    ----------
    levels, edges : of the capture.
    comb : of its edge times by straight lines between samples, in sample intervals.
    high, low : plateaus with the means of single pulses; None leaves a level out.
    key : short name of the record, part of the row ids.
    """

    levels: Levels
    edges: Edges
    comb: Comb
    high: Plateau | None
    low: Plateau | None
    key: str


def changes_of(capture: Capture, found: Found) -> list[Change]:
    """Everything that changes inside a capture, in order of time."""
    changes = period_changes(edge_times(capture, found)) + _level_changes(capture, found)
    changes += _pauses(capture, found)
    changes += [_gap(capture, gap) for gap in capture.gaps]
    return sorted(changes, key=lambda change: change.start_s)


def found_in(capture: Capture) -> Found | None:
    """What `changes_of` needs, from nothing but the capture; None where it is no waveform."""
    levels = find_levels(capture.samples)
    if not levels.two:
        return None
    edges = find_edges(capture.samples, levels, capture.gaps)
    comb = coarse_comb(capture, levels, edges)
    if comb is None:
        return None
    margins = Margins(int(0.04 * comb.period) + 2, int(0.01 * comb.period) + 1)
    pulses = settled_pulses(capture, edges, margins)
    high, low = (plateau(capture.samples, pulses, up) for up in (True, False))
    return Found(levels, edges, comb, high, low, capture.origin)


def changes_of_edges(record: EdgeRecord, comb: Comb, key: str) -> list[Change]:
    """Everything that changes among comparator edges.

    Parameters
    ----------
    comb : of the record's times in ticks, after its first edge.
    """
    clock = record.time_base
    tick_us = record.tick_s * 1e6 / (1.0 + clock.correction)
    cell = float(record.quantum_ticks)
    return period_changes(EdgeTimes(comb, tick_us, cell, 2.0, clock, key))


def segments_of(
    changes: list[Change], duration_s: float, measured: Callable[[float, float], Values]
) -> Steadiness:
    """Changes with the pieces between them.

    Parameters
    ----------
    duration_s : of the record.
    measured : values of the stretch between two times in seconds; called for each piece of four
        periods and more, and not at all where nothing steps.
    """
    cuts = [change for change in changes if change.parts]
    if not cuts:
        return Steadiness(
            tuple(changes), (Segment(0.0, duration_s, _what(changes, 0.0, duration_s), {}),)
        )
    pieces = tuple(_segment(changes, bounds, measured) for bounds in _bounds(cuts, duration_s))
    return Steadiness(tuple(changes), pieces)


def _segment(
    changes: list[Change],
    bounds: tuple[float, float],
    measured: Callable[[float, float], Values],
) -> Segment:
    segment = Segment(*bounds, _what(changes, *bounds), measured(*bounds))
    if not segment.paused:
        return segment
    # Of a pause only the level counts; what hum or noise makes of it is no waveform.
    steady = segment.values.get("frequency_hz") is None
    levels = {name: one for name, one in segment.values.items() if steady and "plateau" in name}
    return replace(segment, values=levels)


def _bounds(cuts: list[Change], duration_s: float) -> list[tuple[float, float]]:
    """Stretches between steps; a burst is a stretch too."""
    marks: list[tuple[float, float]] = []
    for cut in cuts:
        if cut.stretch:
            marks += [(cut.start_s, cut.start_s), (cut.end_s, cut.end_s)]
        else:
            marks.append((cut.start_s, cut.end_s))
    marks.sort()
    found, start = [], 0.0
    for mark in marks:
        if mark[0] - start >= _LEAST_S:
            found.append((start, mark[0]))
        start = max(start, mark[1])
    if duration_s - start >= _LEAST_S:
        found.append((start, duration_s))
    return found


def _what(changes: list[Change], start_s: float, end_s: float) -> str:
    middle = 0.5 * (start_s + end_s)
    lasting = [
        change.code
        for change in changes
        if (not change.parts or change.stretch) and change.start_s <= middle <= change.end_s
    ]
    return ", ".join(dict.fromkeys(lasting)) or "steady"


def part_of(capture: Capture, start_s: float, end_s: float) -> Capture:
    """The samples between two times, gaps kept.

    Parameters
    ----------
    start_s, end_s : seconds after the first sample by the nominal rate, missing samples counted.
    """
    bounds = [_index(capture, time) for time in (start_s, end_s)]
    begin = min(bounds[0], capture.samples.size - 1)
    end = max(begin + 1, bounds[1])
    gaps = [Gap(gap.index - begin, gap.missing) for gap in capture.gaps if begin < gap.index < end]
    return replace(
        capture,
        samples=capture.samples[begin:end],
        gaps=tuple(gaps),
        first_tick=None,
        origin=f"{capture.origin}, samples {begin} to {end}",
    )


def part_of_edges(record: EdgeRecord, start_s: float, end_s: float) -> EdgeRecord:
    """The edges between two times in seconds after the first edge."""
    after = (record.times - record.times[0]) * record.tick_s
    begin, end = (int(place) for place in np.searchsorted(after, (start_s, end_s)))
    gaps = [Gap(gap.index - begin, gap.missing) for gap in record.gaps if begin < gap.index < end]
    return replace(
        record, times=record.times[begin:end], rising=record.rising[begin:end], gaps=tuple(gaps)
    )


def _index(capture: Capture, time_s: float) -> int:
    place = round(time_s / capture.interval_s)
    for gap in reversed(capture.gaps):
        before = int(missing_before(capture.gaps, np.array([gap.index - 1]))[0])
        if place >= gap.index + before + gap.missing:
            return min(place - before - gap.missing, capture.samples.size)
        if place >= gap.index + before:
            return gap.index
    return min(max(place, 0), capture.samples.size)


def widened(whole: Quantity | None, name: str, steady: Steadiness) -> Quantity | None:
    """A value of a whole record whose U holds the values of its parts and half of each drift.

    What a part's own uncertainty explains of the difference adds nothing.

    Returns
    -------
    Quantity or None : `whole` itself where nothing that concerns it changes.
    """
    if whole is None:
        return None
    running = [part for part in steady.segments if not part.paused]
    values = [part.values.get(name) for part in running]
    reaches = [abs(one.value - whole.value) - one.expanded() for one in values if one is not None]
    reaches += [0.5 * _drift_of(change, whole, name) for change in steady.changes]
    reach = max(reaches, default=0.0)
    if reach <= 0.0:
        return whole
    key = f"changes-{name}@{steady.changes[0].start_s:.6f}"
    row = half_width(key, "changes inside the record", reach, whole.unit)
    return combine(whole.name, whole.unit, whole.value, whole.method, (*whole.rows, row))


def _drift_of(change: Change, whole: Quantity, name: str) -> float:
    """How far a drift moves a quantity, in its unit."""
    if change.size is None or change.parts:
        return 0.0
    size = abs(change.size.value)
    if change.code == "duty-drift" and name.startswith("pulse_width"):
        return size
    if change.code == "duty-drift" and name == "duty_percent":
        return size * change.relative
    if change.code == "frequency-drift" and name == "frequency_hz":
        return size
    level = {"high_plateau_v": "high_level_drift_v", "low_plateau_v": "low_level_drift_v"}
    return size if level.get(name) == change.size.name and whole.unit == "V" else 0.0


def edge_times(capture: Capture, found: Found) -> EdgeTimes:
    """Edge times of a capture with what the sampling leaves open."""
    interval_us = capture.interval_s * 1e6 / (1.0 + capture.time_base.correction)
    variation = 2.0 / (1.0 + 1.6 * _met(capture.samples, found.levels, found.edges))
    return EdgeTimes(found.comb, interval_us, 1.0, variation, capture.time_base, found.key)


def _met(samples: npt.NDArray[Any], levels: Levels, edges: Edges) -> float:
    """Samples per edge between a quarter and three quarters of the way, on average."""
    index = edges.index[:: max(1, edges.index.size // _THINNED)]
    index = inside(index, 2, samples.size)
    values = windows(samples, 4)[index - 2]
    return between(values, levels.at(0.25), levels.at(0.75)) / max(1, index.size)


def _level_changes(capture: Capture, found: Found) -> list[Change]:
    scale = LevelScale(capture.calibration, found.levels.swing, found.levels.step, found.key)
    spreads = [_spread(capture, found, up) for up in (True, False)]
    changes = bursts(_joined([part for part in spreads if part is not None]), found.key)
    for name, level in (("high", found.high), ("low", found.low)):
        # Of a pulse of so few samples none may have settled.
        if level is not None and level.samples >= _SETTLED * max(1, level.means.size):
            means = PerPulse(_times(capture, level.places), level.means)
            changes += level_changes(name, means.without(changes), scale)
    return changes


def _spread(capture: Capture, found: Found, up: bool) -> PerPulse | None:
    """Highest less lowest of some samples in the middle of pulses, of some thousand pulses.

    Relative to what is usual.  Spreads of a few converter steps are no measure of noise; against
    such, steps are counted.
    """
    index = found.edges.index
    first = 0 if index.size and bool(found.edges.rising[0]) == up else 1
    begin, end = index[:-1][first::2], index[1:][first::2]
    thin = slice(None, None, max(1, begin.size // _LOOKED_AT))
    begin, end = begin[thin], end[thin]
    if begin.size == 0:
        return None
    widths = end - begin
    tenth = int(np.partition(widths, widths.size // 10)[widths.size // 10])
    length = int(min(_SAMPLES, 0.4 * tenth))
    if length < _SETTLED:
        return None
    middle = (begin + end) // 2
    rows = windows(capture.samples, length)[middle - length // 2]
    columns = np.ascontiguousarray(rows.T)  # numpy is slow along short rows
    spread = columns.max(axis=0).astype(np.float64) - columns.min(axis=0)
    usual = max(median(spread), _COARSE * found.levels.step, 1e-300)
    return PerPulse(_times(capture, middle), spread / usual)


def _joined(parts: list[PerPulse]) -> PerPulse:
    """Pulses of both levels in order of time."""
    if not parts:
        return PerPulse(np.empty(0), np.empty(0))
    time_s = np.concatenate([part.time_s for part in parts])
    spread = np.concatenate([part.value for part in parts])
    order = np.argsort(time_s, kind="stable")  # two runs to merge
    return PerPulse(time_s[order], spread[order])


def _times(capture: Capture, places: npt.NDArray[Any]) -> Floats:
    """Seconds after the first sample, missing ones counted, of places between samples."""
    shift = missing_before(capture.gaps, places.astype(np.int64)) if capture.gaps else 0
    return np.asarray((places + shift) * capture.interval_s, np.float64)


def _pauses(capture: Capture, found: Found) -> list[Change]:
    """Stretches of more than two periods without an edge; samples known to be missing are none."""
    marks = np.concatenate(([0], found.edges.index, [capture.samples.size]))
    long = (marks[1:] - marks[:-1] > _PAUSE * found.comb.period).nonzero()[0]
    if long.size == 0:
        return []
    starts, ends = (_times(capture, marks[at]) for at in (long, long + 1))
    return [
        Change(
            "pwm-pause",
            float(start),
            float(end),
            None,
            f"From {start:.4f} to {end:.4f} s the pilot holds one level: there is no PWM.",
        )
        for start, end in zip(starts[:MOST], ends[:MOST], strict=True)
    ]


def _gap(capture: Capture, gap: Gap) -> Change:
    before = int(missing_before(capture.gaps, np.array([gap.index - 1]))[0])
    start = (gap.index - 1 + before) * capture.interval_s
    end = (gap.index + before + gap.missing) * capture.interval_s
    text = f"{gap.missing} samples are missing at {start:.4f} s; times count them."
    return Change("missing-samples", start, end, None, text)

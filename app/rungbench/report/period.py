"""One period of the pilot in equivalent time, from a stored capture and the edges beside it.

Each sample is put at its distance from the comparator's rising edge before it: nothing is fitted
here, and what the samples do not show is not drawn.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.limit import Limit
from rungbench.archive.record import CheckResult, Record
from rungbench.report.plot import Floats

_BINS: Final = 400
_FEWEST: Final = 3
_MOST_DOTS: Final = 260
# Edges and samples, and the same again where a check took a second look with finer samples.
_MOST_CAPTURES: Final = 4


@dataclass(frozen=True, slots=True)
class Mask:
    """What the checks of one capture allow; ``None`` where none of them says anything.

    `width_us` is the nominal width that the pulse was judged against, `width_limit` what it may be
    off by; `at_zero` tells whether it counts at 0 V or in the middle between the plateaus.
    """

    high: Limit | None = None
    low: Limit | None = None
    width_us: float | None = None
    width_limit: Limit | None = None
    at_zero: bool = True


@dataclass(frozen=True, slots=True)
class View:
    """A capture worth drawing: the step it is of, its keys, its mask."""

    step: str
    captures: tuple[str, ...]
    mask: Mask


@dataclass(frozen=True, slots=True, eq=False)
class OnePeriod:
    """Samples by their time after the rising edge.

    Parameters
    ----------
    phase_us, volts : shape (n,), in order of `phase_us`.
    bin_us, mean_v, least_v, most_v : shape (m,): what lies in each stretch of the period.
    period_us : median distance of the rising edges.
    periods : how many were laid over one another.
    """

    phase_us: Floats
    volts: Floats
    bin_us: Floats
    mean_v: Floats
    least_v: Floats
    most_v: Floats
    period_us: float
    periods: int

    @property
    def middle_v(self) -> float:
        """Half way between the lowest and the highest of the means."""
        return 0.5 * float(self.mean_v.max() + self.mean_v.min())

    def rise_us(self, level_v: float) -> float:
        """When the rising edge reaches a level: the first sample there, counted from 0 V."""
        phase, volts = self.near(-20.0, 20.0)
        reached = phase[volts >= level_v]
        return float(reached[0]) if level_v != 0.0 and reached.size else 0.0

    def near(self, begin_us: float, end_us: float) -> tuple[Floats, Floats]:
        """Samples of a stretch of the period, thinned evenly; negative times are those before."""
        phase = self.phase_us
        if begin_us < 0:
            phase = np.where(phase > 0.5 * self.period_us, phase - self.period_us, phase)
        inside = np.flatnonzero((phase >= begin_us) & (phase <= end_us))
        inside = inside[np.argsort(phase[inside], kind="stable")]
        step = max(1, -(-inside.size // _MOST_DOTS))
        kept = inside[::step]
        return phase[kept], self.volts[kept]


def lay_over(edges: EdgeRecord, capture: Capture) -> OnePeriod | None:
    """One period, or ``None`` where the pilot did not pulse or the times of both are not known."""
    rising = edges.times[edges.rising]
    if capture.first_tick is None or rising.size < _FEWEST:
        return None
    steps = np.diff(rising)
    period = float(np.median(steps))
    ticks = _sample_ticks(capture, edges.tick_s)
    before = np.searchsorted(rising, ticks, side="right") - 1
    known = (before >= 0) & (before < steps.size)
    # A lost edge makes a period twice as long: its samples belong nowhere.
    known[known] &= np.abs(steps[before[known]] - period) < 0.2 * period
    if int(known.sum()) < _FEWEST:
        return None
    micro = edges.tick_s * 1e6 / (1.0 + edges.time_base.correction)
    phase = (ticks[known] - rising[before[known]]) * micro
    order = np.argsort(phase, kind="stable")
    phase, volts = phase[order], capture.volts(capture.samples[known][order])
    binned = _binned(phase, volts, period * micro)
    return OnePeriod(phase, volts, *binned, period * micro, int(steps.size))


def _sample_ticks(capture: Capture, tick_s: float) -> Floats:
    position = np.arange(capture.samples.size, dtype=np.float64)
    for gap in capture.gaps:
        position[gap.index :] += gap.missing
    return (capture.first_tick or 0) + position * (capture.interval_s / tick_s)


def _binned(phase: Floats, volts: Floats, period: float) -> tuple[Floats, Floats, Floats, Floats]:
    which = np.minimum((phase / period * _BINS).astype(np.int64), _BINS - 1)
    starts = np.flatnonzero(np.diff(which, prepend=-1))
    counts = np.diff(np.append(starts, which.size))
    return (
        np.add.reduceat(phase, starts) / counts,
        np.add.reduceat(volts, starts) / counts,
        np.minimum.reduceat(volts, starts),
        np.maximum.reduceat(volts, starts),
    )


def views(record: Record) -> tuple[View, ...]:
    """Captures of a record that were judged by level or width, each step's last one."""
    grouped: dict[tuple[str, ...], View] = {}
    for result in record.checks:
        if not 2 <= len(result.captures) <= _MOST_CAPTURES:
            continue
        view = grouped.get(result.captures) or View(_step(result), result.captures, Mask())
        grouped[result.captures] = replace(view, mask=_with(view.mask, result))
    last = {view.step: view for view in grouped.values() if view.mask != Mask()}
    return tuple(last.values())


def _step(result: CheckResult) -> str:
    return result.title.rpartition("(")[2].rstrip(")") or result.title


def _with(mask: Mask, result: CheckResult) -> Mask:
    """The mask with what one more check says."""
    for judgement in result.judgements:
        name = judgement.quantity.name if judgement.quantity else ""
        if name == "high_plateau_v":
            mask = replace(mask, high=judgement.limit)
        elif name == "low_plateau_v":
            mask = replace(mask, low=judgement.limit)
        elif name == "pulse_width_error_us":
            for at_zero, nominal in _nominal(result):
                limit = judgement.limit
                mask = replace(mask, width_us=nominal, width_limit=limit, at_zero=at_zero)
    return mask


def _nominal(result: CheckResult) -> Iterator[tuple[bool, float]]:
    named = {one.name: one.value for one in result.quantities}
    error = named.get("pulse_width_error_us")
    for name, at_zero in (("pulse_width_zero_us", True), ("pulse_width_mid_us", False)):
        if error is not None and name in named:
            yield at_zero, named[name] - error
            return

"""Steps and drifts of duty and frequency, and samples lost unnoticed, from edge times.

Rising edges against a straight line show the period: a bend is a drift of the frequency, a kink a
step of it, a jump that all later edges share is time that is missing.  High times show the duty.
What is found cuts the record, and each piece is looked at again.
"""

from dataclasses import dataclass

import numpy as np

from pilotsignal.blocks import strongest
from pilotsignal.budget import combine, half_width, scaled, type_a
from pilotsignal.calibration import TimeBase
from pilotsignal.changes import MOST, Change
from pilotsignal.quantity import BudgetRow, Quantity
from pilotsignal.series import Finding, Series, feigned, scatter, unseen, without_strays
from pilotsignal.timing import Comb, Floats, Indices

_CERTAIN = 6.0  # standard uncertainties beyond the bound, for naming what a cut consists of


@dataclass(frozen=True, slots=True, eq=False)
class EdgeTimes:
    """Edge times of a record as a comb and what is left of it.

    Parameters
    ----------
    comb : in units of `unit_us`.
    unit_us : microseconds per unit of the comb, by the true rate.
    cell : what times are rounded to, in units: 1 sample, or the ticks of a counter.
    variation : total variation of the error inside a cell, in cells: 2 where an edge is seen
        between two samples only, less where samples lie on it.
    time_base : whose clock.
    key : short name of the record, part of the row ids.
    """

    comb: Comb
    unit_us: float
    cell: float
    variation: float
    time_base: TimeBase
    key: str


@dataclass(frozen=True, slots=True, eq=False)
class Periods:
    """Whole periods: those with both edges.

    Parameters
    ----------
    rise : time of each rising edge against the comb.
    width : high time of each.
    start : when each begins, half a low time before its rise, in the comb's unit.
    """

    rise: Series
    width: Series
    start: Floats

    @classmethod
    def of(cls, times: EdgeTimes) -> "Periods":
        """Pair the edges of each period."""
        comb = times.comb
        cycle, rises, falls = _pairs(comb)
        rise = without_strays(comb.rise_residual[rises], 1.5 * times.cell)
        width = comb.width + comb.fall_residual[falls] - comb.rise_residual[rises]
        width = without_strays(width, 2.5 * times.cell)
        turns = comb.period / times.cell
        error = times.variation * times.cell
        begun = comb.rise + cycle * comb.period + comb.rise_residual[rises]
        return cls(
            Series(cycle, rise, turns, error, times.cell),
            Series(cycle, width, turns, error, times.cell, 2),
            begun - 0.5 * (comb.period - comb.width),
        )


def _pairs(comb: Comb) -> tuple[Indices, slice | Indices, slice | Indices]:
    rise, fall = comb.rise_cycle, comb.fall_cycle
    first, last = max(rise[0], fall[0]), min(rise[-1], fall[-1]) + 1
    cuts = [
        slice(*(int(place) for place in np.searchsorted(cycle, (first, last))))
        for cycle in (rise, fall)
    ]
    if np.array_equal(rise[cuts[0]], fall[cuts[1]]):
        return rise[cuts[0]], cuts[0], cuts[1]
    cycle, rises, falls = np.intersect1d(rise, fall, return_indices=True)
    return cycle, rises, falls


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """Periods from `begin` to `end` (places in the arrays) between which nothing steps."""

    begin: int
    end: int
    drifts: tuple[Finding, ...]


def period_changes(times: EdgeTimes) -> list[Change]:
    """What happens to period and high time.

    Returns
    -------
    list of Change : in order of time; ``duty-step``, ``duty-drift``, ``frequency-step``,
        ``frequency-drift``, and ``missing-samples`` where all edges jump at once.
    """
    periods = Periods.of(times)
    pieces = _pieces(periods)
    found = [_drift(times, periods, piece, finding) for piece in pieces for finding in piece.drifts]
    for left, right in zip(pieces, pieces[1:], strict=False):
        found += _Cut(times, periods, left, right).changes()
    return sorted(found, key=lambda change: change.start_s)


def _pieces(periods: Periods) -> list[_Piece]:
    waiting = [(0, periods.rise.value.size)]
    done: list[_Piece] = []
    while waiting:
        begin, end = waiting.pop()
        rise, width = periods.rise.part(begin, end), periods.width.part(begin, end)
        found = [
            finding
            for finding in (
                strongest(width, ("stretch", "drift")),
                strongest(rise, ("step", "kink", "bend")),
            )
            if finding is not None
        ]
        cuts = _cuts(found, width) if len(waiting) + len(done) < MOST else []
        if not cuts:
            lasting = tuple(finding for finding in found if finding.kind in ("drift", "bend"))
            done.append(_Piece(begin, end, lasting))
            continue
        bounds = [begin, *(begin + cut for cut in cuts), end]
        waiting += [(a, b) for a, b in zip(bounds, bounds[1:], strict=False) if b > a]
    return sorted(done, key=lambda piece: piece.begin)


def _cuts(found: list[Finding], width: Series) -> list[int]:
    """Where a piece falls apart: by what is clearest, unless a drift is clearer still."""
    for finding in sorted(found, key=lambda one: -abs(one.score)):
        if finding.kind == "drift":
            beside = strongest(width, ("step",))  # a step beside the drift
            if beside is not None:
                return _places(beside, width.value.size)
        elif finding.kind != "bend":
            return _places(finding, width.value.size)
    return []


def _places(finding: Finding, size: int) -> list[int]:
    """Where a piece is cut."""
    ends = (finding.begin,) if finding.kind in ("step", "kink") else (finding.begin, finding.end)
    return [place for place in ends if 0 < place < size]


@dataclass(frozen=True, slots=True)
class _Estimate:
    """A number in the comb's unit, its standard uncertainty and what the sampling may feign."""

    value: float
    u: float
    dof: float
    bound: float

    @property
    def certain(self) -> bool:
        return abs(self.value) > self.bound + _CERTAIN * self.u

    def less(self, other: "_Estimate") -> "_Estimate":
        return _Estimate(
            self.value - other.value,
            float(np.hypot(self.u, other.u)),
            min(self.dof, other.dof),
            self.bound + other.bound,
        )


def _mean(series: Series) -> _Estimate:
    noise, dof = scatter(series) if series.value.size >= 8 else _plain(series)
    size = series.value.size
    bound = feigned(series, np.full(size, 1.0 / size))
    return _Estimate(float(np.mean(series.value)), noise / float(np.sqrt(size)), dof, bound)


def _plain(series: Series) -> tuple[float, float]:
    size = series.value.size
    noise = float(np.std(series.value)) if size > 1 else 0.0
    return float(np.hypot(noise, 0.5 * series.edges * series.variation)), max(1.0, size - 1.0)


def _at(series: Series, cycle: float) -> _Estimate:
    """Straight line through a piece, read at a period that may lie outside."""
    noise, dof = scatter(series) if series.value.size >= 8 else _plain(series)
    return _weighted(series, _line_weights(series, cycle), noise, dof)


def _slope(series: Series) -> _Estimate:
    noise, dof = scatter(series) if series.value.size >= 8 else _plain(series)
    off = np.asarray(series.cycle - float(np.mean(series.cycle)), np.float64)
    return _weighted(series, off / max(1.0, float(np.sum(off**2))), noise, dof)


def _line_weights(series: Series, cycle: float) -> Floats:
    middle = float(np.mean(series.cycle))
    off = series.cycle - middle
    spread = max(1.0, float(np.sum(off**2)))
    return np.asarray(1.0 / off.size + (cycle - middle) * off / spread, np.float64)


def _weighted(series: Series, weight: Floats, noise: float, dof: float) -> _Estimate:
    value = float(np.sum(weight * series.value))
    u = noise * float(np.sqrt(np.sum(weight**2)))
    return _Estimate(value, u, dof, feigned(series, weight))


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """The place between two pieces, and what differs between them."""

    times: EdgeTimes
    periods: Periods
    left: _Piece
    right: _Piece

    def changes(self) -> list[Change]:
        """At least one; what is certain of duty, frequency and lost time."""
        rises = [self.periods.rise.part(p.begin, p.end) for p in (self.left, self.right)]
        widths = [self.periods.width.part(p.begin, p.end) for p in (self.left, self.right)]
        width = _mean(widths[1]).less(_mean(widths[0]))
        period = _slope(rises[1]).less(_slope(rises[0]))
        place = 0.5 * float(rises[0].cycle[-1] + rises[1].cycle[0])
        jump = _at(rises[1], place).less(_at(rises[0], place))
        span = self._span(width, jump, period)
        found = []
        duty = width.certain
        if period.certain:
            found.append(_frequency_step(self.times, period, span))
            # A width that only keeps its share of the period is no step of the duty.
            share = self.times.comb.width / self.times.comb.period
            kept = abs(width.value - share * period.value) <= width.bound + _CERTAIN * width.u
            duty = duty and not kept
        if duty:
            found.append(_duty_step(self.times, width, span))
        # Where the generator places its pulses about their middle, a wider one begins earlier.
        own = duty and abs(jump.value) <= 1.1 * abs(width.value) + jump.bound + _CERTAIN * jump.u
        if jump.certain and not own:
            found.append(_lost(self.times, jump, span))
        return found or [_duty_step(self.times, width, span)]

    def _span(self, width: _Estimate, jump: _Estimate, period: _Estimate) -> tuple[float, float]:
        """Seconds between which it lies: a period to each side, more where noise hides it."""
        # A level seen in single periods is placed to (noise / step)^2 of them, a corner of two
        # lines to where they meet.
        reaches = [50.0]
        for one, series in ((width, self.periods.width), (jump, self.periods.rise)):
            if one.certain:
                sides = [series.part(p.begin, p.end).value for p in (self.left, self.right)]
                noisy = 8.0 * max(float(np.var(side)) for side in sides) / one.value**2
                reaches.append(noisy + unseen(series, one.value))
        if period.certain:
            reaches.append(3.0 * (jump.u + jump.bound) / abs(period.value))
        reach = 1 + int(min(reaches))
        start = self.periods.start
        begin = start[max(self.left.begin, self.right.begin - reach)]
        end = start[min(self.right.end - 1, self.right.begin + reach)]
        unit_s = self.times.unit_us * 1e-6
        return max(0.0, float(begin) * unit_s), float(end) * unit_s


def _rows(times: EdgeTimes, found: _Estimate, name: str, start_s: float) -> list[BudgetRow]:
    """Rows in microseconds."""
    key = f"{name}-{start_s:.6f}@{times.key}"
    noise = type_a(f"noise-{key}", "noise", found.u * times.unit_us, "us", found.dof)
    bound = half_width(f"gap-{key}", "sampling", found.bound * times.unit_us, "us")
    return [noise, bound]


def _in_us(times: EdgeTimes, found: _Estimate, name: str, start_s: float) -> Quantity:
    rows = _rows(times, found, name, start_s)
    return combine(name, "us", found.value * times.unit_us, "pieces of the record", rows)


def _in_hz(times: EdgeTimes, found: _Estimate, name: str, start_s: float) -> Quantity:
    """A change of the period as one of the frequency."""
    period_us = times.comb.period * times.unit_us
    slope = -1e6 / period_us**2
    rows = [scaled(row, slope) for row in _rows(times, found, name, start_s)]
    value = found.value * times.unit_us * slope
    return combine(name, "Hz", value, "pieces of the record", rows)


def _where(span: tuple[float, float]) -> str:
    return f"{span[0]:.4f} and {span[1]:.4f} s"


def told(size: Quantity, digits: int = 3) -> str:
    """A size with its U, for sentences."""
    return f"{size.value:+.{digits}g} ± {size.expanded():.2g} {size.unit}"


def _points_per_us(times: EdgeTimes) -> float:
    return 100.0 / (times.comb.period * times.unit_us)


def _duty_step(times: EdgeTimes, width: _Estimate, span: tuple[float, float]) -> Change:
    size = _in_us(times, width, "high_time_step_us", span[0])
    points = 100.0 * width.value / times.comb.period
    text = f"The high time steps by {told(size)} ({points:+.2g} % of duty) between {_where(span)}."
    return Change("duty-step", *span, size, text, _points_per_us(times))


def _frequency_step(times: EdgeTimes, period: _Estimate, span: tuple[float, float]) -> Change:
    size = _in_hz(times, period, "frequency_step_hz", span[0])
    text = f"The frequency steps by {told(size)} between {_where(span)}."
    return Change("frequency-step", *span, size, text)


def _lost(times: EdgeTimes, jump: _Estimate, span: tuple[float, float]) -> Change:
    """Time that went missing makes later edges come too early."""
    lost = _Estimate(-jump.value, jump.u, jump.dof, jump.bound)
    size = _in_us(times, lost, "missing_time_us", span[0])
    text = (
        f"All edges jump at once between {_where(span)}: {told(size)} is missing there, or that"
        " and any number of whole periods; nobody reported it."
    )
    return Change("missing-samples", *span, size, text)


def _drift(times: EdgeTimes, periods: Periods, piece: _Piece, found: Finding) -> Change:
    unit_s = times.unit_us * 1e-6
    start = max(0.0, float(periods.start[piece.begin]) * unit_s)
    end = (float(periods.start[piece.end - 1]) + times.comb.period) * unit_s
    count = piece.end - piece.begin
    dof = max(1.0, 0.5 * count)
    estimate = _Estimate(found.size, found.u, dof, found.bound)
    lasting = f"over {max(end - start, 0.0):.3g} s"
    if found.kind == "drift":
        size = _in_us(times, estimate, "high_time_drift_us", start)
        text = f"The high time drifts by {told(size)} {lasting}."
        return Change("duty-drift", start, end, size, text, _points_per_us(times))
    # A parabola that leaves its chord by s in the middle changes its slope by 8 s from end to end.
    factor = 8.0 / max(1, count)
    bent = _Estimate(factor * found.size, factor * found.u, dof, factor * found.bound)
    size = _in_hz(times, bent, "frequency_drift_hz", start)
    return Change(
        "frequency-drift", start, end, size, f"The frequency drifts by {told(size)} {lasting}."
    )

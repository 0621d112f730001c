"""From a fit in sample units to quantities with budgets.

Every row id names its input: ``gain@CALIBRATION``, ``timebase@CLOCK``, ``noise-rise@CAPTURE``.
What two quantities of one capture share (an edge's noise, the gain) has the same id in both.
"""

import hashlib
import math
from dataclasses import dataclass

import numpy as np

from pilotsignal.budget import RECTANGULAR, clock_rows, combine, half_width, scaled, type_a, type_b
from pilotsignal.calibration_rows import volt_rows
from pilotsignal.capture import Capture
from pilotsignal.levels import Levels
from pilotsignal.periodic import Direction, PeriodicFit
from pilotsignal.plateaus import Plateau, step_bound
from pilotsignal.quantity import BudgetRow, Quantity
from pilotsignal.quick import median
from pilotsignal.timing import Floats
from pilotsignal.transitions import Crossing, Offsets

_US = 1e6

Pair = tuple[Crossing, Crossing]  # of the rising and the falling edge


@dataclass(frozen=True, slots=True)
class Context:
    """What the rows of one capture have in common.

    Parameters
    ----------
    capture : the capture.
    levels : its first look.
    key : short name of the capture, part of the row ids.
    interval_us : true sample interval, the time base's correction applied.
    """

    capture: Capture
    levels: Levels
    key: str
    interval_us: float

    @classmethod
    def of(cls, capture: Capture, levels: Levels) -> "Context":
        """Context of a capture."""
        interval = capture.interval_s * _US / (1.0 + capture.time_base.correction)
        return cls(capture, levels, _key(capture), interval)

    def time_base(self, sensitivity: float) -> list[BudgetRow]:
        """Row of the clock; none where nobody stated its uncertainty."""
        return clock_rows(self.capture.time_base, sensitivity)

    def zero_volts(self, sensitivity: float) -> list[BudgetRow]:
        """Rows of where 0 V lies by the calibration; `sensitivity` in the quantity's unit per V."""
        rows = volt_rows(self.capture.calibration, 0.0)
        return [
            scaled(row, row.sensitivity * sensitivity)
            for row in rows
            if row.u > 0.0 and row.sensitivity != 0.0
        ]

    def front_end(
        self, name: str, duration: float | None, *, corner: bool = False
    ) -> list[BudgetRow]:
        """Row of the path to the converter, in us; none where nobody stated its time constant.

        A low pass with the constant t delays a long straight slope by t whichever way it goes, and
        neither a width nor an edge time changes.  Where the slope relaxes with a constant T the
        delay is off by t^2 / 2T (second order of the filter's response), for two passings t^2 / T.
        Soon after the edge's corner, at the time a, the delay still lacks t exp(-a / t).

        Parameters
        ----------
        duration : 10 to 90 % time of the faster edge, in us; None where nothing resolves it.
        corner : one of the passings is at 10 %.
        """
        constant, key = self.capture.calibration.front_end_us, self.capture.calibration.id
        if constant == 0.0:
            return []
        share = 1.0
        if duration is not None:
            relaxes = duration / math.log(9.0)
            lacking = math.exp(math.log(0.9) * relaxes / constant) if corner else 0.0
            share = min(1.0, constant / relaxes + lacking)
        # One path, one input: what it does depends on the edges of each capture.
        path = half_width(f"front-end-{name}@{key}", "path to the converter", constant, "us")
        return [scaled(path, share)]

    def edge(self, name: str, found: Crossing, sensitivity: float) -> list[BudgetRow]:
        """Rows of one crossing, in microseconds: noise, and what the folded gap leaves open."""
        noise = type_a(
            f"noise-{name}@{self.key}",
            f"noise, {name}",
            found.u * self.interval_us,
            "us",
            found.dof,
        )
        gap = half_width(
            f"gap-{name}@{self.key}", f"folded gap, {name}", found.bound * self.interval_us, "us"
        )
        return [scaled(noise, sensitivity), scaled(gap, sensitivity)]


def frequency_of(context: Context, fit: PeriodicFit) -> Quantity:
    """Frequency in Hz."""
    period_us = fit.comb.period * context.interval_us
    value = _US / period_us
    slope = -value / period_us
    rows = [scaled(row, slope) for row in _period_rows(context, fit)] + context.time_base(value)
    return combine("frequency_hz", "Hz", value, "regression of folded edges", rows)


def width_of(context: Context, fit: PeriodicFit, pair: Pair | None, name: str) -> Quantity | None:
    """High time in us between two crossings; None where there are none."""
    if pair is None:
        return None
    value = _width(fit, pair) * context.interval_us
    rows = _width_rows(context, fit, pair, name) + context.time_base(-value)
    rows += context.front_end(name, _fastest(context, fit))
    return combine(f"pulse_width_{name}_us", "us", value, "folded edges", rows)


def duty_of(context: Context, fit: PeriodicFit, zero: Pair | None) -> Quantity:
    """Duty in %: at 0 V, where IEC 61851-1:2017 Table A.2 takes the width, if that is crossed.

    Elsewhere between the crossings of the middle level (IEEE Std 181-2011, 5.3.3).
    """
    if zero is not None:
        pair, name, method = zero, "zero", "width at 0 V over period"
    else:
        pair, name, method = middle_pair(fit), "mid", "width at the middle level over period"
    period_us = fit.comb.period * context.interval_us
    value = 100.0 * _width(fit, pair) / fit.comb.period
    front_end = context.front_end(name, _fastest(context, fit))
    rows = [
        scaled(r, r.sensitivity * 100.0 / period_us)
        for r in (*_width_rows(context, fit, pair, name), *front_end)
    ]
    rows += [scaled(row, -value / period_us) for row in _period_rows(context, fit)]
    return combine("duty_percent", "%", value, method, rows)


def plateau_of(context: Context, found: Plateau, name: str) -> Quantity:
    """Plateau in volts, through the calibration."""
    line = context.capture.calibration
    value = line.gain_v * found.value + line.offset_v
    scale = abs(line.gain_v)
    rows = [
        type_a(f"noise-{name}@{context.key}", "noise", found.u * scale, "V", found.dof),
        half_width(
            f"step-{name}@{context.key}",
            "converter step",
            step_bound(context.levels.step, found) * scale,
            "V",
        ),
    ]
    rows += volt_rows(line, value)
    return combine(name, "V", value, f"robust mean of {found.samples} settled samples", rows)


def transition_of(context: Context, fit: PeriodicFit, name: str) -> Quantity | None:
    """10 to 90 % time in us of ``rise`` or ``fall``; None where the samples do not resolve it."""
    direction = fit.rise if name == "rise" else fit.fall
    ends = (fit.low, fit.high) if name == "rise" else (fit.high, fit.low)
    swing = direction.swing
    span = swing.end - swing.start
    ten = direction.cross(swing.start + 0.1 * span)
    ninety = direction.cross(swing.start + 0.9 * span)
    if ten is None or ninety is None or not direction.middle.resolved:
        return None
    duration = ninety.phase - ten.phase
    smear = 0.5 * fit.period.bound * fit.comb.cycles  # what a wrong period does to the fold
    if duration < 4.0 * max(ten.gap, ninety.gap, smear):
        return None
    value = duration * context.interval_us
    rows = context.edge(f"{name}-10", ten, -1.0) + context.edge(f"{name}-90", ninety, 1.0)
    rows += _apart(context, fit, (ten, ninety)) + context.front_end(name, value, corner=True)
    # A cubic leaves some of the shape near the corners.
    rows.append(half_width(f"shape-{name}@{context.key}", "shape of the fit", 0.02 * value, "us"))
    for share, end in ((0.1, ends[0]), (0.9, ends[1])):
        shift = _slowness(direction, share)
        doubt = math.hypot(end.u, step_bound(context.levels.step, end) * RECTANGULAR)
        key = f"level-{name}-{share:.0%}@{context.key}"
        rows.append(type_b(key, "level", 0.9 * doubt * shift * context.interval_us, "us"))
    return combine(f"{name}_time_us", "us", value, "10 to 90 % of folded edge", rows)


def _fastest(context: Context, fit: PeriodicFit) -> float | None:
    """10 to 90 % time of the faster edge in us, None where it is not resolved or not asked for."""
    if context.capture.calibration.front_end_us == 0.0:
        return None
    found = []
    for direction in (fit.rise, fit.fall):
        swing = direction.swing
        span = swing.end - swing.start
        ends = [direction.cross(swing.start + share * span) for share in (0.1, 0.9)]
        if ends[0] is None or ends[1] is None or not direction.middle.resolved:
            return None
        found.append((ends[1].phase - ends[0].phase) * context.interval_us)
    return max(min(found), 1e-3 * context.interval_us)


def _slowness(direction: Direction, share: float) -> float:
    """Sample intervals per sample unit around a reference level: what a wrong level costs."""
    swing = direction.swing
    span = swing.end - swing.start
    around = [direction.cross(swing.start + (share + off) * span) for off in (-0.05, 0.05)]
    if around[0] is None or around[1] is None:
        return 0.0
    return abs(around[1].phase - around[0].phase) / abs(0.1 * span)


def jitters_of(context: Context, fit: PeriodicFit) -> tuple[Quantity | None, Quantity | None]:
    """Standard deviations of width and period from cycle to cycle, the noise's share taken off."""
    rise, fall = fit.rise.offsets, fit.fall.offsets
    if rise is None or fall is None:
        return None, None
    cycles, at_rise, at_fall = np.intersect1d(rise.cycle, fall.cycle, return_indices=True)
    width = fall.late[at_fall] - rise.late[at_rise]
    noise = 1.0 / fall.weight[at_fall] + 1.0 / rise.weight[at_rise]
    quantity = None
    if cycles.size >= 5:
        quantity = scatter_of(context, "width_jitter_us", width, noise)
    return quantity, _period_jitter(context, rise)


def _period_jitter(context: Context, rise: Offsets) -> Quantity | None:
    next_to = np.flatnonzero(np.diff(rise.cycle) == 1)
    if next_to.size < 5:
        return None
    change = rise.late[next_to + 1] - rise.late[next_to]
    noise = 1.0 / rise.weight[next_to + 1] + 1.0 / rise.weight[next_to]
    return scatter_of(context, "period_jitter_us", change, noise)


def scatter_of(context: Context, name: str, values: Floats, noise: Floats) -> Quantity:
    """Standard deviation of `values`, shape (n,), with the variance `noise` of each taken off."""
    centred = values - median(values)
    off = np.abs(centred)
    keep = off <= 8.0 * median(off) + 1e-12
    centred, noise = centred[keep], noise[keep]
    expected = float(noise.sum()) / noise.size
    dof = max(1.0, centred.size - 1.0)
    seen = float((centred * centred).sum()) / dof
    spread = (seen + expected) * math.sqrt(2.0 / dof)
    value = math.sqrt(max(0.0, seen - expected))
    # Near zero the variance, not its root, is what is known to +/- spread.
    u = min(spread / (2.0 * value) if value > 0 else math.inf, math.sqrt(spread))
    rows = [type_a(f"{name}@{context.key}", "scatter", u * context.interval_us, "us", dof)]
    return combine(name, "us", value * context.interval_us, "scatter of single edges", rows)


def _period_rows(context: Context, fit: PeriodicFit) -> list[BudgetRow]:
    noise = fit.period.u * context.interval_us
    bound = fit.period.bound * context.interval_us
    return [
        type_a(f"noise-period@{context.key}", "noise, period", noise, "us", fit.period.dof),
        half_width(f"gap-period@{context.key}", "folded gap, period", bound, "us"),
    ]


def middle_pair(fit: PeriodicFit) -> Pair:
    """Crossings of the middle level."""
    return fit.rise.middle, fit.fall.middle


def zero_pair(context: Context, fit: PeriodicFit) -> Pair | None:
    """Crossings of 0 V; None where the signal does not pass it with room on both sides."""
    line = context.capture.calibration
    level = (0.0 - line.offset_v) / line.gain_v
    share = fit.rise.swing.share(level)
    if abs(share - 0.5) < 1e-3:
        return middle_pair(fit)
    if not 0.05 < share < 0.95:
        return None
    rise, fall = fit.rise.cross(level), fit.fall.cross(level)
    return (rise, fall) if rise is not None and fall is not None else None


def _apart(context: Context, fit: PeriodicFit, pair: Pair) -> list[BudgetRow]:
    """What the period's doubt adds where the two crossings were seen in different cycles."""
    return [scaled(row, pair[0].cycle - pair[1].cycle) for row in _period_rows(context, fit)]


def _is_middle(fit: PeriodicFit, pair: Pair) -> bool:
    return pair[0] is fit.rise.middle


def _width(fit: PeriodicFit, pair: Pair) -> float:
    """Width by the crossings; where no sample lies on an edge, held to what fits between them."""
    width = fit.comb.width + pair[1].phase - pair[0].phase
    if fit.unresolved is not None and _is_middle(fit, pair):
        room = fit.unresolved
        return min(max(width, room.width - room.width_bound), room.width + room.width_bound)
    return width


def _width_rows(context: Context, fit: PeriodicFit, pair: Pair, name: str) -> list[BudgetRow]:
    rise = context.edge(f"rise-{name}", pair[0], -1.0)
    fall = context.edge(f"fall-{name}", pair[1], 1.0)
    if fit.unresolved is None:
        rows = rise + fall + _apart(context, fit, pair)
        if name == "zero" and pair[0].resolved and pair[1].resolved:
            per_count = 1.0 / pair[1].slope - 1.0 / pair[0].slope
            per_volt = per_count * context.interval_us / context.capture.calibration.gain_v
            rows += context.zero_volts(per_volt)
        return rows
    off = abs(_width(fit, pair) - fit.unresolved.width) if _is_middle(fit, pair) else 0.0
    bound = (fit.unresolved.width_bound + off) * context.interval_us
    gap = half_width(f"gap-width@{context.key}", "room between samples", bound, "us")
    if _is_middle(fit, pair):
        return [rise[0], fall[0], gap]
    # Where in the gap another level is passed is open, besides where the gap is.
    return [*rise, *fall, gap, *_apart(context, fit, pair)]


def _key(capture: Capture) -> str:
    """Short name from the origin and both ends of the samples: hashing all would cost too much."""
    ends = capture.samples[:2048].tobytes() + capture.samples[-2048:].tobytes()
    text = f"{capture.origin}|{capture.samples.size}|{capture.interval_s}|{capture.first_tick}"
    return hashlib.blake2b(text.encode() + ends, digest_size=6).hexdigest()

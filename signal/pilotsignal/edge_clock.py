"""Times from comparator edges: what a counter stamped at 0 V.

The counter rounds each time down to its tick.  Where the signal is not locked to the counter the
rounding averages out; as that cannot be relied on, half a tick of each edge stays in the budget.
What rounding adds to the scatter of a difference of two times is taken off jitters.
"""

import math
from dataclasses import dataclass

import numpy as np

from pilotsignal.budget import clock_rows, combine, half_width, scaled, type_a, type_b
from pilotsignal.capture import EdgeRecord
from pilotsignal.notices import Notice
from pilotsignal.quantity import BudgetRow, Quantity
from pilotsignal.timing import Comb, Floats, fit_comb

_US = 1e6
_CHATTER = 0.01  # share of edges that come twice above which the comparator chatters
_SCATTER = 0.03  # share of a period above which edges follow no comb


@dataclass(frozen=True, slots=True)
class EdgeTiming:
    """What an edge record says; all None where it holds no regular edges."""

    frequency_hz: Quantity | None = None
    duty_percent: Quantity | None = None
    pulse_width_zero_us: Quantity | None = None
    width_jitter_us: Quantity | None = None
    period_jitter_us: Quantity | None = None
    notices: tuple[Notice, ...] = ()


def read_edges(record: EdgeRecord) -> EdgeTiming:
    """Frequency, width and duty at 0 V, and jitters.

    Returns
    -------
    EdgeTiming : with ``no-pwm`` where there are no edges, ``too-few-periods`` for fewer than four,
        ``not-periodic`` where they follow no comb or come in bursts, ``missing-samples`` where
        edges were lost.
    """
    notes = []
    if record.gaps:
        notes.append(Notice("missing-samples", f"Edges were lost in {len(record.gaps)} places."))
    if record.times.size == 0:
        return EdgeTiming(notices=(*notes, Notice("no-pwm", "The pilot passed 0 V not once.")))
    start = int(record.times[0])
    ticks = (record.times - start).astype(np.float64)
    comb = fit_comb(ticks[record.rising], ticks[~record.rising])
    if comb is None:
        text = f"Only {record.times.size} edges: record at least three periods."
        return EdgeTiming(notices=(*notes, Notice("too-few-periods", text)))
    doubled = sum(np.count_nonzero(np.diff(c) == 0) for c in (comb.rise_cycle, comb.fall_cycle))
    if doubled > _CHATTER * comb.residuals.size:
        text = f"{doubled} comparator edges came twice or more: it chatters; check for noise."
        return EdgeTiming(notices=(*notes, Notice("not-periodic", text)))
    scatter = float(np.sqrt(np.mean(comb.residuals**2)))
    if scatter > _SCATTER * comb.period:
        text = f"Comparator edges scatter by {100 * scatter / comb.period:.0f} % of a period."
        return EdgeTiming(notices=(*notes, Notice("not-periodic", text)))
    return _timing(_Scale.of(record, start), comb, tuple(notes))


@dataclass(frozen=True, slots=True)
class _Scale:
    record: EdgeRecord
    tick_us: float
    key: str

    @classmethod
    def of(cls, record: EdgeRecord, start: int) -> "_Scale":
        tick = record.tick_s * _US / (1.0 + record.time_base.correction)
        return cls(record, tick, f"{record.origin}/{start}")

    def clock(self, sensitivity: float) -> list[BudgetRow]:
        return clock_rows(self.record.time_base, sensitivity)


def _timing(scale: _Scale, comb: Comb, notes: tuple[Notice, ...]) -> EdgeTiming:
    period_us = comb.period * scale.tick_us
    period_rows = _period_rows(scale, comb)
    width_us = comb.width * scale.tick_us - scale.record.width_bias.bias_us
    width_rows = _width_rows(scale, comb)
    method = f"{comb.residuals.size} comparator edges at 0 V"
    frequency = combine(
        "frequency_hz",
        "Hz",
        _US / period_us,
        method,
        [scaled(r, -_US / period_us**2) for r in period_rows] + scale.clock(_US / period_us),
    )
    width = combine(
        "pulse_width_zero_us", "us", width_us, method, width_rows + scale.clock(-width_us)
    )
    rows = [scaled(r, r.sensitivity * 100.0 / period_us) for r in width_rows]
    rows += [scaled(r, -100.0 * width_us / period_us**2) for r in period_rows]
    duty = combine("duty_percent", "%", 100.0 * width_us / period_us, method, rows)
    if comb.cycles < 3:
        notes = (*notes, Notice("too-few-periods", f"Only {comb.cycles} periods of edges."))
    return EdgeTiming(
        frequency, duty, width, _width_jitter(scale, comb), _period_jitter(scale, comb), notes
    )


def _period_rows(scale: _Scale, comb: Comb) -> list[BudgetRow]:
    dof = max(1.0, comb.residuals.size - 3.0)
    scatter = math.sqrt(float(np.sum(comb.residuals**2)) / dof) * scale.tick_us
    # All edges may share a rounding at one end of the record and another at the other end.
    bound = scale.record.quantum_ticks * scale.tick_us / comb.cycles
    return [
        type_a(
            f"scatter-period@{scale.key}",
            "scatter of edges, period",
            scatter / math.sqrt(comb.leverage),
            "us",
            dof,
        ),
        half_width(f"tick-period@{scale.key}", "counter tick, period", bound, "us"),
    ]


def _width_rows(scale: _Scale, comb: Comb) -> list[BudgetRow]:
    half_tick = 0.5 * scale.record.quantum_ticks * scale.tick_us
    rows = []
    for name, residual in (("rise", comb.rise_residual), ("fall", comb.fall_residual)):
        dof = max(1.0, residual.size - 1.0)
        scatter = float(np.sqrt(np.sum(residual**2) / dof)) * scale.tick_us
        u = scatter / math.sqrt(residual.size)
        sign = 1.0 if name == "fall" else -1.0
        noise = type_a(f"scatter-{name}@{scale.key}", f"scatter, {name}", u, "us", dof)
        tick = half_width(f"tick-{name}@{scale.key}", f"counter tick, {name}", half_tick, "us")
        rows += [scaled(noise, sign), scaled(tick, sign)]
    bias = scale.record.width_bias
    rows.append(scaled(type_b(f"width-bias@{bias.id}", "comparator bias", bias.u_us, "us"), -1.0))
    return rows


def _width_jitter(scale: _Scale, comb: Comb) -> Quantity | None:
    cycles, rise, fall = np.intersect1d(comb.rise_cycle, comb.fall_cycle, return_indices=True)
    if cycles.size < 5:
        return None
    late = comb.fall_residual[fall] - comb.rise_residual[rise]
    return _scatter(scale, "width_jitter_us", late, comb.width)


def _period_jitter(scale: _Scale, comb: Comb) -> Quantity | None:
    next_to = np.flatnonzero(np.diff(comb.rise_cycle) == 1)
    if next_to.size < 5:
        return None
    change = comb.rise_residual[next_to + 1] - comb.rise_residual[next_to]
    return _scatter(scale, "period_jitter_us", change, comb.period)


def _scatter(scale: _Scale, name: str, values: Floats, distance: float) -> Quantity:
    """Standard deviation, the counter's rounding taken off.

    `values` in ticks about `distance`, shape (n,). How much rounding adds follows from where the
    distance lies between ticks if the signal is not locked to the counter; as that cannot be relied
    on, it stays in the budget.
    """
    dof = values.size - 1.0
    tick = scale.record.quantum_ticks * scale.tick_us
    seen = float(np.var(values, ddof=1)) * scale.tick_us**2
    usual = distance * scale.tick_us + float(np.mean(values)) * scale.tick_us
    value = math.sqrt(_unrounded(seen, usual, tick))
    rounding = tick**2 / 6.0
    spread = seen * math.sqrt(2.0 / dof)
    # Near zero the variance, not its root, is what is known.
    u, u_tick = (
        min(part / (2.0 * value) if value > 0.0 else math.inf, math.sqrt(part))
        for part in (spread, rounding)
    )
    rows = [
        type_a(f"{name}@{scale.key}", "scatter", u, "us", dof),
        type_b(f"{name}-tick@{scale.key}", "counter tick", u_tick, "us", "triangular"),
    ]
    return combine(name, "us", value, "scatter of single comparator edges", rows)


def _unrounded(seen: float, distance: float, tick: float) -> float:
    """Variance of a distance between two times from that of the rounded times.

    For a time anywhere between ticks and a distance whose part beyond whole ticks is f, the rounded
    distance is one of two values, with variance ``tick^2 f (1 - f)``.  Jitter spreads f; as a
    Fourier series, ``f (1 - f) = 1/6 - sum cos(2 pi m f) / (pi m)^2``, each term of which it damps.
    """
    order = np.arange(1, 21)
    waves = np.cos(2.0 * math.pi * order * distance / tick) / (math.pi * order) ** 2
    variance = max(0.0, seen - tick**2 / 6.0)
    for _ in range(60):
        damped = waves * np.exp(-2.0 * math.pi**2 * order**2 * variance / tick**2)
        left = max(0.0, seen - tick**2 * (1.0 / 6.0 - float(damped.sum())))
        variance += 0.5 * (left - variance)
    return variance

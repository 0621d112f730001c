"""From the fitted model to quantities with budgets.

Every value is a function of the model's parameters; its uncertainty from noise is propagated from
their covariance, first order, with all correlation among them. What is due to the period has
a row of its own (``noise-period@CAPTURE``), which frequency, widths and duty share.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pilotsignal.budget import combine, half_width, scaled, type_a
from pilotsignal.edge_sums import crossing_by
from pilotsignal.evaluate import Context, plateau_of, scatter_of
from pilotsignal.modelled import ModelledWave
from pilotsignal.normal_equations import places
from pilotsignal.quantity import BudgetRow, Quantity
from pilotsignal.timing import Floats, Indices
from pilotsignal.waveform_fit import WaveformFit

_US = 1e6
_PERIOD = 2

Level = tuple[float, float, float]  # a level, and how it goes with the high and the low plateau


@dataclass(frozen=True, slots=True, eq=False)
class ModelReadings:
    """Quantities of one capture by the model; None as in `PilotMeasurement`."""

    frequency_hz: Quantity
    duty_percent: Quantity
    pulse_width_zero_us: Quantity | None
    pulse_width_mid_us: Quantity
    high_plateau_v: Quantity
    low_plateau_v: Quantity
    rise_time_us: Quantity
    fall_time_us: Quantity
    width_jitter_us: Quantity | None
    period_jitter_us: Quantity | None


@dataclass(frozen=True, slots=True)
class _Noise:
    """Noise of one value: the part that goes with the period, by its slope, and the rest."""

    value: float
    by_period: float
    rest: float


def read_model(context: Context, wave: ModelledWave) -> ModelReadings:
    """All quantities.

    Parameters
    ----------
    wave : of the same capture.
    """
    zero = _zero_level(context, wave)
    passed = _Crossings.of(wave, zero)
    width_zero = None if zero is None else _width(context, wave, passed, "zero")
    width_mid = _width(context, wave, passed, "mid")
    width_jitter, period_jitter = _jitters(context, wave)
    return ModelReadings(
        _frequency(context, wave),
        _duty(context, wave, width_zero, width_mid),
        width_zero,
        width_mid,
        plateau_of(context, wave.high, "high_plateau_v"),
        plateau_of(context, wave.low, "low_plateau_v"),
        _time(context, wave, passed, "rise"),
        _time(context, wave, passed, "fall"),
        width_jitter,
        period_jitter,
    )


def _zero_level(context: Context, wave: ModelledWave) -> float | None:
    """0 V in sample units, where the signal passes it with room on both sides."""
    line = context.capture.calibration
    level = (0.0 - line.offset_v) / line.gain_v
    share = (level - wave.low.value) / (wave.high.value - wave.low.value)
    return level if 0.05 < share < 0.95 else None


class _Passing(NamedTuple):
    """When an edge passes a level; how that goes with the fit's parameters, and with the level."""

    time: float
    slopes: Floats
    by_level: float


@dataclass(frozen=True, slots=True, eq=False)
class _Crossings:
    """Both edges at 10 %, the middle, 90 % and, where it is passed, 0 V."""

    rise: dict[str, _Passing]
    fall: dict[str, _Passing]

    @classmethod
    def of(cls, wave: ModelledWave, zero: float | None) -> "_Crossings":
        high, low = float(wave.fit.values[0]), float(wave.fit.values[1])
        levels = {
            name: (low + share * (high - low), share, 1.0 - share)
            for name, share in (("10", 0.1), ("mid", 0.5), ("90", 0.9))
        }
        if zero is not None:
            levels["zero"] = (zero, 0.0, 0.0)
        return cls(_passed(wave.fit, True, levels), _passed(wave.fit, False, levels))


def _passed(fit: WaveformFit, rising: bool, levels: dict[str, Level]) -> dict[str, _Passing]:
    """No shape depends on the period; fixed parameters have no variance: theirs do no harm."""
    found = {}
    times, by = crossing_by(fit.shape(rising), [level[0] for level in levels.values()])
    slopes = np.zeros((len(times), fit.values.size))
    slopes[:, places(rising)] = by[:, 1:]
    by_level = by[:, 0].tolist()
    for (name, level), time, along, each in zip(
        levels.items(), times, slopes, by_level, strict=True
    ):
        along[0] += each * level[1]
        along[1] += each * level[2]
        found[name] = _Passing(time, along, each)
    return found


def _noise(fit: WaveformFit, value: float, slopes: Floats) -> _Noise:
    along = fit.covariance @ slopes
    variance = float(slopes @ along)
    by_period = float(along[_PERIOD]) / float(fit.covariance[_PERIOD, _PERIOD])
    rest = variance - by_period * float(along[_PERIOD])
    return _Noise(value, by_period, math.sqrt(max(rest, 1e-12 * variance)))


def _period_row(context: Context, wave: ModelledWave) -> BudgetRow:
    u = math.sqrt(float(wave.fit.covariance[_PERIOD, _PERIOD])) * context.interval_us
    return type_a(f"noise-period@{context.key}", "noise, period", u, "us", wave.dof)


def _frequency(context: Context, wave: ModelledWave) -> Quantity:
    period_us = wave.period * context.interval_us
    value = _US / period_us
    rows = [scaled(_period_row(context, wave), -value / period_us), *context.time_base(value)]
    return combine("frequency_hz", "Hz", value, _method(wave), rows)


def _method(wave: ModelledWave) -> str:
    return f"least squares of the waveform, {wave.edges} edges"


def _width(context: Context, wave: ModelledWave, passed: _Crossings, name: str) -> Quantity:
    rise, fall = passed.rise[name], passed.fall[name]
    found = _noise(wave.fit, wave.apart + fall.time - rise.time, fall.slopes - rise.slopes)
    value = found.value * context.interval_us
    rows = _time_rows(context, wave, found, f"width-{name}") + context.time_base(-value)
    fastest = min(wave.fit.shape(up).duration() for up in (True, False)) * context.interval_us
    rows += context.front_end(name, fastest) + _blur(context, wave, name, (True, False))
    if name == "zero":
        rows += context.zero_volts(_steepness(context, passed))
    return combine(f"pulse_width_{name}_us", "us", value, _method(wave), rows)


def _steepness(context: Context, passed: _Crossings) -> float:
    """Change of the width at 0 V, in us, if the level rises by a volt."""
    by_level = passed.fall["zero"].by_level - passed.rise["zero"].by_level
    return by_level * context.interval_us / context.capture.calibration.gain_v


def _time_rows(context: Context, wave: ModelledWave, found: _Noise, name: str) -> list[BudgetRow]:
    rest = found.rest * context.interval_us
    noise = type_a(f"noise-{name}@{context.key}", f"noise, {name}", rest, "us", wave.dof)
    return [noise, scaled(_period_row(context, wave), found.by_period)]


def _blur(
    context: Context, wave: ModelledWave, name: str, edges: tuple[bool, ...]
) -> list[BudgetRow]:
    """What jitter makes of the shape: edges that come at different times are not one of them.

    The mean of relaxations with the constant T that scatter by s is off by s^2 / 2T in time, at
    either end.  The fit takes that off where jitter is many times the noise; how large s is, it
    knows from the scatter of single edges, so that as much again is left open.
    """
    bound = 0.0
    for up in edges:
        jitter2 = (wave.rise if up else wave.fall).jitter2
        if jitter2 == 0.0:
            continue
        bound += 0.5 * jitter2 * math.log(9.0) / wave.fit.shape(up).duration()
    if bound == 0.0:
        return []
    row_id = f"blur-{name}@{context.key}"
    return [half_width(row_id, "jitter in the shape", bound * context.interval_us, "us")]


def _duty(context: Context, wave: ModelledWave, zero: Quantity | None, mid: Quantity) -> Quantity:
    """At 0 V, where IEC 61851-1:2017 Table A.2 takes the width, if that is crossed."""
    width = mid if zero is None else zero
    at = "the middle level" if zero is None else "0 V"
    period_us = wave.period * context.interval_us
    value = 100.0 * width.value / period_us
    rows = [
        scaled(row, row.sensitivity * 100.0 / period_us)
        for row in width.rows
        if not row.id.startswith("timebase@")
    ]
    rows.append(scaled(_period_row(context, wave), -value / period_us))
    return combine("duty_percent", "%", value, f"width at {at} over period", rows)


def _time(context: Context, wave: ModelledWave, passed: _Crossings, way: str) -> Quantity:
    mine, ends = (passed.rise, ("10", "90")) if way == "rise" else (passed.fall, ("90", "10"))
    first, last = mine[ends[0]], mine[ends[1]]
    found = _noise(wave.fit, last.time - first.time, last.slopes - first.slopes)
    value = found.value * context.interval_us
    rows = _time_rows(context, wave, found, f"{way}-time") + context.time_base(-value)
    rows += context.front_end(way, value, corner=True) + _blur(context, wave, way, (way == "rise",))
    return combine(f"{way}_time_us", "us", value, "10 to 90 % of the fitted edge", rows)


def _jitters(context: Context, wave: ModelledWave) -> tuple[Quantity | None, Quantity | None]:
    rise, fall = wave.rise, wave.fall
    at_rise: slice | Indices = slice(None)
    at_fall: slice | Indices = at_rise
    if not np.array_equal(rise.cycle, fall.cycle):
        _, at_rise, at_fall = np.intersect1d(rise.cycle, fall.cycle, return_indices=True)
    width = None
    late = fall.late[at_fall] - rise.late[at_rise]
    if late.size >= 5:
        noise = 1.0 / fall.weight[at_fall] + 1.0 / rise.weight[at_rise]
        width = scatter_of(context, "width_jitter_us", late, noise)
    next_to = (rise.cycle[1:] - rise.cycle[:-1] == 1).nonzero()[0]
    if next_to.size < 5:
        return width, None
    change = rise.late[next_to + 1] - rise.late[next_to]
    noise = 1.0 / rise.weight[next_to + 1] + 1.0 / rise.weight[next_to]
    return width, scatter_of(context, "period_jitter_us", change, noise)

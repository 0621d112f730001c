"""Steps and drifts of the levels, hum and bursts of noise, from sums over single pulses.

Hum is found first and taken off; what the means then do is looked at as the high times are.  A
burst
of noise shows in the distance of highest and lowest sample of a pulse.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import fdtrc

from pilotsignal.blocks import strongest
from pilotsignal.budget import combine, half_width, scaled, type_a, type_b
from pilotsignal.calibration import VoltCalibration
from pilotsignal.changes import MOST, Change
from pilotsignal.period_changes import told
from pilotsignal.quantity import BudgetRow, Quantity, unstated
from pilotsignal.quick import median
from pilotsignal.series import Series, scatter, without_strays
from pilotsignal.timing import Floats

MAINS_HZ: Final = (50.0, 60.0)
_HARMONICS: Final = 3
_STRETCH: Final = 1024  # pulses in which a mains frequency that is 0.1 Hz off stays in step
_STRETCHES: Final = 4
_FALSE_ALARM: Final = 1e-8  # of one F test; at most sixteen a record
_CALM: Final = 0.25  # by which the spread of a pulse, relative to its usual one, must grow at least
_FEWEST: Final = 12  # pulses that can be compared
_SHORTEST: Final = 3  # pulses of a burst
_TAIL: Final = 1e-4  # share of the swing that unsettled tails may move a level by


@dataclass(frozen=True, slots=True, eq=False)
class PerPulse:
    """One number for each of many pulses.

    Parameters
    ----------
    time_s : float64, shape (n,), rising: middle of each, seconds after the first sample.
    value : float64, shape (n,): mean of the settled samples, in sample units; or their spread.
    """

    time_s: Floats
    value: Floats

    def without(self, changes: list[Change]) -> "PerPulse":
        """Those that lie in no burst."""
        noisy = [one for one in changes if one.code == "noise-burst"]
        if not noisy:
            return self
        calm = np.ones(self.time_s.size, bool)
        for one in noisy:
            calm &= (self.time_s < one.start_s) | (self.time_s > one.end_s)
        return PerPulse(self.time_s[calm], self.value[calm])


@dataclass(frozen=True, slots=True)
class LevelScale:
    """From sample units to volts.

    Parameters
    ----------
    line : the calibration.
    swing, step : of the record, in sample units.
    key : short name of the record, part of the row ids.
    """

    line: VoltCalibration
    swing: float
    step: float
    key: str

    def volts(self, name: str, value: float, rows: Sequence[BudgetRow]) -> Quantity:
        """A difference of levels: offset out, gain in."""
        gain, result = self.line.gain_v, []
        for row in rows:
            result.append(scaled(row, gain))
        stated = self.line.u_gain_relative
        if stated is None:
            result.append(unstated("gain", self.line.id, "gain", "1", value * gain))
        else:
            row = type_b(f"gain@{self.line.id}", "gain", stated, "1")
            result.append(scaled(row, value * gain))
        return combine(name, "V", value * gain, "means of single pulses", result)


@dataclass(frozen=True, slots=True)
class Hum:
    """Mains frequency in the levels.

    Parameters
    ----------
    hertz : 50 or 60.
    amplitudes : of it and its harmonics, in sample units.
    u : standard uncertainty of each.
    """

    hertz: float
    amplitudes: tuple[float, ...]
    u: float


def level_changes(name: str, pulses: PerPulse, scale: LevelScale) -> list[Change]:
    """Hum, steps and drifts of one level.

    Parameters
    ----------
    name : ``high`` or ``low``.
    """
    found: list[Change] = []
    mean = without_strays(pulses.value, 1.5 * scale.step)
    hum = find_hum(pulses.time_s, mean)
    if hum is not None:
        found.append(_hum(name, pulses, scale, hum))
        mean = mean - _wave(pulses.time_s, mean, hum.hertz)
    floor = max(_TAIL * scale.swing, 0.5 * scale.step)
    cycle = np.arange(mean.size, dtype=np.int64)
    pieces, drifts = _pieces(Series(cycle, mean, floor=floor))
    level = _Level(name, pulses.time_s, mean, scale)
    found += [level.drift(begin, end, size, u) for begin, end, size, u in drifts]
    found += [level.step(*cut) for cut in zip(pieces, pieces[1:], pieces[2:], strict=False)]
    return sorted(found, key=lambda change: change.start_s)


def _pieces(series: Series) -> tuple[list[int], list[tuple[int, int, float, float]]]:
    """Places of the cuts, both ends included, and drifts of the pieces."""
    waiting, cuts = [(0, series.value.size)], {0, series.value.size}
    drifts: list[tuple[int, int, float, float]] = []
    while waiting:
        begin, end = waiting.pop()
        part = series.part(begin, end)
        found = strongest(part, ("stretch", "drift"))
        if found is None:
            continue
        if found.kind == "drift" or len(cuts) > MOST:
            drifts.append((begin, end, found.size, found.u))
            continue
        places = sorted({begin + at for at in (found.begin, found.end) if 0 < at < end - begin})
        cuts.update(places)
        bounds = [begin, *places, end]
        waiting += [(a, b) for a, b in zip(bounds, bounds[1:], strict=False) if b > a]
    return sorted(cuts), drifts


@dataclass(frozen=True, slots=True, eq=False)
class _Level:
    name: str
    time_s: Floats
    mean: Floats
    scale: LevelScale

    def step(self, begin: int, cut: int, end: int) -> Change:
        """From the piece before `cut` to the one after."""
        parts = [self.mean[begin:cut], self.mean[cut:end]]
        size = float(np.mean(parts[1]) - np.mean(parts[0]))
        u = float(np.hypot(*(_scatter(part) / np.sqrt(part.size) for part in parts)))
        dof = max(1.0, float(min(part.size for part in parts)) - 1.0)
        start, stop = float(self.time_s[cut - 1]), float(self.time_s[cut])
        noise = type_a(f"noise-{self.name}-{start:.6f}@{self.scale.key}", "noise", u, "counts", dof)
        amount = self.scale.volts(f"{self.name}_level_step_v", size, [noise])
        text = (
            f"The {self.name} level steps by {told(amount)} between {start:.4f} and {stop:.4f} s."
        )
        return Change("level-step", start, stop, amount, text)

    def drift(self, begin: int, end: int, size: float, u: float) -> Change:
        """Along one piece."""
        start, stop = float(self.time_s[begin]), float(self.time_s[end - 1])
        key = f"drift-{self.name}-{start:.6f}@{self.scale.key}"
        noise = type_a(key, "noise", u, "counts", max(1.0, end - begin - 2.0))
        tail = half_width(f"tail-{key}", "unsettled tails", _TAIL * self.scale.swing, "counts")
        amount = self.scale.volts(f"{self.name}_level_drift_v", size, [noise, tail])
        text = f"The {self.name} level drifts by {told(amount)} over {stop - start:.3g} s."
        return Change("level-drift", start, stop, amount, text)


def _scatter(part: Floats) -> float:
    if part.size >= 8:
        return scatter(Series(np.arange(part.size, dtype=np.int64), part))[0]
    return float(np.std(part, ddof=1)) if part.size > 1 else 0.0


def find_hum(time_s: Floats, mean: Floats) -> Hum | None:
    """A mains frequency with two harmonics in means of pulses; None where there is none.

    At least two of its periods must be there.  Of a long record four stretches are looked at.

    Parameters
    ----------
    time_s, mean : shape (n,).
    """
    if mean.size < 24 or time_s[-1] - time_s[0] < 2.0 / MAINS_HZ[0]:
        return None
    starts = [0]
    if mean.size > _STRETCH:
        starts = [int(at) for at in np.linspace(0, mean.size - _STRETCH, _STRETCHES)]
    found = []
    for start in starts:
        time, value = time_s[start : start + _STRETCH], mean[start : start + _STRETCH]
        if _restless(value):
            found += [hum for hertz in MAINS_HZ if (hum := _tested(time, value, hertz)) is not None]
    return max(found, key=lambda hum: max(hum.amplitudes) / hum.u, default=None)


def _restless(value: Floats) -> bool:
    """Whether there is more than differences of neighbours explain: hum is slower than that."""
    change = value[1:] - value[:-1]
    neighbours = float((change * change).sum()) / change.size
    usual = 0.5 * neighbours * (1.0 + 4.0 / math.sqrt(value.size))
    off = value - float(value.sum()) / value.size
    return float((off * off).sum()) / value.size > usual > 0.0


def _tested(time_s: Floats, value: Floats, hertz: float) -> Hum | None:
    design = _design(time_s, hertz)
    factors, _, rank, _ = np.linalg.lstsq(design, value, rcond=None)
    if rank < design.shape[1]:
        return None
    rest = value - design @ factors
    dof = value.size - design.shape[1]
    residual = float(np.sum(rest * rest)) / dof
    trend = design[:, :2]
    plain = value - trend @ np.linalg.lstsq(trend, value, rcond=None)[0]
    explained = (float(np.sum(plain * plain)) - residual * dof) / (2 * _HARMONICS)
    if residual > 0 and fdtrc(2 * _HARMONICS, dof, explained / residual) > _FALSE_ALARM:
        return None
    if explained <= 0:
        return None
    parts = factors[2:].reshape(_HARMONICS, 2)
    amplitudes = tuple(float(a) for a in np.hypot(parts[:, 0], parts[:, 1]))
    return Hum(hertz, amplitudes, float(np.sqrt(max(residual, 1e-300) * 2.0 / value.size)))


def _design(time_s: Floats, hertz: float) -> Floats:
    angle = 2.0 * np.pi * hertz * time_s
    waves = [wave(n * angle) for n in range(1, _HARMONICS + 1) for wave in (np.cos, np.sin)]
    trend = (time_s - time_s.mean()) / max(float(np.ptp(time_s)), 1e-300)
    return np.column_stack((np.ones_like(angle), trend, *waves))


def _wave(time_s: Floats, mean: Floats, hertz: float) -> Floats:
    """Hum as fitted stretch by stretch, so that a frequency slightly off does no harm."""
    fitted = np.zeros(mean.size)
    for start in range(0, mean.size, _STRETCH):
        cut = slice(start, min(mean.size, start + _STRETCH))
        if cut.stop - cut.start < 24:
            continue
        design = _design(time_s[cut], hertz)
        factors = np.linalg.lstsq(design, mean[cut], rcond=None)[0]
        fitted[cut] = design[:, 2:] @ factors[2:]
    return fitted


def _hum(name: str, pulses: PerPulse, scale: LevelScale, hum: Hum) -> Change:
    strongest_one = int(np.argmax(hum.amplitudes))
    hertz = hum.hertz * (strongest_one + 1)
    noise = type_a(
        f"hum-{name}@{scale.key}", "noise", hum.u, "counts", float(pulses.value.size - 8)
    )
    size = scale.volts("hum_v", hum.amplitudes[strongest_one], [noise])
    start, stop = float(pulses.time_s[0]), float(pulses.time_s[-1])
    text = (
        f"The {name} level swings by {abs(size.value) * 1e3:.0f} mV at {hertz:.0f} Hz"
        f" (U {size.expanded() * 1e3:.1g} mV)."
    )
    return Change("hum", start, stop, size, text)


def bursts(pulses: PerPulse, key: str) -> list[Change]:
    """Stretches of pulses that are noisier than the rest.

    Parameters
    ----------
    pulses : of both levels, in order of time: highest less lowest sample of each, relative to what
        is usual on its level.

    Returns
    -------
    list of Change : ``noise-burst``; single pulses are left to the search for spikes.
    """
    spread = without_strays(pulses.value, _CALM)
    if spread.size < _FEWEST:
        return []
    usual = median(spread[:: max(1, spread.size // 4096)])
    series = Series(np.arange(spread.size, dtype=np.int64), spread, floor=_CALM)
    found: list[Change] = []
    waiting = [(0, spread.size)]
    while waiting and len(found) < MOST:
        begin, end = waiting.pop()
        one = strongest(series.part(begin, end), ("stretch",))
        if one is None:
            continue
        spans = [(begin, begin + one.begin), (begin + one.end, end)]
        noisy = [(spans[0][1], spans[1][0])]
        if one.size < 0:  # the calm part is the shorter one
            spans, noisy = noisy, spans
        waiting += [span for span in spans if span[1] - span[0] >= _FEWEST]
        found += [
            _burst(pulses, spread, span, (usual, key))
            for span in noisy
            if span[1] - span[0] >= _SHORTEST and np.mean(spread[slice(*span)]) > usual + _CALM
        ]
    return sorted(found, key=lambda change: change.start_s)


def _burst(
    pulses: PerPulse, spread: Floats, span: tuple[int, int], by: tuple[float, str]
) -> Change:
    usual, key = by
    inside = spread[span[0] : span[1]]
    start, stop = float(pulses.time_s[span[0]]), float(pulses.time_s[span[1] - 1])
    when = f"From {start:.4f} to {stop:.4f} s the samples of a pulse are spread"
    if usual <= 0.0:
        text = f"{when} far, though they usually are all the same: noise."
        return Change("noise-burst", start, stop, None, text)
    ratio = float(np.mean(inside)) / usual
    u = float(np.std(inside, ddof=1) / np.sqrt(inside.size)) / usual
    row = type_a(f"spread-{start:.6f}@{key}", "scatter", u, "1", inside.size - 1.0)
    size = combine("noise_ratio", "1", ratio, "spread of single pulses", [row])
    return Change(
        "noise-burst", start, stop, size, f"{when} {ratio:.1f} times as far as usual: noise."
    )

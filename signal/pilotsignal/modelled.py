"""The pilot's own model fitted to a capture, where the samples carry it.

It needs samples on the edges: the phases at which the edges were met must leave no gap wider than
some half of an edge. And it needs a waveform that is what the model says: what is left must look
like noise.  Otherwise there is no result here, and `periodic` goes on without a model.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.bracket import comb_between
from pilotsignal.capture import Capture
from pilotsignal.edge_cells import Belief, Known, rounding_variance
from pilotsignal.edge_rows import EdgeRows, Teeth, edge_rows
from pilotsignal.edge_shape import Shape
from pilotsignal.edges import Edges
from pilotsignal.lateness import EARLY, Expected, Lateness, astray, jitter_covariance, lateness
from pilotsignal.levels import Levels, find_levels
from pilotsignal.plateaus import Margins, Plateau, plateau, settled_pulses, step_bound, unsettled
from pilotsignal.quick import windows
from pilotsignal.timing import Comb, Indices
from pilotsignal.waveform_fit import WaveformFit, fit_waveform

# Drop of the diode, IEC 61851-1:2017 Table A.3: 0.55 to 0.85 V, nominal 0.70 V; standard.
_KNEE_V = Belief(0.70, 0.10)
_OPEN_V = 12.0  # high level with nothing connected, Table A.2
_RATIO_U = 0.10  # how far the time constants' ratio may be off what levels and diode make it
_UNLOADED_V = 10.5  # from here on no load draws current through the diode
_MOST_LEAD = 0.75  # of a pulse
_LONGEST_TAUS, _SETTLED_TAUS = 16.0, 10.0
_SPAN = math.log(9.0)  # 10 to 90 % time in time constants
_WIDEST_GAP = 0.75  # of the 10 to 90 % time
_TELLING_GAP = 0.25
_MOST_OPEN = 0.3  # relative uncertainty of a time constant
_FIRST_GAP = 3.0  # the same, as long as that time is a guess
_RARE = 1.0  # samples on an edge, on average
_SHORT = 8.0  # samples: in a pulse of so many none can be spared
_MANY = 100_000  # edges: so many make a good start in any case
_ROUNDED = 3.0
_MISFIT = 5.0  # standard deviations of chi2
_APART = 8.0
_WILDEST = 6.0  # standard deviations of jitter
_RESTLESS = 1.5  # scatter of pulses over what their samples make of it
_COUNTED = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class ModelledWave:
    """A capture that the model explains; sample units and sample intervals.

    Parameters
    ----------
    fit : the model; jitter of the edges is part of its covariance.
    period : of the fit.
    apart : from the rows' instants of the rising to those of the falling edge, same cycle.
    high, low : plateaus by the fit, with what the settled samples alone say of scatter.
    rise, fall : single edges against the model.
    cycles : from the first to the last edge.
    edges : how many edges.
    outliers : samples far off the model around edges.
    dof : degrees of freedom of the noise.
    """

    fit: WaveformFit
    period: float
    apart: float
    high: Plateau
    low: Plateau
    rise: Lateness
    fall: Lateness
    cycles: int
    edges: int
    outliers: int
    dof: float


@dataclass(frozen=True, slots=True, eq=False)
class _Setting:
    """One way of cutting the capture: teeth of both directions, time constants to begin with.

    `settles` says of the high and the low pulses whether they outlast the edge before them.
    """

    rise: Teeth
    fall: Teeth
    taus: tuple[float, float]
    settles: tuple[bool, bool]


@dataclass(frozen=True, slots=True, eq=False)
class _Taken:
    """What was read from the samples for one setting."""

    setting: _Setting
    rows: tuple[EdgeRows, EdgeRows]
    plateaus: tuple[Plateau, Plateau]
    beliefs: list[Known]


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    taken: _Taken
    fit: WaveformFit


@dataclass(frozen=True, slots=True, eq=False)
class _Outcome:
    """The result, if any; whether to look no further; whether another shape is worth a try."""

    wave: ModelledWave | None = None
    final: bool = False
    misfit: bool = False


def model_wave(capture: Capture, levels: Levels, edges: Edges, comb: Comb) -> ModelledWave | None:
    """Fit the model.

    Parameters
    ----------
    comb : coarse, of the same edges.

    Returns
    -------
    ModelledWave or None : None where samples on the edges are too few or the model does not hold.
    """
    taus = _first_taus(capture, levels, edges, comb)
    if taus is None or _cut_off(capture, levels):
        return None
    for start, scale in _starts(capture, levels, edges, comb, min(taus)):
        first = (scale * taus[0], scale * taus[1])
        setting = _cut(comb, (start.rise, start.fall, start.period), first)
        taken = _taken(capture, edges, setting)
        if taken is None:
            continue
        for number in range(len(taken.beliefs)):
            outcome = _tried(capture, edges, comb, (taken, number))
            if outcome.final:
                return outcome.wave
            if not outcome.misfit:
                break
    return None


def _cut_off(capture: Capture, levels: Levels) -> bool:
    """Whether a level lies at the end of the converter's range: edges are cut there."""
    if capture.converter_range is None:
        return False
    lowest, highest = capture.converter_range
    return levels.low <= lowest or levels.high >= highest


def _tried(capture: Capture, edges: Edges, comb: Comb, attempt: tuple[_Taken, int]) -> _Outcome:
    """One belief of what the edges are, from the fit to the judgement."""
    taken, number = attempt
    found = _fitted(taken, number)
    if found is None:
        return _Outcome(misfit=_dense(taken.rows, taken.setting.taus, _TELLING_GAP))
    setting = _better(comb, found)
    if setting is not None:
        again = _taken(capture, edges, setting)
        found = None if again is None else _fitted(again, number)
    if found is None:
        return _Outcome()
    sigma = _sigma(found.taken.plateaus, _step(capture))
    expected = _expected(found)
    bad = _astray(capture, found, expected, sigma)
    outliers = bad[0].size + bad[1].size
    if outliers:
        left_out = (np.unique(bad[0]), np.unique(bad[1]))
        again = _taken(capture, edges, found.taken.setting, left_out)
        found = None if again is None else _fitted(again, number)
        if found is None:
            return _Outcome()
        expected = _expected(found)
    rise, fall = (
        lateness(capture.samples, rows, found.fit, part, sigma)
        for rows, part in zip(found.taken.rows, expected, strict=True)
    )
    late = (rise, fall)
    wave = _judged(found, late, (sigma, _step(capture)), outliers)
    if wave is None:
        # Only samples close to one another show of what shape an edge is.
        return _Outcome(misfit=_resolved(found, _TELLING_GAP))
    if not _resolved(found, _WIDEST_GAP) or _open(wave.fit):
        # It explains the samples, but they leave too much open; those it does not explain may be
        # on edges where a wrong period does not expect them.
        return _Outcome(final=outliers == 0)
    return _Outcome(wave, final=True)


def _astray(
    capture: Capture, found: _Found, expected: tuple[Expected, Expected], sigma: float
) -> list[Indices]:
    """Cycles with spikes, of rising and falling edges; jitter makes none."""
    bad = []
    for rows, up, part in zip(found.taken.rows, (True, False), expected, strict=True):
        fitted = (found.fit, up, part)
        spikes = astray(capture.samples, rows, fitted, sigma)
        if spikes.size:
            late = lateness(capture.samples, rows, found.fit, part, sigma)
            early = max(EARLY, _WILDEST * math.sqrt(late.jitter2))
            spikes = astray(capture.samples, rows, fitted, sigma, early)
        bad.append(spikes)
    return bad


def _open(fit: WaveformFit) -> bool:
    """Whether a time constant is hardly known."""
    return max(float(fit.covariance[place, place]) for place in (4, 8)) > _MOST_OPEN**2


def _starts(
    capture: Capture, levels: Levels, edges: Edges, comb: Comb, tau: float
) -> Iterator[tuple[Comb, float]]:
    """Combs and time constants to begin with, likeliest first.

    Where edges are rarely met a line through interpolated times may be off by many times their
    duration; the comb that fits between the samples then is the better start.
    """
    yield comb, 1.0
    if tau * _SPAN < _RARE and edges.index.size < _MANY:
        between = comb_between(capture, levels, edges, comb)
        for scale in (1.0, 2.0, 0.5):
            yield between, scale


def _first_taus(
    capture: Capture, levels: Levels, edges: Edges, comb: Comb
) -> tuple[float, float] | None:
    """Time constants from how many samples an edge has on its way; None where too few."""
    shorter = min(comb.width, comb.period - comb.width)
    half = max(2, int(min(0.1 * comb.period + 2.0, 0.5 * shorter)))
    found = []
    for rising in (True, False):
        at = edges.of(rising)
        at = at[(at >= half) & (at + half <= capture.samples.size)]
        at = at[:: max(1, at.size * 2 * half // _COUNTED)]
        if at.size == 0:
            return None
        values = windows(capture.samples, 2 * half)[at - half]
        on_way = np.count_nonzero((values > levels.at(0.1)) & (values < levels.at(0.9)))
        if on_way == 0:
            return None
        found.append(on_way / at.size / _SPAN)
    return found[0], found[1]


def _cut(comb: Comb, instants: tuple[float, float, float], taus: tuple[float, float]) -> _Setting:
    """Windows that reach from just before an edge to where it has settled."""
    rise, fall, period = instants
    spare = 0.5 if min(comb.width, comb.period - comb.width) > _SHORT else 0.0
    ahead = [max(1, math.ceil(1.5 * tau + spare)) for tau in taus]
    teeth, settles = [], []
    for at, tau, before, room, next_before in (
        (rise, taus[0], ahead[0], comb.width, ahead[1]),
        (fall, taus[1], ahead[1], comb.period - comb.width, ahead[0]),
    ):
        # What is left of the pulse is the plateau; where little is, all of it goes into the fit.
        whole, least = room - next_before, math.ceil(_SETTLED_TAUS * tau) + 1
        after = min(math.ceil(_LONGEST_TAUS * tau + spare) + 1, int(_MOST_LEAD * whole))
        settles.append(after >= least)
        if settles[-1]:
            teeth.append(Teeth(at, period, before, after, tau))
        else:
            teeth.append(Teeth(at, period, before, max(1, math.ceil(whole)), tau, whole))
    return _Setting(teeth[0], teeth[1], taus, (settles[0], settles[1]))


def _taken(
    capture: Capture,
    edges: Edges,
    setting: _Setting,
    left_out: tuple[Indices | None, Indices | None] = (None, None),
) -> _Taken | None:
    rise = edge_rows(capture.samples, capture.gaps, setting.rise, left_out[0])
    fall = edge_rows(capture.samples, capture.gaps, setting.fall, left_out[1])
    if rise is None or fall is None or not _dense((rise, fall), setting.taus, _FIRST_GAP):
        return None
    plateaus = _plateaus(capture, edges, setting)
    return _Taken(setting, (rise, fall), plateaus, _beliefs(capture, plateaus))


def _fitted(taken: _Taken, number: int) -> _Found | None:
    known = taken.beliefs[number]
    first = _first_shapes(taken.setting, known, taken.plateaus)
    fit = fit_waveform(*taken.rows, first, known)
    return None if fit is None else _Found(taken, fit)


def _dense(rows: tuple[EdgeRows, EdgeRows], taus: tuple[float, float], most: float) -> bool:
    return all(part.gap <= most * _SPAN * tau for part, tau in zip(rows, taus, strict=True))


def _resolved(found: _Found, most: float) -> bool:
    """Whether the fitted period leaves no gap wider than a share `most` of the edges."""
    fit = found.fit
    change = float(fit.values[2])
    return all(
        rows.gap_at(change, fit.cycle) <= most * _SPAN * tau
        for rows, tau in zip(found.taken.rows, _taus(fit), strict=True)
    )


def _plateaus(capture: Capture, edges: Edges, setting: _Setting) -> tuple[Plateau, Plateau]:
    """High and low: what the settled samples say, or a guess where none settle."""
    high_margins = Margins(setting.rise.after, setting.fall.before, _MOST_LEAD)
    low_margins = Margins(setting.fall.after, setting.rise.before, _MOST_LEAD)
    pulses = settled_pulses(capture.samples, edges, high_margins, low_margins)
    found = [
        plateau(capture.samples, pulses, up) if settles else None
        for up, settles in zip((True, False), setting.settles, strict=True)
    ]
    levels = find_levels(capture.samples) if None in found else None
    guesses = (0.0, 0.0) if levels is None else (levels.high, levels.low)
    noise = 0.0 if levels is None else levels.noise
    known = [part.sigma for part in found if part is not None]
    high, low = (
        unsettled(guess, known[0] if known else noise) if part is None else part
        for part, guess in zip(found, guesses, strict=True)
    )
    return high, low


def _beliefs(capture: Capture, found: tuple[Plateau, Plateau]) -> list[Known]:
    """What may be known beforehand, likeliest first: with the diode's knee, or one relaxation."""
    high, low = found
    line = capture.calibration
    volts = [line.gain_v * level.value + line.offset_v for level in found]
    step = _step(capture)
    levels = [_belief(level, step) if level.samples else None for level in found]
    middle = 0.5 * (high.value + low.value)
    simple = Known(
        levels[0], levels[1], Belief(middle, 0.0), Belief(0.0, 0.0), _sigma(found, step), step
    )
    knee = replace(
        simple,
        knee=Belief((_KNEE_V.value - line.offset_v) / line.gain_v, _KNEE_V.u / line.gain_v),
        ratio=Belief(_ratio(volts[0]), _RATIO_U),
    )
    loose = replace(
        simple,
        knee=Belief(middle, 0.2 * abs(high.value - low.value)),
        ratio=Belief(0.0, 1.0),
    )
    line_up = replace(simple, straight=True)
    share = (_KNEE_V.value - volts[1]) / (volts[0] - volts[1])
    if volts[0] > _UNLOADED_V or not 0.1 < share < 0.98 or volts[1] > -5.0:
        return [simple, line_up, loose]
    return [knee, line_up, loose]


def _belief(level: Plateau, step: float) -> Belief:
    """A settled level with what scatter and rounding leave open."""
    rounding = step_bound(step, level) / math.sqrt(3.0)
    return Belief(level.value, max(math.hypot(level.u, rounding), 1e-3 * level.sigma, 1e-12))


def _sigma(found: tuple[Plateau, Plateau], step: float) -> float:
    """Scatter of single samples, never below what rounding alone makes."""
    weights = [max(1, level.samples) for level in found]
    square = sum(w * level.sigma**2 for w, level in zip(weights, found, strict=True))
    return max(math.sqrt(square / sum(weights)), step / math.sqrt(12.0))


def _ratio(high_v: float) -> float:
    """Logarithm of the ratio of both time constants of a rising edge, by the levels."""
    return math.log((_OPEN_V - _KNEE_V.value) / max(high_v - _KNEE_V.value, 0.3))


def _first_shapes(
    setting: _Setting, known: Known, levels: tuple[Plateau, Plateau]
) -> tuple[Shape, Shape]:
    high, low = levels[0].value, levels[1].value
    shapes = []
    for rising, tau in ((True, setting.taus[0]), (False, setting.taus[1])):
        ratio = known.ratio.value if rising else -known.ratio.value
        start, end = (low, high) if rising else (high, low)
        shape = Shape(start, end, 0.0, math.log(tau), ratio, known.knee.value, known.straight)
        shape = shape._replace(after=shape.after + math.log(tau * _SPAN / shape.duration()))
        shapes.append(shape._replace(delay=-shape.crossing(0.5 * (start + end))))
    return shapes[0], shapes[1]


def _better(comb: Comb, found: _Found) -> _Setting | None:
    """Another cut where the first time constants or the first comb were far off, else None."""
    old, fit, rows = found.taken.setting, found.fit, found.taken.rows
    taus = _taus(fit)
    change = float(fit.values[2])
    span = 0.5 * float(np.ptp(rows[0].number))
    grouped = any(bool((part.spread > 0).any()) for part in rows)
    smeared = grouped and abs(change) * span > 0.02 * min(taus)
    off = any(not 0.5 < new / was < 1.25 for new, was in zip(taus, old.taus, strict=True))
    moved = any(abs(_middle(fit, up)) > 0.3 for up in (True, False))
    if not (smeared or off or moved):
        return None
    instants = [
        teeth.reference - change * fit.cycle + _middle(fit, up)
        for teeth, up in ((old.rise, True), (old.fall, False))
    ]
    return _cut(comb, (instants[0], instants[1], old.rise.period + change), taus)


def _middle(fit: WaveformFit, rising: bool) -> float:
    """Crossing of the middle level after the rows' instants."""
    return fit.shape(rising).crossing(fit.shape(rising).level(0.5))


def _taus(fit: WaveformFit) -> tuple[float, float]:
    """Effective time constants, by the 10 to 90 % times."""
    return fit.shape(True).duration() / _SPAN, fit.shape(False).duration() / _SPAN


def _step(capture: Capture) -> float:
    return 1.0 if capture.samples.dtype.kind in "iu" else 0.0


def _expected(found: _Found) -> tuple[Expected, Expected]:
    rise, fall = found.taken.rows
    return Expected.of(rise, found.fit, True), Expected.of(fall, found.fit, False)


def _judged(
    found: _Found, late: tuple[Lateness, Lateness], noise: tuple[float, float], outliers: int
) -> ModelledWave | None:
    """The fit, if what it leaves is noise and jitter; `noise` is that of a sample, and the step."""
    sigma, step = noise
    extra = jitter_covariance(found.taken.rows, found.fit, late, sigma)
    left, dof = found.fit.chi2 - extra.chi2, found.fit.dof
    excess = (left - dof) / math.sqrt(2.0 * dof + extra.variance)
    if excess > _MISFIT:
        return None
    scale = max(1.0, left / dof) if excess > 2.0 else 1.0
    # Rounding that noise does not average out is no noise: its size is known, not its distribution.
    scale *= 1.0 + _ROUNDED * rounding_variance(step, sigma) / sigma**2
    fit = replace(found.fit, covariance=found.fit.covariance * scale + extra.covariance)
    setting = found.taken.setting
    rise, fall = found.taken.rows
    number = np.concatenate((rise.number[[0, -1]], fall.number[[0, -1]]))
    high, low = found.taken.plateaus
    return ModelledWave(
        fit,
        setting.rise.period + float(fit.values[2]),
        setting.fall.reference - setting.rise.reference,
        _levelled(high, fit, 0),
        _levelled(low, fit, 1),
        late[0],
        late[1],
        int(number.max() - number.min()),
        int(rise.number.size + fall.number.size),
        outliers,
        max(1.0, high.dof + low.dof),
    )


def _levelled(settled: Plateau, fit: WaveformFit, place: int) -> Plateau:
    """Level by the fit; what rounding leaves in the settled mean has a budget row of its own."""
    u = math.sqrt(float(fit.covariance[place, place]))
    if not settled.samples:
        return replace(settled, value=float(fit.values[place]), u=u)
    plain = settled.sigma / math.sqrt(settled.samples)
    if settled.u > _RESTLESS * plain:
        return settled  # pulses scatter, as with hum: the samples around edges are no better
    if settled.u > 1.01 * plain:
        u = math.sqrt(u**2 + settled.u**2 - plain**2)  # what makes pulses scatter stays in
    elif settled.u > 0.0:
        u = min(u, max(settled.u, 1e-3 * settled.sigma))
    return replace(settled, value=float(fit.values[place]), u=u)

"""The pilot's own model fitted to a capture, where the samples carry it.

It needs samples on the edges: the phases at which the edges were met must leave no gap wider than
some half of an edge. And it needs a waveform that is what the model says: what is left must look
like noise and jitter.  Otherwise there is no result here, and `periodic` goes on without a model.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.attempt import (
    SPAN,
    Attempt,
    Taken,
    better_cut,
    cut,
    dense,
    first_shapes,
    fitted,
    resolved,
    sigma_of,
    step_of,
    take,
)
from pilotsignal.bracket import comb_between
from pilotsignal.capture import Capture
from pilotsignal.edge_cells import rounding_variance
from pilotsignal.edges import Edges
from pilotsignal.lateness import EARLY, Expected, Lateness, astray, jitter_covariance, lateness
from pilotsignal.levels import Levels
from pilotsignal.plateaus import Plateau, step_bound
from pilotsignal.quick import between, inside, median, windows
from pilotsignal.timing import Comb, Floats, Indices
from pilotsignal.waveform_fit import Effort, WaveformFit, fit_waveform

_WIDEST_GAP = 0.75  # of the 10 to 90 % time
_TELLING_GAP = 0.25
_MOST_OPEN = 0.3  # relative uncertainty of a time constant
_AVERAGED = 0.5  # scatter in steps, rounding included, from which on it averages rounding out
_FEW_EDGES = 16  # of so few nobody knows whether they jitter or are bent
_ROUGH = 2.0  # variance on edges over that beside them, where rounding is not averaged out
_RARE = 1.0  # samples on an edge, on average
_WORK, _WORK_PER_EDGE = 1_200_000, 100  # cells looked at until a model must have been found
_MANY = 100_000  # edges: so many make a good start in any case
_ROUNDED = 3.0
_APART = 5.0  # standard deviations of a settled mean by which a fitted level may be off it
_MISFIT = 5.0  # standard deviations of chi2
_WILDEST = 6.0  # standard deviations of jitter
_RESTLESS = 1.5  # scatter of pulses over what their samples make of it
_COUNTED = 1 << 14
_JITTER_ROUNDS = 6
_JITTER_TRIES = 2  # where two starts do not lead to it no other does, and each costs its rounds
_MOST_JITTER = 0.2  # of a time constant, to begin with: lines between samples scatter more
_NORMAL_MAD = 1.4826  # standard deviation over median distance, of a normal distribution


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

    @property
    def width(self) -> float:
        """High time at the middle level, in sample intervals."""
        middle = [
            self.fit.shape(up).crossing(self.fit.shape(up).level(0.5)) for up in (True, False)
        ]
        return self.apart + middle[1] - middle[0]


@dataclass(frozen=True, slots=True, eq=False)
class _Outcome:
    """What an attempt came to.

    Parameters
    ----------
    wave : the result, if any.
    final : look no further.
    misfit : another shape is worth a try.
    jittered : jitter was looked for.
    """

    wave: ModelledWave | None = None
    final: bool = False
    misfit: bool = False
    jittered: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """A start, the number of a belief of what the edges are, and whether jitter is looked for."""

    taken: Taken
    number: int
    may_jitter: bool
    effort: Effort


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
    jittered, effort = 0, Effort(_WORK + _WORK_PER_EDGE * edges.index.size)
    for start, scale in _starts(capture, levels, edges, comb, min(taus)):
        first = (scale * taus[0], scale * taus[1])
        setting = cut(comb, (start.rise, start.fall, start.period), first)
        taken = take(capture, edges, setting)
        if taken is None:
            continue
        for number in range(len(taken.beliefs)):
            may_jitter = jittered < _JITTER_TRIES
            outcome = _tried(capture, edges, comb, _Try(taken, number, may_jitter, effort))
            jittered += outcome.jittered
            if outcome.final or effort.spent:
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


def _tried(capture: Capture, edges: Edges, comb: Comb, attempt: _Try) -> _Outcome:
    """One belief of what the edges are, from the fit to the judgement."""
    taken, number, effort = attempt.taken, attempt.number, attempt.effort
    found = fitted(taken, number, effort)
    if found is None:
        return _Outcome(misfit=dense(taken.rows, taken.setting.taus, _TELLING_GAP))
    setting = better_cut(comb, found)
    if setting is not None:
        again = take(capture, edges, setting)
        found = None if again is None else fitted(again, number, effort)
    if found is None:
        return _Outcome()
    sigma = sigma_of(found.taken.plateaus, step_of(capture))
    expected = _expected(found)
    bad = _astray(capture, found, expected, sigma)
    outliers = bad[0].size + bad[1].size if _levels_agree(found, step_of(capture)) else 0
    whole = found
    if outliers:
        left_out = (np.unique(bad[0]), np.unique(bad[1]))
        again = take(capture, edges, found.taken.setting, left_out)
        without = None if again is None else fitted(again, number, effort)
        if without is None:
            return _Outcome()
        found, outliers = _confirmed(capture, (found, without), sigma, effort)
        expected = _expected(found)
    late = _late(capture, found, expected, sigma)
    noise = (sigma, step_of(capture))
    loud = late[0].loud or late[1].loud
    wave = None if loud else _judged(found, late, noise, outliers)
    jittered = wave is None and attempt.may_jitter
    if jittered:
        found, late = _with_jitter(capture, found, comb, (sigma, effort))
        if outliers:  # what is astray of a fit without jitter may be none of one that knows of it
            outliers = _spikes(capture, replace(whole, fit=found.fit), sigma)
        wave = _judged(found, late, noise, outliers)
    if wave is None:
        # Only samples close to one another show of what shape an edge is.
        return _Outcome(misfit=resolved(found, _TELLING_GAP), jittered=jittered)
    if not resolved(found, _WIDEST_GAP) or _open(found, sigma, step_of(capture)):
        # It explains the samples, but they leave too much open; those it does not explain may be
        # on edges where a wrong period does not expect them.
        return _Outcome(final=outliers == 0)
    return _Outcome(wave, final=True)


def _late(
    capture: Capture, found: Attempt, expected: tuple[Expected, Expected], sigma: float
) -> tuple[Lateness, Lateness]:
    """Single edges of both directions against the fit."""
    rise, fall = (
        lateness(capture.samples, rows, found.fit, part, sigma)
        for rows, part in zip(found.taken.rows, expected, strict=True)
    )
    return rise, fall


def _with_jitter(
    capture: Capture, found: Attempt, comb: Comb, by: tuple[float, Effort]
) -> tuple[Attempt, tuple[Lateness, Lateness]]:
    """The fit once more, with samples weighed by how far jitter moves them.

    It begins anew: where jitter is many times the noise a fit that knows nothing of it goes
    astray. How much there is at first comes from the scatter of the coarse times.
    """
    plain, (sigma, effort) = found, by
    first = first_shapes(found.taken.setting, found.known, found.taken.plateaus)
    most2 = (_MOST_JITTER * min(found.taken.setting.taus)) ** 2
    residuals = (comb.rise_residual, comb.fall_residual)
    rise2, fall2 = (min(_scatter2(part), most2) for part in residuals)
    late = _late(capture, found, _expected(found), sigma)
    for _ in range(_JITTER_ROUNDS):
        known = replace(found.known, jitter2=(rise2, fall2))
        fit = fit_waveform(found.taken.rows, first, known, effort)
        if fit is None:
            break
        found = replace(found, fit=fit, known=known)
        late = _late(capture, found, _expected(found), sigma)
        settled = 0.9 * rise2 <= late[0].jitter2 and 0.9 * fall2 <= late[1].jitter2
        (rise2, fall2), first = (part.jitter2 for part in late), (fit.shape(True), fit.shape(False))
        if rise2 == fall2 == 0.0:
            return plain, _late(capture, plain, _expected(plain), sigma)
        if settled:
            break
    return found, late


def _scatter2(residual: Floats) -> float:
    """Variance of edge times, strays left out."""
    return (_NORMAL_MAD * median(np.abs(residual - median(residual)))) ** 2


def _astray(
    capture: Capture, found: Attempt, expected: tuple[Expected, Expected], sigma: float
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


def _spikes(capture: Capture, found: Attempt, sigma: float) -> int:
    """How many cycles have spikes, both directions taken together."""
    return sum(bad.size for bad in _astray(capture, found, _expected(found), sigma))


def _confirmed(
    capture: Capture, with_and_without: tuple[Attempt, Attempt], sigma: float, effort: Effort
) -> tuple[Attempt, int]:
    """The fit without spikes and how many there are; with them, if to it they are none.

    A fit that went astray makes spikes of good samples.
    """
    whole, without = with_and_without
    outliers = _spikes(capture, replace(whole, fit=without.fit), sigma)
    if outliers:
        return without, outliers
    first = (without.fit.shape(True), without.fit.shape(False))
    fit = fit_waveform(whole.taken.rows, first, whole.known, effort)
    return (without, 0) if fit is None else (replace(whole, fit=fit), 0)


def _open(found: Attempt, sigma: float, step: float) -> bool:
    """Whether a time constant is hardly known, or a level of which no sample has settled.

    The edge alone tells such a level only as well as it has the fitted shape, and rounding that
    noise does not average out is carried over many times enlarged.
    """
    covariance = found.fit.covariance
    if max(float(covariance[place, place]) for place in (4, 8)) > _MOST_OPEN**2:
        return True
    return sigma < _AVERAGED * step and not all(level.samples for level in found.taken.plateaus)


def _starts(
    capture: Capture, levels: Levels, edges: Edges, comb: Comb, tau: float
) -> Iterator[tuple[Comb, float]]:
    """Combs and time constants to begin with, likeliest first.

    Where edges are rarely met a line through interpolated times may be off by many times their
    duration; the comb that fits between the samples then is the better start.
    """
    yield comb, 1.0
    if tau * SPAN < _RARE and edges.index.size < _MANY:
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
        at = inside(edges.of(rising), half, capture.samples.size)
        at = at[:: max(1, at.size * 2 * half // _COUNTED)]
        if at.size == 0:
            return None
        values = windows(capture.samples, 2 * half)[at - half]
        on_way = between(values, levels.at(0.1), levels.at(0.9))
        if on_way == 0:
            return None
        found.append(on_way / at.size / SPAN)
    return found[0], found[1]


def _expected(found: Attempt) -> tuple[Expected, Expected]:
    rise, fall = found.taken.rows
    return Expected.of(rise, found.fit, True), Expected.of(fall, found.fit, False)


def _judged(
    found: Attempt, late: tuple[Lateness, Lateness], noise: tuple[float, float], outliers: int
) -> ModelledWave | None:
    """The fit, if what it leaves is noise and jitter; `noise` is that of a sample, and the step."""
    sigma, step = noise
    extra = jitter_covariance(found.taken.rows, found.fit, late, replace(found.known, sigma=sigma))
    left, dof = found.fit.chi2 - extra.chi2, found.fit.dof
    excess = (left - dof) / math.sqrt(2.0 * dof + extra.variance)
    if excess > _MISFIT or not _levels_agree(found, step) or _bent(late, sigma < _AVERAGED * step):
        return None
    scale = max(1.0, left / dof) if excess > 2.0 else 1.0
    # Rounding that noise does not average out is no noise: its size is known, not its distribution.
    if step > 0.0:
        scale *= 1.0 + _ROUNDED * rounding_variance(step, sigma) / sigma**2
    fit = replace(found.fit, covariance=found.fit.covariance * scale + extra.covariance)
    setting = found.taken.setting
    rise, fall = found.taken.rows
    ends = [int(part.number[place]) for part in (rise, fall) for place in (0, -1)]
    high, low = found.taken.plateaus
    return ModelledWave(
        fit,
        setting.rise.period + float(fit.values[2]),
        setting.fall.reference - setting.rise.reference,
        _levelled(high, fit, 0),
        _levelled(low, fit, 1),
        late[0],
        late[1],
        max(ends) - min(ends),
        int(rise.number.size + fall.number.size),
        outliers,
        _freedom(late, high.dof + low.dof),
    )


def _bent(late: tuple[Lateness, Lateness], rough: bool) -> bool:
    """Whether edges come early or late by the phase at which they were met: the shape is another.

    The sum of squares of all samples may hide that: where a converter rounds most of the noise
    away the many samples beside the edges scatter hardly at all, and what noise there is on the
    edges, `rough`, is not known better than to a factor.
    """
    for part in late:
        if part.loud and part.late.size < _FEW_EDGES:
            return True
        square = float((part.late**2 / (1.0 / part.weight + part.jitter2)).sum())
        count = part.late.size
        if square > (_ROUGH if rough else 1.0) * (count + _MISFIT * math.sqrt(2.0 * count)):
            return True
    return False


def _levels_agree(found: Attempt, step: float) -> bool:
    """Whether the fit's levels are those of the settled samples.

    An edge that is not of the fitted shape draws them away, and jitter explains samples on edges
    only, not what has settled.
    """
    return all(
        not level.samples
        or abs(fitted - level.value) <= step_bound(step, level) + _APART * level.u + 1e-12
        for level, fitted in zip(found.taken.plateaus, found.fit.values[:2].tolist(), strict=True)
    )


def _freedom(late: tuple[Lateness, Lateness], noise: float) -> float:
    """Degrees of freedom of the noise; jitter is known from single edges only."""
    edges = [float(part.late.size) - 1.0 for part in late if part.jitter2 > 0.0]
    return max(1.0, min([noise, *edges]))


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

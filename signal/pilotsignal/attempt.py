"""One attempt at the model: how the capture is cut, what is read from it and known, and the fit.

`modelled` makes attempts and judges them.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.capture import Capture
from pilotsignal.edge_cells import Belief, Known
from pilotsignal.edge_rows import EdgeRows, Teeth, edge_rows
from pilotsignal.edge_shape import Shape
from pilotsignal.edges import Edges
from pilotsignal.levels import find_levels
from pilotsignal.plateaus import Margins, Plateau, plateau, settled_pulses, step_bound, unsettled
from pilotsignal.timing import Comb, Indices
from pilotsignal.waveform_fit import Effort, WaveformFit, fit_waveform

SPAN = math.log(9.0)  # 10 to 90 % time in time constants
# Drop of the diode, IEC 61851-1:2017 Table A.3: 0.55 to 0.85 V, nominal 0.70 V; standard.
_KNEE_V = Belief(0.70, 0.10)
_OPEN_V = 12.0  # high level with nothing connected, Table A.2
_RATIO_U = 0.10  # how far the time constants' ratio may be off what levels and diode make it
_UNLOADED_V = 10.5  # from here on no load draws current through the diode
_MOST_LEAD = 0.75  # of a pulse
_LONGEST_TAUS, _SETTLED_TAUS = 16.0, 10.0
_TOE = 1.5  # time constants ahead of an edge that belong to it in any case
_FIRST_GAP = 3.0  # the same, as long as that time is a guess
_SHORT = 8.0  # samples: in a pulse of so many none can be spared


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """One way of cutting the capture: teeth of both directions, time constants to begin with.

    `settles` says of the high and the low pulses whether they outlast the edge before them.
    """

    rise: Teeth
    fall: Teeth
    taus: tuple[float, float]
    settles: tuple[bool, bool]


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """What was read from the samples for one setting."""

    setting: Setting
    rows: tuple[EdgeRows, EdgeRows]
    plateaus: tuple[Plateau, Plateau]
    beliefs: list[Known]


@dataclass(frozen=True, slots=True, eq=False)
class Attempt:
    """A fit, with what was taken from the samples and known beforehand."""

    taken: Taken
    fit: WaveformFit
    known: Known


def cut(comb: Comb, instants: tuple[float, float, float], taus: tuple[float, float]) -> Setting:
    """Windows that reach from just before an edge to where it has settled."""
    rise, fall, period = instants
    spare = 0.5 if min(comb.width, comb.period - comb.width) > _SHORT else 0.0
    ahead = [max(1, math.ceil(_TOE * tau + spare)) for tau in taus]
    teeth, settles = [], []
    high, low = comb.width, comb.period - comb.width
    for at, tau, before, room, next_before, settled in (
        (rise, taus[0], ahead[0], high, ahead[1], low - _SETTLED_TAUS * taus[1]),
        (fall, taus[1], ahead[1], low, ahead[0], high - _SETTLED_TAUS * taus[0]),
    ):
        lead = max(settled, _TOE * tau)
        # What is left of the pulse is the plateau; where little is, all of it goes into the fit.
        whole, least = room - next_before, math.ceil(_SETTLED_TAUS * tau) + 1
        after = min(math.ceil(_LONGEST_TAUS * tau + spare) + 1, int(_MOST_LEAD * whole))
        settles.append(after >= least)
        if settles[-1]:
            teeth.append(Teeth(at, period, before, after, tau, lead=lead))
        else:
            teeth.append(Teeth(at, period, before, max(1, math.ceil(whole)), tau, whole, lead))
    return Setting(teeth[0], teeth[1], taus, (settles[0], settles[1]))


def take(
    capture: Capture,
    edges: Edges,
    setting: Setting,
    left_out: tuple[Indices | None, Indices | None] = (None, None),
) -> Taken | None:
    """Read what a setting asks for; None where too few samples lie on the edges.

    Parameters
    ----------
    left_out : cycles of rising and of falling edges not to be used, each of shape (n,).
    """
    rise = edge_rows(capture.samples, capture.gaps, setting.rise, left_out[0])
    fall = edge_rows(capture.samples, capture.gaps, setting.fall, left_out[1])
    if rise is None or fall is None or not dense((rise, fall), setting.taus, _FIRST_GAP):
        return None
    plateaus = _plateaus(capture, edges, setting)
    return Taken(setting, (rise, fall), plateaus, _beliefs(capture, plateaus))


def fitted(taken: Taken, number: int, effort: Effort) -> Attempt | None:
    """The fit with one of the beliefs; None where it does not converge."""
    known = taken.beliefs[number]
    first = first_shapes(taken.setting, known, taken.plateaus)
    fit = fit_waveform(taken.rows, first, known, effort)
    return None if fit is None else Attempt(taken, fit, known)


def dense(rows: tuple[EdgeRows, EdgeRows], taus: tuple[float, float], most: float) -> bool:
    """Whether no gap between phases is wider than a share `most` of edges with such constants."""
    return all(part.gap <= most * SPAN * tau for part, tau in zip(rows, taus, strict=True))


def resolved(found: Attempt, most: float) -> bool:
    """Whether the fitted period leaves no gap wider than a share `most` of the edges."""
    fit = found.fit
    change = float(fit.values[2])
    return all(
        rows.no_gap_beyond(most * SPAN * tau, change, fit.cycle)
        for rows, tau in zip(found.taken.rows, _taus(fit), strict=True)
    )


def _plateaus(capture: Capture, edges: Edges, setting: Setting) -> tuple[Plateau, Plateau]:
    """High and low: what the settled samples say, or a guess where none settle."""
    high_margins = Margins(setting.rise.after, setting.fall.before, _MOST_LEAD)
    low_margins = Margins(setting.fall.after, setting.rise.before, _MOST_LEAD)
    pulses = settled_pulses(capture, edges, high_margins, low_margins)
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
    step = step_of(capture)
    levels = [_belief(level, step) if level.samples else None for level in found]
    middle = 0.5 * (high.value + low.value)
    simple = Known(
        levels[0], levels[1], Belief(middle, 0.0), Belief(0.0, 0.0), sigma_of(found, step), step
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


def sigma_of(found: tuple[Plateau, Plateau], step: float) -> float:
    """Scatter of single samples, never below what rounding alone makes."""
    weights = [max(1, level.samples) for level in found]
    square = sum(w * level.sigma**2 for w, level in zip(weights, found, strict=True))
    return max(math.sqrt(square / sum(weights)), step / math.sqrt(12.0))


def _ratio(high_v: float) -> float:
    """Logarithm of the ratio of both time constants of a rising edge, by the levels."""
    return math.log((_OPEN_V - _KNEE_V.value) / max(high_v - _KNEE_V.value, 0.3))


def first_shapes(
    setting: Setting, known: Known, levels: tuple[Plateau, Plateau]
) -> tuple[Shape, Shape]:
    """Shapes to begin with, of the rising and the falling edge."""
    high, low = levels[0].value, levels[1].value
    shapes = []
    for rising, tau in ((True, setting.taus[0]), (False, setting.taus[1])):
        ratio = known.ratio.value if rising else -known.ratio.value
        start, end = (low, high) if rising else (high, low)
        shape = Shape(start, end, 0.0, math.log(tau), ratio, known.knee.value, known.straight)
        shape = shape._replace(after=shape.after + math.log(tau * SPAN / shape.duration()))
        shapes.append(shape._replace(delay=-shape.crossing(0.5 * (start + end))))
    return shapes[0], shapes[1]


def better_cut(comb: Comb, found: Attempt) -> Setting | None:
    """Another cut where the first time constants or the first comb were far off, else None."""
    old, fit, rows = found.taken.setting, found.fit, found.taken.rows
    taus = _taus(fit)
    change = float(fit.values[2])
    span = 0.5 * float(np.ptp(rows[0].number))
    turned = abs(change) * span > 0.02 * min(taus)
    smeared = turned and any(bool((part.spread > 0).any()) for part in rows)
    off = any(not 0.5 < new / was < 1.25 for new, was in zip(taus, old.taus, strict=True))
    moved = any(abs(_middle(fit, up)) > 0.3 for up in (True, False))
    if not (smeared or off or moved):
        return None
    instants = [
        teeth.reference - change * fit.cycle + _middle(fit, up)
        for teeth, up in ((old.rise, True), (old.fall, False))
    ]
    return cut(comb, (instants[0], instants[1], old.rise.period + change), taus)


def _middle(fit: WaveformFit, rising: bool) -> float:
    """Crossing of the middle level after the rows' instants."""
    return fit.shape(rising).crossing(fit.shape(rising).level(0.5))


def _taus(fit: WaveformFit) -> tuple[float, float]:
    """Effective time constants, by the 10 to 90 % times."""
    return fit.shape(True).duration() / SPAN, fit.shape(False).duration() / SPAN


def step_of(capture: Capture) -> float:
    """Converter step in sample units, 0 for volts."""
    return 1.0 if capture.samples.dtype.kind in "iu" else 0.0

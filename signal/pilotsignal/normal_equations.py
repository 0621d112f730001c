"""Normal equations of the whole waveform: what all samples say of its eleven parameters.

The fit of the waveform (`waveform_fit`) goes from one set of parameters to the next by them.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pilotsignal.edge_cells import Cells, Known
from pilotsignal.edge_shape import Drawn, Shape, draw
from pilotsignal.edge_sums import EdgeCells, edge_sums
from pilotsignal.timing import Floats

PARAMETERS = (
    *("high", "low", "period"),
    *(f"{way}-{name}" for way in ("rise", "fall") for name in ("delay", "after", "ratio", "knee")),
)
SIZE = len(PARAMETERS)
# Columns of `Shape` (start, end, delay, after, ratio, knee) among the parameters.
PLACES = {True: np.array([1, 0, 3, 4, 5, 6]), False: np.array([0, 1, 7, 8, 9, 10])}
PERIOD = 2
_LOGS = frozenset((4, 5, 8, 9))
_ALL_PLACES = {up: np.array([*places, PERIOD]) for up, places in PLACES.items()}
_GRIDS = {up: np.ix_(places, places) for up, places in _ALL_PLACES.items()}
_PULL_PLACES = np.concatenate([_ALL_PLACES[up] for up in (True, False)])
_GRAM_PLACES = np.concatenate(
    [np.ravel_multi_index(_GRIDS[up], (SIZE, SIZE)).ravel() for up in (True, False)]
)


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """`Known` as the normal equations want it.

    `free` are the numbers of the parameters that are not fixed, `grid` those of their matrix,
    `logs` says which of them are logarithms. `value` and `weight`, by parameter, are uncertain
    beliefs, and `held` a matrix with the weights on its diagonal.
    """

    free: npt.NDArray[np.int64]
    grid: tuple[npt.NDArray[np.int64], ...]
    logs: npt.NDArray[np.bool_]
    value: Floats
    weight: Floats
    held: Floats
    straight: bool

    @classmethod
    def of(cls, known: Known) -> "Prior":
        """What is known of each parameter; those known for sure are not free."""
        beliefs = known.beliefs()
        fixed = {place for place, belief in beliefs if belief.u == 0.0}
        value, weight = np.zeros(SIZE), np.zeros(SIZE)
        for place, belief in beliefs:
            if belief.u > 0.0:
                value[place], weight[place] = belief.value, belief.u**-2
        free = np.array([place for place in range(SIZE) if place not in fixed], np.int64)
        logs = np.array([place in _LOGS for place in free.tolist()])
        grid = np.ix_(free, free)
        return cls(free, grid, logs, value, weight, np.diag(weight), known.straight)

    @property
    def whole(self) -> bool:
        """Whether no parameter is fixed."""
        return self.free.size == SIZE

    def moved(self, values: Floats, step: Floats) -> Floats:
        """The values, shape (11,), with the free ones a step, shape (free,), further."""
        if self.whole:
            return values + step
        there = values.copy()
        there[self.free] += step
        return there


@dataclass(frozen=True, slots=True, eq=False)
class BothEdges:
    """Cells of the rising and of the falling edge.

    `joined` has all of them in a row, where each is one sample and edges are no straight lines.
    """

    cells: list[Cells]
    joined: EdgeCells | None

    @classmethod
    def of(cls, cells: list[Cells], prior: Prior) -> "BothEdges":
        """Of the rising edge's cells and the falling edge's, in this order."""
        if prior.straight or any(part.smeared for part in cells):
            return cls(cells, None)
        rows = [(part.phase, part.cycle, part.mean, part.weight) for part in cells]
        phase, cycle, mean, weight = (np.concatenate(column) for column in zip(*rows, strict=True))
        ends = tuple(itertools.accumulate(part.phase.size for part in cells))
        return cls(cells, EdgeCells(phase, cycle, mean, weight, ends))


@dataclass(frozen=True, slots=True, eq=False)
class NormalEquations:
    """Normal equations: `gram` times step is `pull`.

    Parameters
    ----------
    gram, pull : float64, shapes (11, 11) and (11,), in the order of `PARAMETERS`.
    cost : sum of weighted squares, with what parameters are off what was known of them.
    chi2 : the samples' part of it.
    """

    gram: Floats
    pull: Floats
    cost: float
    chi2: float


def places(rising: bool) -> list[int]:
    """Numbers of the parameters of one direction's shape, in the order of `Shape`."""
    return [int(place) for place in PLACES[rising]]


def shapes_of(values: Floats, straight: bool) -> tuple[Shape, Shape]:
    """Shapes of the rising and of the falling edge by the parameters, shape (11,)."""
    high, low, _, *edges = values.tolist()
    delay, after, ratio, knee = edges[:4]
    rise = Shape(low, high, delay, after, ratio, knee, straight)
    delay, after, ratio, knee = edges[4:]
    return rise, Shape(high, low, delay, after, ratio, knee, straight)


def normal_equations(both: BothEdges, values: Floats, prior: Prior) -> NormalEquations | None:
    """Normal equations near `values`, shape (11,); None where these make no edge."""
    shapes = shapes_of(values, prior.straight)
    if not (shapes[0].sound and shapes[1].sound):
        return None
    if both.joined is not None:
        sums = edge_sums(both.joined, shapes, float(values[PERIOD]))
        # Both directions share levels and period: what falls on one place is added up.
        flat = np.bincount(_GRAM_PLACES, sums.gram.ravel(), SIZE**2).astype(np.float64, copy=False)
        push = np.bincount(_PULL_PLACES, sums.pull.ravel(), SIZE).astype(np.float64, copy=False)
        return _believed((flat.reshape(SIZE, SIZE), push, sums.chi2), values, prior)
    return _believed(_drawn_sums(both.cells, shapes, float(values[PERIOD])), values, prior)


def _drawn_sums(
    cells: list[Cells], shapes: tuple[Shape, Shape], change: float
) -> tuple[Floats, Floats, float]:
    """Sums where samples do not stand alone, by drawing every derivative."""
    gram, pull = np.zeros((SIZE, SIZE)), np.zeros(SIZE)
    chi2 = 0.0
    for part, shape in zip(cells, shapes, strict=True):
        time = part.phase - change * part.cycle
        drawn = draw(shape, time)
        if part.smeared:
            drawn = _rounded_off(drawn, shape, time, np.sqrt(12.0 * part.blur))
        rest = part.mean - drawn.value - 0.5 * part.blur * drawn.bend
        by = np.concatenate((drawn.by, (-drawn.slope * part.cycle)[None]))
        weighted = by * part.weight
        gram[_GRIDS[part.rising]] += weighted @ by.T
        pull[_ALL_PLACES[part.rising]] += weighted @ rest
        chi2 += float(np.sum(part.weight * rest**2))
        if part.tilt is not None:
            heavy = part.spread / part.sigma**2 * part.quiet * (part.weight > 0)
            lean = heavy * drawn.slope
            tilted = part.tilt + (change - part.lean) * drawn.slope
            gram[PERIOD, PERIOD] += float(np.sum(lean * drawn.slope))
            pull[PERIOD] -= float(np.sum(lean * tilted))
            chi2 += float(np.sum(heavy * tilted**2))
    return gram, pull, chi2


def _believed(found: tuple[Floats, Floats, float], values: Floats, prior: Prior) -> NormalEquations:
    """The samples' equations and their sum of squares, with what was known before."""
    gram, pull, chi2 = found
    off = prior.value - values
    push = prior.weight * off
    return NormalEquations(gram + prior.held, pull + push, chi2 + float(push @ off), chi2)


def _rounded_off(drawn: Drawn, shape: Shape, time: Floats, width: Floats | float) -> Drawn:
    """The means of cells of some width, where a corner of the shape lies inside one."""
    value, slope, by = drawn.value, drawn.slope, drawn.by
    for corner, jump in shape.corners:
        off = time - corner
        reach = np.maximum(0.5 * width - np.abs(off), 0.0)
        at = np.flatnonzero(reach > 0.0)
        across = np.broadcast_to(width, time.shape)[at]
        value[at] += jump * reach[at] ** 2 / (2.0 * across)
        change = -jump * np.sign(off[at]) * reach[at] / across
        slope[at] += change
        by[2, at] -= change
    return Drawn(value, slope, drawn.bend, by)


def newton_step(at: NormalEquations, prior: Prior, damping: float) -> tuple[Floats, float] | None:
    """Step of the free parameters, and what a straight world would gain by it.

    Parameters
    ----------
    damping : added to the diagonal, in shares of it; 0 takes the whole step.

    Returns
    -------
    float64, shape (free,), and float, or None : None where the samples leave a parameter open.
    """
    gram, pull = at.gram, at.pull
    if not prior.whole:
        gram, pull = gram[prior.grid], pull[prior.free]
    power = gram.diagonal()
    if not power.min() > 0.0:
        return None
    scale = np.sqrt(power)
    gram, pull = gram / (scale[:, None] * scale), pull / scale
    if damping > 0.0:
        gram = gram + damping * np.eye(scale.size)
    try:
        step = np.linalg.solve(gram, pull)
    except np.linalg.LinAlgError:
        return None
    if not np.isfinite(step).all():
        return None  # some parameter has all but lost its hold on the samples
    promised = float(step @ (pull + damping * step))
    return _held(step / scale, prior.logs), promised


def _held(step: Floats, logs: npt.NDArray[np.bool_]) -> Floats:
    """Time constants change by a factor of two at most in one step."""
    most = float(np.abs(step[logs]).max(initial=0.0))
    return step * min(1.0, 0.7 / most) if most > 0.7 else step

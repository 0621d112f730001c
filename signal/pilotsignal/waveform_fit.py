"""Least squares of the whole waveform: both plateaus, both edges, period, phase and width at once.

The samples around all edges, reduced to rows (`edge_rows`), and the means of what has settled are
fitted by the shape that the pilot circuit makes. Where that shape holds the
estimate is the maximum of the likelihood, whose scatter reaches the Cramer-Rao bound (`bound`).

References
----------
.. [1] S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, ch. 7 and
   8.9 (maximum likelihood, Gauss-Newton).
"""

import itertools
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pilotsignal.edge_cells import Cells, Known, cells_of, weighted
from pilotsignal.edge_rows import EdgeRows
from pilotsignal.edge_shape import Shape
from pilotsignal.edge_sums import EdgeCells
from pilotsignal.normal_equations import (
    PERIOD,
    PLACES,
    SIZE,
    BothEdges,
    NormalEquations,
    Prior,
    newton_step,
    normal_equations,
    shapes_of,
)
from pilotsignal.timing import Floats, Indices

_ROUNDS = 40
_COARSE = 0.1  # gap between phases over the time constant from which on minima are several
_UNLIKELY = 25.0  # above the lowest cost: such a minimum does not count
_SETTLED = 1e-4  # of a standard uncertainty, squared
_ALMOST = 0.1  # the same: one step more, and no need to look what it gained
_ALIKE, _SAME = 0.1, 0.5  # the same, between minima; and within which a descent ends up there
_PATIENCE, _STALLED = 6, 1e-2  # rounds, and what they must gain: the cost may have a kink
_DAMPED = 1e-2  # first damping, once a step has failed
_PLENTY, _THINNED = 1200, 4  # cells from which on the first steps look at some of them only
_GOLDEN = 0.6180339887498949


@dataclass(slots=True, eq=False)
class Effort:
    """How much may still be worked out, in cells looked at; shared by all fits of one question.

    Waveforms that no shape explains send descents from minimum to minimum. Counted work, unlike
    time, ends them at the same place on every machine.
    """

    left: int

    @property
    def spent(self) -> bool:
        """Whether nothing is left."""
        return self.left <= 0

    def take(self, cells: "list[Cells]") -> None:
        """One look at all cells."""
        self.left -= sum(part.phase.size for part in cells)


@dataclass(frozen=True, slots=True, eq=False)
class WaveformFit:
    """The fitted waveform, in sample units and sample intervals.

    Parameters
    ----------
    values : shape (11,), in the order of `PARAMETERS`; `period` is the change of the period that
        the rows were made with; delays count from the rows' instants in cycle `cycle`.
    covariance : shape (11, 11); rows and columns of fixed parameters are zero.
    cycle : middle cycle of the record.
    cost : sum of squares, with what parameters are off what was known of them.
    chi2, dof : of the cells against the model.
    shapes : of rising and of falling edges, by the values.
    """

    values: Floats
    covariance: Floats
    cycle: float
    cost: float
    chi2: float
    dof: float
    shapes: tuple[Shape, Shape]

    def shape(self, rising: bool) -> Shape:
        """Shape of the edges of one direction."""
        return self.shapes[0 if rising else 1]


def fit_waveform(
    rows: tuple[EdgeRows, EdgeRows], first: tuple[Shape, Shape], known: Known, effort: Effort
) -> WaveformFit | None:
    """Fit both directions at once.

    Parameters
    ----------
    rows : of the rising and of the falling edges.
    first : shapes of the rising and the falling edge to begin with.
    effort : is used up by it.

    Returns
    -------
    WaveformFit or None : None where it does not converge with the effort left or the samples leave
        parameters open.
    """
    rise, fall = rows
    ends = [int(part.number[place]) for part in rows for place in (0, -1)]
    middle = 0.5 * (min(ends) + max(ends))
    values = np.zeros(SIZE)
    for rising, shape in ((True, first[0]), (False, first[1])):
        values[PLACES[rising]] = shape[:6]
    for place, belief in known.beliefs():
        if belief.u == 0.0:
            values[place] = belief.value
    cells = [
        cells_of(part, (rising, shape), known, middle)
        for part, rising, shape in ((rise, True, first[0]), (fall, False, first[1]))
    ]
    prior = Prior.of(known)
    found = _converged(cells, values, (known, prior), effort)
    if found is None:
        return None
    both, best = found
    modes = [best]
    for way, rising in ((rise, True), (fall, False)):
        shape = shapes_of(best[0], known.straight)[0 if rising else 1]
        change = float(best[0][PERIOD])
        if way.no_gap_beyond(_COARSE * shape.tau_before, change, middle):
            continue
        part = both.cells[0 if rising else 1]
        modes += _beside(both, best, (prior, effort), (part, way.gap_at(change, middle)))
    return _conclude(both.cells, modes, prior, middle)


def _converged(
    cells: list[Cells], values: Floats, by: tuple[Known, Prior], effort: Effort
) -> tuple[BothEdges, tuple[Floats, NormalEquations]] | None:
    """Fit with plain weights, then with those that hold near the solution."""
    known, prior = by

    def near(values: Floats) -> list[Cells]:
        shapes = shapes_of(values, known.straight)
        return [weighted(part, shape, known) for part, shape in zip(cells, shapes, strict=True)]

    both = BothEdges.of(near(values) if any(known.jitter2) else cells, prior)
    found = _descend(both, _approached(both, values, prior), prior, effort)
    if found is None:
        return None
    again = near(found[0])
    if all(new is old for new, old in zip(again, both.cells, strict=True)):
        return both, found
    both = BothEdges.of(again, prior)
    found = _descend(both, found[0], prior, effort)
    return None if found is None else (both, found)


def _beside(
    both: BothEdges,
    best: tuple[Floats, NormalEquations],
    by: tuple[Prior, Effort],
    where: tuple[Cells, float],
) -> list[tuple[Floats, NormalEquations]]:
    """Other minima: which samples come before the generator switches decides the slopes."""
    part, gap = where
    values = best[0]
    place = PLACES[part.rising][2]
    phase = part.phase - values[PERIOD] * part.cycle
    later, sooner = phase[phase > values[place]], phase[phase < values[place]]
    found = []
    for side, off in ((later, 0.02 * gap), (sooner, -0.02 * gap)):
        if side.size == 0:
            continue
        trial = values.copy()
        trial[place] = (float(side.min()) if off > 0 else float(side.max())) + off
        other = _descend(both, trial, *by, best)
        if other is not None:
            found.append(other)
    return found


def _approached(both: BothEdges, values: Floats, prior: Prior) -> Floats:
    """Two steps by some of the cells get as near for less; where one fails, those before it."""
    if both.joined is None or any(part.phase.size < _PLENTY for part in both.cells):
        return values
    few = BothEdges(both.cells, _thinned(both.joined))
    here = normal_equations(few, values, prior)
    step = None if here is None else newton_step(here, prior, 0.0)
    if here is None or step is None:
        return values
    first = prior.moved(values, step[0])
    there = normal_equations(few, first, prior)
    step = None if there is None else newton_step(there, prior, 0.0)
    if there is None or step is None or there.cost >= here.cost:
        return values
    return prior.moved(first, step[0])


def _thinned(cells: EdgeCells) -> EdgeCells:
    """Some of the cells of each edge, placed so that no period matches, and those far from it."""
    kept: list[Indices] = []
    first = 0
    for end in cells.ends:
        some = np.arange((end - 2 - first) // _THINNED) * (_THINNED - _GOLDEN) + first
        kept.append(np.concatenate((some.astype(np.int64), (end - 2, end - 1))))
        first = end
    return cells.at(np.concatenate(kept), tuple(itertools.accumulate(part.size for part in kept)))


def _descend(
    both: BothEdges,
    values: Floats,
    prior: Prior,
    effort: Effort,
    best: tuple[Floats, NormalEquations] | None = None,
) -> tuple[Floats, NormalEquations] | None:
    """Gauss-Newton steps, damped where the ground curves (Levenberg, Marquardt).

    None where they come to no end, or to `best`, which is known already.
    """
    here = normal_equations(both, values, prior)
    damping, push = 0.0, 2.0
    costs: list[float] = []
    for _ in range(_ROUNDS):
        effort.take(both.cells)
        if here is None or effort.spent or (best is not None and _near(values, best, _SAME)):
            return None
        found = newton_step(here, prior, damping)
        if found is None:
            return None
        step, promised = found
        costs.append(here.cost)
        stalled = len(costs) > _PATIENCE and costs[-1 - _PATIENCE] - here.cost < _STALLED
        if promised < _SETTLED or (damping > 0.0 and stalled):
            return values, here
        trial = prior.moved(values, step)
        if promised < _ALMOST and damping == 0.0:
            cost, chi2 = here.cost - promised, here.chi2 - promised
            return trial, replace(here, pull=np.zeros_like(here.pull), cost=cost, chi2=chi2)
        there = normal_equations(both, trial, prior)
        gain = -1.0 if there is None else (here.cost - there.cost) / promised
        if gain > 1e-3:
            values, here, push = trial, there, 2.0
            damping *= max(1.0 / 3.0, 1.0 - (2.0 * gain - 1.0) ** 3)
            damping = damping if damping > 1e-6 else 0.0
        else:
            damping, push = max(damping * push, _DAMPED), 2.0 * push
            if damping > 1e6:
                return None
    return None


def _near(values: Floats, mode: tuple[Floats, NormalEquations], most: float) -> bool:
    """Whether values lie within a squared distance `most`, in standard uncertainties, of a mode."""
    off = values - mode[0]
    return float(off @ mode[1].gram @ off) < most


def _conclude(
    cells: list[Cells], modes: list[tuple[Floats, NormalEquations]], prior: Prior, middle: float
) -> WaveformFit | None:
    """Mean and covariance over all minima, each as likely as its cost and its width make it."""
    free, grid = prior.free, prior.grid
    best = min(modes, key=lambda mode: mode[1].cost)
    found: list[tuple[Floats, NormalEquations, Floats]] = []
    for values, normal in modes:
        if normal.cost > best[1].cost + _UNLIKELY or _known_already(values, normal, found):
            continue
        inverse = _inverse(normal.gram[grid])
        if inverse is None:
            return None
        covariance = np.zeros((SIZE, SIZE))
        covariance[grid] = inverse
        found.append((values, normal, covariance))
    values, covariance = _mixed(found, free)
    used = sum(
        int(np.count_nonzero(part.weight)) * (1 if part.tilt is None else 2) for part in cells
    )
    dof = max(1.0, float(used - free.size))
    cost, chi2 = best[1].cost, best[1].chi2
    shapes = shapes_of(values, prior.straight)
    return WaveformFit(values, covariance, middle, cost, chi2, dof, shapes)


def _known_already(
    values: Floats, normal: NormalEquations, found: list[tuple[Floats, NormalEquations, Floats]]
) -> bool:
    """Whether this is a minimum that is there already."""
    return any(_near(other, (values, normal), _ALIKE) for other, _, _ in found)


def _inverse(gram: Floats) -> Floats | None:
    scale = np.sqrt(np.diag(gram))
    try:
        inverse = np.linalg.inv(gram / np.outer(scale, scale)) / np.outer(scale, scale)
    except np.linalg.LinAlgError:
        return None
    return np.asarray(inverse) if (np.diag(inverse) > 0).all() else None


def _mixed(
    found: list[tuple[Floats, NormalEquations, Floats]], free: npt.NDArray[np.int64]
) -> tuple[Floats, Floats]:
    """Laplace's approximation, added over the minima."""
    if len(found) == 1:
        return found[0][0], found[0][2]
    sizes = [0.5 * float(np.linalg.slogdet(c[np.ix_(free, free)])[1]) for _, _, c in found]
    logs = np.array(sizes) - 0.5 * np.array([normal.cost for _, normal, _ in found])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    mean = np.asarray(sum(share * v for share, (v, _, _) in zip(shares, found, strict=True)))
    covariance = np.zeros((SIZE, SIZE))
    for share, (values, _, own) in zip(shares, found, strict=True):
        off = values - mean
        covariance += share * (own + np.outer(off, off))
    return mean, covariance

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
from pilotsignal.edge_shape import Drawn, Shape, draw
from pilotsignal.edge_sums import EdgeCells, edge_sums
from pilotsignal.timing import Floats

PARAMETERS = (
    *("high", "low", "period"),
    *(f"{way}-{name}" for way in ("rise", "fall") for name in ("delay", "after", "ratio", "knee")),
)
_SIZE = len(PARAMETERS)
# Columns of `Shape` (start, end, delay, after, ratio, knee) among the parameters.
_PLACES = {True: np.array([1, 0, 3, 4, 5, 6]), False: np.array([0, 1, 7, 8, 9, 10])}
_PERIOD = 2
_LOGS = frozenset((4, 5, 8, 9))
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
_ALL_PLACES = {up: np.array([*places, _PERIOD]) for up, places in _PLACES.items()}
_GRIDS = {up: np.ix_(places, places) for up, places in _ALL_PLACES.items()}


@dataclass(frozen=True, slots=True, eq=False)
class _Prior:
    """`Known` as the normal equations want it.

    `free` are the numbers of the parameters that are not fixed, `grid` those of their matrix,
    `logs` says which of them are logarithms. `place`, `value`, `weight`: uncertain beliefs.
    """

    free: npt.NDArray[np.int64]
    grid: tuple[npt.NDArray[np.int64], ...]
    logs: npt.NDArray[np.bool_]
    place: npt.NDArray[np.int64]
    value: Floats
    weight: Floats
    straight: bool

    @classmethod
    def of(cls, known: Known) -> "_Prior":
        beliefs = known.beliefs()
        fixed = {place for place, belief in beliefs if belief.u == 0.0}
        held = [(place, belief) for place, belief in beliefs if belief.u > 0.0]
        free = np.array([place for place in range(_SIZE) if place not in fixed], np.int64)
        return cls(
            free,
            np.ix_(free, free),
            np.array([place in _LOGS for place in free.tolist()]),
            np.array([place for place, _ in held], np.int64),
            np.array([belief.value for _, belief in held]),
            np.array([belief.u**-2 for _, belief in held]),
            known.straight,
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Normal:
    """Normal equations: `gram` times step is `pull`; `cost` is the sum of weighted squares."""

    gram: Floats
    pull: Floats
    cost: float
    chi2: float


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
    straight : edges are straight lines.
    """

    values: Floats
    covariance: Floats
    cycle: float
    cost: float
    chi2: float
    dof: float
    straight: bool

    def shape(self, rising: bool, values: Floats | None = None) -> Shape:
        """Shape of the edges of one direction, of other parameter `values` if there are any."""
        return _shape(self.values if values is None else values, rising, self.straight)


def places(rising: bool) -> list[int]:
    """Numbers of the parameters of one direction's shape, in the order of `Shape`."""
    return [int(place) for place in _PLACES[rising]]


def _shape(values: Floats, rising: bool, straight: bool) -> Shape:
    start, end, delay, after, ratio, knee = values[_PLACES[rising]].tolist()
    return Shape(start, end, delay, after, ratio, knee, straight)


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
    number = np.concatenate((rise.number[[0, -1]], fall.number[[0, -1]]))
    middle = 0.5 * float(number.min() + number.max())
    values = np.zeros(_SIZE)
    for rising, shape in ((True, first[0]), (False, first[1])):
        values[_PLACES[rising]] = shape[:6]
    for place, belief in known.beliefs():
        if belief.u == 0.0:
            values[place] = belief.value
    cells = [
        cells_of(part, (rising, shape), known, middle)
        for part, rising, shape in ((rise, True, first[0]), (fall, False, first[1]))
    ]
    prior = _Prior.of(known)
    found = _converged(cells, values, (known, prior), effort)
    if found is None:
        return None
    cells, best = found
    modes = [best]
    for way, rising in ((rise, True), (fall, False)):
        shape = _shape(best[0], rising, known.straight)
        change = float(best[0][_PERIOD])
        if way.no_gap_beyond(_COARSE * shape.tau_before, change, middle):
            continue
        part = cells[0 if rising else 1]
        modes += _beside(cells, best, (prior, effort), (part, way.gap_at(change, middle)))
    return _conclude(cells, modes, prior, middle)


def _converged(
    cells: list[Cells], values: Floats, by: tuple[Known, _Prior], effort: Effort
) -> tuple[list[Cells], tuple[Floats, _Normal]] | None:
    """Fit with plain weights, then with those that hold near the solution."""
    known, prior = by

    def near(values: Floats) -> list[Cells]:
        shapes = [_shape(values, part.rising, known.straight) for part in cells]
        return [weighted(part, shape, known) for part, shape in zip(cells, shapes, strict=True)]

    first = near(values) if any(known.jitter2) else cells
    found = _descend(first, _approached(first, values, prior), prior, effort)
    if found is None:
        return None
    again = near(found[0])
    if all(new is old for new, old in zip(again, cells, strict=True)):
        return cells, found
    found = _descend(again, found[0], prior, effort)
    return None if found is None else (again, found)


def _beside(
    cells: list[Cells],
    best: tuple[Floats, _Normal],
    by: tuple[_Prior, Effort],
    where: tuple[Cells, float],
) -> list[tuple[Floats, _Normal]]:
    """Other minima: which samples come before the generator switches decides the slopes."""
    part, gap = where
    values = best[0]
    place = _PLACES[part.rising][2]
    phase = part.phase - values[_PERIOD] * part.cycle
    later, sooner = phase[phase > values[place]], phase[phase < values[place]]
    found = []
    for side, off in ((later, 0.02 * gap), (sooner, -0.02 * gap)):
        if side.size == 0:
            continue
        trial = values.copy()
        trial[place] = (float(side.min()) if off > 0 else float(side.max())) + off
        other = _descend(cells, trial, *by, best)
        if other is not None:
            found.append(other)
    return found


def _approached(cells: list[Cells], values: Floats, prior: _Prior) -> Floats:
    """Two steps by some of the cells get as near for less; where one fails, those before it."""
    if prior.straight or any(part.phase.size < _PLENTY or part.smeared for part in cells):
        return values
    few = [_thinned(part) for part in cells]
    joined = _joined(few, prior)
    here = _normal(few, joined, values, prior)
    step = None if here is None else _step(here, prior, 0.0)
    if here is None or step is None:
        return values
    first = values.copy()
    first[prior.free] += step[0]
    there = _normal(few, joined, first, prior)
    step = None if there is None else _step(there, prior, 0.0)
    if there is None or step is None or there.cost >= here.cost:
        return values
    second = first.copy()
    second[prior.free] += step[0]
    return second


def _thinned(part: Cells) -> Cells:
    """Some of the cells, placed so that no period matches, and those far from the edge."""
    count = part.phase.size - 2
    some = np.arange(count // _THINNED)
    kept = np.append((some * (_THINNED - _GOLDEN)).astype(np.int64), (count, count + 1))
    return replace(
        part,
        phase=part.phase[kept],
        cycle=part.cycle[kept],
        mean=part.mean[kept],
        weight=part.weight[kept],
    )


def _joined(cells: list[Cells], prior: _Prior) -> EdgeCells | None:
    """All cells in a row, where each is one sample and edges are no straight lines."""
    if prior.straight or any(part.smeared for part in cells):
        return None
    rows = [(part.phase, part.cycle, part.mean, part.weight) for part in cells]
    phase, cycle, mean, weight = (np.concatenate(column) for column in zip(*rows, strict=True))
    ends = tuple(itertools.accumulate(part.phase.size for part in cells))
    return EdgeCells(phase, cycle, mean, weight, ends)


def _normal(
    cells: list[Cells], joined: EdgeCells | None, values: Floats, prior: _Prior
) -> _Normal | None:
    gram, pull = np.zeros((_SIZE, _SIZE)), np.zeros(_SIZE)
    chi2 = 0.0
    shapes = [_shape(values, part.rising, prior.straight) for part in cells]
    if not all(shape.sound for shape in shapes):
        return None
    if joined is not None:
        for part, sums in zip(
            cells, edge_sums(joined, shapes, float(values[_PERIOD])), strict=True
        ):
            gram[_GRIDS[part.rising]] += sums.gram
            pull[_ALL_PLACES[part.rising]] += sums.pull
            chi2 += sums.chi2
        return _believed(_Normal(gram, pull, chi2, chi2), values, prior)
    for part, shape in zip(cells, shapes, strict=True):
        time = part.phase - values[_PERIOD] * part.cycle
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
            tilted = part.tilt + (values[_PERIOD] - part.lean) * drawn.slope
            gram[_PERIOD, _PERIOD] += float(np.sum(lean * drawn.slope))
            pull[_PERIOD] -= float(np.sum(lean * tilted))
            chi2 += float(np.sum(heavy * tilted**2))
    return _believed(_Normal(gram, pull, chi2, chi2), values, prior)


def _believed(found: _Normal, values: Floats, prior: _Prior) -> _Normal:
    """The samples' equations with what was known before."""
    off = prior.value - values[prior.place]
    found.gram[prior.place, prior.place] += prior.weight
    found.pull[prior.place] += prior.weight * off
    cost = found.chi2 + float((prior.weight * off**2).sum())
    return _Normal(found.gram, found.pull, cost, found.chi2)


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


def _descend(
    cells: list[Cells],
    values: Floats,
    prior: _Prior,
    effort: Effort,
    best: tuple[Floats, _Normal] | None = None,
) -> tuple[Floats, _Normal] | None:
    """Gauss-Newton steps, damped where the ground curves (Levenberg, Marquardt).

    None where they come to no end, or to `best`, which is known already.
    """
    joined = _joined(cells, prior)
    here = _normal(cells, joined, values, prior)
    damping, push = 0.0, 2.0
    costs: list[float] = []
    for _ in range(_ROUNDS):
        effort.take(cells)
        if here is None or effort.spent or (best is not None and _near(values, best, _SAME)):
            return None
        found = _step(here, prior, damping)
        if found is None:
            return None
        step, promised = found
        costs.append(here.cost)
        stalled = len(costs) > _PATIENCE and costs[-1 - _PATIENCE] - here.cost < _STALLED
        if promised < _SETTLED or (damping > 0.0 and stalled):
            return values, here
        trial = values.copy()
        trial[prior.free] += step
        if promised < _ALMOST and damping == 0.0:
            cost, chi2 = here.cost - promised, here.chi2 - promised
            return trial, replace(here, pull=np.zeros_like(here.pull), cost=cost, chi2=chi2)
        there = _normal(cells, joined, trial, prior)
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


def _near(values: Floats, mode: tuple[Floats, _Normal], most: float) -> bool:
    """Whether values lie within a squared distance `most`, in standard uncertainties, of a mode."""
    off = values - mode[0]
    return float(off @ mode[1].gram @ off) < most


def _step(at: _Normal, prior: _Prior, damping: float) -> tuple[Floats, float] | None:
    """Step of the free parameters, and what a straight world would gain by it."""
    gram, pull = at.gram[prior.grid], at.pull[prior.free]
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


def _conclude(
    cells: list[Cells], modes: list[tuple[Floats, _Normal]], prior: _Prior, middle: float
) -> WaveformFit | None:
    """Mean and covariance over all minima, each as likely as its cost and its width make it."""
    free, grid = prior.free, prior.grid
    best = min(modes, key=lambda mode: mode[1].cost)
    found: list[tuple[Floats, _Normal, Floats]] = []
    for values, normal in modes:
        if normal.cost > best[1].cost + _UNLIKELY or _known_already(values, normal, found):
            continue
        inverse = _inverse(normal.gram[grid])
        if inverse is None:
            return None
        covariance = np.zeros((_SIZE, _SIZE))
        covariance[grid] = inverse
        found.append((values, normal, covariance))
    values, covariance = _mixed(found, free)
    used = sum(
        int(np.count_nonzero(part.weight)) * (1 if part.tilt is None else 2) for part in cells
    )
    dof = max(1.0, float(used - free.size))
    cost, chi2 = best[1].cost, best[1].chi2
    return WaveformFit(values, covariance, middle, cost, chi2, dof, prior.straight)


def _known_already(
    values: Floats, normal: _Normal, found: list[tuple[Floats, _Normal, Floats]]
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
    found: list[tuple[Floats, _Normal, Floats]], free: npt.NDArray[np.int64]
) -> tuple[Floats, Floats]:
    """Laplace's approximation, added over the minima."""
    if len(found) == 1:
        return found[0][0], found[0][2]
    sizes = [0.5 * float(np.linalg.slogdet(c[np.ix_(free, free)])[1]) for _, _, c in found]
    logs = np.array(sizes) - 0.5 * np.array([normal.cost for _, normal, _ in found])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    mean = np.asarray(sum(share * v for share, (v, _, _) in zip(shares, found, strict=True)))
    covariance = np.zeros((_SIZE, _SIZE))
    for share, (values, _, own) in zip(shares, found, strict=True):
        off = values - mean
        covariance += share * (own + np.outer(off, off))
    return mean, covariance

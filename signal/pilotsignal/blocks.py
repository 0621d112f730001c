"""Whether one value per period stays what it was: blocks of periods against each other.

A record is cut into equal blocks of periods; the mean of each is a point of a short series.  What
may happen (a step, a stretch that differs, a drift, a kink) is one linear functional of that series
each, orthogonal to what may be there anyhow (a constant, or a line).  All are worked out
at once, at two sizes of block, and the one furthest beyond its own noise is looked at.  Only what
lies beyond noise and what the sampling may feign together counts.

References
----------
.. [1] Kay, Fundamentals of Statistical Signal Processing: Detection Theory, 1998, 7.4 and 12.2
   (generalised likelihood ratio, unknown instant of a change).
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import stdtrit

from pilotsignal.placing import confirmed, placed
from pilotsignal.series import Finding, Kind, Series, feigned, scatter
from pilotsignal.timing import Floats, Indices

# One test in 1e9 alone. Some 1,200 functionals of three to five series are looked at, hardly any
# two of them independent.
_FALSE_ALARM: Final = 1e-9
_FINE, _COARSE = 48, 8  # blocks; six fine ones make a coarse one
_LEAST: Final = 12  # periods below which nothing can be said


def strongest(series: Series, kinds: tuple[Kind, ...]) -> Finding | None:
    """What happens most clearly, or None where nothing is certain.

    Parameters
    ----------
    kinds : looked for; ``drift`` and ``stretch`` beside a constant, ``step``, ``kink`` and ``bend``
        beside a line.

    Notes
    -----
    False alarms: below 1e-5 per record over all series (shown by the tests).
    """
    if series.value.size < _LEAST:
        return None
    noise, dof = scatter(series)
    limit = float(stdtrit(dof, 1.0 - _FALSE_ALARM))
    sums = _Sums.of(series)
    found = []
    for count in (_FINE, _COARSE) if series.value.size >= 4 * _FINE else (_COARSE,):
        blocks = _Blocks.of(series, sums, count)
        if blocks.reach <= limit * noise:
            break  # coarse blocks reach no further than the fine ones that they are made of
        looks = (_look(series, blocks, _Look(kind, noise, limit)) for kind in kinds)
        found += [candidate for candidate in looks if candidate is not None]
    for candidate in sorted(found, key=lambda one: -abs(one.score)):
        there = placed(series, candidate)
        if confirmed(series, there, noise, limit):
            return there
    return None


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """Running sums of a series, by which any block's mean costs two look-ups."""

    first: int
    span: int
    total: Floats

    @classmethod
    def of(cls, series: Series) -> "_Sums":
        first = int(series.cycle[0])
        span = int(series.cycle[-1]) - first + 1
        size = series.value.size
        total = np.zeros(size + 1)
        np.cumsum(series.value - float(series.value.sum()) / size, out=total[1:])
        return cls(first, span, total)

    def cuts(self, series: Series, blocks: int) -> Indices:
        """Where the blocks begin and end in the arrays, shape (blocks + 1,)."""
        bounds = np.arange(blocks + 1) * self.span // blocks
        if self.span == series.cycle.size:
            return bounds  # no period is missing
        return series.cycle.searchsorted(self.first + bounds)


@dataclass(frozen=True, slots=True)
class _Look:
    kind: Kind
    noise: float
    limit: float


@dataclass(frozen=True, slots=True, eq=False)
class _Blocks:
    span: int
    cuts: Indices
    held: bytes
    counts: Floats
    means: Floats

    @classmethod
    def of(cls, series: Series, sums: _Sums, blocks: int) -> "_Blocks":
        cuts = sums.cuts(series, blocks)
        counts = (cuts[1:] - cuts[:-1]).astype(np.float64)
        at = sums.total[cuts]
        parts = at[1:] - at[:-1]
        held = counts > 0
        if not held.all():
            counts, parts = counts[held], parts[held]
        means = parts / counts
        return cls(sums.span, cuts, held.tobytes(), counts, means)

    @property
    def number(self) -> int:
        """How many there are, empty ones included."""
        return self.cuts.size - 1

    @property
    def reach(self) -> float:
        """What no functional's size over its error can exceed, times the noise of a period.

        By the inequality of Cauchy and Schwarz, as all are blind to a constant.
        """
        total = self.counts * self.means
        off = self.means - float(total.sum() / self.counts.sum())
        return float(np.sqrt((off * off * self.counts).sum()))


def _look(series: Series, blocks: _Blocks, look: _Look) -> Finding | None:
    table = functionals(blocks.number, look.kind, blocks.held)
    if table.weights.shape[0] == 0:
        return None
    sizes = table.sizes(blocks.means)
    errors = look.noise * _errors(blocks.number, look.kind, blocks.held, blocks.counts.tobytes())
    scores = sizes / errors
    above = np.abs(scores)
    if float(above.max()) <= look.limit:
        return None
    best = _plainest(above, table.places, blocks.number, look.limit)
    size, u = float(sizes[best]), float(errors[best])
    if abs(size) <= look.limit * u:
        return None
    scale = blocks.number / blocks.span if look.kind == "kink" else 1.0
    floor = series.floor if look.kind != "kink" else 0.0
    enough = abs(size) - floor - look.limit * u
    bound = _of_blocks(series, blocks, table.weights[best], enough) + floor
    if abs(size) <= bound + look.limit * u:
        return None
    begin, end = (int(place) for place in table.places[best])
    cuts = blocks.cuts
    return Finding(
        look.kind,
        int(cuts[begin]),
        int(cuts[end]),
        size * scale,
        u * scale,
        bound * scale,
        float(scores[best]),
    )


def _plainest(scores: Floats, places: Indices, number: int, limit: float) -> int:
    """The highest score; one that ends with the record, if a second place of change adds little."""
    best = int(np.argmax(scores))
    single = np.where((places[:, 0] == 0) | (places[:, 1] == number), scores, 0.0)
    plain = int(np.argmax(single))
    return plain if single[plain] ** 2 > scores[best] ** 2 - 2.0 * limit**2 else best


def _of_blocks(series: Series, blocks: _Blocks, weights: Floats, enough: float) -> float:
    if series.variation == 0.0:
        return 0.0
    each = np.zeros(blocks.number)
    each[np.frombuffer(blocks.held, bool)] = weights / blocks.counts
    return feigned(series, np.repeat(each, np.diff(blocks.cuts)), enough)


@dataclass(frozen=True, slots=True, eq=False)
class Functionals:
    """Linear functionals of block means.

    Parameters
    ----------
    weights : float64, shape (functionals, blocks): the product with the means is the size.
    places : int64, shape (functionals, 2): first block concerned and the one after the last.
    power : float64, shape (functionals,), of stretches among blocks of which none is empty.
    """

    weights: Floats
    places: Indices
    power: Floats | None

    def sizes(self, means: Floats) -> Floats:
        """Product of weights and means."""
        if self.power is None:
            # No BLAS: for products of this size it wakes a pool of threads.
            return np.asarray(np.einsum("ij,j->i", self.weights, means))
        reach = np.zeros(means.size + 1)
        np.cumsum(means - float(means.sum()) / means.size, out=reach[1:])
        change = reach[self.places[:, 1]]
        change -= reach[self.places[:, 0]]
        change /= self.power
        return np.asarray(change)


@lru_cache(maxsize=64)
def functionals(blocks: int, kind: Kind, held: bytes) -> Functionals:
    """Table for blocks of which `held` (bytes of a bool array) says which have any period."""
    mask = np.frombuffer(held, dtype=bool)
    centre = (np.arange(blocks) + 0.5)[mask]
    shapes, places = _shapes(blocks, kind)
    shapes = shapes[:, mask]
    anyhow = np.ones((1, centre.size))
    if kind in ("step", "kink", "bend"):
        anyhow = np.vstack((anyhow, centre))
    rest = shapes - shapes @ np.linalg.pinv(anyhow) @ anyhow
    power = np.einsum("ij,ij->i", rest, rest)
    enough = power > 1e-6 * max(1.0, float(np.max(shapes**2, initial=0.0)))
    weights = rest[enough] / power[enough, None]
    whole = kind == "stretch" and bool(mask.all())
    return Functionals(weights, places[enough], power[enough] if whole else None)


@lru_cache(maxsize=64)
def _errors(blocks: int, kind: Kind, held: bytes, counts: bytes) -> Floats:
    """Standard uncertainty of each functional for periods with a scatter of one.

    `counts` are the bytes of the blocks' counts: records of like length share them.
    """
    weights = functionals(blocks, kind, held).weights
    return np.asarray(np.sqrt(weights**2 @ (1.0 / np.frombuffer(counts))))


def _shapes(blocks: int, kind: Kind) -> tuple[Floats, Indices]:
    """What happens, drawn over the blocks, with where it begins and ends."""
    at = np.arange(blocks) + 0.5
    whole = np.array([[0, blocks]], np.int64)
    if kind == "drift":
        return (at / blocks)[None, :], whole
    if kind == "bend":
        return (4.0 * (at / blocks) ** 2)[None, :], whole
    inner = np.arange(1, blocks)
    if kind == "stretch":
        begin, end = np.triu_indices(blocks + 1, 1)
        places = np.column_stack((begin, end))[end - begin < blocks].astype(np.int64)
        drawn = (at > places[:, :1]) & (at < places[:, 1:])
        return drawn.astype(np.float64), places
    places = np.column_stack((inner, np.full(inner.size, blocks))).astype(np.int64)
    late = at[None, :] - inner[:, None]
    return ((late > 0).astype(np.float64) if kind == "step" else np.maximum(late, 0.0)), places

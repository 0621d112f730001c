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

import math
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
    sums = _Sums.of(series)
    first = _Blocks.of(series, sums, _FINE if series.value.size >= 4 * _FINE else _COARSE)
    kinds = first.may_exceed(series.floor, kinds)
    if not kinds:
        return None
    noise, dof = scatter(series)
    limit = float(stdtrit(dof, 1.0 - _FALSE_ALARM))
    found = _found(series, first, kinds, (noise, limit))
    if found and first.number == _FINE:
        found += _found(series, _Blocks.of(series, sums, _COARSE), kinds, (noise, limit))
    for candidate in sorted(found, key=lambda one: -abs(one.score)):
        there = placed(series, candidate)
        if confirmed(series, there, noise, limit):
            return there
    return None


def _found(
    series: Series, blocks: "_Blocks", kinds: tuple[Kind, ...], by: tuple[float, float]
) -> list[Finding]:
    """What stands out of the noise, by its scatter and the limit in standard deviations."""
    noise, limit = by
    if blocks.reach <= limit * noise:
        return []
    looks = [_Look.at(blocks, kind, noise) for kind in kinds]
    seen = [_seen(series, blocks, look, limit) for look in looks if look.top > limit]
    return [finding for finding in seen if finding is not None]


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
        (series.value - float(series.value.sum()) / size).cumsum(out=total[1:])
        return cls(first, span, total)

    def layout(self, series: Series, blocks: int) -> "_Layout":
        """Where the blocks begin and end in the arrays."""
        if self.span == series.cycle.size:
            return _even(self.span, blocks)  # no period is missing
        bounds = np.arange(blocks + 1) * self.span // blocks
        return _Layout.of(series.cycle.searchsorted(self.first + bounds))


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """Blocks by where they begin and end in the arrays.

    Parameters
    ----------
    cuts : int64, shape (blocks + 1,).
    held : bytes of a bool array: which blocks have any period.
    counts : float64: periods of each that has any.
    key : bytes of `counts`.
    """

    cuts: Indices
    held: bytes
    counts: Floats
    key: bytes

    @classmethod
    def of(cls, cuts: Indices) -> "_Layout":
        sizes = cuts[1:] - cuts[:-1]
        held = sizes > 0
        counts = sizes[held].astype(np.float64)
        return cls(cuts, held.tobytes(), counts, counts.tobytes())


@lru_cache(maxsize=64)
def _even(periods: int, blocks: int) -> _Layout:
    """So many periods, none missing, in blocks of one size."""
    return _Layout.of(np.arange(blocks + 1) * periods // blocks)


@dataclass(frozen=True, slots=True, eq=False)
class _Blocks:
    span: int
    layout: _Layout
    means: Floats

    @classmethod
    def of(cls, series: Series, sums: _Sums, blocks: int) -> "_Blocks":
        layout = sums.layout(series, blocks)
        at = sums.total[layout.cuts]
        parts = at[1:] - at[:-1]
        if parts.size != layout.counts.size:
            parts = parts[np.frombuffer(layout.held, bool)]
        return cls(sums.span, layout, parts / layout.counts)

    @property
    def number(self) -> int:
        """How many there are, empty ones included."""
        return self.layout.cuts.size - 1

    def may_exceed(self, floor: float, kinds: tuple[Kind, ...]) -> tuple[Kind, ...]:
        """Those of the kinds whose size may exceed a floor.

        Stretches differ by no more than the means do.  A straight line through values between 0
        and 1 rises by 1.5 at most, little more by blocks.
        """
        span = float(self.means.max()) - float(self.means.min())
        most = {"stretch": span, "drift": 1.6 * span}
        return tuple(kind for kind in kinds if most.get(kind, math.inf) > floor)

    @property
    def reach(self) -> float:
        """What no functional's size over its error can exceed, times the noise of a period.

        By the inequality of Cauchy and Schwarz, as all are blind to a constant.
        """
        counts = self.layout.counts
        off = self.means - float((counts * self.means).sum() / counts.sum())
        off *= off
        return math.sqrt(float((off * counts).sum()))


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """Everything of one kind that may be in some blocks.

    Parameters
    ----------
    sizes, errors : float64, shape (functionals,): of each, and its standard uncertainty.
    top : highest size over uncertainty, 0 where there is no functional.
    """

    kind: Kind
    table: "Functionals"
    sizes: Floats
    errors: Floats
    top: float

    @classmethod
    def at(cls, blocks: _Blocks, kind: Kind, noise: float) -> "_Look":
        layout = blocks.layout
        table = functionals(blocks.number, kind, layout.held)
        sizes = table.sizes(blocks.means)
        errors = noise * _errors(blocks.number, kind, layout.held, layout.key)
        return cls(kind, table, sizes, errors, float(np.abs(sizes / errors).max(initial=0.0)))


def _seen(series: Series, blocks: _Blocks, look: _Look, limit: float) -> Finding | None:
    """What stands out most, if the sampling alone could not feign it."""
    scores = look.sizes / look.errors
    places = look.table.places
    best = _plainest(np.abs(scores), places, blocks.number, limit)
    size, u = float(look.sizes[best]), float(look.errors[best])
    if abs(size) <= limit * u:
        return None
    scale = blocks.number / blocks.span if look.kind == "kink" else 1.0
    floor = series.floor if look.kind != "kink" else 0.0
    enough = abs(size) - floor - limit * u
    bound = _of_blocks(series, blocks, look.table.weights[best], enough) + floor
    if abs(size) <= bound + limit * u:
        return None
    begin, end = (int(place) for place in places[best])
    cuts = blocks.layout.cuts
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
    best = int(scores.argmax())
    single = np.where((places[:, 0] == 0) | (places[:, 1] == number), scores, 0.0)
    plain = int(single.argmax())
    return plain if single[plain] ** 2 > scores[best] ** 2 - 2.0 * limit**2 else best


def _of_blocks(series: Series, blocks: _Blocks, weights: Floats, enough: float) -> float:
    if series.variation == 0.0:
        return 0.0
    layout = blocks.layout
    each = np.repeat(weights / layout.counts, layout.counts.astype(np.int64))
    return feigned(series, each, enough)


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
        (means - float(means.sum()) / means.size).cumsum(out=reach[1:])
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

"""Crossings of a level by a folded edge, with what noise and the folded gap leave open.

Around the level a cubic is fitted to the folded samples where they are dense enough; elsewhere the
two neighbours of the crossing bound it, and a straight line between them is the estimate.

References
----------
.. [1] IEEE Std 181-2011, 5.3: reference level instants, transition duration between 10 % and 90 %.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pilotsignal.folded_edges import EdgeSamples, FoldedEdge
from pilotsignal.timing import Floats

_REACHES = (0.30, 0.18, 0.10, 0.05)
_ENOUGH = 6
_PLENTY = 16
# The best of several fits looks better than it is; over many seeds its scatter was up to 1.3 times
# what it claimed.
_CHOICE = 1.3
_SHAPES = 6  # terms of the polynomial that stands for any shape of an edge


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """Where a folded edge passes a level, in sample intervals after the comb's edge.

    Parameters
    ----------
    phase : the instant.
    u : standard uncertainty from noise.
    dof : degrees of freedom of `u`.
    bound : half width of what the folded gap leaves open.
    gap : the largest gap in folded phase around the crossing.
    resolved : whether samples lie on the edge itself.
    slope : of the fit at the crossing, in sample units per sample interval.
    poly : cubic through the edge, highest power first, in ``phase - origin``; empty if unresolved.
    origin : see `poly`.
    reach : lowest and highest phase that the fit covers.
    cycle : how many cycles after cycle 0 the samples lie that tell it: a period that is too long
        by some amount makes the phase too short by that many times the amount.
    """

    phase: float
    u: float
    dof: float
    bound: float
    gap: float
    resolved: bool
    slope: float
    poly: Floats
    origin: float
    reach: tuple[float, float]
    cycle: float


@dataclass(frozen=True, slots=True)
class Swing:
    """The edge's own levels: from `start` to `end`, with noise `sigma`, in sample units."""

    start: float
    end: float
    sigma: float

    def share(self, level: float) -> float:
        """Fraction of one level."""
        return (level - self.start) / (self.end - self.start)

    def fraction(self, value: Floats) -> Floats:
        """0 at the start, 1 at the end; shape as given."""
        return (value - self.start) / (self.end - self.start)


def crossing(edge: FoldedEdge, level: float, swing: Swing) -> Crossing | None:
    """Instant at which the folded edge passes `level`.

    Parameters
    ----------
    edge : shape (n,) bins in order of phase.
    level : in sample units.

    Returns
    -------
    Crossing or None : None where the edge never passes the level.
    """
    above = np.sign(swing.end - swing.start) * (edge.value - level) > 0
    if edge.phase.size < 2 or above.all() or not above.any():
        return None
    # The split that puts most samples on their right side; noise near the level cannot fool it.
    balance = np.cumsum(np.where(above, edge.count, -edge.count))
    last = min(int(np.argmin(balance)), edge.phase.size - 2)
    if above[last]:
        return None
    target = swing.share(level)
    fits = [_between(edge, level, swing, last)]
    for widest in _REACHES:
        # Kept off the corners, where an edge leaves its plateau and no cubic follows.
        reach = min(widest, 0.85 * target, 0.85 * (1.0 - target))
        near = _contiguous(np.abs(swing.fraction(edge.value) - target) <= reach, last)
        if near.stop - near.start >= _ENOUGH:
            fits += _cubic(edge, level, swing, near, fits[0])
    # A wide fit averages more noise, a narrow one follows a knee: the smaller doubt wins.
    return min(fits, key=lambda found: found.u**2 + found.bound**2 / 3.0)


def _contiguous(good: npt.NDArray[np.bool_], last: int) -> slice:
    """Longest run of good bins that holds the two neighbours of the crossing."""
    start, stop = last + 1, last + 1
    while start > 0 and good[start - 1]:
        start -= 1
    while stop < good.size and good[stop]:
        stop += 1
    return slice(start, stop)


def _cubic(
    edge: FoldedEdge, level: float, swing: Swing, near: slice, line: Crossing
) -> list[Crossing]:
    """The fit, or nothing where it has no root in reach."""
    phase, value, count = edge.phase[near], edge.value[near], edge.count[near]
    origin = 0.5 * float(phase[0] + phase[-1])
    reach = 0.5 * float(phase[-1] - phase[0])
    degree = 3 if phase.size >= 8 else 2
    powers = np.arange(degree, -1, -1)
    scaled = (phase - origin) / reach
    design = np.vander(scaled, degree + 1)
    weight = np.sqrt(count)[:, None]
    inverse = np.linalg.pinv(design * weight)
    factors = inverse @ (value * weight[:, 0])
    root = _root([*factors[:-1], factors[-1] - level], (line.phase - origin) / reach)
    if root is None:
        return []
    slope = float(np.polyval(np.polyder(factors), root)) / reach
    tilt = np.polyval(np.polyder(factors), scaled) / reach
    misfit = (value - design @ factors) * weight[:, 0]
    sigma = max(swing.sigma, float(np.sqrt(np.sum(misfit**2) / (phase.size - degree - 0.5))))
    spread = (root**powers) @ inverse
    gap = float(np.diff(edge.phase[max(0, near.start - 1) : near.stop + 1]).max())
    bend = abs(float(np.polyval(np.polyder(factors, 2), root))) / reach**2
    bound = gap**2 * bend / (8.0 * abs(slope))
    # A straight line between the neighbours is no estimate, but it shows where no cubic follows.
    shape = abs(line.phase - origin - root * reach) - 2.0 * line.u
    bound = min(0.5 * gap + max(0.0, shape - gap), max(bound, shape))
    if phase.size < _PLENTY:
        bound = max(bound, 0.5 * gap)  # so few samples do not show what shape lies between them
    found = Crossing(
        origin + root * reach,
        _CHOICE * sigma * float(np.sqrt(spread @ spread)) / abs(slope),
        max(1.0, float(phase.size) - degree - 1.0),
        bound,
        gap,
        True,
        slope,
        factors / reach ** powers.astype(np.float64),
        origin,
        (float(phase[0]), float(phase[-1])),
        float((spread * weight[:, 0]) @ (edge.cycle[near] * tilt)) / slope,
    )
    return [found]


def _root(poly: list[float], start: float) -> float | None:
    """Root inside the fit by Newton's rule, from where a straight line has it."""
    at = min(max(start, -1.0), 1.0)
    for _ in range(30):
        value = slope = 0.0
        for factor in poly:
            slope = slope * at + value
            value = value * at + float(factor)
        if slope == 0.0:
            return None
        step = value / slope
        at -= step
        if abs(step) < 1e-13:
            break
    return at if abs(at) <= 1.0 else None


def _between(edge: FoldedEdge, level: float, swing: Swing, last: int) -> Crossing:
    """Straight line between the neighbours, or the middle of the gap if both are on plateaus."""
    left, right = float(edge.phase[last]), float(edge.phase[last + 1])
    ends = swing.fraction(edge.value[last : last + 2])
    gap = right - left
    slope = float(edge.value[last + 1] - edge.value[last]) / gap
    noise = swing.sigma / float(np.sqrt(edge.count[last : last + 2].min()))
    quiet = abs(4.0 * noise / (swing.end - swing.start)) + 0.02
    if slope == 0.0 or (ends[0] < quiet and ends[1] > 1.0 - quiet):
        at = 0.5 * (left + right)
    else:
        share = (level - edge.value[last]) / (edge.value[last + 1] - edge.value[last])
        at = left + gap * float(np.clip(share, 0.0, 1.0))
    # Not the neighbours' own slope: where bins are dense that is noise over next to nothing.
    u = min(noise / _secant(edge, last, 8.0 * noise), float(edge.phase[-1] - edge.phase[0]))
    dof = max(1.0, float(edge.count[last : last + 2].sum()) - 2.0)
    cycle = float(np.interp(at, (left, right), edge.cycle[last : last + 2]))
    return Crossing(at, u, dof, 0.5 * gap, gap, False, slope, np.empty(0), at, (left, right), cycle)


def _secant(edge: FoldedEdge, last: int, clear: float) -> float:
    """Slope between the nearest bins around the crossing that differ by more than the noise."""
    most = min(last + 1, edge.phase.size - last - 1)
    after, before = slice(last + 1, last + 1 + most), slice(last + 1 - most, last + 1)
    rise = np.abs(edge.value[after] - edge.value[before][::-1])
    run = edge.phase[after] - edge.phase[before][::-1]
    nearest = int(np.argmax(rise > clear)) if (rise > clear).any() else most - 1
    return float(max(rise[nearest], 1e-300) / run[nearest])


@dataclass(frozen=True, slots=True)
class PeriodStep:
    """What one direction's edges say of the period, in sample intervals.

    Parameters
    ----------
    pull, leverage : the change of the period is their ratio; its variance is one over `leverage`.
    """

    pull: float
    leverage: float


def period_step(
    edges: EdgeSamples, fitted: Crossing, at: float, period: float, sigma: float
) -> PeriodStep:
    """One Gauss-Newton step for the period, the edge's shape being unknown as well.

    A period that is off by ``d`` adds ``-d k g'`` to the samples of cycle k.  Where cycle and phase
    go together, as with sampling that is almost locked, a slower edge would do the same: only what
    no shape explains counts, hence the projection on what polynomials of the
    phase leave.
    """
    phase = edges.phase(at, period)
    inside = (phase >= fitted.reach[0]) & (phase <= fitted.reach[1])
    time = phase[inside] - fitted.origin
    rest = edges.value[inside] - _horner(fitted.poly, time)
    if time.size <= _SHAPES:
        return PeriodStep(0.0, 0.0)
    near = np.abs(rest) <= 8.0 * float(np.median(np.abs(rest))) + 1e-12  # no spike tilts it
    time, rest = time[near], rest[near]
    cycle = np.broadcast_to(edges.cycle[:, None], phase.shape)[inside][near].astype(np.float64)
    tilt = _horner(np.asarray(np.polyder(fitted.poly), np.float64), time)
    column = -(cycle - cycle.mean()) * tilt
    half = 0.5 * (fitted.reach[1] - fitted.reach[0])
    scaled = (time + fitted.origin - fitted.reach[0]) / half - 1.0
    shapes = np.polynomial.chebyshev.chebvander(scaled, _SHAPES - 1)
    variance = max(sigma, 1e-9 * abs(fitted.slope)) ** 2
    # No shape departs from the fit by more than the fit's own rise: a prior as wide as half of it.
    loose = variance / (0.5 * fitted.slope * half) ** 2
    gram = np.linalg.inv(shapes.T @ shapes + loose * np.eye(_SHAPES))
    left = column - shapes @ (gram @ (shapes.T @ column))
    return PeriodStep(float(np.dot(left, rest)) / variance, float(np.dot(left, column)) / variance)


@dataclass(frozen=True, slots=True, eq=False)
class Offsets:
    """How late single edges are against the folded one, in sample intervals.

    Parameters
    ----------
    cycle : int64, shape (n,): edges with at least one sample on the fitted stretch.
    late : float64, shape (n,).
    weight : float64, shape (n,): one over the variance that the noise gives each.
    """

    cycle: npt.NDArray[np.int64]
    late: Floats
    weight: Floats


def edge_offsets(
    edges: EdgeSamples, fitted: Crossing, at: float, period: float, sigma: float
) -> Offsets:
    """One Gauss-Newton step for the time of each single edge.

    With ``v(t) = g(t - late)`` near the level, the least-squares step is
    ``late = -sum(g' (v - g)) / sum(g'^2)``.
    """
    phase = edges.phase(at, period)
    inside = (phase >= fitted.reach[0]) & (phase <= fitted.reach[1])
    time = np.where(inside, phase - fitted.origin, 0.0)
    shape = _horner(fitted.poly, time)
    slope = np.where(inside, _horner(np.asarray(np.polyder(fitted.poly), np.float64), time), 0.0)
    power = np.einsum("ij,ij->i", slope, slope)
    pull = np.einsum("ij,ij->i", slope, edges.value - shape)
    usable = power > 0.05 * fitted.slope**2
    variance = max(sigma, 1e-9 * abs(fitted.slope)) ** 2
    return Offsets(edges.cycle[usable], -pull[usable] / power[usable], power[usable] / variance)


def _horner(poly: Floats, time: Floats) -> Floats:
    value = np.full_like(time, poly[0])
    for factor in poly[1:]:
        value *= time
        value += factor
    return value

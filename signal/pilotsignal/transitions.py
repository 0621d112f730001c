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

from pilotsignal.fold import EdgeSamples, FoldedEdge
from pilotsignal.timing import Floats

_REACHES = (0.30, 0.18, 0.10, 0.05)
_ENOUGH = 6
_PLENTY = 16
# The best of several fits looks better than it is; over many seeds its scatter was up to 1.3 times
# what it claimed.
_CHOICE = 1.3


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
        """0 at the start, 1 at the end."""
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
    origin = float(np.interp(0.5, [0.0, 1.0], [phase[0], phase[-1]]))
    reach = 0.5 * float(phase[-1] - phase[0])
    degree = 3 if phase.size >= 8 else 2
    powers = np.arange(degree, -1, -1)
    scaled = (phase - origin) / reach
    design = scaled[:, None] ** powers
    weight = np.sqrt(count)[:, None]
    inverse = np.linalg.pinv(design * weight)
    factors = inverse @ (value * weight[:, 0])
    root = _root(np.concatenate((factors[:-1], factors[-1:] - level)), scaled, value - level)
    if root is None:
        return []
    slope = float(np.polyval(np.polyder(factors), root)) / reach
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
    )
    return [found]


def _root(poly: Floats, scaled: Floats, rest: Floats) -> float | None:
    """Root inside the fit, nearest to where a straight line through the bins has it."""
    slope, offset = np.polyfit(scaled, rest, 1)
    roots = np.roots(poly)
    real = roots[np.abs(roots.imag) < 1e-9].real
    real = real[np.abs(real) <= 1.0]
    if real.size == 0:
        return None
    return float(real[np.argmin(np.abs(real + offset / slope))])


def _between(edge: FoldedEdge, level: float, swing: Swing, last: int) -> Crossing:
    """Straight line between the neighbours, or the middle of the gap if both are on plateaus."""
    left, right = float(edge.phase[last]), float(edge.phase[last + 1])
    ends = swing.fraction(edge.value[last : last + 2])
    gap = right - left
    slope = float(edge.value[last + 1] - edge.value[last]) / gap
    noise = swing.sigma / float(np.sqrt(edge.count[last : last + 2].min()))
    quiet = abs(4.0 * noise / (swing.end - swing.start)) + 0.02
    if ends[0] < quiet and ends[1] > 1.0 - quiet:
        at = 0.5 * (left + right)
    else:
        share = (level - edge.value[last]) / (edge.value[last + 1] - edge.value[last])
        at = left + gap * float(np.clip(share, 0.0, 1.0))
    u = min(noise / abs(slope), 0.5 * gap)
    dof = max(1.0, float(edge.count[last : last + 2].sum()) - 2.0)
    return Crossing(at, u, dof, 0.5 * gap, gap, False, slope, np.empty(0), at, (left, right))


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

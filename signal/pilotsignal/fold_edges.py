"""One transition of a folded waveform: reference level instants and transition duration.

Terms are those of IEEE Std 181-2011 and IEC 60469:2013: state level, waveform amplitude, reference
level instant, transition duration.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from pilotsignal.timing import Floats

_REACHES: Final = (0.8, 0.4, 0.2)  # of the way to the nearer state level that a fit covers
_SHAPE: Final = 0.002  # of the duration: what cubics leave of exponentials and ringing edges
_ENOUGH: Final = 6  # bins for a fit


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Bins around one transition.

    Parameters
    ----------
    time : float64, shape (n,), rising: us after the middle of the transition.
    volts, u : float64, shape (n,): mean and its standard uncertainty from noise.
    start_v, end_v : state levels before and after it.
    u_level : standard uncertainty of the state levels from noise, in V.
    gap : largest distance between samples on and around the transition, us.
    """

    time: Floats
    volts: Floats
    u: Floats
    start_v: float
    end_v: float
    u_level: float
    gap: float

    @property
    def amplitude(self) -> float:
        """End level less start level, with sign."""
        return self.end_v - self.start_v

    def share(self) -> Floats:
        """0 at the start level, 1 at the end level; overshoot lies above 1."""
        return (self.volts - self.start_v) / self.amplitude

    def level(self, share: float) -> float:
        """Volts at a share of the amplitude."""
        return self.start_v + share * self.amplitude


@dataclass(frozen=True, slots=True)
class Read:
    """A number read off a transition: standard uncertainty from noise, half width of the rest."""

    value: float
    u: float
    dof: float
    bound: float


def instant(edge: Stretch, share: float) -> Read | None:
    """Reference level instant in us.

    A cubic through the bins near the level where there are enough, over as wide a stretch as noise
    and shape together like best; else a straight line between the neighbours, whose gap is then in
    doubt.

    Returns
    -------
    Read or None : None where the level is not passed.
    """
    shares = edge.share()
    last = _passes(shares, share)
    if last is None:
        return None
    found = [_between(edge, share, last)]
    for reach in _REACHES:
        near = _near(shares, share, last, reach * min(share, 1.0 - share))
        if near.stop - near.start >= _ENOUGH and (fit := _cubic(edge, share, near)) is not None:
            found.append(fit)
    return min(found, key=lambda read: read.u**2 + read.bound**2 / 3.0)


def _near(shares: Floats, share: float, last: int, reach: float) -> slice:
    """Longest run of bins around a crossing that lie near its level."""
    begin, end = last + 1, last
    while begin > 0 and abs(shares[begin - 1] - share) < reach:
        begin -= 1
    while end + 1 < shares.size and abs(shares[end + 1] - share) < reach:
        end += 1
    return slice(begin, end + 1)


def _passes(shares: Floats, share: float) -> int | None:
    """Last bin before the level is passed; noise around it is outvoted."""
    above = shares > share
    if above.all() or not above.any():
        return None
    balance = np.cumsum(np.where(above, 1, -1))
    last = int(np.argmin(balance))
    return last if not above[last] and last + 1 < shares.size else None


def _between(edge: Stretch, share: float, last: int) -> Read:
    time, shares = edge.time[last : last + 2], edge.share()[last : last + 2]
    width, step = float(time[1] - time[0]), float(shares[1] - shares[0])
    at = float(np.clip((share - shares[0]) / step, 0.0, 1.0)) if step else 0.5
    noise = float(edge.u[last : last + 2].max() / abs(edge.amplitude))
    u = min(width, width * noise / max(abs(step), 1e-300))
    return Read(float(time[0]) + at * width, u, 2.0, 0.5 * width)


def _cubic(edge: Stretch, share: float, near: slice) -> Read | None:
    time, weight = edge.time[near], 1.0 / np.maximum(edge.u[near], 1e-9)
    middle, half = 0.5 * float(time[0] + time[-1]), 0.5 * float(time[-1] - time[0])
    target = (edge.volts[near] - edge.level(share)) * weight
    scaled = (time - middle) / half
    design = np.vander(scaled, 4) * weight[:, None]
    inverse = np.linalg.pinv(design)
    factors = np.asarray(inverse @ target, np.float64)
    bent = np.asarray(np.linalg.pinv(design[:, 1:]) @ target, np.float64)
    root, other = _root(factors), _root(bent)
    if root is None or other is None:
        return None
    rest = target - design @ factors
    dof = max(1.0, time.size - 4.0)
    excess = max(1.0, float(np.sum(rest * rest)) / dof)
    slope = abs(float(np.polyval(np.polyder(factors), root))) / half
    row = root ** np.arange(3, -1, -1) @ inverse
    u = math.sqrt(excess * float(row @ row)) / slope
    # What a cubic leaves of a smooth shape is well below what it adds to a parabola.
    shape = max(0.0, 0.5 * abs(root - other) * half - u)
    gap = float(np.diff(time).max())
    return Read(middle + root * half, u, dof, shape + gap**2 / (8.0 * half))


def _root(factors: Floats) -> float | None:
    roots = np.roots(factors)
    real = roots[np.abs(roots.imag) < 1e-9].real
    inside = real[np.abs(real) <= 1.2]
    return float(inside[np.argmin(np.abs(inside))]) if inside.size else None


def transition(edge: Stretch) -> Read | None:
    """Transition duration, 10 to 90 %, in us; None where the gaps hide it."""
    ends = [instant(edge, share) for share in (0.1, 0.9)]
    if ends[0] is None or ends[1] is None:
        return None
    duration = ends[1].value - ends[0].value
    if duration < 3.0 * edge.gap:
        return None
    slopes = [_slowness(edge, share) for share in (0.1, 0.9)]
    level = edge.u_level * math.hypot(*slopes)
    u = math.hypot(ends[0].u, ends[1].u, level)
    bound = ends[0].bound + ends[1].bound + _SHAPE * duration
    return Read(duration, u, min(ends[0].dof, ends[1].dof), bound)


def _slowness(edge: Stretch, share: float) -> float:
    """Microseconds per volt around a reference level."""
    around = [instant(edge, share + off) for off in (-0.04, 0.04)]
    if around[0] is None or around[1] is None:
        return 0.0
    return abs((around[1].value - around[0].value) / (0.08 * edge.amplitude))

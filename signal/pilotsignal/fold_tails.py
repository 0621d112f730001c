"""What follows a folded transition: overshoot, settling, and the exponential beyond the knee.

Terms are those of IEEE Std 181-2011 and IEC 60469:2013: overshoot, transition settling duration.
"""

import math
from typing import Final

import numpy as np

from pilotsignal.fold_edges import Read, Stretch
from pilotsignal.timing import Floats

_ENOUGH: Final = 10  # bins beyond the knee
_ROUNDS: Final = 12


def overshoot(edge: Stretch, duration: float) -> Read:
    """Overshoot in % of the amplitude, after the 90 % instant.

    The largest mean over an eighth of the transition duration.  Noise alone makes some mean the
    largest: up to what it can feign the overshoot is 0.
    """
    after = edge.time > 0
    time, excess = edge.time[after], 100.0 * (edge.share()[after] - 1.0)
    u = 100.0 * edge.u[after] / abs(edge.amplitude)
    smooth, spread = _smoothed(time, excess, u, 0.125 * duration)
    best = int(np.argmax(smooth))
    level = 100.0 * edge.u_level / abs(edge.amplitude)
    feigned = float(spread[best]) * math.sqrt(2.0 * math.log(max(3.0, float(smooth.size))))
    value = float(smooth[best])
    noise = math.hypot(float(spread[best]), level)
    if value <= 1.5 * feigned + 2.0 * level:
        return Read(0.0, noise, max(1.0, smooth.size - 1.0), 1.5 * feigned)
    # Of the means near the top the largest is not the truest.
    near = smooth > value - 2.0 * float(spread[best])
    high = min(1.0, math.log(max(1.0, float(np.count_nonzero(near)))))
    return Read(value, noise, max(1.0, smooth.size - 1.0), high * float(spread[best]))


def _smoothed(time: Floats, value: Floats, u: Floats, reach: float) -> tuple[Floats, Floats]:
    """Means over `reach` us and their standard uncertainties."""
    count = max(1, int(np.searchsorted(time, time[0] + reach)))
    if count == 1 or count >= time.size:
        return value, u
    kernel = np.ones(count) / count
    power = np.convolve(u * u, kernel / count, mode="valid")
    return np.convolve(value, kernel, mode="valid"), np.sqrt(power)


def settling(edge: Stretch, band: float, duration: float) -> Read | None:
    """Transition settling duration in us: from the 50 % instant to the last entry into the band.

    Parameters
    ----------
    band : half width around the end level as a share of the amplitude.

    Returns
    -------
    Read or None : None where noise alone leaves the band.
    """
    after = edge.time > 0
    time, off = edge.time[after], np.abs(edge.share()[after] - 1.0)
    u = edge.u[after] / abs(edge.amplitude)
    if time.size < 3 or band < 5.0 * float(np.median(u)):
        return None
    smooth, _ = _smoothed(time, edge.share()[after] - 1.0, u, duration / 32.0)
    shift = 0.5 * float(time[time.size - smooth.size] - time[0])
    off, time = np.abs(smooth), time[: smooth.size] + shift
    outside = np.flatnonzero(off > band)
    if outside.size == 0:
        return Read(0.0, 0.0, 1.0, float(time[0]))
    last = int(outside[-1])
    if last + 1 >= time.size:
        return None
    width, drop = float(time[last + 1] - time[last]), float(off[last] - off[last + 1])
    at = float(time[last]) + width * float(off[last] - band) / max(drop, 1e-300)
    steep = _steepness(time, off, last)
    noise = math.hypot(float(u[last]), edge.u_level / abs(edge.amplitude))
    return Read(at, noise / steep, max(1.0, time.size - 1.0), 0.5 * max(width, edge.gap))


def _steepness(time: Floats, off: Floats, last: int) -> float:
    """Share of the amplitude per us at which the band is entered, over some bins."""
    reach = max(2, min(8, last, time.size - 1 - last))
    part = slice(max(0, last - reach), last + reach + 1)
    slope = np.polyfit(time[part] - time[last], off[part], 1)[0]
    return max(abs(float(slope)), 1e-12)


def time_constant(edge: Stretch, knee_v: float) -> Read | None:
    """Time constant in us of the exponential that ends at the end level, beyond the diode's knee.

    Fitted from a quarter of the way beyond the knee on; the end level is part of the fit, held by
    what is known of it.  The two halves of the stretch, fitted alone, tell how far the shape
    is none (`bound`).

    Returns
    -------
    Read or None : None where the knee does not lie between the levels, or bins are too few.
    """
    low, high = sorted((edge.start_v, edge.end_v))
    if not low < knee_v < high:
        return None
    left = np.abs(edge.end_v - edge.volts) / abs(edge.end_v - knee_v)
    toward = (edge.volts - knee_v) * np.sign(edge.end_v - knee_v) > 0
    begun = np.flatnonzero(toward & (left < 0.75) & (edge.time > -math.inf))
    if begun.size == 0:
        return None
    begin = int(begun[0])
    under = np.flatnonzero(left[begin:] < 0.02)
    end = begin + int(under[0]) if under.size else left.size
    # A tail as long again holds the end level.
    stop = min(left.size, begin + 2 * (end - begin))
    if end - begin < _ENOUGH:
        return None
    whole = _exponential(edge, begin, stop)
    middle = begin + int(np.searchsorted(-left[begin:end], -math.sqrt(0.75 * 0.02)))
    halves = [_exponential(edge, begin, middle), _exponential(edge, middle, end)]
    if whole is None or halves[0] is None or halves[1] is None:
        return None
    apart = abs(halves[0].value - halves[1].value)
    noise = math.hypot(halves[0].u, halves[1].u)
    return Read(whole.value, whole.u, whole.dof, max(0.0, 0.5 * (apart - 2.0 * noise)))


def _exponential(edge: Stretch, begin: int, end: int) -> Read | None:
    """Gauss-Newton for ``end_v + a exp(-t / tau) + c``, `c` within the end level's uncertainty."""
    if end - begin < 3:
        return None
    time, rest = edge.time[begin:end] - edge.time[begin], edge.volts[begin:end] - edge.end_v
    weight = 1.0 / np.maximum(edge.u[begin:end], 1e-9)
    prior = 1.0 / max(edge.u_level, 1e-6)
    size, rate, level = float(rest[0]), 1.0 / max(float(time[-1]) * 0.3, 1e-9), 0.0
    inverse, left = np.eye(3), np.zeros(1)
    for _ in range(_ROUNDS):
        shape = np.exp(-np.minimum(time * rate, 60.0))
        design = np.column_stack((shape, -size * time * shape, np.ones_like(time)))
        left = (rest - size * shape - level) * weight
        rows = np.vstack((design * weight[:, None], [0.0, 0.0, prior]))
        target = np.append(left, -level * prior)
        inverse = np.linalg.pinv(rows.T @ rows)
        step = inverse @ (rows.T @ target)
        rate = float(np.clip(rate + step[1], 0.3 * rate, 3.0 * rate))
        size, level = size + float(step[0]), level + float(step[2])
    if not (math.isfinite(rate) and rate > 0):
        return None
    dof = max(1.0, time.size - 3.0)
    excess = max(1.0, float(np.sum(left * left)) / dof)
    u = math.sqrt(max(0.0, float(inverse[1, 1])) * excess) / rate**2
    return Read(1.0 / rate, u, dof, 0.0)

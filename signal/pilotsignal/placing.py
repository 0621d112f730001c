"""From blocks to periods: where exactly a series changes, and whether its noise there allows it."""

from dataclasses import replace

import numpy as np

from pilotsignal.series import Finding, Series, recurrence
from pilotsignal.timing import Floats

_BLOCK = 1.0 / 48.0  # of the series: how far off a place may be


def placed(series: Series, finding: Finding) -> Finding:
    """The same finding, `begin` and `end` to the period where noise allows."""
    if finding.kind == "stretch":
        begin, end = _ends(series.value, finding.begin, finding.end)
        if end - begin == series.value.size:
            return finding  # beside it nothing would be left, so its ends are not to be seen
        return replace(finding, begin=begin, end=end)
    if finding.kind == "step":
        flat = series.value - _line(series, finding.begin)
        begin, _ = _ends(flat, finding.begin, series.value.size)
        return replace(finding, begin=begin)
    if finding.kind == "kink":
        return replace(finding, begin=_corner(series, finding.begin))
    return finding


def confirmed(series: Series, finding: Finding, noise: float, limit: float) -> bool:
    """Whether it stands against the noise where it is, which may be more than elsewhere.

    Parameters
    ----------
    noise : by which the finding's `u` was worked out.
    limit : standard uncertainties that it must exceed beyond its bound.
    """
    value = series.value
    if finding.kind == "step":
        value = value - _line(series, finding.begin)
    parts = [value]
    if finding.kind in ("stretch", "step"):
        parts = [
            value[: finding.begin],
            value[finding.begin : finding.end],
            value[finding.end :],
        ]
    lag, off = recurrence(series)
    # Edges that come back to nearly their place meet the other sample in this share of cases: that
    # is no noise, and in the bound.
    other = 0.5 * off * series.edges * (0.5 * series.variation) ** 2
    rough = [_rough(part, lag) - other for part in parts if part.size >= lag + 2]
    worst = float(np.sqrt(max([noise**2, *rough])))
    return abs(finding.size) > finding.bound + limit * finding.u * worst / max(noise, 1e-300)


def _rough(part: Floats, lag: int) -> float:
    """Variance from differences."""
    change = part[lag:] - part[:-lag]
    return float(0.5 * np.mean(change * change))


def _ends(value: Floats, begin: int, end: int) -> tuple[int, int]:
    """Both ends of a stretch that lies between two calmer ones, or up to an end of the series."""
    size = value.size
    reach = max(4, int(np.ceil(_BLOCK * size)))
    inside = float(np.median(value[begin:end]))
    first, last = begin, end
    if begin > 0:
        outside = float(np.median(value[max(0, begin - 3 * reach) : begin]))
        stop = min(begin + reach, end)
        first = _goes_over(value, (max(1, begin - reach), stop), (outside, inside))
    if end < size:
        outside = float(np.median(value[end : end + 3 * reach]))
        start = max(end - reach, first + 1)
        last = _goes_over(value, (start, min(size, end + reach)), (inside, outside))
    return min(first, size - 1), min(max(last, first + 1), size)


def _goes_over(value: Floats, between: tuple[int, int], levels: tuple[float, float]) -> int:
    """Where a series goes over from one level to the other, by least squares."""
    part = value[between[0] : between[1]]
    gain = (part - levels[0]) ** 2 - (part - levels[1]) ** 2
    return between[0] + int(np.argmin(np.concatenate(([0.0], np.cumsum(gain)))))


def _line(series: Series, begin: int) -> Floats:
    """Straight line beside a step at `begin`, without the step."""
    cycle = series.cycle.astype(np.float64)
    late = (np.arange(cycle.size) >= begin).astype(np.float64)
    design = np.column_stack((np.ones_like(cycle), cycle - cycle[0], late))
    fitted = np.linalg.lstsq(design, series.value, rcond=None)[0]
    return np.asarray(design[:, :2] @ fitted[:2], np.float64)


def _corner(series: Series, near: int) -> int:
    """Where the straight lines before and after a kink meet."""
    size = series.value.size
    margin = max(2, int(np.ceil(1.2 * _BLOCK * size)))
    lines = [
        np.polyfit(part.cycle, part.value, 1)
        for part in (series.part(0, near - margin), series.part(near + margin, size))
        if part.value.size >= 3
    ]
    if len(lines) < 2 or lines[0][0] == lines[1][0]:
        return near
    met = (lines[0][1] - lines[1][1]) / (lines[1][0] - lines[0][0])
    place = int(np.searchsorted(series.cycle, met))
    return min(max(place, near - 2 * margin, 1), near + 2 * margin, size - 1)

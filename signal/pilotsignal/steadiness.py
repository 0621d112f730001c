"""What a measurement says of its record as a whole and in parts.

`measure` calls `steadiness_of`; where something steps inside the record `told` puts the notices,
the values of the parts and the wider uncertainties of the whole together.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.changes import Change
from pilotsignal.notices import Notice
from pilotsignal.quantity import Quantity
from pilotsignal.segments import (
    Found,
    Steadiness,
    Values,
    changes_of,
    changes_of_edges,
    part_of,
    part_of_edges,
    segments_of,
    widened,
)
from pilotsignal.timing import fit_comb

Part = Callable[[Capture, EdgeRecord | None], Values]

_TICK_S = 62.5e-9  # of a capture's first tick
_TIMING = ("duty-step", "duty-drift", "frequency-step", "frequency-drift")


def steadiness_of(
    capture: Capture, edges: EdgeRecord | None, found: Found | None, measured: Part
) -> Steadiness:
    """What changes inside a record, and the values of its parts.

    Parameters
    ----------
    edges : comparator edges of the same stretch; where given, times come from them, as they miss
        no edge and no place between samples is in doubt.
    found : of the samples; None where they are no waveform.
    measured : values of a part by itself, called for each part where something steps.
    """
    changes = [] if found is None else changes_of(capture, found)
    if edges is not None and (clocked := _clocked(capture, edges)) is not None:
        changes = [change for change in changes if not _of_times(change)] + clocked
        changes.sort(key=lambda change: change.start_s)
    if not changes:
        return Steadiness()
    offset = _offset_s(capture, edges)

    def values(start_s: float, end_s: float) -> Values:
        part = None
        if edges is not None:
            part = part_of_edges(edges, start_s - offset, end_s - offset)
        return measured(part_of(capture, start_s, end_s), part)

    return segments_of(changes, capture.duration_s, values)


def told(
    steadiness: Steadiness, whole: Mapping[str, Quantity | None], notices: tuple[Notice, ...]
) -> tuple[dict[str, Quantity | None], tuple[Notice, ...]]:
    """Values of the whole whose U holds those of its parts, and all notices.

    A remark on hum gives way to the one that comes with its size for each level.
    """
    mine = steadiness.notices()
    codes = {notice.code for notice in mine if notice.code == "hum"}
    kept = tuple(notice for notice in notices if notice.code not in codes)
    values = {name: widened(one, name, steadiness) for name, one in whole.items()}
    return values, (*kept, *mine)


def _of_times(change: Change) -> bool:
    return change.code in _TIMING or (change.code == "missing-samples" and not change.reported)


def _clocked(capture: Capture, edges: EdgeRecord) -> list[Change] | None:
    """Changes by comparator edges, on the time axis of the capture; None where they are no comb."""
    if edges.times.size == 0:
        return None
    ticks = (edges.times - edges.times[0]).astype(np.float64)
    comb = fit_comb(ticks[edges.rising], ticks[~edges.rising])
    if comb is None:
        return None
    offset = _offset_s(capture, edges)
    key = f"{edges.origin}/{int(edges.times[0])}"
    return [
        replace(change, start_s=change.start_s + offset, end_s=change.end_s + offset)
        for change in changes_of_edges(edges, comb, key)
    ]


def _offset_s(capture: Capture, edges: EdgeRecord | None) -> float:
    """The first edge after the first sample, in s; 0 where nobody said when the samples began."""
    if edges is None or capture.first_tick is None or edges.times.size == 0:
        return 0.0
    return float(edges.times[0]) * edges.tick_s - capture.first_tick * _TICK_S

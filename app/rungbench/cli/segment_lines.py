"""Parts of a record as text, one line each, and as plain values."""

from typing import Any, Final

from pilotsignal.changes import Change
from pilotsignal.figures import figure
from pilotsignal.quantity import Quantity
from pilotsignal.segments import Segment, Steadiness

_SHOWN: Final = {
    "frequency_hz": "",
    "duty_percent": "duty ",
    "high_plateau_v": "high ",
    "low_plateau_v": "low ",
}


def segment_lines(steadiness: Steadiness) -> list[str]:
    """One line for each part; none where the record is of one piece."""
    if len(steadiness.segments) < 2:
        return []
    return [_line(segment) for segment in steadiness.segments]


def _line(segment: Segment) -> str:
    values = [
        f"{word}{figure(one.value, one.expanded(), one.unit)}"
        for name, word in _SHOWN.items()
        if (one := segment.values.get(name)) is not None
    ]
    told = ", ".join(values) or "nothing measured"
    return f"{segment.start_s:.4f} to {segment.end_s:.4f} s, {segment.what}: {told}"


def segments_document(steadiness: Steadiness) -> list[dict[str, Any]]:
    """Parts with the quantities measured of each; empty where the record is of one piece."""
    if len(steadiness.segments) < 2:
        return []
    return [
        {
            "start_s": one.start_s,
            "end_s": one.end_s,
            "what": one.what,
            "quantities": {name: _plain(value) for name, value in one.values.items()},
        }
        for one in steadiness.segments
    ]


def changes_document(steadiness: Steadiness) -> list[dict[str, Any]]:
    """What happens inside the record, in order of time."""
    return [_change(one) for one in steadiness.changes]


def _change(change: Change) -> dict[str, Any]:
    return {
        "code": change.code,
        "start_s": change.start_s,
        "end_s": change.end_s,
        "size": _plain(change.size),
        "text": change.text,
    }


def _plain(quantity: Quantity | None) -> dict[str, Any] | None:
    if quantity is None:
        return None
    return {
        "value": quantity.value,
        "expanded_uncertainty": quantity.expanded(),
        "unit": quantity.unit,
    }

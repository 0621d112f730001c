"""Captures and edge records, apart from their arrays, as plain values and back.

The key of a capture is the hash of its description, which names its content's
hash: equal samples at another time or through another calibration are another
capture, and share the stored content.
"""

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any, TypeVar

from pilotsignal.calibration import TimeBase, VoltCalibration, WidthBias
from pilotsignal.capture import Capture, EdgeRecord, Gap
from rungbench.archive.packing import Packed, pack, pack_rising, signed_times, split_times, unpack

SAMPLES = "samples"
EDGES = "edges"

T = TypeVar("T", VoltCalibration, TimeBase, WidthBias)


@dataclass(frozen=True, slots=True)
class Described:
    """A capture ready to be stored, or read from storage."""

    kind: str
    packed: Packed
    description: Mapping[str, Any]

    @property
    def key(self) -> str:
        """Stable id: SHA-256 of kind, content hash and description."""
        plain = {"kind": self.kind, "content": self.packed.sha256, **self.description}
        text = json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def describe(recorded: Capture | EdgeRecord) -> Described:
    """Take a capture or an edge record apart."""
    if isinstance(recorded, EdgeRecord):
        return Described(EDGES, pack_rising(signed_times(recorded)), _of_edges(recorded))
    return Described(SAMPLES, pack(recorded.samples), _of_samples(recorded))


def restore(described: Described) -> Capture | EdgeRecord:
    """Inverse of `describe`.

    Raises
    ------
    ValueError : the content is damaged.
    """
    plain = described.description
    values = unpack(described.packed)
    gaps = tuple(Gap(index, missing) for index, missing in plain["gaps"])
    time_base = _revive(TimeBase, plain["time_base"])
    if described.kind == EDGES:
        times, rising = split_times(values)
        return EdgeRecord(
            times,
            rising,
            plain["tick_s"],
            plain["origin"],
            time_base,
            _revive(WidthBias, plain["width_bias"]),
            gaps,
            plain["quantum_ticks"],
        )
    span = plain["converter_range"]
    return Capture(
        values,
        plain["interval_s"],
        plain["origin"],
        _revive(VoltCalibration, plain["calibration"]),
        time_base,
        gaps,
        None if span is None else (span[0], span[1]),
        plain["first_tick"],
    )


def _of_samples(capture: Capture) -> dict[str, Any]:
    return {
        "interval_s": capture.interval_s,
        "origin": capture.origin,
        "calibration": _plain(asdict(capture.calibration)),
        "time_base": _plain(asdict(capture.time_base)),
        "gaps": [[gap.index, gap.missing] for gap in capture.gaps],
        "converter_range": None if capture.converter_range is None else [*capture.converter_range],
        "first_tick": capture.first_tick,
    }


def _of_edges(edges: EdgeRecord) -> dict[str, Any]:
    return {
        "tick_s": edges.tick_s,
        "origin": edges.origin,
        "time_base": _plain(asdict(edges.time_base)),
        "width_bias": _plain(asdict(edges.width_bias)),
        "gaps": [[gap.index, gap.missing] for gap in edges.gaps],
        "quantum_ticks": edges.quantum_ticks,
    }


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    """JSON has neither dates nor infinity: text, and nothing for infinitely many degrees."""
    return {name: _plain_value(value) for name, value in values.items()}


def _plain_value(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return None if isinstance(value, float) and math.isinf(value) else value


def _revive(kind: type[T], plain: Mapping[str, Any]) -> T:
    """Fields that an older archive lacks keep their defaults."""
    known = {field.name for field in fields(kind)}
    values = {name: value for name, value in plain.items() if name in known}
    for name in ("made", "valid_until"):
        if values.get(name) is not None:
            values[name] = date.fromisoformat(values[name])
    if "dof" in values and values["dof"] is None:
        values["dof"] = math.inf
    return kind(**values)

"""Calibration records as JSON documents, and back; whatever is damaged is refused."""

import hashlib
import json
import math
from collections.abc import Mapping
from datetime import UTC, date, datetime
from types import MappingProxyType
from typing import Any, Final

from pilotsignal.errors import CalibrationError
from rungbench.calibrations.accuracy import STATED, Instrument
from rungbench.calibrations.record import CalibrationRecord, Made, Part
from rungbench.calibrations.result import check_result
from rungbench.errors import InputError, WrongUse

SCHEMA: Final = "rungbench.calibration/1"
_FAMILY: Final = "rungbench.calibration/"


class DamagedRecord(InputError):
    """A calibration record that cannot be trusted as it is."""


def to_text(record: CalibrationRecord) -> str:
    """The document, its checksum in it."""
    plain = _plain(record)
    return json.dumps({**plain, "sha256": checksum(plain)}, indent=2, ensure_ascii=True) + "\n"


def checksum(plain: Mapping[str, Any]) -> str:
    """SHA-256 of a document without its checksum: keys in order, no white space, ASCII."""
    rest = {key: value for key, value in plain.items() if key != "sha256"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def from_text(text: str, where: str) -> CalibrationRecord:
    """The record of a document.

    Raises
    ------
    DamagedRecord : no JSON, another schema, another checksum, or values that make no sense.
    """
    try:
        plain = json.loads(text, parse_constant=_no_constant)
    except ValueError as problem:
        raise _damaged(where, f"it is no JSON: {problem}") from problem
    if not isinstance(plain, dict):
        raise _damaged(where, "it is no record")
    schema = plain.get("schema")
    if schema != SCHEMA:
        if isinstance(schema, str) and schema.startswith(_FAMILY):
            raise DamagedRecord(
                f"The calibration record {where} has the schema {schema}, which this version does "
                "not know; update Rungbench."
            )
        raise _damaged(where, "it does not name its schema")
    if plain.get("sha256") != checksum(plain):
        raise _damaged(where, "its checksum does not match its content")
    try:
        record = _revive(plain)
        check_result(record.part, record.result)
    except (KeyError, TypeError, ValueError, CalibrationError, WrongUse) as problem:
        raise _damaged(where, f"its values make no sense ({problem})") from problem
    return record


def _plain(record: CalibrationRecord) -> dict[str, Any]:
    made = record.made
    return {
        "schema": SCHEMA,
        "id": record.id,
        "part": str(record.part),
        "board_id": record.board_id,
        "firmware": record.firmware,
        "simulated": record.simulated,
        "made_at": made.at.astimezone(UTC).isoformat(timespec="seconds"),
        "valid_until": made.valid_until.isoformat(),
        "by": made.by,
        "temperature_c": made.temperature_c,
        "span_k": made.span_k,
        "note": made.note,
        "instruments": [instrument.as_dict() for instrument in record.instruments],
        "readings": dict(record.readings),
        "result": dict(record.result),
    }


def _revive(plain: Mapping[str, Any]) -> CalibrationRecord:
    made = Made(
        at=datetime.fromisoformat(plain["made_at"]).astimezone(UTC),
        valid_until=date.fromisoformat(plain["valid_until"]),
        by=_text(plain["by"]),
        temperature_c=_finite(plain["temperature_c"]),
        span_k=_finite(plain["span_k"]),
        note=_text(plain["note"]),
    )
    if made.valid_until < made.on or made.span_k <= 0.0:
        raise ValueError("it ends before it begins, or holds nowhere")
    return CalibrationRecord(
        id=_text(plain["id"]),
        part=Part(plain["part"]),
        board_id=_text(plain["board_id"]),
        firmware=_text(plain["firmware"]),
        simulated=_flag(plain["simulated"]),
        made=made,
        instruments=tuple(_instrument(one) for one in plain["instruments"]),
        readings=MappingProxyType(dict(plain["readings"])),
        result=MappingProxyType(dict(plain["result"])),
        sha256=_text(plain["sha256"]),
    )


def _instrument(plain: Mapping[str, Any]) -> Instrument:
    if plain["stated_as"] not in STATED:
        raise ValueError(f"stated as {plain['stated_as']!r}")
    return Instrument(
        name=_text(plain["name"]),
        serial=_text(plain["serial"]),
        accuracy=_text(plain["accuracy"]),
        digit=_finite(plain["digit"]),
        stated_as=plain["stated_as"],
        unit=_text(plain["unit"]),
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is no text")
    return value


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{value!r} is neither true nor false")
    return value


def _finite(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{value!r} is no number")
    return float(value)


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no number")


def _damaged(where: str, why: str) -> DamagedRecord:
    return DamagedRecord(
        f"The calibration record {where} is damaged: {why}; put back a copy of it, or move it out "
        "of its folder and calibrate again."
    )

"""What the measurements of a finished record stood on, rebuilt from the record."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from pilotsignal.calibration import KnownPart, TimeBase, VoltCalibration
from pilotsignal.grounds import Need, need_of
from pilotsignal.judge import Grounds, Verdict
from pilotsignal.quantity import Quantity
from rungbench.archive.record import Record, RunHeader


def grounds_of(record: Record, quantity: Quantity) -> Grounds:
    """Calibration and clock that a quantity of the record was measured by."""
    known = record.header.calibration
    volts = VoltCalibration(
        id=known["id"],
        gain_v=known["gain_v"],
        offset_v=known["offset_v"],
        u_gain_relative=known["u_gain_relative"],
        u_offset_v=known["u_offset_v"],
        made=_day(known["made"]),
        valid_until=_day(known["valid_until"]),
        by=known["by"],
        simulated=known["simulated"],
        u_meter_relative=_row_u(quantity, "meter"),
        u_meter_v=_row_u(quantity, "meter-zero"),
    )
    day = record.header.started.date()
    return Grounds(volts, _time_base(record), day, record.header.simulated)


def parts_of(header: RunHeader) -> Mapping[str, KnownPart]:
    """The calibrated parts of the stand-in."""
    parts: Mapping[str, Mapping[str, Any]] = header.calibration.get("parts", {})
    return {name: KnownPart(**part) for name, part in parts.items()}


def volts_doubt_told(header: RunHeader, unit: str) -> str:
    """What the bench said itself against its voltages, or nothing."""
    doubts: Mapping[str, str] = header.calibration.get("doubts", {})
    return doubts.get("volts", "") if need_of(unit) is Need.VOLTS else ""


def _time_base(record: Record) -> TimeBase:
    """The clock; that its calibration was in date shows where a frequency passed by it."""
    clock = record.header.calibration["time_base"]
    proven = clock["kind"] == "calibrated" and _a_frequency_passed(record)
    made = record.header.started.date() if proven else None
    return TimeBase(clock["id"], clock["kind"], clock["u_relative"], clock["correction"], made)


def _a_frequency_passed(record: Record) -> bool:
    judgements = (one for result in record.checks for one in result.judgements)
    return any(
        one.verdict is Verdict.PASS and need_of(one.limit.unit) is Need.TIME_BASE
        for one in judgements
    )


def _row_u(quantity: Quantity, name: str) -> float | None:
    return next((row.u for row in quantity.rows if row.id.partition("@")[0] == name), None)


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)

"""From records to what a run goes by: the newest usable record of each part over a beginning."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from types import MappingProxyType
from typing import Any

from rungbench.calibrations.record import CalibrationRecord, Part
from rungbench.calibrations.result import parts_of, time_base_of, volts_of, width_bias_of
from rungbench.calibrations.store import newest
from rungbench.standin.calibration import BenchCalibration

_NOTHING: Mapping[str, Any] = MappingProxyType({})


def compose(
    base: BenchCalibration,
    records: Iterable[CalibrationRecord],
    on: date,
    temperature_c: float | None,
) -> BenchCalibration:
    """The calibration of a board on a day, at a temperature of the board in degrees Celsius.

    Parts that no record covers stay as in `base`.  Where all records of a part are expired, not
    yet valid or of another temperature, `doubts` says why: volts go by the newest all the same, so
    that they can be shown, and are not judged; the ladder's parts count as unknown; clock and
    widths stay as in `base`.  A `temperature_c` of ``None``, of a board without a sensor, is not
    checked.
    """
    chosen = newest(records, on, temperature_c)
    if not chosen:
        return replace(base, temperature_c=temperature_c)
    found = replace(
        base,
        id=" + ".join(record.id for record in chosen.values()),
        temperature_c=temperature_c,
        records=tuple(summary(chosen[part]) for part in Part if part in chosen),
        doubts=MappingProxyType(
            {
                str(part): why
                for part, record in chosen.items()
                if (why := record.doubt(on, temperature_c))
            }
        ),
    )
    for part, record in chosen.items():
        found = _with(found, part, record)
    return replace(found, parts={}) if Part.PARTS in found.doubts else found


def _with(found: BenchCalibration, part: Part, record: CalibrationRecord) -> BenchCalibration:
    if part in found.doubts and part is not Part.VOLTS:
        return found
    match part:
        case Part.VOLTS:
            volts, bits = volts_of(record)
            return replace(found, volts=volts, bits=bits)
        case Part.CLOCK:
            return replace(found, time_base=time_base_of(record))
        case Part.PARTS:
            return replace(found, parts=parts_of(record))
        case Part.WIDTHS:
            return replace(found, width_bias=width_bias_of(record))


def summary(record: CalibrationRecord) -> Mapping[str, Any]:
    """What a run's record keeps of a calibration record, besides its values."""
    made = record.made
    return MappingProxyType(
        {
            "part": str(record.part),
            "id": record.id,
            "sha256": record.sha256,
            "made": made.on.isoformat(),
            "valid_until": made.valid_until.isoformat(),
            "by": made.by,
            "temperature_c": made.temperature_c,
            "instruments": [instrument.text() for instrument in record.instruments],
        }
    )

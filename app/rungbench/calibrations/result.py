"""What each kind of record says, as objects of the measurement core.

The plain values of a record's result are checked here: names, types, units and ranges.
"""

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, Final

from pilotsignal.calibration import KnownPart, TimeBase, VoltCalibration, WidthBias
from rungbench.calibrations.record import CalibrationRecord, Made, Part

ANY_RUNG: Final = "any"
_UNITS: Final = ("ohm", "V")
# From the contact to the converter's pin: 67 ns by design (hardware_notes/front_end.md, section 2),
# strays not counted.
_FRONT_END_US: Final = 0.1


def volts_of(record: CalibrationRecord) -> tuple[VoltCalibration, int]:
    """The converter's line, and the bits of the counts that it is over."""
    return _line(record.id, record.result, record.made, record.simulated)


def time_base_of(record: CalibrationRecord) -> TimeBase:
    """The board's clock."""
    result = record.result
    return TimeBase(
        record.id,
        "calibrated",
        _not_negative(result, "u_relative"),
        _number(result, "correction"),
        record.made.on,
        record.made.valid_until,
    )


def parts_of(record: CalibrationRecord) -> Mapping[str, KnownPart]:
    """Resistors and drops by name, as `BenchCalibration.parts`."""
    return MappingProxyType(_known(record.id, record.result))


def width_bias_of(record: CalibrationRecord) -> Mapping[str, WidthBias]:
    """Bias by rung, ``""`` for any other, as `BenchCalibration.width_bias`."""
    return MappingProxyType(_bias(record.id, record.result))


def check_result(part: Part, result: Mapping[str, Any]) -> None:
    """Refuse a result that makes no sense.

    Raises
    ------
    KeyError, TypeError, ValueError, pilotsignal.errors.CalibrationError
    """
    _CHECKS[part](result)


def _line(
    name: str, result: Mapping[str, Any], made: Made | None, simulated: bool
) -> tuple[VoltCalibration, int]:
    bits = result["bits"]
    if not isinstance(bits, int) or not 8 <= bits <= 24:
        raise ValueError(f"a converter of {bits!r} bits")
    volts = VoltCalibration(
        id=name,
        gain_v=_number(result, "gain_v"),
        offset_v=_number(result, "offset_v"),
        u_gain_relative=_not_negative(result, "u_gain_relative"),
        u_offset_v=_not_negative(result, "u_zero_v"),
        u_linearity_v=_not_negative(result, "u_linearity_v"),
        dof=_not_negative(result, "degrees_of_freedom"),
        made=made.on if made else None,
        valid_until=made.valid_until if made else None,
        by=made.by if made else "",
        simulated=simulated,
        u_meter_relative=_not_negative(result, "u_meter_relative"),
        u_meter_v=_not_negative(result, "u_meter_v"),
        made_at_c=made.temperature_c if made else None,
        drift_relative_per_k=_not_negative(result, "drift_relative_per_k"),
        u_drift_v_per_k=_not_negative(result, "u_drift_v_per_k"),
        span_k=made.span_k if made else 0.0,
        u_nonlinearity_lsb=_not_negative(result, "u_nonlinearity_counts"),
        gain_offset_correlation=_number(result, "correlation"),
        front_end_us=_FRONT_END_US,
    )
    return volts, bits


def _known(name: str, result: Mapping[str, Any]) -> dict[str, KnownPart]:
    found: dict[str, KnownPart] = {}
    for part, plain in result["known"].items():
        if plain["unit"] not in _UNITS:
            raise ValueError(f"{part} in {plain['unit']!r}")
        value, u = _number(plain, "value"), _not_negative(plain, "u")
        if value <= 0.0 or u == 0.0:
            raise ValueError(f"{part} of {value} with an uncertainty of {u}")
        inputs = tuple((f"{key}@{name}", _number(plain["inputs"], key)) for key in _inputs(plain))
        found[part] = KnownPart(f"{part}@{name}", value, u, plain["unit"], inputs)
    if not found:
        raise ValueError("no part at all")
    return found


def _inputs(plain: Mapping[str, Any]) -> tuple[str, ...]:
    """Names of what a part's uncertainty is made of; records of the first kind name none."""
    return tuple(plain.get("inputs", ()))


def _bias(name: str, result: Mapping[str, Any]) -> dict[str, WidthBias]:
    found: dict[str, WidthBias] = {}
    for rung, plain in result["bias"].items():
        u_us = _not_negative(plain, "u_us")
        if u_us == 0.0:
            raise ValueError(f"a bias on {rung} without any uncertainty")
        key = "" if rung == ANY_RUNG else rung
        label = f"{rung}@{name}"
        found[key] = WidthBias(label, _number(plain, "bias_us"), u_us)
    if "" not in found:
        raise ValueError(f"no bias for {ANY_RUNG!r}")
    return found


def _clock(result: Mapping[str, Any]) -> None:
    if _not_negative(result, "u_relative") == 0.0 or abs(_number(result, "correction")) > 0.1:
        raise ValueError("a clock without any uncertainty, or far off")


_CHECKS: Final[Mapping[Part, Callable[[Mapping[str, Any]], object]]] = {
    Part.VOLTS: lambda result: _line("check", result, None, simulated=False),
    Part.CLOCK: _clock,
    Part.PARTS: lambda result: _known("check", result),
    Part.WIDTHS: lambda result: _bias("check", result),
}


def _number(plain: Mapping[str, Any], name: str) -> float:
    value = plain[name]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{name} is {value!r}")
    return float(value)


def _not_negative(plain: Mapping[str, Any], name: str) -> float:
    value = _number(plain, name)
    if value < 0.0:
        raise ValueError(f"{name} is {value!r}")
    return value

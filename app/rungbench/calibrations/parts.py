"""The ladder's parts: resistors by an ohmmeter, the diode as a curve of two points."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from pilotsignal.calibration_fit import Accuracy, DropCurve, Known
from rungbench.calibrations.accuracy import Instrument
from rungbench.calibrations.answers import Answers, Question, number
from rungbench.calibrations.desk import Desk, Worked, ask_instrument
from rungbench.errors import WrongUse
from rungbench.link.words import CableCode, LadderSet, Rung

_OHM: Final[Mapping[str, Mapping[LadderSet, float]]] = {
    "permanent": {LadderSet.LOW: 1870.0, LadderSet.NOMINAL: 2740.0, LadderSet.HIGH: 4610.0},
    "switched_c": {LadderSet.LOW: 909.0, LadderSet.NOMINAL: 1300.0, LadderSet.HIGH: 1723.0},
    "switched_d": {LadderSet.LOW: 140.0, LadderSet.NOMINAL: 270.0, LadderSet.HIGH: 448.0},
}
"""Ladder by design, from IEC 61851-1:2017 Tables A.3 and A.9."""
_CABLES: Final = {
    CableCode.A13: 1500.0,
    CableCode.A20: 680.0,
    CableCode.A32: 220.0,
    CableCode.A63: 100.0,
}
_SHORT_OHM: Final = 80.0
_INPUT_OHM: Final = 1e6
_FAR: Final = 0.10  # of the design, beyond which another resistor was measured
# The source that a ladder is meant for: IEC 61851-1:2017 Table A.2.
_RAIL_V, _SOURCE_OHM, _DROP_V = 12.0, 1000.0, 0.70
# 10 ppm/K parts in the ladder; a silicon diode drops 2 mV less a kelvin (common practice, no
# source).  Both within the span, in either direction.
_OHM_PER_K: Final = 10e-6
_DROP_V_PER_K: Final = 0.002
# What the straight line over the logarithm leaves of each drop: at most 1 mV.
_BEND_V: Final = 0.001 / math.sqrt(3.0)
_SWITCHED: Final = {Rung.C: "switched_c", Rung.D: "switched_d"}


_PARALLEL: Final = "parallel"
_OHMMETER: Final = "ohmmeter"


@dataclass(frozen=True, slots=True)
class _Resistor:
    """A part by design; `beside` names the permanent resistor that a switched one lies beside."""

    name: str
    ohm: float
    optional: bool = False
    beside: str = ""


def resistors(ladders: tuple[LadderSet, ...], cables: tuple[CableCode, ...]) -> list[_Resistor]:
    """The resistors of a board with these ladder sets and cable codes."""
    found = [
        _Resistor(part_name(role, ladder), ohm, beside=_beside(role, ladder))
        for role, table in _OHM.items()
        for ladder, ohm in table.items()
        if ladder in ladders
    ]
    found += [_Resistor("short", _SHORT_OHM, True), _Resistor("input_ohm", _INPUT_OHM)]
    found += [
        _Resistor(f"cable_{code}", ohm, True) for code, ohm in _CABLES.items() if code in cables
    ]
    return found


def _beside(role: str, ladder: LadderSet) -> str:
    return "" if role == "permanent" else part_name("permanent", ladder)


def part_name(role: str, ladder: LadderSet) -> str:
    """Name of a part of one set; the nominal set has none of its own."""
    return role if ladder is LadderSet.NOMINAL else f"{role}_{ladder}"


def calibrate_parts(desk: Desk) -> Worked:
    """Ask for the ohmmeter and its readings, and for the diode's two points."""
    answers, identity = desk.answers, desk.contact.identity
    meter = ask_instrument(answers, "parts", "ohmmeter", "ohm")
    known: dict[str, _Found] = {}
    typed: dict[str, float] = {}
    for resistor in resistors(identity.ladders, identity.cable_codes):
        beside = known.get(resistor.beside)
        ohm = _ask_ohm(answers, resistor, None if beside is None else beside.value)
        if ohm is None:
            continue
        typed[resistor.name] = ohm.typed
        known[resistor.name] = _resistor(resistor, ohm, meter.standard, beside, desk.span_k)
    volts, curve = _ask_diode(answers)
    warmth_v = _DROP_V_PER_K * desk.span_k / math.sqrt(3.0)
    for name, value, by_meter in _drops(curve, known):
        # One voltmeter, one diode: its drops on all rungs err together.
        inputs = {"diode_meter": by_meter, "diode_warmth": warmth_v, f"{name}_bend": _BEND_V}
        known[name] = _Found(value, "V", inputs)
    result = {"known": {name: part.as_dict() for name, part in known.items()}}
    readings = {"ohm": typed, "diode": _plain(curve)}
    lines = [
        f"{name.replace('_', ' ')}: {part.value:.6g} ± {part.u:.2g} {part.unit} (standard)"
        for name, part in known.items()
    ]
    return Worked((meter, volts), readings, result, tuple(lines))


@dataclass(frozen=True, slots=True)
class _Found:
    """A part as calibrated; `inputs` is what one standard deviation of each input does to it."""

    value: float
    unit: str
    inputs: Mapping[str, float]

    @property
    def u(self) -> float:
        return math.hypot(*self.inputs.values())

    def as_dict(self) -> dict[str, Any]:
        """Plain values for the record."""
        return {"value": self.value, "u": self.u, "unit": self.unit, "inputs": dict(self.inputs)}


def _resistor(
    by_design: _Resistor, ohm: "_Ohm", meter: Accuracy, beside: _Found | None, span_k: float
) -> _Found:
    """A resistor with what the ohmmeter and the warmth of each part do to it.

    Readings of one meter err together: all its readings share one input.
    """
    value = ohm.value
    inputs = {f"{by_design.name}_warmth": value * _OHM_PER_K * span_k / math.sqrt(3.0)}
    by_meter = meter.u(ohm.typed)
    if ohm.beside is not None and beside is not None:
        by_meter *= (value / ohm.typed) ** 2
        for name, by in beside.inputs.items():
            share = -((value / ohm.beside) ** 2) * by
            if name == _OHMMETER:
                by_meter += share
            else:
                inputs[name] = share
    return _Found(value, "ohm", {_OHMMETER: by_meter, **inputs})


def rung_currents(ohm_of: Mapping[str, float]) -> dict[tuple[Rung, LadderSet], float]:
    """Current of the diode on each rung, in amperes, at 12 V, 1 kohm and a drop of 0.70 V."""
    found: dict[tuple[Rung, LadderSet], float] = {}
    for ladder in LadderSet:
        permanent = ohm_of.get(part_name("permanent", ladder))
        if permanent is None:
            continue
        loads = {Rung.B: permanent}
        for rung, role in _SWITCHED.items():
            switched = ohm_of.get(part_name(role, ladder))
            if switched is not None:
                loads[rung] = 1.0 / (1.0 / permanent + 1.0 / switched)
        for rung, load in loads.items():
            found[rung, ladder] = (_RAIL_V - _DROP_V) / (_SOURCE_OHM + load)
    return found


def _drops(curve: DropCurve, known: Mapping[str, _Found]) -> Iterator[tuple[str, float, float]]:
    """The drop on every rung, by its current: its name, volts, and what the voltmeter does."""
    ohms = {name: part.value for name, part in known.items() if part.unit == "ohm"}
    for (rung, ladder), ampere in rung_currents(ohms).items():
        name = part_name(f"diode_drop_{rung.lower()}", ladder)
        yield name, curve.at(ampere).value, curve.at_one_meter(ampere)


@dataclass(frozen=True, slots=True)
class _Ohm:
    """A reading; `beside` is the permanent resistor that it was read in parallel with."""

    typed: float
    beside: float | None = None

    @property
    def value(self) -> float:
        """The resistor alone."""
        if self.beside is None:
            return self.typed
        rest = 1.0 / self.typed - 1.0 / self.beside
        return 1.0 / rest if rest > 0.0 else math.inf


def _ask_ohm(answers: Answers, resistor: _Resistor, beside: float | None) -> _Ohm | None:
    """A resistor as measured; one that is not needed may be left out."""

    def parse(text: str) -> _Ohm | None:
        if resistor.optional and text.strip() == "-":
            return None
        bare = text.strip()
        both = beside is not None and bare.endswith(_PARALLEL)
        found = _Ohm(
            number(0.001, 1e9, "ohm")(bare.removesuffix(_PARALLEL if both else "").strip()),
            beside if both else None,
        )
        if abs(found.value / resistor.ohm - 1.0) > _FAR:
            raise WrongUse(
                f"{found.value:g} ohm is far from the {resistor.ohm:g} ohm of "
                f"{resistor.name.replace('_', ' ')}; measure it again, with the board unplugged."
            )
        return found

    shown = resistor.name.replace("_", " ")
    hint = ", - to leave it out" if resistor.optional else ""
    if resistor.beside:
        other = resistor.beside.replace("_", " ")
        hint = f", or both with {other} and the word {_PARALLEL}, such as 881.7 {_PARALLEL}"
    text = f"{shown} ({resistor.ohm:g} ohm by design), in ohm{hint}"
    key = f"parts.ohm.{resistor.name}"
    return answers.get(Question(key, text, parse, "-" if resistor.optional else None))


def _ask_diode(answers: Answers) -> tuple[Instrument, DropCurve]:
    """Voltage over the diode at two currents."""
    meter = ask_instrument(answers, "parts.diode", "voltmeter at the diode", "V")
    values: list[float] = []
    for which, typical in (("low", "2"), ("high", "10")):
        values.append(
            answers.get(
                Question(
                    f"parts.diode.{which}_ma",
                    f"Current through the diode at the {which} point, in mA",
                    number(0.1, 100.0, "mA"),
                    typical,
                )
            )
        )
        values.append(
            answers.get(
                Question(
                    f"parts.diode.{which}_v",
                    f"Voltage over the diode at {values[-1]:g} mA, in V",
                    number(0.2, 1.5, "V"),
                )
            )
        )
    low_ma, low_v, high_ma, high_v = values
    points = [Known(volts, meter.standard.u(volts)) for volts in (low_v, high_v)]
    return meter, DropCurve(low_ma * 1e-3, points[0], high_ma * 1e-3, points[1])


def _plain(curve: DropCurve) -> dict[str, float]:
    return {
        "low_a": curve.low_a,
        "low_v": curve.low_v.value,
        "u_low_v": curve.low_v.u,
        "high_a": curve.high_a,
        "high_v": curve.high_v.value,
        "u_high_v": curve.high_v.u,
    }

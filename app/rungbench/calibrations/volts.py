"""The converter's line: known levels at the contact against a reference meter."""

import json
import math
from dataclasses import dataclass, replace
from typing import Final

from pilotsignal.calibration_fit import Level, LineFit, fit_line
from rungbench.calibrations.accuracy import Instrument
from rungbench.calibrations.answers import Question, number
from rungbench.calibrations.contact import LevelSeen
from rungbench.calibrations.desk import Desk, Worked, ask_instrument
from rungbench.errors import BenchError, WrongUse

NEEDED_V: Final = (-12.0, 0.0, 3.0, 6.0, 9.0, 12.0)
OFFERED_V: Final = (-12.0, -9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0, 12.0)
_AROUND_V: Final = 1.0
_BITS: Final = 10
_TRIES: Final = 3
# A dialogue that went on another day: levels further apart than this were not one calibration.
_WARMED_K: Final = 5.0
# The external reference and the divider follow the temperature by 25 ppm/K each at most, and the
# reference ages by 100 ppm in a year, all by their data sheets (hardware_notes/error_budget.md).
_PER_K: Final = math.hypot(25e-6, 25e-6) / math.sqrt(3.0)
_AGEING: Final = 100e-6 / math.sqrt(3.0)
# The middle of the converter's range is the reference's as well: 15 V at the contact.
_MIDDLE_V: Final = 15.0


@dataclass(frozen=True, slots=True)
class Reading:
    """A level: what the meter showed, and what the converter made of it."""

    meter_v: float
    seen: LevelSeen

    @property
    def level(self) -> Level:
        return Level(self.meter_v, self.seen.count, self.seen.u_count)


def calibrate_volts(desk: Desk, levels_v: tuple[float, ...]) -> Worked:
    """Ask for the levels, measure them, and fit the line.

    Raises
    ------
    WrongUse : a level that is needed is missing.
    BenchError : the levels do not lie on a line, or were not measured at one temperature.
    """
    answers = desk.answers
    meter = ask_instrument(answers, "volts", "reference meter", "V")
    bend = answers.get(
        Question(
            "volts.converter_counts",
            "Non-linearity of the converter by its data sheet, in counts either way",
            number(0.0, 4.0, "counts"),
            "0.5",
        )
    )
    nominal = _nominal(desk, levels_v)
    readings = [_reading(desk, one) for one in nominal]
    _check_warmth(readings)
    u_bend = bend / math.sqrt(3.0)
    fit = fit_line([reading.level for reading in readings], meter.standard, u_bend)
    check_line(fit)
    found = _worked(meter, readings, fit, u_bend)
    return replace(found, result={**found.result, **drift(desk.span_k)})


def drift(span_k: float) -> dict[str, float]:
    """What temperature and age may move until the end, per kelvin of the span, standard."""
    per_k = math.hypot(_PER_K * span_k, _AGEING) / span_k
    return {"drift_relative_per_k": per_k, "u_drift_v_per_k": per_k * _MIDDLE_V}


def _check_warmth(readings: list[Reading]) -> None:
    """Refuse levels between which the board's temperature changed; `BenchError`."""
    warmth = [one.seen.temperature_c for one in readings if one.seen.temperature_c is not None]
    if warmth and max(warmth) - min(warmth) > _WARMED_K:
        raise BenchError(
            f"The board was at {min(warmth):.1f} to {max(warmth):.1f} °C between the first and the "
            f"last level, more than {_WARMED_K:g} K; let it warm up and calibrate again with "
            "--restart."
        )


def check_line(fit: LineFit) -> None:
    """Refuse levels that do not lie on a line; `BenchError` with the figure."""
    worst = fit.worst
    if worst.too_large:
        raise BenchError(
            f"The levels do not lie on a line: at {worst.reading_v:+.3f} V the rest is "
            f"{worst.rest_v * 1e3:+.1f} mV, where noise, converter and meter allow "
            f"{worst.allowed_v * 1e3:.1f} mV; check that reading and the wiring, and calibrate "
            "again with --restart."
        )


def _nominal(desk: Desk, levels_v: tuple[float, ...]) -> list[float]:
    """Levels to be measured, those that are needed among them."""
    chosen = list(levels_v)
    if desk.answers.from_file:
        chosen = [number(-14.5, 14.5, "V")(key) for key in desk.answers.keys("volts.readings.")]
    for needed in NEEDED_V:
        if not any(abs(level - needed) <= _AROUND_V for level in chosen):
            raise WrongUse(
                f"No level is near {needed:+g} V; levels near "
                f"{', '.join(f'{one:+g}' for one in NEEDED_V)} V are needed, and more are welcome."
            )
    return chosen


def _reading(desk: Desk, nominal: float) -> Reading:
    """One level: typed, then measured; what does not fit is asked again."""
    key = f"volts.readings.{nominal:g}"
    measured = f"volts.measured.{nominal:g}"
    by_itself = " (the simulated bench applies what you type)" if desk.contact.simulated else ""
    question = Question(
        key,
        f"Apply about {nominal:+g} V to the pilot contact; when meter and supply are steady, type "
        f"the meter's reading in V{by_itself}",
        number(-14.5, 14.5, "V"),
    )
    kept = desk.answers.draft.answers.get(measured)
    for _ in range(_TRIES):
        meter_v = desk.answers.get(question)
        if abs(meter_v - nominal) > _AROUND_V:
            desk.answers.again(key, f"{meter_v:g} V is not about {nominal:+g} V.")
            continue
        if kept is not None and not desk.answers.from_file:
            return Reading(meter_v, LevelSeen(**json.loads(kept)))
        try:
            return _measure(desk, measured, meter_v)
        except BenchError as problem:
            if desk.answers.from_file:
                raise
            desk.answers.again(key, str(problem))
    raise BenchError(f"The level near {nominal:+g} V could not be measured; check the wiring.")


def _measure(desk: Desk, key: str, meter_v: float) -> Reading:
    if desk.contact.waiting:
        desk.answers.person.tell(f"{meter_v:+g} V at the contact: {desk.contact.waiting}")
    seen = desk.contact.level(meter_v)
    if not desk.answers.from_file:
        plain = {
            "count": seen.count,
            "u_count": seen.u_count,
            "noise": seen.noise,
            "temperature_c": seen.temperature_c,
        }
        desk.answers.draft.put(key, json.dumps(plain))
    desk.answers.person.tell(
        f"{meter_v:+.4f} V: {seen.count:.2f} counts, noise {seen.noise:.2f} counts"
    )
    return Reading(meter_v, seen)


def _worked(meter: Instrument, readings: list[Reading], fit: LineFit, u_bend: float) -> Worked:
    standard = meter.standard
    result = {
        "bits": _BITS,
        "gain_v": fit.gain_v,
        "offset_v": fit.offset_v,
        "u_gain_relative": fit.u_gain_relative,
        "u_zero_v": fit.u_zero_v,
        "correlation": fit.correlation,
        "degrees_of_freedom": fit.dof,
        "birge_ratio": fit.birge,
        "u_linearity_v": fit.u_linearity_v,
        "u_nonlinearity_counts": u_bend,
        "u_meter_relative": standard.relative,
        "u_meter_v": standard.fixed,
    }
    rows = [
        {
            "meter_v": reading.meter_v,
            "count": reading.seen.count,
            "u_count": reading.seen.u_count,
            "noise_counts": reading.seen.noise,
            "temperature_c": reading.seen.temperature_c,
            "rest_v": rest.rest_v,
            "allowed_v": rest.allowed_v,
        }
        for reading, rest in zip(readings, fit.rests, strict=True)
    ]
    return Worked((meter,), {"levels": rows}, result, tuple(_lines(fit)))


def _lines(fit: LineFit) -> list[str]:
    lines = [
        f"line: {fit.gain_v * 1e3:.4f} mV a count, {fit.offset_v:.4f} V at count 0; standard "
        f"uncertainty of the fit {fit.u_gain_relative * 100:.3f} % and {fit.u_zero_v * 1e3:.2f} mV "
        f"at 0 V, {fit.dof:.0f} degrees of freedom"
    ]
    lines += [
        f"{rest.reading_v:+9.4f} V: rest {rest.rest_v * 1e3:+7.2f} mV of {rest.allowed_v * 1e3:.2f}"
        for rest in fit.rests
    ]
    return lines

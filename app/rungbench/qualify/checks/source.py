"""The charger's source, worked out from all settings that the run has measured so far."""

import math
from typing import Final

from pilotsignal.budget import combine
from pilotsignal.calibration import KnownPart
from pilotsignal.circuit_fit import Seen, SourceFit, fit_source
from pilotsignal.errors import CircuitError
from pilotsignal.judge import Verdict, withheld
from pilotsignal.known_standin import KnownDiode, KnownLoad, KnownStandIn
from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity
from rungbench.link.words import Rung, Setting
from rungbench.qualify.case import Case, Finding, found
from rungbench.qualify.checks.kind import CheckKind
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.ladder_limit import part_rows

_RESISTORS: Final = {
    Rung.B: ("permanent",),
    Rung.C: ("permanent", "switched_c"),
    Rung.D: ("permanent", "switched_d"),
}
_PLATEAUS: Final = ("high_plateau_v", "low_plateau_v")
# One drop for the whole working range, 2.75 to 10 mA (IEC 61851-1:2017 Table A.3), stands in its
# middle.
_MIDDLE_A: Final = math.sqrt(2.75e-3 * 10e-3)


def source_resistance(case: Case) -> Finding:
    """Source resistance by the fit of the pilot circuit to the plateaus of all settings.

    From the circuit of IEC 61851-1:2017, figure A.1, with the input of the bench; gain, offset and
    parts are inputs that the levels share, so that their correlation is right.
    """
    limit = case.profile.limit("source_resistance")
    if _level(case.evidence, "high_plateau_v") is None:
        return found(withheld(limit, *case.missing("high_plateau_v")))
    return _judged(case, limit, "source_resistance_ohm")


def high_rail(case: Case) -> Finding:
    """High rail: what the fit puts before the source resistor; else the idle level as it is."""
    return _rail(case, "open_high", _level(case.against, "high_plateau_v"))


def low_rail(case: Case) -> Finding:
    """Low rail: what the fit puts before the source resistor; else the low plateau as it is."""
    return _rail(case, "open_low", _level(case.evidence, "low_plateau_v"))


def _rail(case: Case, key: str, level: Quantity | None) -> Finding:
    limit = case.profile.limit(key)
    if level is None:
        return found(withheld(limit, *case.missing(key)))
    if _parts_doubt(case):
        return found(case.judge(level, limit))
    return _judged(case, limit, f"{key}_v")


def _judged(case: Case, limit: Limit, name: str) -> Finding:
    """Judge one result of the fit; where the model does not hold nobody is blamed."""
    doubt = _parts_doubt(case)
    if doubt:
        return found(withheld(limit, Verdict.UNDECIDED, doubt))
    try:
        fit = fit_source(_seen(case), _known_standin(case))
    except CircuitError as problem:
        return found(withheld(limit, Verdict.UNDECIDED, str(problem)))
    quantity = fit.quantities.get(name)
    if quantity is None:
        return found(withheld(limit, *case.missing(name)))
    judgement = case.judge(quantity, limit)
    # Without a probability there were no grounds to judge at all, which says more.
    if not fit.holds and judgement.conformance_probability is not None:
        judgement = withheld(limit, Verdict.UNDECIDED, fit.text)
    return found(judgement, quantities=(quantity,), observations=_told(fit))


def _told(fit: SourceFit) -> dict[str, str]:
    said = {"settings": ", ".join(fit.settings), "goodness of fit": fit.text}
    if fit.probability is not None:
        said["chi-square"] = f"{fit.chi_square:.2f} at {fit.freedom} degrees of freedom"
        said["probability"] = f"{fit.probability:.3g}"
    return said


def _parts_doubt(case: Case) -> str:
    """Why the ladder's parts do not carry a fit, or nothing."""
    calibration, setting = case.bench.calibration, case.evidence.applied.reported
    if setting.rung not in _RESISTORS:
        return "The source is worked out from rungs B, C and D; judge it from a step on one."
    if _known_load(case, setting) is not None and calibration.parts.get("input_ohm") is not None:
        return ""
    doubt = calibration.doubts.get("parts", "calibrate the stand-in.")
    return f"uncalibrated: the ladder's parts are not known; {doubt}"


def _evidence(case: Case) -> dict[Setting, Evidence]:
    """The last observation of each setting that the run has measured so far."""
    at_hand = [case.evidence] if case.against is None else [case.against, case.evidence]
    return {**case.levels, **{one.applied.reported: one for one in at_hand}}


def _seen(case: Case) -> list[Seen]:
    """Plateaus of the settings whose parts are known."""
    found_at = []
    for setting, evidence in _evidence(case).items():
        levels = [_level(evidence, name) for name in _PLATEAUS]
        measured = tuple(level for level in levels if level is not None)
        load = _known_load(case, setting)
        if load is not None and measured:
            found_at.append(Seen(load, measured))
    return found_at


def _known_load(case: Case, setting: Setting) -> KnownLoad | None:
    """What a setting presents, or ``None`` where a part of it is not known."""
    calibration = case.bench.calibration
    if not setting.pe_closed:
        return None
    if setting.rung is Rung.OPEN:
        return KnownLoad(setting.text())
    if setting.rung is Rung.SHORT:
        short = calibration.parts.get("short")
        return None if short is None else KnownLoad(setting.text(), short=as_quantity(short))
    ladder = [calibration.resistor(role, setting.ladder) for role in _RESISTORS[setting.rung]]
    known = tuple(as_quantity(part) for part in ladder if part is not None)
    if len(known) < len(ladder):
        return None
    if setting.diode_in and calibration.diode_on(setting.rung, setting.ladder) is None:
        return None
    return KnownLoad(setting.text(), known, setting.diode_in)


def _known_standin(case: Case) -> KnownStandIn:
    sense = case.bench.calibration.parts.get("input_ohm")
    return KnownStandIn(_known_diode(case), None if sense is None else as_quantity(sense))


def _known_diode(case: Case) -> KnownDiode | None:
    """The curve through the calibrated drops with the least and the most current."""
    points: dict[str, tuple[float, KnownPart]] = {}
    for setting in _evidence(case):
        load = _known_load(case, setting)
        drop = case.bench.calibration.diode_on(setting.rung, setting.ladder)
        if load is None or not load.through_diode or drop is None:
            continue
        ohm = 1.0 / sum(1.0 / part.value for part in load.ladder)
        whole_range = drop is case.bench.calibration.parts.get("diode_drop")
        points[drop.id] = (_MIDDLE_A if whole_range else _nominal_a(case, drop, ohm), drop)
    if not points:
        return None
    ordered = sorted(points.values(), key=lambda point: point[0])
    (first_a, first), (last_a, last) = ordered[0], ordered[-1]
    if last_a <= first_a:
        return KnownDiode(as_quantity(first), first_a)
    return KnownDiode(as_quantity(first), first_a, as_quantity(last), last_a)


def _nominal_a(case: Case, drop: KnownPart, ohm: float) -> float:
    """Current at which the drop of a rung is stated: that of a nominal charger."""
    rail = case.profile.limit("open_high").nominal or 12.0
    source = case.profile.limit("source_resistance").nominal or 1000.0
    return (rail - drop.value) / (source + ohm)


def _level(evidence: Evidence | None, name: str) -> Quantity | None:
    measurement = evidence.measurement if evidence else None
    return measurement.quantities()[name] if measurement else None


def as_quantity(part: KnownPart) -> Quantity:
    """A calibrated part as an input with a budget of one row."""
    return combine(part.id, part.unit, part.value, "calibration", part_rows(part, 1.0))


KINDS = (
    CheckKind("source-resistance", "Source resistance", source_resistance, compares=True),
    CheckKind("rail-high", "High rail of the generator", high_rail, compares=True),
    CheckKind("rail-low", "Low rail of the generator", low_rail, compares=True),
)

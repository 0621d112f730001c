"""The charger's source, worked out from two loads."""

from typing import Any

from pilotsignal.budget import combine, derive
from pilotsignal.calibration import KnownPart
from pilotsignal.judge import Verdict, withheld
from pilotsignal.quantity import Quantity
from rungbench.link.words import Rung
from rungbench.qualify.case import Case, Finding, found
from rungbench.qualify.checks.kind import CheckKind
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.ladder_limit import part_row


def source_resistance(case: Case) -> Finding:
    """Source resistance from the idle level and that at the permanent resistor.

    ``R1 = (U_A - U_B) / ((U_B - U_diode) / R_perm - (U_A - U_B) / R_in)``, from the circuit of
    IEC 61851-1:2017, figure A.1, with the input of the bench; gain, offset and parts are inputs
    that both levels share, so that their correlation is right.
    """
    limit = case.profile.limit("source_resistance")
    inputs = _inputs(case)
    if isinstance(inputs, str):
        return found(withheld(limit, Verdict.UNDECIDED, inputs))
    if inputs is None:
        return found(withheld(limit, *case.missing("high_plateau_v")))
    quantity = derive(
        "source_resistance_ohm",
        "ohm",
        "levels with nothing connected and on rung B",
        source_ohm,
        inputs,
    )
    return found(case.judge(quantity, limit))


def high_rail(case: Case) -> Finding:
    """High rail: the idle level, less what the bench's own input loads it."""
    idle = _level(case.against, "high_plateau_v")
    return _rail(case, "open_high", idle)


def low_rail(case: Case) -> Finding:
    """Low rail: the low plateau behind the blocking diode, less the load of the bench's input."""
    low = _level(case.evidence, "low_plateau_v")
    return _rail(case, "open_low", low)


def _rail(case: Case, key: str, level: Quantity | None) -> Finding:
    limit = case.profile.limit(key)
    if level is None:
        return found(withheld(limit, *case.missing(key)))
    inputs = _inputs(case)
    if inputs is None or isinstance(inputs, str):
        return found(case.judge(level, limit))
    rail = derive(
        f"{key}_v",
        "V",
        "level before the source resistor",
        lambda volts, *rest: volts * (1.0 + source_ohm(*rest) / rest[-1]),
        (level, *inputs),
    )
    return found(case.judge(rail, limit))


def source_ohm(idle: Any, loaded: Any, ohm: Any, drop: Any, input_ohm: Any) -> Any:
    """Source resistance from two levels and the parts, for plain or uncertain numbers."""
    return (idle - loaded) / ((loaded - drop) / ohm - (idle - loaded) / input_ohm)


def _inputs(case: Case) -> tuple[Quantity, ...] | str | None:
    """Levels and parts; a sentence where parts are not known, ``None`` where levels are not."""
    if case.evidence.applied.reported.rung is not Rung.B:
        return "The source is worked out from rung B only; judge it from a step on B."
    parts = case.bench.calibration.parts
    # The drop depends on the current: that at rung B, where it was measured, is the one to use.
    drop = parts.get("diode_drop_b") or parts.get("diode_drop")
    known = [parts.get("permanent"), drop, parts.get("input_ohm")]
    if any(part is None for part in known):
        return "uncalibrated: the ladder's parts are not known; calibrate the stand-in."
    idle = _level(case.against, "high_plateau_v")
    loaded = _level(case.evidence, "high_plateau_v")
    if idle is None or loaded is None:
        return None
    return (idle, loaded, *(as_quantity(part) for part in known if part is not None))


def _level(evidence: Evidence | None, name: str) -> Quantity | None:
    measurement = evidence.measurement if evidence else None
    return measurement.quantities()[name] if measurement else None


def as_quantity(part: KnownPart) -> Quantity:
    """A calibrated part as an input with a budget of one row."""
    return combine(part.id, part.unit, part.value, "calibration", [part_row(part, 1.0)])


KINDS = (
    CheckKind("source-resistance", "Source resistance", source_resistance, compares=True),
    CheckKind("rail-high", "High rail of the generator", high_rail, compares=True),
    CheckKind("rail-low", "Low rail of the generator", low_rail, compares=True),
)

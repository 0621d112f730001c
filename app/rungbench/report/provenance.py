"""Who, with what, by what: charger, bench, calibration and its validity, profile, versions."""

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any, Final

from pilotsignal.errors import ProfileError
from pilotsignal.standard import load_profile
from rungbench.archive.record import Record, RunHeader
from rungbench.report.figures import amperes, moment
from rungbench.report.sheet import Sheet
from rungbench.report.standing import origin_pairs
from rungbench.report.table import heading, pairs

_UNSTATED: Final[tuple[object, ...]] = (None, "", [], {}, ())
_UNITS: Final = {"s": "s", "v": "V", "ohm": "ohm", "hz": "Hz", "c": "°C"}
_OF_BOARD: Final = ("board_id", "firmware", "protocol", "oscillator", "phases_sensed")
_CONFIRM: Final = "Not checked against a purchased copy: confirm against your own copy."

Pairs = Iterator[tuple[str, str]]


def draw_provenance(sheet: Sheet, record: Record) -> None:
    """The sections about charger, bench and calibration."""
    header = record.header
    heading(sheet, "Charger")
    pairs(sheet, charger_pairs(header))
    heading(sheet, "Run")
    pairs(sheet, run_pairs(record))
    heading(sheet, "Bench and calibration")
    pairs(sheet, bench_pairs(header))
    pairs(sheet, calibration_pairs(header))


def charger_pairs(header: RunHeader) -> Pairs:
    """The charger as it was described."""
    charger = header.charger
    yield "Maker", charger.maker
    yield "Model", charger.model
    yield "Serial number", charger.serial
    yield "Rated current", amperes(charger.rated_current_a)
    yield "Set current", amperes(charger.set_current_a)
    yield "Phases", f"{charger.phases}"
    yield "Outlet", charger.outlet
    yield "Ventilation", charger.ventilation
    yield "Notes", charger.notes


def run_pairs(record: Record) -> Pairs:
    """When, who, by which plan and limits."""
    header = record.header
    yield "Record", record.run_id
    yield "Started", moment(header.started)
    yield "Ended", ended(record)
    yield "Interrupted", record.interrupted or ""
    yield from origin_pairs(record)
    yield "Operator", header.operator or "not stated"
    yield "Plan", f"{header.plan}, SHA-256 {header.plan_hash}"
    yield "Profile", f"{header.profile}, SHA-256 {header.profile_hash}"
    yield "", confirm(header)
    yield "Made safe", _listed(record.make_safe)
    yield "Software", _listed(header.versions)


def ended(record: Record) -> str:
    """When a run ended and how long it took, or that it came to no end."""
    if record.finished is None:
        return "no end was recorded"
    seconds = (record.finished - record.header.started).total_seconds()
    return f"{moment(record.finished)}, after {seconds:.0f} s by the computer's clock"


def confirm(header: RunHeader) -> str:
    """That nobody compared the limits with a bought standard."""
    try:
        profile = load_profile(header.profile)
    except ProfileError:
        return _CONFIRM
    return profile.confirm if profile.hash == header.profile_hash else _CONFIRM


def bench_pairs(header: RunHeader) -> Pairs:
    """Address and board."""
    board = header.board
    yield "Bench", header.bench_url
    yield "Board", _listed({name: board[name] for name in _OF_BOARD if name in board})


def calibration_pairs(header: RunHeader) -> Pairs:
    """Calibration of the bench, its validity on the day, and the records that it goes by."""
    plain = header.calibration
    stated = {"id": plain.get("id"), "made": plain.get("made"), "by": plain.get("by")}
    yield "Calibration", _listed(stated) or "none: no voltage can be judged"
    yield "Validity", validity(header)
    temperature = plain.get("temperature_c")
    yield "Board temperature", "" if temperature is None else f"{temperature:.1f} °C"
    for one in plain.get("records", ()):
        instruments = "; ".join(str(name) for name in one.get("instruments", ()))
        yield (
            f"Calibrated {one.get('part', '')}",
            f"{one.get('id')}, made {one.get('made')} by {one.get('by')}, valid until "
            f"{one.get('valid_until')}" + (f", against {instruments}" if instruments else ""),
        )
    for part, why in plain.get("doubts", {}).items():
        yield f"{part} NOT USED", str(why)
    yield from _uncertainties(plain)


def validity(header: RunHeader) -> str:
    """Whether the calibration was valid on the day of the run."""
    made, until = header.calibration.get("made"), header.calibration.get("valid_until")
    if not until:
        return "no end of validity is stated"
    day = header.started.date()
    inside = (not made or date.fromisoformat(str(made)) <= day) and day <= date.fromisoformat(
        str(until)
    )
    word = "valid" if inside else "NOT VALID"
    return f"until {until}; {word} on the day of the run"


def _uncertainties(plain: Mapping[str, Any]) -> Pairs:
    gain, offset = plain.get("u_gain_relative"), plain.get("u_offset_v")
    if gain is not None and offset is not None:
        yield "Voltage", f"standard uncertainty: gain {gain:.3g} relative, offset {offset:.3g} V"
    clock = plain.get("time_base")
    if isinstance(clock, Mapping):
        u = clock.get("u_relative")
        stated = "not stated" if u is None else f"{u:.2g} relative"
        yield "Time base", f"{clock.get('id')}, {clock.get('kind')}, standard uncertainty {stated}"


def _listed(plain: Mapping[str, Any]) -> str:
    stated = ((name, value) for name, value in plain.items() if value not in _UNSTATED)
    return ", ".join(_named(name, value) for name, value in stated)


def _named(name: str, value: Any) -> str:
    """A value by its name; the unit at the end of the name stands behind the value."""
    words, _, end = name.rpartition("_")
    if end in _UNITS and words and isinstance(value, int | float):
        return f"{words.replace('_', ' ')} {value} {_UNITS[end]}"
    return f"{name.replace('_', ' ')} {_flat(value)}"


def _flat(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"({_listed(value)})"
    if isinstance(value, list | tuple):
        return " ".join(_flat(one) for one in value)
    return str(value)

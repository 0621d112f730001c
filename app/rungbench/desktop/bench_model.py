"""What the bench view tells of ports, board, health, parts and calibrations; no Qt."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from datetime import date
from typing import Final

from pilotsignal.calibration import KnownPart
from rungbench.calibrations.parts import part_name, resistors
from rungbench.calibrations.record import CalibrationRecord, Part
from rungbench.calibrations.store import CalibrationStore, newest
from rungbench.desktop.figures import number, short
from rungbench.link.messages import Health, Identity
from rungbench.link.port import list_ports
from rungbench.link.usb import without_port
from rungbench.link.words import LadderSet, Rung
from rungbench.standin.calibration import BenchCalibration
from rungbench.standin.record import Losses

SOON_DAYS: Final = 30
"""A record that ends within so many days is said to be due."""

_SIMULATED: Final = (
    ("sim://sound", "a charger that conforms"),
    ("sim://sound?source_ohm=1100", "source resistor of 1100 Ω"),
    ("sim://sound?voc_high_v=12.9", "high rail of 12.9 V"),
    ("sim://sound?pulse_offset_us=12", "pulses 12 µs too long"),
    ("sim://sound?frequency_hz=1012", "pilot of 1012 Hz"),
    ("sim://sound?checks_diode=no", "does not look for the diode"),
    ("sim://sound?open_ms=250", "opens 250 ms after C to B"),
    ("sim://sound?welded=yes", "contacts that stay closed"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """A bench that can be chosen: its address and what it is."""

    url: str
    text: str
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class Places:
    """All benches that there are to choose from; `remarks` are sentences about drivers."""

    places: tuple[Place, ...]
    remarks: tuple[str, ...] = ()


def find_places() -> Places:
    """Serial ports, then simulated benches; no port is opened."""
    ports = [
        Place(
            port.url, " ".join(filter(_known, (port.description, port.hardware))) or "serial port"
        )
        for port in list_ports()
    ]
    simulated = [Place(url, text, simulated=True) for url, text in _SIMULATED]
    remarks = [text[0].upper() + text[1:] for text in (one.text() for one in without_port())]
    if not ports and not remarks:
        remarks = ["No serial port is there; plug the board in and look again."]
    return Places((*ports, *simulated), tuple(remarks))


def _known(text: str) -> bool:
    """Whether the system says anything of a port."""
    return text not in ("", "n/a")


def in_real_time(url: str) -> str:
    """The address, a simulated bench at one second a second unless it says otherwise."""
    if not url.lower().startswith("sim://") or "speed=" in url:
        return url
    return f"{url}{'&' if '?' in url else '?'}speed=1"


def identity_lines(identity: Identity) -> Iterator[tuple[str, str]]:
    """Who the board is and what it can do, name by name."""
    low, high = identity.converter_low_v, identity.converter_high_v
    yield "Board", identity.board_id or "no id yet"
    yield "Firmware", f"{identity.firmware}, protocol {identity.protocol}"
    yield "Oscillator", str(identity.oscillator)
    yield "Last reset", str(identity.reset_cause)
    yield "Rungs", ", ".join(identity.rungs)
    yield "Ladder sets", ", ".join(identity.ladders)
    yield "Cable codes", ", ".join(identity.cable_codes)
    yield "Can bypass the diode", _yes(identity.can_bypass_diode)
    yield "Can open the PE return", _yes(identity.can_open_pe)
    yield "Phases sensed", str(identity.phases_sensed)
    yield "Converter", f"{identity.converter_bits} bit, {short(low)} to {short(high)} V by design"
    yield "Longest hold", f"C {identity.hold_c_s} s, D {identity.hold_d_s} s"


def health_lines(health: Health) -> Iterator[tuple[str, str]]:
    """How the board is, by its last report; counts run since hello."""
    yield "Presents", health.setting.text()
    yield "Interlock", "closed" if health.interlock_closed else "OPEN: C and D are refused"
    yield "Mains", ", ".join(f"L{phase}" for phase in health.mains) or "none"
    warm = health.temperature_c
    yield "Temperature", "not told by this board" if warm is None else f"{number(warm, 1)} °C"
    yield "Converter overruns", str(health.overruns)
    yield "Edges dropped", str(health.dropped_edges)
    yield "Samples dropped", str(health.dropped_samples)


_LOSS_WORDS: Final = {
    "frames_lost": "Frames lost",
    "frames_damaged": "Frames damaged",
    "frames_reordered": "Frames out of order",
    "queue_overflow": "Messages dropped here",
    "samples_missing": "Samples missing",
    "edges_missing": "Edges missing",
}


def loss_lines(losses: Losses) -> Iterator[tuple[str, str]]:
    """What the link lost, name by name."""
    for name, words in _LOSS_WORDS.items():
        yield words, str(getattr(losses, name))


def added(first: Losses, second: Losses) -> Losses:
    """Two counts of losses together."""
    names = [field.name for field in fields(Losses)]
    return Losses(*(getattr(first, name) + getattr(second, name) for name in names))


# Parts ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part of the stand-in: by design, and as known, with its standard uncertainty."""

    name: str
    ladder: str
    design: float | None
    known: KnownPart | None
    unit: str


_ROLES: Final = {
    "permanent": "permanent resistor",
    "switched_c": "switched resistor of C",
    "switched_d": "switched resistor of D",
    "short": "resistor of rung short",
    "input_ohm": "load of the measuring path",
}


def part_rows(identity: Identity, calibration: BenchCalibration) -> Iterator[PartRow]:
    """Resistors of the board and drops of its diode, set by set."""
    designs = {one.name: one.ohm for one in resistors(identity.ladders, identity.cable_codes)}
    for name, ohm in designs.items():
        role, ladder = _split(name)
        words = _ROLES.get(role) or f"cable code {name.removeprefix('cable_')} A"
        yield PartRow(words, ladder, ohm, calibration.parts.get(name), "ohm")
    yield PartRow("diode, whole range", "", None, calibration.parts.get("diode_drop"), "V")
    for rung in (Rung.B, Rung.C, Rung.D):
        for ladder_set in identity.ladders:
            name = part_name(f"diode_drop_{rung.lower()}", ladder_set)
            known = calibration.parts.get(name)
            if known is not None:
                yield PartRow(f"diode at the current of {rung}", str(ladder_set), None, known, "V")


def _split(name: str) -> tuple[str, str]:
    """Role and ladder set of a part's name."""
    for ladder in (LadderSet.LOW, LadderSet.HIGH):
        if name.endswith(f"_{ladder}"):
            return name.removesuffix(f"_{ladder}"), str(ladder)
    ladders = ("permanent", "switched_c", "switched_d")
    return name, str(LadderSet.NOMINAL) if name in ladders else ""


# Calibrations ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RecordRow:
    """A calibration record, and what becomes of it on a day: `state` in words."""

    record: CalibrationRecord
    state: str
    in_use: bool


@dataclass(frozen=True, slots=True)
class Shown:
    """All records of some boards, newest first, and sentences about those that are damaged."""

    rows: tuple[RecordRow, ...]
    remarks: tuple[str, ...] = ()


def shown_records(store: CalibrationStore, board_id: str, today: date) -> Shown:
    """Records of one board; an empty `board_id` means all boards."""
    shelf = store.shelf()
    records = [one for one in shelf.records if board_id in ("", one.board_id)]
    boards = {one.board_id for one in records}
    used = {
        record.id
        for board in boards
        for record in newest(
            (one for one in records if one.board_id == board), today, None
        ).values()
    }
    rows = [RecordRow(one, due_text(one, used, today), one.id in used) for one in records]
    return Shown(tuple(reversed(rows)), tuple(str(problem) for problem in shelf.damaged))


def due_text(record: CalibrationRecord, used: Iterable[str], today: date) -> str:
    """What becomes of a record: replaced, in use, due soon, ended."""
    days = (record.made.valid_until - today).days
    if record.id not in used:
        return "replaced by a later one"
    if days < 0:
        return f"ended {-days} days ago: calibrate again"
    if days <= SOON_DAYS:
        return f"due in {days} days"
    return f"in use, {days} days left"


def missing_parts(shown: Shown) -> tuple[Part, ...]:
    """Parts of which no record is in use."""
    there = {row.record.part for row in shown.rows if row.in_use}
    return tuple(part for part in Part if part not in there)


PART_WORDS: Final = {
    Part.VOLTS: "voltage scale of the converter",
    Part.CLOCK: "clock",
    Part.PARTS: "resistors and diode",
    Part.WIDTHS: "pulse width at the comparator",
}


def _yes(able: bool) -> str:
    return "yes" if able else "no"

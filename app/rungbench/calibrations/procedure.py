"""A calibration from the first question to the records, one part after the other.

A part that is done is stored at once.  What was answered of the next one waits in the draft, so
that breaking off loses nothing.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from rungbench.calibrations.answers import Answers, Question, any_text, last_day, number, text_of
from rungbench.calibrations.clock import calibrate_clock
from rungbench.calibrations.compose import compose
from rungbench.calibrations.contact import Contact
from rungbench.calibrations.desk import Desk, Worked
from rungbench.calibrations.parts import calibrate_parts
from rungbench.calibrations.record import CalibrationRecord, Made, Part, new_id
from rungbench.calibrations.store import CalibrationStore
from rungbench.calibrations.volts import OFFERED_V, calibrate_volts
from rungbench.calibrations.widths import calibrate_widths
from rungbench.errors import BenchError, WrongUse
from rungbench.standin.calibration import BenchCalibration

_DONE: Final = "done."
_VALID_DAYS: Final = "365"
_SPAN_K: Final = "10"
_FARTHEST_K: Final = 10.0


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be calibrated; `operator` is offered as who does it, `base` is what is known."""

    parts: tuple[Part, ...]
    base: BenchCalibration
    operator: str = ""
    levels_v: tuple[float, ...] = OFFERED_V


def calibrate(
    job: Job, contact: Contact, answers: Answers, store: CalibrationStore
) -> Iterator[CalibrationRecord]:
    """Ask, measure and store; each record is on disk when it is handed out.

    Raises
    ------
    WrongUse, BenchError, OSError : nothing of the part in progress is stored then; its answers
        wait in the draft.  Among others where a record of the board is from the future.
    """
    _check_date(store.records(contact.identity.board_id))
    made = _ask_made(job, contact, answers)
    for part in job.parts:
        kept = answers.draft.answers.get(f"{_DONE}{part}")
        if kept is not None and not answers.from_file:
            answers.person.tell(f"{part}: done before, as {kept}.")
            continue
        answers.person.tell(f"Now: {_TITLES[part]}.")
        yield _one(part, _desk(job, contact, answers, store, made), made, store)
    if not answers.from_file:
        answers.draft.remove()


def _check_date(records: Iterable[CalibrationRecord]) -> None:
    """Refuse to make a record that would not count as the newest; `BenchError`."""
    now = datetime.now(UTC)
    for record in records:
        if record.made.at > now:
            raise BenchError(
                f"{record.id} was made at {record.made.at:%Y-%m-%d %H:%M} UTC, after now; set the "
                "clock of this computer, or move that record out of its folder."
            )


def _one(part: Part, at: "_At", made: Made, store: CalibrationStore) -> CalibrationRecord:
    """Work one part out and store it."""
    desk, levels_v = at.desk, at.levels_v
    worked = calibrate_volts(desk, levels_v) if part is Part.VOLTS else _STEPS[part](desk)
    identity = desk.contact.identity
    record = CalibrationRecord(
        id=new_id(part, identity.board_id, made.at),
        part=part,
        board_id=identity.board_id,
        firmware=identity.firmware,
        simulated=identity.simulated,
        made=made,
        instruments=worked.instruments,
        readings=worked.readings,
        result=worked.result,
    )
    store.add(record)
    for line in worked.lines:
        desk.answers.person.tell(line)
    if not desk.answers.from_file:
        desk.answers.draft.forget(f"{part}.")
        desk.answers.draft.put(f"{_DONE}{part}", record.id)
    return record


@dataclass(frozen=True, slots=True)
class _At:
    desk: Desk
    levels_v: tuple[float, ...]


def _desk(job: Job, contact: Contact, answers: Answers, store: CalibrationStore, made: Made) -> _At:
    """With what is known by now: a part just made serves those that follow."""
    records = store.records(contact.identity.board_id)
    known = compose(job.base, records, made.on, made.temperature_c)
    return _At(Desk(answers, contact, known, made.span_k), job.levels_v)


def _ask_made(job: Job, contact: Contact, answers: Answers) -> Made:
    now = datetime.now(UTC).replace(microsecond=0)
    by = answers.get(
        Question("by", "Who calibrates", text_of("who calibrates"), job.operator or None)
    )
    own = contact.temperature_c
    sensed = "" if own is None else f" (its own sensor says {own:.1f})"

    def temperature(text: str) -> float:
        value = number(-20.0, 70.0, "degrees C")(text)
        if own is not None and abs(value - own) > _FARTHEST_K:
            raise WrongUse(
                f"{value:g} °C is far from the {own:.1f} °C of the board's own sensor, which the "
                "program goes by afterwards; wait until the bench is warm, or repair the sensor."
            )
        return value

    warmth = answers.get(
        Question(
            "temperature_c",
            f"Temperature of the board in °C{sensed}",
            temperature,
            None if own is None else f"{own:.1f}",
        )
    )
    span_k = answers.get(
        Question(
            "span_k",
            "How many kelvin around it the calibration shall hold",
            number(1.0, 25.0, "K"),
            _SPAN_K,
        )
    )
    until = answers.get(
        Question(
            "valid_until",
            "Until when it shall hold: a day such as 2027-05-31, or a number of days",
            last_day(now.date()),
            _VALID_DAYS,
        )
    )
    note = answers.get(Question("note", "Anything to note", any_text, ""))
    return Made(now, until, by, warmth, span_k, note)


_TITLES: Final[Mapping[Part, str]] = {
    Part.VOLTS: "the converter's line, by known voltages",
    Part.CLOCK: "the clock, by a known frequency",
    Part.PARTS: "resistors and diode of the ladder",
    Part.WIDTHS: "what the comparator adds to a pulse",
}
_STEPS: Final[Mapping[Part, Callable[[Desk], Worked]]] = {
    Part.CLOCK: calibrate_clock,
    Part.PARTS: calibrate_parts,
    Part.WIDTHS: calibrate_widths,
}

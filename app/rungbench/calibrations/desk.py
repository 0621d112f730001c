"""What every step of a calibration works with, and what it leaves behind."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rungbench.calibrations.accuracy import STATED, Instrument
from rungbench.calibrations.answers import Answers, Question, any_text, number, one_of, text_of
from rungbench.calibrations.contact import Contact
from rungbench.standin.calibration import BenchCalibration

_WAYS: Final = ", ".join(STATED)


@dataclass(frozen=True, slots=True)
class Desk:
    """Answers, the contact, and the board's calibration so far; `span_k` is that of the record."""

    answers: Answers
    contact: Contact
    calibration: BenchCalibration
    span_k: float


@dataclass(frozen=True, slots=True)
class Worked:
    """What a step worked out; `lines` tell people of it."""

    instruments: tuple[Instrument, ...]
    readings: Mapping[str, Any]
    result: Mapping[str, Any]
    lines: tuple[str, ...]


def ask_instrument(answers: Answers, prefix: str, what: str, unit: str) -> Instrument:
    """Who the reference is, and what it is worth."""
    named = Question(f"{prefix}.meter", f"Name of the {what}", text_of(f"which {what} it is"))
    name = answers.get(named)
    serial = answers.get(Question(f"{prefix}.serial", "Its serial number", any_text, ""))
    digit = answers.get(
        Question(
            f"{prefix}.digit",
            f"What its last digit stands for, in {unit} (0: does not matter)",
            number(0.0, 1e6, unit),
            "0",
        )
    )
    stated_as = answers.get(
        Question(
            f"{prefix}.stated_as",
            f"How its accuracy is stated ({_WAYS})",
            one_of(*STATED),
            "limit",
        )
    )

    def parse(text: str) -> Instrument:
        return Instrument(name, serial, text.strip(), digit, stated_as, unit).checked()

    accuracy = f"Its accuracy, such as 0.05 % + 3 digits or 0.1 % + 0.002 {unit}"
    return answers.get(Question(f"{prefix}.accuracy", accuracy, parse))

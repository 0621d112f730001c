"""What the comparator adds to a high pulse, by rung: from a known width at 0 V, or typed."""

import math
from typing import Any, Final

from pilotsignal.calibration_fit import Known
from pilotsignal.quantity import Quantity
from rungbench.calibrations.accuracy import Instrument
from rungbench.calibrations.answers import Answers, Question, number, one_of
from rungbench.calibrations.contact import Pulses
from rungbench.calibrations.desk import Desk, Worked, ask_instrument
from rungbench.calibrations.result import ANY_RUNG
from rungbench.errors import BenchError
from rungbench.link.words import Rung

RUNGS: Final = (ANY_RUNG, Rung.B.value, Rung.C.value, Rung.D.value)
_RECORD_S: Final = 5.0
_FARTHEST_US: Final = 5.0
# A comparator's threshold may be off by 56 mV with parts of 0.1 %, and wander.  A source with steep
# edges does not show that, and a pilot of up to 3.1 nF shows 36 ns of it
# (hardware_notes/front_end.md, section 3).
_THRESHOLD_US: Final = 0.036 / math.sqrt(3.0)
_WAYS: Final = ("measured", "typed", "skip")


def calibrate_widths(desk: Desk) -> Worked:
    """Ask for each rung how its bias is found; the first one stands for all that are skipped.

    Raises
    ------
    BenchError : the board sees another width, or none.
    """
    source: Instrument | None = None
    bias: dict[str, Known] = {}
    readings: dict[str, Any] = {}
    for rung in RUNGS:
        way = _ask_way(desk.answers, rung)
        if way == "measured":
            source = source or ask_instrument(desk.answers, "widths", "pulse reference", "us")
            bias[rung], readings[rung] = _measured(desk, rung, source)
        elif way == "typed":
            bias[rung] = _typed(desk.answers, rung)
            readings[rung] = {"typed": True}
    result = {
        "bias": {
            rung: {"bias_us": found.value, "u_us": math.hypot(found.u, _THRESHOLD_US)}
            for rung, found in bias.items()
        }
    }
    lines = [
        f"pulses on {rung} rung look {found.value:+.4f} us longer, standard uncertainty "
        f"{math.hypot(found.u, _THRESHOLD_US):.4f} us"
        for rung, found in bias.items()
    ]
    return Worked(() if source is None else (source,), readings, result, tuple(lines))


def _ask_way(answers: Answers, rung: str) -> str:
    ways = _WAYS[:2] if rung == ANY_RUNG else _WAYS
    default = None if rung == ANY_RUNG else "skip"
    where = "any rung that is not named" if rung == ANY_RUNG else f"rung {rung}"
    text = f"Width bias on {where}: {', '.join(ways)}"
    return answers.get(Question(f"widths.{rung}.how", text, one_of(*ways), default))


def _typed(answers: Answers, rung: str) -> Known:
    key = f"widths.{rung}"
    value = answers.get(
        Question(
            f"{key}.bias_us",
            "How much longer a high pulse looks, in us",
            number(-_FARTHEST_US, _FARTHEST_US, "us"),
        )
    )
    u = answers.get(
        Question(f"{key}.u_us", "Its standard uncertainty, in us", number(0.001, 5.0, "us"))
    )
    return Known(value, u)


def _measured(desk: Desk, rung: str, source: Instrument) -> tuple[Known, dict[str, Any]]:
    answers, key = desk.answers, f"widths.{rung}"
    hz = answers.get(
        Question(f"{key}.frequency_hz", "Frequency of the pulses, in Hz", number(100, 5000), "1000")
    )
    width_us = answers.get(
        Question(
            f"{key}.width_us",
            f"Apply pulses through 0 V to the pilot contact{_presented(rung)}; type the width of "
            "the high part at 0 V, in us",
            number(10.0, 0.99e6 / hz, "us"),
        )
    )
    presented = Rung.OPEN if rung == ANY_RUNG else Rung(rung)
    clock = desk.calibration.time_base
    if desk.contact.waiting:
        answers.person.tell(f"pulses of {width_us:g} us at the contact: {desk.contact.waiting}")
    timing = desk.contact.pulses(Pulses(hz, width_us, presented), _RECORD_S, clock)
    seen = timing.pulse_width_zero_us
    if seen is None or abs(seen.value - width_us) > _FARTHEST_US:
        value = "nothing" if seen is None else f"{seen.value:.3f} us"
        answers.again(f"{key}.width_us", f"{width_us:g} us were typed and the board sees {value}.")
        raise BenchError(f"{width_us:g} us were typed and the board sees {value}; check both.")
    bias = Known(seen.value - width_us, _u_of(seen, source.standard.u(width_us)))
    plain = {
        "width_us": width_us,
        "frequency_hz": hz,
        "seen_us": seen.value,
        "u_seen_us": seen.u,
        "method": seen.method,
    }
    return bias, plain


def _presented(rung: str) -> str:
    return "" if rung == ANY_RUNG else f", on which the board presents rung {rung} meanwhile"


def _u_of(seen: Quantity, u_applied: float) -> float:
    return math.hypot(seen.u, u_applied)

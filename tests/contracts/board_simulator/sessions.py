"""Sessions with the firmware that are recorded once and played back by fast tests.

Each leaves the stand-in on open.  `hand` does what somebody at the bench did when it was recorded;
in a replay it does nothing, because the recording knows.  Record them anew with

    PYTHONPATH=signal:app:tests/contracts .venv/bin/python tests/board/record_links.py
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rungbench.errors import LinkLost
from rungbench.link.words import Mode, Rung, Setting
from rungbench.standin.board import StandIn
from rungbench.standin.errors import FellOpen, Refused
from rungbench.standin.record import BoardRecord

Hand = Callable[[str], object]


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What a session came to: a record, or the sentence with which it ended."""

    record: BoardRecord | None = None
    said: str = ""


def _pulsing(standin: StandIn, rung: Rung) -> None:
    standin.arm_energising()
    standin.present(Setting(rung))
    if not standin.wait_until(standin.pulsing, 3.0):
        raise AssertionError("no pulses came")
    standin.wait(0.05)


def _energised(standin: StandIn) -> None:
    _pulsing(standin, Rung.C)
    if not standin.wait_until(lambda: len(standin.mains) == 3, 3.0):
        raise AssertionError("no mains came")


def ten_bits_at_b(standin: StandIn, hand: Hand) -> Outcome:
    """B, sampled with ten bits without a break."""
    _pulsing(standin, Rung.B)
    hand("truth clear")
    return Outcome(standin.record(0.4, Mode.STREAM10))


def eight_bits_at_b(standin: StandIn, hand: Hand) -> Outcome:
    """B, sampled with eight bits without a break."""
    _pulsing(standin, Rung.B)
    hand("truth clear")
    return Outcome(standin.record(0.3, Mode.STREAM8))


def mains_on_and_off(standin: StandIn, hand: Hand) -> Outcome:
    """C until mains is on, and B until it is off, in one record without samples."""
    _pulsing(standin, Rung.B)
    hand("truth clear")
    standin.begin(Mode.OFF)
    standin.present(Setting(Rung.C))
    if not standin.wait_until(lambda: len(standin.mains) == 3, 3.0):
        raise AssertionError("no mains came")
    standin.present(Setting(Rung.B))
    standin.wait(0.2)
    return Outcome(standin.end())


def interlock_in_c(standin: StandIn, hand: Hand) -> Outcome:
    """Somebody presses the stop in C."""
    _energised(standin)
    hand("interlock open")
    try:
        standin.wait(2.0)
    except FellOpen as fallen:
        return Outcome(said=str(fallen))
    return Outcome()


def reset_in_c(standin: StandIn, hand: Hand) -> Outcome:
    """Somebody presses the board's reset button in C."""
    _energised(standin)
    hand("reset 10")
    try:
        standin.wait(2.0)
    except LinkLost as lost:
        return Outcome(said=str(lost))
    return Outcome()


def arming_with_the_stop_pressed(standin: StandIn, hand: Hand) -> Outcome:
    """C is asked for while the interlock is open."""
    hand("interlock open")
    standin.wait(0.2)
    standin.arm_energising()
    try:
        standin.present(Setting(Rung.C))
    except Refused as refused:
        return Outcome(said=str(refused))
    return Outcome()


SESSIONS: Mapping[str, Callable[[StandIn, Hand], Outcome]] = {
    "firmware_ten_bits_at_b": ten_bits_at_b,
    "firmware_eight_bits_at_b": eight_bits_at_b,
    "firmware_mains_on_and_off": mains_on_and_off,
    "firmware_interlock_in_c": interlock_in_c,
    "firmware_reset_in_c": reset_in_c,
    "firmware_arming_with_the_stop_pressed": arming_with_the_stop_pressed,
}

"""The words of the link: what the stand-in can present, and codes with their numbers.

The texts are what people read; the numbers go over the wire and never change.
"""

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import Final, Generic, Self, TypeVar

from rungbench.errors import MessageError

TICKS_PER_SECOND: Final = 16_000_000
TICK_S: Final = 62.5e-9

_Word = TypeVar("_Word", bound=StrEnum)


class Rung(StrEnum):
    """The load at the pilot contact."""

    OPEN = "open"
    B = "B"
    C = "C"
    D = "D"
    SHORT = "short"


class LadderSet(StrEnum):
    """Which of the three sets of resistors."""

    LOW = "low"
    NOMINAL = "nominal"
    HIGH = "high"


class CableCode(StrEnum):
    """The cable that the proximity contact pretends, by its current in ampere."""

    OPEN = "open"
    A13 = "13"
    A20 = "20"
    A32 = "32"
    A63 = "63"
    SHORT = "short"


class Mode(StrEnum):
    """What is sampled and how; edges are always time-stamped.

    All modes but the last sample the pilot; `CHECK10` samples the board's own channels in turn.
    """

    OFF = "off"
    BURST10 = "burst10"
    STREAM10 = "stream10"
    STREAM8 = "stream8"
    CHECK10 = "check10"


class Channel(IntEnum):
    """What the converter looks at; the numbers are those of the wire."""

    PILOT = 0
    GROUND = 1
    INTERNAL_REFERENCE = 2
    HALF_REFERENCE = 3
    RAMP = 4


CHECK_CHANNELS: Final = (
    Channel.GROUND,
    Channel.INTERNAL_REFERENCE,
    Channel.HALF_REFERENCE,
    Channel.RAMP,
    Channel.RAMP,
)
"""Channels of the bursts of `Mode.CHECK10`, in turn; the first ramp rises, the second falls."""


class Oscillator(StrEnum):
    """What the board's clock runs on."""

    UNKNOWN = "unknown"
    CRYSTAL = "crystal"
    RESONATOR = "resonator"


class ResetCause(StrEnum):
    """Why the board last began anew."""

    UNKNOWN = "unknown"
    POWER_ON = "power on"
    RESET_LINE = "reset line"
    BROWN_OUT = "brown-out"
    WATCHDOG = "watchdog"


class EventKind(StrEnum):
    """What an event tells."""

    SETTING_APPLIED = "setting applied"
    MAINS_ON = "mains on"
    MAINS_OFF = "mains off"
    INTERLOCK = "interlock"
    ARMED = "armed"
    DISARMED = "disarmed"
    FELL_OPEN = "fell open"


class Reason(StrEnum):
    """Why the board went to `open`, or dropped its arming, by itself."""

    KEEP_ALIVE_LOST = "keep-alive lost"
    HOLD_LIMIT = "hold limit reached"
    INTERLOCK = "interlock open"
    RESET = "reset"
    ARM_EXPIRED = "arming expired"
    ARM_USED = "arming used"
    ARM_WITHDRAWN = "arming withdrawn"
    HELLO = "a new host"
    FAULT = "fault of the board"


class Code(StrEnum):
    """How the board answers a request."""

    ACCEPTED = "accepted"
    NOT_ARMED = "not armed"
    WRONG_NONCE = "wrong nonce"
    ARM_EXPIRED = "arming expired"
    INTERLOCK_OPEN = "interlock open"
    CANNOT_PRESENT = "cannot present this setting"
    UNKNOWN_MODE = "does not know this mode"
    MALFORMED = "malformed request"
    OTHER_PROTOCOL = "other protocol version"
    NO_HELLO = "no hello yet"


class Numbers(Generic[_Word]):
    """Numbers of a set of words on the wire."""

    def __init__(self, title: str, numbers: dict[_Word, int]) -> None:
        self._title = title
        self._numbers = numbers
        self._words = {number: word for word, number in numbers.items()}

    def number(self, word: _Word) -> int:
        """Number of a word; `KeyError` for a word that has none."""
        return self._numbers[word]

    def word(self, number: int) -> _Word:
        """Word of a number; `MessageError` for a number that has none."""
        word = self._words.get(number)
        if word is None:
            raise MessageError(
                f"The board sent {self._title} {number}, which this version does not know; "
                "update Rungbench or the firmware."
            )
        return word

    def mask(self, words: tuple[_Word, ...]) -> int:
        """Bit set with bit `number` for each word."""
        return sum(1 << self._numbers[word] for word in set(words))

    def words(self, mask: int) -> tuple[_Word, ...]:
        """Words whose bits are set, in order of their numbers; unknown bits are skipped."""
        return tuple(word for word, number in self._numbers.items() if mask >> number & 1)


def _from_zero(title: str, words: type[_Word]) -> Numbers[_Word]:
    return Numbers(title, {word: number for number, word in enumerate(words)})


RUNGS: Final = _from_zero("rung", Rung)
LADDERS: Final = _from_zero("ladder set", LadderSet)
CABLES: Final = _from_zero("cable code", CableCode)
MODES: Final = _from_zero("mode", Mode)
OSCILLATORS: Final = _from_zero("oscillator", Oscillator)
RESET_CAUSES: Final = _from_zero("reset cause", ResetCause)
EVENTS: Final = _from_zero("event", EventKind)
REASONS: Final = _from_zero("reason", Reason)
CODES: Final = _from_zero("answer code", Code)


@dataclass(frozen=True, slots=True)
class ModeFacts:
    """Sampling of one mode: bits per sample, ticks from sample to sample, samples per burst."""

    bits: int
    interval_ticks: int
    burst: int | None = None


# 13 converter clocks a sample at 16 MHz / 32, / 64 and / 16 (8 bits only).
MODE_FACTS: Final = {
    Mode.BURST10: ModeFacts(10, 416, 500),
    Mode.STREAM10: ModeFacts(10, 832),
    Mode.STREAM8: ModeFacts(8, 208),
    Mode.CHECK10: ModeFacts(10, 416, 500),
}


@dataclass(frozen=True, slots=True)
class Setting:
    """All that the stand-in presents to the charger."""

    rung: Rung
    ladder: LadderSet = LadderSet.NOMINAL
    diode_in: bool = True
    pe_closed: bool = True
    cable: CableCode = CableCode.OPEN

    @property
    def energising(self) -> bool:
        """Whether a charger may put mains on its outlet at this setting."""
        return self.rung in (Rung.C, Rung.D)

    def packed(self) -> int:
        """The 16 bits of the wire."""
        return (
            RUNGS.number(self.rung)
            | LADDERS.number(self.ladder) << 3
            | self.diode_in << 5
            | self.pe_closed << 6
            | CABLES.number(self.cable) << 7
        )

    @classmethod
    def unpacked(cls, bits: int) -> Self:
        """Inverse of `packed`; `MessageError` for bits that mean nothing."""
        if bits >> 10:
            raise MessageError(
                f"The board sent setting bits {bits:#06x}, which this version does not know; "
                "update Rungbench or the firmware."
            )
        return cls(
            RUNGS.word(bits & 7),
            LADDERS.word(bits >> 3 & 3),
            bool(bits >> 5 & 1),
            bool(bits >> 6 & 1),
            CABLES.word(bits >> 7 & 7),
        )

    def text(self) -> str:
        """One line for people: the rung and whatever is not as usual."""
        unusual = [
            "" if self.ladder is LadderSet.NOMINAL else f"{self.ladder} ladder",
            "" if self.diode_in else "diode bypassed",
            "" if self.pe_closed else "PE return open",
            "" if self.cable is CableCode.OPEN else f"cable code {self.cable}",
        ]
        return ", ".join([str(self.rung), *filter(None, unusual)])


OPEN: Final = Setting(Rung.OPEN)

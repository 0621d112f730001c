"""What the window asks of the runner's thread: frozen, through one queue."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rungbench.link.words import Mode, Setting
from rungbench.standin.board import StandIn

Tell = Callable[[object], None]


@dataclass(frozen=True, slots=True)
class Connect:
    """Use the bench at this address from now on; empty: none."""

    url: str


@dataclass(frozen=True, slots=True)
class PresentSetting:
    """Present this."""

    setting: Setting


@dataclass(frozen=True, slots=True)
class ArmOnce:
    """Let the next setting be an energising one, for ten seconds."""


@dataclass(frozen=True, slots=True)
class GoOpen:
    """Back to open."""


@dataclass(frozen=True, slots=True)
class Sample:
    """Sample the pilot like this."""

    mode: Mode


@dataclass(frozen=True, slots=True)
class NoteAlarm:
    """Somebody has read the alarm."""


@dataclass(frozen=True, slots=True)
class Job:
    """Work that has the stand-in to itself, on the runner's thread.

    `work` takes the stand-in and a function that carries frozen objects to the window; it returns
    a frozen result.  Errors of the program's trees become a sentence, others are passed on.
    """

    title: str
    work: Callable[[StandIn, Tell], Any]


Command = Connect | PresentSetting | ArmOnce | GoOpen | Sample | NoteAlarm | Job

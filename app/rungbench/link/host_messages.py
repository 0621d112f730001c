"""What the host says: hello, settings, modes, keep-alive, arm."""

from dataclasses import dataclass

from rungbench.link.board_messages import PROTOCOL
from rungbench.link.words import Mode, Setting


@dataclass(frozen=True, slots=True)
class Hello:
    """Begins a session: the board goes to `open`, stops sampling and tells its identity."""

    protocol: int = PROTOCOL


@dataclass(frozen=True, slots=True)
class Present:
    """Asks for a setting; an energising one needs the nonce of a fresh arm."""

    setting: Setting
    nonce: int = 0


@dataclass(frozen=True, slots=True)
class SetMode:
    """Asks for a way of sampling."""

    mode: Mode


@dataclass(frozen=True, slots=True)
class KeepAlive:
    """Says that the host is alive; has no answer."""


@dataclass(frozen=True, slots=True)
class Arm:
    """Asks for the nonce that one energising `Present` needs, valid for 10 s."""


ToBoard = Hello | Present | SetMode | KeepAlive | Arm

"""The rules that the board keeps by itself: arming, hold limits, keep-alive, interlock.

Ticks in, messages and settings out; nothing here knows how the setting gets to
the relays.  Clause numbers are those of `hardware_notes/link_protocol.md`.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from rungbench.link.messages import (
    ARM_TICKS,
    KEEP_ALIVE_LIMIT_TICKS,
    OPEN,
    Answer,
    Code,
    Event,
    EventKind,
    FromBoard,
    Identity,
    Reason,
    Setting,
)
from rungbench.link.words import REASONS, TICKS_PER_SECOND

SETTLING_TICKS = 96_000  # 6 ms: the slowest relay has operated and bounced


@dataclass(frozen=True, slots=True)
class _Arming:
    nonce: int
    until: int


@dataclass(frozen=True, slots=True)
class Outlets:
    """Where the rules' decisions go: messages, the setting of the coils, the next nonce."""

    send: Callable[[FromBoard], None]
    drive: Callable[[int, Setting], None]
    nonce: Callable[[], int]


class Rules:
    """State of the board's safety rules."""

    def __init__(self, identity: Identity, outlets: Outlets) -> None:
        self._identity, self._out = identity, outlets
        self.setting = OPEN
        self.interlock_closed = True
        self._arming: _Arming | None = None
        self._expired_nonce = 0
        self._alive_tick = 0
        self._held_since: int | None = None
        self._settled_at: int | None = None

    @property
    def armed(self) -> bool:
        return self._arming is not None

    @property
    def next_tick(self) -> float:
        """Tick at which a rule acts by itself next, or infinity."""
        deadlines = [
            self._settled_at,
            self._arming.until if self._arming else None,
            self._hold_end(),
            self._alive_end(),
        ]
        return min((tick for tick in deadlines if tick is not None), default=math.inf)

    def greet(self, tick: int) -> None:
        """Hello: to open, unarmed, alive."""
        self._alive_tick = tick
        self._void(tick, Reason.HELLO)
        if self.setting != OPEN:
            self._fall(tick, Reason.HELLO)

    def keep_alive(self, tick: int) -> None:
        self._alive_tick = tick

    def arm(self, tick: int, sequence: int) -> None:
        """Clause 7, arming."""
        if not self.interlock_closed:
            self._out.send(Answer(sequence, Code.INTERLOCK_OPEN))
            return
        nonce = self._out.nonce()
        self._out.send(Answer(sequence, Code.ACCEPTED, nonce))
        self._void(tick, Reason.ARM_WITHDRAWN)
        self._arming = _Arming(nonce, tick + ARM_TICKS)
        self._out.send(Event(tick, EventKind.ARMED, 1))

    def present(self, tick: int, sequence: int, setting: Setting, nonce: int) -> None:
        """Clause 7, energising rungs."""
        code = self._verdict(setting, nonce)
        self._out.send(Answer(sequence, code))
        if code is Code.WRONG_NONCE:
            self._void(tick, Reason.ARM_WITHDRAWN)
        if code is not Code.ACCEPTED:
            return
        if setting.energising:
            self._void(tick, Reason.ARM_USED)
        elif setting.rung is OPEN.rung:
            self._void(tick, Reason.ARM_WITHDRAWN)
        self._go(tick, setting)

    def interlock(self, tick: int, closed: bool) -> None:
        """The contact of the emergency stop moved."""
        if closed == self.interlock_closed:
            return
        self.interlock_closed = closed
        self._out.send(Event(tick, EventKind.INTERLOCK, int(closed)))
        if not closed and self.setting.energising:
            self._fall(tick, Reason.INTERLOCK)

    def advance(self, tick: int) -> None:
        """Do what is due at `next_tick`."""
        if self._settled_at is not None and self._settled_at <= tick:
            self._settle()
        if self._arming is not None and self._arming.until <= tick:
            self._expired_nonce = self._arming.nonce
            self._void(self._arming.until, Reason.ARM_EXPIRED)
        if (end := self._hold_end()) is not None and end <= tick:
            self._fall(end, Reason.HOLD_LIMIT)
        if (end := self._alive_end()) is not None and end <= tick:
            self._fall(tick, Reason.KEEP_ALIVE_LOST)

    def _hold_end(self) -> int | None:
        limit = self._identity.hold_limit_s(self.setting.rung)
        if self._held_since is None or limit is None:
            return None
        return self._held_since + limit * TICKS_PER_SECOND

    def _alive_end(self) -> int | None:
        if self.setting.rung is OPEN.rung and not self.armed:
            return None
        return self._alive_tick + KEEP_ALIVE_LIMIT_TICKS

    def _verdict(self, setting: Setting, nonce: int) -> Code:
        if not self._identity.can_present(setting):
            return Code.CANNOT_PRESENT
        if not setting.energising:
            return Code.ACCEPTED
        if not self.interlock_closed:
            return Code.INTERLOCK_OPEN
        if self._arming is None:
            expired = nonce != 0 and nonce == self._expired_nonce
            return Code.ARM_EXPIRED if expired else Code.NOT_ARMED
        return Code.ACCEPTED if nonce == self._arming.nonce else Code.WRONG_NONCE

    def _void(self, tick: int, reason: Reason) -> None:
        if self._arming is not None:
            self._arming = None
            self._out.send(Event(tick, EventKind.DISARMED, REASONS.number(reason)))

    def _fall(self, tick: int, reason: Reason) -> None:
        self._void(tick, reason)
        self._out.send(Event(tick, EventKind.FELL_OPEN, REASONS.number(reason)))
        self._go(tick, OPEN)

    def _go(self, tick: int, setting: Setting) -> None:
        self.setting = setting
        self._held_since = tick if setting.energising else None
        self._settled_at = tick + SETTLING_TICKS
        self._out.drive(tick, setting)

    def _settle(self) -> None:
        assert self._settled_at is not None
        tick, self._settled_at = self._settled_at, None
        self._out.send(
            Event(tick, EventKind.SETTING_APPLIED, self.setting.packed(), SETTLING_TICKS)
        )

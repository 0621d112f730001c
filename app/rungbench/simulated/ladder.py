"""The ladder: relays that take their time and bounce, and what they put on the pilot."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rungbench.link.words import LadderSet, Rung, Setting
from rungbench.simulated.circuit import Load
from rungbench.simulated.generator import Floats
from rungbench.simulated.parts import CABLE_OHM, Parts

_BOUNCES = 3
_BOUNCE_S = 0.0008
_DIODE, _RETURN, _SHORT = "diode bypass", "return open", "short"


@dataclass(frozen=True, slots=True)
class _Move:
    time: float
    relay: str
    made: bool


class Ladder:
    """Relays by name; `uniform` draws the bounces.

    Each resistor has its own relay, so that a change of the set leaves the pilot without a ladder
    for the time between a release and an operation.
    """

    def __init__(self, parts: Parts, uniform: Callable[[int], Floats]) -> None:
        self._parts, self._uniform = parts, uniform
        self._made: set[str] = set()
        self._moves: list[_Move] = []
        self.cable_ohm = math.inf

    @property
    def next_time(self) -> float:
        """When a contact moves next, or infinity."""
        return self._moves[0].time if self._moves else math.inf

    @property
    def return_closed(self) -> bool:
        return _RETURN not in self._made

    @property
    def rung(self) -> str:
        """What hangs at the pilot, by the letter of the state that it stands for."""
        roles = {relay.partition("/")[0] for relay in self._made if "/" in relay}
        if not self.return_closed:
            return "A"
        if _SHORT in self._made:
            return "E"
        return next((role for role in ("C", "D") if role in roles), "B" if roles else "A")

    def command(self, time: float, setting: Setting) -> None:
        """Drive the coils for `setting`; contacts follow."""
        wanted = _relays(setting)
        for relay in sorted(wanted | self._made | {move.relay for move in self._moves}):
            if self._will_be(relay) != (relay in wanted):
                self._moves = [move for move in self._moves if move.relay != relay]
                self._moves += self._motion(time, relay, relay in wanted)
        self._moves.sort(key=lambda move: move.time)
        self.cable_ohm = CABLE_OHM[setting.cable]

    def advance(self) -> None:
        """Move the contact that is due at `next_time`."""
        move = self._moves.pop(0)
        if move.made:
            self._made.add(move.relay)
        else:
            self._made.discard(move.relay)

    def load(self) -> Load:
        """What hangs at the pilot now."""
        if not self.return_closed:
            return Load()
        siemens = sum(1.0 / self._ohm(relay) for relay in self._made if "/" in relay)
        return Load(
            ladder_ohm=1.0 / siemens if siemens else math.inf,
            diode_in=_DIODE not in self._made,
            short_ohm=self._parts.short_ohm if _SHORT in self._made else math.inf,
        )

    def _ohm(self, relay: str) -> float:
        role, which = relay.split("/")
        table = {"permanent": self._parts.permanent_ohm, "C": self._parts.c_ohm}
        return table.get(role, self._parts.d_ohm)[LadderSet(which)]

    def _will_be(self, relay: str) -> bool:
        """Where a relay ends if nothing is commanded."""
        return next(
            (move.made for move in reversed(self._moves) if move.relay == relay),
            relay in self._made,
        )

    def _motion(self, time: float, relay: str, made: bool) -> list[_Move]:
        """A clean break, or a first touch, then breaks and makes that end closed."""
        if made == (relay in self._made):
            return []
        if not made:
            return [_Move(time + self._parts.release_s, relay, False)]
        touch = time + self._parts.operate_s
        later = touch + _BOUNCE_S * np.sort(self._uniform(2 * _BOUNCES))
        bounces = [_Move(float(at), relay, odd % 2 == 1) for odd, at in enumerate(later)]
        return [_Move(touch, relay, True), *bounces]


def _relays(setting: Setting) -> set[str]:
    """Relays that a setting needs."""
    wanted: set[str] = set()
    if setting.rung in (Rung.B, Rung.C, Rung.D):
        wanted.add(f"permanent/{setting.ladder}")
    if setting.rung in (Rung.C, Rung.D):
        wanted.add(f"{setting.rung}/{setting.ladder}")
    if setting.rung is Rung.SHORT:
        wanted.add(_SHORT)
    if not setting.diode_in:
        wanted.add(_DIODE)
    if not setting.pe_closed:
        wanted.add(_RETURN)
    return wanted

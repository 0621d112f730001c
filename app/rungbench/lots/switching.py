"""When inspection is tightened, eased again, or stopped, over the lots of one supplier.

From memory of ISO 2859-1:1999, 9.3, and not compared with the printed text: it advises, and a
person decides.

- normal to tightened: 2 of 5 or fewer consecutive lots were not accepted;
- tightened to normal: 5 consecutive lots were accepted;
- stopped: 5 lots were not accepted while on tightened inspection.

Only original inspections count, never a lot that was presented again.  Ours: a lot without a
decision is no lot that was not accepted, but it breaks a row of accepted ones.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rungbench.lots.decision import LotDecision
from rungbench.lots.sampling import Severity

CONFIDENCE: Final = "MEM"
FROM_MEMORY: Final = "The switching rules are from memory: confirm against your own copy."

_WINDOW: Final = 5
_TOO_MANY: Final = 2
_ACCEPTED_ROW: Final = 5
_STOP: Final = 5


@dataclass(frozen=True, slots=True)
class PastLot:
    """One original inspection, decided or closed without a decision."""

    name: str
    severity: Severity
    decision: LotDecision


@dataclass(frozen=True, slots=True)
class Advice:
    """What the rules ask of the next lot; `severity` is ``None`` where inspection stops."""

    severity: Severity | None
    why: str

    @property
    def stopped(self) -> bool:
        return self.severity is None


class _Walk:
    """The rules as they were gone through, lot by lot."""

    def __init__(self) -> None:
        self.severity = Severity.NORMAL
        self.why = "No earlier lot: inspection begins as normal."
        self.stopped = False
        self._since: list[PastLot] = []

    def take(self, lot: PastLot) -> None:
        if lot.severity is not self.severity:
            # Somebody decided otherwise; the rules go on from what was done.
            self._switch(lot.severity, f"Lot {lot.name} was inspected as {lot.severity}.")
        elif self.stopped:
            self._switch(self.severity, f"Inspection was taken up again with lot {lot.name}.")
        self._since.append(lot)
        if self.severity is Severity.NORMAL:
            self._on_normal()
        else:
            self._on_tightened()

    def _switch(self, severity: Severity, why: str) -> None:
        self.severity, self.why, self.stopped = severity, why, False
        self._since = []

    def _on_normal(self) -> None:
        bad = _rejected(self._since[-_WINDOW:])
        among = min(_WINDOW, len(self._since))
        self.why = f"{len(bad)} of the last {among} lots not accepted: inspection stays normal."
        if len(bad) >= _TOO_MANY:
            names = ", ".join(lot.name for lot in bad)
            self._switch(
                Severity.TIGHTENED,
                f"{len(bad)} of the last {among} lots were not accepted ({names}).",
            )

    def _on_tightened(self) -> None:
        row = self._since[-_ACCEPTED_ROW:]
        if len(row) == _ACCEPTED_ROW and all(_accepted(lot) for lot in row):
            self._switch(
                Severity.NORMAL,
                f"The last {_ACCEPTED_ROW} lots were accepted on tightened inspection.",
            )
        elif len(_rejected(self._since)) >= _STOP:
            self.stopped = True
            self.why = f"{_STOP} lots were not accepted on tightened inspection."


def _accepted(lot: PastLot) -> bool:
    return lot.decision is LotDecision.ACCEPT


def _rejected(lots: Iterable[PastLot]) -> list[PastLot]:
    return [lot for lot in lots if lot.decision is LotDecision.REJECT]


def advise(past: Iterable[PastLot]) -> Advice:
    """What the rules ask after `past` lots, the oldest first, original inspections only."""
    walk = _Walk()
    for lot in past:
        walk.take(lot)
    if walk.stopped:
        return Advice(
            None,
            f"{walk.why} Inspection stops until the supplier has acted; then it goes on as "
            "tightened.",
        )
    return Advice(walk.severity, walk.why)

"""What every check declares before anything is measured."""

from collections.abc import Callable
from dataclasses import dataclass

from rungbench.archive.record import Role
from rungbench.qualify.case import Case, Finding
from rungbench.qualify.plan import Do

OBSERVE = frozenset({Do.OBSERVE})
CHANGE = frozenset({Do.CHANGE})
ASK = frozenset({Do.ASK})
TOGGLE = frozenset({Do.TOGGLE})
SWEEP = frozenset({Do.SWEEP})
RECOVER = frozenset({Do.RECOVER})
ENDURE = frozenset({Do.ENDURE})
DIGITAL = "The charger asks for digital communication, which nobody here speaks: it offers nothing."
"""Why a charger at a duty of 5 % cannot be asked for more."""


@dataclass(frozen=True, slots=True)
class CheckKind:
    """A check and its needs.

    `steps` are the kinds of step it can be judged from.  `compares` says that it needs the
    evidence of an earlier step as well.  `senses_mains` says that it needs the mains senses;
    `absence` that it passes by something not seen, so that a loss on the link spoils it;
    `by_step_limit` that its limit is the one its step names; `needs_limit` names one that the
    profile must have, `needs_row` one that it must have for the rung.  `outlet` is the kind of
    outlet that it is for, if not for any.
    What it energises is told by the setting of its step.
    """

    name: str
    title: str
    judge: Callable[[Case], Finding]
    steps: frozenset[Do] = OBSERVE
    role: Role = Role.REQUIRED
    compares: bool = False
    senses_mains: bool = False
    absence: bool = False
    by_step_limit: bool = False
    needs_limit: str = ""
    needs_row: str = ""
    outlet: str = ""

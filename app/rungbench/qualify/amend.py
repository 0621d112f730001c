"""What a run may change of its plan: currents of a sweep, length of a long stay.

The changed plan has a hash of its own and says what was changed.
"""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from rungbench.errors import WrongUse
from rungbench.qualify.plan import Do, Plan, Step

_LONGEST_S: Final = 30 * 86400.0


def with_currents(plan: Plan, amperes: Sequence[float]) -> Plan:
    """The plan with these set currents in its sweeps; `WrongUse` if it has no sweep."""
    if not amperes:
        raise WrongUse("A sweep needs at least one current; list them, as 6,10,16.")
    told = f"currents {', '.join(f'{ampere:g}' for ampere in amperes)} A"
    return _changed(plan, Do.SWEEP, told, lambda step: replace(step, amperes=tuple(amperes)))


def with_length(plan: Plan, seconds: float) -> Plan:
    """The plan with this length for its long stays; `WrongUse` if it has none."""
    if not 1.0 <= seconds <= _LONGEST_S:
        raise WrongUse("A long stay lasts from 1 s to 30 days; write it as 90s, 30m or 2h.")
    told = f"length {seconds:g} s"
    return _changed(plan, Do.ENDURE, told, lambda step: replace(step, record_s=seconds))


def _changed(plan: Plan, do: Do, told: str, change: Callable[[Step], Step]) -> Plan:
    if not any(step.do is do for step in plan.steps):
        raise WrongUse(f"The plan {plan.name} has no step that does {str(do)!r}; take another.")
    return replace(
        plan,
        about=f"{plan.about} Changed for this run: {told}.".strip(),
        steps=tuple(change(step) if step.do is do else step for step in plan.steps),
        hash=hashlib.sha256(f"{plan.hash} {told}".encode()).hexdigest(),
    )

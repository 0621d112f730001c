"""Parts of the full plan, so that a test waits only for what it is about."""

from dataclasses import replace

from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan


def section(*steps: str, checks: tuple[str, ...] = ()) -> Plan:
    """The full plan with these steps only, in its own order, and of their checks only these."""
    plan = load_plan("full")
    names = {step.name for step in plan.steps}
    assert set(steps) <= names, set(steps) - names
    kept = [
        replace(step, checks=tuple(one for one in step.checks if not checks or one.id in checks))
        for step in plan.steps
        if step.name in steps
    ]
    found = {check.id for step in kept for check in step.checks}
    assert set(checks) <= found, set(checks) - found
    return replace(plan, steps=tuple(kept))


CHARGING = ("open", "B", "B to C", "C", "C to B")
UNPLUGGED = ("B to C again", "unplugged from C")

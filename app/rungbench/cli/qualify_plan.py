"""Plans on the terminal: which there are, and what one does before it is run."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from rich.table import Table
from rich.text import Text

from rungbench.cli.terminal import PageConsole, safe
from rungbench.errors import RungbenchError
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.plan import Do, Plan, Step
from rungbench.qualify.plan_file import load_plan, shipped_plans

_ENERGISES: Final = "OUTLET LIVE"


def known_plans(own: Path) -> Iterator[tuple[str, Plan | RungbenchError]]:
    """Every plan there is, shipped ones first; one of the user's that is wrong, with its error."""
    for name in shipped_plans():
        yield name, load_plan(name)
    for path in sorted(own.glob("*.toml")):
        try:
            yield path.stem, load_plan(path.stem, own)
        except RungbenchError as problem:
            yield path.stem, problem


def print_plans(plans: Iterable[tuple[str, Plan | RungbenchError]]) -> None:
    """One line a plan."""
    table = Table.grid(padding=(0, 2))
    for name, plan in plans:
        if isinstance(plan, Plan):
            about = f"{plan.title}. {plan.about}"
            table.add_row(safe(name, "bold"), duration(plan.expected_s), safe(about))
        else:
            table.add_row(safe(name, "bold"), "", safe(str(plan)))
    PageConsole().print(table)


def print_plan(plan: Plan) -> None:
    """What a plan does, step by step, how long it takes and what it energises."""
    console = PageConsole()
    console.print(safe(f"{plan.name}: {plan.title}", "bold"))
    console.print(safe(plan.about))
    live = [step.name for step in plan.steps if step.energises]
    energised = f"mains on the outlet in {len(live)} steps" if live else "nothing is energised"
    console.print(safe(f"about {duration(plan.expected_s)}; {energised}; hash {plan.hash[:12]}"))
    console.print()
    for step in plan.steps:
        console.print(_head(step))
        for check in step.checks:
            kind = CHECK_KINDS[check.kind]
            console.print(safe(f"    {check.id:<28} {check.role.value:<10} {kind.title}"))


def plan_document(plan: Plan) -> dict[str, Any]:
    """A plan as plain values."""
    return {
        "schema": "rungbench.plan-summary/1",
        "name": plan.name,
        "title": plan.title,
        "about": plan.about,
        "hash": plan.hash,
        "expected_s": round(plan.expected_s, 1),
        "energises": [step.name for step in plan.steps if step.energises],
        "questions": [
            step.request.ask.value for step in plan.steps if step.request and step.do is Do.ASK
        ],
        "steps": [
            {
                "name": step.name,
                "do": step.do.value,
                "setting": step.setting.text(),
                "when": step.when.value,
                "expected_s": round(step.expected_s, 1),
                "checks": [
                    {"id": check.id, "kind": check.kind, "role": check.role.value}
                    for check in step.checks
                ],
            }
            for step in plan.steps
        ],
    }


def duration(seconds: float) -> str:
    """A duration for people."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"


def _head(step: Step) -> Text:
    text = safe(f"  {step.name}", "bold")
    text.append(f"  {step.do.value}, {step.setting.text()}, {duration(step.expected_s)}", "dim")
    if step.when != "always":
        text.append(f", only when the {step.when.value}", "dim")
    if step.energises:
        text.append(f"  {_ENERGISES}", "bold")
    if step.do is Do.ASK and step.request is not None:
        text.append(f"  asks: {step.request.ask.value}")
    return text

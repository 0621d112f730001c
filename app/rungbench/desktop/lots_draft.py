"""A lot that is to be made, from what was typed; n, Ac and Re before anything is stored; no Qt."""

from dataclasses import dataclass, replace
from typing import Final

from pilotsignal.standard import Profile
from rungbench.archive.rows import search_key
from rungbench.archive.store import Archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.run_choice import Choice, Model
from rungbench.errors import WrongUse
from rungbench.lots import drawing
from rungbench.lots.basis import basis_of
from rungbench.lots.characteristic import Risks, risks
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import LotOrder, LotState
from rungbench.lots.sampling import DEFAULT_LEVEL, SamplingPlan, Severity, plan_for
from rungbench.lots.serials import check_serial
from rungbench.lots.store import Lots
from rungbench.lots.switching import FROM_MEMORY, Advice
from rungbench.qualify.plan import Plan
from rungbench.qualify.sheet import Sheet

_LOOK_EVERY: Final = 1000  # serial numbers between two looks at the wish to stop


@dataclass(frozen=True, slots=True)
class Draft:
    """What stands in the form; `severity` is ``None`` for what the switching rules ask.

    `serials` is a text with one serial number a line, or cells of a table; empty: nobody knows
    them, so places in the lot are drawn.
    """

    name: str = ""
    supplier: str = ""
    model: Model | None = None
    plan: Plan | None = None
    profile: Profile | None = None
    size: str = ""
    aql: float = 1.5
    level: str = DEFAULT_LEVEL
    severity: Severity | None = None
    serials: str = ""
    seed: str = ""
    resubmits: str = ""
    operator: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Preview:
    """What the lot would be; `advice` is ``None`` while supplier or model are not stated.

    `wanting` says what stands in the way of making it; empty: nothing does.
    """

    plan: SamplingPlan
    risks: Risks
    advice: Advice | None
    listed: int
    wanting: str = ""


def preview(archive: Archive | None, draft: Draft, cancel: Cancel) -> Preview:
    """The sampling plan of a draft with its risks and what the switching rules ask.

    Raises
    ------
    WrongUse : size, AQL or level that no plan is known for; the sentence says what to change.
    ArchiveError : the archive cannot be read.
    Interrupted : it was cancelled.
    """
    plan = _plan(draft, draft.severity or Severity.NORMAL)
    wanting, listed, advice = "", 0, None
    try:
        order = _order(draft, plan, cancel)
        listed = len(order.serials)
        advice = _advice(archive, order)
        plan = _plan(draft, _severity(draft, advice))
        if listed not in (0, plan.lot_size):
            wanting = (
                f"The list has {listed} serial numbers for a lot of {plan.lot_size}; state the "
                "size that was delivered, or correct the list."
            )
    except WrongUse as problem:
        wanting = str(problem)
    return Preview(plan, risks(plan), advice, listed, wanting)


def make(archive: Archive, draft: Draft, cancel: Cancel) -> LotState:
    """Make the lot and draw its sample.

    Raises
    ------
    WrongUse, LotRefused : it cannot be made so; nothing was stored.
    ArchiveError : the archive cannot be written.
    Interrupted : it was cancelled before anything was stored.
    """
    order = _order(draft, _plan(draft, draft.severity or Severity.NORMAL), cancel)
    lots = Lots(archive)
    severity = _severity(draft, lots.advice(order))
    order = replace(order, plan=_plan(draft, severity))
    cancel.check()
    lots.make(order)
    return lots.state(order.name)


def _advice(archive: Archive | None, order: LotOrder) -> Advice:
    if archive is None:
        return Advice(Severity.NORMAL, "No earlier lot: inspection begins as normal.")
    return Lots(archive).advice(order)


def _severity(draft: Draft, advice: Advice) -> Severity:
    if draft.severity is not None:
        return draft.severity
    if advice.severity is None:
        raise LotRefused(
            f"{advice.why} {FROM_MEMORY} Choose normal or tightened to inspect the lot all the "
            "same."
        )
    return advice.severity


def _plan(draft: Draft, severity: Severity) -> SamplingPlan:
    text = draft.size.strip()
    if not (text.isascii() and text.isdigit()):
        told = f"{text!r} is no number of units" if text else "The size of the lot is not stated"
        raise WrongUse(f"{told}; write how many were delivered.")
    # A number of so many digits is refused by its size; no need to read it whole.
    return plan_for(int(text[:12]), draft.aql, draft.level, severity)


def _order(draft: Draft, plan: SamplingPlan, cancel: Cancel) -> LotOrder:
    model = draft.model
    if model is None or draft.plan is None or draft.profile is None:
        raise WrongUse("There is no model sheet; describe the charger in Run, or open a sheet.")
    for what, text in (("a name", draft.name), ("its supplier", draft.supplier)):
        if not text.strip():
            raise WrongUse(f"The lot needs {what}; fill it in.")
    if model.missing:
        raise WrongUse(
            f"The model sheet of a lot must state {', '.join(model.missing)}, since all its units "
            "are judged alike; complete it."
        )
    any_unit = Choice(model, draft.plan, draft.profile, draft.operator).draft("any")
    return LotOrder(
        name=draft.name.strip(),
        supplier=draft.supplier.strip(),
        sheet=model.sheet,
        basis=basis_of(any_unit),
        plan=plan,
        serials=serials_of(draft.serials, model.sheet, cancel),
        seed=drawing.check_seed(draft.seed.strip()) if draft.seed.strip() else "",
        resubmits=draft.resubmits,
        operator=draft.operator,
        notes=draft.notes.strip(),
    )


def serials_of(text: str, sheet: Sheet, cancel: Cancel) -> tuple[str, ...]:
    """Serial numbers in a text: one a line, or one a cell of a table that was pasted.

    Raises
    ------
    LotRefused : one that is no serial number of the model, or one that came before.
    Interrupted : it was cancelled.
    """
    seen: dict[str, int] = {}
    found: list[str] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if number % _LOOK_EVERY == 0:
            cancel.check()
        for cell in filter(None, map(str.strip, line.split("\t"))):
            found.append(_taken(cell, number, sheet, seen))
    return tuple(found)


def _taken(cell: str, number: int, sheet: Sheet, seen: dict[str, int]) -> str:
    try:
        serial = check_serial(cell, sheet)
    except WrongUse as problem:
        raise LotRefused(f"List of serial numbers, line {number}: {problem}") from problem
    key = search_key(serial)
    first = seen.get(key)
    if first is not None:
        raise LotRefused(
            f"List of serial numbers, line {number}: {serial!r} stands in line {first} already; "
            "correct the list."
        )
    seen[key] = number
    return serial


def against(draft: Draft, found: Preview) -> str:
    """A notice if the lot is to be inspected less strictly than the rules ask."""
    advice = found.advice
    if advice is None or draft.resubmits or advice.severity is Severity.NORMAL:
        return ""
    if advice.severity is found.plan.severity:
        return ""
    asked = "no inspection for now" if advice.stopped else f"{advice.severity} inspection"
    return f"The switching rules ask for {asked}: {advice.why}"

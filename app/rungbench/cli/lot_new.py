"""``rungbench lot plan`` and ``rungbench lot new``: how many units, which, and what decides."""

from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import click

from pilotsignal.standard import Profile
from rungbench.archive.record import ChargerIdentity
from rungbench.cli.lot_archive import archive_options, json_option, lot_archive
from rungbench.cli.printing import print_json
from rungbench.cli.qualify import find_profile
from rungbench.errors import WrongUse
from rungbench.lots.basis import basis_of
from rungbench.lots.document import lot_document, sampling_document
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import LotOrder, LotState
from rungbench.lots.sampling import DEFAULT_LEVEL, SamplingPlan, Severity, plan_for
from rungbench.lots.serials import read_serials
from rungbench.lots.store import Lots
from rungbench.lots.switching import FROM_MEMORY, Advice
from rungbench.paths import paths
from rungbench.qualify.desk import Ask
from rungbench.qualify.order import Order
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.sheet import Sheet, read_sheet
from rungbench.settings import load_settings

_SEVERITIES: Final = [one.value for one in Severity]

_level_option = click.option(
    "--level", default=DEFAULT_LEVEL, show_default=True, help="General inspection level."
)
_size_option = click.option("--size", type=int, required=True, metavar="N", help="Units delivered.")
_aql_option = click.option(
    "--aql", type=float, required=True, metavar="PERCENT", help="Acceptance quality limit."
)


@click.command("plan")
@_size_option
@_aql_option
@_level_option
@click.option("--severity", type=click.Choice(_SEVERITIES), default="normal", show_default=True)
@json_option
def show_plan(*, size: int, aql: float, level: str, severity: str, as_json: bool) -> None:
    """Show what a lot would need: sample, numbers that decide, risks. Nothing is stored."""
    plan = plan_for(size, aql, level, Severity(severity))
    if as_json:
        print_json(sampling_document(plan))
        return
    from rungbench.cli.lot_page import print_plan

    print_plan(plan)


@click.command("new")
@click.argument("name")
@click.option("--supplier", required=True, metavar="NAME", help="Who delivered it.")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="Model sheet, a TOML file: maker and model at least.",
)
@_size_option
@_aql_option
@_level_option
@click.option(
    "--severity",
    type=click.Choice(_SEVERITIES),
    help="Default: what the switching rules ask for after this supplier's earlier lots.",
)
@click.option(
    "--serials",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="All serial numbers of the lot, one a line. Without it places in the lot are drawn, "
    "counted from 1.",
)
@click.option("--seed", default="", metavar="TEXT", help="Seed of the drawing; default: a new one.")
@click.option(
    "--resubmits", default="", metavar="LOT", help="The rejected lot that is presented again."
)
@click.option("--plan", metavar="NAME", help="Plan for every unit (default: that of the sheet).")
@click.option("--profile", metavar="NAME|FILE", help="Limits to judge by.")
@click.option("--operator", metavar="NAME", help="Who does it, for the record.")
@click.option("--notes", default="", metavar="TEXT", help="Anything else, for the record.")
@archive_options
@json_option
def new_lot(**given: Any) -> None:
    """Make a lot: its sampling plan, and the units that are drawn at random."""
    sheet = read_sheet(given["sheet"])
    order = _order(given, sheet)
    with lot_archive(given["archive"], demo=given["demo"], create=True) as archive:
        lots = Lots(archive)
        advice = lots.advice(order)
        if given["severity"] is None:
            order = _as_advised(order, advice)
        lots.make(order)
        state = lots.state(order.name)
    if as_warning := _against(state, advice):
        click.echo(as_warning, err=True)
    if given["as_json"]:
        print_json(lot_document(state))
        return
    from rungbench.cli.lot_page import print_new

    print_new(state)


def _order(given: dict[str, Any], sheet: Sheet) -> LotOrder:
    names = ("plan", "profile", "operator", "archive")
    options = {name: given[name] for name in names}
    options["plan"] = options["plan"] or sheet.plan
    settings = load_settings(options).settings
    severity = Severity(given["severity"] or Severity.NORMAL)
    sampling = plan_for(given["size"], given["aql"], given["level"], severity)
    serials = given["serials"]
    return LotOrder(
        name=given["name"].strip(),
        supplier=given["supplier"].strip(),
        sheet=sheet,
        basis=basis_of(_any_unit(sheet, settings.plan, find_profile(settings.profile))),
        plan=sampling,
        serials=() if serials is None else read_serials(serials, sheet),
        seed=given["seed"],
        resubmits=given["resubmits"],
        operator=settings.operator,
        notes=given["notes"],
    )


def _any_unit(sheet: Sheet, plan: str, profile: Profile) -> Order:
    """The order of a run of any unit: which checks apply depends on the model alone."""
    missing = [
        name
        for name in ("maker", "model", "rated_current_a", "phases", "outlet")
        if getattr(sheet, name) is None
    ]
    if missing:
        raise WrongUse(
            f"The model sheet of a lot must state {', '.join(missing)}, since all its units are "
            "judged alike; add that."
        )
    charger = ChargerIdentity(
        sheet.maker or "",
        sheet.model or "",
        "any",
        sheet.rated_current_a or 0.0,
        sheet.set_current_a,
        sheet.phases or 0,
        sheet.outlet or "",
    )
    cannot = frozenset(Ask(word) for word in sheet.cannot or ())
    return Order(load_plan(plan, paths().plans), charger, profile, cannot=cannot)


def _as_advised(order: LotOrder, advice: Advice) -> LotOrder:
    if advice.severity is None:
        raise LotRefused(
            f"{advice.why} {FROM_MEMORY} State --severity to inspect the lot all the same."
        )
    return replace(order, plan=_with_severity(order.plan, advice.severity))


def _with_severity(plan: SamplingPlan, severity: Severity) -> SamplingPlan:
    return plan_for(plan.lot_size, plan.aql, plan.level, severity)


def _against(state: LotState, advice: Advice) -> str:
    """A notice if the lot is inspected less strictly than the rules ask."""
    if advice.severity is state.lot.plan.severity or state.lot.resubmits is not None:
        return ""
    if advice.severity is Severity.NORMAL:
        return ""
    asked = "no inspection for now" if advice.stopped else f"{advice.severity} inspection"
    return f"The switching rules ask for {asked}: {advice.why} {FROM_MEMORY}"

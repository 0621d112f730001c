"""``rungbench qualify``: one charger through one plan, judged and recorded."""

import sys
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click
from rich.console import Console

from pilotsignal.standard import BUILT_IN, Profile, load_profile
from rungbench.archive.document import run_document
from rungbench.archive.record import ChargerIdentity, Record, RunVerdict
from rungbench.archive.writer import RunArchive, open_for_run
from rungbench.cli.amounts import ampere_list, amperes, time_span
from rungbench.cli.lot_join import Entry, entry_of, lot_options
from rungbench.cli.printing import print_json
from rungbench.errors import ExitStatus, RungbenchError, WrongUse
from rungbench.paths import paths, under_home
from rungbench.qualify.amend import with_currents, with_length
from rungbench.qualify.answers import ScriptDesk, Scripted, read_answers
from rungbench.qualify.bench import is_simulated, open_bench
from rungbench.qualify.desk import Ask, Desk, EmptyDesk
from rungbench.qualify.findings import findings_document
from rungbench.qualify.order import Order, check_charger
from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import Alarm, People, Told
from rungbench.qualify.runner import run
from rungbench.qualify.sheet import INVENTED, INVENTED_SERIAL, Sheet, read_sheet
from rungbench.qualify.stop import Stop, on_ctrl_c
from rungbench.settings import Chosen, load_settings
from rungbench.standin.board import StandIn

_STATUS: Final = {
    RunVerdict.PASS: ExitStatus.DONE,
    RunVerdict.FAIL: ExitStatus.FAILED,
    RunVerdict.BENCH_FAULT: ExitStatus.BENCH_FAULT,
    RunVerdict.INCOMPLETE: ExitStatus.UNDECIDED,
    RunVerdict.UNDECIDED: ExitStatus.UNDECIDED,
}
_NEEDED: Final = {
    "maker": "--maker",
    "model": "--model",
    "rated_current_a": "--rated-current",
    "phases": "--phases",
    "outlet": "--outlet",
}


@dataclass(frozen=True, slots=True)
class _Job:
    """All that was asked for, checked before any port is opened."""

    order: Order
    url: str
    chosen: Chosen
    as_json: bool
    answers: tuple[Scripted, ...] | None = None
    entry: Entry | None = None
    report: bool = False


@click.command()
@click.option("--bench", metavar="URL", help="Port or URL of the board; sim://sound is simulated.")
@click.option("--plan", metavar="NAME", help="Plan to run (default: quick).")
@click.option("--sheet", type=click.Path(path_type=Path), help="Model sheet, a TOML file.")
@click.option("--maker", metavar="NAME", help="Maker of the charger.")
@click.option("--model", metavar="NAME", help="Model of the charger.")
@click.option("--serial", metavar="NUMBER", help="Serial number of the charger.")
@click.option("--rated-current", type=amperes, metavar="A", help="Rated current per phase.")
@click.option("--set-current", type=amperes, metavar="A", help="Current that it is set to.")
@click.option("--phases", type=click.IntRange(1, 3), metavar="N", help="Phases it switches: 1, 3.")
@click.option("--outlet", type=click.Choice(["socket", "cable"]), help="Socket or tethered cable.")
@click.option("--notes", metavar="TEXT", help="Anything fitted or remarkable, for the record.")
@click.option("--profile", metavar="NAME|FILE", help="Limits to judge by.")
@click.option("--operator", metavar="NAME", help="Who does it, for the record.")
@click.option("--archive", metavar="FILE", help="Archive that keeps the record.")
@click.option(
    "--arm",
    is_flag=True,
    help="Allow rungs at which the charger puts mains on its outlet. Without it a run on a real "
    "board stops at B. A simulated bench needs none.",
)
@click.option(
    "--answers",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Answers to the questions of the plan, a TOML file; otherwise the terminal is asked.",
)
@click.option(
    "--cannot",
    multiple=True,
    type=click.Choice([ask.value for ask in Ask]),
    help="What nobody can do with this charger: checks that need it are taken out.",
)
@click.option("--ventilation", type=click.Choice(["allow", "refuse"]), help="Declared answer to D.")
@click.option("--currents", type=ampere_list, metavar="A,A,...", help="Set currents of a sweep.")
@click.option("--length", type=time_span, metavar="TIME", help="Length of a soak, as 90s, 30m, 2h.")
@lot_options
@click.option("--plans", is_flag=True, help="List the plans and stop.")
@click.option("--show", is_flag=True, help="Print what the plan does and energises, and stop.")
@click.option("--report", is_flag=True, help="Write the inspection report as PDF, and say where.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def qualify(**given: Any) -> ExitStatus:
    """Take one charger through a plan: measure, judge, record.

    With --arm mains is present on the charger's outlet in state C.  The stand-in is left on open
    and the outlet is watched, however the run ends.
    """
    if given["plans"]:
        return _list_plans(as_json=given["as_json"])
    if given["show"]:
        return _show_plan(given)
    job = _job(given)
    with ExitStack() as stack:
        stop = Stop()
        stack.enter_context(on_ctrl_c(stop))
        standin = stack.enter_context(open_bench(job.url))
        standin.check_stop = stop.check
        simulated = standin.identity.simulated
        archive = stack.enter_context(
            open_for_run(job.chosen.archive_for(simulated), simulated=simulated)
        )
        if job.entry is not None:
            archive.beside = job.entry.joining(archive, job.order)
        if job.as_json:
            people = People(_alarm_only, _desk(job, standin), stop.hurry)
            with stop.patiently():
                record = run(job.order, standin, archive, people, url=job.url)
            lot = {}
            if job.entry is not None and archive.problem is None:
                lot = {"lot": job.entry.told(job.chosen)}
            print_json(run_document(record) | {"findings": findings_document(record)} | lot)
        else:
            record = _run_in_view(job, standin, archive, stop)
            if job.entry is not None and archive.problem is None:
                job.entry.tell(job.chosen)
        if archive.problem:
            click.echo(archive.problem, err=True)
        if job.report:
            _write_report(job, record, archive)
        _hand_over(job, record, archive)
    return _STATUS[record.verdict]


def _write_report(job: _Job, record: Record, archive: RunArchive) -> None:
    """The report beside the archives; one that cannot be written changes no verdict."""
    from rungbench.report.evidence import Evidence
    from rungbench.report.files import write_file
    from rungbench.report.pdf import report_pdf

    file = paths().reports / f"rungbench-{record.run_id}.pdf"
    content = report_pdf([Evidence.of(record, archive.load_capture)])
    try:
        write_file(file, content)
    except RungbenchError as problem:
        click.echo(f"The report was not written: {problem}", err=True)
    else:
        click.echo(f"report {under_home(file)}", err=job.as_json)


def _hand_over(job: _Job, record: Record, archive: RunArchive) -> None:
    """Report and JSON to wherever the settings want them; what goes wrong changes no verdict."""
    settings = job.chosen.settings
    if not (settings.after_run_folder or settings.after_run_command):
        return
    from rungbench.report.evidence import Evidence
    from rungbench.report.handover import hand_over

    evidence = Evidence.of(record, archive.load_capture)
    for trouble in hand_over(evidence, settings.after_run_folder, settings.after_run_command):
        click.echo(trouble, err=True)


def _run_in_view(job: _Job, standin: StandIn, archive: RunArchive, stop: Stop) -> Record:
    # Late: tables and bars are for people only.
    from rungbench.cli.qualify_view import RunView, console_for_runs, print_end

    console = console_for_runs()
    with RunView(console, job.order) as view, stop.patiently():
        people = People(view, _desk(job, standin, console), stop.hurry)
        record = run(job.order, standin, archive, people, url=job.url)
    print_end(record, archive.place, job.order.profile, console)
    return record


def _desk(job: _Job, standin: StandIn, console: Console | None = None) -> Desk:
    """Who answers the plan's questions: a file, the simulated operator, or whoever types."""
    script = None if job.answers is None else ScriptDesk(list(job.answers))
    if is_simulated(job.url):
        # Late: a real bench needs nothing of the simulated one.
        from rungbench.qualify.simulated_desk import SimulatedDesk
        from rungbench.simulated.operator import Operator

        return SimulatedDesk(Operator(standin.port), script)
    if script is not None:
        return script
    if console is not None and console.is_terminal and sys.stdin.isatty():
        from rungbench.cli.desk_terminal import TerminalDesk

        return TerminalDesk(console)
    return EmptyDesk()


def _list_plans(*, as_json: bool) -> ExitStatus:
    from rungbench.cli.qualify_plan import known_plans, plan_document, print_plans

    plans = known_plans(paths().plans)
    if as_json:
        known = [plan_document(plan) for _, plan in plans if isinstance(plan, Plan)]
        print_json({"schema": "rungbench.plans/1", "plans": known})
    else:
        print_plans(plans)
    return ExitStatus.DONE


def _show_plan(given: dict[str, Any]) -> ExitStatus:
    from rungbench.cli.qualify_plan import plan_document, print_plan

    plan = _plan(load_settings({"plan": given["plan"]}).settings.plan, given)
    if given["as_json"]:
        print_json(plan_document(plan))
    else:
        print_plan(plan)
    return ExitStatus.DONE


def _plan(name: str, given: dict[str, Any]) -> Plan:
    """The plan, with what the options change of it."""
    plan = load_plan(name, paths().plans)
    if given["currents"] is not None:
        plan = with_currents(plan, given["currents"])
    if given["length"] is not None:
        plan = with_length(plan, given["length"])
    return plan


def _alarm_only(told: Told) -> None:
    """With JSON on standard output, an alarm still reaches whoever stands there."""
    if isinstance(told, Alarm):
        click.echo(told.text.upper(), err=True)


def _job(given: dict[str, Any]) -> _Job:
    names = ("bench", "plan", "profile", "operator", "archive")
    options = {name: given[name] for name in names}
    entry = entry_of(given, load_settings(options))
    sheet = read_sheet(given["sheet"]) if given["sheet"] else Sheet()
    if entry is not None:
        sheet = entry.sheet
        options["plan"] = options["plan"] or entry.plan
    options["plan"] = options["plan"] or sheet.plan
    chosen = load_settings(options)
    settings = chosen.settings
    url = require_bench(settings.bench)
    profile = find_profile(settings.profile)
    plan = _plan(settings.plan, given)
    answers = None if given["answers"] is None else tuple(read_answers(given["answers"]))
    charger = _charger(given, sheet, simulated=is_simulated(url))
    check_charger(charger, profile)
    armed = given["arm"] or is_simulated(url)
    cannot = frozenset(Ask(word) for word in (*given["cannot"], *(sheet.cannot or ())))
    order = Order(plan, charger, profile, settings.operator, armed, cannot)
    if entry is not None:
        entry.require(order, chosen)
    return _Job(order, url, chosen, given["as_json"], answers, entry, given["report"])


def require_bench(url: str) -> str:
    """The bench that was chosen.

    Raises
    ------
    WrongUse : none was.
    """
    if not url:
        raise WrongUse(
            "No bench was chosen; give --bench with a port (`rungbench bench ports` lists them), "
            "or --bench sim://sound for the simulated one."
        )
    return url


def find_profile(name: str) -> Profile:
    """A profile by name: one that ships, else one of the user's own, else a file."""
    own = paths().profiles / f"{name}.toml"
    return load_profile(own if name not in BUILT_IN and own.is_file() else name)


def _charger(given: dict[str, Any], sheet: Sheet, *, simulated: bool) -> ChargerIdentity:
    stated = replace(
        sheet,
        **{
            key: given[option]
            for key, option in (
                ("maker", "maker"),
                ("model", "model"),
                ("rated_current_a", "rated_current"),
                ("set_current_a", "set_current"),
                ("phases", "phases"),
                ("outlet", "outlet"),
                ("notes", "notes"),
                ("ventilation", "ventilation"),
            )
            if given[option] is not None
        },
    )
    serial = given["serial"]
    if simulated:
        stated = _completed(stated)
        serial = serial or INVENTED_SERIAL
    missing = [option for key, option in _NEEDED.items() if getattr(stated, key) is None]
    missing += [] if serial else ["--serial"]
    if missing:
        raise WrongUse(f"The charger is not fully described; state {', '.join(missing)}.")
    stated.check_serial(serial)
    return ChargerIdentity(
        maker=stated.maker or "",
        model=stated.model or "",
        serial=serial,
        rated_current_a=stated.rated_current_a or 0.0,
        set_current_a=stated.set_current_a,
        phases=stated.phases or 0,
        outlet=stated.outlet or "",
        notes=stated.notes or "",
        ventilation=stated.ventilation or "",
    )


def _completed(stated: Sheet) -> Sheet:
    """The sheet with the invented charger's values where nothing was stated."""
    empty = {key: getattr(INVENTED, key) for key in _NEEDED if getattr(stated, key) is None}
    return replace(stated, **empty)

"""``rungbench bench calibrate`` and ``bench calibrations``: make and list dated records."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

import click
from rich.table import Table
from rich.text import Text

from rungbench.calibrations.answers import Answers, flat
from rungbench.calibrations.compose import summary
from rungbench.calibrations.contact import Contact
from rungbench.calibrations.draft import Draft
from rungbench.calibrations.procedure import Job, calibrate
from rungbench.calibrations.record import CalibrationRecord, Part
from rungbench.calibrations.store import Shelf, newest
from rungbench.calibrations.volts import OFFERED_V
from rungbench.cli.amounts import NumberRange
from rungbench.cli.printing import print_json
from rungbench.cli.qualify import require_bench
from rungbench.cli.terminal import SIMULATED, PageConsole, printable, safe
from rungbench.errors import ExitStatus, InputError, WrongUse
from rungbench.qualify.bench import calibration_for, is_simulated, store_for
from rungbench.settings import load_settings

_SCHEMA: Final = "rungbench.calibrations/1"
_SOON_DAYS: Final = 30
_HIGHEST_V: Final = 14.0
_PARTS: Final = tuple(str(part) for part in Part)


@click.command("calibrate", epilog="Exit status: 0 stored; 2 wrong use; 3 broken off; 4 refused.")
@click.argument("parts", nargs=-1, type=click.Choice(_PARTS), metavar="[PART]...")
@click.option("--bench", "url", metavar="URL", help="Port or URL of the board.")
@click.option(
    "--from",
    "file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="TOML file with all answers; nothing is asked then.",
)
@click.option("--levels", metavar="V,V,...", help="Levels in volts to be asked for.")
@click.option("--wait-s", type=NumberRange(0, 3600), help="How long a level may take to come.")
@click.option("--restart", is_flag=True, help="Drop what was answered before, and begin anew.")
@click.option("--arm", is_flag=True, help="Allow rungs C and D for width bias; no charger there.")
@click.option("--json", "as_json", is_flag=True, help="Print the records as JSON.")
def calibrate_command(**given: Any) -> ExitStatus:
    """Calibrate a stand-in: volts, clock, parts, widths; all of them unless some are named.

    Each part becomes a dated record of its own.  A dialogue that is broken off goes on where it
    was when the same command is given again.
    """
    settings = load_settings({"bench": given["url"]}).settings
    url = require_bench(settings.bench)
    answers_of_file = _read(given["file"])
    levels = _levels(given["levels"])
    parts = _parts(given["parts"], answers_of_file)
    wait_s = given["wait_s"]
    if wait_s is None:
        wait_s = 0.0 if answers_of_file is None else 120.0
    store = store_for(is_simulated(url))
    store.records()  # a damaged one is told before anybody begins to turn knobs
    contact = Contact(url, wait_s=wait_s, armed=given["arm"])
    draft = Draft.in_folder(store.folder, contact.identity.board_id, fresh=given["restart"])
    person = _Terminal(quiet=given["as_json"])
    _greet(person, contact, draft if answers_of_file is None else None)
    answers = Answers(draft, person, answers_of_file)
    job = Job(parts, calibration_for(url)(contact.identity), settings.operator, levels)
    made: list[CalibrationRecord] = []
    try:
        for record in calibrate(job, contact, answers, store):
            made.append(record)
            person.tell(f"Stored as {store.folder / record.id}.json")
    except (KeyboardInterrupt, click.Abort):
        kept = "" if answers.from_file else " What was answered is kept: the same command goes on."
        click.echo(f"Broken off.{kept}", err=True)
        return ExitStatus.UNDECIDED
    _refuse_unread(answers, parts)
    if given["as_json"]:
        print_json({"schema": _SCHEMA, "records": [_json(one) for one in made]})
    return ExitStatus.DONE


@click.command("calibrations")
@click.option("--board", metavar="ID", help="Only those of one board.")
@click.option("--demo", "simulated", is_flag=True, help="Those of simulated benches.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def calibrations_command(*, board: str | None, simulated: bool, as_json: bool) -> ExitStatus:
    """List the calibration records with the days on which they end.

    Exit status 4 if any record is damaged: a run would refuse to begin.
    """
    shelf = store_for(simulated).shelf()
    rows = [one for one in shelf.records if board in (None, one.board_id)]
    today = datetime.now(UTC).date()
    used = _used(rows, today)
    if as_json:
        _list_json(rows, used, shelf, today)
    else:
        _list_page(rows, used, shelf, today)
    return ExitStatus.BENCH_FAULT if shelf.damaged else ExitStatus.DONE


@dataclass(frozen=True, slots=True)
class _Terminal:
    """Somebody at a terminal; `quiet` keeps standard output for JSON."""

    quiet: bool

    def ask(self, text: str, default: str | None) -> str:
        shown = printable(text)
        answer = click.prompt(shown, default, err=self.quiet, show_default=bool(default))
        return str(answer)

    def tell(self, text: str) -> None:
        click.echo(printable(text), err=self.quiet)


def _greet(person: _Terminal, contact: Contact, draft: Draft | None) -> None:
    identity = contact.identity
    if identity.simulated:
        person.tell(f"{SIMULATED}: this calibrates nothing but a simulated bench.")
    person.tell(f"Board {identity.board_id}, firmware {identity.firmware}.")
    if draft is not None and draft.answers:
        person.tell(
            f"Going on with what was begun on {draft.begun:%Y-%m-%d %H:%M} UTC "
            f"({len(draft.answers)} answers kept; --restart begins anew)."
        )
    person.tell(
        "No charger may be connected, and the supply of the outlet under test must be off. Apply "
        "what is asked for between pilot contact and PE, from a source of 14 V at most."
    )


def _read(file: Path | None) -> dict[str, str] | None:
    if file is None:
        return None
    try:
        return flat(tomllib.loads(file.read_text("utf-8")))
    except OSError as problem:
        raise InputError(
            f"The answers {file} cannot be read ({problem.strerror}); check the path."
        ) from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise InputError(f"The answers {file} are no TOML: {problem}.") from problem


def _levels(text: str | None) -> tuple[float, ...]:
    if text is None:
        return OFFERED_V
    try:
        levels = tuple(float(part) for part in text.split(","))
    except ValueError:
        levels = ()
    if not levels or not all(abs(level) <= _HIGHEST_V for level in levels):
        raise WrongUse(
            f"{text!r} are no levels within {_HIGHEST_V:g} V; write them as -12,0,3,6,9,12."
        )
    return levels


def _parts(named: tuple[str, ...], given: Mapping[str, str] | None) -> tuple[Part, ...]:
    """The parts that were named; else all, or those that the file speaks of."""
    if named:
        return tuple(part for part in Part if part in named)
    if given is None:
        return tuple(Part)
    found = tuple(part for part in Part if any(key.startswith(f"{part}.") for key in given))
    if not found:
        raise WrongUse(f"The file answers nothing; it needs a table for {', '.join(_PARTS)}.")
    return found


def _refuse_unread(answers: Answers, parts: tuple[Part, ...]) -> None:
    """A key that nothing asked for is a slip of the pen, and is told."""
    strange = [key for key in answers.unread if key.partition(".")[0] in parts or "." not in key]
    if strange:
        answers.person.tell(f"Nothing asked for {', '.join(strange)}; these were not used.")


# Listing --------------------------------------------------------------------------------------


def _used(rows: list[CalibrationRecord], today: date) -> set[str]:
    """Ids of those that a run of today would go by, the temperature aside."""
    boards = {one.board_id for one in rows}
    return {
        record.id
        for board in boards
        for record in newest((one for one in rows if one.board_id == board), today, None).values()
    }


def _json(record: CalibrationRecord) -> dict[str, Any]:
    return {
        **summary(record),
        "board_id": record.board_id,
        "simulated": record.simulated,
        "span_k": record.made.span_k,
        "note": record.made.note,
        "result": dict(record.result),
    }


def _list_json(rows: list[CalibrationRecord], used: set[str], shelf: Shelf, today: date) -> None:
    print_json(
        {
            "schema": _SCHEMA,
            "records": [
                {
                    **_json(one),
                    "due_in_days": (one.made.valid_until - today).days,
                    "in_use": one.id in used,
                    "doubt": one.doubt(today, None),
                }
                for one in rows
            ],
            "damaged": [str(problem) for problem in shelf.damaged],
        }
    )


def _list_page(rows: list[CalibrationRecord], used: set[str], shelf: Shelf, today: date) -> None:
    console = PageConsole()
    if any(one.simulated for one in rows):
        console.print(Text(SIMULATED, style="bold"))
    if not rows and not shelf.damaged:
        click.echo("No calibration is stored; make one with `rungbench bench calibrate`.")
    table = Table(box=None, padding=(0, 1))
    for name in ("id", "made by", "ends", ""):
        table.add_column(name, overflow="fold", no_wrap=name in ("id", "ends"))
    for one in rows:
        ends, due = one.made.valid_until.isoformat(), _due(one, used, today)
        table.add_row(*(safe(cell) for cell in (one.id, one.made.by, ends, due)))
    if rows:
        console.print(table)
    for problem in shelf.damaged:
        click.echo(printable(str(problem)), err=True)


def _due(record: CalibrationRecord, used: set[str], today: date) -> str:
    days = (record.made.valid_until - today).days
    if record.id not in used:
        return "replaced"
    if days < 0:
        return f"ENDED {-days} days ago"
    return f"due in {days} days" if days <= _SOON_DAYS else "in use"

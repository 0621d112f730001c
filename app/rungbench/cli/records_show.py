"""One record on the terminal, in 80 columns or more."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from pilotsignal.figures import bounds, figure
from pilotsignal.judge import Judgement, Verdict
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record
from rungbench.cli.bench_lines import record_lines
from rungbench.cli.budget_page import print_budget
from rungbench.cli.explaining import print_explanations
from rungbench.cli.terminal import SIMULATED, PageConsole, printable, safe, verdict_text

_QUIET = (Verdict.PASS, Verdict.OBSERVED)
_OF_BOARD = ("board_id", "firmware", "protocol", "oscillator", "phases_sensed")
_OF_CALIBRATION = ("id", "made", "valid_until", "by")
_UNSTATED: Final[tuple[object, ...]] = (None, "", [], {})
_NAMES = 12
_VERDICT = 13
_VALUE = 20
_LIMIT = 23
_BETWEEN = 2
_LEAST_CHECK = 12
_MOST_CHECK = 40


def print_record(record: Record, *, budget: bool = False) -> None:
    """Print identity, checks, findings; with `budget` where each uncertainty comes from."""
    console = PageConsole()
    _print_top(record, console)
    console.print(_facts(record))
    console.print()
    console.print(_checks(record.checks, console))
    _print_findings(record, console)
    print_explanations(record, console)
    if budget:
        for result in record.checks:
            for one in result.quantities:
                print_budget(f"{result.title}: {one.name}", one, console)
    if record.header.simulated:
        console.print(Text(f"\n{SIMULATED}: no charger was tested.", style="bold"))


def _print_top(record: Record, console: Console) -> None:
    line = Text(f"Record {record.run_id}  ", style="bold")
    line.append_text(verdict_text(record.verdict.value, console))
    if record.header.simulated:
        line.append(f"  {SIMULATED}", style="bold")
    console.print(line)
    if record.interrupted:
        console.print(safe(f"Interrupted: {record.interrupted.rstrip('.')}."))


def _facts(record: Record) -> Table:
    table = Table.grid(padding=(0, 1))
    table.add_column(width=_NAMES, no_wrap=True)
    table.add_column(overflow="fold")
    for name, text in _fact_lines(record):
        if text:
            table.add_row(name, safe(text))
    return table


def _fact_lines(record: Record) -> Iterator[tuple[str, str]]:
    header, charger = record.header, record.header.charger
    set_current = charger.set_current_a
    stated = "set current not stated" if set_current is None else f"set to {set_current:g} A"
    phases = "1 phase" if charger.phases == 1 else f"{charger.phases} phases"
    yield "Charger", f"{charger.maker} {charger.model}, serial {charger.serial}"
    yield "", f"{charger.rated_current_a:g} A, {stated}, {phases}, {charger.outlet}"
    yield "Notes", charger.notes
    yield "Operator", header.operator
    yield "Started", f"{header.started:%Y-%m-%d %H:%M:%S} UTC{_length(record)}"
    yield "Plan", f"{header.plan} ({header.plan_hash[:12]})"
    yield "Profile", f"{header.profile} ({header.profile_hash[:12]})"
    yield "Bench", header.bench_url
    yield "Board", _pairs(_main(header.board, _OF_BOARD))
    yield "Calibration", _pairs(_main(header.calibration, _OF_CALIBRATION))
    for name, text in record_lines(header.calibration):
        yield "", f"{name}: {text}" if name else text
    yield "Versions", _pairs(header.versions)
    for check, why in header.left_out:
        yield "Left out", f"{check}: {why}"
    yield "Made safe", _pairs(record.make_safe)
    yield from _later(record)


def _later(record: Record) -> Iterator[tuple[str, str]]:
    """What else there is about this record, and what is no longer there."""
    origin = record.header.origin
    if origin is not None:
        entered = f"{origin.entered:%Y-%m-%d %H:%M} UTC"
        yield "Made from", f"{origin.record}, {origin.kind.value} {entered}: {origin.reason}"
        yield "", "Nothing was measured for it; its times are those of the measurement."
    if record.followed_by:
        yield "Followed by", ", ".join(record.followed_by)
    if record.expired:
        last = max(moment for _, moment in record.expired)
        keys = {key for _, key in record.capture_names}
        yield "Captures", f"{len(record.expired)} of {len(keys)} expired by {last:%Y-%m-%d}"


def _length(record: Record) -> str:
    if record.finished is None:
        return ""
    return f", {(record.finished - record.header.started).total_seconds():.1f} s"


def _pairs(plain: Mapping[str, Any]) -> str:
    stated = ((name, value) for name, value in plain.items() if value not in _UNSTATED)
    return ", ".join(f"{name} {_flat(value)}" for name, value in stated)


def _main(plain: Mapping[str, Any], names: tuple[str, ...]) -> Mapping[str, Any]:
    """What tells one board or calibration from another; JSON has all of it."""
    return {name: plain[name] for name in names if name in plain}


def _flat(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"({_pairs(value)})"
    if isinstance(value, list | tuple):
        return " ".join(_flat(one) for one in value)
    return str(value)


def _checks(results: tuple[CheckResult, ...], console: Console) -> Table:
    widths = _widths(console.width)
    table = Table(box=None, pad_edge=False, header_style="bold", show_edge=False)
    table.add_column("Check", overflow="fold", width=widths[0])
    table.add_column("Verdict", no_wrap=True, width=_VERDICT)
    table.add_column("Value, U (95 %)", overflow="fold", width=_VALUE)
    table.add_column("Limit, source, rule", overflow="fold", width=widths[1])
    for result in results:
        heading = (_title(result), verdict_text(result.verdict.value, console))
        for value, source in _rows(result, console):
            table.add_row(*heading, value, source)
            heading = (Text(""), Text(""))
        if result is not results[-1]:
            table.add_row()
    return table


def _widths(console: int) -> tuple[int, int]:
    """Columns of the check and of the limit: what the others leave, the limit wide enough first."""
    left = console - _VERDICT - _VALUE - 3 * _BETWEEN
    check = max(_LEAST_CHECK, min(_MOST_CHECK, left - _LIMIT))
    return check, max(_LIMIT, left - check)


def _title(result: CheckResult) -> Text:
    text = safe(result.title)
    extra = [] if result.role.value == "required" else [result.role.value]
    if result.attempt > 1:
        extra.append(f"attempt {result.attempt}")
    return text.append(f"\n{', '.join(extra)}", style="dim") if extra else text


def _rows(result: CheckResult, console: Console) -> Iterator[tuple[Text, Text]]:
    """Value and limit of each judgement; then the values that nothing judges."""
    judged = []
    for judgement in result.judgements:
        judged.append(judgement.quantity)
        yield _judged_value(judgement, result, console), _source(judgement)
    for quantity in result.quantities:
        if quantity not in judged:
            yield _value(quantity), Text("")
    for name, text in result.observations.items():
        yield safe(f"{name}: {text}"), Text("")
    if not (result.judgements or result.quantities or result.observations):
        yield Text(""), Text("")


def _judged_value(judgement: Judgement, result: CheckResult, console: Console) -> Text:
    text = Text("") if judgement.quantity is None else _value(judgement.quantity)
    if judgement.verdict is not result.verdict:
        text.append("\n" if text else "").append_text(
            verdict_text(judgement.verdict.value, console)
        )
    return text


def _value(quantity: Quantity) -> Text:
    text = Text(figure(quantity.value, quantity.expanded(), quantity.unit))
    return text.append(f"\n{printable(quantity.name)}", style="dim")


def _source(judgement: Judgement) -> Text:
    limit = judgement.limit
    text = Text(bounds(limit.low, limit.high, limit.unit))
    for line in (limit.clause, limit.rule_text if limit.deciding else "does not decide"):
        text.append("\n" if text else "").append(printable(line), style="dim")
    return text


def _print_findings(record: Record, console: Console) -> None:
    findings = [one for one in record.checks if one.verdict not in _QUIET]
    if findings:
        console.print(Text("\nWhat did not pass", style="bold"))
    for one in findings:
        line = verdict_text(one.verdict.value, console)
        console.print(line.append(f"  {printable(one.title)}: ").append(printable(one.why)))
    done = {one.check for one in record.checks}
    missed = [check for check in record.header.planned if check not in done]
    if missed:
        console.print()
        console.print(safe(f"Planned but not reached: {', '.join(missed)}"))

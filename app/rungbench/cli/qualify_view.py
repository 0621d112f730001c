"""A run on the terminal: progress while it goes on, one line per check, the verdict at the end."""

from typing import Final

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.panel import Panel
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from pilotsignal.figures import bounds, figure
from pilotsignal.judge import Judgement, Limit, Verdict
from pilotsignal.standard import Profile
from rungbench.archive.document import deciding
from rungbench.archive.record import CheckResult, Record, Role, RunHeader
from rungbench.cli.bench_lines import record_lines
from rungbench.cli.explaining import print_explanations
from rungbench.cli.qualify_plan import duration
from rungbench.cli.terminal import FACES, SIMULATED, PageConsole, safe, verdict_text
from rungbench.paths import Place, under_home
from rungbench.qualify.order import Order
from rungbench.qualify.progress import (
    Alarm,
    CheckDone,
    MakingSafe,
    Paused,
    RunStarted,
    StepStarted,
    Told,
)
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS, NO_CERTIFICATION

_VERDICT: Final = 13
_WIDE_TITLE: Final = 45
_VALUE: Final = 21
_WIDE: Final = 120
_QUIET: Final = (Verdict.PASS, Verdict.OBSERVED)
# Without a terminal nobody folds lines for us, and one check is to be one line.
_PIPE_WIDTH: Final = 160
_BOUND_DECIMALS: Final = 3


def console_for_runs() -> Console:
    """A console on standard output, wide where it is no terminal."""
    console = PageConsole()
    return console if console.is_terminal else PageConsole(width=_PIPE_WIDTH)


class RunView:
    """Shows a run; a listener of its runner, and a context manager around it."""

    def __init__(self, console: Console, order: Order) -> None:
        self._console = console
        self._plan, self._armed = order.plan, order.armed
        self._edition = order.profile.edition
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=24, complete_style="#0072b2", finished_style="#0072b2"),
            TextColumn("{task.completed:.0f}/{task.total:.0f} checks"),
            TimeElapsedColumn(),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task: TaskID | None = None

    def __enter__(self) -> "RunView":
        self._progress.start()
        self._task = self._progress.add_task("prepare", total=len(self._plan.checks) + 1)
        return self

    def __exit__(self, *_ending: object) -> None:
        self._progress.stop()

    def __call__(self, told: Told) -> None:
        """Show one message of the runner."""
        match told:
            case RunStarted():
                self._begin(told.header)
            case StepStarted():
                self._describe(_step_text(told))
            case CheckDone():
                self._console.print(check_line(told.result, self._edition, self._console))
                if self._task is not None and told.result.attempt == 1:
                    self._progress.advance(self._task)
            case Paused():
                text = "It goes on." if told.over else "Paused on open; 'go on' continues."
                self._console.print(Text(f"  {text}", style="bold"))
            case MakingSafe():
                self._describe(f"watching the outlet for {told.watch_s:g} s")
            case Alarm():
                self._console.print(alarm(told.text))

    def _describe(self, text: str) -> None:
        if self._task is not None:
            armed = "  ARMED" if self._armed else ""
            self._progress.update(self._task, description=f"{text}{armed}")

    def _begin(self, header: RunHeader) -> None:
        console, charger = self._console, header.charger
        console.print(safe(f"Record {header.run_id}  {self._plan.title}", "bold"), _mark(header))
        console.print(safe(f"{charger.maker} {charger.model}, serial {charger.serial}"))
        console.print(safe(f"profile {header.profile}, bench {header.bench_url}", "dim"))
        for name, text in record_lines(header.calibration):
            console.print(safe(f"{name}: {text}" if name else f"  {text}", "dim"))
        if not header.simulated:
            console.print(Text("ARMED" if self._armed else "not armed: stops at B", style="bold"))
        for caution in CAUTIONS:
            console.print(safe(f"! {caution}", "dim"))
        console.print()


def _step_text(told: StepStarted) -> str:
    again = ", again and longer" if told.attempt > 1 else ""
    live = " (outlet live)" if told.step.energises else ""
    return f"{told.step.name}{live}{again}, about {duration(told.left_s)} left"


def _mark(header: RunHeader) -> Text:
    return Text(SIMULATED if header.simulated else "", style="bold")


def alarm(text: str) -> Panel:
    """What must not be overlooked."""
    return Panel(Text(text.upper(), style="bold"), border_style="bold red", expand=False)


def check_line(result: CheckResult, edition: str, console: Console) -> Table:
    """Verdict, title, value with U, limit with clause; and why, where it did not pass."""
    wide = console.width >= _WIDE
    table = Table.grid(padding=(0, 1))
    table.add_column(width=_VERDICT, no_wrap=True)
    room = console.width - _VERDICT - _VALUE - 2
    table.add_column(width=_WIDE_TITLE if wide else max(20, min(_WIDE_TITLE, room)))
    table.add_column(width=_VALUE)
    decided = deciding(result)
    limit = safe(_limit(decided, edition) or _remark(result), "dim")
    cells: list[RenderableType] = [verdict_text(result.verdict.value, console), _title(result)]
    cells.append(_value(result, decided))
    if wide:
        table.add_column()
        table.add_row(*cells, limit)
    else:
        table.add_row(*cells)
    below = [] if wide or not limit.plain else [limit]
    if result.verdict not in _QUIET and result.why:
        below.append(safe(result.why))
    if not below:
        return table
    outer = Table.grid()
    outer.add_row(table)
    for text in below:
        outer.add_row(Padding(text, (0, 0, 0, _VERDICT + 1)))
    return outer


def _title(result: CheckResult) -> Text:
    text = safe(result.title)
    if result.attempt > 1:
        text.append(f" [{result.attempt}]", style="dim")
    if result.role is not Role.REQUIRED:
        text.append(f" {result.role.value}", style="dim")
    return text


def _value(result: CheckResult, decided: Judgement | None) -> str:
    quantity = decided.quantity if decided else None
    if quantity is None:
        quantity = result.quantities[0] if result.quantities else None
    if quantity is None:
        return ""
    if quantity.u == 0.0:
        return f"{quantity.value:g} {quantity.unit}"
    return figure(quantity.value, quantity.expanded(), quantity.unit)


def _limit(decided: Judgement | None, edition: str) -> str:
    """Bounds, clause and rule; the edition only where it is not the profile's own."""
    if decided is None or decided.limit.low is decided.limit.high is None:
        return ""
    limit = decided.limit
    clause = limit.clause.replace(f"{edition}, ", "").replace(f"{edition} ", "")
    return f"{_bounds(limit)}; {clause}; {limit.rule}"


def _remark(result: CheckResult) -> str:
    """What was seen, where nothing limits it."""
    return result.why if result.verdict is Verdict.OBSERVED else ""


def _bounds(limit: Limit) -> str:
    if limit.low is not None and limit.low == limit.high:
        return f"{limit.low:g} {limit.unit}"
    low = None if limit.low is None else round(limit.low, _BOUND_DECIMALS)
    high = None if limit.high is None else round(limit.high, _BOUND_DECIMALS)
    return bounds(low, high, limit.unit)


def _print_decisive(record: Record, edition: str, console: Console) -> None:
    """The checks that kept it from a pass once more, so that nobody has to look for them."""
    kept = [one for one in decisive(record) if one.verdict is not Verdict.NOT_RUN]
    missing = sum(one.verdict is Verdict.NOT_RUN for one in decisive(record))
    if not kept and not missing:
        return
    console.print(Text("\nWhat kept it from a pass", style="bold"))
    for result in kept:
        console.print(check_line(result, edition, console))
    if missing:
        console.print(safe(f"{missing} required checks were not run; each line above says why."))


def decisive(record: Record) -> list[CheckResult]:
    """Required checks that did not pass, as they count: a fail for good, otherwise the last one."""
    counts: dict[str, CheckResult] = {}
    for result in record.checks:
        before = counts.get(result.check)
        if before is None or before.verdict is not Verdict.FAIL:
            counts[result.check] = result
    required = (one for one in counts.values() if one.role is Role.REQUIRED)
    return [one for one in required if one.verdict not in _QUIET]


def print_end(record: Record, archive: Place, profile: Profile, console: Console) -> None:
    """The verdict, large; then where it lies, and what it does not say."""
    verdict = verdict_text(record.verdict.value, console)
    face = FACES[record.verdict.value]
    body = Text(" ").append_text(verdict).append(" ")
    if record.header.simulated:
        body.append(f" {SIMULATED} ", style="bold")
    console.print()
    console.print(Panel(body, border_style=face.colour, expand=False, padding=(1, 4)))
    if record.interrupted:
        console.print(safe(f"Interrupted: {record.interrupted}"))
    if text := record.make_safe.get("alarm"):
        console.print(alarm(str(text)))
    _print_decisive(record, profile.edition, console)
    print_explanations(record, console)
    console.print(safe(f"record {record.run_id} in {under_home(archive)}"))
    console.print(safe(f"Not proven here: {', '.join(CANNOT_PROVE)}.", "dim"))
    console.print(safe(f"{NO_CERTIFICATION} {profile.confirm}", "dim"))
    if record.header.simulated:
        console.print(Text(f"{SIMULATED}: no charger was tested.", style="bold"))

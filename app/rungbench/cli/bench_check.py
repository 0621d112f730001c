"""``rungbench bench check``: the board against itself."""

import sys
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import click
from rich.table import Table
from rich.text import Text

from pilotsignal.judge import Verdict
from rungbench.calibrations.board_check import CLOCK_S, Extent, check_board
from rungbench.calibrations.check_line import CheckLine
from rungbench.cli.amounts import NumberRange
from rungbench.cli.printing import print_json
from rungbench.cli.qualify import require_bench
from rungbench.cli.terminal import SIMULATED, PageConsole, printable, safe, verdict_text
from rungbench.cli.watch import real_time
from rungbench.errors import ExitStatus
from rungbench.link.messages import Identity
from rungbench.qualify.bench import is_simulated
from rungbench.qualify.order import board_dict
from rungbench.settings import load_settings
from rungbench.standin.board import StandIn

_SCHEMA: Final = "rungbench.bench_check/1"
_WORST: Final = (Verdict.BENCH_FAULT, Verdict.UNDECIDED)
_STATUS: Final[Mapping[Verdict, ExitStatus]] = {
    Verdict.BENCH_FAULT: ExitStatus.BENCH_FAULT,
    Verdict.UNDECIDED: ExitStatus.UNDECIDED,
    Verdict.PASS: ExitStatus.DONE,
}


@click.command("check", epilog="Exit status: 0 sound; 3 a line is undecided; 4 a bench fault.")
@click.option("--bench", "url", metavar="URL", help="Port or URL of the board.")
@click.option(
    "--clock-s",
    type=NumberRange(0, 3600),
    default=CLOCK_S,
    show_default=True,
    help="How long the board's clock is compared with this computer's; 0: not at all.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def check_command(*, url: str | None, clock_s: float, as_json: bool) -> ExitStatus:
    """Check the board against itself: converter, noise, codes, clocks, losses.

    Only rungs open and B are presented. It needs no reference, and replaces no calibration.
    """
    address = require_bench(load_settings({"bench": url}).settings.bench)
    extent = _extent(address, clock_s)
    with StandIn.open(address) as standin:
        identity = standin.identity
        lines = list(_told(check_board(standin, extent, _tell), identity, as_json))
    verdict = next(
        (one for one in _WORST if any(line.verdict is one for line in lines)), Verdict.PASS
    )
    if as_json:
        _print_json(identity, lines, verdict)
    return _STATUS[verdict]


def _extent(url: str, clock_s: float) -> Extent:
    """A simulated bench keeps no real time, unless its address asks for one second a second."""
    if clock_s > 0.0 and is_simulated(url) and real_time(url) != url:
        return Extent(0.0, "A simulated bench keeps no real time; add speed=1 to its address.")
    return Extent(clock_s)


def _told(lines: Iterable[CheckLine], identity: Identity, as_json: bool) -> Iterator[CheckLine]:
    """The lines as they come, each printed at once: the last ones take a minute."""
    console = PageConsole()
    if identity.simulated and not as_json:
        console.print(Text(SIMULATED, style="bold"))
    for line in lines:
        if not as_json:
            table = Table.grid(padding=(0, 2))
            table.add_column(width=18, no_wrap=True)
            table.add_column(width=13, no_wrap=True)
            table.add_column(overflow="fold")
            table.add_row(safe(line.line), verdict_text(line.verdict, console), safe(line.text))
            console.print(table)
        yield line


def _tell(text: str) -> None:
    """What is being looked at, for whoever waits at a terminal."""
    if sys.stderr.isatty():
        click.echo(printable(f"... {text}"), err=True)


def _print_json(identity: Identity, lines: list[CheckLine], verdict: Verdict) -> None:
    print_json(
        {
            "schema": _SCHEMA,
            "simulated": identity.simulated,
            "board": board_dict(identity),
            "verdict": verdict.value,
            "lines": [_plain(line) for line in lines],
        }
    )


def _plain(line: CheckLine) -> dict[str, Any]:
    return {
        "line": line.line.value,
        "verdict": line.verdict.value,
        "text": line.text,
        "figures": dict(line.figures),
    }

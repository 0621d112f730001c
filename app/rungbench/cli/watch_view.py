"""Live readings on the terminal: a table that is drawn anew, or a line each where there is none."""

from typing import Final

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from pilotsignal.figures import figure
from pilotsignal.quantity import Quantity
from rungbench.cli.printing import state_words
from rungbench.cli.qualify_view import alarm, console_for_runs
from rungbench.cli.segment_lines import segment_lines
from rungbench.cli.terminal import SIMULATED, safe
from rungbench.cli.watch import Reading
from rungbench.qualify.safety import Safety

_ROWS: Final = (
    ("High plateau", "high_plateau_v"),
    ("Low plateau", "low_plateau_v"),
    ("Frequency", "frequency_hz"),
    ("Duty", "duty_percent"),
    ("Advertised", "advertised_current_a"),
)


class WatchView:
    """Shows readings as they come."""

    def __init__(self, console: Console | None = None) -> None:
        self._console = console or console_for_runs()
        self._live: Live | None = None

    def __enter__(self) -> "WatchView":
        if self._console.is_terminal:
            self._live = Live(console=self._console, auto_refresh=False)
            self._live.start()
        return self

    def __exit__(self, *_ending: object) -> None:
        if self._live is not None:
            self._live.stop()

    def show(self, reading: Reading) -> None:
        """Show one reading."""
        if self._live is not None:
            self._live.update(page(reading), refresh=True)
        else:
            self._console.print(safe(line(reading)))

    def end(self, safety: Safety | None) -> None:
        """Say how the stand-in was left."""
        if safety is None:
            self._console.print("left on open")
            return
        if safety.alarm:
            self._console.print(alarm(safety.alarm))
        elif safety.watched:
            self._console.print(f"left on open, outlet watched for {safety.watched_s:.1f} s: dead")
        else:
            self._console.print(safe(safety.problem))


def page(reading: Reading) -> Group:
    """The whole table of one reading."""
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim")
    table.add_column()
    table.add_row("Rung", Text(_rung(reading), style="bold"))
    table.add_row("State", safe(_state(reading)))
    for title, name in _ROWS:
        table.add_row(title, _value(reading.quantity(name)))
    table.add_row("Mains", Text(_mains(reading), style="bold" if reading.mains else ""))
    if reading.losses:
        table.add_row("Lost", safe(reading.losses.text()))
    for notice in reading.notices:
        table.add_row("Notice", safe(f"{notice.code}: {notice.text}"))
    for part in segment_lines(reading.measurement.steadiness) if reading.measurement else []:
        table.add_row("Part", safe(part))
    head = Text(f"{SIMULATED}  " if reading.simulated else "", style="bold")
    return Group(head.append(f"{reading.at_s:.1f} s"), table)


def line(reading: Reading) -> str:
    """One reading in one line, for a pipe."""
    values = [reading.quantity(name) for _, name in _ROWS]
    parts = [
        f"{reading.at_s:7.1f} s",
        _rung(reading),
        "/".join(reading.measurement.state) if reading.measurement else "-",
        *(_value(value) for value in values if value is not None),
        f"mains {_mains(reading)}",
        *([f"lost: {reading.losses.text()}"] if reading.losses else []),
        *(notice.code for notice in reading.notices),
        *([SIMULATED] if reading.simulated else []),
    ]
    return "  ".join(parts)


def _rung(reading: Reading) -> str:
    return f"{reading.setting.text()}{'  ARMED' if reading.armed else ''}"


def _state(reading: Reading) -> str:
    found = reading.measurement
    return state_words(found.state, found.pwm_on) if found else "the pilot was not sampled"


def _value(quantity: Quantity | None) -> str:
    if quantity is None:
        return "-"
    return figure(quantity.value, quantity.expanded(), quantity.unit)


def _mains(reading: Reading) -> str:
    return ", ".join(f"L{phase}" for phase in sorted(reading.mains)) or "none"

"""The page that ``rungbench measure`` prints for people."""

from typing import TYPE_CHECKING, Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from pilotsignal.figures import bounds, figure
from pilotsignal.judge import Judgement
from pilotsignal.quantity import Quantity
from rungbench.cli.budget_page import print_budget
from rungbench.cli.measure_fold import fold_lines
from rungbench.cli.printing import state_words
from rungbench.cli.segment_lines import segment_lines
from rungbench.cli.terminal import PageConsole, printable, safe, verdict_text

if TYPE_CHECKING:
    from rungbench.cli.measure import Reading

_WORDS: Final = {
    "frequency_hz": "frequency",
    "duty_percent": "duty",
    "pulse_width_zero_us": "pulse width at 0 V",
    "pulse_width_mid_us": "pulse width at 50 %",
    "high_plateau_v": "high plateau",
    "low_plateau_v": "low plateau",
    "rise_time_us": "rise time, 10 to 90 %",
    "fall_time_us": "fall time, 90 to 10 %",
    "width_jitter_us": "jitter of the width",
    "period_jitter_us": "jitter of the period",
    "advertised_current_a": "advertised current",
}


def print_reading(reading: "Reading", *, budget: bool) -> None:
    """Print everything that one file says."""
    out = PageConsole()
    capture = reading.imported.capture
    size = (
        f": {capture.samples.size} samples, one every {capture.interval_s * 1e6:.6g} us, "
        f"{capture.duration_s * 1e3:.6g} ms"
    )
    out.print(Text.assemble((printable(capture.origin), "bold"), size), soft_wrap=True)
    out.print(f"State: {state_words(reading.measurement.state, reading.measurement.pwm_on)}")
    out.print()
    out.print(_quantities(reading.measurement.quantities()))
    _print_sentences(out, "Notices", [one.text for one in reading.measurement.notices])
    _print_sentences(out, "Parts of the record", segment_lines(reading.measurement.steadiness))
    if reading.folded is not None:
        view, file = reading.folded
        _print_sentences(out, f"Equivalent time, in {printable(file)}", fold_lines(view))
    _print_sentences(out, "How the file was read", list(reading.imported.remarks))
    if budget:
        _print_budgets(out, reading.measurement.quantities())
    if reading.judgements:
        out.print()
        profile = reading.profile
        title = (f"Judged by {printable(profile.title)}", "bold")
        out.print(Text.assemble(title, f" ({printable(profile.label)})"))
        out.print(_judgements(reading.judgements, out))
        out.print(safe(profile.confirm, "dim"))


def _quantities(quantities: dict[str, Quantity | None]) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_column()
    table.add_column(justify="right")
    table.add_column(justify="left")
    for name, quantity in quantities.items():
        if quantity is None:
            table.add_row(_WORDS[name], Text("not measured", style="dim"), "")
        else:
            table.add_row(_WORDS[name], _figure(quantity), f"k = {quantity.coverage_factor():.2f}")
    return table


def _figure(quantity: Quantity) -> str:
    return figure(quantity.value, quantity.expanded(), quantity.unit)


def _print_sentences(out: Console, title: str, sentences: list[str]) -> None:
    if not sentences:
        return
    out.print()
    out.print(title, style="bold")
    table = Table.grid(padding=(0, 1))
    for sentence in sentences:
        table.add_row("-", safe(sentence))
    out.print(table)


def _judgements(judgements: tuple[tuple[str, Judgement], ...], out: Console) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column()
    for check, judgement in judgements:
        table.add_row(verdict_text(str(judgement.verdict), out), check, _grounds(judgement))
    return table


def _grounds(judgement: Judgement) -> Text:
    limit = judgement.limit
    text = safe(judgement.why)
    span = bounds(limit.low, limit.high, limit.unit)
    text.append(f"\nLimit {span}: {printable(limit.clause)}; rule: {limit.rule_text}")
    if judgement.conformance_probability is not None:
        text.append(f"; probability of conformity {_percent(judgement.conformance_probability)}")
    return text


def _percent(probability: float) -> str:
    if probability > 0.9995:
        return "above 99.9 %"
    return "below 0.1 %" if probability < 0.0005 else f"{probability * 100.0:.1f} %"


def _print_budgets(out: Console, quantities: dict[str, Quantity | None]) -> None:
    for name, quantity in quantities.items():
        if quantity is not None:
            print_budget(f"Budget of the {_WORDS[name]}", quantity, out)

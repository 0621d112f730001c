"""All checks of a record: value, uncertainty, limit, clause, rule, verdict, and why."""

from collections.abc import Iterator
from typing import Final

from pilotsignal.judge import Judgement, Verdict
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record, Role
from rungbench.report.figures import bounds, figure, probability
from rungbench.report.lines import Style
from rungbench.report.setpoints import is_set_point
from rungbench.report.sheet import Sheet
from rungbench.report.table import (
    BODY,
    SMALL,
    STRONG,
    Cell,
    cell,
    columns,
    heading,
    paragraph,
    table,
)
from rungbench.report.verdicts import verdict_line

_HEADS: Final = columns(
    ("Check", 142),
    ("Verdict", 70),
    ("Value, U (95 %)", 126),
    ("Limit, clause, rule", 173),
)
_QUIET: Final = (Verdict.PASS, Verdict.OBSERVED)
_ABOUT: Final = (
    "U is the expanded uncertainty for 95 % coverage. Required checks decide the verdict of the "
    "run, optional and indicative ones do not. Guarded with w = U: inside the limit by U passes, "
    "outside by U fails, between is undecided. Simple acceptance: the value alone decides. Reject "
    "only beyond U: inside passes, outside by U or less is undecided. p is the probability that "
    "the true value lies inside the limit (JCGM 106:2012, 7.2)."
)


def draw_checks(sheet: Sheet, record: Record) -> None:
    """The section with every result of a record, each attempt by itself."""
    heading(sheet, "Checks", 110.0)
    paragraph(sheet, _ABOUT, SMALL)
    sheet.down(3.0)
    if not record.checks:
        paragraph(sheet, "No check was completed.")
    table(sheet, _HEADS, (row for result in record.checks for row in _rows(result)))


def _rows(result: CheckResult) -> Iterator[tuple[Cell, ...]]:
    """A row for each judgement; the first one names the check.

    Of several judgements each has its own verdict beside it, and that of the check stands below
    its name.
    """
    judged = result.judgements or (None,)
    several = len(judged) > 1
    for number, judgement in enumerate(judged):
        first, last = number == 0, number == len(judged) - 1
        verdict = judgement.verdict if several and judgement is not None else result.verdict
        yield (
            _named(result, several) if first else (),
            (verdict_line(verdict.value, BODY.size),),
            _values(result, judgement, last),
            (() if judgement is None else _source(judgement)) + (_why(result) if last else ()),
        )


def _named(result: CheckResult, several: bool) -> Cell:
    extra = [] if result.role is Role.REQUIRED else [result.role.value]
    extra += [f"attempt {result.attempt}"] if result.attempt > 1 else []
    named = cell(_HEADS[0], (result.title, STRONG), (", ".join(extra), SMALL))
    if not several:
        return named
    return (
        *named,
        *cell(_HEADS[0], ("altogether", SMALL)),
        verdict_line(result.verdict.value, 7.6),
    )


def _values(result: CheckResult, judgement: Judgement | None, last: bool) -> Cell:
    texts: list[tuple[str, Style]] = []
    if judgement is not None and judgement.quantity is not None:
        texts += _value(judgement.quantity, BODY)
    if last:
        judged = [one.quantity for one in result.judgements]
        for one in result.quantities:
            if one not in judged and not is_set_point(one):
                texts += _value(one, SMALL if judged else BODY)
        texts += [(f"{name}: {text}", SMALL) for name, text in result.observations.items()]
    return cell(_HEADS[2], *texts)


def _value(quantity: Quantity, style: Style) -> list[tuple[str, Style]]:
    return [(figure(quantity), style), (quantity.name, SMALL)]


def _source(judgement: Judgement) -> Cell:
    limit = judgement.limit
    rule = limit.rule_text if limit.deciding else "shown, does not decide"
    chance = probability(judgement.conformance_probability) if limit.deciding else ""
    memory = "from memory, unconfirmed" if limit.confidence == "MEM" else ""
    told = "; ".join(part for part in (rule, chance, memory) if part)
    texts = [(bounds(limit), BODY), (limit.clause, SMALL), (told, SMALL)]
    if limit.profile not in limit.clause and limit.profile.endswith(")"):
        texts.append((f"profile {limit.profile}", SMALL))
    return cell(_HEADS[3], *texts)


def _why(result: CheckResult) -> Cell:
    """The sentence of whatever is not simply a pass."""
    style = BODY if result.verdict not in _QUIET else SMALL
    return cell(_HEADS[3], (result.why if result.verdict is not Verdict.PASS else "", style))

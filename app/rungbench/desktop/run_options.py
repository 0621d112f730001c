"""What is stated for the runs to come beside sheet and plan: currents, lengths, what cannot be.

No Qt.  The same as the options of the command ``qualify``; an option that the plan has no use for
changes nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from rungbench.desktop.figures import short
from rungbench.errors import WrongUse
from rungbench.link.words import Rung
from rungbench.qualify.amend import with_currents, with_length
from rungbench.qualify.amounts import current_of, currents_of, span_of
from rungbench.qualify.desk import Ask
from rungbench.qualify.plan import Do, Plan

ANSWERS_TO_D: Final = ("", "allow", "refuse")
"""What a charger is declared to do when ventilation is asked for; the first: nothing declared."""


@dataclass(frozen=True, slots=True)
class Used:
    """Which options a plan has a use for; `asks` are in the order of its questions."""

    currents: bool
    length: bool
    ventilation: bool
    asks: tuple[Ask, ...]


@dataclass(frozen=True, slots=True)
class Options:
    """Empty, or ``None``: as sheet and plan have it."""

    set_current_a: float | None = None
    amperes: tuple[float, ...] = ()
    length_s: float | None = None
    ventilation: str = ""
    cannot: frozenset[Ask] = frozenset()

    def amended(self, plan: Plan) -> Plan:
        """The plan as it will be run.

        Raises
        ------
        WrongUse : a length that no stay can have.
        """
        used = used_by(plan)
        if self.amperes and used.currents:
            plan = with_currents(plan, self.amperes)
        if self.length_s is not None and used.length:
            plan = with_length(plan, self.length_s)
        return plan

    def told(self, plan: Plan) -> str:
        """What of it matters for a plan, in words; empty: nothing."""
        used, parts = used_by(plan), []
        if self.set_current_a is not None:
            parts.append(f"set to {short(self.set_current_a)} A")
        if self.amperes and used.currents:
            parts.append(f"sweep of {'; '.join(map(short, self.amperes))} A")
        if self.length_s is not None and used.length:
            parts.append(f"stay of {_span_text(self.length_s)}")
        if self.ventilation and used.ventilation:
            parts.append(f"ventilation: {self.ventilation}")
        cannot = [ask.value for ask in used.asks if ask in self.cannot]
        if cannot:
            parts.append(f"cannot: {', '.join(cannot)}")
        return "; ".join(parts)


NOTHING_STATED: Final = Options()


def used_by(plan: Plan) -> Used:
    """What a plan has a use for."""
    steps = plan.steps
    return Used(
        currents=any(step.do is Do.SWEEP for step in steps),
        length=any(step.do is Do.ENDURE for step in steps),
        ventilation=any(step.setting.rung is Rung.D for step in steps),
        asks=tuple(dict.fromkeys(step.asks for step in steps if step.asks is not None)),
    )


def options_from(
    given: Mapping[str, str], cannot: frozenset[Ask], plan: Plan, decimal_point: str = "."
) -> Options:
    """The options that the texts state: `set_current`, `currents`, `length`, `ventilation`.

    Raises
    ------
    WrongUse : a text that is no current, no time, or no length that a stay can have.
    """
    texts = {key: text.strip() for key, text in given.items()}
    current, length = texts.get("set_current", ""), texts.get("length", "")
    ventilation = texts.get("ventilation", "")
    if ventilation not in ANSWERS_TO_D:
        raise WrongUse(f"A charger answers D by {' or '.join(ANSWERS_TO_D[1:])}.")
    options = Options(
        set_current_a=current_of(current, decimal_point) if current else None,
        amperes=currents_of(texts.get("currents", ""), decimal_point),
        length_s=span_of(length, decimal_point) if length else None,
        ventilation=ventilation,
        cannot=cannot,
    )
    options.amended(plan)
    return options


def _span_text(seconds: float) -> str:
    for unit, length in (("h", 3600.0), ("m", 60.0)):
        if seconds % length == 0.0:
            return f"{short(seconds / length)}{unit}"
    return f"{short(seconds)}s"


def span_text(seconds: float | None) -> str:
    """A length as it is typed; empty: none is stated."""
    return "" if seconds is None else _span_text(seconds)

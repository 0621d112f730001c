"""Findings: ranked explanations of what a run found, each with its evidence.

Every rule looks at a record's quantities and verdicts and either explains something or says
nothing.  That no rule fits is an answer as well.
"""

from typing import Any, Final

from rungbench.archive.record import Record
from rungbench.qualify.findings import behaviour, electrical
from rungbench.qualify.findings.explanation import Explanation, Rule, Weight
from rungbench.qualify.findings.facts import Facts

RULES: Final[tuple[Rule, ...]] = (*behaviour.RULES, *electrical.RULES)
NO_EXPLANATION: Final = "No explanation: nothing that was measured points at a cause."

__all__ = ["NO_EXPLANATION", "RULES", "Explanation", "Weight", "explain", "findings_document"]


def explain(record: Record) -> tuple[Explanation, ...]:
    """Explanations of a record, the best supported first; empty where no rule fits."""
    facts = Facts.of(record)
    found = [one for one in (rule(facts) for rule in RULES) if one is not None]
    return tuple(sorted(found, key=lambda one: -one.weight))


def findings_document(record: Record) -> list[dict[str, Any]]:
    """The explanations in plain values."""
    return [one.as_dict() for one in explain(record)]

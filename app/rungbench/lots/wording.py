"""Sentences about a plan and what it risks: the same on a terminal, on paper, and in a window."""

from rungbench.lots.characteristic import CONSUMER, Risks
from rungbench.lots.decision import Counted, LotDecision
from rungbench.lots.sampling import SamplingPlan


def plan_lines(plan: SamplingPlan) -> tuple[str, ...]:
    """What is tested and what decides, with its source."""
    drawn = (
        f"every unit (the table asks for {plan.table_size})"
        if plan.every_unit
        else f"{plan.sample_size} units, drawn at random (n)"
    )
    return (
        f"Lot of {plan.lot_size}, AQL {plan.aql:g} %, general level {plan.level}, {plan.severity} "
        f"inspection: code letter {plan.letter}",
        f"Test {drawn}; accept with up to {plan.accept} that fail (Ac), reject with {plan.reject} "
        "(Re).",
        f"Source: {plan.standard}; single sampling.",
    )


def risk_lines(plan: SamplingPlan, found: Risks) -> tuple[str, ...]:
    """Producer's risk and, where the plan has one, consumer's risk."""
    producer = (
        f"Producer's risk: a lot just as good as the AQL is rejected with a probability of "
        f"{100 * found.producer:.1f} % (in a series of lots {100 * found.producer_binomial:.1f} %)."
    )
    if found.consumer_units is None:
        return (producer,)
    percent = 100.0 * found.consumer_units / plan.lot_size
    return (
        producer,
        f"Consumer's risk: a lot with {found.consumer_units} units that fail ({percent:.3g} %) "
        f"is accepted with a probability of at most {100 * CONSUMER:.0f} % (in a series of "
        f"lots from {found.consumer_percent:.3g} % on).",
    )


def counted_line(plan: SamplingPlan, counted: Counted) -> str:
    """One of the two countings of a sample, with what it comes to."""
    sign = "≤" if counted.decision is LotDecision.ACCEPT else "≥"
    bound = f"Ac {plan.accept}" if counted.decision is LotDecision.ACCEPT else f"Re {plan.reject}"
    return f"{counted.nonconforming} nonconforming {sign} {bound}: {counted.decision}"

"""Rules about what the charger does: contactor, tests of the vehicle, offers, thresholds."""

from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult
from rungbench.qualify.findings.explanation import Explanation, Rule, Weight
from rungbench.qualify.findings.facts import Facts, told

_OFF: Final = ("mains-off-b", "mains-off-unplug", "mains-off-loop", "mains-off-c1")


def _sentences(results: tuple[CheckResult, ...]) -> tuple[str, ...]:
    return tuple(f"{one.title}: {one.why}" for one in results)


def diode_test(facts: Facts) -> Explanation | None:
    """Mains for a vehicle without a diode."""
    failed = facts.failed("no-mains-diode")
    if not failed:
        return None
    return Explanation(
        "diode test missing",
        Weight.STRONG,
        "the part of the charger's program that reads the low plateau",
        _sentences(failed),
        "Look whether the low plateau is sampled at all: the charger takes a puddle for a vehicle.",
    )


def welded(facts: Facts) -> Explanation | None:
    """Mains that stays on however it is asked to go."""
    failed = facts.failed("outlet-dead", *_OFF)
    live = [one for one in failed if "still on" in one.why or one.check == "outlet-dead"]
    if not live:
        return None
    return Explanation(
        "contact welded, or the contactor is not controlled",
        Weight.STRONG,
        "the contactor and its driver; the charger's own test of its contacts",
        _sentences(tuple(live)),
        "Switch the supply off. Do not use the charger; measure its contacts without supply.",
    )


def slow_contactor(facts: Facts) -> Explanation | None:
    """All ways of going off are slow by about the same."""
    failed = facts.failed(*_OFF)
    times = [one.quantities[0] for one in facts.named(*_OFF) if one.quantities]
    times = [one for one in times if one.unit == "ms" and not one.name.endswith("at_least")]
    if len(failed) < 2 or len(times) < 2:
        return None
    values = [one.value for one in times]
    if max(values) - min(values) > 0.3 * max(values):
        return None
    return Explanation(
        "contactor slow",
        Weight.LIKELY,
        "the contactor's coil: a diode across it makes it slow; or a long filter before it all",
        tuple(f"{one.name}: {told(one)}" for one in times),
        "Measure the coil's voltage and the contacts: how long after the coil do they open?",
    )


def slow_sense(facts: Facts) -> Explanation | None:
    """One way of going off is slow, others are not: filter or timer, not the contactor."""
    failed, passed = facts.failed(*_OFF), facts.passed(*_OFF)
    slow = tuple(one for one in failed if "still on" not in one.why)
    if not slow or not passed:
        return None
    return Explanation(
        "filter or waiting time of one of the charger's senses",
        Weight.LIKELY,
        "how the charger reads the pilot: averaging, a debounce, a slow loop of its program",
        (*_sentences(slow), *(f"{one.title} is in time" for one in passed)),
        "Ask the maker for the filter of that state; the contactor itself is fast enough.",
    )


def lost_phase(facts: Facts) -> Explanation | None:
    """Fewer or more phases than declared."""
    failed = facts.failed("phases")
    if not failed:
        return None
    return Explanation(
        "not all phases are switched, or declared wrongly",
        Weight.LIKELY,
        "a contact of the contactor, the wiring of the supply, or the model sheet",
        _sentences(failed),
        "Check the supply's phases at the charger's terminals, then each contact.",
    )


def early_mains(facts: Facts) -> Explanation | None:
    """Mains where nobody asked for it."""
    failed = tuple(one for one in facts.failed("no-mains*") if one.check not in ("no-mains-diode",))
    if not failed:
        return None
    return Explanation(
        "mains without being asked",
        Weight.STRONG,
        "the condition under which the charger closes its contactor",
        _sentences(failed),
        "Do not use the charger: its outlet is live while nobody asked.",
    )


def eager_pilot(facts: Facts) -> Explanation | None:
    """PWM with nothing connected."""
    failed = facts.failed("no-pwm-unplugged")
    if not failed:
        return None
    return Explanation(
        "PWM with nothing connected",
        Weight.STRONG,
        "the charger's detection of a vehicle, or a pilot that always pulses",
        _sentences(failed),
        "Look whether the pulses ever end while nothing is connected.",
    )


def thresholds(facts: Facts) -> Explanation | None:
    """Levels at the edge of a window that are not recognised."""
    failed = facts.failed("recognised*")
    if not failed:
        return None
    return Explanation(
        "recognition thresholds shifted",
        Weight.LIKELY if len(failed) > 1 else Weight.HINT,
        "the charger's measurement of its own pilot: divider, reference, or its table of levels",
        _sentences(failed),
        "Compare the levels above with those at which the charger changes its mind.",
    )


def cable(facts: Facts) -> Explanation | None:
    """An offer above the cable code."""
    failed = facts.failed("cable-code*")
    if not failed:
        return None
    return Explanation(
        "cable coding ignored or misread",
        Weight.STRONG if len(failed) > 1 else Weight.LIKELY,
        "the proximity circuit of the socket outlet",
        _sentences(failed),
        "Measure the voltage at the proximity contact for each code.",
    )


def latched(facts: Facts) -> Explanation | None:
    """A fault that stays until somebody clears it; allowed, but worth knowing."""
    stuck = tuple(
        one
        for one in facts.named("recovery*")
        if one.verdict is Verdict.OBSERVED
        and one.observations.get("recovered", "by itself") != "by itself"
    )
    if not stuck:
        return None
    return Explanation(
        "a fault latches",
        Weight.STRONG,
        "the charger's handling of faults; no clause forbids it",
        _sentences(stuck),
        "Read in the manual how a fault is cleared, and tell the user.",
    )


def impatient(facts: Facts) -> Explanation | None:
    """Mains cut early, or offered again early."""
    failed = facts.failed("mains-kept", "steady-held", "reactions", "new-duty")
    if not failed:
        return None
    return Explanation(
        "waiting times of the charger's program wrong",
        Weight.LIKELY,
        "timers of the sequences in which the offer is withdrawn or changed",
        _sentences(failed),
        "Compare with the clause beside each check.",
    )


RULES: Final[tuple[Rule, ...]] = (
    welded,
    early_mains,
    diode_test,
    slow_contactor,
    slow_sense,
    lost_phase,
    eager_pilot,
    thresholds,
    cable,
    impatient,
    latched,
)

"""Rules about the pilot circuit: source, rails, edges, timer, and this bench's own ladder."""

from typing import Final

from rungbench.qualify.findings.explanation import Explanation, Rule, Weight
from rungbench.qualify.findings.facts import Facts, apart, told

_SOURCE_OHM: Final = 1000.0
_NOMINAL_HZ: Final = 1000.0
# An RC oscillator wanders by more than a crystal could, and seldom hits its frequency to 0.3 %.
_CRYSTAL_HZ: Final = 0.5
_OFF_HZ: Final = 3.0
_JITTER_US: Final = 0.5


def source_resistor(facts: Facts) -> Explanation | None:
    """The source resistance lies off its nominal value by more than its uncertainty and 3 %."""
    ohm = facts.quantity("source-resistance", "source_resistance_ohm")
    if ohm is None or abs(ohm.value - _SOURCE_OHM) <= max(ohm.expanded(), 30.0):
        return None
    share = (ohm.value / _SOURCE_OHM - 1.0) * 100.0
    word = "high" if share > 0 else "low"
    rails = facts.passed("rail-high", "rail-low")
    evidence = [f"source resistance {told(ohm)}, {abs(share):.0f} % {word}"]
    evidence += [f"{rail.title} is right" for rail in rails]
    return Explanation(
        f"source resistor {abs(share):.0f} % {word}",
        Weight.STRONG if len(rails) == 2 else Weight.LIKELY,
        "the resistor between the pilot driver and the pilot contact, and what lies in series",
        tuple(evidence),
        "With the charger off and unplugged, measure the resistor with an ohmmeter; then any"
        " protection in series with it.",
    )


def rail(facts: Facts) -> Explanation | None:
    """A rail lies outside its limits."""
    failed = facts.failed("rail-high", "rail-low")
    if not failed:
        return None
    quantities = [one.quantities[0] for one in failed if one.quantities]
    both = len(failed) == 2
    name = "both rails" if both else ("high rail" if failed[0].check == "rail-high" else "low rail")
    return Explanation(
        f"{name} of the pilot driver off",
        Weight.STRONG,
        "the supply of the pilot driver" if both else f"the {name} of its supply or its driver",
        tuple(f"{q.name}: {told(q)}" for q in quantities) or (failed[0].why,),
        "Measure the driver's supply rails against PE, idle and at B; compare with the pilot.",
    )


def sagging_low_rail(facts: Facts) -> Explanation | None:
    """The low plateau moves with the load, although the diode keeps the load off it."""
    b = facts.quantity("low-plateau-b", "low_plateau_v")
    c = facts.quantity("low-plateau-c", "low_plateau_v")
    if b is None or c is None or abs(b.value - c.value) <= max(0.1, 0.1 * b.expanded()):
        return None
    return Explanation(
        "low rail moves with the load",
        Weight.LIKELY,
        "the supply of the low rail, perhaps an inverting pump fed from the high one",
        (f"low plateau in B {told(b)}", f"low plateau in C {told(c)}"),
        "Watch the low rail with an oscilloscope while going from B to C.",
    )


def oscillator(facts: Facts) -> Explanation | None:
    """A frequency that no crystal would have."""
    b, c = facts.quantity("frequency-b"), facts.quantity("frequency-c")
    if b is None or not facts.failed("frequency*"):
        return None
    evidence = [f"frequency {told(b)}"]
    wanders = c is not None and apart(b, c) and abs(b.value - c.value) > _CRYSTAL_HZ
    if wanders and c is not None:
        evidence.append(f"it moved to {told(c)} within seconds")
    jitter = facts.quantity("period-jitter-b")
    shaky = jitter is not None and jitter.value - jitter.expanded() > _JITTER_US
    if shaky and jitter is not None:
        evidence.append(f"jitter of the period {told(jitter)}")
    far = abs(b.value - _NOMINAL_HZ) > _OFF_HZ
    weight = Weight.STRONG if wanders or shaky else Weight.LIKELY if far else Weight.HINT
    return Explanation(
        "clock of the pilot is an RC oscillator, or its timer is set wrong",
        weight,
        "the clock of the controller that makes the pilot",
        tuple(evidence),
        "Look for a crystal or resonator; measure the frequency warm and cold.",
    )


def comparator(facts: Facts) -> Explanation | None:
    """A width that is off by the same at every set current: an offset, not a wrong setting."""
    errors = facts.all_named("pulse_width_error_us_at_")
    failed = facts.failed("pulse-width-b", "pulse-width-c")
    if len(errors) < 3 or not failed:
        return None
    values = [one.value for one in errors]
    mean = sum(values) / len(values)
    if max(values) - min(values) > max(0.2 * abs(mean), *(one.expanded() for one in errors)):
        return None
    return Explanation(
        f"every pulse is {abs(mean):.1f} us too {'long' if mean > 0 else 'short'}, at any current",
        Weight.STRONG,
        "unequal delays of the driver's two edges, or a threshold off 0 V ahead of it",
        tuple(f"{one.name}: {told(one)}" for one in errors),
        "Compare the timer's output with the pilot: which of the two edges is late?",
    )


def wrong_setting(facts: Facts) -> Explanation | None:
    """A width that is right for another current."""
    error = facts.quantity("pulse-width-b", "pulse_width_error_us")
    offered = facts.quantity("advertised-current", "advertised_current_a")
    if error is None or offered is None or not facts.failed("pulse-width-b"):
        return None
    nearest = round(offered.value)
    if abs(offered.value - nearest) > max(0.15, offered.expanded()) or abs(error.value) < 10.0:
        return None
    charger = facts.record.header.charger
    stated = charger.rated_current_a if charger.set_current_a is None else charger.set_current_a
    return Explanation(
        f"set to {nearest} A and not to {stated:g} A",
        Weight.LIKELY,
        "the setting of the charger's current: switch, menu or what its software takes for it",
        (f"it advertises {told(offered)}", f"pulse width error {told(error)}"),
        "Read the setting at the charger; run again with --set-current as it is.",
    )


def capacitance(facts: Facts) -> Explanation | None:
    """Edges too slow for the capacitance that is allowed."""
    slow = facts.failed("rise-time*", "fall-time*")
    if not slow:
        return None
    times = [one.quantities[0] for one in slow if one.quantities]
    return Explanation(
        "too much capacitance at the pilot, or a slow driver",
        Weight.LIKELY,
        "filter and protection at the pilot contact, the cable, the driver's slew rate",
        tuple(f"{q.name}: {told(q)}" for q in times) or (slow[0].why,),
        "Unplug the cable at the charger if it can be done, and measure the edges again.",
    )


def own_ladder(facts: Facts) -> Explanation | None:
    """Levels that no source resistance explains together: the fit of the circuit fails."""
    results = list(facts.named("source-resistance*", "rail-high", "rail-low"))
    told_why = [one.why for one in results if "fit" in one.why and one.verdict.value == "undecided"]
    if sagging_low_rail(facts) is not None:
        # A low rail that moves fits no source resistor either, and says so by itself.
        told_why = [why for why in told_why if "most at odds: low" not in why]
    ladder = facts.failed("plateau-ladder*")
    source_right = len(facts.passed("source-resistance", "rail-high")) == 2
    if not told_why and not (ladder and source_right):
        return None
    evidence = (*dict.fromkeys(told_why), *(f"{one.title}: {one.why}" for one in ladder))
    return Explanation(
        "ladder or diode of this bench off, or a source that is no resistor",
        Weight.LIKELY if ladder else Weight.HINT,
        "this bench: resistors, diode, relay contacts; then the charger's protection parts",
        evidence,
        "Measure ladder and diode again (`rungbench bench calibrate`), then repeat the run.",
    )


RULES: Final[tuple[Rule, ...]] = (
    source_resistor,
    rail,
    sagging_low_rail,
    oscillator,
    comparator,
    wrong_setting,
    capacitance,
    own_ladder,
)

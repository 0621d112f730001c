"""The set-point sweep: does the charger advertise what it is set to, and how low does it go."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pilotsignal.budget import derive
from pilotsignal.figures import figure
from pilotsignal.judge import Verdict, withheld
from pilotsignal.quantity import Quantity
from pilotsignal.response import elapsed
from pilotsignal.standard import pulse_width_error_us
from rungbench.archive.record import Role
from rungbench.link.words import TICK_S
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.answers import reaction
from rungbench.qualify.checks.kind import SWEEP, CheckKind
from rungbench.qualify.checks.timing import Pulse, asks_digital, offered_current, width_name
from rungbench.qualify.checks.widths import least_apart
from rungbench.qualify.evidence import Asked, Sample

NOMINAL_V: Final = 230.0
# What a charger must be able to go down to for small solar surpluses (common practice, no source).
SOLAR_W: Final = 1400.0
_FEWEST: Final = 3


@dataclass(frozen=True, slots=True)
class SetPoint:
    """One set current with what was measured there; a duty may stand for no current."""

    set_a: float
    current: Quantity | None
    width_error_us: Quantity
    asked: Asked
    sample: Sample


def set_points(case: Case) -> Iterator[SetPoint]:
    """The set currents of the sweep that were set and gave pulses."""
    for sample in case.evidence.series:
        pulse = _pulse(case, sample)
        if pulse is None or sample.asked is None or sample.asked.question.ampere is None:
            continue
        if asks_digital(pulse, case.profile):
            continue
        set_a = sample.asked.question.ampere
        current = offered_current(pulse.duty(), case.profile)
        error = pulse_width_error_us(pulse.width_us, pulse.frequency_hz, set_a, case.profile)
        yield SetPoint(
            set_a,
            None if current is None else _at(current, set_a),
            _at(error, set_a),
            sample.asked,
            sample,
        )


def _pulse(case: Case, sample: Sample) -> Pulse | None:
    measurement = sample.measurement
    if measurement is None or measurement.frequency_hz is None:
        return None
    width = measurement.quantities()[width_name(case.profile)]
    return None if width is None else Pulse(width, measurement.frequency_hz)


def _at(quantity: Quantity, set_a: float) -> Quantity:
    return replace(quantity, name=f"{quantity.name}_at_{set_a:g}A")


def follows(case: Case) -> Finding:
    """Pulse width at each set current against that current's nominal width."""
    points = tuple(set_points(case))
    if not points:
        return without(Verdict.NOT_RUN, _why_none(case))
    limit = case.profile.limit("pulse_width_error_us")
    rows = {f"set {point.set_a:g} A": _row(point) for point in points} | _missing(case)
    return found(
        *(case.judge(point.width_error_us, limit) for point in points),
        *(withheld(limit, Verdict.NOT_RUN, why) for why in list(_missing(case).values())[:1]),
        quantities=tuple(point.current for point in points if point.current is not None),
        observations=rows,
    )


def _row(point: SetPoint) -> str:
    error = _text(point.width_error_us)
    if point.current is None:
        return f"no current, {error}"
    off = point.current.value - point.set_a
    return f"advertised {_text(point.current)}, error {off:+.3f} A, {error}"


def _missing(case: Case) -> dict[str, str]:
    """Set currents that came to nothing, with why."""
    return {
        f"set {asked.question.ampere:g} A": asked.trouble
        for sample in case.evidence.series
        if (asked := sample.asked) is not None and asked.trouble
    }


def _why_none(case: Case, otherwise: str = "No set current gave pulses that offer one.") -> str:
    troubles = list(_missing(case).values())
    return troubles[0] if troubles else otherwise


def reactions(case: Case) -> Finding:
    """Time from each new set current to the new duty."""
    limit = case.profile.limit("new_duty_s")
    judged = []
    for before, point in _changes(set_points(case)):
        record = point.sample.before
        if record is not None and before != point.set_a:
            judged.append(reaction(case, point.asked, record, limit))
    if not judged:
        return without(Verdict.NOT_RUN, _why_none(case, "No two set currents differ."))
    return found(*judged)


def apart(case: Case) -> Finding:
    """Shortest time between two changes of the duty, whatever the charger was told."""
    limit = case.profile.limit("duty_changes_apart_s")
    nearest = least_apart(record for sample in case.evidence.series for record in sample.records)
    if nearest is None:
        return found(withheld(limit, Verdict.NOT_RUN, _why_none(case, "The duty did not change.")))
    clock = case.bench.calibration.time_base
    return found(case.judge(elapsed("duty_changes_apart_s", "s", nearest, TICK_S, clock), limit))


def _changes(points: Iterable[SetPoint]) -> Iterator[tuple[float | None, SetPoint]]:
    before: float | None = None
    for point in points:
        # The first one may be what it was set to already.
        if before is not None:
            yield before, point
        before = point.set_a


def fit(case: Case) -> Finding:
    """Straight line through the advertised currents, and the largest distance from it."""
    pairs = [(point.set_a, point.current) for point in set_points(case)]
    sets = np.array([set_a for set_a, current in pairs if current is not None])
    if len(set(sets.tolist())) < _FEWEST:
        return without(Verdict.NOT_RUN, "A line needs at least three different set currents.")
    currents = tuple(current for _, current in pairs if current is not None)
    centred = sets - sets.mean()
    weights = centred / float((centred**2).sum())
    slope = derive("set_point_slope", "1", "least squares", _weighted(weights), currents)
    at_zero = 1.0 / sets.size - sets.mean() * weights
    offset = derive("set_point_offset_a", "A", "least squares", _weighted(at_zero), currents)
    line = offset.value + slope.value * sets
    worst = int(np.argmax(np.abs(np.array([one.value for one in currents]) - line)))
    hat = np.eye(sets.size)[worst] - at_zero - sets[worst] * weights
    residual = derive("set_point_residual_a", "A", "least squares", _weighted(hat), currents)
    steps = sorted({round(one.value, 2) for one in currents})
    return observed(
        "Offset, slope and the largest distance from the line; no clause limits them.",
        offset,
        slope,
        residual,
        **{"largest distance at": f"{sets[worst]:g} A", "distinct currents": str(len(steps))},
    )


def _weighted(weights: np.ndarray) -> "_Weighted":
    return _Weighted(tuple(float(weight) for weight in weights))


@dataclass(frozen=True, slots=True)
class _Weighted:
    """Weighted sum, for `derive`."""

    weights: tuple[float, ...]

    def __call__(self, *numbers: float) -> float:
        total = 0.0 * numbers[0]
        for weight, number in zip(self.weights, numbers, strict=True):
            total = total + weight * number
        return total


def lowest_power(case: Case) -> Finding:
    """Lowest advertised current, and the charging power that it means at 230 V.

    Where the sweep ran with mains on, the phases are those that were live at that current.
    """
    offered = [(p.current, p) for p in set_points(case) if p.current is not None]
    if not offered:
        return without(Verdict.NOT_RUN, _why_none(case))
    current, point = min(offered, key=lambda pair: pair[0].value)
    phases = len(point.sample.record.mains) or case.bench.charger.phases
    powers = {count: _power(current, count) for count in sorted({1, 3, phases})}
    own = powers[phases]
    can = "can" if own.value - own.expanded() <= SOLAR_W else "cannot"
    told = (
        f"Set to {point.set_a:g} A it advertises {_text(current)}: {own.value:.0f} W on "
        f"{phases} phase{'s' if phases > 1 else ''} at {NOMINAL_V:g} V, so it {can} go down to "
        f"about {SOLAR_W / 1e3:g} kW."
    )
    return observed(told, current, *powers.values(), **{"changes phases": _phase_change(case)})


def _power(current: Quantity, phases: int) -> Quantity:
    name = f"lowest_power_{phases}_phase_w"
    method = f"{phases} x {NOMINAL_V:g} V nominal"
    return derive(name, "W", method, lambda ampere: phases * NOMINAL_V * ampere, (current,))


def _phase_change(case: Case) -> str:
    """Whether the number of live phases went with the set current."""
    seen = {point.set_a: len(point.sample.record.mains) for point in set_points(case)}
    live = {set_a: count for set_a, count in seen.items() if count}
    if not live:
        return "not seen: the sweep ran without mains"
    if len(set(live.values())) == 1:
        return "no"
    return "yes: " + ", ".join(f"{count} at {set_a:g} A" for set_a, count in sorted(live.items()))


def _text(quantity: Quantity) -> str:
    return figure(quantity.value, quantity.expanded(), quantity.unit)


KINDS: Final = (
    CheckKind("set-points", "Advertised current follows the set current", follows, steps=SWEEP),
    CheckKind(
        "reactions",
        "New set currents to new duty",
        reactions,
        steps=SWEEP,
        needs_limit="new_duty_s",
    ),
    CheckKind(
        "duty-steps",
        "Changes of the duty not closer than they may be",
        apart,
        steps=SWEEP,
        needs_limit="duty_changes_apart_s",
    ),
    CheckKind(
        "set-point-fit", "Line through the set points", fit, steps=SWEEP, role=Role.INDICATIVE
    ),
    CheckKind("lowest-power", "Lowest power", lowest_power, steps=SWEEP, role=Role.INDICATIVE),
)

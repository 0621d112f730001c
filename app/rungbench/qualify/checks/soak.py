"""Checks of a long stay: what was measured again and again, at its worst."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from pilotsignal.budget import derive
from pilotsignal.judge import Judgement, Verdict
from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity
from pilotsignal.standard import pulse_width_error_us
from rungbench.archive.record import Role
from rungbench.link.words import EventKind
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import ENDURE, CheckKind
from rungbench.qualify.checks.timing import width_name
from rungbench.qualify.counting import counted, exactly, told
from rungbench.qualify.evidence import Sample

_Measure = Callable[[Case, Sample], Quantity | None]


def _named(name: str) -> _Measure:
    def of(_case: Case, sample: Sample) -> Quantity | None:
        return sample.measurement.quantities()[name] if sample.measurement else None

    return of


def _width_error(case: Case, sample: Sample) -> Quantity | None:
    measurement, charger = sample.measurement, case.bench.charger
    if measurement is None or measurement.frequency_hz is None:
        return None
    width = measurement.quantities()[width_name(case.profile)]
    set_a = charger.rated_current_a if charger.set_current_a is None else charger.set_current_a
    if width is None:
        return None
    return pulse_width_error_us(width, measurement.frequency_hz, set_a, case.profile)


def _stays(measure: _Measure, limit_of: Callable[[Case], Limit]) -> Callable[[Case], Finding]:
    """A check of a quantity over the whole stay: its highest and its lowest are judged."""

    def stays(case: Case) -> Finding:
        series = [measure(case, sample) for sample in case.evidence.series]
        values = [one for one in series if one is not None]
        if len(values) < len(series) or not values:
            return without(
                Verdict.UNDECIDED,
                f"{len(series) - len(values)} of {len(series)} looks could not be measured.",
            )
        low, high = (pick(values, key=lambda one: one.value) for pick in (min, max))
        limit = limit_of(case)
        judgements: list[Judgement] = [
            case.judge(replace(one, name=f"{which}_{one.name}"), limit)
            for which, one in (("lowest", low), ("highest", high))
        ]
        drift = derive(
            f"drift_{low.name}",
            low.unit,
            "last less first",
            lambda last, first: last - first,
            (values[-1], values[0]),
        )
        return found(*judgements, quantities=(drift,), observations={"looks": str(len(values))})

    return stays


def _level(case: Case) -> Limit:
    return case.profile.limit("high_level", str(case.evidence.applied.reported.rung))


def mains_steady(case: Case) -> Finding:
    """Interruptions of mains during the stay."""
    off = [
        event
        for record in case.evidence.records
        for event in record.mains_events(EventKind.MAINS_OFF)
    ]
    count = counted("interruptions", len(off), "events", "mains senses")
    limit = exactly(0, "events", "mains stays on while the vehicle asks for it in C2, Table A.4")
    if not case.evidence.live and not off:
        return without(Verdict.NOT_RUN, "Mains was not on.")
    text = f"Mains went off {len(off)} times." if off else "Mains stayed on."
    return found(told(case.judge(count, limit), text), certain=bool(off))


def looks(case: Case) -> Finding:
    """How many looks the stay gave; no clause asks for it."""
    measured = sum(1 for sample in case.evidence.series if sample.measurement is not None)
    return observed("It is shown.", counted("looks", measured, "looks", "measurements"))


KINDS: Final = (
    CheckKind(
        "soak-frequency",
        "Frequency over the whole stay",
        _stays(_named("frequency_hz"), lambda case: case.profile.limit("frequency")),
        steps=ENDURE,
    ),
    CheckKind(
        "soak-width",
        "Pulse width over the whole stay",
        _stays(_width_error, lambda case: case.profile.limit("pulse_width_error_us")),
        steps=ENDURE,
    ),
    CheckKind(
        "soak-level",
        "High plateau over the whole stay",
        _stays(_named("high_plateau_v"), _level),
        steps=ENDURE,
    ),
    CheckKind(
        "soak-mains",
        "Mains without interruption",
        mains_steady,
        steps=ENDURE,
        senses_mains=True,
        absence=True,
    ),
    CheckKind("soak-looks", "Looks during the stay", looks, steps=ENDURE, role=Role.INDICATIVE),
)

"""Checks of the pilot's levels."""

import numpy as np

from pilotsignal.budget import combine, half_width, type_a
from pilotsignal.judge import Verdict, withheld
from pilotsignal.quantity import Quantity
from rungbench.archive.record import Role
from rungbench.link.words import Rung
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import CheckKind
from rungbench.qualify.counting import counted, told
from rungbench.qualify.ladder_limit import ladder_limit, referred_to_ladder

_BLOCK_S = 0.02  # one period of 50 Hz mains: hum averages out, drift and steps stay


def _state(case: Case) -> str:
    rung = case.evidence.applied.reported.rung
    return "A" if rung is Rung.OPEN else str(rung)


def high_level(case: Case) -> Finding:
    """High plateau by the published window."""
    limit = case.profile.limit("high_level", _state(case))
    return found(case.judge_measured("high_plateau_v", limit))


def steady_level(case: Case) -> Finding:
    """High level while the charger offers nothing, by the published window."""
    limit = case.profile.limit("high_level", _state(case))
    if case.evidence.pulsing:
        return observed(f"The charger pulses on {case.evidence.where}: its level is not steady.")
    return found(case.judge_measured("high_plateau_v", limit))


def low_level(case: Case) -> Finding:
    """Low plateau by the published window; without PWM there is none."""
    limit = case.profile.limit("low_level", _state(case))
    return found(case.judge_measured("low_plateau_v", limit))


def ladder_level(case: Case) -> Finding:
    """High plateau by what this very ladder allows a conforming charger."""
    bench, setting = case.bench, case.evidence.applied.reported
    allowed = ladder_limit(bench.profile, bench.calibration, setting)
    if allowed is None:
        doubt = bench.calibration.doubts.get("parts", "")
        why = f"The parts of this ladder are not calibrated. {doubt}".strip()
        return without(Verdict.NOT_RUN, why)
    measurement = case.evidence.measurement
    level = measurement.high_plateau_v if measurement else None
    if level is None:
        return found(withheld(allowed, *case.missing("high_plateau_v")))
    quantity = referred_to_ladder(level, bench.profile, bench.calibration, setting)
    return found(case.judge(quantity, allowed))


def steadiness(case: Case) -> Finding:
    """How far the idle level wanders; no clause asks for it."""
    quantity = _wander(case)
    if quantity is None:
        return without(Verdict.NOT_RUN, "The pilot was not sampled, or not steady at all.")
    return observed("No clause limits it; it is shown.", quantity)


def _wander(case: Case) -> Quantity | None:
    capture = case.evidence.record.capture
    if capture is None or case.evidence.pulsing:
        return None
    size = max(1, round(_BLOCK_S / capture.interval_s))
    blocks = capture.samples.size // size
    if blocks < 2:
        return None
    volts = capture.volts()[: blocks * size].reshape(blocks, size)
    means = volts.mean(axis=1)
    scatter = float(volts.std(axis=1).mean()) / np.sqrt(size)
    rows = [
        type_a("idle-wander-noise", "noise of two means", float(scatter * 2**0.5), "V", size - 1),
        half_width("idle-wander-step", "converter step", abs(capture.calibration.gain_v) / 2, "V"),
    ]
    value = float(means.max() - means.min())
    return combine("idle_wander_v", "V", value, "highest less lowest mean over 20 ms", rows)


def no_pwm(case: Case) -> Finding:
    """Pulses on a pilot that nothing was connected to yet."""
    count = case.evidence.record.edges.times.size
    edges = counted("pilot_edges", count, "edges", "comparator at 0 V")
    judgement = case.judge(edges, case.profile.limit("pwm_edges_unplugged"))
    text = f"{count} edges were seen." if count else "The pilot was steady."
    return found(told(judgement, text), certain=count > 1)


KINDS = (
    CheckKind("idle-level", "Level with nothing connected", high_level),
    CheckKind("idle-steadiness", "Wander of the idle level", steadiness, role=Role.INDICATIVE),
    CheckKind("no-pwm-unplugged", "No PWM before the first connection", no_pwm, absence=True),
    CheckKind("plateau-standard", "High plateau, published window", high_level),
    CheckKind(
        "plateau-ladder", "High plateau, this ladder's window", ladder_level, role=Role.INDICATIVE
    ),
    CheckKind("steady-level", "Level without PWM, published window", steady_level),
    CheckKind("low-plateau", "Low plateau", low_level),
)

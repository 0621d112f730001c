"""To present a setting, let it settle, and record it."""

from rungbench.link.words import Mode
from rungbench.qualify.acts.ground import FASTEST, Before, Ground, Pass, measured
from rungbench.qualify.evidence import Evidence
from rungbench.standin.record import BoardRecord


def observe(ground: Ground, one: Pass) -> Evidence:
    """Record what the pilot does on a setting.

    Raises
    ------
    BenchError : the link broke, or the board left the setting by itself.
    Interrupted : somebody asked for the end.
    """
    standin, step = ground.standin, one.step
    before = Before.now(standin)
    standin.begin(Mode.OFF)
    applied = ground.go(ground.fitted(step))
    if applied.asked != before.setting:
        standin.wait(step.settle_s)
    if step.await_pwm_s and not standin.pulsing():
        standin.wait_until(standin.pulsing, step.await_pwm_s)
        standin.wait(step.settle_s)
    length_s = step.record_s if one.attempt == 1 else step.retake_s
    record = standin.record(length_s, ground.mode(step))
    fine = _fine(ground, record, length_s) if step.checks else None
    return before.evidence(
        standin,
        one,
        applied,
        record,
        measurement=measured(record) if one.measures else None,
        fine=fine,
        fine_measurement=None if fine is None else measured(fine),
    )


def _fine(ground: Ground, record: BoardRecord, length_s: float) -> BoardRecord | None:
    """A second record where the pulse width counts at the middle: its edges need samples."""
    if ground.profile.pulse_width_level != "mid" or record.edges.times.size < 2:
        return None
    if FASTEST not in ground.standin.identity.modes:
        return None
    return ground.standin.record(length_s, FASTEST)

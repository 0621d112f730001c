"""One call for everything that a capture of the pilot can tell."""

import math
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from pilotsignal import edge_clock, remarks
from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.edges import Edges, find_edges
from pilotsignal.evaluate import (
    Context,
    duty_of,
    frequency_of,
    jitters_of,
    middle_pair,
    plateau_of,
    transition_of,
    width_of,
    zero_pair,
)
from pilotsignal.evaluate_model import read_model
from pilotsignal.levels import Levels, find_levels
from pilotsignal.meaning import read_duty, state_of
from pilotsignal.modelled import ModelledWave, model_wave
from pilotsignal.notices import Notice
from pilotsignal.periodic import PeriodicFit, coarse_comb, fit_periodic
from pilotsignal.plateaus import steady
from pilotsignal.quantity import Quantity
from pilotsignal.segments import Found, Steadiness, Values, found_in
from pilotsignal.standard.profile import DEFAULT, Profile, load_profile
from pilotsignal.steadiness import steadiness_of, told
from pilotsignal.timing import Comb

_SETTLED = 0.6  # share of samples near a level below which it is no rectangular wave
_SHORTEST = 1.5  # samples that a pulse must have: fewer may miss it, or meet it on its edges only
_NOISIEST_V = 0.5  # scatter above which a steady stretch is no level
_LOWEST_HIGH_V = -5.0  # a steady level below is a low plateau


@dataclass(frozen=True, slots=True)
class PilotMeasurement:
    """What one capture says.  A quantity that it cannot carry is None, with a notice.

    Parameters
    ----------
    frequency_hz : of the fitted comb.
    duty_percent : high time over period at 0 V; at the middle level where the signal does not pass
        0 V with room on both sides (`method` says which).
    pulse_width_zero_us, pulse_width_mid_us : high time between the crossings of 0 V and of the
        middle level.
    high_plateau_v, low_plateau_v : settled levels; of a steady pilot only the one it holds.
    rise_time_us, fall_time_us : 10 to 90 %.
    width_jitter_us, period_jitter_us : standard deviation from cycle to cycle.
    state : A1 to F; two neighbours in a grey band; empty where it has none.
    pwm_on : None where the capture does not say.
    advertised_current_a : per phase.
    notices : remarks.
    steadiness : what changes inside the record; where something steps, values of each part, which
        the U of the values above then holds.
    """

    frequency_hz: Quantity | None = None
    duty_percent: Quantity | None = None
    pulse_width_zero_us: Quantity | None = None
    pulse_width_mid_us: Quantity | None = None
    high_plateau_v: Quantity | None = None
    low_plateau_v: Quantity | None = None
    rise_time_us: Quantity | None = None
    fall_time_us: Quantity | None = None
    width_jitter_us: Quantity | None = None
    period_jitter_us: Quantity | None = None
    advertised_current_a: Quantity | None = None
    state: tuple[str, ...] = ()
    pwm_on: bool | None = None
    notices: tuple[Notice, ...] = ()
    steadiness: Steadiness = field(default_factory=Steadiness)

    def quantities(self) -> dict[str, Quantity | None]:
        """All eleven by name, in the order above."""
        plain = {"state", "pwm_on", "notices", "steadiness"}
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in plain}

    def has(self, code: str) -> bool:
        """Whether a notice with this code is among them."""
        return any(notice.code == code for notice in self.notices)


def measure(
    capture: Capture, edges: EdgeRecord | None = None, profile: Profile | None = None
) -> PilotMeasurement:
    """Measure the pilot.

    Parameters
    ----------
    capture : at least one sample; NaN cannot get into a capture.
    edges : comparator edges of the same stretch of time; where given, frequency, width at 0 V, duty
        and jitters come from them and the samples give plateaus and edge shapes.
    profile : whose tables give state and advertised current; default IEC 61851-1:2017.

    Returns
    -------
    PilotMeasurement : never raises for bad signals; what cannot be told is None with a notice.

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(5000) * 7.3e-6
    >>> volts = np.where((time * 1000.0) % 1.0 < 0.25, 12.0, -12.0)
    >>> m = measure(Capture.from_volts(volts, 7.3e-6, "example"))
    >>> round(m.frequency_hz.value, 1), round(m.duty_percent.value, 1), m.state
    (1000.0, 25.0, ('A2',))
    """
    found, parts = _alone(capture, edges)
    found = _with_changes(capture, edges, found, parts)
    return _conclude(capture, found, profile or load_profile(DEFAULT))


def _alone(capture: Capture, edges: EdgeRecord | None) -> tuple[PilotMeasurement, Found | None]:
    """The record as if nothing changed inside, and what tells whether something does."""
    levels = find_levels(capture.samples)
    found, parts = _waveform(capture, levels) if levels.two else (_steady(capture, levels), None)
    if edges is not None:
        found = _with_clock(found, edge_clock.read_edges(edges))
    return found, parts


def _with_changes(
    capture: Capture, edges: EdgeRecord | None, whole: PilotMeasurement, parts: Found | None
) -> PilotMeasurement:
    def measured(part: Capture, its_edges: EdgeRecord | None) -> Values:
        return _alone(part, its_edges)[0].quantities()

    steady = steadiness_of(capture, edges, parts, measured)
    if not steady.changes or (whole.frequency_hz is None and not steady.explains):
        return whole
    wider, notices = told(steady, whole.quantities(), whole.notices)
    values: dict[str, Any] = {**wider, "notices": notices, "steadiness": steady}
    return replace(whole, **values)


def _steady(capture: Capture, levels: Levels) -> PilotMeasurement:
    context = Context.of(capture, levels)
    level = steady(capture.samples)
    scale = abs(capture.calibration.gain_v)
    notes = remarks.of_record(capture)
    if level.sigma * scale > _NOISIEST_V:
        return PilotMeasurement(notices=(*notes, remarks.noisy(level.sigma * scale)))
    volts = float(capture.volts(np.array([level.value]))[0])
    notes += [remarks.no_pwm(volts), *remarks.of_hum(context, [level])]
    notes += remarks.of_spikes(level.outliers)
    if volts > _LOWEST_HIGH_V:
        high = plateau_of(context, level, "high_plateau_v")
        return PilotMeasurement(high_plateau_v=high, pwm_on=False, notices=tuple(notes))
    low = plateau_of(context, level, "low_plateau_v")
    return PilotMeasurement(low_plateau_v=low, pwm_on=False, notices=tuple(notes))


def _waveform(capture: Capture, levels: Levels) -> tuple[PilotMeasurement, Found | None]:
    edges = find_edges(capture.samples, levels, capture.gaps)
    comb = coarse_comb(capture, levels, edges)
    notes = remarks.of_record(capture)
    trouble = _irregular(levels, comb, edges)
    if trouble is not None and levels.swing * capture.calibration.gain_v < _NOISIEST_V:
        return _steady(capture, levels), None  # a level that flickers between a few converter steps
    context = Context.of(capture, levels)
    fit = None
    if comb is not None and trouble is None:
        wave = model_wave(capture, levels, edges, comb)
        if wave is not None:
            notes += remarks.of_model(context, wave, edges)
            parts = Found(levels, edges, comb, wave.high, wave.low, context.key)
            return _modelled(context, wave, notes), parts
        shorter = min(comb.width, comb.period - comb.width)
        if shorter < _SHORTEST:
            trouble = remarks.too_short(shorter)
        else:
            fit = fit_periodic(capture, levels, edges, comb)
    if fit is None or comb is None:
        trouble = trouble or remarks.too_few(int(edges.index.size))
        irregular = trouble.code == "not-periodic"
        return PilotMeasurement(notices=(*notes, trouble)), found_in(capture) if irregular else None
    found = _periodic(context, fit)
    notes += remarks.of_fit(context, fit, edges)
    parts = Found(levels, edges, comb, fit.high, fit.low, context.key)
    return replace(found, notices=(*notes, *found.notices)), parts


def _irregular(levels: Levels, comb: Comb | None, edges: Edges) -> Notice | None:
    if levels.settled < _SETTLED:
        return remarks.not_rectangular(levels.settled)
    if comb is None:
        return remarks.too_few(int(edges.index.size))
    rest = comb.residuals
    scatter = math.sqrt(float((rest * rest).sum()) / rest.size)
    if scatter > max(0.6, 0.03 * comb.period):
        return remarks.not_periodic(scatter / comb.period)
    return None


def _periodic(context: Context, fit: PeriodicFit) -> PilotMeasurement:
    zero = zero_pair(context, fit)
    width_jitter, period_jitter = jitters_of(context, fit)
    width_zero = width_of(context, fit, zero, "zero")
    times = {
        "rise": transition_of(context, fit, "rise"),
        "fall": transition_of(context, fit, "fall"),
    }
    notes = remarks.unresolved([name for name, time in times.items() if time is None])
    if width_zero is None:
        notes.append(remarks.no_zero_crossing())
    return PilotMeasurement(
        frequency_hz=frequency_of(context, fit),
        duty_percent=duty_of(context, fit, zero),
        pulse_width_zero_us=width_zero,
        pulse_width_mid_us=width_of(context, fit, middle_pair(fit), "mid"),
        high_plateau_v=plateau_of(context, fit.high, "high_plateau_v"),
        low_plateau_v=plateau_of(context, fit.low, "low_plateau_v"),
        rise_time_us=times["rise"],
        fall_time_us=times["fall"],
        width_jitter_us=width_jitter,
        period_jitter_us=period_jitter,
        pwm_on=True,
        notices=tuple(notes),
    )


def _modelled(context: Context, wave: ModelledWave, notes: list[Notice]) -> PilotMeasurement:
    read = read_model(context, wave)
    if read.pulse_width_zero_us is None:
        notes = [*notes, remarks.no_zero_crossing()]
    values = {field.name: getattr(read, field.name) for field in fields(read)}
    return PilotMeasurement(**values, pwm_on=True, notices=tuple(notes))


def _with_clock(found: PilotMeasurement, clock: edge_clock.EdgeTiming) -> PilotMeasurement:
    """Times from the comparator, where it saw edges."""
    notes = (*found.notices, *clock.notices)
    if clock.frequency_hz is None:
        return replace(found, notices=notes)
    return replace(
        found,
        frequency_hz=clock.frequency_hz,
        duty_percent=clock.duty_percent,
        pulse_width_zero_us=clock.pulse_width_zero_us,
        width_jitter_us=clock.width_jitter_us,
        period_jitter_us=clock.period_jitter_us,
        pwm_on=True,
        notices=notes,
    )


def _conclude(capture: Capture, found: PilotMeasurement, profile: Profile) -> PilotMeasurement:
    """Add what the numbers mean."""
    high, low = found.high_plateau_v, found.low_plateau_v
    notices = [*found.notices, *remarks.of_voltages(high, low, capture.calibration.described)]
    said = None if found.duty_percent is None else read_duty(found.duty_percent, profile)
    if said is not None and said.notice is not None:
        notices.append(said.notice)
    return replace(
        found,
        state=state_of(high, low, found.pwm_on, profile),
        advertised_current_a=None if said is None else said.current,
        notices=_once(tuple(notices)),
    )


def _once(notices: tuple[Notice, ...]) -> tuple[Notice, ...]:
    return tuple(dict.fromkeys(notices))

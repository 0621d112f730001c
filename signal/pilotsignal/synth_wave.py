"""The pulse train at the pilot contact, as a model with exact values.

Everything in `Truth` comes from the model in closed form, never from samples.
"""

import math
from dataclasses import dataclass, field

from pilotsignal.errors import CaptureError
from pilotsignal.synth_edges import Edge, KneeRelaxation, Relaxation, Step

_US = 1e-6


@dataclass(frozen=True, slots=True)
class Truth:
    """What a perfect instrument would report; ``None`` where there is nothing to report.

    Parameters
    ----------
    frequency_hz : of the generator, at the middle of the record where it drifts.
    pulse_width_zero_us, pulse_width_mid_us : between crossings of 0 V and of the 50 % level.
    duty_percent : pulse width at 0 V over the period.
    high_plateau_v, low_plateau_v : settled levels.
    rise_time_us, fall_time_us : from 10 to 90 % of the difference of the levels, and back.
    """

    frequency_hz: float | None
    pulse_width_zero_us: float | None
    pulse_width_mid_us: float | None
    duty_percent: float | None
    high_plateau_v: float | None
    low_plateau_v: float | None
    rise_time_us: float | None
    fall_time_us: float | None


@dataclass(frozen=True, slots=True)
class PilotWave:
    """A pulse train at the contact.

    Parameters
    ----------
    frequency_hz : of the generator.
    width_us : how long the generator stays high; 0 is a steady low, a whole period a steady high.
    high_v, low_v : settled levels.
    rise, fall : shapes of the edges.
    phase_us : the generator's first rise after the first sample.
    width_jitter_us : standard deviation of single widths, falling edge only.
    period_jitter_us : standard deviation of single periods (independent errors of the rises).
    drift_ppm_per_s : change of the frequency.

    Raises
    ------
    CaptureError : numbers that make no wave, or pulses too short for the edges to settle.
    """

    frequency_hz: float
    width_us: float
    high_v: float
    low_v: float
    rise: Edge = field(default_factory=Step)
    fall: Edge = field(default_factory=Step)
    phase_us: float = 0.0
    width_jitter_us: float = 0.0
    period_jitter_us: float = 0.0
    drift_ppm_per_s: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.frequency_hz) and self.frequency_hz > 0.0):
            raise CaptureError(f"A wave of {self.frequency_hz} Hz cannot be made.")
        if not 0.0 <= self.width_us <= self.period_us:
            raise CaptureError(
                f"A pulse of {self.width_us:g} us does not fit into {self.period_us:g} us."
            )
        if self.switching:
            self._require_settling()

    def _require_settling(self) -> None:
        if not self.low_v < self.high_v:
            raise CaptureError("The high level must lie above the low level.")
        spread = 6.0 * (self.width_jitter_us + self.period_jitter_us)
        rise = self.rise.settled_us(self.low_v, self.high_v)
        fall = self.fall.settled_us(self.high_v, self.low_v)
        if rise + spread > self.width_us or fall + spread > self.period_us - self.width_us:
            raise CaptureError(
                "The edges do not settle before the next one; make them faster or the pulse longer."
            )

    @classmethod
    def steady(cls, level_v: float) -> "PilotWave":
        """No pulses: one level for ever."""
        return cls(1000.0, 1000.0, level_v, level_v - 1.0)

    @property
    def period_us(self) -> float:
        """Nominal period."""
        return 1.0 / (self.frequency_hz * _US)

    @property
    def switching(self) -> bool:
        """Whether there are edges at all."""
        return 0.0 < self.width_us < self.period_us

    def truth(self, mid_record_s: float = 0.0) -> Truth:
        """Exact values; `mid_record_s` places the frequency where it drifts."""
        if not self.switching:
            high = self.width_us > 0.0
            high_v, low_v = (self.high_v, None) if high else (None, self.low_v)
            return Truth(None, None, None, None, high_v, low_v, None, None)
        frequency = self.frequency_hz * (1.0 + self.drift_ppm_per_s * 1e-6 * mid_record_s)
        zero = self.width_at_us(0.0) if self.low_v < 0.0 < self.high_v else None
        return Truth(
            frequency,
            zero,
            self.width_at_us((self.high_v + self.low_v) / 2.0),
            None if zero is None else zero * _US * frequency * 100.0,
            self.high_v,
            self.low_v,
            self._transition_us(self.rise, self.low_v, self.high_v),
            self._transition_us(self.fall, self.high_v, self.low_v),
        )

    def width_at_us(self, level_v: float) -> float:
        """Pulse width between the crossings of `level_v`, in closed form."""
        begin = self.rise.crossing_us(level_v, self.low_v, self.high_v)
        end = self.fall.crossing_us(level_v, self.high_v, self.low_v)
        return self.width_us + end - begin

    @staticmethod
    def _transition_us(edge: Edge, start_v: float, end_v: float) -> float:
        if isinstance(edge, Step):
            return 0.0
        near, far = (start_v + share * (end_v - start_v) for share in (0.1, 0.9))
        return edge.crossing_us(far, start_v, end_v) - edge.crossing_us(near, start_v, end_v)


@dataclass(frozen=True, slots=True)
class Circuit:
    """Source, load and capacitance that make the wave at the contact.

    Parameters
    ----------
    open_high_v, open_low_v : generator levels behind the source resistor.
    source_ohm : the source resistor.
    load_ohm : resistance behind the diode, or ``None``: nothing connected.
    capacitance_f : everything between pilot and PE.
    diode_v : drop of the diode.
    """

    open_high_v: float = 12.0
    open_low_v: float = -12.0
    source_ohm: float = 1000.0
    load_ohm: float | None = None
    capacitance_f: float = 300e-12
    diode_v: float = 0.7

    def loaded_v(self, generator_v: float) -> float:
        """Settled level at the contact while the diode conducts."""
        if self.load_ohm is None:
            return generator_v
        total = self.source_ohm + self.load_ohm
        return (generator_v * self.load_ohm + self.diode_v * self.source_ohm) / total

    def wave(self, frequency_hz: float, width_us: float) -> PilotWave:
        """The wave that an ideal generator makes at this contact (vary it by `replace`)."""
        slow_us = self.source_ohm * self.capacitance_f / _US
        if self.load_ohm is None:
            edge = Relaxation(slow_us)
            return PilotWave(frequency_hz, width_us, self.open_high_v, self.open_low_v, edge, edge)
        fast_us = slow_us * self.load_ohm / (self.source_ohm + self.load_ohm)
        rise = KneeRelaxation(slow_us, fast_us, self.diode_v, self.open_high_v)
        fall = KneeRelaxation(fast_us, slow_us, self.diode_v, self.loaded_v(self.open_low_v))
        return PilotWave(
            frequency_hz, width_us, self.loaded_v(self.open_high_v), self.open_low_v, rise, fall
        )

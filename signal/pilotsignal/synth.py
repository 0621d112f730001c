"""Pilot waveforms with known truth, sampled as a real converter would.

The truth comes from the model in closed form, never from the samples.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.calibration import UNKNOWN_TIME_BASE, TimeBase, VoltCalibration, WidthBias
from pilotsignal.capture import Capture, EdgeRecord, Gap
from pilotsignal.errors import CaptureError
from pilotsignal.synth_edges import Edge, KneeRelaxation, Ramp, Relaxation, Step
from pilotsignal.synth_wave import Circuit, PilotWave, Truth

__all__ = [
    "Circuit",
    "Converter",
    "Edge",
    "KneeRelaxation",
    "PilotWave",
    "Ramp",
    "Relaxation",
    "Sampling",
    "Step",
    "Truth",
    "record_edges",
    "synthesise",
]

Floats = npt.NDArray[np.float64]

_US = 1e-6


@dataclass(frozen=True, slots=True)
class Converter:
    """Converter of `bits` bits from `low_v` (count 0) upwards, `range_v` wide.

    `gain_error` (relative) and `offset_error_v` are what the calibration does not know;
    `u_gain_relative` and `u_offset_v` (standard) are what it says about them.
    """

    bits: int = 10
    low_v: float = -15.0
    range_v: float = 30.0
    gain_error: float = 0.0
    offset_error_v: float = 0.0
    u_gain_relative: float | None = None
    u_offset_v: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.bits <= 16:
            raise CaptureError(f"A converter of {self.bits} bits does not fit; use 1 to 16.")

    @property
    def step_v(self) -> float:
        """Volts per count."""
        return self.range_v / (1 << self.bits)

    @property
    def top(self) -> int:
        """Highest count."""
        return (1 << self.bits) - 1

    def counts(self, volts: Floats) -> npt.NDArray[np.int16] | npt.NDArray[np.uint16]:
        """Counts of `volts`, shape as given, unsigned for 16 bits; `volts` is overwritten."""
        volts *= 1.0 + self.gain_error
        volts += self.offset_error_v - self.low_v
        volts /= self.step_v
        np.rint(volts, out=volts)
        held = np.clip(volts, 0.0, self.top, out=volts)
        return held.astype(np.uint16) if self.bits > 15 else held.astype(np.int16)

    def calibration(self) -> VoltCalibration:
        """The line from counts to volts, as far as it is known."""
        return VoltCalibration(
            "synthetic",
            self.step_v,
            self.low_v,
            u_gain_relative=self.u_gain_relative,
            u_offset_v=self.u_offset_v,
            simulated=True,
        )


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a wave is recorded.

    Parameters
    ----------
    interval_s : nominal time from sample to sample.
    count : samples kept (those lost in `gaps` come on top).
    converter : counts as int16 (uint16 for 16 bits), or ``None``: volts as float64.
    noise_v : standard deviation of white noise ahead of the converter.
    hum_v, hum_hz : amplitude and frequency of hum.
    level_drift_v_per_s : slow change of all levels.
    clock_error : relative error of the sampling clock: the true interval is longer by it.
    spikes : (index, volts added) of single bad samples.
    gaps : samples lost on the way.
    time_base : what is said of the clock.
    seed : of everything random.
    """

    interval_s: float = 1e-5
    count: int = 10_000
    converter: Converter | None = None
    noise_v: float = 0.0
    hum_v: float = 0.0
    hum_hz: float = 50.0
    level_drift_v_per_s: float = 0.0
    clock_error: float = 0.0
    spikes: tuple[tuple[int, float], ...] = ()
    gaps: tuple[Gap, ...] = ()
    time_base: TimeBase = UNKNOWN_TIME_BASE
    seed: int = 1

    @property
    def true_interval_s(self) -> float:
        """Interval by a perfect clock."""
        return self.interval_s * (1.0 + self.clock_error)

    @property
    def total(self) -> int:
        """Samples including the lost ones."""
        return self.count + sum(gap.missing for gap in self.gaps)


def synthesise(wave: PilotWave, sampling: Sampling) -> tuple[Capture, Truth]:
    """Record `wave`.

    Returns
    -------
    capture : int16 or uint16 counts with the converter's calibration, or float64 volts without a
        converter.
    truth : exact values, independent of the samples.

    Raises
    ------
    CaptureError : no samples asked for, gaps or spikes outside the record.
    """
    if sampling.count < 1:
        raise CaptureError("At least one sample must be asked for.")
    rng = np.random.default_rng(sampling.seed)
    volts = _clean_volts(wave, sampling, rng)
    _disturb(volts, sampling, rng)
    kept = _drop_gaps(volts, sampling.gaps)
    truth = wave.truth(0.5 * sampling.total * sampling.true_interval_s)
    return _as_capture(kept, sampling), truth


def record_edges(
    wave: PilotWave,
    duration_s: float,
    tick_s: float = 62.5e-9,
    *,
    time_base: TimeBase = UNKNOWN_TIME_BASE,
    seed: int = 1,
) -> tuple[EdgeRecord, Truth]:
    """Crossings of 0 V, each stamped with the tick that it falls into.

    Raises
    ------
    CaptureError : the wave does not cross 0 V.
    """
    rise_us, fall_us = _edge_times_us(wave, duration_s, np.random.default_rng(seed))
    crossings = np.concatenate(
        (
            rise_us + wave.rise.crossing_us(0.0, wave.low_v, wave.high_v),
            fall_us + wave.fall.crossing_us(0.0, wave.high_v, wave.low_v),
        )
    )
    rising = np.arange(crossings.size) < rise_us.size
    ticks = np.floor(crossings * _US / tick_s).astype(np.int64)
    inside = (crossings >= 0.0) & (crossings < duration_s / _US)
    order = np.argsort(ticks[inside], kind="stable")
    record = EdgeRecord(
        ticks[inside][order],
        rising[inside][order],
        tick_s,
        "synthetic",
        time_base,
        WidthBias("synthetic"),
    )
    return record, wave.truth(0.5 * duration_s)


def _edge_times_us(
    wave: PilotWave, duration_s: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Switching times of the generator, from one pulse before the record to its end."""
    if not wave.switching:
        none = np.empty(0)
        return none, none
    first = math.floor(-wave.phase_us / wave.period_us) - 1
    span = duration_s * (1.0 + abs(wave.drift_ppm_per_s) * 1e-6 * duration_s) / _US
    last = math.ceil((span - wave.phase_us) / wave.period_us) + 1
    number = np.arange(first, last + 1, dtype=np.float64)
    rise = wave.phase_us + wave.period_us * number
    # Phase is f (t + d t^2 / 2): solved for t to second order, exact to 1e-18 for drifts in ppm.
    rise -= 0.5 * wave.drift_ppm_per_s * 1e-6 * _US * rise * rise
    if wave.period_jitter_us:
        rise += rng.normal(0.0, wave.period_jitter_us / math.sqrt(2.0), rise.size)
    fall = rise + wave.width_us
    if wave.width_jitter_us:
        fall += rng.normal(0.0, wave.width_jitter_us, fall.size)
    return rise, fall


def _clean_volts(wave: PilotWave, sampling: Sampling, rng: np.random.Generator) -> Floats:
    total, step_us = sampling.total, sampling.true_interval_s / _US
    if not wave.switching:
        return np.full(total, wave.high_v if wave.width_us > 0.0 else wave.low_v)
    rise, fall = _edge_times_us(wave, total * sampling.true_interval_s, rng)
    starts = np.ceil(np.column_stack((rise, fall)).ravel() / step_us).astype(np.int64)
    bounds = np.clip(np.append(starts, total), 0, total)
    levels = np.resize(np.array([wave.high_v, wave.low_v]), starts.size)
    volts = np.repeat(levels, np.diff(bounds))
    _draw_edges(volts, rise, step_us, (wave.rise, wave.low_v, wave.high_v))
    _draw_edges(volts, fall, step_us, (wave.fall, wave.high_v, wave.low_v))
    return volts


def _draw_edges(
    volts: Floats, times_us: Floats, step_us: float, shape: tuple[Edge, float, float]
) -> None:
    """Replace the samples that follow each switching time, as far as the edge lasts."""
    edge, start_v, end_v = shape
    settled_us = edge.settled_us(start_v, end_v)
    reach = math.ceil(settled_us / step_us)
    if reach == 0:
        return
    block = max(1, 2_000_000 // reach)  # bounds the memory of long edges at high rates
    for low in range(0, times_us.size, block):
        part = times_us[low : low + block, np.newaxis]
        index = np.ceil(part / step_us) + np.arange(reach)
        after_us = index * step_us - part
        drawn = edge.volts(after_us, start_v, end_v).ravel()
        where = index.astype(np.int64).ravel()
        # No further than the edge lasts: the next one may begin within the same sample interval.
        inside = (where >= 0) & (where < volts.size) & (after_us.ravel() <= settled_us)
        volts[where[inside]] = drawn[inside]


def _disturb(volts: Floats, sampling: Sampling, rng: np.random.Generator) -> None:
    if sampling.hum_v or sampling.level_drift_v_per_s:
        time_s = np.arange(volts.size) * sampling.true_interval_s
        volts += sampling.level_drift_v_per_s * time_s
        volts += sampling.hum_v * np.sin(2.0 * math.pi * sampling.hum_hz * time_s)
    if sampling.noise_v:
        volts += sampling.noise_v * rng.standard_normal(volts.size, dtype=np.float32)
    for index, height in sampling.spikes:
        if not 0 <= index < volts.size:
            raise CaptureError(f"The spike at sample {index} lies outside the record.")
        volts[index] += height


def _drop_gaps(volts: Floats, gaps: tuple[Gap, ...]) -> Floats:
    keep: list[Floats] = []
    begin = lost = 0
    for gap in gaps:
        end = gap.index + lost
        keep.append(volts[begin:end])
        lost += gap.missing
        begin = end + gap.missing
    keep.append(volts[begin:])
    return keep[0] if len(keep) == 1 else np.concatenate(keep)


def _as_capture(volts: Floats, sampling: Sampling) -> Capture:
    converter = sampling.converter
    samples: npt.NDArray[Any] = volts if converter is None else converter.counts(volts)
    calibration = (
        VoltCalibration("undescribed", 1.0, 0.0) if converter is None else converter.calibration()
    )
    return Capture(
        samples,
        sampling.interval_s,
        "synthetic",
        calibration,
        sampling.time_base,
        sampling.gaps,
        None if converter is None else (0, converter.top),
    )

"""Recordings that change on the way, put together from steady ones whose truth is known."""

from dataclasses import dataclass, replace

import numpy as np
from pilot_waves import LOADS

from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.synth import Circuit, Converter, PilotWave, Sampling, record_edges, synthesise
from pilotsignal.timing import Comb, fit_comb

CONVERTER = Converter(bits=12, u_gain_relative=5e-4, u_offset_v=5e-3)


@dataclass(frozen=True, slots=True)
class Setting:
    """How a record is taken."""

    interval_s: float = 1e-5
    count: int = 20_000
    noise_v: float = 0.02
    seed: int = 1

    @property
    def duration_us(self) -> float:
        return self.interval_s * self.count * 1e6


@dataclass(frozen=True, slots=True)
class Before:
    """What changes at `share` of the record: width, frequency, time lost."""

    width_us: float = 0.0
    frequency_hz: float = 0.0
    lost_us: float = 0.0
    share: float = 0.4


def wave(width_us: float = 300.0, frequency_hz: float = 1000.7, state: str = "B") -> PilotWave:
    load = dict(zip("ABCD", LOADS, strict=True))[state]
    circuit = Circuit(load_ohm=load, capacitance_f=1e-9)
    return replace(circuit.wave(frequency_hz, width_us), phase_us=123.4)


def recorded(signal: PilotWave, setting: Setting) -> Capture:
    sampling = Sampling(
        setting.interval_s, setting.count, CONVERTER, noise_v=setting.noise_v, seed=setting.seed
    )
    return synthesise(signal, sampling)[0]


def stepped(step: Before, setting: Setting | None = None) -> tuple[Capture, float]:
    """A record and the time in s at which it changes, 100 us before a rising edge."""
    setting = setting or Setting()
    first = wave()
    periods = np.floor((step.share * setting.duration_us - first.phase_us) / first.period_us)
    rise_us = first.phase_us + periods * first.period_us
    cut = int(np.ceil((rise_us - 100.0) / (setting.interval_s * 1e6)))
    second = replace(
        wave(300.0 + step.width_us, 1000.7 + step.frequency_hz),
        phase_us=rise_us - step.lost_us - cut * setting.interval_s * 1e6,
    )
    parts = [
        recorded(first, replace(setting, count=cut)),
        recorded(
            second, replace(setting, count=setting.count - cut, seed=setting.seed + 1_000_000)
        ),
    ]
    samples = np.concatenate([part.samples for part in parts])
    return replace(parts[0], samples=samples), cut * setting.interval_s


def drifting(drift_us: float, setting: Setting) -> Capture:
    """The high time grows evenly by `drift_us` from the first sample to the last."""
    signal = wave()
    volts = np.empty(setting.count)
    time_us = np.arange(setting.count) * setting.interval_s * 1e6
    number = np.floor((time_us - signal.phase_us) / signal.period_us)
    after = time_us - signal.phase_us - number * signal.period_us
    width = signal.width_us + drift_us * (time_us - after) / setting.duration_us
    high = after < width
    volts[high] = signal.rise.volts(after[high], signal.low_v, signal.high_v)
    volts[~high] = signal.fall.volts((after - width)[~high], signal.high_v, signal.low_v)
    volts += setting.noise_v * np.random.default_rng(setting.seed).standard_normal(volts.size)
    return Capture(CONVERTER.counts(volts), setting.interval_s, "drifting", CONVERTER.calibration())


def with_burst(noise_v: float, span_s: tuple[float, float], setting: Setting) -> Capture:
    capture = recorded(wave(), setting)
    begin, end = (int(time / setting.interval_s) for time in span_s)
    counts = capture.samples.astype(np.float64)
    rng = np.random.default_rng((5, setting.seed))
    counts[begin:end] += rng.normal(0.0, noise_v / CONVERTER.step_v, end - begin)
    return replace(capture, samples=np.rint(counts).astype(np.int16))


def two_levels(setting: Setting, share: float = 0.5) -> Capture:
    """State B, then C: another load, the same generator."""
    cut = int(share * setting.count)
    first, second = (recorded(wave(state=state), setting).samples for state in "BC")
    capture = recorded(wave(), setting)
    return replace(capture, samples=np.concatenate((first[:cut], second[cut:])))


def edges_of(signal: PilotWave, duration_s: float, seed: int = 1) -> EdgeRecord:
    return record_edges(signal, duration_s, seed=seed)[0]


def comb_of(record: EdgeRecord) -> Comb:
    ticks = (record.times - record.times[0]).astype(np.float64)
    comb = fit_comb(ticks[record.rising], ticks[~record.rising])
    assert comb is not None
    return comb


def stepped_edges(width_us: float, duration_s: float, seed: int = 1) -> tuple[EdgeRecord, float]:
    """Comparator edges whose high time steps at two fifths of the record."""
    record = edges_of(replace(wave(), width_jitter_us=0.02), duration_s, seed)
    ticks = record.times.astype(np.float64)
    late = (np.arange(ticks.size) >= 0.4 * ticks.size) & ~record.rising
    moved = ticks + np.where(late, width_us * 1e-6 / record.tick_s, 0.0)
    at = float(ticks[late][0] - ticks[0]) * record.tick_s
    return replace(record, times=np.floor(moved).astype(np.int64)), at

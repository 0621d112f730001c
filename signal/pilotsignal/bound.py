"""How well anything can be told from a record: the Cramer-Rao bound of the pilot waveform.

No unbiased estimator scatters by less than ``grad(f)^T J^-1 grad(f)``, with J the Fisher
information. For samples ``v(t_i; theta)`` with independent Gaussian noise of variance s^2,

    J = 1/s^2 * sum_i (dv_i/dtheta) (dv_i/dtheta)^T,    s^2 = sigma^2 + step^2 / 12

Unknown are both plateaus, period, phase, width, and the shape of each edge: the duration of a ramp;
the time constant of a relaxation; for an edge with the diode's knee the time constant after it, the
ratio of both constants and the level of the knee.  Of the last two something is known beforehand,
and counts as information (the Bayesian form of the bound): the diode's drop, 0.70 V with a standard
uncertainty of 0.10 V (IEC 61851-1:2017 Table A.3 has 0.55 to 0.85 V), and the ratio, 10 %, which
follows from the levels.  All derivatives are central differences of the waveform itself.

References
----------
.. [1] S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, ch. 3:
   3.9 (Gaussian case) and 3.8 (functions of parameters).
.. [2] H. L. Van Trees, Detection, Estimation, and Modulation Theory, Part I, 1968, 2.4.3 (known
   beforehand).
.. [3] B. Widrow, I. Kollar, Quantization Noise, 2008, 4.3 (rounding as noise of step^2 / 12).
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.errors import CaptureError
from pilotsignal.synth_edges import Edge, KneeRelaxation, Ramp, Relaxation
from pilotsignal.synth_wave import PilotWave
from pilotsignal.timing import Floats

KNEE_U_V = 0.10
RATIO_U = 0.10
QUANTITIES = (
    "frequency_hz",
    "duty_percent",
    "pulse_width_zero_us",
    "pulse_width_mid_us",
    "high_plateau_v",
    "low_plateau_v",
    "rise_time_us",
    "fall_time_us",
)
_LEVELS = ("high_v", "low_v", "period_us", "phase_us", "width_us")
_BLOCK = 1 << 18
# Of the parameter's own unit: volts, microseconds, or the logarithm. By the period the last edge
# moves as many times as far: a larger one would take samples over corners, and make up information.
_DIFFERENCE = 1e-6


@dataclass(frozen=True, slots=True)
class Record:
    """How the wave is sampled.

    Parameters
    ----------
    interval_us, count : evenly, from time zero.
    noise_v : standard deviation of white noise.
    step_v : of the converter, 0 for none.
    """

    interval_us: float
    count: int
    noise_v: float
    step_v: float = 0.0

    @property
    def variance(self) -> float:
        """Of a single sample, V^2."""
        return self.noise_v**2 + self.step_v**2 / 12.0


def cramer_rao(wave: PilotWave, record: Record) -> dict[str, float]:
    """Least standard deviation of each quantity, in its own unit.

    Parameters
    ----------
    wave : without jitter and drift; edges are ramps or relaxations, with or without a knee.

    Raises
    ------
    CaptureError : no noise at all, an edge without a shape, or samples that leave the
        parameters open.
    """
    if record.variance <= 0.0:
        raise CaptureError("Without noise and converter there is no bound.")
    names = parameters(wave)
    information = _fisher(wave, record, names) + np.diag([_beforehand(name) for name in names])
    scale = np.sqrt(np.diag(information))
    if not (scale > 0).all():
        raise CaptureError("The samples say nothing of some parameters; record longer.")
    inverse = np.linalg.pinv(information / np.outer(scale, scale), rcond=1e-14, hermitian=True)
    found = {}
    for quantity in QUANTITIES:
        slope = np.array([_slope(wave, quantity, name) for name in names])
        if np.isfinite(slope).all():
            along = slope / scale
            found[quantity] = math.sqrt(float(along @ inverse @ along))
    return found


def parameters(wave: PilotWave) -> list[str]:
    """Names of what is unknown about a wave."""
    return [*_LEVELS, *_shape_names("rise", wave.rise), *_shape_names("fall", wave.fall)]


def _shape_names(way: str, edge: Edge) -> list[str]:
    if isinstance(edge, KneeRelaxation):
        return [f"{way}-after", f"{way}-ratio", f"{way}-knee"]
    if isinstance(edge, Relaxation | Ramp):
        return [f"{way}-time"]
    raise CaptureError("An edge without duration has no bound: nothing says where it lies.")


def _beforehand(name: str) -> float:
    """Information that is there without the samples."""
    if name.endswith("-knee"):
        return KNEE_U_V**-2
    return RATIO_U**-2 if name.endswith("-ratio") else 0.0


def moved(wave: PilotWave, name: str, by: float) -> PilotWave:
    """The wave with one parameter changed; the slope at the knee stays without a jump."""
    if name == "period_us":
        return replace(wave, frequency_hz=1e6 / (wave.period_us + by))
    if name == "high_v":
        return _joined(replace(wave, high_v=wave.high_v + by))
    if name == "low_v":
        return _joined(replace(wave, low_v=wave.low_v + by))
    if name == "phase_us":
        return replace(wave, phase_us=wave.phase_us + by)
    if name == "width_us":
        return replace(wave, width_us=wave.width_us + by)
    way, part = name.split("-")
    if way == "rise":
        return _joined(replace(wave, rise=_changed(wave.rise, part, by)))
    return _joined(replace(wave, fall=_changed(wave.fall, part, by)))


def _changed(edge: Edge, part: str, by: float) -> Edge:
    factor = math.exp(by)
    if isinstance(edge, Relaxation):
        return Relaxation(edge.tau_us * factor)
    if isinstance(edge, Ramp):
        return Ramp(edge.duration_us * factor)
    if not isinstance(edge, KneeRelaxation):
        raise CaptureError("An edge without duration has no shape to change.")
    if part == "knee":
        return replace(edge, knee_v=edge.knee_v + by)
    before = edge.tau_before_us * factor
    if part == "ratio":
        return replace(edge, tau_before_us=before)
    return replace(edge, tau_before_us=before, tau_after_us=edge.tau_after_us * factor)


def _joined(wave: PilotWave) -> PilotWave:
    """Targets before the knee such that the slope is the same on both sides of it."""

    def target(edge: Edge, end_v: float) -> Edge:
        if not isinstance(edge, KneeRelaxation):
            return edge
        ratio = edge.tau_before_us / edge.tau_after_us
        return replace(edge, target_before_v=edge.knee_v + (end_v - edge.knee_v) * ratio)

    return replace(wave, rise=target(wave.rise, wave.high_v), fall=target(wave.fall, wave.low_v))


def wave_volts(wave: PilotWave, time_us: Floats) -> Floats:
    """The wave at given times, shape as given; edges settle before the next one."""
    since = np.mod(time_us - wave.phase_us, wave.period_us)
    late = since - wave.width_us
    rising = wave.rise.volts(since, wave.low_v, wave.high_v)
    falling = wave.fall.volts(np.maximum(late, 0.0), wave.high_v, wave.low_v)
    return np.where(late < 0.0, rising, falling)


def _fisher(wave: PilotWave, record: Record, names: list[str]) -> Floats:
    """Settled samples tell of their level alone; only those on edges have to be drawn."""
    pairs = [(moved(wave, name, _DIFFERENCE), moved(wave, name, -_DIFFERENCE)) for name in names]
    index, settled = _on_edges(wave, record)
    total = np.zeros((len(names), len(names)))
    for place, count in zip(
        (_LEVELS.index("high_v"), _LEVELS.index("low_v")), settled, strict=True
    ):
        total[place, place] = count
    for begin in range(0, index.size, _BLOCK):
        time_us = index[begin : begin + _BLOCK] * record.interval_us
        by = np.array([wave_volts(up, time_us) - wave_volts(down, time_us) for up, down in pairs])
        by /= 2.0 * _DIFFERENCE
        total += by @ by.T
    return np.asarray(total / record.variance)


def _on_edges(wave: PilotWave, record: Record) -> tuple[Floats, tuple[int, int]]:
    """Numbers of the samples that lie on edges, and how many lie on the high and the low level."""
    span_us = record.count * record.interval_us
    first = math.floor(-wave.phase_us / wave.period_us) - 1
    last = math.ceil((span_us - wave.phase_us) / wave.period_us) + 1
    rise_us = wave.phase_us + wave.period_us * np.arange(first, last + 1)
    switched = np.column_stack((rise_us, rise_us + wave.width_us)).ravel()
    begin = np.clip(np.floor(switched / record.interval_us), 0, record.count).astype(np.int64)
    settled_us = (
        wave.rise.settled_us(wave.low_v, wave.high_v),
        wave.fall.settled_us(wave.high_v, wave.low_v),
    )
    done_us = switched + np.resize(settled_us, switched.size)
    end = np.clip(np.ceil(done_us / record.interval_us) + 1, 0, record.count).astype(np.int64)
    begin, end, following = begin[:-1], np.minimum(end[:-1], begin[1:]), begin[1:]
    length = end - begin
    offset = np.cumsum(length) - length
    index = np.arange(int(length.sum())) + np.repeat(begin - offset, length)
    rest = following - end
    return index.astype(np.float64), (int(rest[0::2].sum()), int(rest[1::2].sum()))


def _slope(wave: PilotWave, quantity: str, name: str) -> float:
    up, down = (
        getattr(moved(wave, name, by).truth(), quantity) for by in (_DIFFERENCE, -_DIFFERENCE)
    )
    return math.nan if up is None or down is None else (up - down) / (2.0 * _DIFFERENCE)

"""Whatever is recorded: a measurement ends, raises nothing, and gives no number that is none.

Waveforms that no pilot makes are drawn at random: noise, random walks, random bits, sines, pulses
that stop, change, swing or carry spikes, with missing samples, few bits, few samples.  Longer runs:
`PYTHONPATH=signal:tests/core .venv/bin/python tests/core/test_measure_anything.py 0 8000`.
"""

import math
import sys
from collections.abc import Callable

import numpy as np

from pilotsignal.calibration import VoltCalibration
from pilotsignal.capture import Capture, Gap
from pilotsignal.measure import measure

Floats = np.ndarray[tuple[int], np.dtype[np.float64]]
FULL_V = 30.0


def pulses(rng: np.random.Generator, size: int) -> Floats:
    period, duty = 10 ** rng.uniform(0.5, 3.5), rng.uniform(0.01, 0.99)
    phase = (np.arange(size) + rng.uniform(0, period)) % period
    return np.asarray(phase < duty * period, np.float64)


def stopping(rng: np.random.Generator, size: int) -> Floats:
    values, at = pulses(rng, size), int(rng.integers(0, size))
    values[at:] = values[at]
    return values


def changing(rng: np.random.Generator, size: int) -> Floats:
    return np.concatenate((pulses(rng, size // 2), pulses(rng, size - size // 2)))


def swinging(rng: np.random.Generator, size: int) -> Floats:
    turns = np.arange(size) / 10 ** rng.uniform(1.0, 5.0)
    return np.asarray(pulses(rng, size) + rng.uniform(0, 1) * np.sin(2 * np.pi * turns))


def spiked(rng: np.random.Generator, size: int) -> Floats:
    hit = rng.random(size) < rng.choice([1e-4, 1e-2])
    return np.where(hit, rng.uniform(-3, 3, size), pulses(rng, size))


def sine(rng: np.random.Generator, size: int) -> Floats:
    return np.asarray(np.sin(2 * np.pi * np.arange(size) / 10 ** rng.uniform(0.5, 3.5)))


def walk(rng: np.random.Generator, size: int) -> Floats:
    return np.cumsum(rng.standard_normal(size))


def bits(rng: np.random.Generator, size: int) -> Floats:
    return np.asarray(rng.random(size) < rng.random(), np.float64)


WAVES: tuple[Callable[[np.random.Generator, int], Floats], ...] = (
    pulses,
    stopping,
    changing,
    swinging,
    spiked,
    sine,
    walk,
    bits,
)


def drawn(seed: int) -> Capture:
    rng = np.random.default_rng((15, seed))
    size = int(10 ** rng.uniform(0.3, 4.6))
    shape = WAVES[seed % len(WAVES)](rng, size)
    low, high = rng.uniform(-15, 15, 2)
    noise_v = float(rng.choice([0.0, 0.001, 0.02, 0.3]))
    volts = low + (high - low) * shape + noise_v * rng.standard_normal(size)
    interval_s = float(10 ** rng.uniform(-7, -4))
    resolution = int(rng.choice([0, 8, 10, 12]))
    missing = np.unique(rng.integers(1, size, 4)) if size > 20 and rng.random() < 0.3 else ()
    gaps = [Gap(int(at), int(rng.integers(1, 500))) for at in missing]
    if not resolution:
        return Capture.from_volts(volts, interval_s, "drawn").recorded(gaps=gaps, first_tick=0)
    top = 2**resolution - 1
    line = VoltCalibration("drawn", FULL_V / top, -FULL_V / 2, 1e-3, 5e-3, 2e-3)
    counts = np.clip(np.round((volts - line.offset_v) / line.gain_v), 0, top).astype(np.uint16)
    capture = Capture.from_counts(counts, interval_s, "drawn", calibration=line)
    return capture.recorded(gaps=gaps, converter_range=(0, top), first_tick=0)


def amiss(seed: int) -> list[str]:
    """Quantities that are no number, or whose uncertainty is none."""
    found = measure(drawn(seed)).quantities()
    return [
        name
        for name, one in found.items()
        if one is not None and not (math.isfinite(one.value) and 0.0 <= one.u < math.inf)
    ]


def test_anything_is_measured_or_left_out() -> None:
    assert {seed: names for seed in range(240) if (names := amiss(seed))} == {}


if __name__ == "__main__":
    first, last = (int(word) for word in sys.argv[1:3])
    for number in range(first, last):
        if names := amiss(number):
            print(number, names)

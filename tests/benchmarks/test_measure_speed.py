"""Speed of a whole measurement: 10 million counts a time, on one core.

``python -m pytest tests/benchmarks -q -s`` prints the figures.  The best of several rounds of
process time counts, so that other work on the machine does not decide.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pilotsignal.capture import Capture
from pilotsignal.measure import measure
from pilotsignal.synth import Circuit, Converter, Sampling, Truth, synthesise

SAMPLES = 10_000_000
LEAST = 60e6  # samples a second
RATES = {"100 kS/s": 1e5, "2 MS/s": 2e6}


@cache
def recorded(rate: float) -> tuple[Capture, Truth]:
    """State B at 26.7 %, 1 nF, 12 bits and 20 mV noise: 200,000 edges at 100 kS/s."""
    wave = replace(Circuit(load_ohm=2740.0, capacitance_f=1e-9).wave(1000.3, 267.0), phase_us=33.0)
    converter = Converter(bits=12, u_gain_relative=1e-3, u_offset_v=5e-3)
    sampling = Sampling(1.0 / rate, SAMPLES, converter, noise_v=0.02)
    return synthesise(wave, sampling)


def threshold_duty(samples: np.ndarray) -> tuple[float, float]:
    """The plain way, for comparison: extremes, one threshold, straight lines between samples.

    Returns the period in samples and the duty, without any uncertainty.
    """
    low, high = float(samples.min()), float(samples.max())
    middle = 0.5 * (low + high)
    above = samples > middle
    at = np.flatnonzero(above[1:] != above[:-1])
    before, after = samples[at].astype(float), samples[at + 1].astype(float)
    times = at + (middle - before) / (after - before)
    rising = above[at + 1]
    rises, falls = times[rising], times[~rising]
    period = float((rises[-1] - rises[0]) / (rises.size - 1))
    falls = falls[falls > rises[0]]
    count = min(rises.size, falls.size)
    return period, float(np.mean(falls[:count] - rises[:count])) / period


def best_s(function: Callable[[], object], rounds: int = 5) -> float:
    """Shortest process time of some rounds."""
    taken = []
    for _ in range(rounds):
        begun = time.process_time()
        function()
        taken.append(time.process_time() - begun)
    return min(taken)


@pytest.mark.parametrize("name", RATES)
def test_ten_million_counts(name: str, benchmark: BenchmarkFixture) -> None:
    capture, truth = recorded(RATES[name])
    assert capture.samples.dtype == np.int16
    found = benchmark(measure, capture)
    # Fast and wrong would be no use.
    assert found.frequency_hz.value == pytest.approx(truth.frequency_hz, rel=1e-7)
    assert found.duty_percent.value == pytest.approx(truth.duty_percent, abs=2e-3)
    taken = best_s(lambda: measure(capture))
    plain = best_s(lambda: threshold_duty(capture.samples))
    print(
        f"\n{name}: measure {SAMPLES / taken / 1e6:.0f} M samples/s"
        f" (plain threshold {SAMPLES / plain / 1e6:.0f} M samples/s)"
    )
    assert SAMPLES / taken >= LEAST

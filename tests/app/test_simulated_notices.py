"""Good pilots of the simulated bench, seen by its converter: no remark on what is not there.

Rungs, ladders, duties, capacitance up to 1.6 nF at the charger, edges, noise and jitter are drawn
anew for each seed within what IEC 61851-1:2017 Tables A.2 and A.3 allow; the board samples in each
of its ways.
"""

import math

import numpy as np
import pytest

from pilotsignal.capture import Capture, Gap
from pilotsignal.measure import measure
from rungbench.link.messages import Mode
from rungbench.link.words import MODE_FACTS, LadderSet
from rungbench.simulated.calibration import simulated_bench_calibration
from rungbench.simulated.circuit import Load, PilotCircuit, Source
from rungbench.simulated.generator import Floats, Generator, Pace
from rungbench.simulated.parts import FILTER_S, parts_of
from rungbench.simulated.pilot import Pilot
from rungbench.simulated.sampler import Converter
from rungbench.simulated.traits import Traits
from rungbench.standin.calibration import BenchCalibration

# What good records of this board may hear: 8 bits are coarse, 19.2 kS/s resolve no fast edge,
# bursts have gaps, a duty may lie at a seam and a frequency near a fraction of the rate.
MAY = {
    "coarse-voltage",
    "edges-unresolved",
    "missing-samples",
    "coherent-sampling",
    "two-currents",
}
MODES = (Mode.STREAM10, Mode.STREAM8, Mode.BURST10)
BURST_TICKS = 962 * 416
TICK_S = 62.5e-9


def pilot_of(rng: np.random.Generator, seed: int) -> tuple[Pilot, Load]:
    parts = parts_of(seed)
    farad = float(rng.uniform(300, 1600) + rng.choice([150.0, 400.0])) * 1e-12
    source = Source(float(rng.uniform(975, 1025)), float(rng.uniform(0.2, 2.0)) * 1e-6, farad)
    rails = (float(rng.uniform(11.5, 12.5)), float(rng.uniform(-12.5, -11.5)), 0.0)
    ladder = list(LadderSet)[int(rng.integers(3))]
    switched = (None, parts.c_ohm, parts.d_ohm)[int(rng.integers(3))]
    siemens = 1.0 / parts.permanent_ohm[ladder] + (1.0 / switched[ladder] if switched else 0.0)
    return Pilot(PilotCircuit(source, parts.diode), rails, FILTER_S), Load(1.0 / siemens)


def ticks_of(mode: Mode, duration_s: float) -> tuple[Floats, list[Gap]]:
    facts = MODE_FACTS[mode]
    if facts.burst is None:
        count = int(duration_s / (facts.interval_ticks * TICK_S))
        return np.arange(count, dtype=np.float64) * facts.interval_ticks, []
    bursts = int(duration_s / (BURST_TICKS * TICK_S))
    inside = np.arange(facts.burst, dtype=np.float64) * facts.interval_ticks
    ticks = np.arange(bursts, dtype=np.float64)[:, None] * BURST_TICKS + inside
    missing = round(BURST_TICKS / facts.interval_ticks) - facts.burst
    return np.asarray(ticks.ravel(), np.float64), [
        Gap(number * facts.burst, missing) for number in range(1, bursts)
    ]


def recorded(volts: Floats, mode: Mode, seed: int, gaps: list[Gap]) -> Capture:
    """What a board's converter makes of volts, with the calibration that the host has."""
    bits = MODE_FACTS[mode].bits
    known = simulated_bench_calibration()
    calibration = BenchCalibration(
        known.id, known.volts, known.bits, known.time_base, known.width_bias, known.parts
    )
    capture = Capture.from_counts(
        Converter.of(parts_of(seed), Traits(seed=seed)).counts(volts, bits),
        MODE_FACTS[mode].interval_ticks * TICK_S,
        f"seed {seed}",
        calibration=calibration.volts_for(bits),
        time_base=calibration.time_base,
    )
    return capture.recorded(gaps=gaps, converter_range=(0, 2**bits - 1), first_tick=0)


def heard(seed: int) -> set[str]:
    rng = np.random.default_rng((77, seed))
    pilot, load = pilot_of(rng, seed)
    jitter_s = float(rng.choice([0.0, 0.02, 0.1, 0.3])) * 1e-6
    pace = Pace(float(rng.uniform(995.2, 1004.8)), 0.0, jitter_s, float(rng.uniform(-4e-6, 4e-6)))
    generator = Generator(pace, rng.standard_normal)
    generator.pulse(0.0, float(rng.choice([3.0, 6.0, 10.0, 16.0, 20.0, 32.0, 48.0])) / 60.0)
    mode = MODES[int(rng.integers(3))]
    ticks, gaps = ticks_of(mode, float(rng.choice([0.2, 0.5, 1.0])))
    times = 0.05 + ticks * TICK_S / (1.0 + parts_of(seed).clock)
    volts = pilot.volts(times, generator.until(float(times[-1]) + 0.01), load)
    noise_v = math.hypot(float(rng.choice([0.0, 0.004, 0.02])), float(rng.choice([0.0, 0.022])))
    seen = volts + noise_v * rng.standard_normal(times.size)
    return {notice.code for notice in measure(recorded(seen, mode, seed, gaps)).notices} - MAY


def test_good_pilots_hear_nothing() -> None:
    assert [seed for seed in range(100) if heard(seed)] == []


@pytest.mark.slow
def test_two_thousand_good_pilots_hear_nothing() -> None:
    assert {seed: codes for seed in range(2000) if (codes := heard(seed))} == {}

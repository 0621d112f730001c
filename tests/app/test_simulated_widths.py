"""Widths by samples alone, of generators whose edges are no relaxation.

IEC 61851-1:2017 Table A.2 allows a generator 2 us for an edge; behind its source resistor that is
a ramp with a tail, which the fitted shape is not. Where a converter of 8 bits hides that from the
sum of squares the width must not be told more surely than it is known.
"""

import math

import numpy as np
import pytest
from scipy.stats import binom
from test_simulated_notices import TICK_S, pilot_of, recorded, ticks_of

from pilotsignal.measure import measure
from rungbench.link.messages import Mode
from rungbench.simulated.generator import Generator, Pace
from rungbench.simulated.parts import parts_of

NOISE_V = math.hypot(0.004, 0.022)
CURRENTS = (3.0, 6.0, 10.0, 16.0, 20.0, 32.0, 48.0)


def off(seed: int) -> float:
    """Error of the width at 0 V over its U; 0 where there is no width."""
    rng = np.random.default_rng((77, seed))
    pilot, load = pilot_of(rng, seed)
    jitter_s = float(rng.choice([0.0, 0.0, 0.02])) * 1e-6
    frequency = float(rng.uniform(995.2, 1004.8))
    generator = Generator(Pace(frequency, 0.0, jitter_s, 0.0), rng.standard_normal)
    duty = float(rng.choice(CURRENTS)) / 60.0
    generator.pulse(0.0, duty)
    mode = (Mode.STREAM10, Mode.STREAM8)[int(rng.integers(2))]
    ticks, gaps = ticks_of(mode, float(rng.choice([0.2, 0.5, 1.0])))
    clock = 1.0 + parts_of(seed).clock
    times = 0.05 + ticks * TICK_S / clock
    volts = pilot.volts(times, generator.until(float(times[-1]) + 0.01), load)
    noisy = volts + NOISE_V * rng.standard_normal(times.size)
    width = measure(recorded(noisy, mode, seed, gaps)).pulse_width_zero_us
    if width is None:
        return 0.0
    edges_s = pilot.sight(0, 1, load).zero_s - pilot.sight(1, 0, load).zero_s
    return abs(width.value - (duty / frequency + edges_s) * 1e6 * clock) / width.expanded()


def test_of_fifty_as_many_as_may_be_are_beyond_their_uncertainty() -> None:
    far = np.array([off(seed) for seed in range(50)])
    assert np.count_nonzero(far > 1.0) <= int(binom.isf(1e-6, far.size, 0.05))
    assert far.max() < 3.0
    assert np.count_nonzero(far == 0.0) < 5


# Of the first 600 draws some that were 5 to 9 U off as long as nobody looked at how edges go with
# the phase, and two where that shows only among edges that were met at neighbouring phases.
@pytest.mark.parametrize("seed", [378, 176, 589, 107, 524, 533, 120, 428])
def test_slow_generators_are_not_taken_for_relaxations(seed: int) -> None:
    assert off(seed) < 1.5

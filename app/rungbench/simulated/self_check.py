"""What the converter sees of the board itself: ground, references, the check ramp.

The ramp is a resistor and a capacitor on an output of the board: 5 V behind 3 ms, so that it
passes the converter's 4.096 V.  The output is switched by a program and not by the converter's
clock, somewhere between two samples.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from rungbench.link.words import CHECK_CHANNELS, MODE_FACTS, TICK_S, Channel, Mode
from rungbench.simulated.generator import Floats

REFERENCE_V: Final = 4.096
_SUPPLY_V: Final = 5.0
_RAMP_S: Final = 0.0031  # 3 ms by design; the parts are 5 % ones
_INTERNAL_V: Final = 1.087  # 1.1 V by the name, 10 % either way
_HALF: Final = 0.5002  # two equal resistors of 0.1 %
_NOISE: Final = 0.25  # deviation in counts: no dither is added here
_TOP: Final = 1023


@dataclass(slots=True)
class SelfCheck:
    """Places in counts, before rounding, of the samples of `Mode.CHECK10`."""

    generator: np.random.Generator

    def places(self, first: int, size: int) -> Floats:
        """Samples number `first` and on of the mode, shape (size,)."""
        facts = MODE_FACTS[Mode.CHECK10]
        assert facts.burst is not None
        numbers = np.arange(first, first + size)
        bursts, at = np.divmod(numbers, facts.burst)
        places = np.empty(size)
        for burst in np.unique(bursts).tolist():
            which = bursts == burst
            # The same for all pieces of one burst.
            late = np.random.default_rng((burst, 0x4A7)).uniform(0.0, 1.0)
            seconds = (at[which] - late) * facts.interval_ticks * TICK_S
            places[which] = _seen(burst % len(CHECK_CHANNELS), np.maximum(seconds, 0.0))
        return places + _NOISE * self.generator.standard_normal(size)


def _seen(turn: int, seconds: Floats) -> Floats:
    """Level in counts, `seconds` after a burst began."""
    channel = CHECK_CHANNELS[turn]
    volts = {
        Channel.GROUND: 0.0,
        Channel.INTERNAL_REFERENCE: _INTERNAL_V,
        Channel.HALF_REFERENCE: _HALF * REFERENCE_V,
    }
    if channel in volts:
        return np.full(seconds.size, volts[channel] / REFERENCE_V * _TOP)
    left = np.exp(-seconds / _RAMP_S)
    # The second of two ramps falls from where the first one ended; 8 time constants are the end.
    part = left if CHECK_CHANNELS[turn - 1] is Channel.RAMP else 1.0 - left
    return np.asarray(part * _SUPPLY_V / REFERENCE_V * _TOP)

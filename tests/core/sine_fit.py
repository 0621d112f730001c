"""Four-parameter sine fit and effective bits.

Source: IEEE Std 1241-2010 (analogue-to-digital converters), four-parameter least-squares fit to
sine-wave data, and effective number of bits, ``ENOB = log2(full scale / (sqrt(12) NAD))`` with the
rms of the residuals as NAD.  Written down from memory of the standard, not from its text.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
_ROUNDS = 8


@dataclass(frozen=True)
class SineFit:
    """``a cos(w n) + b sin(w n) + offset`` for sample n, and the rms of what is left."""

    a: float
    b: float
    offset: float
    radians_per_sample: float
    residual: float

    @property
    def amplitude(self) -> float:
        return math.hypot(self.a, self.b)

    def effective_bits(self, full_scale: float) -> float:
        return math.log2(full_scale / (math.sqrt(12.0) * self.residual))


def fit_sine(samples: Floats, cycles: float) -> SineFit:
    """Least-squares sine; `cycles` is a guess of how many of them the record holds."""
    number = np.arange(samples.size, dtype=np.float64)
    omega = 2.0 * math.pi * cycles / samples.size
    a = b = offset = 0.0
    for _ in range(_ROUNDS):
        cosine, sine = np.cos(omega * number), np.sin(omega * number)
        columns = [cosine, sine, np.ones_like(number)]
        if a or b:
            columns.append(number * (b * cosine - a * sine))
        solved, *_ = np.linalg.lstsq(np.column_stack(columns), samples, rcond=None)
        a, b, offset = (float(value) for value in solved[:3])
        omega += float(solved[3]) if solved.size > 3 else 0.0
    fitted = a * np.cos(omega * number) + b * np.sin(omega * number) + offset
    left = samples - fitted
    return SineFit(a, b, offset, omega, float(np.sqrt(np.mean(left * left))))

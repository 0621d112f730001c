"""The synthetic converter, judged as IEEE Std 1241-2010 judges a real one: effective bits.

Expected figures: the residual of an ideal converter is uniform over a step, so that its rms is a
step over sqrt(12) and its effective bits are its bits (W. R. Bennett, Spectra of quantized
signals, Bell System Technical Journal 27 (1948) 446); noise of s steps adds s^2 to that variance.
"""

import math

import numpy as np
import pytest
from sine_fit import Floats, SineFit, fit_sine

from pilotsignal.synth import Converter

SAMPLES = 65_536
CYCLES = 1021  # shares no factor with the number of samples, so that no phase comes twice
TOLERANCE_BITS = 0.03


def sine(converter: Converter, share: float = 0.999, cycles: float = CYCLES) -> Floats:
    """A sine that fills a share of the converter's range, in volts."""
    middle = converter.low_v + 0.5 * (converter.range_v - converter.step_v)
    phase = 2.0 * math.pi * cycles / SAMPLES * np.arange(SAMPLES) + 0.3
    return np.asarray(middle + share * 0.5 * converter.range_v * np.sin(phase))


def fitted(converter: Converter, volts: Floats) -> SineFit:
    return fit_sine(converter.counts(volts).astype(np.float64), CYCLES)


def effective_bits(converter: Converter, volts: Floats) -> float:
    return fitted(converter, volts).effective_bits(float(1 << converter.bits))


@pytest.mark.parametrize("bits", [8, 10, 12, 14])
def test_an_ideal_converter_has_as_many_effective_bits(bits: int) -> None:
    converter = Converter(bits)
    assert effective_bits(converter, sine(converter)) == pytest.approx(bits, abs=TOLERANCE_BITS)


@pytest.mark.parametrize("steps", [0.25, 0.5, 1.0, 3.0])
def test_noise_costs_the_bits_that_it_should(steps: float) -> None:
    converter = Converter(12)
    rng = np.random.default_rng(5)
    volts = sine(converter, 0.98) + steps * converter.step_v * rng.standard_normal(SAMPLES)
    expected = 12.0 - 0.5 * math.log2(1.0 + 12.0 * steps**2)
    assert effective_bits(converter, volts) == pytest.approx(expected, abs=TOLERANCE_BITS)


def test_gain_and_offset_cost_none() -> None:
    converter = Converter(12, gain_error=0.004, offset_error_v=0.03)
    assert effective_bits(converter, sine(converter, 0.98)) == pytest.approx(
        12.0, abs=TOLERANCE_BITS
    )


def test_the_fit_finds_amplitude_offset_and_frequency() -> None:
    converter = Converter(12)
    found = fitted(converter, sine(converter, 0.9, CYCLES + 0.3))
    assert found.amplitude == pytest.approx(0.45 * 4096, abs=0.02)
    assert found.offset == pytest.approx(2047.5, abs=0.02)
    assert found.radians_per_sample * SAMPLES / (2.0 * math.pi) == pytest.approx(
        CYCLES + 0.3, abs=1e-4
    )


@pytest.mark.parametrize("share", [1.02, 1.1])
def test_a_clipped_sine_has_fewer(share: float) -> None:
    converter = Converter(12)
    assert effective_bits(converter, sine(converter, share)) < 11.0


def test_a_bent_converter_has_fewer() -> None:
    """One step of integral non-linearity, as a parabola: its residual is that of its cosine part.

    ``x^2`` of a sine of amplitude 1 is ``1/2 - cos(2 wt)/2``: two steps of ``x^2`` leave a second
    harmonic of amplitude 1, rms 0.707, beside the step's 0.289.
    """
    converter = Converter(12)
    volts = sine(converter, 0.95)
    place = (volts - volts.mean()) / (0.5 * np.ptp(volts))
    bent = volts + 2.0 * converter.step_v * place**2
    expected = 12.0 - 0.5 * math.log2(12.0 * (0.5 + 1.0 / 12.0))
    assert effective_bits(converter, bent) == pytest.approx(expected, abs=TOLERANCE_BITS)

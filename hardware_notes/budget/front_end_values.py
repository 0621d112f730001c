"""Front end by hand: transfer, time constants, clamps, loads, dither, threshold."""

import math
from dataclasses import dataclass

import standin_design as design

MAINS_PEAK_V = 253.0 * math.sqrt(2.0)  # 230 V + 10 %
CONTACT_V = (-15.0, -12.0, 0.0, 3.0, 6.0, 9.0, 12.0, 15.0)


def buffer_v(volts: float) -> float:
    """At the buffer."""
    return volts * design.divider()


def converter_v(volts: float) -> float:
    """At the converter pin: the mean of buffer and reference, less the dither's pull."""
    mean = 0.5 * (buffer_v(volts) + design.REFERENCE_V)
    return mean + (design.REFERENCE_V / 2.0 - mean) * design.dither_share()


def transfer_rows() -> list[tuple[float, float, float, float]]:
    """Contact V, buffer V, converter V, count."""
    return [(v, buffer_v(v), converter_v(v), design.count(v)) for v in CONTACT_V]


def step_v() -> float:
    """Volts at the contact that one converter step stands for."""
    return 2.0 * design.full_scale_v() / design.COUNTS


@dataclass(frozen=True, slots=True)
class Constants:
    """Time constants in seconds."""

    uncompensated: float
    buffer: float
    converter: float
    comparator: float

    @property
    def whole(self) -> float:
        """From contact to converter: in a chain of single poles the delays of a ramp add."""
        return self.buffer + self.converter

    @property
    def to_comparator(self) -> float:
        """From contact to comparator input."""
        return self.buffer + self.comparator


def constants() -> Constants:
    """Each pole; the compensated divider itself has none."""
    top = design.TOP_OHM * design.TOP_PARTS
    parallel = top * design.BOTTOM_OHM / (top + design.BOTTOM_OHM)
    return Constants(
        parallel * design.STRAY_F,
        1.0 / (2.0 * math.pi * design.GAIN_BANDWIDTH_HZ),
        design.PAIR_OHM / 2.0 * design.PIN_F,
        design.SENSE_PAIR_OHM / 2.0 * design.SENSE_F,
    )


def thresholds_v() -> tuple[float, float]:
    """Contact voltages at which the comparator turns high and low, with hysteresis."""
    source = design.SENSE_PAIR_OHM / 2.0
    half = design.REFERENCE_V / 2.0

    def contact(output_v: float) -> float:
        # At the input: (mean / source + output / feedback) / (1 / source + 1 / feedback) = half
        mean = half + (half - output_v) * source / design.FEEDBACK_OHM
        return (2.0 * mean - design.REFERENCE_V) / design.divider()

    return contact(0.0), contact(design.SUPPLY_V)


def threshold_bound_v() -> float:
    """Worst shift of the threshold at the contact: comparator, both pairs, buffer, bias."""
    at_input = design.COMPARATOR_OFFSET_V + 2.0 * pair_bound_v()
    at_buffer = 2.0 * at_input + design.BUFFER_OFFSET_V + bias_v()
    return at_buffer / design.divider()


def pair_bound_v() -> float:
    """Worst error of the middle of a pair over the reference."""
    return design.REFERENCE_V / 2.0 * design.SENSE_TOLERANCE


def bias_v() -> float:
    """What the buffer's bias current makes at its input."""
    top = design.TOP_OHM * design.TOP_PARTS
    return design.BUFFER_BIAS_A * top * design.BOTTOM_OHM / (top + design.BOTTOM_OHM)


def mains_on_pilot() -> tuple[float, float, float]:
    """Mains on the contact: mA peak into the clamp, V peak and W rms of each top resistor."""
    top = design.TOP_OHM * design.TOP_PARTS
    peak_a = (MAINS_PEAK_V - design.SUPPLY_V - 0.7) / top
    per_part = peak_a * design.TOP_OHM
    return peak_a * 1e3, per_part, (per_part / math.sqrt(2.0)) ** 2 / design.TOP_OHM


def reference_load_a() -> tuple[float, float]:
    """Least and largest current that both pairs draw from the reference."""
    siemens = 0.5 / design.PAIR_OHM + 0.5 / design.SENSE_PAIR_OHM
    currents = [(design.REFERENCE_V - buffer_v(v)) * siemens for v in (15.0, -15.0)]
    return min(currents), max(currents)


def suppressor_pulse(current_a: float) -> tuple[float, float, float]:
    """Seconds until the fuse melts, joule in the suppressor, and what it stands in that time.

    A pulse rating falls with the square root of the time (common practice, no source).
    """
    melt_s = design.FUSE_I2T / current_a**2
    stands_w = design.SUPPRESSOR_PULSE_W * math.sqrt(1e-3 / melt_s)
    return melt_s, design.SUPPRESSOR_CLAMP_V * current_a * melt_s, stands_w * melt_s


def dither_v() -> float:
    """Peak to peak at the contact of a triangle of a third of the reference."""
    at_pin = design.REFERENCE_V / 3.0 * design.dither_share()
    return at_pin * 2.0 * design.full_scale_v() / design.REFERENCE_V


def dither_rms_v() -> float:
    """RMS of that triangle."""
    return dither_v() / math.sqrt(12.0)

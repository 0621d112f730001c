"""Examples that others printed, and generators that others wrote."""

import numpy as np
import pytest
from scipy import signal as scipy_signal

from pilotsignal.capture import Capture
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.quantity import Quantity


def measured(volts: np.ndarray, interval_s: float) -> PilotMeasurement:
    return measure(Capture.from_volts(volts, interval_s, "published"))


def present(quantity: Quantity | None) -> Quantity:
    assert quantity is not None
    return quantity


def test_duty_cycle_of_rectangular_pulse_waveform() -> None:
    """MathWorks, Signal Processing documentation, "Duty Cycle of Rectangular Pulse Waveform".

    Rectangular pulses of 1 us every 4 us, 1 GHz, ten of them: printed 0.2500, nine times.
    """
    time = np.arange(40_000) * 1e-9
    volts = (time % 4e-6 < 1e-6) * 1.0
    found = measured(np.concatenate((np.zeros(500), volts)), 1e-9)
    assert present(found.duty_percent).value == pytest.approx(25.00, abs=0.005)
    assert present(found.pulse_width_mid_us).value == pytest.approx(1.0, abs=1e-3)
    assert present(found.frequency_hz).value == pytest.approx(250e3, rel=1e-6)


def test_duty_cycle_of_a_square_wave() -> None:
    """MathWorks, Signal Processing documentation, `dutycycle`: 50 Hz square at 25 %, 10 kHz.

    Printed 0.2500.  The wave comes from scipy.signal.square, a generator of other hands.
    """
    time = np.arange(0, 0.6, 1e-4)
    found = measured(scipy_signal.square(2 * np.pi * 50 * time, 0.25), 1e-4)
    duty = present(found.duty_percent)
    # 200 samples a period, locked: a sample is half a point, and U says so.
    assert abs(duty.value - 25.0) <= duty.expanded()
    assert present(found.frequency_hz).value == pytest.approx(50.0, rel=1e-4)


@pytest.mark.parametrize("hertz", [50.0, 333.3, 1000.0, 4321.0, 20_000.0])
@pytest.mark.parametrize("duty", [0.05, 0.10, 0.2667, 0.5, 0.5333, 0.85, 0.96])
def test_squares_of_another_generator(hertz: float, duty: float) -> None:
    """scipy.signal.square: 97.3 samples a period, so that phases differ; value within U."""
    interval = 1.0 / (97.3 * hertz)
    time = np.arange(20_000) * interval
    wave = 12.0 * scipy_signal.square(2 * np.pi * hertz * time + 0.3, duty)
    found = measured(wave, interval)
    for name, true in (("duty_percent", 100 * duty), ("frequency_hz", hertz)):
        quantity = present(found.quantities()[name])
        assert abs(quantity.value - true) <= quantity.expanded()
    assert present(found.duty_percent).expanded() < 0.2
    assert present(found.high_plateau_v).value == 12.0
    assert present(found.low_plateau_v).value == -12.0
    # Ideal edges: none may be reported as resolved.
    assert found.rise_time_us is found.fall_time_us is None


@pytest.mark.parametrize("base", [1.0, 4.0])
def test_a_triangle_is_refused(base: float) -> None:
    """The triangle of "Slew Rate of Triangular Waveform" has no plateaus to measure between.

    Its slew rates, +/- 2.0000 and +/- 0.5000, are checked on the edge itself (test_transitions).
    """
    time = np.arange(0, 40 * base, 0.01)
    found = measured(scipy_signal.sawtooth(np.pi * time / base, 0.5), 0.01)
    assert found.has("not-pilot")
    assert all(quantity is None for quantity in found.quantities().values())


def test_coherent_sampling_as_recomputed() -> None:
    """100 kS/s and exactly 1000.00 Hz: ideal edges leave a full sample, 1.0 point, open.

    Arithmetic: 10 us of 1000 us.  U must not fall below what is open, nor exceed it by much.
    """
    offs = []
    for width in np.linspace(300.0, 310.0, 21):
        time = (np.arange(20_000) * 10.0 + 3.7) % 1000.0
        found = measured(np.where(time < width, 12.0, -12.0), 1e-5)
        duty = present(found.duty_percent)
        offs.append(abs(duty.value - width / 10))
        assert offs[-1] <= duty.expanded()
        assert 0.5 <= duty.expanded() <= 1.5
        assert found.has("coherent-sampling")
    assert max(offs) > 0.4

"""Waves, spectra and edges against scipy.signal, and Fourier's series of a pulse train."""

import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from pilotsignal.capture import Capture
from pilotsignal.circuit import Ladder, PilotCircuit, Source
from pilotsignal.measure import measure
from pilotsignal.synth import PilotWave, Ramp, Sampling, Step, synthesise
from pilotsignal.synth_edges import Edge

Floats = npt.NDArray[np.float64]

HIGH_V, LOW_V = 9.0, -12.0
INTERVAL_S = 1e-6


def volts_of_square(frequency_hz: float, duty_percent: float, finer: int = 1) -> Floats:
    """scipy.signal.square, stretched to the levels of state B; 0.1 s, or less where finer."""
    number = np.arange(100_000 * max(1, finer // 2))
    phase = 2.0 * math.pi * frequency_hz * INTERVAL_S / finer * number - 0.5
    shape = signal.square(phase, duty_percent / 100.0)
    return np.asarray(LOW_V + (HIGH_V - LOW_V) * 0.5 * (shape + 1.0), dtype=np.float64)


@pytest.mark.parametrize(
    ("frequency_hz", "duty_percent"),
    [(1000.3, 26.667), (997.1, 10.0), (1003.7, 85.0), (1002.3, 50.0)],
)
def test_square_waves_are_measured_as_they_were_made(
    frequency_hz: float, duty_percent: float
) -> None:
    """Source: scipy.signal.square. Edges without any length: U is what the samples leave open."""
    found = measure(
        Capture.from_volts(volts_of_square(frequency_hz, duty_percent), INTERVAL_S, "x")
    )
    truths = (
        (found.frequency_hz, frequency_hz),
        (found.duty_percent, duty_percent),
        (found.high_plateau_v, HIGH_V),
        (found.low_plateau_v, LOW_V),
    )
    for quantity, truth in truths:
        assert quantity is not None
        assert abs(quantity.value - truth) <= quantity.expanded() + 1e-12
    assert found.duty_percent is not None
    assert found.duty_percent.expanded() < 0.11, "no more than a sample interval of each period"


@pytest.mark.parametrize("tau_us", [3.0, 8.0])
def test_edge_times_of_a_filtered_square_wave(tau_us: float) -> None:
    """Source: scipy.signal.lfilter with one pole; 10 to 90 % takes ln(9) time constants.

    It is filtered 40 times finer than it is sampled, so that its edges fall anywhere.
    """
    decay = math.exp(-INTERVAL_S * 1e6 / (40 * tau_us))
    ideal = volts_of_square(1000.3, 30.0, 40) - LOW_V
    volts = LOW_V + np.asarray(signal.lfilter([0.0, 1.0 - decay], [1.0, -decay], ideal))[::40]
    found = measure(Capture.from_volts(volts, INTERVAL_S, "x"))
    for quantity in (found.rise_time_us, found.fall_time_us):
        assert quantity is not None
        # Without noise U may be less than what rounding leaves.
        assert abs(quantity.value - math.log(9.0) * tau_us) <= quantity.expanded() + 1e-6
        assert quantity.expanded() < 0.1 * quantity.value


@pytest.mark.parametrize(("edge", "length_us"), [(Step(), 0.0), (Ramp(5.0), 5.0), (Ramp(40.0), 40)])
@pytest.mark.parametrize("duty", [0.10, 0.26667, 0.5, 0.85])
def test_spectrum_of_a_synthetic_wave(edge: Edge, length_us: float, duty: float) -> None:
    """Source: scipy.signal.periodogram, and Fourier's series of trapezoidal pulses.

    They are two rectangles convolved: ``c_n = 2 swing duty sinc(n duty) sinc(n ramp / period)``.
    """
    frequency_hz, samples = 1010.0, 100_000  # 101 whole periods, no phase twice
    wave = PilotWave(frequency_hz, duty * 1e6 / frequency_hz, HIGH_V, LOW_V, edge, edge)
    capture, _ = synthesise(wave, Sampling(INTERVAL_S, samples))
    frequencies, power = signal.periodogram(
        capture.samples, 1.0 / INTERVAL_S, window="boxcar", detrend=False, scaling="spectrum"
    )
    harmonic = np.arange(1, 21)
    places = np.searchsorted(frequencies, harmonic * frequency_hz - 1.0)
    found = np.sqrt(2.0 * power[places])
    turn = length_us * 1e-6 * frequency_hz
    expected = 2.0 * (HIGH_V - LOW_V) * duty * np.abs(np.sinc(harmonic * duty))
    expected *= np.abs(np.sinc(harmonic * turn))
    np.testing.assert_allclose(found, expected, atol=2e-3)
    assert math.sqrt(power[0]) == pytest.approx(abs(LOW_V + (HIGH_V - LOW_V) * duty), abs=2e-3)


@pytest.mark.parametrize("rung", ["open", "short", "B"])
@pytest.mark.parametrize("capacitance_pf", [300.0, 1600.0, 3100.0])
def test_edges_of_linear_loads(rung: str, capacitance_pf: float) -> None:
    """Source: scipy.signal.lsim. Without a diode in the way the pilot is a single pole."""
    source = Source(1000.0, 12.0, -12.0, 2.0, capacitance_pf * 1e-12)
    circuit = PilotCircuit(source, Ladder(input_ohm=1e6).load(rung, diode_in=False))
    beside = {"open": math.inf, "short": 80.0, "B": 2740.0}[rung]
    siemens = 1.0 / 1000.0 + 1.0 / beside + 1e-6
    tau_us = capacitance_pf * 1e-6 / siemens
    times = np.linspace(0.0, 40.0, 20_001)
    generator = -12.0 + 24.0 * np.clip(times / source.ramp_us, 0.0, 1.0)
    start = -12.0 / 1000.0 / siemens
    system = signal.StateSpace([[-1.0 / tau_us]], [[1e-3 / siemens / tau_us]], [[1.0]], [[0.0]])
    _, volts, _ = signal.lsim(system, generator, times, X0=[start])
    np.testing.assert_allclose(circuit.rise().volts_at(times), volts, atol=2e-5)
    assert circuit.tau_below_us == pytest.approx(tau_us, rel=1e-9)
    assert circuit.tau_above_us == pytest.approx(tau_us, rel=1e-9)

"""What is read off a folded edge, against closed forms and scipy.signal."""

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
from changing_waves import Setting, recorded
from scipy import signal

from pilotsignal.capture import Capture
from pilotsignal.fold import Folded, FoldOptions, fold
from pilotsignal.measure import measure
from pilotsignal.quantity import Quantity
from pilotsignal.synth import Circuit, PilotWave, Ramp

FAST = Setting(interval_s=1e-6, count=200_000, noise_v=0.01)


def folded(capture: Capture, options: FoldOptions | None = None) -> Folded:
    return fold(capture, measure(capture), options)


def near(quantity: Quantity | None, truth: float) -> None:
    """Within U, with room for the 1 in 20 outside."""
    assert quantity is not None
    assert abs(quantity.value - truth) <= 1.5 * quantity.expanded()


def loaded(load: float | None, capacitance_f: float) -> PilotWave:
    circuit = Circuit(load_ohm=load, capacitance_f=capacitance_f)
    return replace(circuit.wave(1000.7, 300.0), phase_us=123.4)


@pytest.mark.parametrize("load", [None, 2740.0, 882.0])
@pytest.mark.parametrize("capacitance_f", [1e-9, 3.1e-9])
def test_durations_and_time_constants(load: float | None, capacitance_f: float) -> None:
    """Source 1000 ohm: R1 C below the diode's knee, (R1 parallel R) C above it."""
    shape = loaded(load, capacitance_f)
    view, truth = folded(recorded(shape, FAST)), shape.truth()
    assert truth.rise_time_us is not None
    assert truth.fall_time_us is not None
    near(view.rise.duration_us, truth.rise_time_us)
    near(view.fall.duration_us, truth.fall_time_us)
    below = 1000.0 * capacitance_f * 1e6
    above = below if load is None else below * load / (1000.0 + load)
    near(view.fall.time_constant_us, below)
    near(view.rise.time_constant_us, above)
    for edge in (view.rise, view.fall):
        assert edge.time_constant_us is not None
        assert edge.time_constant_us.expanded() < 0.02 * edge.time_constant_us.value
    assert truth.pulse_width_mid_us is not None
    assert view.fall.at_us == pytest.approx(truth.pulse_width_mid_us, abs=0.02)


def test_one_exponential_settles_as_logarithms_say() -> None:
    """From a half to p of an exponential: tau ln(0.5 / p); 10 to 90 %: tau ln 9."""
    shape = loaded(None, 3e-9)
    for band in (0.05, 0.02, 0.01):
        view = folded(recorded(shape, FAST), FoldOptions(band=band))
        for edge in (view.rise, view.fall):
            near(edge.settling_us, 3.0 * math.log(0.5 / band))
            near(edge.duration_us, 3.0 * math.log(9.0))
            assert edge.overshoot_percent is not None
            assert edge.overshoot_percent.value == 0.0
            assert edge.overshoot_percent.expanded() < 0.6


def test_a_ramp_takes_four_fifths_of_itself() -> None:
    shape = replace(loaded(None, 1e-9), rise=Ramp(10.0), fall=Ramp(6.0))
    view = folded(recorded(shape, FAST))
    near(view.rise.duration_us, 8.0)
    near(view.fall.duration_us, 4.8)
    # From the middle to 95 %: 45 % of the ramp.
    near(view.rise.settling_us, 4.5)


@cache
def response(damping: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Step response of a second-order system, 1 rad/us, by scipy.signal."""
    system = signal.TransferFunction([1.0], [1.0, 2.0 * damping, 1.0])
    time, out = signal.step(system, T=np.linspace(0.0, 60.0, 60_001))
    return np.asarray(time, np.float64), np.asarray(out, np.float64)


@dataclass(frozen=True, slots=True)
class Ringing:
    """An edge that rings: scipy's step response at `rate` rad/us."""

    damping: float
    rate: float

    def volts(
        self, after_us: npt.NDArray[np.float64], start_v: float, end_v: float
    ) -> npt.NDArray[np.float64]:
        time, out = response(self.damping)
        share = np.interp(after_us * self.rate, time, out)
        return np.asarray(start_v + (end_v - start_v) * share)

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        time, out = response(self.damping)
        share = (level_v - start_v) / (end_v - start_v)
        first = int(np.argmax(out > share))
        return float(np.interp(share, out[: first + 1], time[: first + 1])) / self.rate

    def settled_us(self, start_v: float, end_v: float) -> float:
        del start_v, end_v
        return 60.0 / self.rate

    def settling_us(self, band: float) -> float:
        """From the 50 % instant into the band for good, read off scipy's response."""
        time, out = response(self.damping)
        last = int(np.flatnonzero(np.abs(out - 1.0) > band)[-1])
        return float(time[last + 1]) / self.rate - self.crossing_us(0.5, 0.0, 1.0)


@pytest.mark.parametrize("damping", [0.3, 0.5, 0.7])
def test_overshoot_and_settling_of_a_second_order_step(damping: float) -> None:
    """By scipy.signal.step; the overshoot also as exp(-pi z / sqrt(1 - z^2)), from memory."""
    edge = Ringing(damping, 0.6)
    shape = PilotWave(1000.7, 300.0, 6.0, -8.0, edge, edge, 123.4)
    view = folded(recorded(shape, FAST))
    by_scipy = 100.0 * (float(response(damping)[1].max()) - 1.0)
    closed = 100.0 * math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    assert by_scipy == pytest.approx(closed, rel=1e-4)
    ten, ninety = (edge.crossing_us(share, 0.0, 1.0) for share in (0.1, 0.9))
    for found in (view.rise, view.fall):
        assert found.overshoot_percent is not None
        assert found.overshoot_percent.value == pytest.approx(closed, abs=0.4)
        near(found.settling_us, edge.settling_us(0.05))
        near(found.duration_us, ninety - ten)
        # A ringing edge is no exponential, and no time constant is made up for it.
        assert found.time_constant_us is None
    assert any("no exponential" in note.text for note in view.notices)


def test_noise_that_hides_the_band_is_said() -> None:
    view = folded(recorded(loaded(None, 3e-9), replace(FAST, noise_v=0.3)), FoldOptions(band=0.01))
    assert view.rise.settling_us is None
    assert any("noise hides the band" in note.text for note in view.notices)


@pytest.mark.slow
def test_stated_uncertainties_hold() -> None:
    """Forty seeds at 100 kS/s, four kinds of edge times two: nine in ten at least within U."""
    inside = asked = 0
    for seed in range(40):
        rng = np.random.default_rng((12, seed))
        load = (None, 2740.0, 882.0)[seed % 3]
        shape = Circuit(load_ohm=load, capacitance_f=2e-9).wave(
            float(rng.uniform(994, 1006)), float(rng.uniform(150, 800))
        )
        shape = replace(shape, phase_us=float(rng.uniform(0, 900)))
        view, truth = folded(recorded(shape, Setting(seed=seed))), shape.truth()
        above = 2.0 if load is None else 2.0 * load / (1000.0 + load)
        for quantity, value in (
            (view.rise.duration_us, truth.rise_time_us),
            (view.fall.duration_us, truth.fall_time_us),
            (view.rise.time_constant_us, above),
            (view.fall.time_constant_us, 2.0),
        ):
            if quantity is not None and value is not None:
                asked += 1
                inside += abs(quantity.value - value) <= quantity.expanded()
    assert asked > 100
    assert inside >= 0.9 * asked

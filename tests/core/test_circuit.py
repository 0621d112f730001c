"""The pilot circuit forward: plateaus and edges against figures worked out by hand."""

import math

import numpy as np
import pytest

from pilotsignal.circuit import FAST_SILICON, LADDERS, Ladder, Load, PilotCircuit, Source
from pilotsignal.diode import Diode
from pilotsignal.errors import CircuitError
from pilotsignal.measure import measure
from pilotsignal.synth import Sampling, synthesise
from pilotsignal.synth_wave import Circuit as ClosedForm

# Holds 0.70 V whatever flows, as hand calculations do.
STIFF = Diode(saturation_a=1e-30, emission_v=0.7 / math.log(5e-3 / 1e-30))
RUNGS = ("open", "B", "C", "D", "short")


# IEC 61851-1:2017 Table A.9: ladders for the edges of the windows; 12 V, 1 kohm, 0.70 V. Each
# plateau worked out by hand as U_d + (12 - U_d) R / (R + 1000), R the parallel resistance.
@pytest.mark.parametrize(
    ("ladder", "rung", "volts"),
    [
        ("low", "B", 8.063), ("nominal", "B", 8.979), ("high", "B", 9.986),
        ("low", "C", 4.989), ("nominal", "C", 5.995), ("high", "C", 6.987),
        ("low", "D", 2.002), ("nominal", "D", 2.929), ("high", "D", 3.976),
    ],
)  # fmt: skip
def test_plateaus_of_the_window_edge_ladders(ladder: str, rung: str, volts: float) -> None:
    load = LADDERS[ladder].load(rung)
    assert PilotCircuit(Source(), load, STIFF).high_v == pytest.approx(volts, abs=0.012)
    assert PilotCircuit(Source(), load).high_v == pytest.approx(volts, abs=0.03)


def test_other_settings_by_hand() -> None:
    ladder = Ladder(input_ohm=1e6)

    def levels(rung: str, *, diode_in: bool = True) -> tuple[float, float]:
        circuit = PilotCircuit(Source(), ladder.load(rung, diode_in=diode_in))
        return circuit.high_v, circuit.low_v

    # 12 V x 1 Mohm / 1.001 Mohm; 12 V x 80 / 1080; -12 V x 2740 / 3740
    assert levels("open") == pytest.approx((11.98801, -11.98801), abs=1e-5)
    assert levels("short") == pytest.approx((0.88882, -0.88882), abs=1e-4)
    assert levels("B", diode_in=False) == pytest.approx((8.7852, -8.7852), abs=1e-3)
    for rung in ("B", "C", "D"):
        assert levels(rung)[1] == pytest.approx(-11.98801, abs=1e-5), "the diode blocks"


@pytest.mark.parametrize("rung", RUNGS)
@pytest.mark.parametrize("rise_us", [0.0, 2.0, 20.0])
def test_edges_go_from_plateau_to_plateau(rung: str, rise_us: float) -> None:
    circuit = PilotCircuit(Source(rise_us=rise_us), Ladder(input_ohm=1e6).load(rung))
    for edge, start, end in (
        (circuit.rise(), circuit.low_v, circuit.high_v),
        (circuit.fall(), circuit.high_v, circuit.low_v),
    ):
        assert np.all(np.diff(edge.times_us) > 0.0)
        assert np.all(np.diff(edge.at_v) * (end - start) > -1e-6)
        assert edge.start_v == pytest.approx(start, abs=1e-9)
        assert edge.at_v[-1] == pytest.approx(end, abs=1e-5)
        assert edge.volts_at(np.array([-1.0, 0.0, 1e6])) == pytest.approx([start, start, end])


def test_a_step_into_a_linear_load_is_one_exponential() -> None:
    circuit = PilotCircuit(Source(rise_us=0.0, capacitance_f=1e-9), Load())
    assert circuit.tau_below_us == pytest.approx(1.0)
    assert circuit.rise().transition_us() == pytest.approx(math.log(9.0), rel=1e-6)
    assert circuit.rise().pass_us(0.0) == pytest.approx(math.log(2.0), rel=1e-6)
    times = np.array([0.1, 0.5, 1.0, 3.0])
    assert circuit.rise().volts_at(times) == pytest.approx(12.0 - 24.0 * np.exp(-times), abs=1e-5)


@pytest.mark.parametrize("rung", ["B", "C", "D"])
def test_time_constants_below_and_above_the_knee(rung: str) -> None:
    circuit = PilotCircuit(Source(rise_us=0.0, capacitance_f=3.1e-9), Ladder().load(rung))
    assert circuit.tau_below_us == pytest.approx(3.1)
    fall, rise = circuit.fall(), circuit.rise()
    below = (fall.at_v < -1.0) & (fall.at_v > -11.9)
    slope = np.polyfit(fall.times_us[below], np.log(fall.at_v[below] + 12.0), 1)[0]
    assert -1.0 / slope == pytest.approx(circuit.tau_below_us, rel=1e-3)
    top = circuit.high_v
    above = (rise.at_v > top - 0.05) & (rise.at_v < top - 0.001)
    slope = np.polyfit(rise.times_us[above], np.log(top - rise.at_v[above]), 1)[0]
    assert -1.0 / slope == pytest.approx(circuit.tau_above_us, rel=0.01)
    parallel = 1.0 / (1.0 / 1000.0 + 1.0 / circuit.load.ladder_ohm)
    assert circuit.tau_above_us == pytest.approx(parallel * 3.1e-3, rel=0.05)


def test_vehicle_capacitance_before_the_diode_adds_to_the_chargers() -> None:
    load = Ladder().load("C")
    vehicle = Load(load.ladder_ohm, before_diode_f=1e-9)
    apart = PilotCircuit(Source(capacitance_f=0.6e-9), vehicle)
    together = PilotCircuit(Source(capacitance_f=1.6e-9), load)
    assert apart.width_shift_us(0.0) == pytest.approx(together.width_shift_us(0.0), abs=1e-6)


def test_vehicle_capacitance_behind_the_diode_slows_the_rise_only() -> None:
    """On the way down it holds the far side of the diode up, which blocks at once."""
    load = Ladder().load("C")
    bare = PilotCircuit(Source(), load)
    behind = PilotCircuit(Source(), Load(load.ladder_ohm, behind_diode_f=2.4e-9))
    assert behind.high_v == bare.high_v
    assert behind.rise().transition_us() > 1.5 * bare.rise().transition_us()
    assert behind.fall().transition_us() < bare.fall().transition_us()


def test_width_shift_of_the_largest_capacitance() -> None:
    """Charger and cable of 3.1 nF take about 0.5, 1.0 and 1.5 us off in B, C and D.

    Recomputed with ngspice (`fixtures/ngspice`): 0.50, 0.96 and 1.41 us behind a rise of 2 us.
    """
    source = Source(rise_us=2.0, capacitance_f=3.1e-9)
    shifts = [PilotCircuit(source, Ladder().load(rung)).width_shift_us(0.0) for rung in "BCD"]
    assert shifts == pytest.approx([-0.50, -0.96, -1.41], abs=0.01)
    assert PilotCircuit(source).width_shift_us(0.0) == pytest.approx(0.0, abs=1e-6)


def test_it_tends_to_the_closed_form_of_the_synthetic_waves() -> None:
    """An ideal knee and a generator without rise: `pilotsignal.synth_wave.Circuit`."""
    ideal = ClosedForm(load_ohm=882.0, capacitance_f=1.5e-9).wave(1000.0, 300.0)
    stiff = Diode(saturation_a=1e-300, emission_v=0.7 / math.log(5e-3 / 1e-300))
    circuit = PilotCircuit(Source(rise_us=0.0, capacitance_f=1.5e-9), Load(882.0), stiff)
    ours = circuit.wave(1000.0, 300.0).truth()
    theirs = ideal.truth()
    assert ours.high_plateau_v == pytest.approx(theirs.high_plateau_v, abs=2e-3)
    for name in ("rise_time_us", "fall_time_us", "pulse_width_zero_us", "pulse_width_mid_us"):
        assert getattr(ours, name) == pytest.approx(getattr(theirs, name), abs=2e-3), name


def test_its_waves_can_be_recorded_and_measured() -> None:
    circuit = PilotCircuit(Source(capacitance_f=1.6e-9), Ladder(input_ohm=1e6).load("C"))
    wave = circuit.wave(1000.3, 266.7)
    capture, truth = synthesise(wave, Sampling(1e-6, 50_000, noise_v=0.01))
    found = measure(capture)
    for name in ("high_plateau_v", "low_plateau_v", "rise_time_us", "pulse_width_zero_us"):
        quantity = found.quantities()[name]
        assert quantity is not None, name
        # One of them in twenty may lie beyond U, none beyond twice that.
        assert abs(quantity.value - getattr(truth, name)) <= 2.0 * quantity.expanded(), name
    assert truth.pulse_width_zero_us == pytest.approx(266.7 + circuit.width_shift_us(0.0))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Source(ohm=0.0), "source resistance of 0 ohm"),
        (lambda: Source(capacitance_f=math.nan), "capacitance of nan F"),
        (lambda: Source(rise_us=-1.0), "cannot rise in -1 us"),
        (lambda: Source(high_v=-12.0, low_v=12.0), "must lie above"),
        (lambda: Load(ladder_ohm=-1.0), "load of -1 ohm"),
        (lambda: Load(behind_diode_f=math.inf), "capacitance of inf F"),
        (lambda: Ladder().load("E"), "no rung 'E'"),
        (lambda: PilotCircuit(Source(), Load(short_ohm=80.0)).width_shift_us(5.0), "does not pass"),
        (lambda: Diode(0.0, 0.03), "cannot be"),
    ],
)
def test_what_cannot_be_is_refused(make: object, said: str) -> None:
    assert callable(make)
    with pytest.raises(CircuitError, match=said):
        make()


def test_the_nominal_diode_is_that_of_the_standard() -> None:
    """IEC 61851-1:2017 Table A.3: 0.55 to 0.85 V from 2.75 to 10 mA."""
    assert FAST_SILICON.drop(5e-3) == pytest.approx(0.70, abs=1e-3)
    assert 0.55 < FAST_SILICON.drop(2.75e-3) < FAST_SILICON.drop(10e-3) < 0.85

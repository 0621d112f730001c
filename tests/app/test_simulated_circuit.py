"""The simulated pilot circuit against figures worked out by hand, and against ngspice."""

import importlib.util
import json
import math
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rungbench.simulated.circuit import Edge, Load, PilotCircuit, Source
from rungbench.simulated.diode import FAST_DIODE, Diode
from rungbench.simulated.pilot import front_end

LOADS = {
    "open": Load(),
    "B": Load(2740.0),
    "C": Load(1 / (1 / 2740 + 1 / 1300)),
    "D": Load(1 / (1 / 2740 + 1 / 270)),
    "B without diode": Load(2740.0, diode_in=False),
    "short": Load(short_ohm=80.0),
}
FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "ngspice"
DOCUMENT: dict[str, Any] = json.loads((FOLDER / "pilot_vectors.json").read_text("utf-8"))


def vector_name(vector: dict[str, Any]) -> str:
    return f"{vector['load']}, {vector['capacitance_pf']:.0f} pF"


def circuit(capacitance_pf: float = 300.0, diode: Diode = FAST_DIODE) -> PilotCircuit:
    source = Source(
        DOCUMENT["source_ohm"], DOCUMENT["generator_rise_us"] * 1e-6, capacitance_pf * 1e-12
    )
    return PilotCircuit(source, diode)


def transition_us(edge: Edge) -> float:
    """From 10 to 90 % of the way."""
    start, swing = edge.volts[0], edge.volts[-1] - edge.volts[0]
    early, late = edge.crossing(start + 0.1 * swing), edge.crossing(start + 0.9 * swing)
    assert early is not None
    assert late is not None
    return (late - early) * 1e6


# IEC 61851-1:2017 Table A.9: ladder for the edges of the windows; 12 V, 1 kohm, 0.70 V. Each
# plateau worked out by hand as U_d + (12 - U_d) R / (R + 1000), R the parallel resistance.
@pytest.mark.parametrize(
    ("permanent", "switched", "plateau"),
    [
        (1870, math.inf, 8.063),
        (2740, math.inf, 8.979),
        (4610, math.inf, 9.986),
        (1870, 909, 4.989),
        (2740, 1300, 5.995),
        (4610, 1723, 6.987),
        (1870, 140, 2.002),
        (2740, 270, 2.929),
        (4610, 448, 3.976),
    ],
)
def test_plateaus_of_the_window_edge_ladders(
    permanent: float, switched: float, plateau: float
) -> None:
    # A diode that holds 0.70 V whatever flows, as in the hand calculation.
    stiff = Diode(saturation_a=1e-30, emission_v=0.7 / math.log(5e-3 / 1e-30), series_ohm=0.0)
    load = Load(1 / (1 / permanent + 1 / switched))
    # 1 Mohm of the measuring path takes at most 12 mV off.
    assert circuit(diode=stiff).plateau(12.0, load) == pytest.approx(plateau, abs=0.02)
    assert circuit().plateau(12.0, load) == pytest.approx(plateau, abs=0.03)


# IEC 61851-1:2017 Table A.3: 0.55 to 0.85 V from 2.75 to 10 mA.
@pytest.mark.parametrize("milliampere", [2.75, 5.0, 10.0])
def test_the_diode_drops_what_the_standard_allows(milliampere: float) -> None:
    assert 0.55 <= FAST_DIODE.drop(milliampere / 1e3) <= 0.85


def test_the_diode_drops_0_70_v_at_5_ma() -> None:
    assert FAST_DIODE.drop(5e-3) == pytest.approx(0.70, abs=1e-4)


@pytest.mark.parametrize("behind_v", [0.05, 0.5, 0.7, 3.0, 12.0])
@pytest.mark.parametrize("ohm", [100.0, 1000.0, 5000.0])
def test_the_current_through_diode_and_resistor_balances(behind_v: float, ohm: float) -> None:
    current = FAST_DIODE.current(behind_v, ohm)
    assert FAST_DIODE.drop(current) + current * ohm == pytest.approx(behind_v, rel=1e-9)


def test_short_and_open_by_hand() -> None:
    # 12 V x 80 / 1080 and 12 V x 1 Mohm / 1.001 Mohm.
    assert circuit().plateau(12.0, LOADS["short"]) == pytest.approx(0.8888, abs=1e-3)
    assert circuit().plateau(-12.0, LOADS["short"]) == pytest.approx(-0.8888, abs=1e-3)
    assert circuit().plateau(12.0, LOADS["open"]) == pytest.approx(11.988, abs=1e-3)


def test_the_diode_holds_the_low_plateau_and_its_bypass_pulls_it_up() -> None:
    for rung in ("B", "C", "D"):
        assert circuit().plateau(-12.0, LOADS[rung]) == pytest.approx(-11.988, abs=1e-3)
    # -12 V x 2740 / 3740
    bypassed = circuit().plateau(-12.0, LOADS["B without diode"])
    assert bypassed == pytest.approx(-8.791, abs=0.008)


def test_a_pole_below_the_knee_and_another_above_it() -> None:
    edge = circuit(3100.0).edge(12.0, -12.0, LOADS["D"])
    volts, times = edge.volts, edge.times
    end = float(volts[-1])
    # Behind the ramp and below the knee: R1 C, by two points of an exponential.
    below = (volts < -2.0) & (volts > end + 0.1) & (times > 3e-6)
    slope = np.polyfit(times[below], np.log(volts[below] - end), 1)[0]
    assert -1 / slope == pytest.approx(1000.0 * 3100e-12, rel=0.01)
    rise = circuit(3100.0).edge(-12.0, 12.0, LOADS["D"])
    top = float(rise.volts[-1])
    above = (rise.volts > 1.5) & (rise.volts < top - 0.02) & (rise.times > 3e-6)
    slope = np.polyfit(rise.times[above], np.log(top - rise.volts[above]), 1)[0]
    parallel = 1 / (1 / 1000 + 1 / 2740 + 1 / 270)
    assert -1 / slope == pytest.approx(parallel * 3100e-12, rel=0.05)


@pytest.mark.parametrize("vector", DOCUMENT["vectors"], ids=vector_name)
def test_plateaus_and_edges_agree_with_ngspice(vector: dict[str, Any]) -> None:
    ours, load = circuit(vector["capacitance_pf"]), LOADS[vector["load"]]
    rail = DOCUMENT["rail_v"]
    assert ours.plateau(rail, load) == pytest.approx(vector["high_plateau_v"], abs=0.005)
    assert ours.plateau(-rail, load) == pytest.approx(vector["low_plateau_v"], abs=0.005)
    rise, fall = ours.edge(-rail, rail, load), ours.edge(rail, -rail, load)
    assert transition_us(rise) == pytest.approx(vector["rise_us"], rel=0.03)
    assert transition_us(fall) == pytest.approx(vector["fall_us"], rel=0.03)
    up, down = rise.crossing(0.0), fall.crossing(0.0)
    assert up is not None
    assert down is not None
    width_us = DOCUMENT["generator_width_us"] + (down - up) * 1e6
    assert width_us == pytest.approx(vector["width_us"], abs=0.05)


def test_the_vectors_cover_what_they_should() -> None:
    found = {(vector["load"], vector["capacitance_pf"]) for vector in DOCUMENT["vectors"]}
    assert found == {(load, pf) for load in LOADS for pf in (300.0, 1600.0, 3100.0)}


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_the_vectors_are_what_ngspice_computes_now() -> None:
    spec = importlib.util.spec_from_file_location("make_vectors", FOLDER / "make_vectors.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    fresh = script.run("C", 1600.0)
    kept = next(
        vector
        for vector in DOCUMENT["vectors"]
        if (vector["load"], vector["capacitance_pf"]) == ("C", 1600.0)
    )
    for field in ("high_plateau_v", "low_plateau_v"):
        assert getattr(fresh, field) == pytest.approx(kept[field], abs=1e-4)
    for field in ("rise_us", "fall_us", "width_us"):
        assert getattr(fresh, field) == pytest.approx(kept[field], abs=1e-3)


def test_the_front_end_delays_a_ramp_by_its_time_constant() -> None:
    times = np.linspace(0.0, 10e-6, 2001)
    seen = front_end(Edge(times, times * 1e6), 0.1e-6)
    # A one-pole filter follows a ramp one time constant behind.
    assert seen.volts[1000] == pytest.approx(times[1000] * 1e6 - 0.1, abs=1e-6)


@pytest.mark.parametrize("rise_us", [0.0, 20.0])
@pytest.mark.parametrize("load", LOADS.values(), ids=LOADS.keys())
def test_edges_settle_for_any_generator(rise_us: float, load: Load) -> None:
    ours = PilotCircuit(Source(1000.0, rise_us * 1e-6, 150e-12))
    edge = ours.edge(-12.0, 12.0, load)
    assert np.all(np.diff(edge.times) > 0)
    assert np.all(np.diff(edge.volts) > -1e-6)
    assert edge.volts[-2] == pytest.approx(ours.plateau(12.0, load), abs=0.002)

"""The pilot circuit against another solver.

Source: ngspice 39 (Debian 12), `fixtures/ngspice/make_vectors.py`, a netlist that shares nothing
with the program.  Asked for: plateaus within 5 mV, edge times within 3 %, width shifts within
0.05 us.
"""

import dataclasses
import importlib.util
import json
import shutil
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from pilotsignal.circuit import LADDERS, Ladder, Load, PilotCircuit, Source
from pilotsignal.diode import Diode

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "ngspice"
DOCUMENT: dict[str, Any] = json.loads((FOLDER / "pilot_vectors.json").read_text("utf-8"))
# Constants of CODATA 2018: k/e in V/K; ngspice runs at 27 degrees Celsius.
THERMAL_V = 8.617333e-5 * 300.15
# The model card in the netlist: IS, N and RS.
DIODE = Diode(4.4813e-14, 1.05935 * THERMAL_V, 0.6)
WIDTH_US = DOCUMENT["generator_width_us"]
LIVE = [("open", 3100.0), ("D", 300.0), ("B without diode", 1600.0), ("short", 300.0)]


def nominal(load: str, capacitance_pf: float) -> PilotCircuit:
    """The circuit of one of the eighteen vectors."""
    rail = DOCUMENT["rail_v"]
    source = Source(
        DOCUMENT["source_ohm"],
        rail,
        -rail,
        DOCUMENT["generator_rise_us"],
        capacitance_pf * 1e-12,
    )
    ladder = Ladder(input_ohm=DOCUMENT["sense_ohm"])
    return PilotCircuit(source, ladder.load(load.split()[0], diode_in="without" not in load), DIODE)


def other(vector: dict[str, Any]) -> PilotCircuit:
    """The circuit of a vector that says everything itself."""
    rung, *which = vector["load"].split()
    ladder = LADDERS[which[0] if which else "nominal"]
    bare = ladder.load(rung)
    load = Load(
        bare.ladder_ohm,
        input_ohm=DOCUMENT["sense_ohm"],
        before_diode_f=vector["before_diode_pf"] * 1e-12,
        behind_diode_f=vector["behind_diode_pf"] * 1e-12,
    )
    source = Source(
        vector["source_ohm"],
        vector["high_v"],
        vector["low_v"],
        0.8 * vector["ramp_us"],
        vector["capacitance_pf"] * 1e-12,
    )
    return PilotCircuit(source, load, DIODE)


def assert_agrees(circuit: PilotCircuit, vector: dict[str, Any]) -> None:
    assert circuit.high_v == pytest.approx(vector["high_plateau_v"], abs=0.005)
    assert circuit.low_v == pytest.approx(vector["low_plateau_v"], abs=0.005)
    assert circuit.rise().transition_us() == pytest.approx(vector["rise_us"], rel=0.03)
    assert circuit.fall().transition_us() == pytest.approx(vector["fall_us"], rel=0.03)
    zero_us, middle_us = circuit.width_shift_us(0.0), circuit.width_shift_us()
    assert WIDTH_US + zero_us == pytest.approx(vector["width_us"], abs=0.05)
    assert WIDTH_US + middle_us == pytest.approx(vector["width_mid_us"], abs=0.05)


def name_of(vector: dict[str, Any]) -> str:
    behind = vector.get("behind_diode_pf", 0.0)
    beside = f", {behind:.0f} pF behind" if behind else ""
    return f"{vector['load']}, {vector['capacitance_pf']:.0f} pF{beside}"


@pytest.mark.parametrize("vector", DOCUMENT["vectors"], ids=name_of)
def test_all_rungs_and_three_capacitances(vector: dict[str, Any]) -> None:
    assert_agrees(nominal(vector["load"], vector["capacitance_pf"]), vector)


@pytest.mark.parametrize("vector", DOCUMENT["others"], ids=name_of)
def test_vehicle_capacitance_and_sources_at_their_limits(vector: dict[str, Any]) -> None:
    assert_agrees(other(vector), vector)


@pytest.mark.parametrize("vector", DOCUMENT["others"], ids=name_of)
def test_samples_of_both_edges(vector: dict[str, Any]) -> None:
    times = np.array(DOCUMENT["samples_us"])
    circuit = other(vector)
    np.testing.assert_allclose(circuit.rise().volts_at(times), vector["rise_v"], atol=0.005)
    np.testing.assert_allclose(circuit.fall().volts_at(times), vector["fall_v"], atol=0.005)


def test_it_is_the_same_circuit_and_not_only_a_similar_one() -> None:
    """Far inside what is asked for: 0.05 mV, 0.01 % and 0.1 ns at the worst of the vectors."""
    for vector in DOCUMENT["vectors"]:
        circuit = nominal(vector["load"], vector["capacitance_pf"])
        assert circuit.high_v == pytest.approx(vector["high_plateau_v"], abs=5e-5)
        assert circuit.rise().transition_us() == pytest.approx(vector["rise_us"], rel=1e-4)
        assert circuit.fall().transition_us() == pytest.approx(vector["fall_us"], rel=1e-4)
        assert WIDTH_US + circuit.width_shift_us(0.0) == pytest.approx(vector["width_us"], abs=1e-4)


def test_a_wrong_capacitance_would_be_noticed() -> None:
    vector = next(
        one for one in DOCUMENT["vectors"] if one["load"] == "C" and one["capacitance_pf"] == 1600.0
    )
    with pytest.raises(AssertionError):
        assert_agrees(nominal("C", 1.1 * vector["capacitance_pf"]), vector)


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_vectors", FOLDER / "make_vectors.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize(("load", "capacitance_pf"), LIVE)
def test_ngspice_says_so_today(script: ModuleType, load: str, capacitance_pf: float) -> None:
    fresh = script.run(load, capacitance_pf)
    figures = dataclasses.asdict(fresh)
    assert_agrees(nominal(load, capacitance_pf), figures)
    kept = next(
        one
        for one in DOCUMENT["vectors"]
        if (one["load"], one["capacitance_pf"]) == (load, capacitance_pf)
    )
    assert figures == pytest.approx(kept, abs=1e-3)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_ngspice_says_so_today_of_a_capacitance_behind_the_diode(script: ModuleType) -> None:
    circuit = next(one for one in script.others() if one.behind_diode_pf and one.load == "C")
    fresh = script.run_other(circuit)
    assert_agrees(other(fresh), fresh)

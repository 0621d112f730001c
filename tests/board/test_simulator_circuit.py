"""The simulator's own pilot circuit against ngspice, and its comparator against arithmetic.

`fixtures/ngspice` holds what ngspice computes for the circuit of IEC 61851-1:2017 Annex A, from a
netlist that shares nothing with the project.
"""

import json
import math
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from board_simulator.build import built

Floats = npt.NDArray[np.float64]

# The diode of the netlist, with its 0.6 ohm in series, and kT/q as the simulator has it.
DIODE_N, DIODE_IS, DIODE_OHM, THERMAL_V = 1.05935, 4.4813e-14, 0.6, 0.02585
DIODE_V = DIODE_N * THERMAL_V * math.log(6e-3 / DIODE_IS)
LADDER_OHM = {"B": 2740.0, "C": 2740 * 1300 / 4040, "D": 2740 * 270 / 3010}
RAMP_US = 2.5
VECTORS = json.loads(
    (Path(__file__).parents[2] / "fixtures/ngspice/pilot_vectors.json").read_text("utf-8")
)["vectors"]


def load_words(load: str) -> list[str]:
    if load in LADDER_OHM:
        return [str(LADDER_OHM[load] + DIODE_OHM), "DIODE", "1e6"]
    if load == "B without diode":
        return ["2740", "bypass", "1e6"]
    return ["none", "DIODE", "1e6" if load == "open" else str(1 / (1 / 80 + 1e-6))]


def step(vector: dict[str, Any], rises: bool, *traits: str) -> tuple[Floats, Floats, Floats]:
    """Time in us, contact and front end in V, while the source goes from rail to rail."""
    rails = ["-12", "12"] if rises else ["12", "-12"]
    circuit = [
        "source_ohm=1000", "board_pf=10", f"cs_pf={vector['capacitance_pf'] - 10}",
        f"diode_n={DIODE_N}", f"diode_v={DIODE_V:.9f}", *traits,
    ]  # fmt: skip
    words = ["shape", *load_words(vector["load"]), *rails, str(RAMP_US), *circuit]
    done = subprocess.run(
        [str(built().circuit_probe), *words], capture_output=True, text=True, check=True
    )
    table = np.array([[float(one) for one in line.split()] for line in done.stdout.splitlines()])
    return table[:, 0], table[:, 1], table[:, 2]


def crossing(time: Floats, volts: Floats, level: float) -> float:
    sign = 1.0 if volts[-1] > volts[0] else -1.0
    return float(np.interp(sign * level, sign * volts, time))


@pytest.mark.parametrize(
    "vector", VECTORS, ids=lambda v: f"{v['load']}, {v['capacitance_pf']:g} pF"
)
def test_it_is_the_circuit_that_ngspice_solves(vector: dict[str, Any]) -> None:
    rise, fall = step(vector, True), step(vector, False)
    low, high = vector["low_plateau_v"], vector["high_plateau_v"]
    assert rise[1][-1] == pytest.approx(high, abs=0.001)
    assert fall[1][-1] == pytest.approx(low, abs=0.001)
    ten, ninety = low + 0.1 * (high - low), low + 0.9 * (high - low)
    for (time, volts, _), named in ((rise, "rise_us"), (fall, "fall_us")):
        took = abs(crossing(time, volts, ninety) - crossing(time, volts, ten))
        assert took == pytest.approx(vector[named], abs=0.010)
    for level, named in ((0.0, "width_us"), ((low + high) / 2, "width_mid_us")):
        width = 120.0 + crossing(*fall[:2], level) - crossing(*rise[:2], level)
        assert width == pytest.approx(vector[named], abs=0.005)


@pytest.mark.parametrize("front_us", [0.05, 0.1, 1.0])
def test_the_front_end_is_a_low_pass_of_one_pole(front_us: float) -> None:
    vector = {"load": "C", "capacitance_pf": 700.0}
    time, volts, front = (column[:-1] for column in step(vector, True, f"front_us={front_us}"))
    # Exact for a contact that goes straight from one line of the table to the next.
    seen = [volts[0]]
    for before, after in zip(volts[:-1], volts[1:], strict=True):
        slope = (after - before) / 0.05
        decay = math.exp(-0.05 / front_us)
        settled = after - slope * front_us
        seen.append(settled + (seen[-1] - (before - slope * front_us)) * decay)
    assert front == pytest.approx(np.array(seen), abs=0.012)


def edges(seconds: float, *traits: str) -> tuple[Floats, Floats, float, float]:
    """Rising and falling edges of the comparator at B, and period and width as they were."""
    quiet = ["noise_v=0", "jitter_us=0", "threshold_mv=0", "hysteresis_mv=0", "delay_ns=0"]
    done = subprocess.run(
        [str(built().circuit_probe), "edges", str(seconds), *quiet, "skew_ns=0", *traits],
        capture_output=True,
        text=True,
        check=True,
    )
    *lines, truth = done.stdout.splitlines()
    told = [line.split() for line in lines][1:]
    rising = np.array([float(at) for at, level in told if level == "1"])
    falling = np.array([float(at) for at, level in told if level == "0"])
    _, period, width = truth.split()
    return rising, falling, float(period), float(width)


def mean_width(rising: Floats, falling: Floats) -> float:
    first = falling[falling > rising[0]]
    count = min(first.size, rising.size)
    return float(np.mean(first[:count] - rising[:count]))


def test_pulses_have_the_frequency_and_the_duty_that_were_set() -> None:
    rising, falling, period, width = edges(2.0, "frequency_hz=1001.7", "set_a=24", "front_us=0.01")
    assert period == pytest.approx(1e6 / 1001.7, abs=1e-6)
    assert np.diff(rising) == pytest.approx(1e6 / 1001.7, abs=1e-4)
    # 24 A is 40 %, IEC 61851-1:2017 Table A.7; the generator's width counts before the capacitance.
    assert width == pytest.approx(0.4e6 / 1001.7, abs=0.5)
    assert mean_width(rising, falling) == pytest.approx(width, abs=0.002)


def test_skew_and_threshold_bias_the_width_as_arithmetic_says() -> None:
    plain = edges(2.0)
    skewed = edges(2.0, "skew_ns=40", "delay_ns=100")
    # Falling edges come 40 ns later than rising ones.
    bias = mean_width(*skewed[:2]) - mean_width(*plain[:2])
    assert bias == pytest.approx(0.040, abs=1e-4)
    assert skewed[3] == pytest.approx(plain[3], abs=1e-6), "the truth does not know the comparator"
    shifted = edges(2.0, "threshold_mv=400")
    # Both edges pass 0 V with 10 V/us and more: 0.4 V shortens the pulse by up to 0.08 us.
    assert -0.09 < mean_width(*shifted[:2]) - mean_width(*plain[:2]) < -0.03


def test_noise_at_a_missing_low_rail_makes_the_comparator_chatter() -> None:
    rising, falling, _, _ = edges(0.7, "voc_low_v=0", "noise_v=0.02", "hysteresis_mv=20")
    assert rising.size + falling.size > 5_000
    sound = edges(0.7, "noise_v=0.02", "hysteresis_mv=20")
    assert sound[0].size + sound[1].size < 500

"""What load and wear do to the simulated charger: each key against a figure worked out by hand.

The circuit is that of IEC 61851-1:2017, figure A.1: a rail behind the source resistor, then a diode
and the ladder.  The numbers are the keys' own.
"""

import numpy as np
import pytest
from simulated_run import OPEN, VOLT_TOLERANCE, B, C, D, SimulatedRun, simulated

from rungbench.link.messages import Rung, Setting
from rungbench.simulated.traits import KEYS, Traits

SOURCE_OHM, DROP_V = 1000.0, 0.70
# IEC 61851-1:2017 Table A.3: the permanent resistor, and what C and D put beside it.
PERMANENT_OHM, C_OHM, D_OHM = 2740.0, 1300.0, 270.0
# The diode's drop is 0.70 V at 5 mA only (Table A.3: 0.55 to 0.85 V): it moves a level by so much.
TOLERANCE_V = VOLT_TOLERANCE + 0.03


def divided(rail_v: float, ohm: float) -> float:
    """Level at the contact: the diode's drop, and the rest in proportion to the resistors."""
    return DROP_V + (rail_v - DROP_V) * ohm / (ohm + SOURCE_OHM)


def beside(ohm: float) -> float:
    return PERMANENT_OHM * ohm / (PERMANENT_OHM + ohm)


def pulsing(run: SimulatedRun, setting: Setting) -> tuple[float, float]:
    run.present(setting)
    run.listen(1.0)
    return run.plateaus()


@pytest.mark.parametrize(
    ("key", "setting", "level_v"),
    [
        ("high_sag_b_v", B, divided(11.5, PERMANENT_OHM)),
        ("high_sag_c_v", C, divided(11.5, beside(C_OHM))),
    ],
)
def test_a_rail_that_sags_is_divided_as_any_other(
    key: str, setting: Setting, level_v: float
) -> None:
    with simulated(f"{key}=0.5&voc_high_v=12&source_ohm=1000") as run:
        run.present(B)
        run.listen(1.0)
        assert pulsing(run, setting)[0] == pytest.approx(level_v, abs=TOLERANCE_V)


def test_a_rail_sags_in_its_own_state_only() -> None:
    with simulated("high_sag_b_v=0.5&voc_high_v=12&source_ohm=1000") as run:
        assert run.plateaus()[0] == pytest.approx(12.0, abs=VOLT_TOLERANCE)
        pulsing(run, B)
        in_c = pulsing(run, C)[0]
        assert in_c == pytest.approx(divided(12.0, beside(C_OHM)), abs=TOLERANCE_V)
        in_d = pulsing(run, D)[0]
        assert in_d == pytest.approx(divided(12.0, beside(D_OHM)), abs=TOLERANCE_V)


def test_a_low_rail_that_sags_is_not_divided() -> None:
    """The diode keeps the ladder off the low half: what is left of the rail shows as it is."""
    with simulated("low_sag_b_v=0.6&voc_low_v=-12") as run:
        assert pulsing(run, B)[1] == pytest.approx(-11.4, abs=VOLT_TOLERANCE)
        assert pulsing(run, C)[1] == pytest.approx(-12.0, abs=VOLT_TOLERANCE)


def test_what_stands_across_the_pilot_takes_from_the_low_plateau() -> None:
    """A ladder without its diode loads both halves: -12 V x 2740 / 3740."""
    with simulated("voc_low_v=-12&source_ohm=1000&checks_diode=no") as run:
        run.present(B)
        run.listen(1.0)
        low = pulsing(run, Setting(Rung.B, diode_in=False))[1]
        assert low == pytest.approx(-12.0 * 2740 / 3740, abs=VOLT_TOLERANCE)


def test_it_offers_no_less_than_its_lowest() -> None:
    found = []
    for ampere in (6, 16):
        with simulated(f"lowest_a=9&set_a={ampere}") as run:
            run.present(B)
            run.listen(1.0)
            pulses = run.pulses()
            assert pulses is not None
            found.append(pulses.duty_percent)
    # IEC 61851-1:2017 Table A.7: 9 A is 15 %, 16 A is 26.67 %.
    assert found == pytest.approx([15.0, 26.67], abs=0.05)


@pytest.mark.parametrize("late_s", [0.0, 0.4])
def test_the_third_phase_may_come_late(late_s: float) -> None:
    with simulated(f"late_on_s={late_s}&close_s=0.5") as run:
        run.present(B)
        run.listen(1.0)
        on = run.mains_on_after(C, 2.0)
        # A sense sees a phase at its next half wave: 10 ms at 50 Hz.
        assert on[1] == pytest.approx(0.5, abs=0.015)
        assert on[2] == pytest.approx(0.5, abs=0.015)
        assert on[3] == pytest.approx(0.5 + late_s, abs=0.015)


@pytest.mark.parametrize("late_ms", [0.0, 60.0])
def test_the_third_phase_may_go_late(late_ms: float) -> None:
    with simulated(f"late_off_ms={late_ms}&unplug_ms=30") as run:
        run.charge()
        off = run.mains_off_after(OPEN, 1.0)
        assert off[1] == pytest.approx(0.030, abs=0.012)
        assert off[2] == pytest.approx(0.030, abs=0.012)
        assert off[3] - off[1] == pytest.approx(late_ms / 1e3, abs=0.012)


@pytest.mark.parametrize("phase", [1, 2, 3])
def test_one_phase_may_be_missing(phase: int) -> None:
    with simulated(f"missing_phase={phase}") as run:
        run.present(B)
        run.listen(1.0)
        assert set(run.mains_on_after(C, 2.0)) == {1, 2, 3} - {phase}


def test_hum_rides_on_both_plateaus() -> None:
    """An amplitude of 0.2 V has a deviation of 0.2 / sqrt 2 = 0.141 V at the open contact."""
    with simulated("hum_v=0.2&noise_v=0&dither_v=0") as run:
        volts = run.volts(1.0)
        assert float(np.std(volts)) == pytest.approx(0.1414, abs=0.005)
        assert float(np.ptp(volts)) == pytest.approx(0.4, abs=0.05)


@pytest.mark.parametrize(
    ("key", "less_v"), [("high_sag_b_v", 0.9), ("high_sag_b1_v", 0.9)], ids=["with", "without"]
)
def test_pulses_tell_which_of_two_sags_counts_in_b(key: str, less_v: float) -> None:
    """B with pulses and B without them load the rail by sags of their own."""
    with simulated(f"{key}={less_v}&voc_high_v=12&source_ohm=1000") as run:
        with_pulses = pulsing(run, B)[0]
        run.hand.change(offers="no")
        run.listen(1.0)
        without = run.plateaus()[0]
    sags, whole = divided(12.0 - less_v, PERMANENT_OHM), divided(12.0, PERMANENT_OHM)
    expected = (sags, whole) if key == "high_sag_b_v" else (whole, sags)
    assert (with_pulses, without) == pytest.approx(expected, abs=TOLERANCE_V)


def test_no_load_and_no_wear_is_the_default() -> None:
    """What load and wear add is nothing unless it is asked for."""
    worn = [key for key in KEYS if "sag" in key or key.startswith("late_") or "error_us" in key]
    assert len(worn) == 9
    assert all(getattr(Traits(), key) == 0.0 for key in worn)

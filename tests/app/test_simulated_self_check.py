"""Keys of the simulated bench for its own board: calibrator, clock, converter, temperature."""

import numpy as np
import pytest
from simulated_run import simulated

from rungbench.errors import WrongUse
from rungbench.link.messages import Health
from rungbench.simulated.parts import parts_of
from rungbench.simulated.traits import traits_of

STEP_V = 30.0 / 1023.0


@pytest.mark.parametrize("volts", [-12.0, 0.0, 9.0])
def test_a_calibrator_applies_a_level(volts: float) -> None:
    with simulated(f"applied_v={volts}&seed=3") as run:
        mean = float(np.mean(run.volts(1.0)))
        assert run.pulses(0.2) is None
    true = parts_of(3)
    # What the board's own gain and offset make of it; 0.7 steps of noise average out.
    assert mean == pytest.approx(volts * true.gain + true.offset_v, abs=0.1 * STEP_V)


def test_a_calibrator_applies_pulses() -> None:
    with simulated("applied_hz=800&applied_width_us=312.5&clock_ppm=100") as run:
        pulses = run.pulses(1.0)
        high, low = run.plateaus()
    assert pulses is not None
    assert pulses.frequency_hz == pytest.approx(800 / (1 + 100e-6), rel=2e-6)
    true = parts_of(1)
    skew_us = (true.fall_delay_s - true.rise_delay_s) * 1e6
    assert float(np.mean(pulses.widths_us)) == pytest.approx(312.5 + skew_us, abs=0.06)
    assert (high, low) == pytest.approx((10.0, -10.0), abs=0.1)


def test_the_level_can_change_while_the_bench_is_open() -> None:
    with simulated("applied_v=3") as run:
        before = float(np.mean(run.volts(0.3)))
        run.hand.change(applied_v=6)
        run.listen(0.1)
        assert float(np.mean(run.volts(0.3))) - before == pytest.approx(3.0, abs=0.05)
        with pytest.raises(WrongUse, match="clock_ppm cannot change"):
            run.hand.change(clock_ppm=3)


@pytest.mark.parametrize("dither_v", [0.0, 0.022, 0.06])
def test_dither_is_a_deviation_at_the_contact(dither_v: float) -> None:
    with simulated(f"applied_v=5&dither_v={dither_v}") as run:
        deviation = float(np.std(run.volts(1.0)))
    if dither_v == 0.0:
        assert deviation == 0.0
    else:
        # Rounding adds a twelfth of a step, squared (JCGM 100:2008, F.2.2.1).
        assert deviation == pytest.approx((dither_v**2 + STEP_V**2 / 12) ** 0.5, rel=0.03)


def test_a_bow_bends_the_line() -> None:
    means = []
    for volts in (-12, 0, 12):
        with simulated(f"applied_v={volts}&bow_v=0.2") as run:
            means.append(float(np.mean(run.volts(0.3))))
    # 1 - (12 / 15)^2 of it at 12 V, all of it at 0 V.
    assert means[1] - (means[0] + means[2]) / 2 == pytest.approx(0.2 * 0.64, abs=0.01)


def test_a_missing_code_never_comes() -> None:
    counts = {}
    for missing in ("never", "682"):
        with simulated(f"applied_v=5&missing_code={missing}") as run:
            volts = run.volts(1.0)
        counts[missing] = np.rint((volts + 15.0) / STEP_V).astype(int)
    assert 682 in counts["never"]
    assert 682 not in counts["682"]
    assert 683 in counts["682"]


def test_the_board_says_who_and_how_warm_it_is() -> None:
    with simulated("board_id=RB-0042&temperature_c=31.5") as run:
        assert run.hello().board_id == "RB-0042"
        assert run.wait(Health).temperature_c == 31.5
    # Hidden errors follow the seed, so that another seed is another board.
    assert traits_of("sim://sound").board_name == "SIMULATED"
    assert traits_of("sim://sound?seed=2").board_name == "SIM-2"
    assert len(traits_of("sim://sound?seed=4294967295").board_name) <= 12
    with pytest.raises(WrongUse, match="1 to 12 letters"):
        traits_of("sim://sound?board_id=a%20b")

"""The simulated calibration and the board's hidden truth."""

from datetime import date

import numpy as np
import pytest
from simulated_run import simulated

from rungbench.link.words import LadderSet
from rungbench.simulated.calibration import simulated_bench_calibration
from rungbench.simulated.parts import parts_of

SEEDS = range(300)


def test_it_says_that_it_is_simulated_and_is_dated() -> None:
    calibration = simulated_bench_calibration()
    assert "SIMULATED" in calibration.id
    assert calibration.volts.simulated
    assert calibration.volts.described
    assert calibration.volts.valid_on(date(2026, 6, 1))
    assert calibration.volts.made is not None
    assert calibration.volts.valid_until is not None
    assert calibration.time_base.kind == "crystal"
    ids = [part.id for part in calibration.parts.values()]
    assert len(set(ids)) == len(ids)


def covered(errors: list[float], u: float) -> float:
    """Part of the errors that lie within two standard uncertainties."""
    return float(np.mean(np.abs(errors) <= 2 * u * (1 + 1e-9)))


def test_the_hidden_errors_lie_within_what_is_stated() -> None:
    calibration = simulated_bench_calibration()
    parts = [parts_of(seed) for seed in SEEDS]
    u_gain, u_offset = calibration.volts.u_gain_relative, calibration.volts.u_offset_v
    u_clock = calibration.time_base.u_relative
    assert u_gain is not None
    assert u_offset is not None
    assert u_clock is not None
    assert covered([part.gain - 1 for part in parts], u_gain) == 1.0
    assert covered([part.offset_v for part in parts], u_offset) == 1.0
    assert covered([part.clock for part in parts], u_clock) == 1.0
    bias = calibration.width_bias[""]
    skews = [(part.fall_delay_s - part.rise_delay_s) * 1e6 - bias.bias_us for part in parts]
    assert covered(skews, bias.u_us) == 1.0
    for name, which in (("permanent", LadderSet.NOMINAL), ("permanent_low", LadderSet.LOW)):
        known = calibration.parts[name]
        values = [part.permanent_ohm[which] - known.value for part in parts]
        assert covered(values, known.u) == 1.0


def test_the_hidden_errors_are_no_smaller_than_stated_either() -> None:
    calibration = simulated_bench_calibration()
    parts = [parts_of(seed) for seed in SEEDS]
    gains = np.std([part.gain for part in parts]) / (calibration.volts.u_gain_relative or 0)
    offsets = np.std([part.offset_v for part in parts]) / (calibration.volts.u_offset_v or 0)
    # A normal distribution cut at two deviations has 0.96 of them.
    assert gains == pytest.approx(0.96, abs=0.1)
    assert offsets == pytest.approx(0.96, abs=0.1)


def test_the_diode_lies_within_what_is_stated_on_every_rung() -> None:
    parts = simulated_bench_calibration().parts
    # Currents of B, C and D at 12 V and 1 kohm (IEC 61851-1:2017 Tables A.2, A.3).
    for rung, ampere in (("b", 3.02e-3), ("c", 6.0e-3), ("d", 9.1e-3)):
        drops = [parts_of(seed).diode.drop(ampere) for seed in SEEDS]
        on_rung, anywhere = parts[f"diode_drop_{rung}"], parts["diode_drop"]
        assert covered([drop - on_rung.value for drop in drops], on_rung.u + 0.0003) == 1.0
        assert covered([drop - anywhere.value for drop in drops], anywhere.u) > 0.9


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_calibrated_volts_are_true_within_their_uncertainty(seed: int) -> None:
    line = simulated_bench_calibration().volts
    with simulated(f"voc_high_v=12&seed={seed}") as run:
        measured = float(np.mean(run.volts(1.0)))
    true = 12.0 * 1e6 / (1e6 + 1004.0)
    assert line.u_gain_relative is not None
    assert line.u_offset_v is not None
    u = float(np.hypot(line.u_gain_relative * true, line.u_offset_v))
    assert measured == pytest.approx(true, abs=2.5 * u)

"""Rows of a level: which there are, what they are called, and what correlation does."""

import math
from dataclasses import replace
from typing import Any

import pytest

from pilotsignal.budget import combine, derive
from pilotsignal.calibration import VoltCalibration
from pilotsignal.calibration_rows import volt_rows
from pilotsignal.errors import CalibrationError

FULL = VoltCalibration(
    "CAL-7",
    gain_v=0.03,
    offset_v=-15.0,
    u_gain_relative=4e-4,
    u_offset_v=3e-3,
    u_linearity_v=2e-3,
    dof=7.0,
    u_meter_relative=5e-4,
    u_meter_v=1.5e-3,
    made_at_c=23.0,
    drift_relative_per_k=2e-5,
    u_drift_v_per_k=1e-4,
    span_k=10.0,
    u_nonlinearity_lsb=0.3,
)

# Worked out by hand at 9 V: the field's uncertainty times what it does to a level of 9 V.
AT_9_V = {
    "gain@CAL-7": 4e-4 * 9.0,
    "offset@CAL-7": 3e-3,
    "meter@CAL-7": 5e-4 * 9.0,
    "meter-zero@CAL-7": 1.5e-3,
    "linearity-9V@CAL-7": 2e-3,
    "temperature-gain@CAL-7": 2e-5 * 10.0 * 9.0,
    "temperature-zero@CAL-7": 1e-4 * 10.0,
    "converter-9V@CAL-7": 0.3 * 0.03,
}


def test_all_rows_of_a_level_with_their_contributions() -> None:
    rows = volt_rows(FULL, 9.0)
    assert {row.id: row.contribution for row in rows} == pytest.approx(AT_9_V, rel=1e-12)
    assert list(AT_9_V) == [row.id for row in rows]


def test_fit_scatter_is_type_a_once_the_meter_is_told_apart() -> None:
    kinds = {row.id.split("@")[0]: (row.kind, row.dof) for row in volt_rows(FULL, 9.0)}
    assert kinds["gain"] == kinds["offset"] == ("A", 7.0)
    assert kinds["meter"] == kinds["meter-zero"] == ("B", math.inf)
    plain = volt_rows(VoltCalibration("C", 1.0, 0.0, 1e-3, 1e-2), 9.0)
    assert {row.kind for row in plain} == {"B"}


def test_what_nobody_stated_has_no_row_but_gain_and_offset_say_so() -> None:
    rows = volt_rows(VoltCalibration("none", 1.0, 0.0), 9.0)
    assert [row.id for row in rows] == ["unstated-gain@none", "unstated-offset@none"]
    assert not any(row.stated for row in rows)
    assert all(row.stated for row in volt_rows(FULL, 9.0))


def test_a_level_near_zero_has_one_name_from_both_sides() -> None:
    above, below = volt_rows(FULL, 0.3), volt_rows(FULL, -0.3)
    assert [row.id for row in above] == [row.id for row in below]
    assert "linearity-0V@CAL-7" in [row.id for row in above]


def test_gain_and_meter_cancel_in_a_ratio_of_levels_and_offset_in_a_difference() -> None:
    one = combine("one", "V", 9.0, "m", volt_rows(FULL, 9.0))
    two = combine("two", "V", 6.0, "m", volt_rows(FULL, 6.0))
    ratio = derive("ratio", "1", "m", lambda a, b: a / b, (one, two))
    difference = derive("difference", "V", "m", lambda a, b: a - b, (one, two))
    shares = {row.id: row.contribution for row in ratio.rows}
    for name in ("gain", "meter", "temperature-gain"):
        assert shares[f"{name}@CAL-7"] == pytest.approx(0.0, abs=1e-15)
    shares = {row.id: row.contribution for row in difference.rows}
    for name in ("offset", "meter-zero", "temperature-zero"):
        assert shares[f"{name}@CAL-7"] == pytest.approx(0.0, abs=1e-15)
    assert shares["linearity-9V@CAL-7"] == shares["linearity-6V@CAL-7"] == 2e-3


def test_correlated_gain_and_offset_of_gum_h3() -> None:
    """JCGM 100:2008, H.3: correction of a thermometer, b = y1 + y2 (t - t0), t0 = 20 degC.

    y1 has u = 0.0029 degC, y2 u = 0.00067 and they correlate by -0.930; b(30 degC) has
    u = 0.0041 degC.  Figures of the example from memory, u recomputed from them.
    """
    line = VoltCalibration("H3", 1.0, 0.0, 0.00067, 0.0029, dof=9.0, gain_offset_correlation=-0.930)
    at_30 = combine("b", "V", -0.1494, "H.3", volt_rows(line, 10.0))
    assert at_30.u == pytest.approx(0.0041, abs=0.00005)
    without = combine(
        "b", "V", -0.1494, "H.3", volt_rows(replace(line, gain_offset_correlation=0.0), 10.0)
    )
    assert without.u == pytest.approx(math.hypot(0.0067, 0.0029))


@pytest.mark.parametrize("correlation", [-1.0, -0.4, 0.0, 0.7, 1.0])
@pytest.mark.parametrize("volts", [-12.0, 0.0, 9.0])
def test_the_covariance_of_gain_and_offset_is_what_was_stated(
    correlation: float, volts: float
) -> None:
    """JCGM 100:2008, 5.2.2, equation (16), for V = (1 + g) v + o."""
    u_gain, u_offset = 1e-3, 4e-3
    line = VoltCalibration("C", 1.0, 0.0, u_gain, u_offset, gain_offset_correlation=correlation)
    cross = 2.0 * correlation * u_gain * u_offset * volts
    expected = math.sqrt(max(0.0, (u_gain * volts) ** 2 + u_offset**2 + cross))
    assert combine("v", "V", volts, "m", volt_rows(line, volts)).u == pytest.approx(
        expected, abs=1e-12
    )


@pytest.mark.parametrize(
    "wrong",
    [
        {"u_meter_relative": -1e-3},
        {"u_meter_v": math.nan},
        {"drift_relative_per_k": math.inf},
        {"u_drift_v_per_k": -1.0},
        {"span_k": -5.0},
        {"u_nonlinearity_lsb": math.nan},
        {"made_at_c": math.nan},
        {"gain_offset_correlation": 1.01},
        {"gain_offset_correlation": math.nan},
        {"dof": 0.5},
        {"dof": math.nan},
    ],
)
def test_a_calibration_that_cannot_be_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(CalibrationError, match="CAL-7"):
        replace(FULL, **wrong)

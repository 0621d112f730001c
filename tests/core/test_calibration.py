"""Calibrations: what they refuse, and when they hold."""

import math
from datetime import date
from typing import Any

import pytest

from pilotsignal.calibration import TimeBase, VoltCalibration
from pilotsignal.errors import CalibrationError

MADE, END = date(2025, 3, 1), date(2026, 2, 28)


@pytest.mark.parametrize(
    "line",
    [
        {"gain_v": 0.0, "offset_v": 0.0},
        {"gain_v": math.nan, "offset_v": 0.0},
        {"gain_v": 1.0, "offset_v": math.inf},
        {"gain_v": 1.0, "offset_v": 0.0, "u_gain_relative": -0.01},
        {"gain_v": 1.0, "offset_v": 0.0, "u_offset_v": math.nan},
        {"gain_v": 1.0, "offset_v": 0.0, "u_linearity_v": math.inf},
    ],
)
def test_a_line_that_cannot_be_used_is_refused(line: dict[str, Any]) -> None:
    with pytest.raises(CalibrationError, match="CAL-1"):
        VoltCalibration("CAL-1", **line)


def test_both_uncertainties_make_it_described() -> None:
    assert VoltCalibration("C", 1.0, 0.0, 0.001, 0.01).described
    assert not VoltCalibration("C", 1.0, 0.0, 0.001, None).described
    assert not VoltCalibration("C", 1.0, 0.0, None, 0.01).described


@pytest.mark.parametrize(
    ("day", "valid"),
    [(date(2025, 2, 28), False), (MADE, True), (END, True), (date(2026, 3, 1), False)],
)
def test_it_holds_from_its_date_to_its_end(day: date, valid: bool) -> None:
    calibration = VoltCalibration("C", 1.0, 0.0, made=MADE, valid_until=END)
    assert calibration.valid_on(day) is valid


def test_it_cannot_end_before_it_begins() -> None:
    with pytest.raises(CalibrationError, match="ends before it begins"):
        VoltCalibration("C", 1.0, 0.0, made=END, valid_until=MADE)
    with pytest.raises(CalibrationError, match="ends before it begins"):
        TimeBase("T", "calibrated", 1e-6, made=END, valid_until=MADE)


@pytest.mark.parametrize("u", [math.nan, math.inf, -1e-6])
def test_a_time_base_refuses_an_uncertainty_that_is_no_number(u: float) -> None:
    with pytest.raises(CalibrationError, match="uncertainty"):
        TimeBase("T", "crystal", u)


def test_a_time_base_refuses_a_correction_that_is_no_number() -> None:
    with pytest.raises(CalibrationError, match="correction"):
        TimeBase("T", "crystal", 1e-6, math.nan)

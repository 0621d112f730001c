"""Duty and current: every published vector both ways, every band edge exactly as printed."""

import math
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pilotsignal.errors import QuantityError
from pilotsignal.standard import (
    DutyKind,
    Profile,
    current_of_duty,
    duty_of_current,
    load_profile,
)
from pilotsignal.standard.rows import DutyBand

IEC = load_profile("iec-61851-1-2017")
SAE = load_profile("sae-j1772-2017")
NONE, DIGITAL, CURRENT, OPEN = (
    DutyKind.NONE,
    DutyKind.DIGITAL,
    DutyKind.CURRENT,
    DutyKind.UNDEFINED,
)

# IEC 61851-1:2017, Table A.7, worked out for the currents that chargers are sold with.
VECTORS = [
    (6.0, 10.0),
    (16.0, 26.667),
    (18.0, 30.0),
    (24.0, 40.0),
    (30.0, 50.0),
    (32.0, 53.333),
    (48.0, 80.0),
    (51.0, 85.0),
    (63.0, 89.2),
    (65.0, 90.0),
    (80.0, 96.0),
]


def just_above(value: float) -> float:
    return math.nextafter(value, math.inf)


def just_below(value: float) -> float:
    return math.nextafter(value, -math.inf)


@pytest.mark.parametrize("profile", [IEC, SAE], ids=lambda profile: profile.name)
@pytest.mark.parametrize(("current", "duty"), VECTORS)
def test_published_vectors_to_duty(current: float, duty: float, profile: Profile) -> None:
    assert duty_of_current(current, profile).duty_percent == pytest.approx(duty, abs=0.0005)


@pytest.mark.parametrize(("current", "duty"), VECTORS)
def test_published_vectors_from_duty_to_current(current: float, duty: float) -> None:
    # The printed duty is rounded to 0.001 points, which is up to 0.0013 A.
    assert current_of_duty(duty).current_a == pytest.approx(current, abs=0.0015)


# IEC 61851-1:2017, Table A.8: below 3 % none; 3..7 digital; above 7, below 8 none; from 8, below 10
# 6 A; 10..85 first formula; above 85 to 96 second; above 96 to 97 80 A; above 97 none.
@pytest.mark.parametrize(
    ("duty", "kind", "current"),
    [
        (0.0, NONE, 0.0),
        (just_below(3.0), NONE, 0.0),
        (3.0, DIGITAL, None),
        (5.0, DIGITAL, None),
        (7.0, DIGITAL, None),
        (just_above(7.0), NONE, 0.0),
        (just_below(8.0), NONE, 0.0),
        (8.0, CURRENT, 6.0),
        (just_below(10.0), CURRENT, 6.0),
        (10.0, CURRENT, 6.0),
        (85.0, CURRENT, 51.0),
        (just_above(85.0), CURRENT, 52.5),
        (96.0, CURRENT, 80.0),
        (just_above(96.0), CURRENT, 80.0),
        (97.0, CURRENT, 80.0),
        (just_above(97.0), NONE, 0.0),
        (100.0, NONE, 0.0),
    ],
)
def test_iec_bands_and_their_edges(duty: float, kind: DutyKind, current: float | None) -> None:
    decoded = current_of_duty(duty, IEC)
    assert decoded.kind is kind
    assert decoded.current_a == (None if current is None else pytest.approx(current, abs=1e-9))
    assert decoded.clause == "IEC 61851-1:2017, Table A.8"


# SAE J1772 OCT2017: digital 4.5..5.5 %, error 7..8 %, 6 A from 9.5 %, 80 A to 96.5 %.
@pytest.mark.parametrize(
    ("duty", "kind", "current"),
    [
        (just_below(4.5), OPEN, None),
        (4.5, DIGITAL, None),
        (5.5, DIGITAL, None),
        (just_above(5.5), OPEN, None),
        (7.5, NONE, 0.0),
        (9.0, OPEN, None),
        (just_below(9.5), OPEN, None),
        (9.5, CURRENT, 6.0),
        (just_below(10.0), CURRENT, 6.0),
        (10.0, CURRENT, 6.0),
        (85.0, CURRENT, 51.0),
        (96.0, CURRENT, 80.0),
        (96.5, CURRENT, 80.0),
        (just_above(96.5), OPEN, None),
    ],
)
def test_sae_bands_and_their_edges(duty: float, kind: DutyKind, current: float | None) -> None:
    decoded = current_of_duty(duty, SAE)
    assert decoded.kind is kind
    assert decoded.current_a == (None if current is None else pytest.approx(current, abs=1e-9))


def test_what_no_row_covers_says_so() -> None:
    decoded = current_of_duty(6.0, SAE)
    assert (decoded.text, decoded.clause) == ("not defined in SAE J1772 OCT2017", "")


# IEC 61851-1:2017, Table A.7: 5 % digital communication, 100 % no PWM, 0 % state F.
@pytest.mark.parametrize(("duty", "words"), [(5.0, "digital"), (100.0, "no PWM"), (0.0, "state F")])
def test_duties_that_stand_for_no_current(duty: float, words: str) -> None:
    assert words in current_of_duty(duty).text


# IEC 61851-1:2017, Table A.7: 84.4..85 % by the second formula, which Table A.8 reads by the first.
@pytest.mark.parametrize(
    ("current", "read"), [(just_above(51.0), 50.64), (51.5, 50.76), (52.5, 51.0)]
)
def test_the_seam_between_the_formulas_is_warned_of(current: float, read: float) -> None:
    nominal = duty_of_current(current)
    assert nominal.duty_percent is not None
    assert 84.4 <= nominal.duty_percent <= 85.0
    decoded = current_of_duty(nominal.duty_percent)
    assert decoded.current_a == pytest.approx(read, abs=1e-6)
    assert f"{read:.4g} A" in nominal.warning


@pytest.mark.parametrize("current", [50.0, 51.0, just_above(52.5), 63.0])
def test_no_warning_beside_the_seam(current: float) -> None:
    assert duty_of_current(current).warning == ""


@pytest.mark.parametrize(
    ("duty", "warned"), [(84.4, False), (84.5, True), (85.0, True), (just_above(85.0), False)]
)
def test_reading_a_duty_of_the_seam_is_warned_of(duty: float, warned: bool) -> None:
    assert bool(current_of_duty(duty).warning) is warned


@pytest.mark.parametrize("current", [0.0, 5.0, just_below(6.0), just_above(80.0), 125.0])
def test_currents_without_a_duty(current: float) -> None:
    nominal = duty_of_current(current)
    assert (nominal.kind, nominal.duty_percent) == (OPEN, None)
    assert "no duty is defined" in nominal.text


@pytest.mark.parametrize("duty", [math.nan, math.inf, -0.1, 100.1])
def test_a_duty_that_cannot_be_is_refused(duty: float) -> None:
    with pytest.raises(QuantityError, match=r"state 0 to 100 %\."):
        current_of_duty(duty)


@pytest.mark.parametrize("current", [math.nan, math.inf, -1.0])
def test_a_current_that_cannot_be_is_refused(current: float) -> None:
    with pytest.raises(QuantityError, match=r"state at least 0 A\."):
        duty_of_current(current)


def test_a_current_beyond_all_tables_is_told_the_bound() -> None:
    with pytest.raises(QuantityError, match=r"state 0 to 1e\+06 A\."):
        duty_of_current(1e9)


@given(st.floats(0.0, 100.0))
def test_iec_leaves_no_duty_undefined(duty: float) -> None:
    decoded = current_of_duty(duty, IEC)
    assert decoded.kind is not OPEN
    assert (decoded.current_a is None) == (decoded.kind is DIGITAL)


@given(st.sampled_from(IEC.duty_bands), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_the_current_never_falls_within_a_band(row: DutyBand, first: float, second: float) -> None:
    low, high = sorted(row.duty.low + (row.duty.high - row.duty.low) * x for x in (first, second))
    assume(low in row.duty and high in row.duty)
    lower, upper = current_of_duty(low), current_of_duty(high)
    if lower.current_a is not None and upper.current_a is not None:
        assert lower.current_a <= upper.current_a


def test_the_bands_of_current_rise_from_one_to_the_next() -> None:
    # Table A.8 is printed in rising order, and so are the currents from 8 % to 97 %.
    middles = [(row.duty.low + row.duty.high) / 2 for row in IEC.duty_bands if row.kind == CURRENT]
    currents = [current_of_duty(duty).current_a for duty in middles]
    assert all(
        low is not None and high is not None and low < high for low, high in pairwise(currents)
    )


# A hair above 52.5 A the duty rounds to 85 % itself, which belongs to the first formula.
@given(st.one_of(st.floats(6.0, 51.0), st.floats(52.5 + 1e-9, 80.0)))
def test_current_to_duty_and_back(current: float) -> None:
    duty = duty_of_current(current).duty_percent
    assert duty is not None
    assert current_of_duty(duty).current_a == pytest.approx(current, abs=1e-9)


@given(st.floats(8.0, 97.0), st.floats(1e-4, 1e-2))
def test_the_slope_is_the_derivative(duty: float, step: float) -> None:
    first, second = current_of_duty(duty), current_of_duty(min(duty + step, 97.0))
    assume(first.slope_a_per_percent == second.slope_a_per_percent)
    assert first.current_a is not None
    assert second.current_a is not None
    rise = first.slope_a_per_percent * (min(duty + step, 97.0) - duty)
    assert second.current_a - first.current_a == pytest.approx(rise, abs=1e-9)

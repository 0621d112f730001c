"""What a duty says where its uncertainty reaches over a border of IEC 61851-1:2017, Table A.8."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.budget import combine, type_b
from pilotsignal.meaning import advertised_current, duty_notices, read_duty
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile, current_of_duty, load_profile

IEC, SAE = load_profile("iec-61851-1-2017"), load_profile("sae-j1772-2017")


def duty(value: float, u: float) -> Quantity:
    return combine("duty_percent", "%", value, "stated", [type_b("d", "duty", u, "%")])


# IEC 61851-1:2017, Table A.8: 0.6 D up to 85 %, 2.5 (D - 64) above; the table jumps by 1.5 A.
@pytest.mark.parametrize("value", [84.97, 85.0, 85.03])
def test_at_85_percent_both_currents_are_named_and_none_is_chosen(value: float) -> None:
    found = read_duty(duty(value, 0.02), IEC)
    assert found.current is None
    low, high = found.currents
    assert low.value == pytest.approx(0.6 * min(value, 85.0))
    assert high.value == pytest.approx(2.5 * (max(value, 85.0) - 64.0))
    assert found.notice is not None
    assert found.notice.code == "two-currents"
    assert "Table A.8" in found.notice.text
    assert advertised_current(duty(value, 0.02), IEC) is None
    assert duty_notices(duty(value, 0.02), IEC) == [found.notice]


@pytest.mark.parametrize(
    ("value", "ampere", "slope"), [(84.9, 50.94, 0.6), (85.1, 52.75, 2.5), (26.67, 16.002, 0.6)]
)
def test_away_from_the_seam_there_is_one_current(value: float, ampere: float, slope: float) -> None:
    found = advertised_current(duty(value, 0.02), IEC)
    assert found is not None
    assert found.value == pytest.approx(ampere)
    assert found.u == pytest.approx(slope * 0.02)
    assert duty_notices(duty(value, 0.02), IEC) == []


# Table A.8: the current goes on without a jump at 10 % (6 A) and 96 % (80 A).
@pytest.mark.parametrize(
    ("value", "ampere", "u"), [(10.0, 6.0, 0.06), (9.95, 6.0, 0.06), (96.0, 80.0, 0.25)]
)
def test_where_ranges_join_without_a_jump_the_steeper_one_gives_the_uncertainty(
    value: float, ampere: float, u: float
) -> None:
    found = advertised_current(duty(value, 0.1), IEC)
    assert found is not None
    assert found.value == pytest.approx(ampere)
    assert found.u == pytest.approx(u)


# Table A.8: no charging below 3 %, digital to 7 %, none to 8 %, 6 A from 8 %, none above 97 %.
@pytest.mark.parametrize("value", [3.0, 7.0, 8.0, 97.0])
def test_at_the_border_of_a_current_and_none_nothing_is_chosen(value: float) -> None:
    for near in (value - 0.01, value, value + 0.01):
        found = read_duty(duty(near, 0.02), IEC)
        assert found.current is None
        assert len(found.readings) == 2
        assert found.notice is not None


def test_what_an_edition_leaves_open_is_one_of_the_readings() -> None:
    found = read_duty(duty(96.5, 0.02), SAE)
    assert found.current is None
    assert [reading.kind.value for reading in found.readings] == ["current", "not defined"]


@pytest.mark.parametrize("value", [-0.001, 0.0, 100.0, 100.001])
def test_noise_past_the_ends_is_read_as_the_end(value: float) -> None:
    assert read_duty(duty(value, 0.01), IEC).readings[0].kind.value == "none"


def test_no_duty_has_no_current_and_no_notice() -> None:
    assert advertised_current(None, IEC) is None
    assert duty_notices(None, IEC) == []


@given(st.floats(0.0, 100.0), st.floats(1e-6, 20.0), st.sampled_from([IEC, SAE]))
def test_every_duty_within_the_uncertainty_is_among_the_readings(
    value: float, u: float, profile: Profile
) -> None:
    """Whatever the true duty is, what it says is named; a single current covers it by its U."""
    measured = duty(value, u)
    found = read_duty(measured, profile)
    expanded = measured.expanded()
    for share in (-0.999, -0.5, 0.0, 0.3, 0.999):
        true = min(100.0, max(0.0, value + share * expanded))
        said = current_of_duty(true, profile)
        assert said.kind in {reading.kind for reading in found.readings}
        if found.current is not None and said.current_a is not None:
            assert abs(said.current_a - found.current.value) <= found.current.expanded() + 1e-6
    assert math.isfinite(sum(current.value for current in found.currents))

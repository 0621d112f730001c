"""Cable coding (Type 2) and proximity (Type 1)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.errors import QuantityError
from pilotsignal.standard import (
    ContactKind,
    cable_of_resistance,
    load_profile,
    proximity_of_resistance,
    proximity_of_voltage,
)

CURRENT, ABSENT, ERROR, OPEN = (
    ContactKind.CURRENT,
    ContactKind.ABSENT,
    ContactKind.ERROR,
    ContactKind.UNDEFINED,
)


# IEC 61851-1:2017, Table B.2: nominal 1500, 680, 220, 100 ohm with parts of 3 %.
@pytest.mark.parametrize(
    ("nominal", "current"), [(1500.0, 13.0), (680.0, 20.0), (220.0, 32.0), (100.0, 63.0)]
)
@pytest.mark.parametrize("part", [0.97, 1.0, 1.03])
def test_nominal_resistors_of_table_b2(nominal: float, current: float, part: float) -> None:
    reading = cable_of_resistance(nominal * part)
    assert (reading.kind, reading.current_a, reading.nominal) == (CURRENT, current, nominal)


# IEC 61851-1:2017, Table B.2: 1100..2460, 400..936, 164..308, 80..140 ohm; > 4500 not plugged;
# < 60 error; nothing is said about what lies between.
@pytest.mark.parametrize(
    ("ohm", "kind", "current"),
    [
        (0.0, ERROR, None),
        (59.9, ERROR, None),
        (60.0, OPEN, None),
        (79.9, OPEN, None),
        (80.0, CURRENT, 63.0),
        (140.0, CURRENT, 63.0),
        (140.1, OPEN, None),
        (164.0, CURRENT, 32.0),
        (308.0, CURRENT, 32.0),
        (350.0, OPEN, None),
        (400.0, CURRENT, 20.0),
        (936.0, CURRENT, 20.0),
        (1000.0, OPEN, None),
        (1100.0, CURRENT, 13.0),
        (2460.0, CURRENT, 13.0),
        (2460.1, OPEN, None),
        (4500.0, OPEN, None),
        (4500.1, ABSENT, None),
        (math.inf, ABSENT, None),
    ],
)
def test_ranges_of_table_b2(ohm: float, kind: ContactKind, current: float | None) -> None:
    reading = cable_of_resistance(ohm)
    assert (reading.kind, reading.current_a) == (kind, current)


@pytest.mark.parametrize("edge", [80.0, 164.0, 400.0, 1100.0])
def test_nothing_is_defined_below_a_range(edge: float) -> None:
    assert cable_of_resistance(edge).kind is CURRENT
    assert cable_of_resistance(math.nextafter(edge, 0.0)).kind is OPEN


@pytest.mark.parametrize("edge", [140.0, 308.0, 936.0, 2460.0])
def test_nothing_is_defined_above_a_range(edge: float) -> None:
    assert cable_of_resistance(edge).kind is CURRENT
    assert cable_of_resistance(math.nextafter(edge, math.inf)).kind is OPEN


def test_the_63_a_code_is_70_a_on_one_phase() -> None:
    # IEC 61851-1:2017, Table B.2.
    assert cable_of_resistance(100.0).one_phase_a == 70.0
    assert cable_of_resistance(220.0).one_phase_a is None


# SAE J1772 OCT2017, Table 7: lowest, nominal and highest voltage.
@pytest.mark.parametrize(
    ("volts", "kind"),
    [
        (1.22, "not defined"),
        (1.23, "latched"),
        (1.53, "latched"),
        (1.82, "latched"),
        (2.0, "not defined"),
        (2.38, "pressed"),
        (2.77, "pressed"),
        (3.16, "pressed"),
        (4.13, "absent"),
        (4.46, "absent"),
        (4.78, "absent"),
        (4.79, "not defined"),
    ],
)
def test_voltages_of_table_7(volts: float, kind: str) -> None:
    assert proximity_of_voltage(volts).kind == kind


# SAE J1772 OCT2017, Table 7: 150 ohm latched, 480 ohm button pressed.  Ranges from memory.
@pytest.mark.parametrize(
    ("ohm", "kind"), [(150.0, "latched"), (480.0, "pressed"), (300.0, "not defined")]
)
def test_resistances_of_type_1(ohm: float, kind: str) -> None:
    assert proximity_of_resistance(ohm).kind == kind


def test_ranges_from_memory_are_marked() -> None:
    reading = proximity_of_resistance(150.0)
    assert reading.confidence == "MEM"
    assert "unconfirmed" in reading.text


def test_a_profile_without_the_table_defines_nothing() -> None:
    iec, sae = load_profile("iec-61851-1-2017"), load_profile("sae-j1772-2017")
    assert proximity_of_voltage(1.53, iec).kind is OPEN
    assert cable_of_resistance(220.0, sae).kind is OPEN


@pytest.mark.parametrize("ohm", [math.nan, -1.0])
def test_a_resistance_that_cannot_be_is_refused(ohm: float) -> None:
    with pytest.raises(QuantityError, match="cannot be"):
        cable_of_resistance(ohm)
    with pytest.raises(QuantityError, match="cannot be"):
        proximity_of_resistance(ohm)


def test_a_voltage_that_is_no_number_is_refused() -> None:
    with pytest.raises(QuantityError, match="not a number"):
        proximity_of_voltage(math.nan)


@given(st.floats(0.0, 1e5), st.floats(0.0, 1e5))
def test_a_higher_resistance_never_codes_a_higher_current(first: float, second: float) -> None:
    low, high = sorted((first, second))
    of_low, of_high = cable_of_resistance(low).current_a, cable_of_resistance(high).current_a
    if of_low is not None and of_high is not None:
        assert of_low >= of_high

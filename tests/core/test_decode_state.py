"""States from plateaus: IEC 61851-1:2017, Table A.4, and the ladders that mark its edges."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.errors import QuantityError
from pilotsignal.standard import diode_present, load_profile, state_of

IEC = load_profile()
NAMES = {"A", "B", "C", "D", "E", "F", "invalid"}


# IEC 61851-1:2017, Table A.4: 11..13, 8..10, 5..7, 2..4, -1..1 V; between two windows either
# neighbour is right; -10..-1 invalid; steady -13..-11 F.
@pytest.mark.parametrize(
    ("high", "pwm", "state"),
    [
        (13.01, False, ("invalid",)),
        (13.0, False, ("A1",)),
        (12.0, True, ("A2",)),
        (11.0, False, ("A1",)),
        (10.99, False, ("A1", "B1")),
        (10.01, True, ("A2", "B2")),
        (10.0, True, ("B2",)),
        (9.0, False, ("B1",)),
        (8.0, True, ("B2",)),
        (7.5, True, ("B2", "C2")),
        (7.0, True, ("C2",)),
        (5.0, False, ("C1",)),
        (4.5, True, ("C2", "D2")),
        (4.0, True, ("D2",)),
        (2.0, False, ("D1",)),
        (1.5, True, ("D2", "E")),
        (1.0, True, ("E",)),
        (0.0, False, ("E",)),
        (-1.0, False, ("E",)),
        (-1.01, False, ("invalid",)),
        (-10.0, False, ("invalid",)),
        (-10.5, False, ("invalid", "F")),
        (-11.0, False, ("F",)),
        (-12.0, False, ("F",)),
        (-13.0, False, ("F",)),
        (-13.01, False, ("invalid",)),
        (-12.0, True, ("invalid",)),
        (-10.5, True, ("invalid",)),
    ],
)
def test_states_of_table_a4(high: float, pwm: bool, state: tuple[str, ...]) -> None:
    assert state_of(high, -12.0 if pwm else None, pwm) == state


# Common practice, no source: 12, 9, 6, 3 and 0 V.
@pytest.mark.parametrize(
    ("high", "state"), [(12.0, "A2"), (9.0, "B2"), (6.0, "C2"), (3.0, "D2"), (0.0, "E")]
)
def test_nominal_plateaus(high: float, state: str) -> None:
    assert state_of(high, -12.0, True) == (state,)


# IEC 61851-1:2017, Table A.9 with 12 V, 1 kohm and a drop of 0.70 V gives the edges of Table A.4.
@pytest.mark.parametrize(
    ("ladder", "switched", "edge"),
    [
        ("low", None, 8.0),
        ("high", None, 10.0),
        ("low", "c", 5.0),
        ("high", "c", 7.0),
        ("low", "d", 2.0),
        ("high", "d", 4.0),
    ],
)
def test_edge_ladders_give_the_edges_of_the_windows(
    ladder: str, switched: str | None, edge: float
) -> None:
    load = IEC.part(f"ladder_{ladder}_permanent").nominal
    if switched:
        load = 1.0 / (1.0 / load + 1.0 / IEC.part(f"ladder_{ladder}_{switched}").nominal)
    high = 0.70 + (12.0 - 0.70) * load / (load + 1000.0)
    # The parts are of a standard row: they miss the edges by up to 0.07 V.
    assert high == pytest.approx(edge, abs=0.07)


# Short test resistor of 120 ohm (2017 text): 12 V x 120 / 1120, between D and E; 80 ohm: inside E.
@pytest.mark.parametrize(
    ("part", "state"), [("short_test", ("D2", "E")), ("short_test_corrected", ("E",))]
)
def test_short_test_resistors(part: str, state: tuple[str, ...]) -> None:
    ohm = IEC.part(part).nominal
    high = 12.0 * ohm / (ohm + 1000.0)
    assert state_of(high, -high, True) == state


# IEC 61851-1:2017, Table A.4: -13..-11 V tells the diode.  A bypassed diode leaves
# -12 V x R / (R + 1 kohm): -8.8 V in B, -5.6 V in C, -2.4 V in D.
@pytest.mark.parametrize(
    ("low", "present"),
    [
        (-13.01, None),
        (-13.0, True),
        (-12.0, True),
        (-11.0, True),
        (-10.5, None),
        (-10.0, False),
        (-12.0 * 2740 / 3740, False),
        (-12.0 * 882 / 1882, False),
        (-12.0 * 246 / 1246, False),
    ],
)
def test_the_low_plateau_tells_the_diode(low: float, present: bool | None) -> None:
    assert diode_present(low) is present


@pytest.mark.parametrize("volts", [math.nan, math.inf, -math.inf])
def test_a_plateau_that_is_no_number_is_refused(volts: float) -> None:
    with pytest.raises(QuantityError, match="not a number"):
        state_of(volts, -12.0, True)
    with pytest.raises(QuantityError, match="not a number"):
        state_of(9.0, volts, True)
    with pytest.raises(QuantityError, match="not a number"):
        diode_present(volts)


@given(st.floats(-20.0, 20.0), st.booleans())
def test_every_voltage_has_one_name_or_two_neighbours(high: float, pwm: bool) -> None:
    names = state_of(high, None, pwm)
    assert 1 <= len(names) <= 2
    assert {name.rstrip("12") for name in names} <= NAMES


@given(st.floats(-10.0, 13.0), st.floats(-10.0, 13.0), st.booleans())
def test_a_lower_voltage_never_names_an_earlier_state(
    first: float, second: float, pwm: bool
) -> None:
    order = ["A", "B", "C", "D", "E", "invalid"]
    low, high = sorted((first, second))
    latest_above = order.index(state_of(high, None, pwm)[-1].rstrip("12"))
    latest_below = order.index(state_of(low, None, pwm)[-1].rstrip("12"))
    assert latest_above <= latest_below

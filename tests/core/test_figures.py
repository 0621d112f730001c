"""Numbers in sentences."""

import math

import pytest

from pilotsignal.figures import bounds, decimals, figure


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        # GUM, 7.2.6: two significant digits of the uncertainty, and the value to the same place.
        (10.057, 0.027, "10.057 ± 0.027 ohm"),
        (1000.3253, 0.0571, "1000.325 ± 0.057 ohm"),
        (-0.00001, 0.012, "0.000 ± 0.012 ohm"),
        (4135.4, 201.0, "4135 ± 201 ohm"),
        (3.0, 0.0, "3 ohm"),
        (1.0, 1e-15, "1.000000000 ± 0.000000000 ohm"),
    ],
)
def test_two_digits_of_the_uncertainty(value: float, expanded: float, text: str) -> None:
    assert figure(value, expanded, "ohm") == text


def test_what_is_no_number_is_seen() -> None:
    assert figure(math.nan, 0.1, "V") == "nan ± 0.10 V"
    assert decimals(math.nan) == decimals(math.inf) == decimals(0.0) == 3


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (None, None, ""),
        (None, 100.0, "at most 100 ms"),
        (5.0, None, "at least 5 ms"),
        (3.0, 3.0, "exactly 3 ms"),
        (-12.6, -11.4, "-12.6..-11.4 ms"),
    ],
)
def test_a_limit_names_the_sides_that_it_has(
    low: float | None, high: float | None, text: str
) -> None:
    assert bounds(low, high, "ms") == text

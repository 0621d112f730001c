"""Parts that were measured with one meter err together, in every budget that they enter."""

import json
import math
from dataclasses import asdict, replace

import pytest

from pilotsignal.budget import derive
from pilotsignal.calibration import KnownPart
from pilotsignal.errors import CalibrationError
from rungbench.qualify.checks.source import as_quantity


def part(name: str, value: float, by_meter: float, own: float) -> KnownPart:
    inputs = (("ohmmeter@P-1", by_meter), (f"{name}_warmth@P-1", own))
    return KnownPart(f"{name}@P-1", value, math.hypot(by_meter, own), "ohm", inputs)


PERMANENT = part("permanent", 2740.0, 13.7, 0.2)
SWITCHED = part("switched_c", 1300.0, 6.5, 0.1)


def parallel(one: KnownPart, other: KnownPart) -> float:
    both = derive(
        "parallel_ohm",
        "ohm",
        "two resistors in parallel",
        lambda a, b: a * b / (a + b),
        (as_quantity(one), as_quantity(other)),
    )
    return both.u


def test_an_error_of_the_meter_adds_up() -> None:
    """By the law of propagation with correlated inputs, JCGM 100:2008, 5.2.2, worked by hand."""
    by_one, by_other = (1300.0 / 4040.0) ** 2, (2740.0 / 4040.0) ** 2
    meter = by_one * 13.7 + by_other * 6.5
    own = math.hypot(by_one * 0.2, by_other * 0.1)
    assert parallel(PERMANENT, SWITCHED) == pytest.approx(math.hypot(meter, own), rel=1e-9)


def test_as_inputs_of_their_own_they_would_claim_too_little() -> None:
    alone = [replace(one, inputs=()) for one in (PERMANENT, SWITCHED)]
    assert parallel(*alone) < 0.8 * parallel(PERMANENT, SWITCHED)


def test_inputs_must_make_the_uncertainty() -> None:
    with pytest.raises(CalibrationError, match="make"):
        KnownPart("permanent@P-1", 2740.0, 1.0, "ohm", (("ohmmeter@P-1", 2.0),))


def test_read_back_from_plain_values_it_is_the_same_part() -> None:
    plain = json.loads(json.dumps({**asdict(PERMANENT)}))
    assert KnownPart(**plain) == PERMANENT

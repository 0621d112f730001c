"""Decision rules against published examples, their numbers taken as microseconds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from pilotsignal.judge import Limit, Rule, Verdict, conformance_probability, judge
from pilotsignal.quantity import Quantity

K95 = 1.959963984540054  # JCGM 100:2008, Table G.2, infinite degrees of freedom: 1.960


def stated(value: float, u: float, dof: float = math.inf) -> Quantity:
    return Quantity("x", value, "us", u, dof, "stated")


def limit(low: float | None, high: float | None, factor: float = 1.0) -> Limit:
    return Limit(low, high, "us", "example", "example", Rule.GUARDED, "H", guard_factor=factor)


def test_conformance_probability_of_jcgm_106_7_4() -> None:
    # JCGM 106:2012, 7.4: 13.6 with u = 1.8, limits 12.5 and 16.3: 0.663.
    found = conformance_probability(stated(13.6, 1.8), limit(12.5, 16.3))
    assert found == pytest.approx(0.663, abs=0.0005)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(0.0017, Verdict.PASS), (0.0025, Verdict.UNDECIDED), (0.0041, Verdict.FAIL)],
)
def test_guarded_acceptance_of_ilac_g8(value: float, verdict: Verdict) -> None:
    # ILAC-G8:09/2019: tolerance 0.003, U = 0.0010, so 0.002 is accepted: 0.0017 conforms, 0.0025
    # does not decide.  0.0041 lies beyond 0.003 + U and is ours.
    upper = limit(None, 0.003)
    assert upper.acceptance(0.0010)[1] == pytest.approx(0.002)
    assert judge(stated(value, 0.0010 / K95), upper).verdict is verdict


# ILAC-G8:09/2019 and ISO 14253-1:2017: 10 +/- 1 with U = 0.2.
@pytest.mark.parametrize(
    ("factor", "accepted"), [(0.0, 1.0), (0.83, 0.834), (1.0, 0.8), (1.5, 0.7), (3.0, 0.4)]
)
def test_acceptance_limits_by_guard_band(factor: float, accepted: float) -> None:
    low, high = limit(9.0, 11.0, factor).acceptance(0.2)
    assert low == pytest.approx(10.0 - accepted)
    assert high == pytest.approx(10.0 + accepted)
    inside, outside = (
        stated(10.0 + accepted - 1e-6, 0.2 / K95),
        stated(10.0 + accepted + 1e-6, 0.2 / K95),
    )
    assert judge(inside, limit(9.0, 11.0, factor)).verdict is Verdict.PASS
    assert judge(outside, limit(9.0, 11.0, factor)).verdict is not Verdict.PASS


# ILAC-G8:09/2019, table 1 (w = 0, U, 1.5 U) and ISO 14253-1:2017 (0.83 U), all with U = 2 u:
# the risk of accepting wrongly a value at the acceptance limit itself.
@pytest.mark.parametrize(
    ("factor", "risk"), [(0.0, 0.50), (0.83, 0.05), (1.0, 0.025), (1.5, 0.0016)]
)
def test_risk_at_the_acceptance_limit(factor: float, risk: float) -> None:
    upper, u = limit(None, 100.0, factor), 3.0
    at_the_limit = stated(upper.acceptance(2.0 * u)[1], u)
    found = conformance_probability(at_the_limit, upper)
    assert found is not None
    assert 1.0 - found <= risk + 1e-12
    assert 1.0 - found > 0.8 * risk


# Student's t, JCGM 100:2008, Table G.2: 95 % lie within 2.57 u for 5 degrees of freedom.
def test_students_distribution_for_few_degrees_of_freedom() -> None:
    found = conformance_probability(stated(0.0, 1.0, 5.0), limit(-2.57, 2.57))
    assert found == pytest.approx(0.95, abs=0.0005)


def test_the_probability_agrees_with_counting() -> None:
    # Independent route: draw from the distribution and count (JCGM 101:2008, in spirit).
    draws = 13.6 + 1.8 * np.random.default_rng(7).standard_t(4.0, 400_000)
    counted = float(np.mean((draws >= 12.5) & (draws <= 16.3)))
    found = conformance_probability(stated(13.6, 1.8, 4.0), limit(12.5, 16.3))
    assert found == pytest.approx(counted, abs=4 * math.sqrt(0.25 / 400_000))


@pytest.mark.parametrize(("value", "found"), [(10.0, 1.0), (9.0, 1.0), (8.999, 0.0)])
def test_without_uncertainty_it_is_certain(value: float, found: float) -> None:
    assert conformance_probability(stated(value, 0.0), limit(9.0, 11.0)) == found


def test_without_bounds_there_is_no_probability() -> None:
    shown = replace(limit(9.0, 11.0), low=None, high=None, decides=False)
    assert conformance_probability(stated(10.0, 1.0), shown) is None


def test_far_outside_it_stays_a_probability() -> None:
    found = conformance_probability(stated(1e6, 1e-3), limit(9.0, 11.0))
    assert found == 0.0

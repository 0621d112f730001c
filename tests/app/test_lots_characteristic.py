"""Operating characteristics against counting, against one another, and against printed points."""

import math

import numpy as np
import pytest

from rungbench.lots.characteristic import (
    CONSUMER,
    binomial,
    curve,
    hypergeometric,
    quality_at,
    risks,
)
from rungbench.lots.sampling import SamplingPlan, Severity, plan_for


def plan_of(size: int, accept: int, lot_size: int = 1_000_000, aql: float = 1.5) -> SamplingPlan:
    return SamplingPlan(lot_size, aql, "II", Severity.NORMAL, "H", size, accept, "made up")


# Probabilities of acceptance printed in the NIST/SEMATECH e-Handbook of Statistical Methods,
# 6.2.3.2, for n = 52, c = 3 (recalled from memory; a wrong memory would not agree with the sums).
HANDBOOK = {
    0.01: 0.998, 0.02: 0.980, 0.03: 0.930, 0.04: 0.845, 0.05: 0.739, 0.06: 0.620,
    0.07: 0.502, 0.08: 0.394, 0.09: 0.300, 0.10: 0.223, 0.11: 0.162, 0.12: 0.115,
}  # fmt: skip
# D. C. Montgomery, Introduction to Statistical Quality Control, chapter on lot-by-lot acceptance
# sampling, n = 89, c = 2 (recalled from memory).
TEXTBOOK = {
    0.005: 0.9897, 0.010: 0.9397, 0.020: 0.7366, 0.030: 0.4985, 0.040: 0.3042,
    0.050: 0.1721, 0.060: 0.0919, 0.070: 0.0468, 0.080: 0.0230, 0.090: 0.0109,
}  # fmt: skip
# MIL-STD-105E, Table X-H, code letter H, Ac = 0 (recalled from memory): percent nonconforming at
# which the lot is accepted in so many of 100 cases.
TABLE_X_H = {99.0: 0.0201, 95.0: 0.103, 50.0: 1.38, 10.0: 4.50, 5.0: 5.82, 1.0: 8.80}


def test_points_printed_elsewhere() -> None:
    for fraction, probability in HANDBOOK.items():
        found = float(binomial(plan_of(52, 3), fraction)[0])
        assert found == pytest.approx(probability, abs=0.0015), fraction
    for fraction, probability in TEXTBOOK.items():
        found = float(binomial(plan_of(89, 2), fraction)[0])
        assert found == pytest.approx(probability, abs=0.00006), fraction
    for probability, percent in TABLE_X_H.items():
        found = 100 * quality_at(plan_of(50, 0), probability / 100)
        assert found == pytest.approx(percent, rel=0.006)


def counted(plan: SamplingPlan, nonconforming: int) -> float:
    """All samples of the lot, counted with whole numbers."""
    good = plan.lot_size - nonconforming
    ways = sum(
        math.comb(nonconforming, failed) * math.comb(good, plan.sample_size - failed)
        for failed in range(plan.accept + 1)
        if plan.sample_size - failed <= good
    )
    return ways / math.comb(plan.lot_size, plan.sample_size)


@pytest.mark.parametrize(("lot_size", "aql"), [(60, 1.5), (500, 1.5), (500, 4.0), (1000, 0.65)])
def test_drawing_without_putting_back_is_counted(lot_size: int, aql: float) -> None:
    plan = plan_for(lot_size, aql)
    numbers = sorted({0, 1, plan.accept, plan.reject, lot_size // 20, lot_size // 2, lot_size})
    found = hypergeometric(plan, numbers)
    for number, probability in zip(numbers, found, strict=True):
        assert probability == pytest.approx(counted(plan, number), abs=1e-12)


def test_both_distributions_agree_for_a_large_lot_and_not_for_a_small_one() -> None:
    large = plan_of(50, 2, lot_size=1_000_000)
    for fraction in (0.005, 0.015, 0.05, 0.1, 0.2):
        exact = float(hypergeometric(large, round(fraction * 1_000_000))[0])
        assert float(binomial(large, fraction)[0]) == pytest.approx(exact, abs=1e-4)
    small = plan_for(60, 4.0)
    assert abs(hypergeometric(small, 6)[0] - binomial(small, 0.1)[0]) > 0.005


def test_a_lot_tested_whole_is_decided_by_its_number_alone() -> None:
    plan = plan_for(15, 0.65)
    np.testing.assert_array_equal(hypergeometric(plan, [0, 1, 2, 15]), [1, 0, 0, 0])


@pytest.mark.parametrize("severity", list(Severity))
@pytest.mark.parametrize(("lot_size", "aql"), [(8, 4.0), (60, 1.5), (500, 1.5), (20_000, 2.5)])
def test_curves_fall(lot_size: int, aql: float, severity: Severity) -> None:
    points = curve(plan_for(lot_size, aql, severity=severity))
    assert points[0].probability == points[0].binomial == 1.0
    for earlier, later in zip(points, points[1:], strict=False):
        assert later.nonconforming > earlier.nonconforming
        assert later.probability <= earlier.probability
        assert later.binomial < earlier.binomial
    assert points[-1].probability < 0.02


def test_quality_at_is_the_inverse() -> None:
    plan = plan_for(500, 1.5)
    for probability in (0.01, 0.1, 0.5, 0.95):
        again = float(binomial(plan, quality_at(plan, probability))[0])
        assert again == pytest.approx(probability, abs=1e-9)


def test_risks_of_500_at_1_5() -> None:
    plan = plan_for(500, 1.5)
    found = risks(plan)
    # 7 of 500 are 1.4 %, the best whole number at the AQL.
    assert found.producer == pytest.approx(1 - counted(plan, 7), abs=1e-12)
    sums = sum(math.comb(50, k) * 0.015**k * 0.985 ** (50 - k) for k in range(3))
    assert found.producer_binomial == pytest.approx(1 - sums, abs=1e-12)
    assert found.consumer_units is not None
    assert counted(plan, found.consumer_units) <= CONSUMER
    assert counted(plan, found.consumer_units - 1) > CONSUMER
    at_limit = float(binomial(plan, found.consumer_percent / 100)[0])
    assert at_limit == pytest.approx(CONSUMER, abs=1e-9)


def test_the_floor_of_a_whole_number_is_that_number() -> None:
    """2.5 % of 80 are 2 units, whatever the binary fraction of 2.5 is."""
    plan = plan_for(80, 2.5)
    assert risks(plan).producer == pytest.approx(1 - counted(plan, 2), abs=1e-12)


def test_what_is_no_quality_is_refused() -> None:
    plan = plan_for(500, 1.5)
    for fraction in (-0.1, 1.1, math.nan):
        with pytest.raises(ValueError, match="between 0 and 1"):
            binomial(plan, fraction)
    for number in (-1, 501):
        with pytest.raises(ValueError, match="a lot of 500"):
            hypergeometric(plan, number)
    for probability in (0.0, 1.0, math.nan):
        with pytest.raises(ValueError, match="between 0 and 1"):
            quality_at(plan, probability)

"""Statistics of a quantity against examples that were worked out elsewhere, or by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from rungbench.lots.capability import performance, spread
from rungbench.lots.control import D2, D4, FEWEST, control_chart
from rungbench.lots.outliers import many_outlier_steps, outliers
from rungbench.lots.sequence import histogram, run_chart

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten batches of a flow rate (recalled
# from memory, the sums agree with the printed results below).
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)

# B. Rosner's example, as printed in the e-Handbook, 1.3.5.17.3 (recalled from memory; with one
# wrong value the statistics below would not come out).
ROSNER = (
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
)  # fmt: skip


# Individuals and moving ranges ------------------------------------------------------------------


def test_the_constants_are_those_of_two_observations() -> None:
    """Mean and deviation of the range of two normal values, in closed form; ISO 7870-2:2013."""
    d2, d3 = 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
    assert pytest.approx(d2, abs=0.0005) == D2
    assert pytest.approx(1 + 3 * d3 / d2, abs=0.0006) == D4


def test_the_handbook_s_chart() -> None:
    chart = control_chart(FLOW)
    assert chart is not None
    assert chart.centre == pytest.approx(50.81, abs=5e-5)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (chart.high, chart.low) == pytest.approx((55.8041, 45.8159), abs=5e-5)
    assert chart.range_high == pytest.approx(3.267 * 1.8778, abs=2e-4)
    assert (chart.beyond, chart.jumps) == ((), ())


def test_a_step_and_a_stray_value_are_seen() -> None:
    values = [*FLOW, *FLOW, 70.0, 50.0]
    chart = control_chart(values)
    assert chart is not None
    assert chart.beyond == (20,)
    # Up to the stray value and down from it.
    assert chart.jumps == (20, 21)
    assert not chart.values.flags.writeable
    assert not chart.ranges.flags.writeable


def test_drift_does_not_hide_itself_in_the_limits() -> None:
    """The limits follow the change from unit to unit, so a slow drift leaves them."""
    rng = np.random.default_rng(4)
    drifting = np.linspace(0, 10, 60) + rng.normal(0, 0.5, 60)
    chart = control_chart(drifting)
    assert chart is not None
    assert chart.sigma == pytest.approx(0.5, rel=0.3)
    assert float(np.std(drifting)) > 4 * chart.sigma
    assert {0, 1, 58, 59} <= set(chart.beyond)


def test_three_in_a_thousand_normal_values_lie_outside() -> None:
    values = np.random.default_rng(5).normal(7.0, 2.0, 20_000)
    chart = control_chart(values)
    assert chart is not None
    assert chart.sigma == pytest.approx(2.0, rel=0.02)
    assert len(chart.beyond) == pytest.approx(54, abs=30)


def test_too_few_values_give_no_chart() -> None:
    assert control_chart(FLOW[: FEWEST - 1]) is None
    assert control_chart(FLOW[:FEWEST]) is not None


# Performance ------------------------------------------------------------------------------------


def values_with(mean: float, deviation: float, count: int) -> list[float]:
    """Values that have exactly this mean and deviation (n - 1)."""
    rest = [1.0, -1.0] * (count // 2)
    scale = deviation / float(np.std(rest, ddof=1))
    return [mean + scale * one for one in rest]


def test_the_handbook_s_index() -> None:
    """E-Handbook 6.1.6 (from memory): limits 8 and 20, mean 16, deviation 2: 1.0 and 0.6667."""
    found = spread(values_with(16.0, 2.0, 50))
    assert found is not None
    index = performance(found, 8.0, 20.0)
    assert index is not None
    assert index.pp == pytest.approx(1.0, abs=1e-12)
    assert index.ppk == pytest.approx(0.6667, abs=5e-5)


def test_an_index_with_one_limit() -> None:
    found = spread(values_with(40.0, 5.0, 20))
    assert found is not None
    upper = performance(found, None, 100.0)
    lower = performance(found, 10.0, None)
    assert upper is not None
    assert lower is not None
    assert upper.ppk == pytest.approx(4.0)
    assert upper.pp is None
    assert lower.ppk == pytest.approx(2.0)
    outside = performance(found, None, 35.0)
    assert outside is not None
    assert outside.ppk < 0


def test_the_interval_holds_the_true_index_as_often_as_it_says() -> None:
    """2000 samples of 50 of a normal distribution whose Ppk is 1.2, near one limit."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(2000):
        found = spread(rng.normal(0.0, 1.0, 50))
        assert found is not None
        index = performance(found, None, 3.6)
        assert index is not None
        held += index.low <= 1.2 <= index.high
    assert 0.93 < held / 2000 < 0.97


def test_no_limit_or_no_spread_gives_no_index() -> None:
    found, counted = spread(FLOW), spread([3.0, 3.0, 3.0])
    assert found is not None
    assert counted is not None
    assert performance(found, None, None) is None
    assert performance(counted, 3.0, 3.0) is None
    assert performance(counted, 0.0, 6.0) is None
    with pytest.raises(ValueError, match="lies above"):
        performance(found, 2.0, 1.0)


def test_what_the_bench_adds_to_a_mean_does_not_average_out() -> None:
    alone, measured = spread(FLOW), spread(FLOW, u_bench=2.0)
    assert alone is not None
    assert measured is not None
    assert alone.u_mean == pytest.approx(alone.deviation / math.sqrt(10))
    assert measured.u_mean == pytest.approx(math.hypot(alone.u_mean, 2.0))
    assert measured.deviation == alone.deviation == pytest.approx(float(np.std(FLOW, ddof=1)))
    assert spread([1.0]) is None


# Outliers ---------------------------------------------------------------------------------------


def test_rosner_s_example() -> None:
    """Statistics, critical values and number of outliers as the e-Handbook prints them."""
    steps = many_outlier_steps(ROSNER, 10)
    statistics = [3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067]
    critical = [3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085]
    assert [step.statistic for step in steps] == pytest.approx(statistics, abs=1.01e-3)
    assert [step.critical for step in steps] == pytest.approx(critical, abs=1.01e-3)
    assert [ROSNER[at] for at in outliers(ROSNER, 10)] == [6.01, 5.42, 5.34]


def test_normal_values_are_seldom_called_outliers() -> None:
    rng = np.random.default_rng(11)
    told = sum(bool(outliers(rng.normal(0, 1, 50))) for _ in range(400))
    assert told / 400 == pytest.approx(0.05, abs=0.035)


def test_few_or_equal_values_have_no_outliers() -> None:
    assert outliers([1.0] * 13 + [99.0]) == ()
    assert outliers([1.0] * 50) == ()
    assert outliers([1.0] * 20 + [99.0]) == (20,)


# Order and spread -------------------------------------------------------------------------------


def test_stretches_by_hand() -> None:
    chart = run_chart([1.0, 2.0, 9.0, 8.0, 1.0, 9.0, 3.0, 7.0])
    assert chart is not None
    # Median 5: below, below, above, above, below, above, below, above.
    assert (chart.median, chart.stretches, chart.longest) == (5.0, 6, 2)
    assert chart.expected == pytest.approx(1 + 2 * 4 * 4 / 8)
    assert chart.deviation == pytest.approx(math.sqrt(32 * 24 / (64 * 7)))


def test_the_number_of_stretches_in_random_order() -> None:
    """Wald and Wolfowitz's mean and deviation against all that chance does."""
    rng = np.random.default_rng(13)
    charts = [run_chart(rng.permutation(30).astype(float)) for _ in range(2000)]
    found = np.array([chart.stretches for chart in charts if chart is not None])
    first = charts[0]
    assert first is not None
    assert float(found.mean()) == pytest.approx(first.expected, abs=0.25)
    assert float(found.std()) == pytest.approx(first.deviation, rel=0.06)


def test_drift_has_few_stretches() -> None:
    drifting = run_chart(np.arange(30.0))
    saw = run_chart([1.0, 2.0] * 15)
    assert drifting is not None
    assert saw is not None
    assert drifting.score < -4
    assert saw.score > 4
    assert run_chart([]) is None
    assert run_chart([1.0, 1.0, 1.0]) is None


def test_a_histogram_by_hand() -> None:
    found = histogram([0.0, 1.0, 1.0, 2.0, 2.0, 2.0, 3.0, 3.0, 4.0])
    assert found is not None
    assert int(found.counts.sum()) == 9
    assert (found.edges[0], found.edges[-1]) == (0.0, 4.0)
    assert not found.counts.flags.writeable
    assert histogram([]) is None


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=200))
def test_a_histogram_holds_every_value_once(values: list[float]) -> None:
    found = histogram(values)
    assert found is not None
    assert int(found.counts.sum()) == len(values)
    assert found.counts.size <= 24
    assert found.edges.size == found.counts.size + 1


@pytest.mark.parametrize("bad", [[1.0, math.nan], [math.inf] * 20, [[1.0, 2.0]]])
def test_what_is_no_row_of_numbers_is_refused(bad: ArrayLike) -> None:
    for statistic in (control_chart, spread, outliers, run_chart, histogram):
        with pytest.raises(ValueError, match="finite numbers"):
            statistic(bad)

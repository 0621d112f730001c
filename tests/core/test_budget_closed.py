"""The closed form of a linear budget against GTC, and more worked examples."""

import math

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.budget import combine, coverage_factor, derive, half_width, scaled, type_a, type_b
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import BudgetRow, Quantity, unstated


def drawn(seed: int) -> list[BudgetRow]:
    """A budget of 1 to 20 rows; some inputs come more than once, some have few degrees."""
    draw = np.random.default_rng((100, seed))
    freedom = (1.0, 2.5, 9.0, 40.0, 1e4, math.inf)
    inputs = [
        (f"input-{number}", 10.0 ** draw.uniform(-6, 3), freedom[draw.integers(6)])
        for number in range(draw.integers(1, 9))
    ]
    rows = []
    for _ in range(draw.integers(1, 21)):
        name, u, dof = inputs[draw.integers(len(inputs))]
        slope = float(draw.uniform(-5, 5))
        rows.append(BudgetRow(name, name, "A", "normal", float(u), "V", dof, slope))
    return rows


@pytest.mark.parametrize("seed", range(300))
def test_the_closed_form_agrees_with_gtc(seed: int) -> None:
    """Independent route: one uncertain number of GTC for each input, added up by GTC."""
    rows = drawn(seed)
    numbers = {row.id: GTC.ureal(0.0, row.u, row.dof) for row in rows}
    total = 1.5 + sum(row.sensitivity * numbers[row.id] for row in rows)
    found = combine("x", "V", 1.5, "drawn", rows)
    assert found.value == GTC.value(total)
    assert found.u == pytest.approx(GTC.uncertainty(total), rel=1e-12)
    assert found.dof == pytest.approx(GTC.dof(total), rel=1e-12)
    assert len(found.rows) == len(numbers)
    k = GTC.reporting.k_factor(GTC.dof(total), 95.0)
    assert found.expanded() == pytest.approx(k * GTC.uncertainty(total), rel=1e-9)


@pytest.mark.parametrize("seed", range(100))
def test_a_function_of_two_budgets_agrees_with_gtc(seed: int) -> None:
    first, second = drawn(2 * seed), drawn(2 * seed + 1)
    shared = {row.id: row for row in (*second, *first)}
    rows = [[scaled(shared[row.id], row.sensitivity) for row in some] for some in (first, second)]
    numbers = {name: GTC.ureal(0.0, row.u, row.dof) for name, row in shared.items()}
    x, y = (
        value + sum(row.sensitivity * numbers[row.id] for row in some)
        for value, some in zip((7.0, 3.0), rows, strict=True)
    )
    direct = x * x / (y + 2.0) - GTC.exp(y / 5.0)
    sources = [
        combine(name, "V", value, "drawn", some)
        for name, value, some in zip("xy", (7.0, 3.0), rows, strict=True)
    ]
    made = derive("r", "V", "f", lambda a, b: a * a / (b + 2.0) - GTC.exp(b / 5.0), sources)
    assert made.value == pytest.approx(GTC.value(direct), rel=1e-12)
    assert made.u == pytest.approx(GTC.uncertainty(direct), rel=1e-9)
    assert made.dof == pytest.approx(GTC.dof(direct), rel=1e-9)


def test_weight_of_ea_4_02_s2() -> None:
    """EA-4/02, S2, calibration of a weight of 10 kg; figures from memory, in mg.

    Standard 22.5; its drift +/- 15; observed difference 25 / sqrt(3); eccentricity and air
    buoyancy +/- 10 each: u = 29.3 mg, U = 59 mg with k = 2.
    """
    rows = (
        type_b("standard", "standard", 22.5, "mg"),
        half_width("drift", "drift", 15.0, "mg"),
        type_b("difference", "difference, pooled", 25.0 / math.sqrt(3.0), "mg"),
        half_width("eccentricity", "eccentricity", 10.0, "mg"),
        half_width("buoyancy", "air buoyancy", 10.0, "mg"),
    )
    weight = combine("mass_mg", "mg", 10_000_025.0, "comparison", rows)
    assert weight.u == pytest.approx(29.3, abs=0.05)
    assert 2.0 * weight.u == pytest.approx(59.0, abs=0.5)


@pytest.mark.parametrize(("u_fourth", "u", "expanded"), [(1.0, 2.0, 3.92), (10.0, 10.1, 19.9)])
def test_additive_models_of_gum_s1(u_fourth: float, u: float, expanded: float) -> None:
    """JCGM 101:2008, 9.2.2 to 9.2.4: four inputs of unit u, then the fourth of u = 10.

    Figures of the framework of the GUM (not of its Monte Carlo), from memory and recomputed.
    """
    rows = [type_b(str(number), "x", 1.0, "V") for number in range(3)]
    total = combine("y", "V", 0.0, "sum", [*rows, type_b("3", "x", u_fourth, "V")])
    assert total.u == pytest.approx(u, abs=0.06)
    assert total.expanded() == pytest.approx(expanded, abs=0.05)


def test_mass_calibration_of_gum_s1() -> None:
    """JCGM 101:2008, 9.3, first order: 1.2340 mg, u = 0.0539 mg, interval 1.1285 to 1.3395 mg.

    Figures from memory; the densities' first derivatives vanish at a = 1.2 kg/m3.
    """

    def source(name: str, value: float, row: BudgetRow) -> Quantity:
        return combine(name, row.unit, value, "stated", [row])

    sources = (
        source("reference", 100_000.000, type_b("reference", "reference", 0.050, "mg")),
        source("added", 1.234, type_b("added", "added", 0.020, "mg")),
        source("air", 1.20, half_width("air", "air", 0.10, "kg/m3")),
        source("weight", 8e3, half_width("weight", "weight", 1e3, "kg/m3")),
        source("standard", 8e3, half_width("standard", "standard", 50.0, "kg/m3")),
    )
    deviation = derive(
        "deviation_mg",
        "mg",
        "9.3",
        lambda m, d, a, w, r: (m + d) * (1 + (a - 1.2) * (1 / w - 1 / r)) - 100_000.0,
        sources,
    )
    assert deviation.value == pytest.approx(1.2340, abs=5e-5)
    assert deviation.u == pytest.approx(0.0539, abs=5e-5)
    assert deviation.value - deviation.expanded() == pytest.approx(1.1285, abs=5e-5)
    assert deviation.value + deviation.expanded() == pytest.approx(1.3395, abs=5e-5)


def test_rows_that_are_not_one_input_are_refused() -> None:
    volts, milli = type_b("gain", "gain", 0.1, "V"), type_b("gain", "gain", 0.1, "mV")
    with pytest.raises(QuantityError, match="two uncertainties"):
        combine("x", "V", 1.0, "m", [volts, milli])
    with pytest.raises(QuantityError, match="two uncertainties"):
        combine("x", "V", 1.0, "m", [volts, type_b("gain", "gain", 0.0, "V")])


def test_a_source_that_would_lose_its_uncertainty_is_refused() -> None:
    bare = Quantity("bare", 1.0, "V", 0.1, math.inf, "stated")
    with pytest.raises(QuantityError, match="budget of bare"):
        derive("twice", "V", "m", lambda x: 2 * x, [bare])


def test_inputs_without_uncertainty_keep_their_derivative() -> None:
    """What nobody stated stays in sight, with the sensitivity that it would act by."""
    level = combine(
        "level",
        "V",
        2.0,
        "m",
        [type_b("a", "a", 0.1, "V"), unstated("gain", "X", "gain", "1", 2.0)],
    )
    square = derive("square", "V2", "m", lambda x: x * x, [level])
    rows = {row.id: row for row in square.rows}
    assert rows["unstated-gain@X"].sensitivity == pytest.approx(8.0)
    assert rows["a"].sensitivity == pytest.approx(4.0)


def test_an_input_nobody_stated_goes_only_where_it_cancels() -> None:
    clock, noise = unstated("timebase", "X", "time base", "1", -266.0), type_b("n", "n", 0.1, "us")
    width = combine("width", "us", 266.0, "m", [clock, noise])
    pitch = combine(
        "pitch", "Hz", 1000.0, "m", [scaled(clock, 1000.0), type_b("p", "p", 1.0, "Hz")]
    )
    duty = derive("duty", "%", "m", lambda w, f: w * f * 1e-4, [width, pitch])
    assert {row.id for row in duty.rows} == {"n", "p"}
    other = derive("other", "%", "m", lambda w, f: w / f, [width, pitch])
    assert "unstated-timebase@X" in {row.id for row in other.rows}


def test_a_constant_depends_on_nothing() -> None:
    level = combine("level", "V", 2.0, "m", [type_b("a", "a", 0.1, "V")])
    assert derive("six", "A", "m", lambda _: 6.0, [level]).u == 0.0


@given(st.floats(1e-150, 1e150), st.floats(1.0, 1e4))
def test_very_small_and_very_large_uncertainties_neither_vanish_nor_overflow(
    u: float, dof: float
) -> None:
    found = combine("x", "V", 0.0, "m", [type_a("a", "a", u, "V", dof), type_b("b", "b", u, "V")])
    assert found.u == pytest.approx(math.sqrt(2.0) * u)
    assert found.dof == pytest.approx(4.0 * dof)  # Welch-Satterthwaite: half of u^2 has dof


@given(st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=8), st.floats(1.0, 100.0))
def test_effective_degrees_lie_between_the_least_and_the_sum(us: list[float], dof: float) -> None:
    """JCGM 100:2008, G.4.1: at least the smallest, at most the sum of the degrees of freedom."""
    rows = [type_a(str(number), "a", u, "V", dof) for number, u in enumerate(us)]
    found = combine("x", "V", 0.0, "m", rows).dof
    assert dof * (1 - 1e-9) <= found <= dof * len(us) * (1 + 1e-9)


def test_the_coverage_factor_is_students() -> None:
    """Student's t by another library than the one that computes it here."""
    stats = pytest.importorskip("scipy.stats")
    for dof in (1.0, 2.7, 11.0, 200.0):
        assert coverage_factor(dof) == pytest.approx(float(stats.t.ppf(0.975, dof)), rel=1e-9)

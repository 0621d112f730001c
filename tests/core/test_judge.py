"""Verdicts: the three rules, and that nothing empty, unknown or remembered ever passes."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.errors import ProfileError, QuantityError
from pilotsignal.judge import Judgement, Limit, Rule, Verdict, judge, withheld
from pilotsignal.quantity import BudgetRow, Quantity

K95 = 1.959963984540054  # JCGM 100:2008, Table G.2, infinite degrees of freedom: 1.960
LIMIT = Limit(10.0, 20.0, "us", "test", "clause 1", Rule.GUARDED, "H")


def value(number: float, expanded: float = 1.0, dof: float = math.inf) -> Quantity:
    return Quantity("width_us", number, "us", expanded / K95, dof, "stated")


def verdict(number: float, limit: Limit, expanded: float = 1.0) -> str:
    return str(judge(value(number, expanded), limit).verdict)


@pytest.mark.parametrize(
    ("number", "guarded", "simple", "beyond"),
    [
        (8.9, "fail", "fail", "fail"),
        (9.1, "undecided", "fail", "undecided"),
        (9.999, "undecided", "fail", "undecided"),
        (10.0, "undecided", "pass", "pass"),
        (10.9, "undecided", "pass", "pass"),
        (11.1, "pass", "pass", "pass"),
        (15.0, "pass", "pass", "pass"),
        (18.9, "pass", "pass", "pass"),
        (19.1, "undecided", "pass", "pass"),
        (20.0, "undecided", "pass", "pass"),
        (20.001, "undecided", "fail", "undecided"),
        (20.9, "undecided", "fail", "undecided"),
        (21.1, "fail", "fail", "fail"),
    ],
)
def test_the_three_rules(number: float, guarded: str, simple: str, beyond: str) -> None:
    assert verdict(number, LIMIT) == guarded
    assert verdict(number, LIMIT.under(Rule.SIMPLE)) == simple
    assert verdict(number, LIMIT.under(Rule.REJECT_BEYOND_U)) == beyond


@pytest.mark.parametrize(
    ("number", "upper", "lower"),
    [(-1e6, "pass", "fail"), (9.5, "pass", "undecided"), (1e6, "fail", "pass")],
)
def test_limits_with_one_side(number: float, upper: str, lower: str) -> None:
    assert verdict(number, replace(LIMIT, low=None)) == upper
    assert verdict(number, replace(LIMIT, high=None)) == lower


def test_few_degrees_of_freedom_widen_the_guard_band() -> None:
    # JCGM 100:2008, Table G.2: k = 12.71 for one degree of freedom.
    assert judge(value(12.0, dof=math.inf), LIMIT).verdict is Verdict.PASS
    assert judge(value(12.0, dof=1.0), LIMIT).verdict is Verdict.UNDECIDED


def test_where_the_guard_bands_meet_nothing_passes() -> None:
    assert {verdict(number / 10, LIMIT, 5.1) for number in range(100, 201)} == {"undecided"}


def test_nothing_measured_is_not_run_with_the_callers_why() -> None:
    judgement = judge(None, LIMIT, missing_why="There was no pulse width modulation.")
    assert judgement.verdict is Verdict.NOT_RUN
    assert judgement.why == "There was no pulse width modulation."
    assert judgement.quantity is None
    assert judge(None, LIMIT).why != ""


def test_nothing_measured_may_be_undecided_or_a_bench_fault() -> None:
    for chosen in (Verdict.UNDECIDED, Verdict.BENCH_FAULT):
        assert judge(None, LIMIT, missing_verdict=chosen).verdict is chosen


@pytest.mark.parametrize("chosen", [Verdict.PASS, Verdict.FAIL, Verdict.OBSERVED])
def test_nothing_measured_is_never_a_verdict_on_the_charger(chosen: Verdict) -> None:
    with pytest.raises(QuantityError, match="Without a value"):
        judge(None, LIMIT, missing_verdict=chosen)
    with pytest.raises(QuantityError, match="Without a value"):
        withheld(LIMIT, chosen, "why")


@pytest.mark.parametrize(
    ("quantity", "limit"),
    [
        (value(25.0), LIMIT),
        (value(15.0), replace(LIMIT, unit="ms")),
        (value(15.0), replace(LIMIT, confidence="MEM")),
        (value(15.0), replace(LIMIT, decides=False)),
        (value(15.0), replace(LIMIT, can_pass=False)),
    ],
)
def test_a_pass_cannot_be_made_by_hand_where_none_can_be(quantity: Quantity, limit: Limit) -> None:
    with pytest.raises(QuantityError, match="cannot pass"):
        Judgement(Verdict.PASS, "because", quantity, limit)
    plain = {**Judgement(Verdict.FAIL, "x", quantity, limit).as_dict(), "verdict": "pass"}
    with pytest.raises(QuantityError, match="cannot pass"):
        Judgement.from_dict(plain)


def test_a_pass_cannot_be_made_without_a_quantity() -> None:
    with pytest.raises(QuantityError, match="nothing can pass"):
        Judgement(Verdict.PASS, "because", None, LIMIT)


@pytest.mark.parametrize("number", [5.0, 15.0, 25.0])
@pytest.mark.parametrize("rule", list(Rule))
def test_a_value_without_any_uncertainty_decides_nothing(number: float, rule: Rule) -> None:
    judged = judge(value(number, 0.0), LIMIT.under(rule))
    assert judged.verdict is Verdict.UNDECIDED
    assert "without any uncertainty" in judged.why


def test_what_is_counted_needs_none() -> None:
    limit = Limit(None, 0.0, "phases", "test", "clause 1", Rule.SIMPLE, "H")
    none, one = (Quantity("phases", n, "phases", 0.0, math.inf, "counted") for n in (0.0, 1.0))
    assert judge(none, limit).verdict is Verdict.PASS
    assert judge(one, limit).verdict is Verdict.FAIL


def test_a_result_that_does_not_depend_on_its_uncertain_inputs_is_certain() -> None:
    """As the 6 A of a duty between 8 and 10 % (IEC 61851-1:2017, Table A.8)."""
    rows = (BudgetRow("duty", "duty", "A", "normal", 0.01, "%", 9.0, 0.0),)
    current = Quantity("advertised_current_a", 6.0, "A", 0.0, math.inf, "Table A.8", rows)
    limit = Limit(None, 16.3, "A", "test", "clause 1", Rule.GUARDED, "H")
    assert judge(current, limit).verdict is Verdict.PASS


def test_a_unit_that_nobody_knows_decides_nothing() -> None:
    judged = judge(replace(value(15.0), unit="furlong"), replace(LIMIT, unit="furlong"))
    assert judged.verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("number", "verdict"),
    [(-12.0, "pass"), (-12.65, "fail"), (-11.35, "fail"), (-12.59, "undecided"), (12.0, "fail")],
)
def test_limits_below_zero(number: float, verdict: str) -> None:
    assert str(judge(value(number, 0.02), replace(LIMIT, low=-12.6, high=-11.4)).verdict) == verdict


@pytest.mark.parametrize("rule", list(Rule))
@pytest.mark.parametrize("factor", [0.0, 1.0, 1e308])
def test_an_uncertainty_beyond_all_numbers_decides_nothing_or_by_the_value_alone(
    rule: Rule, factor: float
) -> None:
    huge = value(15.0, 1e300, dof=1.0)
    judged = judge(huge, LIMIT.under(rule, factor))
    if rule is Rule.GUARDED and factor > 0:
        assert judged.verdict is Verdict.UNDECIDED
    assert judge(value(25.0, 1e300, dof=1.0), LIMIT.under(rule, factor)).verdict is not Verdict.PASS


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_a_value_that_is_no_number_cannot_get_there(number: float) -> None:
    with pytest.raises(QuantityError, match="not a result"):
        value(number)


@pytest.mark.parametrize("number", [0.0, 15.0, 100.0])
def test_a_limit_from_memory_or_only_shown_never_decides(number: float) -> None:
    from_memory = judge(value(number), replace(LIMIT, confidence="MEM"))
    assert from_memory.verdict is Verdict.OBSERVED
    assert "unconfirmed" in from_memory.why
    shown = judge(value(number), replace(LIMIT, decides=False))
    assert shown.verdict is Verdict.OBSERVED
    no_bound = judge(value(number), replace(LIMIT, low=None, high=None, decides=False))
    assert no_bound.verdict is Verdict.OBSERVED
    assert no_bound.conformance_probability is None


def test_a_limit_that_cannot_prove_fails_and_does_not_pass() -> None:
    limit = replace(LIMIT, can_pass=False, note="The full capacitance is missing.")
    assert verdict(15.0, limit) == "observed"
    assert verdict(20.5, limit) == "undecided"
    assert verdict(25.0, limit) == "fail"
    assert "full capacitance" in judge(value(15.0), limit).why


def test_units_must_agree() -> None:
    with pytest.raises(QuantityError, match="in us and its limit in ms"):
        judge(value(15.0), replace(LIMIT, unit="ms"))


@pytest.mark.parametrize(
    "bounds",
    [
        {"low": math.nan},
        {"high": math.inf},
        {"low": 21.0},
        {"low": None, "high": None},
        {"confidence": "?"},
        {"guard_factor": -0.5},
        {"guard_factor": math.nan},
    ],
)
def test_limits_that_cannot_be_used_are_refused(bounds: dict[str, float]) -> None:
    with pytest.raises(ProfileError):
        Limit.from_dict({**LIMIT.as_dict(), **bounds})


def test_the_rule_is_named_with_its_guard_band() -> None:
    assert LIMIT.rule_text == "guarded, w = U"
    assert LIMIT.under(Rule.GUARDED, 0.83).rule_text == "guarded, w = 0.83 U"
    assert LIMIT.under(Rule.SIMPLE).rule_text == "simple acceptance"
    assert LIMIT.under(Rule.REJECT_BEYOND_U).rule_text.startswith("reject only beyond U")


def test_the_sentence_gives_value_uncertainty_and_bounds() -> None:
    why = judge(value(25.04, 0.231), LIMIT).why
    assert why == "25.04 ± 0.23 us lies outside 10..20 us."
    assert "at most 20 us" in judge(value(5.0), replace(LIMIT, low=None)).why
    assert "at least 10 us" in judge(value(5.0), replace(LIMIT, high=None)).why
    assert "too close" in judge(value(20.1), LIMIT).why


def test_a_judgement_comes_back_from_json() -> None:
    for judgement in (judge(value(15.0), LIMIT), judge(None, LIMIT, missing_why="none")):
        text = json.dumps(judgement.as_dict(), allow_nan=False)
        assert Judgement.from_dict(json.loads(text)) == judgement


numbers = st.floats(-50.0, 80.0)
uncertainties = st.floats(1e-9, 30.0)
rules = st.sampled_from(list(Rule))
factors = st.floats(0.0, 3.0)


@given(numbers, uncertainties, rules, factors)
def test_outside_never_passes(number: float, expanded: float, rule: Rule, factor: float) -> None:
    judged = judge(value(number, expanded), LIMIT.under(rule, factor))
    if not 10.0 <= number <= 20.0:
        assert judged.verdict is not Verdict.PASS
    else:
        assert judged.verdict is not Verdict.FAIL


@given(numbers, uncertainties, uncertainties, rules, factors)
def test_more_uncertainty_never_turns_fail_into_pass_or_back(
    number: float, first: float, second: float, rule: Rule, factor: float
) -> None:
    small, large = sorted((first, second))
    limit = LIMIT.under(rule, factor)
    before, after = verdict(number, limit, small), verdict(number, limit, large)
    allowed = {
        "pass": {"pass", "undecided"},
        "fail": {"fail", "undecided"},
        "undecided": {"undecided"},
    }
    assert after in allowed[before]


@given(numbers, st.floats(1e-6, 30.0), st.floats(1.0, 100.0))
def test_the_probability_is_one_and_agrees_with_the_verdict(
    number: float, expanded: float, dof: float
) -> None:
    judged = judge(value(number, expanded, dof), LIMIT)
    assert judged.conformance_probability is not None
    assert 0.0 <= judged.conformance_probability <= 1.0
    # JCGM 106:2012, 8.3: with w = U at most 2.5 % on either side of a guarded limit.
    if judged.verdict is Verdict.PASS:
        assert judged.conformance_probability >= 0.95 - 1e-9
    if judged.verdict is Verdict.FAIL:
        assert judged.conformance_probability <= 0.025 + 1e-9


GOODNESS = {"fail": 0, "undecided": 1, "pass": 2}
sides = st.sampled_from([(10.0, 20.0), (None, 20.0), (10.0, None), (-20.0, -10.0), (15.0, 15.0)])


def bounded(side: tuple[float | None, float | None], rule: Rule, factor: float) -> Limit:
    return replace(LIMIT, low=side[0], high=side[1]).under(rule, factor)


def mirrored(limit: Limit) -> Limit:
    low = None if limit.high is None else -limit.high
    return replace(limit, low=low, high=None if limit.low is None else -limit.low)


@given(sides, numbers, uncertainties, rules, factors)
def test_the_mirror_image_is_judged_alike(
    side: tuple[float | None, float | None],
    number: float,
    expanded: float,
    rule: Rule,
    factor: float,
) -> None:
    limit = bounded(side, rule, factor)
    assert verdict(number, limit, expanded) == verdict(-number, mirrored(limit), expanded)


@given(sides, numbers, st.floats(0.0, 1.0), uncertainties, rules, factors)
def test_nearer_to_the_middle_is_never_worse(
    side: tuple[float | None, float | None],
    number: float,
    share: float,
    expanded: float,
    rule: Rule,
    factor: float,
) -> None:
    limit = bounded(side, rule, factor)
    low = limit.low if limit.low is not None else (limit.high or 0.0) - 100.0
    high = limit.high if limit.high is not None else (limit.low or 0.0) + 100.0
    middle = 0.5 * (low + high)
    nearer = number + share * (middle - number)
    if limit.low is None or limit.high is None:
        # On the open side there is no middle to go to.
        nearer = number + share * (
            abs(middle - number) if limit.high is None else -abs(middle - number)
        )
    before, after = verdict(number, limit, expanded), verdict(nearer, limit, expanded)
    assert GOODNESS[after] >= GOODNESS[before]


@given(sides, numbers, uncertainties, factors)
def test_a_guarded_verdict_is_never_contradicted_by_the_simple_one(
    side: tuple[float | None, float | None], number: float, expanded: float, factor: float
) -> None:
    guarded = verdict(number, bounded(side, Rule.GUARDED, factor), expanded)
    simple = verdict(number, bounded(side, Rule.SIMPLE, factor), expanded)
    beyond = verdict(number, bounded(side, Rule.REJECT_BEYOND_U, factor), expanded)
    if guarded != "undecided":
        assert simple == guarded == beyond
    if beyond == "fail":
        assert guarded == simple == "fail"


@given(
    st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=True)),
    st.floats(allow_nan=True, allow_infinity=True),
    st.floats(allow_nan=True, allow_infinity=True),
    rules,
)
def test_nothing_empty_or_infinite_ever_passes(
    number: float | None, u: float, dof: float, rule: Rule
) -> None:
    """Either the quantity cannot be made, or it passes as a finite number inside the limit."""
    quantity = None
    if number is not None:
        try:
            quantity = Quantity("width_us", number, "us", u, dof, "stated")
        except QuantityError:
            assert not (math.isfinite(number) and 0 <= u <= 1e300 and dof >= 1)
            return
    if judge(quantity, LIMIT.under(rule)).verdict is Verdict.PASS:
        assert quantity is not None
        assert 10.0 <= quantity.value <= 20.0
        assert quantity.u > 0


@given(sides, numbers, st.floats(1e-6, 30.0), st.floats(1.0, 100.0))
def test_the_probability_is_that_of_students_distribution(
    side: tuple[float | None, float | None], number: float, expanded: float, dof: float
) -> None:
    """JCGM 106:2012, 7.2, by another route: the distribution function of scipy.stats."""
    from scipy.stats import t

    limit, quantity = bounded(side, Rule.GUARDED, 1.0), value(number, expanded, dof)
    spread = t(dof, loc=number, scale=quantity.u)
    high = 1.0 if limit.high is None else float(spread.cdf(limit.high))
    low = 0.0 if limit.low is None else float(spread.cdf(limit.low))
    assert judge(quantity, limit).conformance_probability == pytest.approx(high - low, abs=1e-9)

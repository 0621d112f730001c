"""Verdicts: the three rules, and that nothing empty, unknown or remembered ever passes."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.errors import ProfileError, QuantityError
from pilotsignal.judge import Judgement, Limit, Rule, Verdict, judge, withheld
from pilotsignal.quantity import Quantity

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


def test_a_pass_cannot_be_made_without_a_quantity() -> None:
    with pytest.raises(QuantityError, match="nothing can pass"):
        Judgement(Verdict.PASS, "because", None, LIMIT)


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
    assert why == "25.04 us ± 0.23 us lies outside 10..20 us."
    assert "at most 20 us" in judge(value(5.0), replace(LIMIT, low=None)).why
    assert "at least 10 us" in judge(value(5.0), replace(LIMIT, high=None)).why
    assert "too close" in judge(value(20.1), LIMIT).why


def test_a_judgement_comes_back_from_json() -> None:
    for judgement in (judge(value(15.0), LIMIT), judge(None, LIMIT, missing_why="none")):
        text = json.dumps(judgement.as_dict(), allow_nan=False)
        assert Judgement.from_dict(json.loads(text)) == judgement


numbers = st.floats(-50.0, 80.0)
uncertainties = st.floats(0.0, 30.0)
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

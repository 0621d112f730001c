"""The verdict of a run, by the precedence fail, bench fault, incomplete, undecided, pass."""

from itertools import permutations, product

import pytest
from archive_examples import check

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult, Role, RunVerdict, new_run_id, run_verdict

PRECEDENCE = (
    (Verdict.FAIL, RunVerdict.FAIL),
    (Verdict.BENCH_FAULT, RunVerdict.BENCH_FAULT),
    (Verdict.NOT_RUN, RunVerdict.INCOMPLETE),
    (Verdict.UNDECIDED, RunVerdict.UNDECIDED),
    (Verdict.PASS, RunVerdict.PASS),
)


def _result(
    name: str, verdict: Verdict, role: Role = Role.REQUIRED, attempt: int = 1
) -> CheckResult:
    return CheckResult(name, name, role, verdict, attempt=attempt)


def test_the_first_of_the_precedence_wins_whatever_the_order() -> None:
    for verdicts in permutations([verdict for verdict, _ in PRECEDENCE], 3):
        results = [_result(f"check-{at}", verdict) for at, verdict in enumerate(verdicts)]
        expected = next(run for verdict, run in PRECEDENCE if verdict in verdicts)
        assert run_verdict(results) is expected


def test_nothing_empty_passes() -> None:
    assert run_verdict([]) is RunVerdict.INCOMPLETE
    for role, verdict in product((Role.OPTIONAL, Role.INDICATIVE), Verdict):
        assert run_verdict([_result("one", verdict, role)]) is RunVerdict.INCOMPLETE
    assert run_verdict([_result("one", Verdict.OBSERVED)]) is RunVerdict.INCOMPLETE


@pytest.mark.parametrize("verdict", list(Verdict))
@pytest.mark.parametrize("role", [Role.OPTIONAL, Role.INDICATIVE])
def test_only_required_checks_decide(role: Role, verdict: Verdict) -> None:
    results = [_result("one", Verdict.PASS), _result("two", verdict, role)]
    assert run_verdict(results) is RunVerdict.PASS


def test_an_interruption_beats_undecided_and_pass_only() -> None:
    assert run_verdict([_result("one", Verdict.PASS)], "stopped") is RunVerdict.INCOMPLETE
    assert run_verdict([_result("one", Verdict.UNDECIDED)], "") is RunVerdict.INCOMPLETE
    assert run_verdict([_result("one", Verdict.FAIL)], "stopped") is RunVerdict.FAIL
    assert run_verdict([_result("one", Verdict.BENCH_FAULT)], "lost") is RunVerdict.BENCH_FAULT


@pytest.mark.parametrize(
    ("attempts", "expected"),
    [
        ((Verdict.UNDECIDED, Verdict.PASS), RunVerdict.PASS),
        ((Verdict.UNDECIDED, Verdict.FAIL), RunVerdict.FAIL),
        ((Verdict.UNDECIDED, Verdict.UNDECIDED), RunVerdict.UNDECIDED),
        ((Verdict.BENCH_FAULT, Verdict.PASS), RunVerdict.PASS),
        ((Verdict.PASS, Verdict.BENCH_FAULT), RunVerdict.BENCH_FAULT),
        ((Verdict.FAIL, Verdict.PASS), RunVerdict.FAIL),
        ((Verdict.FAIL, Verdict.BENCH_FAULT), RunVerdict.FAIL),
    ],
)
def test_the_last_attempt_counts_but_a_fail_stays(
    attempts: tuple[Verdict, ...], expected: RunVerdict
) -> None:
    results = [_result("one", verdict, attempt=at) for at, verdict in enumerate(attempts, 1)]
    assert run_verdict(results) is expected
    assert run_verdict(reversed(results)) is expected


@pytest.mark.parametrize("name", ["verdict", "start_tick", "captures"])
def test_a_result_cannot_be_changed(name: str) -> None:
    result = check()
    with pytest.raises(AttributeError):
        setattr(result, name, None)


def test_run_ids_are_short_and_do_not_repeat() -> None:
    ids = {new_run_id() for _ in range(2000)}
    assert len(ids) == 2000
    for one in ids:
        assert len(one) == 11
        assert not set(one) & set("01ilo")

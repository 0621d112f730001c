"""Drawing, counting, deciding, switching: the rules of a lot, without an archive."""

import hashlib
import itertools
from collections import Counter
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungbench.archive.record import RunVerdict
from rungbench.lots.counting import LotRun, Unit, tally_of
from rungbench.lots.decision import LotDecision, Outcome, Tally, decide
from rungbench.lots.drawing import check_seed, draw, new_seed
from rungbench.lots.errors import LotRefused
from rungbench.lots.sampling import Severity, plan_for
from rungbench.lots.switching import PastLot, advise

ACCEPT, REJECT, OPEN = LotDecision.ACCEPT, LotDecision.REJECT, LotDecision.OPEN
NORMAL, TIGHTENED = Severity.NORMAL, Severity.TIGHTENED


# Drawing ----------------------------------------------------------------------------------------


def test_anybody_can_draw_the_same_again() -> None:
    """With the words of the rule alone: SHA-256 of SEED:UNIT, the smallest are the sample."""
    digests = {
        unit: hashlib.sha256(b"pallet-7:" + str(unit).encode()).hexdigest()
        for unit in range(1, 501)
    }
    expected = sorted(sorted(digests, key=digests.__getitem__)[:50])
    assert draw("pallet-7", 500, 50) == tuple(expected)


def test_a_drawing_is_a_set_of_units_of_the_lot() -> None:
    chosen = draw("x", 500, 50)
    assert len(set(chosen)) == 50
    assert min(chosen) >= 1
    assert max(chosen) <= 500
    assert draw("x", 20, 20) == tuple(range(1, 21))
    assert draw("x", 20, 0) == ()
    assert draw("y", 500, 50) != chosen
    with pytest.raises(ValueError, match="21 units cannot be drawn from 20"):
        draw("x", 20, 21)


def test_every_unit_is_drawn_equally_often() -> None:
    """Pearson's chi-square, 2000 drawings of 10 from 100: the 99.9 % point of 99 degrees is 148."""
    counts = Counter(unit for seed in range(2000) for unit in draw(f"s{seed}", 100, 10))
    found = np.array([counts[unit] for unit in range(1, 101)])
    # Drawn without putting back, so that the counts vary by 90/99 less than independent ones.
    assert float(np.sum((found - 200.0) ** 2 / 200.0)) / (90 / 99) < 148.0


def test_pairs_are_drawn_independently() -> None:
    """Units 1 and 2 are both in a sample of 10 of 20 with probability 10/20 x 9/19."""
    both = sum({1, 2} <= set(draw(f"p{seed}", 20, 10)) for seed in range(3000))
    expected = 3000 * 90 / 380
    assert abs(both - expected) < 4 * np.sqrt(expected * (1 - 90 / 380))


def test_seeds() -> None:
    assert len({new_seed() for _ in range(100)}) == 100
    assert check_seed(new_seed())
    for bad in ("", "a b", "a:1", "ü", "x" * 65, "\n"):
        with pytest.raises(LotRefused, match="is of no use"):
            check_seed(bad)


# Deciding ---------------------------------------------------------------------------------------


def final(plan_accept: int, failed: int) -> LotDecision:
    return ACCEPT if failed <= plan_accept else REJECT


def test_a_decision_is_made_exactly_when_nothing_can_change_it() -> None:
    """All tallies of a sample of 13, each against all ways in which it can still end."""
    plan = plan_for(40, 4.0)
    assert (plan.sample_size, plan.accept) == (13, 1)
    for failed, undecided, untested in itertools.product(range(14), repeat=3):
        passed = 13 - failed - undecided - untested
        if passed < 0:
            continue
        tally = Tally(passed, failed, undecided, untested)
        ends = {final(plan.accept, failed + more) for more in range(undecided + untested + 1)}
        expected = ends.pop() if len(ends) == 1 else OPEN
        assert decide(plan, tally).decision is expected, tally


def test_sentences() -> None:
    plan = plan_for(500, 1.5)
    assert decide(plan, Tally(40, 3, 0, 7)).why == "3 units failed; 3 or more reject the lot."
    assert decide(plan, Tally(48, 2)).why == "2 units of 50 failed; up to 2 may."
    assert decide(plan, Tally(48, 1, 0, 1)).why == (
        "1 unit failed and 1 is not decided; even with all of those failed no more than 2 would."
    )
    assert decide(plan, Tally(30, 1, 2, 17)).why == (
        "17 of 50 units untested and 2 undecided, 1 failed; up to 2 may."
    )
    assert decide(plan, Tally(47, 1, 2)).why == (
        "All units are tested, but 2 of them are undecided and 1 more may fail: passed they accept "
        "the lot, failed they reject it."
    )


def test_a_tally_of_another_sample_decides_nothing() -> None:
    plan = plan_for(500, 1.5)
    for tally in (Tally(), Tally(49), Tally(51), Tally(52, -2)):
        with pytest.raises(ValueError, match="is not that of 50 units"):
            decide(plan, tally)


# Counting ---------------------------------------------------------------------------------------

PASS, FAIL, UNDECIDED = RunVerdict.PASS, RunVerdict.FAIL, RunVerdict.UNDECIDED
FAULT, INCOMPLETE = RunVerdict.BENCH_FAULT, RunVerdict.INCOMPLETE


def unit_with(*verdicts: RunVerdict) -> Unit:
    when = datetime(2025, 7, 11, tzinfo=UTC)
    runs = tuple(
        LotRun(number, f"run{number}", 1, when, verdict, None, "", "again" if number else "")
        for number, verdict in enumerate(verdicts)
    )
    return Unit(1, "D-1", runs)


@pytest.mark.parametrize(
    ("verdicts", "outcome", "counting"),
    [
        ((), Outcome.UNTESTED, None),
        ((PASS,), Outcome.PASS, 0),
        ((FAIL, PASS), Outcome.FAIL, 0),
        ((PASS, FAIL), Outcome.PASS, 0),
        ((UNDECIDED, PASS), Outcome.UNDECIDED, 0),
        ((FAULT,), Outcome.UNTESTED, None),
        ((FAULT, FAIL, PASS), Outcome.FAIL, 1),
        ((FAULT, INCOMPLETE, PASS, FAIL), Outcome.PASS, 2),
        ((INCOMPLETE, FAULT), Outcome.UNTESTED, None),
    ],
)
def test_the_first_complete_run_counts(
    verdicts: tuple[RunVerdict, ...], outcome: Outcome, counting: int | None
) -> None:
    unit = unit_with(*verdicts)
    assert unit.outcome is outcome
    counted = unit.counts
    assert (None if counted is None else counted.number) == counting
    assert len(unit.runs) == len(verdicts), "all runs stay listed"


@given(st.lists(st.lists(st.sampled_from(list(RunVerdict)), max_size=4), max_size=20))
def test_a_tally_counts_every_unit_once(units: list[list[RunVerdict]]) -> None:
    tally = tally_of(unit_with(*verdicts) for verdicts in units)
    assert tally.total == len(units)
    # Whatever is done after a complete run changes nothing.
    again = tally_of(
        unit_with(*verdicts, PASS, FAIL) for verdicts in units if unit_with(*verdicts).counts
    )
    assert (again.failed, again.undecided) == (tally.failed, tally.undecided)


# Switching --------------------------------------------------------------------------------------


def past(text: str, severity: Severity = NORMAL) -> list[PastLot]:
    """One lot a letter: a accepted, r rejected, o closed without a decision."""
    words = {"a": ACCEPT, "r": REJECT, "o": OPEN}
    return [
        PastLot(f"L{number}", severity, words[letter])
        for number, letter in enumerate(text, start=1)
    ]


@pytest.mark.parametrize(
    ("lots", "severity"),
    [
        ("", NORMAL),
        ("aaaaa", NORMAL),
        ("r", NORMAL),
        ("rr", TIGHTENED),
        ("raaar", TIGHTENED),
        ("raaaar", NORMAL),
        ("aaarar", TIGHTENED),
        ("roooor", NORMAL),
    ],
)
def test_from_normal_to_tightened(lots: str, severity: Severity) -> None:
    """ISO 2859-1:1999, 9.3.1 (from memory): 2 of 5 or fewer consecutive lots not accepted."""
    assert advise(past(lots)).severity is severity


@pytest.mark.parametrize(
    ("lots", "severity"),
    [
        ("aaaa", TIGHTENED),
        ("aaaaa", NORMAL),
        ("aaraaaa", TIGHTENED),
        ("aaraaaaa", NORMAL),
        ("aaoaaaa", TIGHTENED),
        ("rrrr", TIGHTENED),
        ("rrrrr", None),
        ("rararaarar", None),
        ("rararaaaaar", NORMAL),
    ],
)
def test_from_tightened(lots: str, severity: Severity | None) -> None:
    """ISO 2859-1:1999, 9.3.2 and 9.4 (from memory): 5 accepted in a row; 5 not accepted in all."""
    begun = past("rr")
    tightened = past(lots, TIGHTENED)
    if severity is NORMAL and lots.endswith("r"):
        tightened[-1] = PastLot("last", NORMAL, REJECT)
    advice = advise([*begun, *tightened])
    assert advice.severity is severity
    assert advice.stopped is (severity is None)


def test_after_a_stop_inspection_goes_on_as_tightened() -> None:
    stopped = [*past("rr"), *past("rrrrr", TIGHTENED)]
    assert "until the supplier has acted" in advise(stopped).why
    assert advise([*stopped, *past("a", TIGHTENED)]).severity is TIGHTENED
    assert advise([*stopped, *past("aaaaa", TIGHTENED)]).severity is NORMAL


def test_reasons_name_the_lots() -> None:
    assert advise(past("arar")).why == "2 of the last 4 lots were not accepted (L2, L4)."
    assert advise([]).why == "No earlier lot: inspection begins as normal."

"""Sampling plans against the published tables, and against what the tables are made of."""

import math

import pytest

from rungbench.lots.characteristic import binomial
from rungbench.lots.errors import LotRefused
from rungbench.lots.sampling import (
    SamplingPlan,
    Severity,
    acceptance_quality_limits,
    code_letter,
    plan_for,
)

AQLS = (0.65, 1.0, 1.5, 2.5, 4.0)

# ISO 2859-1:1999, Table 1, general inspection level II (MIL-STD-105E, Table I, is the same).
LETTERS = (
    "2-8 A; 9-15 B; 16-25 C; 26-50 D; 51-90 E; 91-150 F; 151-280 G; 281-500 H; 501-1200 J; "
    "1201-3200 K; 3201-10000 L; 10001-35000 M; 35001-150000 N; 150001-500000 P"
)

# ISO 2859-1:1999, Tables 2-A and 2-B (MIL-STD-105E, Tables II-A and II-B), as sample size/Ac for
# each AQL above, arrows followed.
NORMAL = """
A,B,C 20/0 13/0 8/0 5/0 3/0
D 20/0 13/0 8/0 5/0 13/1
E 20/0 13/0 8/0 20/1 13/1
F 20/0 13/0 32/1 20/1 20/2
G 20/0 50/1 32/1 32/2 32/3
H 80/1 50/1 50/2 50/3 50/5
J 80/1 80/2 80/3 80/5 80/7
K 125/2 125/3 125/5 125/7 125/10
L 200/3 200/5 200/7 200/10 200/14
M 315/5 315/7 315/10 315/14 315/21
N 500/7 500/10 500/14 500/21 315/21
P 800/10 800/14 800/21 500/21 315/21
Q 1250/14 1250/21 800/21 500/21 315/21
"""
TIGHTENED = """
A,B,C 32/0 20/0 13/0 8/0 5/0
D 32/0 20/0 13/0 8/0 20/1
E 32/0 20/0 13/0 32/1 20/1
F 32/0 20/0 50/1 32/1 20/1
G 32/0 80/1 50/1 32/1 32/2
H 125/1 80/1 50/1 50/2 50/3
J 125/1 80/1 80/2 80/3 80/5
K 125/1 125/2 125/3 125/5 125/8
L 200/2 200/3 200/5 200/8 200/12
M 315/3 315/5 315/8 315/12 315/18
N 500/5 500/8 500/12 500/18 315/18
P 800/8 800/12 800/18 500/18 315/18
Q 1250/12 1250/18 800/18 500/18 315/18
"""


def cells(text: str) -> dict[tuple[str, float], tuple[int, int]]:
    found = {}
    for line in text.split("\n"):
        if not line:
            continue
        letters, *plans = line.split()
        for letter in letters.split(","):
            for aql, plan in zip(AQLS, plans, strict=True):
                size, accept = plan.split("/")
                found[letter, aql] = int(size), int(accept)
    return found


TABLES = {Severity.NORMAL: cells(NORMAL), Severity.TIGHTENED: cells(TIGHTENED)}
BOUNDS = {
    part.split()[1]: tuple(int(bound) for bound in part.split()[0].split("-"))
    for part in LETTERS.split("; ")
} | {"Q": (500_001, 10_000_000)}


def every_plan(severity: Severity) -> list[SamplingPlan]:
    return [plan_for(BOUNDS[letter][1], aql, severity=severity) for letter, aql in TABLES[severity]]


def test_every_bound_of_every_letter() -> None:
    assert len(BOUNDS) == 15
    for letter, (first, last) in BOUNDS.items():
        assert (code_letter(first), code_letter(last)) == (letter, letter)


@pytest.mark.parametrize("severity", list(Severity))
def test_every_cell_of_both_tables(severity: Severity) -> None:
    table = TABLES[severity]
    assert len(table) == 15 * 5
    for (letter, aql), (size, accept) in table.items():
        for lot_size in BOUNDS[letter]:
            plan = plan_for(lot_size, aql, severity=severity)
            assert (plan.letter, plan.table_size, plan.accept) == (letter, size, accept)
            assert plan.reject == accept + 1
            assert plan.sample_size == min(size, lot_size)
            assert plan.every_unit is (size >= lot_size)


def test_the_published_example() -> None:
    """Lot of 3201 to 10000, AQL 1.5: 200 with 7 on normal, 5 on tightened inspection."""
    normal = plan_for(4000, 1.5)
    tightened = plan_for(4000, 1.5, severity=Severity.TIGHTENED)
    assert (normal.sample_size, normal.accept, normal.reject) == (200, 7, 8)
    assert (tightened.sample_size, tightened.accept, tightened.reject) == (200, 5, 6)


def test_a_lot_of_500_at_1_5() -> None:
    plan = plan_for(500, 1.5)
    assert (plan.letter, plan.sample_size, plan.accept, plan.reject) == ("H", 50, 2, 3)
    assert "ISO 2859-1:1999" in plan.standard
    assert "Table 2-A" in plan.standard


def test_a_small_lot_is_tested_whole() -> None:
    plan = plan_for(15, 0.65)
    assert (plan.every_unit, plan.sample_size, plan.table_size, plan.accept) == (True, 15, 20, 0)
    assert not plan_for(21, 0.65).every_unit


@pytest.mark.parametrize("severity", list(Severity))
def test_sample_sizes_and_acceptance_numbers_are_preferred_ones(severity: Severity) -> None:
    """ISO 2859-1:1999: sizes follow the R5 series, and each severity has its acceptance numbers."""
    sizes = {2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250}
    numbers = {
        Severity.NORMAL: {0, 1, 2, 3, 5, 7, 10, 14, 21},
        Severity.TIGHTENED: {0, 1, 2, 3, 5, 8, 12, 18},
    }
    for plan in every_plan(severity):
        assert plan.table_size in sizes
        assert plan.accept in numbers[severity]


@pytest.mark.parametrize("severity", list(Severity))
def test_one_acceptance_number_lies_on_a_diagonal(severity: Severity) -> None:
    """Equal acceptance numbers belong to nearly equal products of sample size and AQL.

    The series of both are geometric with the same ratio, 10^(1/5) = 1.58; both are rounded.
    """
    products: dict[int, list[float]] = {}
    for plan in every_plan(severity):
        products.setdefault(plan.accept, []).append(plan.table_size * plan.aql)
    for found in products.values():
        assert max(found) / min(found) < 1.15


def test_acceptance_at_the_aql_is_as_probable_as_such_tables_have_it() -> None:
    """Common practice, no source: normal plans accept a lot at the AQL in 88 to 99 cases of 100.

    Tightened inspection is never kinder.
    """
    for plan in every_plan(Severity.NORMAL):
        at_aql = float(binomial(plan, plan.aql / 100)[0])
        assert 0.875 < at_aql < 0.995, plan
        tightened = plan_for(plan.lot_size, plan.aql, severity=Severity.TIGHTENED)
        assert 0.80 < float(binomial(tightened, plan.aql / 100)[0]) <= at_aql


@pytest.mark.parametrize("severity", list(Severity))
@pytest.mark.parametrize("aql", AQLS)
def test_a_larger_lot_never_makes_the_good_lot_less_sure(severity: Severity, aql: float) -> None:
    sizes = [bound[1] for bound in BOUNDS.values()]
    plans = [plan_for(size, aql, severity=severity) for size in sizes]
    at_aql = [float(binomial(plan, aql / 100)[0]) for plan in plans]
    # A step from Ac 0 to Ac 1 may give back a little, since sizes are rounded.
    assert all(later > earlier - 0.02 for earlier, later in zip(at_aql, at_aql[1:], strict=False))
    bad = [float(binomial(plan, 4 * aql / 100)[0]) for plan in plans]
    assert bad[0] > bad[-1]


def test_what_no_plan_is_known_for_is_refused() -> None:
    assert acceptance_quality_limits() == AQLS
    with pytest.raises(LotRefused, match="2 to 10,000,000 units, not 1; state its size"):
        plan_for(1, 1.5)
    with pytest.raises(LotRefused, match="not 0"):
        plan_for(0, 1.5)
    with pytest.raises(LotRefused, match=r"No plan is known for an AQL of 2 %; take one of 0\.65,"):
        plan_for(500, 2.0)
    with pytest.raises(LotRefused, match="AQL of nan %"):
        plan_for(500, math.nan)
    for level in ("I", "III", "S-3", "ii", ""):
        with pytest.raises(LotRefused, match="only those of general level II"):
            plan_for(500, 1.5, level)

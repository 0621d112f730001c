"""The fault matrix and the random conforming chargers, see ``fault_matrix.py``.

The ordinary run takes a dozen traits at 1.5 times their tolerance, on those steps of the full plan
that lead to their own checks, and ten chargers through the quick plan.  ``-m slow`` takes all of
it on the full plan, which lasts the better part of an hour.
"""

from collections import Counter

import pytest
from fault_matrix import CHARGERS, run_chargers, run_traits
from matrix_chargers import conforming
from matrix_run import outcome
from matrix_table import FACTORS, REST, Trait, false_alarms, misses
from matrix_traits import EXCLUDED, TRAITS
from plan_sections import CHARGING, UNPLUGGED, section

from rungbench.archive.record import Role
from rungbench.qualify.plan_file import load_plan
from rungbench.simulated.traits import KEYS

PROCESSES = 2
TO_OFF = (*CHARGING, *UNPLUGGED)
# A trait by its key, and the steps that its own checks need.
DOZEN = {
    "source_ohm": ("open", "B"),
    "low_sag_b_v": ("open", "B"),
    "frequency_in_c_hz": ("B", "C"),
    "pulse_offset_in_c_us": ("B", "C"),
    "high_sag_b1_v": ("B", "withdrawn in B", "B without an offer"),
    "close_s": ("B", "B to C"),
    "open_ms": ("B", "B to C", "C to B"),
    "unplug_ms": ("B", "B to C again", "unplugged from C"),
    "pe_open_ms": ("B", "B to C before the loop opens", "loop opens"),
    "withdraw_s": ("B", "B to C to ignore the withdrawal", "withdrawn and ignored"),
    "f_ms": (
        "B",
        "B to C before the short",
        "short from C",
        "recovery from short",
        "to C without a diode",
    ),
    "missing_phase": ("B", "B to C"),
}


def trait_of(key: str) -> Trait:
    return next(trait for trait in TRAITS if trait.key == key)


def test_the_table_is_whole() -> None:
    """At least 45 traits, each with checks of the full plan that decide; the rest is named."""
    assert len({trait.key for trait in TRAITS}) >= 45
    assert len({trait.name for trait in TRAITS}) == len(TRAITS)
    deciding = {one.id for one in load_plan("full").checks if one.role is not Role.INDICATIVE}
    deciding |= {"outlet-dead"}
    for trait in TRAITS:
        assert trait.key in KEYS
        assert set(trait.own) <= deciding, trait.name
        assert len(trait.follows) <= 3, trait.name
        for follow in trait.follows:
            assert set(follow.checks) <= deciding | {REST}, trait.name
            assert not set(follow.checks) & set(trait.own), trait.name
            assert follow.why.endswith(".")
    # What says something about the charger is either in the table or left out by name.
    bench = {
        *("frame_loss", "byte_error", "unplug_after_s", "board_id", "dither_v", "temperature_c"),
        *("clock_ppm", "missing_code", "bow_v", "seed", "speed", "outlet", "rated_a"),
        *("applied_v", "applied_hz", "applied_width_us", "authorised", "offers", "digital"),
    }
    named = {key.partition(",")[0] for key in EXCLUDED}
    assert set(KEYS) == {trait.key for trait in TRAITS} | named | bench


def test_every_factor_is_run_where_there_is_a_tolerance() -> None:
    factors = Counter(tuple(trait.values) for trait in TRAITS)
    assert set(factors) == {FACTORS, FACTORS[:1]}
    assert factors[FACTORS] >= 40


@pytest.mark.parametrize("key", DOZEN)
def test_a_dozen_traits(key: str) -> None:
    trait, factor = trait_of(key), FACTORS[0]
    kept = tuple(one for one in trait.own if one != "outlet-dead")
    seen = outcome(trait.job(factor), section(*DOZEN[key], checks=kept))
    assert misses(trait, factor, seen) == []
    assert false_alarms(trait, factor, seen) == []


@pytest.mark.parametrize("number", range(10))
def test_ten_conforming_chargers(number: int) -> None:
    seen = outcome(conforming(number), load_plan("quick"))
    assert seen.having("fail", "bench fault", "not run") == frozenset()
    assert seen.having("undecided") <= seen.near


def test_chargers_differ_and_can_be_had_again() -> None:
    assert conforming(3) == conforming(3)
    assert len({conforming(number).keys for number in range(50)}) == 50


@pytest.mark.slow
def test_all_traits() -> None:
    rows = tuple(run_traits(TRAITS, PROCESSES))
    assert [text for row in rows for text in row.misses()] == []
    assert [text for row in rows for text in row.false_alarms()] == []


@pytest.mark.slow
def test_all_chargers() -> None:
    lot = run_chargers(range(CHARGERS), PROCESSES)
    assert lot.wrong() == []
    assert lot.enough(), lot.verdicts

"""Tolerances of the pilot circuit: published figures, another solver, and statistics of others."""

import itertools
import math
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from GTC import uncertainty as u_of
from GTC import ureal, value
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pilotsignal.errors import CircuitError
from pilotsignal.preferred import E96, Joined, e96_values, nearest_pair, neighbours
from pilotsignal.resistor_choice import Wanted, edge_v, needed_ohm, preferred_fits
from pilotsignal.resistors import (
    STATES,
    Drawing,
    LevelSpread,
    Parts,
    Spread,
    Toleranced,
    chance,
    high_level,
    level_spreads,
    low_levels,
    standard_parts,
    worst_levels,
)
from pilotsignal.standard import load_profile

IEC = load_profile("iec-61851-1-2017")
SAE = load_profile("sae-j1772-2017")
PARTS = standard_parts(IEC)

# IEC 60063:2015, series E96, one decade; checked on 2026-11-25 against the table that the Python
# package eseries 1.2.1 prints, not against a purchased copy.
IEC_60063_E96 = """
100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174
178 182 187 191 196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309
316 324 332 340 348 357 365 374 383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549
562 576 590 604 619 634 649 665 681 698 715 732 750 768 787 806 825 845 866 887 909 931 953 976
"""


def spread_of(state: str, parts: Parts = PARTS, drawing: Drawing | None = None) -> LevelSpread:
    return level_spreads(parts, IEC, drawing or Drawing(50_000))[STATES.index(state)]


# Published ------------------------------------------------------------------------------------


# IEC 61851-1:2017 Table A.10 (A, B, C); SAE J1772 OCT2017 Table 2 (all): printed to 10 mV, and
# rounded there to one side or the other.
@pytest.mark.parametrize(
    ("state", "low_v", "high_v"),
    [
        ("A", 11.4, 12.6), ("B", 8.37, 9.59), ("B", 8.36, 9.59), ("C", 5.47, 6.53),
        ("D", 2.58, 3.28),
    ],
)  # fmt: skip
def test_worst_case_is_that_of_the_published_tables(
    state: str, low_v: float, high_v: float
) -> None:
    assert worst_levels(state, PARTS) == pytest.approx((low_v, high_v), abs=0.01)
    assert worst_levels(state, standard_parts(SAE)) == pytest.approx((low_v, high_v), abs=0.01)


# IEC 61851-1:2017 Table A.9: the ladders lie at the edges of the windows of Table A.4.  Levels by
# hand: 0.70 V + 11.30 V x R / (R + 1000), R the parallel resistance.
@pytest.mark.parametrize(
    ("ladder", "levels"),
    [
        ("low", (12.0, 8.063, 4.989, 2.002)),
        ("nominal", (12.0, 8.979, 5.995, 2.929)),
        ("high", (12.0, 9.986, 6.987, 3.976)),
    ],
)
def test_ladders_of_table_a9(ladder: str, levels: tuple[float, ...]) -> None:
    spreads = level_spreads(standard_parts(IEC, ladder), IEC, Drawing(1000))
    assert [spread.nominal_v for spread in spreads] == pytest.approx(levels, abs=0.002)


def test_low_level_with_and_without_the_diode() -> None:
    with_diode, in_b, *_ = low_levels(PARTS)
    # IEC 61851-1:2017 Table A.10: -12.6 to -11.4 V.
    assert (with_diode.worst_low_v, with_diode.worst_high_v) == (-12.6, -11.4)
    # By hand: -12 V x 2740 / 3740; -12.6 V x 2822.2 / 3792.2; -11.4 V x 2657.8 / 3687.8
    assert in_b.nominal_v == pytest.approx(-8.7914, abs=1e-4)
    assert (in_b.worst_low_v, in_b.worst_high_v) == pytest.approx((-9.3771, -8.2160), abs=1e-4)


def test_series_is_that_of_iec_60063() -> None:
    assert [round(100 * one) for one in E96] == [int(one) for one in IEC_60063_E96.split()]


# Other solvers --------------------------------------------------------------------------------


def test_worst_case_is_the_extreme_of_all_corners_in_ngspice(tmp_path: Path) -> None:
    """State C: 32 circuits with all parts at their limits, solved by ngspice (Debian)."""
    if shutil.which("ngspice") is None:
        pytest.skip("ngspice is not on this machine")
    names = ("high_rail", "source", "permanent", "switched_c", "diode")
    corners = list(itertools.product(*(getattr(PARTS, name).ends for name in names)))
    lines = ["corners of state C"]
    for number, (rail, source, permanent, switched, drop) in enumerate(corners):
        lines += [
            f"Vg{number} g{number} 0 {rail!r}",
            f"Rs{number} g{number} p{number} {source!r}",
            f"Vd{number} p{number} k{number} {drop!r}",
            f"Rp{number} k{number} 0 {permanent!r}",
            f"Rc{number} k{number} 0 {switched!r}",
        ]
    prints = "\n".join(f"print v(p{number})" for number in range(len(corners)))
    lines += [".control", "set numdgt=9", "op", prints, "quit", ".endc", ".end", ""]
    netlist = tmp_path / "corners.cir"
    netlist.write_text("\n".join(lines))
    said = subprocess.run(
        ["ngspice", "-b", str(netlist)], capture_output=True, text=True, check=False
    )
    levels = [float(text) for text in re.findall(r"^v\(p\d+\) = (\S+)", said.stdout, re.M)]
    assert len(levels) == 32
    assert (min(levels), max(levels)) == pytest.approx(worst_levels("C", PARTS), abs=1e-5)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("kind", list(Spread))
def test_deviation_is_what_gtc_propagates(state: str, kind: Spread) -> None:
    """GTC propagates standard uncertainties in first order; the tolerances bend that little."""
    cut = 1.0 if kind is Spread.BELL else 0.0
    # Of an even distribution a half range over sqrt 3; of a normal one cut off at three standard
    # deviations 0.98658 of a third, by scipy.
    third = float(stats.truncnorm(-3, 3).std()) / 3.0
    divisor = third if cut else 1.0 / math.sqrt(3.0)
    inputs = {
        name: ureal(part.nominal, (part.high - part.low) / 2.0 * divisor)
        for name, part in PARTS.named()
    }
    found = high_level(state, inputs)
    spread = spread_of(state, drawing=Drawing(200_000, 1, kind))
    assert spread.mean_v == pytest.approx(value(found), abs=5 * spread.u_mean_v + 0.002)
    assert spread.deviation_v == pytest.approx(u_of(found), rel=0.01)


@pytest.mark.parametrize(("hits", "draws"), [(0, 1000), (1, 1000), (437, 1000), (1000, 1000)])
def test_interval_of_a_probability_is_that_of_scipy(hits: int, draws: int) -> None:
    reference = stats.binomtest(hits, draws).proportion_ci(0.95, method="exact")
    found = chance(hits, draws)
    assert (found.low, found.high) == pytest.approx((reference.low, reference.high), abs=1e-12)
    assert found.low <= found.value <= found.high


# Truths ---------------------------------------------------------------------------------------


def test_probability_of_a_level_that_is_even() -> None:
    """In A the level is the rail: even from 11.0 to 13.0 V, 60 % of it within 11.4 to 12.6 V."""
    wide = Parts(
        Toleranced(12.0, 11.0, 13.0, "V"),
        PARTS.low_rail,
        PARTS.source,
        PARTS.permanent,
        PARTS.switched_c,
        PARTS.switched_d,
        PARTS.diode,
    )
    covered = 0
    for seed in range(40):
        allowed = spread_of("A", wide, Drawing(5_000, seed)).allowed
        assert allowed is not None
        covered += allowed.low <= 0.6 <= allowed.high
    # A 95 % interval fails in 40 trials more than six times with a probability below 0.2 %.
    assert covered >= 34


def test_same_seed_same_draws() -> None:
    assert spread_of("B", drawing=Drawing(2000, 7)) == spread_of("B", drawing=Drawing(2000, 7))
    assert spread_of("B", drawing=Drawing(2000, 7)) != spread_of("B", drawing=Drawing(2000, 8))


def test_no_draw_leaves_the_worst_case() -> None:
    for kind in Spread:
        for spread in level_spreads(PARTS, IEC, Drawing(20_000, 3, kind)):
            assert spread.worst_low_v < spread.covered_low_v < spread.nominal_v
            assert spread.nominal_v < spread.covered_high_v < spread.worst_high_v


def test_readings_add_up_and_name_the_gap() -> None:
    # The ladder of 4610 ohm lies partly above 10 V, between the windows of A and B (IEC
    # 61851-1:2017 Tables A.4 and A.9).  By hand: (11.4 V x 4600.78 + 0.55 V x 1030) / 5630.78, and
    # (12.6 V x 4619.22 + 0.85 V x 970) / 5589.22.
    parts = standard_parts(IEC, "high")
    spread = spread_of("B", parts)
    assert (spread.worst_low_v, spread.worst_high_v) == pytest.approx((9.4153, 10.5608), abs=1e-4)
    assert set(spread.reads) == {"B", "A or B"}
    assert not spread.always_read
    assert spread_of("B").always_read
    assert sum(one.hits for one in spread.reads.values()) == 50_000
    assert 0.3 < spread.reads["A or B"].value < 0.7


def test_shares_are_of_the_parts_that_take_part() -> None:
    assert {share.part for share in spread_of("A").shares} == {"high_rail"}
    shares = spread_of("C").shares
    assert {share.part for share in shares} == {
        "high_rail", "source", "permanent", "switched_c", "diode",
    }  # fmt: skip
    assert shares[0].part == "high_rail"
    # By hand: 0.6 V x 881.7 / 1881.7
    assert shares[0].high_v == pytest.approx(0.2811, abs=2e-4)


# Preferred parts ------------------------------------------------------------------------------


@given(st.floats(1.0, 9.76e6))
def test_neighbours_lie_around_what_is_asked(ohm: float) -> None:
    near = neighbours(ohm)
    values = e96_values(1.0, 9.76e6)
    assert all(one.ohm in values for one in near)
    best = float(np.min(np.abs(values - ohm)))
    assert min(abs(one.ohm - ohm) for one in near) == pytest.approx(best, abs=1e-9 * ohm)


@given(st.floats(10.0, 1e5), st.sampled_from([Joined.SERIES, Joined.PARALLEL]))
def test_no_other_pair_comes_closer(ohm: float, joined: Joined) -> None:
    pair = nearest_pair(ohm, joined)
    assert pair is not None
    values = e96_values(max(1.0, ohm / 30.0), ohm * 30.0)
    for first in values[values < ohm] if joined is Joined.SERIES else values[values > ohm]:
        rest = ohm - first if joined is Joined.SERIES else ohm * first / (first - ohm)
        if values[0] <= rest <= values[-1]:
            other = values[int(np.argmin(np.abs(values - rest)))]
            both = first + other if joined is Joined.SERIES else first * other / (first + other)
            assert abs(pair.ohm - ohm) <= abs(both - ohm) * (1 + 1e-9) + 1e-9


@pytest.mark.parametrize("state", ["B", "C", "D"])
@pytest.mark.parametrize("which", ["low", "high"])
def test_parts_for_the_edge_of_a_window(state: str, which: str) -> None:
    wanted = Wanted(state, edge_v(state, which, IEC))
    ohm = needed_ohm(wanted, PARTS)
    name = "permanent" if state == "B" else f"switched_{state.lower()}"
    values = {part: one.nominal for part, one in PARTS.named()} | {name: ohm}
    assert high_level(state, values) == pytest.approx(wanted.level_v, abs=1e-9)
    fits = preferred_fits(wanted, PARTS)
    assert abs(fits[0].off_v) < 0.05
    assert fits[0].low_v < fits[0].level_v < fits[0].high_v
    # Pairs that are listed come closer than any single part.
    pairs = [fit for fit in fits if fit.choice.joined is not Joined.ALONE]
    assert pairs
    assert all(abs(fit.off_v) < abs(fits[0].off_v) for fit in pairs)


def test_nominal_parts_are_found_again() -> None:
    # IEC 61851-1:2017 Table A.3: 2740 and 1300 ohm are E96 values.
    for state, ohm in (("B", 2740.0), ("C", 1300.0)):
        level = float(high_level(state, {name: part.nominal for name, part in PARTS.named()}))
        assert preferred_fits(Wanted(state, level), PARTS)[0].choice.ohm == ohm


# Refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        (Wanted("A", 12.0), "No resistor sets the level of A"),
        (Wanted("B", 12.0), "between 0.7 and 12 V"),
        (Wanted("C", 9.5), "between 0.7 and 8.98 V"),
        (Wanted("D", 0.5), "between 0.7 and 8.98 V"),
        (Wanted("D", math.nan), "No resistor brings nan V"),
    ],
)
def test_levels_that_no_resistor_brings(wanted: Wanted, says: str) -> None:
    with pytest.raises(CircuitError, match=says):
        preferred_fits(wanted, PARTS)


def test_nonsense_is_refused() -> None:
    with pytest.raises(CircuitError, match="least, nominal and greatest"):
        Toleranced(1.0, 2.0, 3.0, "ohm")
    with pytest.raises(CircuitError, match="least, nominal and greatest"):
        Toleranced(math.nan, math.nan, math.nan, "ohm")
    with pytest.raises(CircuitError, match="tolerance"):
        Toleranced.percent(1000.0, 100.0, "ohm")
    with pytest.raises(CircuitError, match="draws"):
        Drawing(10)
    with pytest.raises(CircuitError, match="ladder"):
        standard_parts(IEC, "middle")
    with pytest.raises(CircuitError, match="no part of 0.5 ohm"):
        neighbours(0.5)
    with pytest.raises(CircuitError, match="no probability"):
        chance(1, 0)
    with pytest.raises(CircuitError, match="edge"):
        edge_v("A", "low", IEC)

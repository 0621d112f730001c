"""The stand-in's circuit against published figures, hand calculations and the simulated bench."""

import itertools
import math
from typing import Any

import pytest
from hardware_scripts import page, rows, script, table

from rungbench.link.words import CableCode, LadderSet
from rungbench.simulated import circuit, mains, parts
from rungbench.simulated.circuit import Load, PilotCircuit, Source

design: Any = script("standin_design")
levels: Any = script("pilot_levels")
power: Any = script("ladder_power")
enable: Any = script("enable_chain")
senses: Any = script("mains_values")

# IEC 60063, series E24 and E96: rounded powers of ten, E24 as in its table.
E96 = {round(10 ** (number / 96), 2) for number in range(96)}
E24 = {1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1}
E24 |= {5.6, 6.2, 6.8, 7.5, 8.2, 9.1}


def mantissa(ohm: float) -> float:
    return float(round(ohm / 10 ** math.floor(math.log10(ohm)), 3))


LADDER = [part for role in design.LADDER.values() for part in role.values()]


# IEC 61851-1:2017 Table A.9: ladder for the edges of the windows, parts of 0.2 %.
@pytest.mark.parametrize(
    ("role", "ohms"),
    [("permanent", (1870, 2740, 4610)), ("C", (909, 1300, 1723)), ("D", (140, 270, 448))],
)
def test_the_ladder_is_that_of_the_standard(role: str, ohms: tuple[int, ...]) -> None:
    for which, ohm in zip(design.SETS, ohms, strict=True):
        part = design.LADDER[role][which]
        assert part.ohm == ohm
        worst = abs(part.made_ohm / ohm - 1) + part.tolerance
        assert worst < 0.002


@pytest.mark.parametrize(
    "part", [*LADDER, design.SHORT, *design.CABLE.values()], ids=lambda p: p.name
)
def test_every_part_can_be_bought(part: Any) -> None:
    assert {mantissa(ohm) for ohm in part.parts} <= E96 | E24


# IEC 61851-1:2017 Table B.2: 13, 20, 32, 63 A, parts within 3 %.
def test_the_cable_coding_is_that_of_the_standard() -> None:
    coded = {code: part.ohm for code, part in design.CABLE.items()}
    assert coded == {"13 A": 1500, "20 A": 680, "32 A": 220, "63 A": 100}
    assert all(part.tolerance <= 0.03 for part in design.CABLE.values())


# Recomputed from IEC 61851-1:2017 Tables A.3 and A.9: 12 V, 1 kohm, 0.70 V.
def test_the_levels_are_the_edges_of_the_windows() -> None:
    assert [row[1:] for row in table("stand_in_circuit.md", "levels")] == [
        ["8.063", "4.989", "2.002"],
        ["8.979", "5.995", "2.929"],
        ["9.986", "6.987", "3.976"],
    ]


# By hand: 12 V x 80 / 1080 = 0.889 V, 12 V x 120 / 1120 = 1.286 V; E ends at 1 V (Table A.4).
def test_only_the_short_of_80_ohm_lies_in_the_window() -> None:
    assert table("stand_in_circuit.md", "short") == [
        ["80", "0.89", "0.96"],
        ["120", "1.29", "1.39"],
    ]
    # IEC 61851-1:2017 Table A.2: highest rail and lowest source resistance.
    assert levels.short_v(80.0, 12.6, 970.0) < levels.WINDOW_E_V < levels.short_v(120.0)


# By hand: 12 V x 1 kohm / 101 kohm = 118.8 mV, 12 V x 1 kohm / 1001 kohm = 11.99 mV.
def test_what_an_input_takes_off_state_a() -> None:
    taken = {row[0]: float(row[1]) for row in table("stand_in_circuit.md", "loading")}
    assert taken["100"] == pytest.approx(118.8, abs=0.1)
    assert taken["1000"] == pytest.approx(12.0, abs=0.1)


@pytest.mark.parametrize("rung", ["B", "C", "D"])
@pytest.mark.parametrize("input_ohm", [100e3, 1.004e6])
def test_what_an_input_takes_off_a_loaded_level(rung: str, input_ohm: float) -> None:
    # Kirchhoff at the contact with the input resistance on it, solved by hand.
    load, source = levels.load_ohm(rung), 1000.0
    current = 12.0 / source + 0.7 / load
    with_it = current / (1 / source + 1 / load + 1 / input_ohm)
    assert levels.plateau_v(rung) - with_it == pytest.approx(levels.loading_v(input_ohm, rung))


# IEC 61851-1:2017 Table A.11 at full capacitance; only 5.5 nF comes near to all of them.
def test_full_capacitance_is_what_table_a_11_means() -> None:
    full = {row[1]: row for row in table("stand_in_circuit.md", "edges") if row[0] == "5.50"}
    for rung, rise in {"B": 10.0, "C": 7.0, "D": 5.0}.items():
        assert 0.8 * rise < float(full[rung][2]) < rise
        assert 0.9 * 13.0 < float(full[rung][3]) < 13.0


def test_jumpers_keep_to_the_capacitance_of_a_vehicle_and_a_cable() -> None:
    # IEC 61851-1:2017 Tables A.3 (2400 pF) and A.2 (1500 pF of the cable); parts of 2 %.
    assert design.own_f() + 1.02 * design.JUMPER_F["JP1"] <= 2.4e-9
    assert design.JUMPER_F["JP2"] == pytest.approx(1.5e-9)
    full = 1.6e-9 + design.own_f() + sum(design.JUMPER_F.values())
    assert full == pytest.approx(levels.FULL_F, rel=0.03)


def by_hand_w(ohms: list[float], at: int, case: Any) -> float:
    """Current divider: total current through the source, then the share of one branch."""
    siemens = sum(1 / ohm for ohm in ohms)
    total = (case.rail_v - case.drop_v) / (case.source_ohm + 1 / siemens)
    branch = total * (1 / ohms[at]) / siemens
    return float(branch**2 * ohms[at])


@pytest.mark.parametrize("which", design.SETS)
def test_dissipation_by_another_way(which: str) -> None:
    found = {(loss.setting, loss.resistor.name): loss.watts for loss in power.ladder_losses()}
    permanent = design.LADDER["permanent"][which]
    for rung, case in itertools.product("CD", range(len(power.CASES))):
        switched = design.LADDER[rung][which]
        pair = [permanent.ohm, switched.ohm]
        for at, part in enumerate((permanent, switched)):
            hand = by_hand_w(pair, at, power.CASES[case])
            assert found[f"{rung} {which}", part.name][case] == pytest.approx(hand)


def test_no_fault_overloads_a_part() -> None:
    # By hand: 15 V over 140 ohm is 1.607 W, a quarter of it in each of four parts.
    worst = {loss.resistor.name: loss for loss in power.worst_losses()}
    assert worst["R7"].part_w == pytest.approx(15.0**2 / 140 / 4)
    assert worst["R10"].part_w == pytest.approx(15.0**2 / 80 / 2)
    assert set(worst) == {f"R{number}" for number in range(1, 11)}
    assert all(loss.used < 1.0 for loss in [*worst.values(), *power.code_losses()])
    # Working, self-heating stays small: under a tenth of the rating.
    assert all(
        loss.watts[0] * loss.resistor.heaviest_share() < 0.1 * loss.resistor.rating_w
        for loss in worst.values()
    )
    assert power.all_closed_a() < 0.3 < design.FUSE_A


# The same stand-in as the simulated bench --------------------------------------------------


def test_the_simulated_bench_has_the_same_ladder() -> None:
    roles = (("permanent", parts.PERMANENT_OHM), ("C", parts.C_OHM), ("D", parts.D_OHM))
    for role, table_ in roles:
        for which in LadderSet:
            assert table_[which] == design.LADDER[role][str(which)].ohm
    assert design.SHORT.ohm == parts.SHORT_OHM
    for code, part in design.CABLE.items():
        assert parts.CABLE_OHM[CableCode(code.removesuffix(" A"))] == part.ohm


def test_the_simulated_bench_has_the_same_front_end() -> None:
    assert pytest.approx(design.input_ohm(), rel=0.005) == circuit.INPUT_OHM
    assert (parts.LOW_V, parts.HIGH_V) == (design.LOW_V, design.HIGH_V)
    assert script("front_end_values").constants().whole <= parts.FILTER_S
    assert pytest.approx(design.FINE_TOLERANCE / math.sqrt(3), rel=0.2) == parts.U_LADDER
    assert senses.blind_s(senses.threshold_most_v(), 230.0) <= mains.BLIND_S <= senses.BLIND_LIMIT_S


@pytest.mark.parametrize("rung", ["B", "C", "D"])
def test_the_simulated_pilot_has_the_same_levels(rung: str) -> None:
    # Its diode is a curve with 0.70 V at 5 mA, here it is 0.70 V whatever flows.
    simulated = PilotCircuit(Source(1000.0, 1e-6, 1e-9)).plateau(12.0, Load(levels.load_ohm(rung)))
    seen = levels.plateau_v(rung) - levels.loading_v(circuit.INPUT_OHM, rung)
    assert simulated == pytest.approx(seen, abs=0.03)


# Enable, relays, senses ---------------------------------------------------------------------


def test_the_pump_decays_in_time_and_holds_over_a_heartbeat() -> None:
    found = enable.pump()
    assert found.longest_decay_s < 0.050
    # By hand: 22 ms x 1.06 x ln(4.4 / 0.9).
    assert found.longest_decay_s == pytest.approx(0.022 * 1.06 * math.log(4.4 / 0.9))
    assert found.shortest_hold_s > 4 / enable.HEARTBEAT_HZ / 2
    assert found.least_cycles_hz < enable.HEARTBEAT_HZ / 2


def test_the_adapter_carries_all_relays() -> None:
    assert enable.coil_a() == pytest.approx(12 / 1028)
    assert dict(enable.RELAYS_BY_SETTING)["all relays (fault)"] * enable.coil_a() < 0.5


def test_the_senses_ignore_a_suppression_capacitor_and_know_off_in_time() -> None:
    # By hand: 2 pi 50 Hz x 100 nF x 230 V = 7.2 mA.
    assert senses.leak_a() == pytest.approx(7.2e-3, abs=0.05e-3)
    assert senses.worst_leak_peak_a() < senses.SINK_A * (1 - senses.SINK_TOLERANCE)
    assert senses.leak_v() < senses.threshold_least_v() / 1.3
    for volts in (senses.LOW_V, senses.NOMINAL_V, senses.HIGH_V):
        assert senses.blind_s(senses.threshold_most_v(), volts) < 0.8e-3


def test_no_part_of_a_sense_is_overloaded() -> None:
    worst = senses.burden(senses.HIGH_V, senses.SINK_A * (1 + senses.SINK_TOLERANCE))
    assert worst.limit_part_w < 0.5 * 2.0
    assert worst.series_part_w < 0.5 * 2.0
    assert worst.lamp_peak_a < 0.050
    assert worst.rms_a < 0.75 * 0.040
    assert senses.shorted_sink()[0] > 5 * 0.040
    # The page names what is common practice to compare: a resistor for the same margin.
    assert senses.plain_burden_ohm() == pytest.approx(2.2e3, rel=0.05)


def test_the_parts_list_and_the_drawings_name_the_same_parts() -> None:
    listed = {row[0] for row in rows(page("parts.md")) if row[0] != "part"}
    names = {name for cell in listed for name in expanded(cell)}
    drawn = script("draw_sheets").SHEETS
    text = "\n".join(draw().svg() for draw in drawn.values())
    undrawn = {name for name in names if f">{name}" not in text and name not in text}
    # Drawn under a name that stands for several, or not drawn at all.
    assert undrawn <= {
        "box",
        "resistors of 0.1 %",
        "resistors of 0.05 %",
        "crystal",
        "suppressor of 50 pF",
        "reference of 0.1 %",
        "USB isolator",
    }


def expanded(cell: str) -> list[str]:
    """`R43..R45` and `F1, F2` as single names."""
    found = []
    for part in cell.split(", "):
        first, _, last = part.partition("..")
        if last:
            letter = first.rstrip("0123456789")
            numbers = range(int(first[len(letter) :]), int(last[len(letter) :]) + 1)
            found += [f"{letter}{number}" for number in numbers]
        else:
            found.append(part)
    return found

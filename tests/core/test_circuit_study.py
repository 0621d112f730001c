"""What a better meter, diode, resistor or converter buys, and the page that says so."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from pilotsignal.source_study import COLUMNS, HOBBY, VARIANTS, largest, source_of, study, table

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "hardware_notes" / "source_resistance.md"


def expanded(name: str, column: int = 0) -> float:
    return next(row for row in study() if row.name == name).expanded_ohm[column]


def test_a_hobby_bench_leaves_15_to_20_ohm() -> None:
    assert 15.0 < expanded("hobby calibration") < 20.0


def test_by_hand_it_comes_to_the_same() -> None:
    """``R1 = R (U_A - U_B) / (U_B - U_d)`` at 12, 8.979 and 0.7 V: the derivatives by hand.

    331 ohm/V by U_A, -452 ohm/V by U_B, 121 ohm/V by U_d, 0.365 ohm/ohm by R. Bounds over sqrt(3);
    steps and bending of half a step (14.6 mV) each at both levels; 2 mV of the rails.
    """
    step = 30.0 / 1024.0 / 2.0 / 3**0.5
    levels = (331.0**2 + 452.0**2) * (2.0 * step**2 + 0.002**2)
    resistor = (0.365 * 27.4) ** 2 / 3.0
    diode = 121.0**2 * (0.0055**2 + 0.020**2) / 3.0
    meter_zero = 121.0**2 * 0.020**2 / 3.0
    by_hand = 1.96 * (levels + resistor + diode + meter_zero) ** 0.5
    # The current at B moves the diode's drop, which the hand calculation leaves out.
    assert expanded("hobby calibration") == pytest.approx(by_hand, rel=0.08)


def test_what_each_part_buys() -> None:
    hobby = expanded("hobby calibration")
    assert hobby - expanded("multimeter 0.05 % + 2 mV") < 0.5, "the gain drops out"
    assert expanded("resistors 0.1 %") < hobby - 3.0
    assert expanded("noise of half a step") < hobby - 2.0
    assert expanded("diode not measured, 0.55 to 0.85 V") > hobby + 8.0
    assert expanded("hobby calibration", 1) < hobby - 4.0, "a third level"
    assert expanded("all of that and the better multimeter") < 6.0


@pytest.mark.parametrize("rungs", COLUMNS)
def test_nothing_gets_worse_by_a_better_part(rungs: tuple[str, ...]) -> None:
    worst = source_of(HOBBY, rungs).source_ohm.u
    better = (
        replace(HOBBY, meter_relative=0.001, meter_v=0.004),
        replace(HOBBY, diode_k=1.0),
        replace(HOBBY, resistor_relative=0.002),
        replace(HOBBY, dithered=True),
        replace(HOBBY, bits=12),
    )
    for bench in better:
        fit = source_of(bench, rungs)
        assert fit.source_ohm.u < worst
        # Two points leave the diode's series resistance out: 0.1 ohm.
        assert fit.source_ohm.value == pytest.approx(1000.0, abs=0.1)


def test_the_largest_contributions_are_named() -> None:
    first, second = largest(source_of(HOBBY, ("open", "B")), 2)
    assert first.startswith("permanent 5.8")
    assert second.startswith("converter")


def test_the_page_shows_what_the_study_finds() -> None:
    text = PAGE.read_text(encoding="utf-8")
    shown = text.partition("<!-- source study -->\n")[2].partition("<!-- end -->")[0]
    assert shown == table(study())
    assert len(shown.splitlines()) == len(VARIANTS) + 2


def test_the_command_of_the_page_prints_it() -> None:
    said = subprocess.run(
        [sys.executable, "-m", "pilotsignal.source_study"],
        cwd=ROOT / "signal",
        capture_output=True,
        text=True,
        check=True,
    )
    assert said.stdout == table(study())

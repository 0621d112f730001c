"""The dialogue: asked, corrected, broken off and gone on with."""

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest
from calibration_answers import URL, stored

from rungbench.calibrations.record import Part
from rungbench.cli.main import run
from rungbench.paths import paths
from rungbench.qualify.bench import store_for

HEAD = ["A. Tester", "", "", "", ""]  # who, temperature, span, validity, note
METER = ["bench meter", "M-1", "0.001", "limit", "0.02 % + 2 mV", ""]
CLOCK = ["counter", "", "0", "limit", "1 ppm", "1000", "10"]
LEVELS = ["-12", "-9", "-6", "-3", "0", "3", "6", "9", "12"]
Talk = Callable[..., tuple[int, str, str]]


class Person:
    """Answers one after the other; breaks off where `None` stands."""

    def __init__(self) -> None:
        self.answers: Iterator[str | None] = iter(())
        self.asked: list[str] = []

    def __call__(self, text: str = "") -> str:
        self.asked.append(text)
        answer = next(self.answers)
        if answer is None:
            raise KeyboardInterrupt
        return answer


@pytest.fixture
def person(monkeypatch: pytest.MonkeyPatch) -> Person:
    made = Person()
    monkeypatch.setattr(click.termui, "visible_prompt_func", made)
    return made


@pytest.fixture
def talk(person: Person, capsys: pytest.CaptureFixture[str]) -> Talk:
    def talking(parts: str, *answers: str | None, more: str = "") -> tuple[int, str, str]:
        person.answers, person.asked = iter(answers), []
        status = run(["bench", "calibrate", *parts.split(), "--bench", URL, *more.split()])
        assert next(person.answers, "none left") == "none left"
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return talking


def test_from_the_first_question_to_the_record(talk: Talk, person: Person) -> None:
    status, out, error = talk("volts", *HEAD, *METER, *LEVELS)
    assert (status, error) == (0, "")
    assert "SIMULATED" in out
    assert "No charger may be connected" in out
    record = stored(Part.VOLTS)
    assert record.made.by == "A. Tester"
    assert record.made.temperature_c == 24.5  # what the board's own sensor offered
    assert len(record.readings["levels"]) == 9
    assert any("Apply about -12 V" in text for text in person.asked)
    assert not list((paths().simulated_calibrations / "drafts").glob("*.json"))


def test_what_makes_no_sense_is_asked_again(talk: Talk) -> None:
    head = ["", "A. Tester", "hot", "24", "", "", ""]
    meter = [*METER[:4], "good", "0.02 % + 2 mV", ""]
    status, out, _ = talk("volts", *head[1:], *meter, "12", *LEVELS)
    assert status == 0
    assert "'hot' is no number" in out
    assert "'good' is no accuracy" in out
    assert "12 V is not about -12 V" in out


@pytest.mark.parametrize("answered", [0, 3, 7, 12, 15, 19])
def test_broken_off_anywhere_and_gone_on_with(talk: Talk, person: Person, answered: int) -> None:
    whole = [*HEAD, *METER, *LEVELS]
    status, _, error = talk("volts", *whole[:answered], None)
    assert status == 3
    assert "Broken off. What was answered is kept" in error
    assert store_for(simulated=True).records() == ()
    status, out, _ = talk("volts", *whole[answered:])
    assert status == 0
    assert len(person.asked) == len(whole) - answered
    assert ("Going on with what was begun" in out) == (answered > 0)
    record = stored(Part.VOLTS)
    typed = [level["meter_v"] for level in record.readings["levels"]]
    assert typed == [float(text) for text in LEVELS]
    assert record.instruments[0].name == "bench meter"


def test_levels_of_a_warm_and_of_a_cold_day_make_no_calibration(talk: Talk) -> None:
    whole = [*HEAD, *METER, *LEVELS]
    talk("volts", *whole[:-2], None)
    status, _, error = talk("volts", *whole[-2:], more=f"--bench {URL}?temperature_c=17")
    assert status == 4
    assert "The board was at 17.0 to 24.5 °C" in error
    assert "--restart" in error
    assert store_for(simulated=True).records() == ()


def test_a_part_that_is_done_is_not_asked_again(talk: Talk) -> None:
    status, _, _ = talk("volts clock", *HEAD, *METER, *LEVELS, *CLOCK[:3], None)
    assert status == 3
    first = stored(Part.VOLTS)
    status, out, _ = talk("volts clock", *CLOCK[3:])
    assert status == 0
    assert f"volts: done before, as {first.id}" in out
    assert stored(Part.VOLTS) == first
    assert abs(stored(Part.CLOCK).result["correction"]) < 60e-6


def test_restart_forgets(talk: Talk, person: Person) -> None:
    talk("clock", *HEAD, *CLOCK[:2], None)
    status, out, _ = talk("clock", *HEAD, *CLOCK, more="--restart")
    assert status == 0
    assert "Going on" not in out
    assert len(person.asked) == len(HEAD) + len(CLOCK)


def test_a_draft_that_cannot_be_read_is_told(talk: Talk) -> None:
    talk("clock", *HEAD[:1], None)
    (draft,) = (paths().simulated_calibrations / "drafts").glob("*.json")
    draft.write_text("{}")
    status, _, error = talk("clock")
    assert status == 4
    assert "begin anew with --restart" in error


def test_a_draft_of_long_ago_is_not_gone_on_with(talk: Talk) -> None:
    talk("clock", *HEAD[:1], None)
    (draft,) = (paths().simulated_calibrations / "drafts").glob("*.json")
    plain = json.loads(draft.read_text())
    draft.write_text(json.dumps(plain | {"begun": "2026-01-01T00:00:00+00:00"}))
    status, _, error = talk("clock")
    assert status == 4
    assert "was begun on 2026-01-01" in error
    assert "--restart" in error


def test_parts_and_widths(talk: Talk) -> None:
    ladder = ["1870", "2740", "4610", "909", "1300", "1723", "140", "270", "448"]
    rest = ["-", "1000000", "-", "-", "-", "-"]  # short and cable codes left out
    diode = ["bench meter", "", "0", "limit", "0.02 % + 2 mV", "2", "0.673", "10", "0.722"]
    ohmmeter = ["ohmmeter", "", "0.1", "limit", "0.02 % + 2 digits"]
    pulse = ["measured", "pulse source", "", "0", "limit", "0.01 us", "1000", "300"]
    widths = [*pulse, "typed", "0.05", "0.02", "measured", "", "300", "skip"]
    status, out, _ = talk("parts widths", *HEAD, *ohmmeter, *ladder, *rest, *diode, *widths)
    assert status == 0, out
    known = stored(Part.PARTS).result["known"]
    assert known["permanent_high"]["value"] == 4610.0
    # 0.02 % of 4610 ohm and two digits of 0.1 ohm, as limits; half a digit; 10 ppm/K for 10 K.
    parts = ((0.922 / 3**0.5) ** 2, (0.2 / 3**0.5) ** 2, 0.1**2 / 12, (0.461 / 3**0.5) ** 2)
    assert known["permanent_high"]["u"] == pytest.approx(sum(parts) ** 0.5)
    assert "short" not in known
    bias = stored(Part.WIDTHS).result["bias"]
    assert set(bias) == {"any", "B", "C"}
    assert bias["B"]["bias_us"] == 0.05
    assert bias["C"]["bias_us"] == pytest.approx(bias["any"]["bias_us"], abs=0.03)


def test_a_resistor_that_is_another_one(talk: Talk, tmp_path: Path) -> None:
    del tmp_path
    head = [*HEAD, "ohmmeter", "", "0.1", "limit", "0.02 % + 2 digits"]
    status, out, _ = talk("parts", *head, "2740", "1870", None)
    assert status == 3
    assert "far from the 1870 ohm of permanent low" in out


def test_a_ladder_is_measured_as_it_is_built(talk: Talk) -> None:
    """C and D with the permanent resistor beside them: 1 / (1/R - 1/R_permanent)."""
    ladder = ["1870", "2740", "4610", "611.66 parallel", "881.68 parallel", "1723"]
    ladder += ["140", "245.78 parallel", "448"]
    rest = ["-", "1000000", "-", "-", "-", "-"]
    diode = ["bench meter", "", "0", "limit", "0.02 % + 2 mV", "2", "0.673", "10", "0.722"]
    ohmmeter = ["ohmmeter", "", "0", "standard", "0.01 %"]
    status, _, _ = talk("parts", *HEAD, *ohmmeter, *ladder, *rest, *diode)
    assert status == 0
    known = stored(Part.PARTS).result["known"]
    # IEC 61851-1:2017 Table A.3: 2740 || 1300 is 882, 2740 || 270 is 246 ohm.
    for name, ohm in (("switched_c_low", 909.0), ("switched_c", 1300.0), ("switched_d", 270.0)):
        assert known[name]["value"] == pytest.approx(ohm, abs=0.1)
    # By hand: (1300 / 881.68)^2 x 0.088168 and (1300 / 2740)^2 x 0.2745 (10 ppm/K for 10 K in the
    # latter), with 10 ppm/K for 10 K of its own.
    # Both readings are of one ohmmeter: its error takes away in part what it adds.
    u = math.hypot(2.174 * 0.088168 - 0.2251 * 0.274, 0.2251 * 0.1582, 0.0751)
    assert known["switched_c"]["u"] == pytest.approx(u, rel=2e-3)


@pytest.mark.parametrize("levels", ["", "a", "nan", "20,0", "-12,0,3,6,9"])
def test_levels_that_cannot_be_asked_for(talk: Talk, levels: str) -> None:
    answers = [*HEAD, *METER] if levels.startswith("-12") else []
    status, _, error = talk("volts", *answers, more=f"--levels={levels}")
    assert status == 2
    assert "are no levels" in error or "No level is near +12 V" in error

"""``rungbench decode``: published vectors, bands and codes by way of the command line."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from rungbench.cli.main import run

Call = Callable[..., str]


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    def calling(*words: str) -> str:
        assert run(["decode", *words]) == 0
        output = capsys.readouterr()
        assert output.err == ""
        return output.out

    return calling


def document(call: Call, *words: str) -> dict[str, Any]:
    found = json.loads(call(*words, "--json"))
    assert isinstance(found, dict)
    assert found["schema"] == "rungbench.decoding/1"
    return found


# Vectors published with IEC 61851-1:2017, Table A.7, and SAE J1772 OCT2017: ampere, percent.
VECTORS = [
    ("6", 10.0),
    ("16", 26.667),
    ("18", 30.0),
    ("24", 40.0),
    ("30", 50.0),
    ("32", 53.333),
    ("48", 80.0),
    ("51", 85.0),
    ("63", 89.2),
    ("65", 90.0),
    ("80", 96.0),
]


@pytest.mark.parametrize(("current", "percent"), VECTORS)
def test_vectors_in_both_directions(call: Call, current: str, percent: float) -> None:
    duty = document(call, "current", current)["duty_percent"]
    assert duty == pytest.approx(percent, abs=5e-4)
    assert document(call, "duty", f"{duty!r}")["current_a"] == pytest.approx(float(current))


# IEC 61851-1:2017, Table A.8.
@pytest.mark.parametrize(
    ("percent", "kind", "current"),
    [
        ("2.9", "none", 0.0),
        ("3", "digital", None),
        ("5%", "digital", None),
        ("7", "digital", None),
        ("7.5", "none", 0.0),
        ("8", "current", 6.0),
        ("96.5", "current", 80.0),
        ("97.1", "none", 0.0),
    ],
)
def test_bands(call: Call, percent: str, kind: str, current: float | None) -> None:
    found = document(call, "duty", percent)
    assert (found["kind"], found["current_a"]) == (kind, current)


def test_the_profile_decides(call: Call) -> None:
    """SAE J1772 OCT2017 reads 4.5 to 5.5 % as digital, IEC 61851-1:2017 3 to 7 %."""
    assert document(call, "duty", "6.5")["kind"] == "digital"
    other = document(call, "duty", "6.5", "--profile", "sae-j1772-2017")
    assert other["profile"] == "sae-j1772-2017"
    assert other["kind"] != "digital"


def test_a_current_that_reads_back_as_less_is_warned_of(call: Call) -> None:
    """Between 51 and 52.5 A the second formula of Table A.7 gives 84.4 to 85 %: recomputed."""
    assert "50.76 A" in document(call, "current", "51.5")["warning"]
    assert "50.76 A" in call("current", "51.5")


# IEC 61851-1:2017, Table A.4.
@pytest.mark.parametrize(
    ("words", "state"),
    [
        (["12"], ["A1"]),
        (["8.98", "--low", "-12"], ["B2"]),
        (["6V", "--low=-11.9"], ["C2"]),
        (["3", "--low", "-12"], ["D2"]),
        (["10.5", "--low", "-12"], ["A2", "B2"]),
        (["200mV"], ["E"]),
        (["-12"], ["F"]),
        (["-5"], ["invalid"]),
    ],
)
def test_states(call: Call, words: list[str], state: list[str]) -> None:
    assert document(call, "volts", *words)["state"] == state
    assert state[0] in call("volts", *words) or state == ["invalid"]


def test_the_low_level_tells_the_diode(call: Call) -> None:
    """IEC 61851-1:2017, Table A.4: -13 to -11 V shows the diode."""
    assert document(call, "volts", "9", "--low", "-12")["diode"] is True
    assert document(call, "volts", "9", "--low", "-8")["diode"] is False
    assert "shows no diode" in call("volts", "9", "--low", "-8")


# IEC 61851-1:2017, Table B.2.
@pytest.mark.parametrize(
    ("ohm", "current"),
    [("1500", 13.0), ("680", 20.0), ("220ohm", 32.0), ("100", 63.0), ("open", None), ("20", None)],
)
def test_cables(call: Call, ohm: str, current: float | None) -> None:
    assert document(call, "cable", ohm)["current_a"] == current


def test_every_page_names_its_source(call: Call) -> None:
    for words in (["duty", "26.7"], ["current", "16"], ["volts", "9"], ["cable", "220"]):
        page = call(*words)
        assert "Source: IEC 61851-1:2017, " in page
        assert "confirm against your own copy" in page

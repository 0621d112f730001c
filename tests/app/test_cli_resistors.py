"""``rungbench resistors``: published worst cases, parts for a level, and refusals."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from rungbench.cli.main import run

Call = Callable[..., str]
FEW = ("--draws", "5000")


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    def calling(*words: str) -> str:
        assert run(["resistors", *FEW, *words]) == 0
        output = capsys.readouterr()
        assert output.err == ""
        return output.out

    return calling


def document(call: Call, *words: str) -> dict[str, Any]:
    found = json.loads(call(*words, "--json"))
    assert isinstance(found, dict)
    assert found["schema"] == "rungbench.resistors/1"
    return found


def levels(found: dict[str, Any]) -> dict[str, Any]:
    return {level["state"]: level for level in found["levels"]}


# IEC 61851-1:2017 Table A.10 (A to C), SAE J1772 OCT2017 Table 2 (A to D), printed to 10 mV.
@pytest.mark.parametrize(
    ("profile", "state", "window"),
    [
        ("iec-61851-1-2017", "B", (8.37, 9.59)),
        ("iec-61851-1-2017", "C", (5.47, 6.53)),
        ("sae-j1772-2017", "B", (8.36, 9.59)),
        ("sae-j1772-2017", "D", (2.58, 3.28)),
    ],
)
def test_worst_case_is_the_published_one(
    call: Call, profile: str, state: str, window: tuple[float, float]
) -> None:
    found = levels(document(call, "--profile", profile))[state]
    assert found["worst_case"] == pytest.approx(window, abs=0.01)
    assert found["read_for_certain"] is True
    assert found["read_as"][state]["hits"] == 5000


def test_probability_carries_its_interval_and_seed(call: Call) -> None:
    words = ("--ladder", "high", "--seed", "4")
    found = document(call, *words)
    assert found["drawing"] == {"draws": 5000, "seed": 4, "spread": "even"}
    reading = levels(found)["B"]["read_as"]
    assert set(reading) == {"B", "A or B"}
    for one in reading.values():
        low, high = one["interval_95_percent"]
        assert 0.0 < low < one["probability"] < high < 1.0
    assert found == document(call, *words)


def test_parts_are_taken_as_typed(call: Call) -> None:
    found = document(
        call, "--source", "1k,1%", "--high-rail", "11.8V", "--diode", "0.65,0.05", "--permanent",
        "2740ohm,2", "--spread", "bell",
    )  # fmt: skip
    parts = found["parts"]
    assert (parts["source"]["low"], parts["source"]["high"]) == pytest.approx((990.0, 1010.0))
    # 5 % of 12 V by IEC 61851-1:2017 Table A.2, kept in percent: 0.59 V.
    assert (parts["high_rail"]["low"], parts["high_rail"]["high"]) == pytest.approx((11.21, 12.39))
    assert (parts["diode"]["low"], parts["diode"]["high"]) == pytest.approx((0.60, 0.70))
    assert (parts["permanent"]["low"], parts["permanent"]["high"]) == pytest.approx((2738, 2742))
    # By hand: (11.8 V x 2740 + 0.65 V x 1000) / 3740
    assert levels(found)["B"]["nominal"] == pytest.approx(8.8187, abs=1e-4)
    # The low rail keeps what is least and what is greatest: IEC 61851-1:2017 Table A.2.
    assert (parts["low_rail"]["low"], parts["low_rail"]["high"]) == pytest.approx((-12.6, -11.4))


def test_parts_for_a_level_and_for_an_edge(call: Call) -> None:
    found = document(call, "--want", "B:8.9786096", "--want", "c:high", "--part-percent", "0.5")
    by_level, by_edge = found["wanted"]
    # IEC 61851-1:2017 Table A.3: 2740 ohm, an E96 value of IEC 60063.
    assert by_level["choices"][0]["parts_ohm"] == [2740.0]
    assert by_level["needed_ohm"] == pytest.approx(2740.0, abs=0.01)
    # IEC 61851-1:2017 Table A.4: C up to 7 V.
    assert (by_edge["edge"], by_edge["level_v"]) == ("high", 7.0)
    for choice in by_edge["choices"]:
        low, high = choice["worst_case_v"]
        assert low < choice["level_v"] < high
        assert choice["level_v"] - 7.0 == pytest.approx(choice["off_v"])


def test_page_names_source_seed_and_doubt(call: Call) -> None:
    page = " ".join(call("--want", "D:low").split())
    assert "5000 draws, seed 1, spread even; intervals are of 95 %." in page
    assert "B is read as B: certain, all corners are" in page
    # By hand: 1000 ohm x 1.3 V / 10 V are 130 ohm, and 1 / (1 / 130 - 1 / 2740).
    assert "2 V in D, the low edge of its window: 136.48 ohm as its switched resistor" in page
    assert "confirm against your own copy of IEC 61851-1:2017" in page


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--source", "x"), "no VALUE[,TOLERANCE]"),
        (("--source", "1000,x%"), "no VALUE[,TOLERANCE]"),
        (("--source", "nan"), "no VALUE[,TOLERANCE]"),
        (("--source", "-5"), "give positive resistances"),
        (("--source", "1000,120%"), "A tolerance of 120 % cannot be"),
        (("--high-rail", "12A"), "no VALUE[,TOLERANCE]"),
        (("--low-rail", "3"), "The low rail lies below 0 V"),
        (("--diode", "13"), "The diode's drop lies between"),
        (("--want", "A:12"), "no STATE:LEVEL"),
        (("--want", "B"), "no STATE:LEVEL"),
        (("--want", "B:12"), "No resistor brings 12 V in B"),
        (("--want", "B:11.9999999"), "There is no part of"),
        (("--draws", "3"), "Invalid value for '--draws'"),
        (("--ladder", "other"), "Invalid value for '--ladder'"),
        (("--profile", "other"), "There is no profile"),
    ],
)
def test_wrong_use_is_one_sentence(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    assert run(["resistors", *words]) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert says in output.err
    assert len(output.err.strip().splitlines()) == 1

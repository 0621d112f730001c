"""Sessions with the firmware, recorded in its simulator, played back: no simulator is needed.

`fixtures/links/README.md` says what they are; `firmware_truth.json` what was really at the contact.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from board_simulator.sessions import SESSIONS, Outcome

from pilotsignal.measure import measure
from rungbench.errors import ReplayError
from rungbench.link.record import ReplayLine, replay
from rungbench.link.words import EventKind
from rungbench.standin.board import StandIn
from rungbench.standin.record import BoardRecord

FOLDER = Path(__file__).parents[2] / "fixtures" / "links"
TRUTHS: dict[str, Any] = json.loads((FOLDER / "firmware_truth.json").read_text("ascii"))


def lines_of(name: str) -> list[str]:
    return (FOLDER / f"{name}.jsonl").read_text("ascii").splitlines()


def played(name: str) -> Outcome:
    with StandIn.behind(replay(lines_of(name), name)) as standin:
        return SESSIONS[name](standin, lambda command: None)


def record_of(name: str) -> BoardRecord:
    record = played(name).record
    assert record is not None
    assert not record.losses, record.losses.text()
    return record


def test_every_session_is_recorded() -> None:
    recorded = {path.stem for path in FOLDER.glob("firmware_*.jsonl")}
    assert recorded == set(SESSIONS) == set(TRUTHS)


@pytest.mark.parametrize("name", ["firmware_ten_bits_at_b", "firmware_eight_bits_at_b"])
def test_pulses_are_those_that_were_there(name: str) -> None:
    record = record_of(name)
    truth = TRUTHS[name]["truth"]
    assert record.capture is not None
    found = measure(record.capture, record.edges)
    assert found.pulse_width_zero_us is not None
    assert found.frequency_hz is not None
    # Without a calibration: the comparator's bias is 0.5 us at most by design, and the clock's
    # crystal 50 ppm off.
    assert found.pulse_width_zero_us.value == pytest.approx(truth["width_us"], abs=0.5)
    assert found.frequency_hz.value == pytest.approx(1e6 / truth["period_us"], rel=50e-6)


def test_levels_are_those_that_were_there() -> None:
    name = "firmware_ten_bits_at_b"
    capture = record_of(name).capture
    assert capture is not None
    found, truth = measure(capture), TRUTHS[name]["truth"]
    assert found.high_plateau_v is not None
    assert found.low_plateau_v is not None
    # By design the divider is right to 0.3 % and some millivolts.
    assert found.high_plateau_v.value == pytest.approx(truth["high_v"], abs=0.05)
    assert found.low_plateau_v.value == pytest.approx(truth["low_v"], abs=0.05)


def test_mains_comes_and_goes_on_all_phases() -> None:
    events = record_of("firmware_mains_on_and_off").events
    on = [event.phase for event in events if event.kind is EventKind.MAINS_ON]
    off = [event.phase for event in events if event.kind is EventKind.MAINS_OFF]
    assert sorted(on) == sorted(off) == [1, 2, 3]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("firmware_interlock_in_c", "The board left C for open by itself (interlock open)"),
        ("firmware_reset_in_c", "was reset in the middle (reset line)"),
        ("firmware_arming_with_the_stop_pressed", "refused arming: interlock open"),
    ],
)
def test_trouble_is_told_in_one_sentence(name: str, said: str) -> None:
    outcome = played(name)
    assert outcome.record is None
    assert said in outcome.said
    assert TRUTHS[name]["last_rungs"] in ([], ["open"])


def test_a_recording_that_is_not_read_to_its_end_fails() -> None:
    lines = lines_of("firmware_ten_bits_at_b")
    line = ReplayLine(lines, "cut short")
    line.read()
    with pytest.raises(ReplayError, match="pieces unused"):
        line.close()
    longer = [*lines, json.dumps({"t": 99.0, "to": "host", "bytes": "00"})]
    with (
        pytest.raises(ReplayError, match="1 pieces unused"),
        StandIn.behind(replay(longer, "longer")) as standin,
    ):
        SESSIONS["firmware_ten_bits_at_b"](standin, lambda command: None)


def test_a_host_that_says_something_else_fails() -> None:
    lines = lines_of("firmware_ten_bits_at_b")
    with (
        pytest.raises(ReplayError, match="record the link again"),
        StandIn.behind(replay(lines, "another")) as standin,
    ):
        SESSIONS["firmware_interlock_in_c"](standin, lambda command: None)

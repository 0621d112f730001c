"""Recording a link and playing it back: the same, in order, to its end."""

import io
import json

import pytest
from link_board import IDENTITY, NONCE, ScriptedLine

from rungbench.acquire import Acquisition
from rungbench.errors import LinkLost, ReplayError
from rungbench.link.greeting import greet
from rungbench.link.messages import (
    Arm,
    Event,
    EventKind,
    Health,
    KeepAlive,
    Mode,
    Present,
    Rung,
    SetMode,
    Setting,
    frame_bytes,
)
from rungbench.link.record import SCHEMA, RecordingLine, ReplayLine, replay

B = Setting(Rung.B)


def converse(acquisition: Acquisition, last: Setting = B) -> list[object]:
    """A short session, the same each time it is called."""
    heard: list[object] = []
    with acquisition:
        heard.append(acquisition.send(Arm()).nonce)
        heard.append(acquisition.send(Present(last)).code)
        while not any(isinstance(item, Event) for item in heard):
            acquisition.renew_lease()
            heard.append(acquisition.next())
    return heard


def recorded() -> tuple[list[str], list[object]]:
    """The lines of a recording and what the runner heard then."""

    def tell(line: ScriptedLine) -> None:
        if line.reads == 60:
            line.push(Event(line.tick, EventKind.INTERLOCK, 1))

    stream = io.StringIO()
    line = ScriptedLine(lock_step=True, on_read=tell)
    heard = converse(Acquisition(greet(RecordingLine(line, stream)), clock=line.clock))
    return stream.getvalue().splitlines(), heard


def test_a_recording_is_lines_of_json() -> None:
    lines, _ = recorded()
    head, *pieces = map(json.loads, lines)
    assert head == {"schema": SCHEMA, "url": "scripted", "lock_step": True}
    assert {piece["to"] for piece in pieces} == {"host", "board"}
    assert all(bytes.fromhex(piece["bytes"]) for piece in pieces)
    times = [piece["t"] for piece in pieces]
    assert times == sorted(times)


def test_a_replay_hears_the_same() -> None:
    lines, heard = recorded()
    assert heard[0] == NONCE
    assert converse(Acquisition(replay(lines))) == heard


def test_another_number_of_keep_alives_changes_nothing() -> None:
    """Keep-alives move the numbers of later requests; answers follow them."""
    lines, heard = recorded()
    line = ReplayLine(lines)
    port = greet(line)
    for n in range(5):
        line.write(frame_bytes(KeepAlive(), n + 1))
    port.sequence = 6
    assert converse(Acquisition(port)) == heard


def test_anything_else_than_was_said_is_refused() -> None:
    lines, _ = recorded()
    with pytest.raises(ReplayError, match=r"type 0x41 with payload .* was sent, but line \d+ has"):
        converse(Acquisition(replay(lines)), last=Setting(Rung.SHORT))


def test_a_replay_must_be_used_to_its_end() -> None:
    lines, _ = recorded()
    port = replay(lines)
    with pytest.raises(ReplayError, match=r"was left with \d+ pieces unused, from line \d+ on"):
        port.close()
    port.close()


def test_the_end_of_a_recording_is_a_lost_link() -> None:
    lines, _ = recorded()
    line = ReplayLine(lines[:1])
    with pytest.raises(LinkLost, match="has come to its end"):
        line.read()
    line.close()


def test_frames_cut_between_two_reads_are_put_together() -> None:
    answer = frame_bytes(Health(7), 0)
    lines = [
        json.dumps({"schema": SCHEMA, "url": "x", "lock_step": False}),
        json.dumps({"t": 0.0, "to": "host", "bytes": answer[:5].hex()}),
        json.dumps({"t": 0.1, "to": "board", "bytes": frame_bytes(SetMode(Mode.OFF), 0).hex()}),
        json.dumps({"t": 0.2, "to": "host", "bytes": answer[5:].hex()}),
    ]
    line = ReplayLine(lines)
    assert line.read() == b""
    line.write(frame_bytes(SetMode(Mode.OFF), 0))
    assert line.read() == answer
    line.close()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "line 1, is not JSON"),
        ("[]", "line 1, is no piece"),
        ('{"schema": "other/1"}', "is no recording of the link"),
        (f'{{"schema": "{SCHEMA}"}}\nnot json', "line 2, is not JSON"),
        (f'{{"schema": "{SCHEMA}"}}\n{{"t": 0, "to": "host"}}', "line 2, is no piece"),
        (f'{{"schema": "{SCHEMA}"}}\n{{"to": "host", "bytes": "0g"}}', "line 2, is no piece"),
        (f'{{"schema": "{SCHEMA}"}}\n{{"to": "moon", "bytes": "00"}}', "goes to 'moon'"),
    ],
)
def test_what_is_no_recording_is_refused(text: str, words: str) -> None:
    with pytest.raises(ReplayError, match=words):
        ReplayLine(text.splitlines())


def test_identity_of_a_replay_is_that_of_the_board() -> None:
    lines, _ = recorded()
    line = ReplayLine(lines, "session.jsonl")
    assert greet(line).identity == IDENTITY
    assert line.url == "replay://session.jsonl"

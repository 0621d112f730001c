"""Hello: a slow board, a noisy one, a silent one, another version, an echo."""

import dataclasses

import pytest
from link_board import IDENTITY, ScriptedLine

from rungbench.errors import NotABoard, OtherProtocol, PortSilent, RungbenchError
from rungbench.link.framing import encode
from rungbench.link.greeting import greet
from rungbench.link.messages import (
    Event,
    EventKind,
    Health,
    Hello,
    Identity,
    frame_bytes,
    pack,
)


def lock_step_line(deaf_to_hellos: int = 0, mute: bool = False) -> ScriptedLine:
    """A line on which three seconds take no time at all."""
    return ScriptedLine(lock_step=True, deaf_to_hellos=deaf_to_hellos, mute=mute)


def test_a_board_that_answers_at_once_hears_one_hello() -> None:
    line = lock_step_line()
    port = line.port()
    assert port.identity == IDENTITY
    assert (port.sequence, port.spare_identities) == (1, 0)
    assert len(line.times_of(Hello)) == 1


@pytest.mark.parametrize("deaf", [1, 5, 11])
def test_hello_is_repeated_while_a_boot_loader_runs(deaf: int) -> None:
    line = lock_step_line(deaf_to_hellos=deaf)
    port = line.port()
    assert port.identity == IDENTITY
    assert port.spare_identities == deaf
    times = line.times_of(Hello)
    assert len(times) == deaf + 1
    gaps = [after - before for before, after in zip(times, times[1:], strict=False)]
    assert gaps == pytest.approx([0.25] * deaf, abs=0.021)


def test_what_a_board_says_after_its_reset_is_no_answer() -> None:
    """Opening the port has reset it; it heard no hello and would refuse all that follows."""
    line = lock_step_line(deaf_to_hellos=1)

    def boot(line: ScriptedLine) -> None:
        if line.reads == 3:
            line.push(dataclasses.replace(IDENTITY, asked=False))

    line.on_read = boot
    port = line.port()
    assert port.identity == IDENTITY
    assert len(line.times_of(Hello)) == 2


def test_a_silent_port_is_given_up_after_three_seconds() -> None:
    line = lock_step_line(deaf_to_hellos=1000, mute=True)
    with pytest.raises(PortSilent, match="Nothing answers on scripted within 3 s"):
        greet(line)
    assert line.reads * 0.02 == pytest.approx(3.0, abs=0.03)


def test_frames_of_an_earlier_session_are_passed_over() -> None:
    line = lock_step_line()
    line.push_bytes(b"\x55\x00" + encode(0x14, 200, b"old") + encode(0x14, 17, b"old"))
    port = line.port()
    assert port.identity == IDENTITY
    line.push(Health(5))
    assert len(port.deframer.feed(line.read())) == 1


def test_messages_that_come_with_the_identity_are_kept() -> None:
    line = lock_step_line(deaf_to_hellos=1)
    told = Event(5, EventKind.INTERLOCK, 1)

    def answer(line: ScriptedLine) -> None:
        if line.reads == 2:
            line.push(IDENTITY)
            line.push(told)
            line.push_bytes(frame_bytes(told, 2)[:4])

    line.on_read = answer
    port = line.port()
    assert port.early == (told,)
    assert len(port.deframer.feed(frame_bytes(told, 2)[4:])) == 1


@pytest.mark.parametrize(
    ("noise", "error", "words"),
    [
        (b"\x14\x10", NotABoard, "boot loader"),
        (b"login: \r\n", NotABoard, "no frames of the link (6c 6f 67"),
        (encode(0x14, 0, pack(Health(0))[1]), PortSilent, "sends frames but does not answer"),
    ],
)
def test_strange_devices_are_told_apart(
    noise: bytes, error: type[RungbenchError], words: str
) -> None:
    line = lock_step_line(deaf_to_hellos=1000, mute=True)
    line.on_read = lambda line: line.push_bytes(noise)
    with pytest.raises(error) as caught:
        greet(line)
    assert words in str(caught.value)


def test_a_loop_is_recognised() -> None:
    line = lock_step_line(deaf_to_hellos=1000, mute=True)
    line.on_read = lambda line: line.push_bytes(frame_bytes(Hello(), 0))
    with pytest.raises(NotABoard, match="only sends back what it is sent"):
        greet(line)


def test_another_version_is_refused_by_name() -> None:
    line = lock_step_line(deaf_to_hellos=1000, mute=True)
    _, payload = pack(Identity("9.0.0", "RB-9"))
    line.on_read = lambda line: line.push_bytes(encode(0x10, 0, b"\x07" + payload[1:] + b"more"))
    with pytest.raises(OtherProtocol) as caught:
        greet(line)
    assert "scripted: The board RB-9 (firmware 9.0.0) speaks version 7" in str(caught.value)

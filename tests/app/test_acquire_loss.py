"""What is missing is told in its place; a lost link is told once, and ends the thread."""

import dataclasses

import numpy as np
import pytest
from link_board import IDENTITY, ScriptedLine

from rungbench.acquire import Acquisition, Loss, LossKind
from rungbench.acquire.port_thread import EMPTY_READS
from rungbench.errors import LinkLost
from rungbench.link.framing import encode
from rungbench.link.messages import (
    OPEN,
    EdgeBlock,
    Event,
    EventKind,
    FromBoard,
    Health,
    Identity,
    Mode,
    Present,
    SampleBlock,
    SetMode,
    frame_bytes,
)

Item = FromBoard | Loss


def heard(line: ScriptedLine, count: int) -> list[Item]:
    """The next messages of a mute line, in order."""
    items: list[Item] = []
    with Acquisition(line.port(), clock=line.clock) as acquisition:
        while len(items) < count:
            item = acquisition.next(1.0)
            assert item is not None
            items.append(item)
    return items


def kinds(items: list[Item]) -> list[object]:
    return [item.kind if isinstance(item, Loss | Event) else type(item) for item in items]


def at_read(number: int, *pieces: bytes) -> ScriptedLine:
    """A mute line that sends some bytes with one of its reads."""
    line = ScriptedLine(lock_step=True, mute=True)

    def send(line: ScriptedLine) -> None:
        if line.reads == number:
            for piece in pieces:
                line.push_bytes(piece)

    line.on_read = send
    return line


def test_losses_stand_between_the_messages() -> None:
    frames = [frame_bytes(Health(100 + n), n + 1) for n in range(8)]
    broken = bytearray(frames[5])
    broken[4] ^= 0x40
    line = at_read(3, frames[0], frames[3], bytes(broken), frames[2], frames[6], frames[7])
    items = heard(line, 8)
    assert kinds(items) == [
        Health,
        LossKind.LOST,
        Health,
        LossKind.DAMAGED,
        LossKind.REORDERED,
        LossKind.LOST,
        Health,
        Health,
    ]
    assert [item.count for item in items if isinstance(item, Loss)] == [2, 1, 1, 2]


def test_statistics_count_what_was_lost() -> None:
    frames = [frame_bytes(Health(n), n + 1) for n in range(4)]
    line = at_read(3, frames[0], b"\x03\x01\x02\x00", frames[3], encode(0x77, 5, b""))
    with Acquisition(line.port(), clock=line.clock) as acquisition:
        for _ in range(5):
            acquisition.next(1.0)
        counts = acquisition.statistics
    assert (counts.frames, counts.damaged, counts.lost) == (3, 1, 2)
    assert (counts.nonsense, counts.reordered, counts.overflow) == (1, 0, 0)
    assert counts.received_bytes == len(frames[0] + frames[3]) + 4 + len(encode(0x77, 5, b""))


def test_a_frame_that_means_nothing_is_told() -> None:
    (item,) = heard(at_read(3, encode(0x13, 1, b"short")), 1)
    assert isinstance(item, Loss)
    assert item.kind is LossKind.NONSENSE
    assert not item.final
    assert "do not fit its layout" in item.detail


@pytest.mark.parametrize("lock_step", [True, False])
def test_a_board_that_falls_silent(lock_step: bool) -> None:
    line = ScriptedLine(lock_step=lock_step)
    acquisition = Acquisition(line.port(), clock=line.clock)
    line.mute = True
    reads = line.reads
    with acquisition:
        item = acquisition.next(10.0)
        assert isinstance(item, Loss)
        assert (item.kind, item.final) == (LossKind.SILENT, True)
        with pytest.raises(LinkLost, match="has fallen silent"):
            acquisition.next(1.0)
        taken = line.reads - reads
        assert taken == (EMPTY_READS if lock_step else pytest.approx(50, abs=2))
        with pytest.raises(LinkLost, match="has fallen silent"):
            acquisition.send(Present(OPEN))
    # It was asked for open all the same: the other direction may still work.
    assert line.requests() == [Present(OPEN)]
    assert line.closed == 1


def test_a_line_that_breaks() -> None:
    line = ScriptedLine(lock_step=True, mute=True)
    with Acquisition(line.port(), clock=line.clock) as acquisition:
        line.broken = True
        item = acquisition.next(5.0)
        assert isinstance(item, Loss)
        assert (item.kind, item.final) == (LossKind.BROKEN, True)
        with pytest.raises(LinkLost, match="was cut"):
            acquisition.next(5.0)


def test_a_board_that_resets_in_the_middle() -> None:
    line = at_read(
        4, frame_bytes(Health(7), 1), frame_bytes(IDENTITY, 0), frame_bytes(Health(1), 1)
    )
    with Acquisition(line.port(), clock=line.clock) as acquisition:
        items = [acquisition.next(1.0), acquisition.next(1.0)]
        with pytest.raises(LinkLost, match="was reset in the middle"):
            acquisition.next(1.0)
    assert isinstance(items[0], Health)
    assert isinstance(items[1], Loss)
    assert (items[1].kind, items[1].final) == (LossKind.RESET, True)


@pytest.mark.parametrize("reset", [IDENTITY, dataclasses.replace(IDENTITY, asked=False)])
def test_the_answer_to_a_repeated_hello_is_no_reset(reset: Identity) -> None:
    line = ScriptedLine(lock_step=True, deaf_to_hellos=2)
    port = line.port()
    line.push(IDENTITY)
    line.push(IDENTITY)
    with Acquisition(port, clock=line.clock) as acquisition:
        for _ in range(20):
            assert isinstance(acquisition.next(1.0), Health)
        line.push(reset)
        item = acquisition.next(1.0)
        while not isinstance(item, Loss):
            item = acquisition.next(1.0)
        assert item.kind is LossKind.RESET


def collect(acquisition: Acquisition, items: list[Item]) -> None:
    while (item := acquisition.next(1.0)) is not None:
        items.append(item)


def test_a_full_queue_drops_data_counts_it_and_keeps_events() -> None:
    line = ScriptedLine(mute=True)
    block = SampleBlock(0, 0, 0, 832, 10, np.zeros(4, np.uint16))
    edges = EdgeBlock(0, 0, np.zeros(2, np.uint16), True)
    event = Event(9, EventKind.MAINS_ON, 1)

    def flood(line: ScriptedLine) -> None:
        if line.reads == 3:
            for message in [block] * 12 + [edges] * 3 + [event] + [block] * 2:
                line.push(message)
        line.broken = line.reads > 4

    port = line.port()
    line.on_read = flood
    acquisition = Acquisition(port, capacity=10, clock=line.clock)
    acquisition.start()
    acquisition._thread.join(10)
    items: list[Item] = []
    with pytest.raises(LinkLost):
        collect(acquisition, items)
    statistics = acquisition.statistics
    acquisition.close()
    expected = [SampleBlock] * 10 + [LossKind.OVERFLOW, event.kind, LossKind.OVERFLOW]
    assert kinds(items) == [*expected, LossKind.BROKEN]
    assert [item.count for item in items if isinstance(item, Loss)] == [5, 2, 1]
    assert statistics.overflow == 7


def test_closing_asks_for_open_first_and_is_harmless_twice() -> None:
    line = ScriptedLine(lock_step=True)
    acquisition = Acquisition(line.port(), clock=line.clock)
    acquisition.start()
    first = acquisition.close()
    assert first.open_confirmed
    assert acquisition.close() == first
    assert line.requests() == [Present(OPEN), SetMode(Mode.OFF)]
    assert line.closed == 1


def test_closing_without_a_start_asks_for_open_too() -> None:
    line = ScriptedLine(lock_step=True)
    farewell = Acquisition(line.port(), clock=line.clock).close()
    assert not farewell.open_confirmed
    assert line.requests() == [Present(OPEN)]
    assert line.closed == 1

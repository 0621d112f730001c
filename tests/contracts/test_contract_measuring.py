"""Samples, edges and mains: `hardware_notes/link_protocol.md`, sections 4 and 8.

Behind the board hangs a sound charger; what is expected of it is wide, since not the charger is
tested here.
"""

import numpy as np
import numpy.typing as npt
import pytest
from board_session import BoardSession

from rungbench.link.messages import (
    MODE_FACTS,
    TICKS_PER_SECOND,
    EdgeBlock,
    EventKind,
    FromBoard,
    Health,
    Mode,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
    samples_per_block,
)

B, C = Setting(Rung.B), Setting(Rung.C)
STREAMS = [Mode.STREAM10, Mode.STREAM8]
BURST_TICKS = 400_192  # section 8


def blocks_of(heard: list[FromBoard]) -> list[SampleBlock]:
    return [message for message in heard if isinstance(message, SampleBlock)]


def edges_of(heard: list[FromBoard]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    blocks = [message for message in heard if isinstance(message, EdgeBlock)]
    times = np.concatenate([block.times for block in blocks])
    return times, np.concatenate([block.rising for block in blocks])


def pulsing(board: BoardSession) -> None:
    """Present B and wait until the charger pulses."""
    board.present(B)
    board.wait(EdgeBlock, within_s=10.0)
    board.listen(0.2)


@pytest.mark.parametrize("mode", STREAMS)
def test_streams_have_no_break(board: BoardSession, mode: Mode) -> None:
    assert board.ask(SetMode(mode)).accepted
    blocks = blocks_of(board.listen(2.0))
    facts = MODE_FACTS[mode]
    assert {block.interval_ticks for block in blocks} == {facts.interval_ticks}
    assert {block.bits for block in blocks} == {facts.bits}
    assert {block.channel for block in blocks} == {0}
    for before, after in zip(blocks[:-1], blocks[1:], strict=True):
        assert after.index == before.index + before.counts.size
        assert after.tick == before.tick + before.counts.size * facts.interval_ticks
    total = sum(block.counts.size for block in blocks)
    expected = 2.0 * TICKS_PER_SECOND / facts.interval_ticks
    assert abs(total - expected) <= 0.1 * expected
    assert max(block.counts.size for block in blocks) <= samples_per_block(facts.bits)


def test_bursts_hold_500_samples_and_begin_every_25_ms(board: BoardSession) -> None:
    assert board.ask(SetMode(Mode.BURST10)).accepted
    blocks = blocks_of(board.listen(1.0))
    interval = MODE_FACTS[Mode.BURST10].interval_ticks
    assert {block.interval_ticks for block in blocks} == {interval}
    starts, sizes = [blocks[0].tick], [0]
    for before, after in zip(blocks[:-1], blocks[1:], strict=True):
        sizes[-1] += before.counts.size
        assert after.index == before.index + before.counts.size
        if after.tick != before.tick + before.counts.size * interval:
            starts.append(after.tick)
            sizes.append(0)
    assert set(sizes[:-1]) == {500}
    assert set(np.diff(starts).tolist()) == {BURST_TICKS}
    assert len(starts) >= 38


def test_mode_off_ends_the_samples(board: BoardSession) -> None:
    board.ask(SetMode(Mode.STREAM10))
    board.listen(0.3)
    board.ask(SetMode(Mode.OFF))
    board.listen(0.1)
    assert blocks_of(board.listen(0.5)) == []
    assert board.wait(Health).mode is Mode.OFF


def test_running_numbers_go_on_from_mode_to_mode(board: BoardSession) -> None:
    for mode in (Mode.STREAM10, Mode.STREAM8, Mode.BURST10):
        board.ask(SetMode(mode))
        board.listen(0.4)
    board.ask(SetMode(Mode.OFF))
    board.listen(0.1)
    due = 0
    for block in blocks_of(board.heard):
        assert block.index == due
        due += block.counts.size


def test_counts_tell_the_plateaus(board: BoardSession) -> None:
    identity = board.hello()
    span = identity.converter_high_v - identity.converter_low_v
    pulsing(board)
    board.ask(SetMode(Mode.STREAM10))
    counts = np.concatenate([block.counts for block in blocks_of(board.listen(1.0))])
    volts = identity.converter_low_v + counts * span / (2**identity.converter_bits - 1)
    # The windows of IEC 61851-1:2017 Table A.4, which any sound charger meets.
    high, low = np.median(volts[volts > 0]), np.median(volts[volts < 0])
    assert 8.0 < high < 10.0
    assert -13.0 < low < -11.0


def test_eight_bits_are_the_high_bits_of_ten(board: BoardSession) -> None:
    board.ask(SetMode(Mode.STREAM10))
    ten = np.concatenate([block.counts for block in blocks_of(board.listen(0.5))])
    board.ask(SetMode(Mode.STREAM8))
    eight = np.concatenate([block.counts for block in blocks_of(board.listen(0.5))[1:]])
    # Cutting two bits off takes 1.5 counts off the mean.
    assert np.mean(eight) * 4 + 1.5 == pytest.approx(float(np.mean(ten)), abs=1.0)


@pytest.mark.parametrize("mode", [Mode.OFF, *STREAMS, Mode.BURST10])
def test_edges_come_in_every_mode_in_turn_and_complete(board: BoardSession, mode: Mode) -> None:
    pulsing(board)
    board.ask(SetMode(mode))
    heard = board.listen(1.0)
    times, rising = edges_of(heard)
    assert np.all(np.diff(times) > 0)
    assert np.all(rising[1:] != rising[:-1])
    # 1000 Hz within 5 %, IEC 61851-1:2017 Table A.2 and the band that any vehicle accepts.
    assert np.diff(times[rising]) == pytest.approx(16_000, rel=0.05)
    blocks = [message for message in heard if isinstance(message, EdgeBlock)]
    for before, after in zip(blocks[:-1], blocks[1:], strict=True):
        assert after.index == (before.index + before.offsets.size) % 2**15


def test_edges_arrive_within_10_ms(board: BoardSession) -> None:
    pulsing(board)
    latest = 0
    for message in board.listen(1.0):
        if isinstance(message, EdgeBlock):
            latest = int(message.times[-1])
        elif isinstance(message, Health):
            # A block is closed 4.096 ms after it began, and waits its turn on the line.
            assert message.tick - latest < 0.025 * TICKS_PER_SECOND


def test_edges_and_samples_share_one_clock(board: BoardSession) -> None:
    pulsing(board)
    board.ask(SetMode(Mode.STREAM8))
    heard = board.listen(1.0)
    times, rising = edges_of(heard)
    blocks = [block for block in blocks_of(heard) if times[0] < block.tick < times[-3]]
    ticks = np.concatenate([block.tick + np.arange(block.counts.size) * 208 for block in blocks])
    high = np.concatenate([block.counts for block in blocks]) >= 128
    ticks, high = ticks[ticks < times[-1]], high[: np.sum(ticks < times[-1])]
    at = np.searchsorted(times, ticks, side="right") - 1
    expected = rising[at]
    away = (ticks - times[at] > 320) & (times[at + 1] - ticks > 320)
    assert np.mean(expected[away] == high[away]) == 1.0


def test_mains_is_seen_on_each_phase_with_its_doubt(board: BoardSession) -> None:
    pulsing(board)
    since = len(board.heard)
    start = board.present(C)
    board.event(EventKind.MAINS_ON, since=since, within_s=3.5)
    board.listen(0.2)
    on = board.events(EventKind.MAINS_ON, since)
    assert sorted(event.phase for event in on) == [1, 2, 3]
    assert board.wait(Health).mains == (1, 2, 3)
    board.present(B)
    board.listen(0.3)
    off = board.events(EventKind.MAINS_OFF, since)
    assert sorted(event.phase for event in off) == [1, 2, 3]
    assert board.wait(Health).mains == ()
    for event in on + off:
        assert event.tick > start.tick - start.interval_ticks
        # Both half waves are sensed: a millisecond is generous.
        assert 0 < event.interval_ticks < TICKS_PER_SECOND // 1000

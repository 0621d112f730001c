"""The board's check of itself: `hardware_notes/link_protocol.md`, sections 4 and 8."""

import numpy as np
import numpy.typing as npt
from board_session import BoardSession

from rungbench.link.messages import MODE_FACTS, Channel, Mode, SampleBlock, SetMode

Floats = npt.NDArray[np.float64]

BURST_TICKS = 400_192  # section 8
TURNS = [1, 2, 3, 4, 4]  # section 8


def bursts(board: BoardSession, seconds: float) -> list[list[SampleBlock]]:
    """Whole bursts of the next seconds."""
    assert board.ask(SetMode(Mode.CHECK10)).accepted
    blocks = [message for message in board.listen(seconds) if isinstance(message, SampleBlock)]
    board.ask(SetMode(Mode.OFF))
    interval = MODE_FACTS[Mode.CHECK10].interval_ticks
    found: list[list[SampleBlock]] = [[blocks[0]]]
    for before, after in zip(blocks[:-1], blocks[1:], strict=True):
        assert after.index == before.index + before.counts.size
        if after.tick != before.tick + before.counts.size * interval:
            found.append([])
        found[-1].append(after)
    return found[:-1]


def test_channels_come_in_turn_in_bursts_of_500(board: BoardSession) -> None:
    found = bursts(board, 1.0)
    assert len(found) >= 38
    assert {sum(block.counts.size for block in burst) for burst in found} == {500}
    for burst in found:
        assert len({block.channel for block in burst}) == 1
        assert {(block.interval_ticks, block.bits) for block in burst} == {(416, 10)}
    channels = [burst[0].channel for burst in found]
    # The page does not say with which of them it begins.
    begins = [(TURNS * 9)[at : at + len(channels)] for at in range(len(TURNS))]
    assert channels in begins
    assert set(np.diff([burst[0].tick for burst in found]).tolist()) == {BURST_TICKS}


def test_what_the_channels_show(board: BoardSession) -> None:
    by_channel: dict[int, list[Floats]] = {}
    rising: list[Floats] = []
    falling: list[Floats] = []
    before: int | None = None
    for burst in bursts(board, 1.0):
        counts = np.concatenate([block.counts for block in burst]).astype(np.float64)
        channel = burst[0].channel
        by_channel.setdefault(channel, []).append(counts)
        if channel == Channel.RAMP and before is not None:
            (falling if before == Channel.RAMP else rising).append(counts)
        before = channel
    assert float(np.mean(by_channel[Channel.GROUND])) <= 2.0
    # The internal reference is 1.0 to 1.2 V of 4.096 V.
    assert 245 < float(np.mean(by_channel[Channel.INTERNAL_REFERENCE])) < 305
    assert abs(float(np.mean(by_channel[Channel.HALF_REFERENCE])) - 512) < 3
    assert rising
    assert falling
    for ramp in rising:
        assert ramp[0] < 100
        assert ramp[-1] > 1000
    for ramp in falling:
        assert ramp[0] > 1000
        assert ramp[-1] < 100

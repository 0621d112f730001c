"""Wrapped ticks and running numbers run on."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rungbench.acquire.unwrap import Timeline, Unwrapper
from rungbench.link.messages import EdgeBlock, Event, EventKind, Health, SampleBlock


@given(
    st.integers(2, 48),
    st.integers(0, 2**60),
    st.lists(st.floats(-0.49, 0.49), max_size=50),
)
def test_numbers_run_on_over_any_wraps(bits: int, start: int, steps: list[float]) -> None:
    """Each number lies less than half a turn from the highest before it, as the page asks."""
    unwrapper = Unwrapper(bits)
    highest = start
    offset = start - unwrapper.unwrap(start % 2**bits)
    for step in steps:
        value = highest + int(step * 2**bits)
        assert unwrapper.unwrap(value % 2**bits) + offset == value
        highest = max(highest, value)


def test_messages_share_one_clock_and_have_their_own_numbers() -> None:
    end = 2**48
    timeline = Timeline()
    samples = [
        timeline.place(
            SampleBlock(0, (end - 50 + 100 * n) % end, (2**32 - 2 + 4 * n) % 2**32, 25, 10, counts)
        )
        for n, counts in enumerate([np.zeros(4, np.uint16)] * 3)
    ]
    edges = [
        timeline.place(EdgeBlock(160 + n, (2**15 - 1 + n) % 2**15, np.zeros(1, np.uint16), True))
        for n in range(2)
    ]
    assert [block.tick for block in samples] == [end - 50, end + 50, end + 150]
    assert [block.index for block in samples] == [2**32 - 2, 2**32 + 2, 2**32 + 6]
    assert [block.tick for block in edges] == [end + 160, end + 161]
    assert [block.index for block in edges] == [2**15 - 1, 2**15]
    assert timeline.latest_tick == end + 161
    # An event may be told after samples that are younger.
    assert timeline.place(Event(end - 10, EventKind.MAINS_OFF, 1)).tick == end - 10
    assert timeline.place(Health(200)).tick == end + 200


def test_channels_have_numbers_of_their_own() -> None:
    timeline = Timeline()
    counts = np.zeros(1, np.uint16)
    for channel, index in ((0, 5), (1, 4_000_000_000), (0, 6), (1, 4_000_000_001)):
        assert timeline.place(SampleBlock(channel, 0, index, 25, 10, counts)).index == index


def test_running_numbers_begin_anew_after_a_hello() -> None:
    timeline = Timeline()
    offsets = np.zeros(1, np.uint16)
    timeline.place(EdgeBlock(10, 30_000, offsets, True))
    timeline.restart_numbers()
    assert timeline.place(EdgeBlock(20, 0, offsets, True)).index == 0

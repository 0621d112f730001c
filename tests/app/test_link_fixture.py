"""A session recorded earlier, played back through everything that reads a link."""

from pathlib import Path

import numpy as np
import pytest
from link_session import PHASES, session

from rungbench.acquire import Acquisition
from rungbench.link.messages import (
    TICK_S,
    EdgeBlock,
    Event,
    EventKind,
    FromBoard,
    Rung,
    SampleBlock,
    Setting,
)
from rungbench.link.record import replay


@pytest.fixture(scope="module")
def heard(root: Path) -> list[FromBoard]:
    lines = (root / "fixtures/links/b_c_b.jsonl").read_text().splitlines()
    return session(Acquisition(replay(lines)))


def test_events_come_in_the_order_of_the_session(heard: list[FromBoard]) -> None:
    events = [message for message in heard if isinstance(message, Event)]
    assert [event.kind for event in events] == [
        EventKind.SETTING_APPLIED,
        EventKind.ARMED,
        EventKind.DISARMED,
        EventKind.SETTING_APPLIED,
        *[EventKind.MAINS_ON] * 3,
        EventKind.SETTING_APPLIED,
        *[EventKind.MAINS_OFF] * 3,
    ]
    settings = [e.setting for e in events if e.kind is EventKind.SETTING_APPLIED]
    assert settings == [Setting(Rung.B), Setting(Rung.C), Setting(Rung.B)]
    assert {e.phase for e in events if e.kind is EventKind.MAINS_ON} == set(PHASES)
    ticks = [event.tick for event in events]
    assert ticks == sorted(ticks)


def test_mains_follows_within_the_limits_of_a_conforming_charger(heard: list[FromBoard]) -> None:
    # IEC 61851-1:2017, Table A.6: sequence 4 (on within 3 s), sequence 8.1 (off within 100 ms).
    events = [message for message in heard if isinstance(message, Event)]
    applied = [e.tick for e in events if e.kind is EventKind.SETTING_APPLIED]
    on = max(e.tick for e in events if e.kind is EventKind.MAINS_ON)
    off = max(e.tick + e.interval_ticks for e in events if e.kind is EventKind.MAINS_OFF)
    assert 0 < (on - applied[1]) * TICK_S < 3.0
    assert 0 < (off - applied[2]) * TICK_S < 0.1


def test_edges_and_samples_run_on_without_a_gap(heard: list[FromBoard]) -> None:
    edges = [message for message in heard if isinstance(message, EdgeBlock)]
    for before, after in zip(edges, edges[1:], strict=False):
        assert after.index == before.index + before.offsets.size
        assert after.first_rising == (before.rising[-1] == np.False_)
    blocks = [message for message in heard if isinstance(message, SampleBlock)]
    for first, second in zip(blocks, blocks[1:], strict=False):
        assert second.index == first.index + first.counts.size
        assert second.tick == first.tick + first.counts.size * first.interval_ticks


def test_the_pilot_is_that_of_a_16_a_charger(heard: list[FromBoard]) -> None:
    """1 kHz within 0.5 % (IEC 61851-1:2017, A.4.4), 16 A at 26.667 % (its Table A.7)."""
    edges = [message for message in heard if isinstance(message, EdgeBlock)]
    times = np.concatenate([block.times for block in edges])
    rising = np.concatenate([block.rising for block in edges])
    # The first rising edge may begin a step, not a period.
    rises, falls = times[rising][1:], times[~rising][1:]
    period_s = float(np.median(np.diff(rises))) * TICK_S
    assert 1 / period_s == pytest.approx(1000, abs=5)
    falls = falls[falls > rises[0]]
    count = min(rises.size, falls.size)
    width_s = float(np.median(falls[:count] - rises[:count])) * TICK_S
    assert width_s / period_s == pytest.approx(16 / 0.6 / 100, abs=0.005)

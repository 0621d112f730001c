"""Times that the board reports against the cycles in which things happened.

The board's tick is its timer, which counts the cycles of its processor; the simulator tells in
which cycle the timer was started, and in which one each thing happened.
"""

import numpy as np
import pytest
from board_session import BoardSession
from board_simulator.line import FirmwareLine
from board_simulator.process import BoardProcess, SwitchOn

from rungbench.link.messages import (
    OPEN,
    EdgeBlock,
    EventKind,
    KeepAlive,
    Mode,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
)

B, C = Setting(Rung.B), Setting(Rung.C)
LATE_TICKS = 160  # an interrupt waits for another one: 10 us at most


class Clocked:
    """A session whose board ticks are told as cycles of the simulator."""

    def __init__(self, process: BoardProcess) -> None:
        self.process = process
        self.session = BoardSession(FirmwareLine(process))
        (self.zero,) = [tick for tick, what, _ in process.changes() if what == "clock"]
        self.session.hello()
        self.session.listen(0.15)

    def happened(self, what: str) -> list[tuple[int, str]]:
        """Board ticks, and values, of what happened since the last look."""
        return [
            (at - self.zero, value) for at, name, value in self.process.changes() if name == what
        ]


@pytest.mark.parametrize("mode", [Mode.OFF, Mode.BURST10, Mode.STREAM10, Mode.STREAM8])
def test_each_edge_is_stamped_with_its_cycle(switch_on: SwitchOn, mode: Mode) -> None:
    board = Clocked(switch_on("log_edges=yes", "frequency_hz=976.9"))
    session = board.session
    session.present(B)
    session.wait(EdgeBlock, within_s=3.0)
    session.ask(SetMode(mode))
    session.listen(0.1)
    board.happened("edge")
    # 976.9 Hz walks along the 65,536 cycles of the timer: edges come around its overflow, too.
    heard = session.listen(3.0)
    true = {tick: value == "1" for tick, value in board.happened("edge")}
    blocks = [message for message in heard if isinstance(message, EdgeBlock)]
    told = np.concatenate([block.times for block in blocks])
    rising = np.concatenate([block.rising for block in blocks])
    inside = [i for i, tick in enumerate(told) if min(true) <= tick]
    assert len(inside) > 5_000
    assert [true.get(int(told[i])) for i in inside] == [bool(rising[i]) for i in inside]


@pytest.mark.parametrize("mode", [Mode.STREAM8, Mode.STREAM10, Mode.BURST10])
def test_samples_are_stamped_with_the_cycle_of_the_first(switch_on: SwitchOn, mode: Mode) -> None:
    board = Clocked(switch_on())
    for _ in range(3):
        board.happened("sample")
        since = len(board.session.heard)
        board.session.ask(SetMode(mode))
        board.session.listen(0.3)
        board.session.ask(SetMode(Mode.OFF))
        board.session.listen(0.1)
        told = [m for m in board.session.heard[since:] if isinstance(m, SampleBlock)]
        starts = [
            block.tick
            for before, block in zip([None, *told], told, strict=False)
            if before is None
            or block.tick != before.tick + before.counts.size * before.interval_ticks
        ]
        true = [tick for tick, _ in board.happened("sample")][: len(starts)]
        # When the converter's own clock begins after it is switched on is not told by its data
        # sheet: up to one period of it, 16 to 64 cycles.
        assert np.all(np.abs(np.array(starts) - np.array(true)) <= told[0].interval_ticks / 13)


def test_mains_lies_within_its_interval(switch_on: SwitchOn) -> None:
    board = Clocked(switch_on("pole_spread_ms=0.31", "close_s=0.1", "pulses_after_s=0.05"))
    session = board.session
    for turn in range(6):
        board.happened("pole")
        since = len(session.heard)
        session.present(C)
        session.listen(0.6)
        session.present(OPEN)
        session.listen(0.25 + 0.0037 * turn)
        true = board.happened("pole")
        told = session.events(EventKind.MAINS_ON, since) + session.events(
            EventKind.MAINS_OFF, since
        )
        assert len(true) == len(told) == 6
        for tick, value in true:
            phase, on = int(value[0]), value[1:] == " on"
            kind = EventKind.MAINS_ON if on else EventKind.MAINS_OFF
            (event,) = [one for one in told if one.phase == phase and one.kind is kind]
            low, high = event.tick - LATE_TICKS, event.tick
            if on:
                low -= event.interval_ticks
            else:
                high += event.interval_ticks
            assert low <= tick <= high, (turn, value, event)


def test_the_event_of_a_setting_holds_the_moment_of_the_contacts(switch_on: SwitchOn) -> None:
    board = Clocked(switch_on())
    session = board.session
    for setting in (B, C, B, OPEN, Setting(Rung.SHORT), OPEN):
        board.happened("rung")
        event = session.present(setting)
        session.listen(0.05)
        moves = [tick for tick, _ in board.happened("rung")]
        assert moves
        # When it is told, nothing bounces any more, and nothing moved before it was commanded.
        assert event.tick - event.interval_ticks <= min(moves)
        assert max(moves) <= event.tick


def test_the_first_setting_after_a_fall_waits_for_the_enable(switch_on: SwitchOn) -> None:
    board = Clocked(switch_on())
    session = board.session
    session.present(C)
    session.alive = False
    session.listen(1.3)
    assert board.happened("rung")[-1][1] == "open"
    # The heartbeat has rested since: the pump of the enable has to charge first.
    session.alive = True
    session.say(KeepAlive())
    event = session.present(B)
    session.listen(0.05)
    moves = [tick for tick, _ in board.happened("rung")]
    assert event.tick - event.interval_ticks <= min(moves)
    assert max(moves) <= event.tick

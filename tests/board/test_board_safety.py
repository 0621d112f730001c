"""What the board does by itself, as its registers and contacts tell (lock step, every tick exact).

The rules are those of `hardware_notes/link_protocol.md`, section 7; here they are not taken from
what the board says but from what can be seen at its pins.
"""

import pytest
from board_session import BoardSession
from board_simulator.line import FirmwareLine
from board_simulator.memory import BoardMemory
from board_simulator.process import TICKS_PER_SECOND, BoardProcess, SwitchOn

from rungbench.link.messages import (
    OPEN,
    Arm,
    Code,
    EventKind,
    Health,
    KeepAlive,
    LadderSet,
    Mode,
    Present,
    Reason,
    Rung,
    SetMode,
    Setting,
)

B, C, D = Setting(Rung.B), Setting(Rung.C), Setting(Rung.D)
ENERGISING = 0b111_111_000  # the relays of the switched resistors
LONGEST_S = 1.1


class Board:
    """A session with a board, and a look at its pins."""

    def __init__(self, process: BoardProcess) -> None:
        self.process = process
        self.line = FirmwareLine(process)
        self.session = BoardSession(self.line)
        self.session.hello()
        self.session.listen(0.15)

    def energise(self) -> None:
        """To C, until mains is on."""
        self.session.present(C)
        self.session.event(EventKind.MAINS_ON, within_s=4.0)
        self.process.changes()

    def silence(self, seconds: float) -> None:
        """Let time pass without a word to the board."""
        for _ in range(round(seconds / 0.02)):
            self.process.advance(20_000)

    def opened_after(self, tick: int) -> float:
        """Seconds from a tick until the contacts were open for good; one change only."""
        rungs = [(at, rung) for at, what, rung in self.process.changes() if what == "rung"]
        assert rungs[-1][1] == "open"
        assert not any(rung in ("C", "D", "short") for at, rung in rungs if at > tick)
        return (rungs[-1][0] - tick) / TICKS_PER_SECOND

    @property
    def tick(self) -> int:
        return int(self.process.pins()["tick"])


@pytest.fixture
def board(switch_on: SwitchOn) -> Board:
    return Board(switch_on())


def test_nothing_energises_without_arming(board: Board) -> None:
    session = board.session
    session.present(B)
    for setting in (C, D, Setting(Rung.C, diode_in=False)):
        for nonce in (0, 1, 0xFFFF_FFFF):
            assert session.ask(Present(setting, nonce)).code is Code.NOT_ARMED
    session.listen(0.5)
    words = [int(word, 16) for _, what, word in board.process.changes() if what == "word"]
    assert words
    assert not any(word & ENERGISING for word in words)


def test_b_of_another_set_never_looks_like_c(switch_on: SwitchOn) -> None:
    # Relays that operate faster than they release: both permanent resistors would be in at once.
    board = Board(switch_on("operate_ms=1.5", "release_ms=3.4"))
    session = board.session
    settings = [Setting(Rung.B, ladder=ladder) for ladder in LadderSet]
    session.present(settings[0])
    for setting in [*settings[1:], settings[0], OPEN]:
        session.present(setting)
    for setting in (settings[2], OPEN, settings[0], settings[1], settings[2], OPEN, settings[1]):
        session.ask(Present(setting))
    session.listen(0.1)
    rungs = [rung for _, what, rung in board.process.changes() if what == "rung"]
    assert set(rungs) == {"B", "open"}
    assert rungs[-1] == "B"
    assert board.process.pins()["word"] == 0b010


def test_the_enable_comes_after_a_known_word(switch_on: SwitchOn) -> None:
    process = switch_on()
    for _ in range(20):
        process.advance(20_000)
    changes = process.changes()
    first = [(what, value) for _, what, value in changes if what in ("word", "enable")]
    # At switch-on the registers hold garbage; without a relay to hold they are not enabled at all.
    assert first == [("word", "000000")]
    assert not any(what == "rung" for _, what, _ in changes)
    board = Board(process)
    board.session.present(B)
    changes = process.changes()
    later = [(what, value) for _, what, value in changes if what in ("word", "enable")]
    # The word comes before the relays get current.
    assert later == [("word", "000002"), ("enable", "1")]
    assert {value for _, what, value in changes if what == "rung"} == {"B", "open"}  # it bounces


def test_keep_alive_lost(board: Board) -> None:
    board.energise()
    board.session.say(KeepAlive())
    board.process.advance(2_000, board.line.taken())
    tick = board.tick
    board.silence(1.3)
    assert 0.9 <= board.opened_after(tick) <= LONGEST_S


@pytest.mark.parametrize(
    "piece", [bytes(range(1, 256)), b"\x04\x41\x03\x6a"], ids=["noise", "half"]
)
def test_garbage_is_no_keep_alive(board: Board, piece: bytes) -> None:
    board.energise()
    tick = board.tick
    for _ in range(65):
        board.process.advance(20_000, piece)
    assert board.opened_after(tick) <= LONGEST_S


def test_garbage_between_keep_alives_does_no_harm(board: Board) -> None:
    board.energise()
    session = board.session
    for _ in range(100):
        session.line.write(bytes(range(1, 256)) + b"\0")
        session.read()
    assert board.process.pins()["rung"] == "C"
    session.present(OPEN)
    assert session.troubles == []


@pytest.mark.parametrize("seconds", [0.3, 1.0, 7.7])
def test_interlock_opens(board: Board, seconds: float) -> None:
    board.energise()
    board.session.listen(seconds)
    tick = int(board.process.command("interlock open")["tick"])
    board.session.listen(0.3)
    assert board.opened_after(tick) < 0.02
    assert board.session.event(EventKind.FELL_OPEN).reason is Reason.INTERLOCK


def test_reset_opens_by_hardware(board: Board) -> None:
    board.energise()
    tick = int(board.process.command("reset 100")["tick"])
    board.silence(1.0)
    # The registers lose their enable with the reset line itself.
    assert board.opened_after(tick) < 0.005
    board.session.hello()
    assert board.session.wait(Health).setting == OPEN


def test_hold_limit_opens() -> None:
    board = Board(BoardProcess(memory=BoardMemory(hold_d_s=5)))
    try:
        limit = board.session.hello().hold_d_s
        board.session.present(D)
        tick = board.tick
        board.session.listen(limit + 0.5)
        assert board.opened_after(tick) == pytest.approx(limit, abs=0.1)
    finally:
        board.process.close()


def test_a_broken_chain_of_registers_opens(board: Board) -> None:
    board.energise()
    tick = int(board.process.command("set chain_broken=yes")["tick"])
    board.session.listen(1.5)
    # What is presented cannot be known any more: the heartbeat stops, the enable goes.
    assert board.opened_after(tick) <= LONGEST_S
    assert not board.process.pins()["enabled"]
    assert board.session.event(EventKind.FELL_OPEN).reason is Reason.FAULT


def test_a_broken_chain_is_never_latched(board: Board) -> None:
    board.process.command("set chain_broken=yes")
    since = len(board.session.heard)
    board.session.ask(Present(B))
    board.session.listen(0.3)
    assert board.process.pins()["rung"] == "open"
    assert board.session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT


def test_an_enable_that_fails_is_told(board: Board) -> None:
    board.energise()
    tick = int(board.process.command("set pump_broken=yes")["tick"])
    board.session.listen(0.5)
    assert board.opened_after(tick) < 0.02
    assert board.session.event(EventKind.FELL_OPEN).reason is Reason.FAULT


@pytest.mark.slow
def test_an_enable_that_fails_is_told_after_half_a_turn_of_the_tick(board: Board) -> None:
    session = board.session
    session.present(B)
    # 2^31 ticks are 134 s: from then on a difference of ticks has the other sign.
    session.listen(140.0)
    board.energise()
    since = len(session.heard)
    tick = int(board.process.command("set pump_broken=yes")["tick"])
    session.listen(0.2)
    assert board.opened_after(tick) < 0.02
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT


def test_falling_open_needs_no_latch(board: Board) -> None:
    board.energise()
    session = board.session
    board.process.command("set latch_broken=yes")
    session.say(KeepAlive())
    board.process.advance(2_000, board.line.taken())
    tick = board.tick
    board.silence(1.3)
    assert 0.9 <= board.opened_after(tick) <= LONGEST_S
    # What a program does next must not bring the old word back.
    session.hello()
    session.present(OPEN)
    session.listen(0.3)
    assert board.process.pins()["rung"] == "open"
    assert not any(what == "rung" for _, what, _ in board.process.changes())


def test_a_plain_open_needs_no_latch_and_the_old_word_stays_away(board: Board) -> None:
    board.energise()
    session = board.session
    board.process.command("set latch_broken=yes")
    tick = board.tick
    assert session.ask(Present(OPEN)).accepted
    session.listen(0.3)
    # No beat is left: the pump runs down, within 50 ms.
    assert board.opened_after(tick) < 0.1
    # What is latched is still C: without arming, B would bring it back.
    since = len(session.heard)
    assert session.ask(Present(B)).code is Code.CANNOT_PRESENT
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT
    session.listen(0.3)
    assert not any(what == "rung" for _, what, _ in board.process.changes())


@pytest.mark.parametrize(("held", "asked"), [(C, B), (B, C)], ids=["C to B", "B to C"])
def test_outputs_that_do_not_follow_are_a_fault(
    board: Board, held: Setting, asked: Setting
) -> None:
    session = board.session
    session.present(held)
    board.process.command("set latch_broken=yes")
    board.process.changes()
    since, tick = len(session.heard), board.tick
    nonce = session.ask(Arm()).nonce if asked is C else 0
    session.ask(Present(asked, nonce))
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT
    session.listen(0.2)
    # The switched resistor's contact may be the first to open, which leaves B for a moment.
    assert board.opened_after(tick) < 0.15


def test_the_old_word_after_a_reset_lasts_less_than_50_ms(board: Board) -> None:
    board.energise()
    board.process.command("set latch_broken=yes")
    board.process.command("reset 10")
    board.silence(0.5)
    session = board.session
    session.hello()
    session.listen(0.2)
    board.process.changes()
    since = len(session.heard)
    session.ask(Present(B))
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT
    session.listen(0.3)
    changes = board.process.changes()
    times = [tick for tick, what, _ in changes if what in ("enable", "rung")]
    assert times[-1] - times[0] < 0.05 * TICKS_PER_SECOND
    assert [rung for _, what, rung in changes if what == "rung"][-1:] in ([], ["open"])
    assert session.ask(Present(B)).code is Code.CANNOT_PRESENT
    session.listen(0.3)
    assert not any(what == "rung" for _, what, _ in board.process.changes())


def test_an_output_that_is_stuck_is_never_enabled(switch_on: SwitchOn) -> None:
    board = Board(switch_on("output_stuck=yes"))
    session = board.session
    for setting in (B, Setting(Rung.OPEN, pe_closed=False)):
        assert session.ask(Present(setting)).code is Code.CANNOT_PRESENT
    session.listen(0.3)
    assert not any(what == "enable" for _, what, _ in board.process.changes())


def test_an_enable_that_is_stuck_is_found_by_the_next_reset(board: Board) -> None:
    session = board.session
    session.present(B)
    board.process.command("set pump_stuck=yes")
    board.process.command("reset 10")
    board.silence(0.5)
    session.hello()
    session.listen(0.2)
    since = len(session.heard)
    assert session.ask(Present(B)).code is Code.CANNOT_PRESENT
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT
    nonce = session.ask(Arm()).nonce
    assert session.ask(Present(C, nonce)).code is Code.CANNOT_PRESENT
    session.listen(0.2)
    assert board.process.pins()["rung"] == "open"


def test_a_chattering_comparator_does_not_block_the_board(switch_on: SwitchOn) -> None:
    # A missing low rail leaves the low plateau at 0 V, where noise crosses the comparator's
    # hysteresis tens of thousands of times a second.
    board = Board(switch_on("voc_low_v=0", "noise_v=0.02", "hysteresis_mv=30"))
    session = board.session
    session.ask(SetMode(Mode.STREAM8))
    session.present(B)
    heard = session.listen(3.0)
    reports = [message for message in heard if isinstance(message, Health)]
    assert len(reports) >= 28
    assert reports[-1].dropped_edges > 0
    assert session.troubles == []
    nonce_before = session.now
    session.present(C)
    assert session.now - nonce_before < TICKS_PER_SECOND // 4
    session.alive = False
    board.process.changes()
    tick = board.tick
    session.listen(1.4)
    assert board.opened_after(tick) <= LONGEST_S

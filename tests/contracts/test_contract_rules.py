"""What the board does by itself: `hardware_notes/link_protocol.md`, section 7."""

import pytest
from board_rigs import Rig
from board_session import BoardSession

from rungbench.link.messages import (
    OPEN,
    TICKS_PER_SECOND,
    Arm,
    CableCode,
    Code,
    Event,
    EventKind,
    Health,
    KeepAlive,
    LadderSet,
    Present,
    Reason,
    Rung,
    Setting,
)

B, C, D = Setting(Rung.B), Setting(Rung.C), Setting(Rung.D)


def reported(board: BoardSession) -> Setting:
    """What the board says that it presents now."""
    return board.wait(Health).setting


def fell(board: BoardSession, since: int, within_s: float = 3.0) -> Event:
    """The event with which the board went to open by itself, and then did so."""
    event = board.event(EventKind.FELL_OPEN, since=since, within_s=within_s)
    assert reported(board) == OPEN
    applied = board.events(EventKind.SETTING_APPLIED, since)[-1]
    assert applied.setting == OPEN
    assert applied.tick >= event.tick
    return event


@pytest.mark.parametrize(
    "setting",
    [
        B,
        Setting(Rung.SHORT),
        Setting(Rung.B, ladder=LadderSet.HIGH),
        Setting(Rung.B, diode_in=False),
        Setting(Rung.OPEN, pe_closed=False),
        Setting(Rung.B, cable=CableCode.A32),
    ],
    ids=Setting.text,
)
def test_what_does_not_energise_needs_no_arming(board: BoardSession, setting: Setting) -> None:
    applied = board.present(setting)
    assert applied.setting == setting
    assert 0 < applied.interval_ticks < TICKS_PER_SECOND // 20
    assert reported(board) == setting


@pytest.mark.parametrize("setting", [C, D], ids=Setting.text)
def test_an_energising_rung_is_refused_unless_armed(board: BoardSession, setting: Setting) -> None:
    board.present(B)
    assert board.ask(Present(setting)).code is Code.NOT_ARMED
    assert board.ask(Present(setting, 12345)).code is Code.NOT_ARMED
    assert reported(board) == B


def test_a_nonce_serves_once(board: BoardSession) -> None:
    nonce = board.ask(Arm()).nonce
    assert nonce != 0
    assert board.wait(Health).armed
    assert board.ask(Present(C, nonce)).accepted
    assert board.ask(Present(D, nonce)).code is Code.NOT_ARMED
    assert reported(board) == C
    reasons = [event.reason for event in board.events(EventKind.DISARMED)]
    assert reasons == [Reason.ARM_USED]


def test_a_wrong_nonce_voids_the_arming(board: BoardSession) -> None:
    nonce = board.ask(Arm()).nonce
    assert board.ask(Present(C, nonce ^ 1)).code is Code.WRONG_NONCE
    assert board.ask(Present(C, nonce)).code is Code.NOT_ARMED
    assert reported(board) == OPEN


def test_a_new_arming_voids_the_one_before(board: BoardSession) -> None:
    first, second = board.ask(Arm()).nonce, board.ask(Arm()).nonce
    assert first != second
    assert board.ask(Present(C, first)).code is Code.WRONG_NONCE


def test_open_withdraws_the_arming_and_b_does_not(board: BoardSession) -> None:
    nonce = board.ask(Arm()).nonce
    board.present(B)
    assert board.ask(Present(C, nonce)).accepted
    nonce = board.ask(Arm()).nonce
    board.present(OPEN)
    assert board.ask(Present(C, nonce)).code is Code.NOT_ARMED


def test_an_arming_ends_after_10_s(board: BoardSession) -> None:
    since = len(board.heard)
    nonce = board.ask(Arm()).nonce
    armed = board.event(EventKind.ARMED, since=since)
    ended = board.event(EventKind.DISARMED, since=since, within_s=12.0)
    assert ended.reason is Reason.ARM_EXPIRED
    assert ended.tick - armed.tick == pytest.approx(10 * TICKS_PER_SECOND, abs=160_000)
    assert board.ask(Present(C, nonce)).code is Code.ARM_EXPIRED
    assert board.ask(Present(C)).code is Code.NOT_ARMED


def test_without_keep_alive_the_board_goes_open_after_1_s(board: BoardSession) -> None:
    board.present(C)
    board.say(KeepAlive())
    board.alive = False
    since, last = len(board.heard), board.now
    event = fell(board, since)
    assert event.reason is Reason.KEEP_ALIVE_LOST
    assert 0.9 * TICKS_PER_SECOND <= event.tick - last <= 1.1 * TICKS_PER_SECOND


def test_without_keep_alive_an_arming_ends_after_1_s(board: BoardSession) -> None:
    board.say(KeepAlive())
    board.ask(Arm())
    board.alive = False
    since = len(board.heard)
    assert fell(board, since).reason is Reason.KEEP_ALIVE_LOST
    assert not board.wait(Health).armed


def test_an_open_board_needs_no_keep_alive(board: BoardSession) -> None:
    board.alive = False
    board.listen(5.0)
    assert board.events(EventKind.FELL_OPEN) == []


def test_an_energising_rung_is_held_no_longer_than_the_limit(board: BoardSession) -> None:
    limit = board.hello().hold_c_s
    since = len(board.heard)
    board.present(C)
    applied = board.event(EventKind.SETTING_APPLIED, since=since)
    event = fell(board, since, within_s=limit + 2.0)
    assert event.reason is Reason.HOLD_LIMIT
    held = event.tick - (applied.tick - applied.interval_ticks)
    assert held == pytest.approx(limit * TICKS_PER_SECOND, abs=0.1 * TICKS_PER_SECOND)


def test_another_energising_setting_begins_its_hold_anew(board: BoardSession) -> None:
    limit = board.hello().hold_c_s
    board.present(C)
    board.listen(limit - 2.0)
    since = len(board.heard)
    board.present(Setting(Rung.C, ladder=LadderSet.LOW))
    board.listen(limit - 2.0)
    assert board.events(EventKind.FELL_OPEN, since) == []


def test_rung_b_has_no_hold_limit(board: BoardSession) -> None:
    limit = board.hello().hold_c_s
    board.present(B)
    board.listen(limit + 5.0)
    assert reported(board) == B


def test_an_open_interlock_opens_an_energising_rung(rig: Rig, board: BoardSession) -> None:
    board.present(C)
    since = len(board.heard)
    rig.press_stop()
    event = fell(board, since)
    assert event.reason is Reason.INTERLOCK
    seen = board.event(EventKind.INTERLOCK, since=since)
    assert not seen.closed
    assert event.tick - seen.tick < TICKS_PER_SECOND // 100
    assert not board.wait(Health).interlock_closed


def test_an_open_interlock_refuses_arming_and_energising(rig: Rig, board: BoardSession) -> None:
    board.present(B)
    nonce = board.ask(Arm()).nonce
    rig.press_stop()
    board.event(EventKind.INTERLOCK)
    assert board.ask(Present(C, nonce)).code is Code.INTERLOCK_OPEN
    assert board.ask(Arm()).code is Code.INTERLOCK_OPEN
    assert reported(board) == B, "what does not energise stays"
    since = len(board.heard)
    rig.release_stop()
    assert board.event(EventKind.INTERLOCK, since=since).closed
    board.present(C)
    assert reported(board) == C

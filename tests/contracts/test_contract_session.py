"""Sessions, frames and requests: `hardware_notes/link_protocol.md`, sections 2 to 6."""

from board_rigs import Rig
from board_session import BoardSession

from rungbench.link.messages import (
    OPEN,
    PRESENT,
    PROTOCOL,
    SET_MODE,
    Answer,
    Code,
    EdgeBlock,
    Event,
    EventKind,
    Health,
    Identity,
    Mode,
    Present,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
)

B = Setting(Rung.B)


def test_a_board_is_silent_but_for_its_identity_until_hello(rig: Rig) -> None:
    session = BoardSession(rig.line)
    session.alive = False
    for _ in range(20):
        session.read()
    assert [type(message) for message in session.heard] in ([], [Identity])


def test_no_request_is_obeyed_before_hello(rig: Rig) -> None:
    session = BoardSession(rig.line)
    session.alive = False
    assert session.ask(Present(B)).code is Code.NO_HELLO
    assert session.ask(SetMode(Mode.STREAM8)).code is Code.NO_HELLO


def test_the_identity_names_what_a_run_needs(rig: Rig) -> None:
    identity = BoardSession(rig.line).hello()
    assert identity.protocol == PROTOCOL
    assert identity.board_id
    assert {Rung.OPEN, Rung.B, Rung.C} <= set(identity.rungs)
    assert Mode.STREAM10 in identity.modes
    assert identity.converter_low_v <= -13.0
    assert identity.converter_high_v >= 13.0
    assert 0 < identity.hold_c_s <= 60
    assert 0 < identity.hold_d_s <= 60


def test_hello_begins_anew(board: BoardSession) -> None:
    board.ask(SetMode(Mode.STREAM10))
    board.present(B)
    board.listen(1.0)
    before = board.now
    since = len(board.heard)
    board.hello()
    board.listen(0.5)
    health = board.wait(Health)
    assert health.setting == OPEN
    assert health.mode is Mode.OFF
    assert health.tick > before, "the tick goes on"
    fresh = board.heard[since:]
    fresh = fresh[next(i for i, m in enumerate(fresh) if isinstance(m, Identity)) :]
    assert not any(isinstance(message, SampleBlock) for message in fresh)
    since = len(board.heard)
    board.ask(SetMode(Mode.STREAM10))
    assert board.wait(SampleBlock, since=since).index == 0


def test_a_host_of_another_version_learns_who_is_there_and_gets_nothing(rig: Rig) -> None:
    session = BoardSession(rig.line)
    assert session.hello(version=PROTOCOL + 1).protocol == PROTOCOL
    assert session.ask(Present(B)).code is Code.OTHER_PROTOCOL
    assert session.hello().protocol == PROTOCOL
    assert session.ask(Present(B)).accepted


def test_requests_that_make_no_sense_are_named(board: BoardSession) -> None:
    def answered(kind: int, payload: bytes) -> Code:
        since = len(board.heard)
        return board.answer_to(board.say_bytes(kind, payload), since).code

    assert answered(PRESENT, b"\x69") is Code.MALFORMED
    assert answered(PRESENT, b"\x69\x00\x00\x00\x00\x00\x00") is Code.MALFORMED
    assert answered(PRESENT, b"\x07\x00\x00\x00\x00\x00") is Code.MALFORMED
    assert answered(SET_MODE, b"\x09") is Code.UNKNOWN_MODE
    assert answered(0x7E, b"") is Code.MALFORMED


def test_garbage_half_frames_and_lost_frames_leave_the_board_usable(board: BoardSession) -> None:
    board.line.write(bytes(range(1, 256)) * 4 + b"\0")
    board.line.write(b"\x05\x44\x02")
    board.line.write(b"\0")
    board.skip_sequence(5)
    assert board.ask(Present(B)).accepted
    assert board.event(EventKind.SETTING_APPLIED).setting == B


def test_all_frames_of_a_session_arrive_whole_and_in_turn(board: BoardSession) -> None:
    board.present(B)
    for mode in (Mode.STREAM8, Mode.BURST10, Mode.STREAM10, Mode.OFF):
        board.ask(SetMode(mode))
        board.listen(1.0)
    assert board.troubles == []
    assert {Answer, Event, Health, SampleBlock, EdgeBlock} <= {type(m) for m in board.heard}


def test_health_comes_every_100_ms_and_reports_what_is_presented(board: BoardSession) -> None:
    board.present(B)
    ticks = [m.tick for m in board.listen(2.0) if isinstance(m, Health)]
    assert 18 <= len(ticks) <= 22
    steps = {after - before for before, after in zip(ticks[:-1], ticks[1:], strict=True)}
    assert max(steps) - min(steps) <= 16_000
    assert abs(sum(steps) / len(steps) - 1_600_000) <= 16_000
    health = board.wait(Health)
    assert health.setting == B
    assert (health.overruns, health.dropped_edges, health.dropped_samples) == (0, 0, 0)
    assert health.interlock_closed


def test_a_reset_ends_the_session_on_open(rig: Rig, board: BoardSession) -> None:
    board.present(B)
    before, since = board.now, len(board.heard)
    rig.reset()
    board.wait(Identity, since=since)
    board.hello()
    health = board.wait(Health)
    assert health.setting == OPEN
    assert health.tick < before, "ticks begin anew"

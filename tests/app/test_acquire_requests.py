"""Requests: matched with their answers, repeated only where that is safe, never left hanging."""

import threading

import pytest
from link_board import NONCE, ScriptedLine

from rungbench.acquire import Acquisition
from rungbench.acquire.requests import Pending, Requests
from rungbench.errors import LinkLost, NoAnswer
from rungbench.link.messages import (
    OPEN,
    Answer,
    Arm,
    Code,
    Health,
    Mode,
    Present,
    Rung,
    SetMode,
    Setting,
)

B, C = Setting(Rung.B), Setting(Rung.C)
GOODBYE = [Present(OPEN), SetMode(Mode.OFF)]


def on(line: ScriptedLine) -> Acquisition:
    """With a runner that is never late, however fast the scripted time runs."""
    acquisition = Acquisition(line.port(), clock=line.clock)
    if line.on_read is None:
        line.on_read = lambda _: acquisition.renew_lease()
    return acquisition


@pytest.mark.parametrize("lock_step", [True, False])
def test_answers_find_their_requests(lock_step: bool) -> None:
    line = ScriptedLine(lock_step=lock_step)
    with on(line) as acquisition:
        nonce = acquisition.send(Arm()).nonce
        assert nonce == NONCE
        assert acquisition.send(Present(C, nonce)).accepted
        assert acquisition.send(SetMode(Mode.STREAM10)).accepted
    assert line.requests() == [Arm(), Present(C, NONCE), SetMode(Mode.STREAM10), *GOODBYE]
    assert line.closed == 1


def test_a_refusal_is_an_answer() -> None:
    line = ScriptedLine(lock_step=True, swallowed_answers=1)

    def refuse(line: ScriptedLine) -> None:
        # hello is 0, the first keep-alive 1, this request 2
        if line.requests() and line.swallowed_answers == 0:
            line.swallowed_answers = -1
            line.push(Answer(2, Code.NOT_ARMED))

    with on(line) as acquisition:
        line.on_read = refuse
        answer = acquisition.send(Present(C))
        line.on_read, line.swallowed_answers = None, 0
    assert (answer.accepted, answer.code) == (False, Code.NOT_ARMED)


@pytest.mark.parametrize("lock_step", [True, False])
@pytest.mark.parametrize("message", [Present(B), SetMode(Mode.STREAM8), Arm()])
def test_lost_answers_are_asked_for_again(
    message: Present | SetMode | Arm, lock_step: bool
) -> None:
    line = ScriptedLine(lock_step=lock_step, swallowed_answers=3)
    with on(line) as acquisition:
        assert acquisition.send(message).accepted
        assert acquisition.statistics.repeats == 3
    assert line.requests() == [message] * 4 + GOODBYE
    asked = [when for when, said in line.said if said == message]
    gaps = [after - before for before, after in zip(asked, asked[1:], strict=False)]
    # A lock-step line sees time in the health of every 100 ms.
    assert gaps == pytest.approx([0.3] * 3, abs=0.1)


@pytest.mark.parametrize("lock_step", [True, False])
def test_an_energising_request_is_said_once(lock_step: bool) -> None:
    line = ScriptedLine(lock_step=lock_step, swallowed_answers=1)
    with on(line) as acquisition:
        begun = line.clock.now_s
        with pytest.raises(NoAnswer, match=r"did not answer Present within 2 s \(1 tries\)"):
            acquisition.send(Present(C, NONCE))
        # Otherwise time runs on until the runner has woken up.
        if lock_step:
            assert line.clock.now_s - begun == pytest.approx(2.0, abs=0.15)
    assert line.requests() == [Present(C, NONCE), *GOODBYE]


def test_a_setting_that_another_one_followed_is_not_said_again() -> None:
    """Its answer was lost, the runner gave up and asked for open: B must not come back."""
    line = ScriptedLine(lock_step=True, swallowed_answers=2)
    with on(line) as acquisition:
        given_up = acquisition._thread.submit(Present(B), 2.0)
        assert acquisition.send(Present(OPEN)).accepted
        while not given_up.done.is_set():
            acquisition.next(1.0)
    with pytest.raises(NoAnswer):
        given_up.result()
    presents = [m for m in line.requests() if isinstance(m, Present)]
    assert presents[0] == Present(B)
    assert set(presents[1:]) == {Present(OPEN)}


def test_no_more_than_four_requests_are_in_flight() -> None:
    requests = Requests()
    pending = [Pending(SetMode(Mode.OFF), 5.0) for _ in range(6)]
    for request in pending:
        requests.submit(request)
    said = requests.due(0.0)
    assert said == pending[:4]
    for sequence, request in enumerate(said):
        requests.said(request, sequence, 0.0)
    assert requests.due(0.1) == []
    assert requests.answered(Answer(2, Code.ACCEPTED))
    assert requests.due(0.1) == [pending[4]]
    assert requests.expire(5.0) == 5
    assert requests.due(5.0) == []


def test_an_answer_to_nobody_changes_nothing() -> None:
    line = ScriptedLine(lock_step=True)

    def stray(line: ScriptedLine) -> None:
        line.push(Answer(99, Code.WRONG_NONCE))

    with on(line) as acquisition:
        line.on_read = stray
        assert acquisition.send(Present(B)).accepted


def test_what_came_before_an_answer_is_already_in_the_queue() -> None:
    line = ScriptedLine(lock_step=True)
    with on(line) as acquisition:
        line.push(Health(1))
        acquisition.send(Present(B))
        found = acquisition.next(timeout=0.0)
        assert isinstance(found, Health)
        assert found.tick == 1


@pytest.mark.parametrize("lock_step", [True, False])
def test_a_request_on_a_line_that_breaks_fails_at_once(lock_step: bool) -> None:
    line = ScriptedLine(lock_step=lock_step, swallowed_answers=100)
    acquisition = on(line)
    acquisition.start()

    def cut(line: ScriptedLine) -> None:
        line.broken = bool(line.requests())

    line.on_read = cut
    with pytest.raises(LinkLost, match="was cut"):
        acquisition.send(Present(B))
    with pytest.raises(LinkLost, match="was cut"):
        acquisition.send(Present(OPEN))
    farewell = acquisition.close()
    assert not farewell.open_confirmed
    assert "was cut" in farewell.detail
    assert line.closed == 1


def read_to_the_end(acquisition: Acquisition) -> None:
    while True:
        acquisition.next(0.0)


def test_nothing_is_sent_before_the_start_or_after_the_end() -> None:
    line = ScriptedLine(lock_step=True)
    acquisition = on(line)
    with pytest.raises(LinkLost, match="not started"):
        acquisition.send(Present(B))
    with acquisition:
        pass
    with pytest.raises(LinkLost, match="was closed"):
        acquisition.send(Present(B))
    with pytest.raises(LinkLost, match="was closed"):
        read_to_the_end(acquisition)


def test_several_threads_may_ask() -> None:
    line = ScriptedLine(lock_step=True)
    answers: list[Answer] = []
    with on(line) as acquisition:
        askers = [
            threading.Thread(target=lambda: answers.append(acquisition.send(Present(B))))
            for _ in range(8)
        ]
        for asker in askers:
            asker.start()
        for asker in askers:
            asker.join()
    assert [answer.code for answer in answers] == [Code.ACCEPTED] * 8
    assert len({answer.to_sequence for answer in answers}) == 8

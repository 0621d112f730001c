"""Questions and wishes: who answers, what is refused, when a run pauses."""

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from rich.console import Console

from rungbench.cli.desk_terminal import TerminalDesk, wish_of
from rungbench.errors import ExitStatus, InputError, WrongUse
from rungbench.link.words import OPEN, TICKS_PER_SECOND, Rung, Setting
from rungbench.qualify.answers import ScriptDesk, Scripted, read_answers
from rungbench.qualify.desk import Answer, Ask, EmptyDesk, Question, Reply, Want, Wish

B = Setting(Rung.B)
SET_10 = Question(Ask.SET_CURRENT, B, 60.0, 10.0)
RESTART = Question(Ask.RESTART, OPEN, 60.0)
HEAD = 'schema = "rungbench.answers/1"\n'


def test_a_question_names_its_current() -> None:
    assert SET_10.text == "Set the charger to 10 A, then confirm."
    assert "switch it on again" in RESTART.text


def test_nobody_cannot_do_anything() -> None:
    desk = EmptyDesk()
    desk.put(RESTART, 0)
    answer = desk.answer(0)
    assert answer is not None
    assert answer.reply is Reply.CANNOT
    assert "--answers" in answer.reason


def test_a_scripted_answer_waits_for_its_board_time() -> None:
    desk = ScriptDesk([Scripted(Ask.RESTART, Answer(Reply.DONE), after_s=2.0)])
    desk.put(RESTART, 1000)
    assert desk.answer(1000 + 2 * TICKS_PER_SECOND - 1) is None
    assert desk.answer(1000 + 2 * TICKS_PER_SECOND) == Answer(Reply.DONE)


def test_answers_are_taken_in_order_and_the_last_one_stays() -> None:
    desk = ScriptDesk(
        [
            Scripted(Ask.RESTART, Answer(Reply.CANNOT, "no key"), after_s=0.0),
            Scripted(Ask.RESTART, Answer(Reply.DONE), after_s=0.0),
        ]
    )
    replies = []
    for _ in range(3):
        desk.put(RESTART, 0)
        answer = desk.answer(0)
        assert answer is not None
        replies.append(answer.reply)
    assert replies == [Reply.CANNOT, Reply.DONE, Reply.DONE]


def test_an_answer_may_be_for_one_current_only() -> None:
    desk = ScriptDesk([Scripted(Ask.SET_CURRENT, Answer(Reply.DONE), 0.0, ampere=16.0)])
    desk.put(SET_10, 0)
    answer = desk.answer(0)
    assert answer is not None
    assert answer.reply is Reply.CANNOT
    assert "has none for it" in answer.reason


def test_answers_are_read(tmp_path: Path) -> None:
    path = tmp_path / "answers.toml"
    path.write_text(
        HEAD + '[[answer]]\nto = "set the current"\nampere = 10\nafter_s = 0.5\n'
        '[[answer]]\nto = "restart the charger"\nreply = "cannot"\nreason = "locked room"\n'
    )
    assert read_answers(path) == [
        Scripted(Ask.SET_CURRENT, Answer(Reply.DONE), 0.5, 10.0),
        Scripted(Ask.RESTART, Answer(Reply.CANNOT, "locked room")),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no answers"),
        (HEAD, "holds no answers"),
        ('schema = "other/1"\n[[answer]]\nto = "authorise"\n', "holds no answers"),
        (HEAD + "[[answer]]\n", "to is None and must be one of authorise"),
        (HEAD + '[[answer]]\nto = "dance"\n', "to is 'dance' and must be one of authorise"),
        (HEAD + '[[answer]]\nto = "authorise"\nwhen = 1\n', "there is no key 'when'"),
        (HEAD + '[[answer]]\nto = "authorise"\nreply = "cannot"\n', "needs a reason"),
        (HEAD + '[[answer]]\nto = "authorise"\nafter_s = "1"\n', "must be a number"),
        (HEAD + '[[answer]]\nto = "authorise"\nafter_s = -1\n', "must be a number"),
        (HEAD + "answer = [1]\n", "each answer is a table"),
    ],
)
def test_bad_answers_are_refused_with_their_place(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "answers.toml"
    path.write_text(text)
    with pytest.raises(WrongUse, match=said) as refused:
        read_answers(path)
    assert refused.value.exit_status == ExitStatus.WRONG_USE
    assert str(refused.value).startswith(str(path))


def test_a_file_that_is_none_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_answers(tmp_path / "absent.toml")
    broken = tmp_path / "broken.toml"
    broken.write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="not TOML"):
        read_answers(broken)


def typed(*lines: str | None) -> Iterator[str | None]:
    yield from lines
    while True:
        yield None


def test_the_terminal_takes_enter_for_done_and_text_for_a_reason() -> None:
    lines = typed(None, "", "no access to the menu")
    out = io.StringIO()
    desk = TerminalDesk(Console(width=100, file=out), lambda: next(lines))
    desk.put(SET_10, 0)
    assert desk.answer(0) is None
    assert desk.answer(0) == Answer(Reply.DONE)
    desk.put(SET_10, 0)
    assert desk.answer(0) == Answer(Reply.CANNOT, "no access to the menu")
    desk.put(RESTART, 0)
    desk.take_back()
    said = out.getvalue()
    assert "Set the charger to 10 A" in said
    assert "withdrawn" in said


@pytest.mark.parametrize(
    ("line", "wish"),
    [
        ("pause", Wish(Want.PAUSE)),
        ("go on", Wish(Want.GO_ON)),
        ("repeat", Wish(Want.REPEAT)),
        ("repeat B to C", Wish(Want.REPEAT, step="B to C")),
        ("skip the key is lost", Wish(Want.SKIP, "the key is lost")),
        ("skip", None),
        ("stop", None),
    ],
)
def test_wishes_are_typed(line: str, wish: Wish | None) -> None:
    assert wish_of(line) == wish

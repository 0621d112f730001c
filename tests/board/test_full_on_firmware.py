"""The full plan on the firmware, and its questions answered at a terminal and from a file.

What the charger of the board simulator cannot be asked for (to withdraw its offer, to be restarted)
is declared, so that the checks which need it are left out with that reason.
"""

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from board_simulator.process import BoardProcess, SwitchOn
from board_simulator.protocol_board import at_address
from board_simulator.words import CHARGER, having

from pilotsignal.standard import load_profile
from rungbench.archive.record import ChargerIdentity, Record, Role, RunVerdict
from rungbench.archive.store import open_archive
from rungbench.paths import paths
from rungbench.qualify.bench import open_bench
from rungbench.qualify.desk import Answer, Ask, Question, Reply, Wish
from rungbench.qualify.order import Order
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import People
from rungbench.qualify.runner import run

DEMO = ChargerIdentity("Example", "Demo 11", "D-1", 16.0, 16.0, 3, "cable", ventilation="refuse")
CANNOT = frozenset({Ask.AUTHORISE, Ask.WITHDRAW, Ask.OFFER, Ask.RESTART})


@dataclass
class Hand:
    """Sets the current of the simulator's charger; a second later it says that it did."""

    board: BoardProcess
    asked: list[float] = field(default_factory=list)
    due: int = 0

    def put(self, question: Question, tick: int, /) -> None:
        assert question.ask is Ask.SET_CURRENT
        assert question.ampere is not None
        self.board.command(f"set set_a={question.ampere:g}")
        self.asked.append(question.ampere)
        self.due = tick + 16_000_000

    def answer(self, tick: int, /) -> Answer | None:
        return Answer(Reply.DONE) if tick >= self.due else None

    def take_back(self) -> None:
        """Nothing is left lying about."""

    def wish(self) -> Wish | None:
        return None


def full_run(board: BoardProcess, url: str, folder: Path) -> Record:
    order = Order(load_plan("full"), DEMO, load_profile(), "nobody", True, CANNOT)
    with (
        open_archive(folder / "real.sqlite", simulated=False) as archive,
        open_bench(url) as standin,
    ):
        return run(order, standin, archive, People(desk=Hand(board)), url=url)


@pytest.mark.slow
@pytest.mark.usefixtures("calibrated")
def test_a_sound_charger_passes_all_that_its_host_can_provoke(
    switch_on: SwitchOn, tmp_path: Path
) -> None:
    board = switch_on()
    with at_address(board, "full") as url:
        record = full_run(board, url, tmp_path)
    verdicts = {
        one.check: one.verdict.value for one in record.checks if one.role is not Role.INDICATIVE
    }
    wrong = {check: one for check, one in verdicts.items() if one not in ("pass", "observed")}
    assert wrong == {}
    assert record.verdict is RunVerdict.PASS
    assert {"set-points", "reactions", "duty-steps", "session-kept", "mains-off-loop"} <= {
        check for check, one in verdicts.items() if one == "pass"
    }
    gone = dict(record.header.left_out)
    assert {"mains-kept", "steady-held", "mains-off-c1", "no-mains-restart"} <= set(gone)
    assert "nobody can do" in gone["mains-kept"]


PLAN = """schema = "rungbench.plan/1"
name = "two-questions"
title = "Two questions"

[[step]]
name = "open"
do = "observe"
rung = "open"
record_s = 0.5

[[step.check]]
kind = "no-pwm-unplugged"

[[step]]
name = "restart"
do = "ask"
rung = "open"
ask = "restart the charger"
answer_s = {answer_s}
after_s = 0.5

[[step.check]]
kind = "no-mains-restart"

[[step]]
name = "withdrawn"
do = "ask"
rung = "B"
ask = "withdraw the offer"
answer_s = {answer_s}
after_s = 0.5

[[step.check]]
kind = "steady-held"
role = "optional"
"""


def own_plan(answer_s: float) -> None:
    paths().plans.mkdir(parents=True)
    text = PLAN.format(answer_s=answer_s)
    (paths().plans / "two-questions.toml").write_text(text, encoding="utf-8")


def words(board: BoardProcess) -> list[str]:
    return [
        *(sys.executable, "-m", "rungbench", "qualify", "--bench", board.path),
        *("--plan", "two-questions", *CHARGER),
    ]


class Terminal:
    """A program at a terminal of its own: what it printed, and a keyboard."""

    def __init__(self, controller: int, program: "subprocess.Popen[bytes]") -> None:
        self._controller, self.program = controller, program
        self.seen = ""

    def read_until(self, pattern: str, seconds: float = 40.0) -> None:
        """Read on until what was printed matches."""
        deadline = time.monotonic() + seconds
        while not re.search(pattern, self.seen):
            assert time.monotonic() < deadline, f"{pattern!r} was not printed: {self.seen[-600:]!r}"
            ready, _, _ = select.select([self._controller], [], [], 0.1)
            if ready:
                self.seen += self._more()

    def type(self, text: str) -> None:
        os.write(self._controller, text.encode())

    def _more(self) -> str:
        try:
            return os.read(self._controller, 65536).decode(errors="replace")
        except OSError:  # the program ended and closed its side
            return ""


@contextmanager
def at_a_terminal(command: list[str]) -> Iterator[Terminal]:
    controller, terminal = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "140", "LINES": "50"}
    program = subprocess.Popen(
        command, stdin=terminal, stdout=terminal, stderr=terminal, env=environment
    )
    os.close(terminal)
    try:
        yield Terminal(controller, program)
    finally:
        program.kill()
        program.wait()
        os.close(controller)


def test_questions_are_answered_at_the_terminal(switch_on: SwitchOn) -> None:
    own_plan(120.0)
    board = switch_on(paced=True)
    with at_a_terminal(words(board)) as terminal:
        terminal.read_until(r"Switch the charger's supply off")
        terminal.read_until(r"There are 120 s")
        terminal.read_until(r"about \d+ (s|min) left")
        terminal.type("\r")
        terminal.read_until(r"No mains after the charger's restart")
        terminal.read_until(r"Stop the charge at the charger itself")
        terminal.type("no key for it\r")
        terminal.read_until(r"It could not be done \(no key for it\)")
        terminal.read_until(r"record \w+-\w+ in")
        terminal.read_until(r"not run")
    assert board.pins()["rung"] == "open"


def test_a_question_at_the_terminal_is_withdrawn_in_time(switch_on: SwitchOn) -> None:
    own_plan(2.0)
    board = switch_on(paced=True)
    with at_a_terminal(words(board)) as terminal:
        terminal.read_until(r"The question is withdrawn")
        terminal.read_until(r"Nobody answered within 2 s: Switch the charger's supply off")
        terminal.read_until(r"record \w+-\w+ in")


@pytest.mark.slow
def test_wishes_are_typed_between_steps(switch_on: SwitchOn) -> None:
    own_plan(60.0)
    board = switch_on(paced=True)
    with at_a_terminal(words(board)) as terminal:
        terminal.type("pause\rwhat now\r")
        terminal.read_until(r"Paused on open")
        terminal.read_until(r"Between steps, then Enter")
        terminal.type("skip nobody is at the switch\rgo on\r")
        terminal.read_until(r"Skipped by the operator: nobody is at the switch")
        terminal.read_until(r"Switch the charger's supply off")
        terminal.type("\r")
        terminal.read_until(r"Stop the charge at the charger itself")
        terminal.program.send_signal(signal.SIGINT)
        terminal.read_until(r"Stopped by Ctrl-C")
        terminal.read_until(r"record \w+-\w+ in")
    assert board.pins()["rung"] == "open"


ANSWERS = """schema = "rungbench.answers/1"

[[answer]]
to = "restart the charger"
after_s = 0.5

[[answer]]
to = "withdraw the offer"
reply = "cannot"
reason = "it has no lock"
after_s = 0.2
"""


def test_questions_are_answered_from_a_file(switch_on: SwitchOn, tmp_path: Path) -> None:
    """A real board, nobody at the terminal: neither waits for anybody nor makes anything up."""
    own_plan(60.0)
    answers = tmp_path / "answers.toml"
    answers.write_text(ANSWERS, encoding="utf-8")
    board = switch_on(paced=True)
    done = subprocess.run(
        [*words(board), "--answers", str(answers), "--json"],
        check=False,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
    )
    document = json.loads(done.stdout)
    assert not document["simulated"]
    checks = {one["check"]: one for one in document["checks"]}
    assert checks["no-mains-restart"]["verdict"] == "pass"
    assert checks["steady-held"]["verdict"] == "not run"
    assert "It could not be done (it has no lock)" in checks["steady-held"]["why"]
    assert (document["verdict"], done.returncode) == ("pass", 0)


@pytest.mark.slow
def test_nobody_at_all_answers_that_nobody_was_there(switch_on: SwitchOn) -> None:
    own_plan(60.0)
    board = switch_on(paced=True)
    done = subprocess.run(
        [*words(board), "--json"],
        check=False,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
    )
    document = json.loads(done.stdout)
    assert having(document, "not run") == {"no-mains-restart", "steady-held"}
    assert document["verdict"] == "incomplete"
    assert "--answers FILE" in document["checks"][1]["why"]

"""The program as a process of its own, on a board behind a pseudo terminal, in real time.

Whatever happens while rung C is presented, the stand-in is on open within 1.1 s, as its own
contacts tell, and the program says in one sentence what happened.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pytest
from board_simulator.process import TICKS_PER_SECOND, BoardProcess, SwitchOn
from board_simulator.words import having, qualify_words

from rungbench.link.words import Rung, Setting
from rungbench.standin.board import StandIn
from rungbench.standin.errors import FellOpen

# Protocol, section 7: 1 s without a keep-alive; the relays take some milliseconds more.
LONGEST_S = 1.1
HUNG_S = 0.95  # section 9: then the port thread asks for open
Program = subprocess.Popen[str]


@contextmanager
def started(*words: str) -> Iterator[Program]:
    """The program with these words; it does not outlive the test."""
    program = subprocess.Popen(
        [sys.executable, "-m", "rungbench", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with program:
        try:
            yield program
        finally:
            program.kill()


def ended(program: Program, seconds: float = 60.0) -> tuple[int, str, str]:
    out, error = program.communicate(timeout=seconds)
    return program.returncode, out, error


def wait_for(reached: Callable[[], bool], seconds: float = 40.0) -> None:
    for _ in range(int(seconds / 0.01)):
        if reached():
            return
        time.sleep(0.01)
    raise AssertionError(f"it did not come to that within {seconds} s")


def wait_for_mains(board: BoardProcess, program: Program) -> int:
    """Until C is presented and mains is on; returns the board's tick then."""

    def reached() -> bool:
        assert program.poll() is None, ended(program)
        pins = board.pins()
        return pins["rung"] == "C" and any(pins["mains"])

    wait_for(reached)
    return int(board.pins()["tick"])


def seconds_to_open(board: BoardProcess, tick: int) -> float:
    """Board time from a tick until the contacts were open, and they stayed so."""
    wait_for(lambda: board.pins()["rung"] == "open", 5.0)
    time.sleep(0.2)
    rungs = [(at, value) for at, what, value in board.changes() if what == "rung" and at >= tick]
    assert rungs[-1][1] == "open"
    return (next(at for at, value in rungs if value == "open") - tick) / TICKS_PER_SECOND


def test_bench_show(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    with started("bench", "show", "--bench", board.path, "--json") as program:
        status, out, error = ended(program)
    assert (status, error) == (0, "")
    document = json.loads(out)
    assert document["board"]["board_id"] == "RB-SIMAVR-1"
    assert document["health"]["temperature_c"] == pytest.approx(23.5, abs=0.5)
    assert document["health"]["interlock_closed"]
    assert not document["simulated"]


def test_a_board_that_opening_the_port_resets(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    # A boot loader may hold the board for two of the three seconds of hello (protocol, section 1).
    board.command("reset 1500")
    with started("bench", "show", "--bench", board.path, "--json") as program:
        status, out, error = ended(program)
    assert (status, error) == (0, "")
    assert json.loads(out)["board"]["reset_cause"] == "reset line"


@pytest.mark.usefixtures("calibrated")
def test_a_sound_charger_passes(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    with started(*qualify_words(board.path)) as program:
        status, out, error = ended(program)
    document = json.loads(out)
    others = [(one["check"], one["why"]) for one in document["checks"] if one["verdict"] != "pass"]
    assert (document["verdict"], status, error) == ("pass", 0, ""), others
    pins = board.pins()
    assert (pins["rung"], pins["lamp"], pins["resets"]) == ("open", False, 0)
    assert pins["line_overruns"] == pins["line_lost"] == 0


def test_a_run_whose_cable_is_pulled_in_c(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    with started(*qualify_words(board.path)) as program:
        wait_for_mains(board, program)
        tick = board.command("pull")["tick"]
        assert seconds_to_open(board, tick) <= LONGEST_S
        status, out, _ = ended(program)
    document = json.loads(out)
    # What the charger did not do because nobody measured it any more is not its fault.
    assert having(document, "fail") == set()
    assert document["verdict"] in ("bench fault", "incomplete")
    assert status in (3, 4)
    assert f"The link on {board.path} broke" in out


@dataclass(frozen=True, slots=True)
class Trouble:
    """What happens in C, how soon the contacts must be open, and what the program says.

    `begin` returns the board's tick at which it began.
    """

    begin: Callable[[BoardProcess, Program], int]
    limit_s: float
    said: str  # a pattern
    end: Callable[[Program], None] = lambda program: None


def commanding(line: str) -> Callable[[BoardProcess, Program], int]:
    return lambda board, program: int(board.command(line)["tick"])


def stopping(board: BoardProcess, program: Program) -> int:
    program.send_signal(signal.SIGSTOP)
    return int(board.pins()["tick"])


def flooding(piece: bytes, every_s: float) -> Callable[[BoardProcess, Program], int]:
    """Something else writes to the port for 1.5 s."""

    def flood(board: BoardProcess, _program: Program) -> int:
        tick = int(board.pins()["tick"])
        port = os.open(board.path, os.O_WRONLY | os.O_NOCTTY)
        try:
            for _ in range(int(1.5 / every_s)):
                os.write(port, piece)
                time.sleep(every_s)
        finally:
            os.close(port)
        return tick

    return flood


def resumed(program: Program) -> None:
    program.send_signal(signal.SIGCONT)


# Whichever the program learns first.
STOPPED = r"\(keep-alive lost\)|did nothing for"
NOT_HEARD = r"\(keep-alive lost\)|did not answer"
TROUBLES = {
    "cable pulled": Trouble(commanding("pull"), LONGEST_S, "broke"),
    "board reset": Trouble(commanding("reset 10"), 0.02, "was reset in the middle"),
    "interlock open": Trouble(commanding("interlock open"), 0.05, r"\(interlock open\)"),
    "program stopped": Trouble(stopping, LONGEST_S, STOPPED, resumed),
    # Between two keep-alives of 250 ms there is always some of it.
    "garbage": Trouble(flooding(bytes(range(1, 256)), 0.02), LONGEST_S, NOT_HEARD),
    "half frames": Trouble(flooding(b"\x04\x41\x03\x6a\x07", 0.02), LONGEST_S, NOT_HEARD),
}


@pytest.mark.parametrize("name", TROUBLES)
def test_trouble_in_c(switch_on: SwitchOn, name: str) -> None:
    trouble = TROUBLES[name]
    board = switch_on(paced=True)
    watching = ("watch", "--bench", board.path, "--rung", "C", "--arm", "--seconds", "60")
    with started(*watching) as program:
        wait_for_mains(board, program)
        tick = trouble.begin(board, program)
        assert seconds_to_open(board, tick) <= trouble.limit_s
        trouble.end(program)
        status, _, error = ended(program)
    assert status == 4
    assert re.search(trouble.said, error), error
    assert "Traceback" not in error
    assert len(error.splitlines()) == 1
    wait_for(lambda: not any(board.pins()["mains"]), 2.0)


def test_a_runner_that_hangs_in_c(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    with StandIn.open(board.path) as standin:
        standin.arm_energising()
        standin.present(Setting(Rung.C))
        tick = int(board.pins()["tick"])
        # The port thread lives on; only the runner takes nothing any more.
        time.sleep(LONGEST_S + 0.3)
        assert seconds_to_open(board, tick) <= LONGEST_S
        with pytest.raises(FellOpen, match="did nothing for 0.95 s while something was presented"):
            standin.wait(5.0)


def test_a_runner_that_is_back_in_time_keeps_its_setting(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    with StandIn.open(board.path) as standin:
        standin.arm_energising()
        standin.present(Setting(Rung.C))
        time.sleep(0.8 * HUNG_S)
        standin.wait(1.0)
        assert board.pins()["rung"] == "C"


def test_a_program_that_is_killed_in_c(switch_on: SwitchOn) -> None:
    board = switch_on(paced=True)
    watching = ("watch", "--bench", board.path, "--rung", "C", "--arm", "--seconds", "60")
    with started(*watching) as program:
        tick = wait_for_mains(board, program)
        program.kill()
        assert seconds_to_open(board, tick) <= LONGEST_S
        ended(program)

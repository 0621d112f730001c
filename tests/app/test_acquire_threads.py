"""The port thread ends with the program, whatever ends the program."""

import subprocess
import sys
import threading
from pathlib import Path

import pytest
from link_board import ScriptedLine

from rungbench.acquire import Acquisition
from rungbench.link.messages import OPEN, Present


class Stop(Exception):
    """What a runner may die of."""


@pytest.mark.parametrize("end", [Stop, KeyboardInterrupt])
def test_an_exception_leaves_open_behind_and_no_thread(end: type[BaseException]) -> None:
    before = threading.active_count()
    line = ScriptedLine(lock_step=True)
    with pytest.raises(end), Acquisition(line.port(), clock=line.clock):
        raise end
    assert threading.active_count() == before
    assert line.requests()[0] == Present(OPEN)
    assert line.closed == 1


def test_the_thread_is_no_daemon() -> None:
    with Acquisition(ScriptedLine(lock_step=True).port()) as acquisition:
        assert not acquisition._thread.daemon
        assert acquisition._thread.name == "port scripted"


FORGETFUL = """
import sys
sys.path[:0] = sys.argv[1:]
from link_board import ScriptedLine
from rungbench.acquire import Acquisition
from rungbench.link.messages import Present

class Told(ScriptedLine):
    def close(self):
        super().close()
        print(self.requests(), flush=True)

acquisition = Acquisition(Told(lock_step=True).port())
acquisition.start()
acquisition.next()
if sys.stdin.read():
    raise RuntimeError("the program dies")
"""


@pytest.mark.parametrize("word", ["", "die"])
def test_a_program_that_forgets_to_close_still_ends_on_open(root: Path, word: str) -> None:
    paths = [str(root / part) for part in ("signal", "app", "tests/app")]
    ended = subprocess.run(
        [sys.executable, "-c", FORGETFUL, *paths],
        input=word,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert ended.returncode == (1 if word else 0)
    assert repr([Present(OPEN)]) in ended.stdout
    assert ("RuntimeError" in ended.stderr) == bool(word)


def test_the_same_script_gives_the_same_conversation_every_time() -> None:
    """On a lock-step line neither threads nor the computer's speed change what is said when."""

    def conversation() -> list[object]:
        line = ScriptedLine(lock_step=True)
        with Acquisition(line.port()) as acquisition:
            for _ in range(40):
                acquisition.renew_lease()
                item = acquisition.next(5.0)
                if getattr(item, "tick", 0) % 5 == 0:
                    acquisition.send(Present(OPEN))
        return list(line.said)

    first = conversation()
    assert len(first) > 40
    for _ in range(5):
        assert conversation() == first

"""A running board simulator: its commands and their answers."""

import contextlib
import json
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from board_simulator.build import built
from board_simulator.memory import BoardMemory

TICKS_PER_SECOND = 16_000_000
_GIVE_UP_S = 60.0


class SimulatorError(Exception):
    """The simulator refused a command, or ended."""


class BoardProcess:
    """A board simulator with `traits` (``key=value``); `paced`: on a pty, in real time.

    `path` is the pty, empty in lock step.
    """

    def __init__(
        self,
        traits: Sequence[str] = (),
        *,
        paced: bool = False,
        memory: BoardMemory | None = None,
        firmware: Path | None = None,
    ) -> None:
        programs = built()
        self._lock = threading.Lock()
        with contextlib.ExitStack() as cleanup:
            words = [str(programs.board_sim), str(firmware or programs.firmware)]
            words += ["--pty" if paced else "--lockstep"]
            if memory is not None:
                words.append(f"eeprom={cleanup.enter_context(_image(memory))}")
            self._process = subprocess.Popen(
                [*words, *traits], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
            )
            # A start that fails leaves nothing behind. The EEPROM is read before the first answer.
            with contextlib.ExitStack() as failed:
                failed.callback(self.close)
                self.path = str(self._answer()["path"]) if paced else ""
                self.command("pins")
                failed.pop_all()

    def command(self, line: str) -> dict[str, Any]:
        """The answer to a command line; `SimulatorError` if it is refused."""
        assert self._process.stdin is not None
        with self._lock:
            try:
                self._process.stdin.write(line + "\n")
                self._process.stdin.flush()
            except OSError as problem:
                raise SimulatorError(f"The board simulator has ended ({problem}).") from problem
            return self._answer()

    def advance(self, microseconds: int, data: bytes = b"") -> bytes:
        """Send bytes to the board, let time pass, and return what it said (lock step)."""
        return bytes.fromhex(self.command(f"advance {microseconds} {data.hex()}")["bytes"])

    def pins(self) -> dict[str, Any]:
        """What can be seen at pins and contacts now."""
        return self.command("pins")

    def truth(self) -> dict[str, Any]:
        """Widths, periods and levels as they really were since this was last called."""
        return self.command("truth clear")

    def changes(self) -> list[tuple[int, str, str]]:
        """What happened at pins and contacts since this was last called: tick, what, value."""
        return [(tick, what, value) for tick, what, value in self.command("changes")["changes"]]

    def close(self) -> None:
        """End the simulator; may be called twice."""
        if self._process.poll() is None:
            with contextlib.suppress(SimulatorError):
                self.command("quit")
            try:
                self._process.wait(_GIVE_UP_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def _answer(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        text = self._process.stdout.readline()
        if not text:
            raise SimulatorError("The board simulator has ended; see its lines on stderr.")
        answer: dict[str, Any] = json.loads(text)
        if "error" in answer:
            raise SimulatorError(str(answer["error"]))
        return answer


SwitchOn = Callable[..., BoardProcess]
"""Switches a board on: traits as words, and `paced` as of `BoardProcess`."""


@contextlib.contextmanager
def _image(memory: BoardMemory) -> Iterator[str]:
    with tempfile.NamedTemporaryFile(suffix=".eeprom") as file:
        file.write(memory.image())
        file.flush()
        yield file.name

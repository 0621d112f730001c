"""A hard day for the firmware: every mode, every rule, and the troubles that cost it most.

What it leaves is looked at by several tests: how deep its stack got, how long its interrupts took.
"""

import functools
import re
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from board_session import BoardSession

from board_simulator.build import built
from board_simulator.line import FirmwareLine
from board_simulator.process import BoardProcess
from rungbench.link.messages import (
    OPEN,
    Arm,
    EventKind,
    FromBoard,
    LadderSet,
    Mode,
    Present,
    Rung,
    SetMode,
    Setting,
)

PAINT = 0xC5
RAM_END = 0x900
B, C, D = Setting(Rung.B), Setting(Rung.C), Setting(Rung.D, LadderSet.HIGH)


@dataclass(frozen=True, slots=True)
class Served:
    """How often an interrupt was served, its cycles, and how long it waited at the longest."""

    count: int
    longest: int
    total: int
    waited: int


@dataclass(frozen=True, slots=True)
class Turns:
    """Turns of the main loop; cycles of all, of the longest, of the longest without interrupts."""

    turns: int
    total: int
    longest: int
    masked: int


@dataclass(frozen=True, slots=True)
class Strain:
    """What a hard day left: bytes of stack at the deepest, interrupts by vector number.

    `usual` is one second of stream8 with mains on, `hardest` all that followed; `chatter` is what
    the board said in one second of it.
    """

    stack: int
    usual: dict[int, Served]
    hardest: dict[int, Served]
    chatter: list[FromBoard]


def symbol(name: str, elf: Path | None = None) -> int:
    """Address of a symbol of the firmware, in its own space."""
    listing = subprocess.run(
        ["avr-nm", str(elf or built().firmware)], capture_output=True, text=True, check=True
    ).stdout
    found = re.search(rf"^([0-9a-f]+) \w {re.escape(name)}$", listing, re.M)
    assert found, f"no symbol {name}"
    return int(found[1], 16) & 0xFFFF


def loop_address() -> int:
    """Where the main loop feeds the watchdog, once a turn."""
    listing = subprocess.run(
        ["avr-objdump", "-d", str(built().firmware)], capture_output=True, text=True, check=True
    ).stdout
    main = re.split(r"^[0-9a-f]{8} <main>:$", listing, flags=re.M)[1].split("\n\n")[0]
    # The first one belongs to switching the watchdog on.
    return int(re.findall(r"^ *([0-9a-f]+):.*\twdr", main, re.M)[-1], 16)


def turned(process: BoardProcess) -> Turns:
    """The turns of the main loop since this was last called."""
    return Turns(**process.command(f"loop {loop_address()}"))


def served(process: BoardProcess) -> dict[int, Served]:
    """The interrupts since this was last called."""
    answer = process.command("interrupts clear")["interrupts"]
    return {int(vector): Served(**numbers) for vector, numbers in answer.items()}


def deepest_stack(process: BoardProcess) -> int:
    """Bytes at the end of the memory that are no longer as the firmware painted them."""
    end = symbol("_end")
    memory = bytes.fromhex(process.command(f"memory {end} {RAM_END - end}")["memory"])
    untouched = len(memory) - len(memory.lstrip(bytes((PAINT,))))
    assert untouched > 100, "the paint is not where it should be"
    return RAM_END - end - untouched


@contextmanager
def _at_work() -> Iterator[tuple[BoardSession, BoardProcess]]:
    """A board that presents and samples as in a usual run; each call switches on another one."""
    process = BoardProcess(["seed=5", "close_s=0.2", "pulses_after_s=0.1"])
    try:
        session = BoardSession(FirmwareLine(process))
        session.hello()
        _ordinary(session)
        yield session, process
    finally:
        process.close()


@functools.cache
def strain() -> Strain:
    """One hard day, in some seconds of board time."""
    with _at_work() as (session, process):
        served(process)
        session.listen(1.0)
        usual = served(process)
        chatter = _chatter(session, process)
        _troubles(session, process)
        return Strain(deepest_stack(process), usual, served(process), chatter)


@functools.cache
def turns() -> tuple[Turns, Turns]:
    """The main loop in the usual second, and in the hard day after it.

    A day of its own: while the loop is watched the simulator goes instruction by instruction.
    """
    with _at_work() as (session, process):
        turned(process)
        session.listen(1.0)
        usual = turned(process)
        _chatter(session, process)
        _troubles(session, process)
        return usual, turned(process)


def _ordinary(session: BoardSession) -> None:
    session.present(B)
    for mode in Mode:
        session.ask(SetMode(mode))
        session.listen(0.3)
    session.ask(SetMode(Mode.STREAM8))
    since = len(session.heard)
    session.present(C)
    session.event(EventKind.MAINS_ON, since=since)
    session.listen(0.1)


def _chatter(session: BoardSession, process: BoardProcess) -> list[FromBoard]:
    """The charger loses its low rail: the comparator sees noise around 0 V."""
    session.present(B)
    process.command("set voc_low_v=0")
    process.command("set noise_v=0.1")
    session.listen(0.1)
    return session.listen(1.0)


def _troubles(session: BoardSession, process: BoardProcess) -> None:
    process.command("set voc_low_v=-12")
    process.command("set noise_v=0.004")
    session.ask(SetMode(Mode.CHECK10))
    session.listen(0.2)
    session.ask(SetMode(Mode.STREAM8))
    session.line.write(np.random.default_rng(1).bytes(3000) + b"\0")
    session.listen(0.2)
    session.present(D)
    process.command("interlock open")
    session.listen(0.1)
    process.command("interlock closed")
    session.ask(SetMode(Mode.STREAM10))
    session.listen(0.1)
    session.present(C)
    process.command("chain broken")
    session.listen(0.2)
    process.command("chain sound")
    session.ask(Arm())
    session.present(D)
    session.ask(Present(OPEN))
    session.present(B)
    session.alive = False
    session.listen(1.3)
    session.alive = True
    session.hello()
    session.listen(0.2)

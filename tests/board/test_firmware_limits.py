"""The firmware at its limits: time of the interrupts, a full line, chatter, faults of its own."""

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from board_session import BoardSession
from board_simulator.build import built
from board_simulator.line import FirmwareLine
from board_simulator.process import BoardProcess
from board_simulator.strain import Turns, strain, symbol, turns

from rungbench.link.messages import (
    OPEN,
    TICKS_PER_SECOND,
    Arm,
    Code,
    EdgeBlock,
    EventKind,
    Health,
    Identity,
    Mode,
    Present,
    Reason,
    ResetCause,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
)

SwitchOn = Callable[..., BoardProcess]
B, C = Setting(Rung.B), Setting(Rung.C)
TICKS_PER_MS = TICKS_PER_SECOND / 1000
CYCLES_PER_CONVERSION = 208  # of stream8; hardware_notes/link_protocol.md, section 8


@pytest.fixture(scope="module")
def budget(root: Path) -> dict[int, tuple[int, int]]:
    """Vector: usual and longest cycles, as the firmware's page has them."""
    page = (root / "hardware_notes" / "firmware" / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| [^|]+ \| (\d+) \| (\d+) \| (\d+) \|", page, re.M)
    return {int(vector): (int(usual), int(longest)) for vector, usual, longest in rows}


def session_with(process: BoardProcess) -> BoardSession:
    session = BoardSession(FirmwareLine(process))
    session.hello()
    session.listen(0.15)
    return session


def test_interrupts_keep_to_their_budget(budget: dict[int, tuple[int, int]]) -> None:
    measured = strain()
    assert set(measured.usual) | set(measured.hardest) == set(budget)
    for vector, (usual, longest) in budget.items():
        runs = [day[vector] for day in (measured.usual, measured.hardest) if vector in day]
        print(vector, [(run.count, run.longest, run.total / run.count) for run in runs])
        assert max(run.longest for run in runs) <= longest
        assert min(run.total / run.count for run in runs) == pytest.approx(usual, abs=1.5, rel=0.02)


LOOP: dict[str, Callable[[Turns], float]] = {
    "turns a second": lambda seen: seen.turns / (seen.total / TICKS_PER_SECOND),
    "a turn in the mean (ms)": lambda seen: seen.total / seen.turns / TICKS_PER_MS,
    "longest turn, of ten days (ms)": lambda seen: seen.longest / TICKS_PER_MS,
    "interrupts off at the longest, of ten days (cycles)": lambda seen: seen.masked,
}


@pytest.mark.parametrize(("what", "figure"), LOOP.items(), ids=list(LOOP))
def test_the_main_loop_turns_as_the_page_says(
    root: Path, what: str, figure: Callable[[Turns], float]
) -> None:
    page = (root / "hardware_notes" / "firmware" / "README.md").read_text("utf-8")
    rows = re.findall(rf"^\| {re.escape(what)} \| ([\d.]+) \| ([\d.]+) \|$", page, re.M)
    stated = [float(number) for number in rows[0]]
    measured = [figure(seen) for seen in turns()]
    print(what, measured)
    if "longest" in what:
        # The page has the longest of ten days; one day need not reach it.
        pairs = zip(stated, measured, strict=True)
        assert all(0.65 * most <= now <= 1.02 * most for most, now in pairs)
    else:
        assert measured == pytest.approx(stated, rel=0.02)


def test_the_main_loop_is_in_time_for_watchdog_and_pump() -> None:
    # 120 ms of the watchdog; a pause of 8 ms is safe for the pump (isolation_and_interlock.md).
    assert max(seen.longest for seen in turns()) < 8 * TICKS_PER_MS
    # A byte of the line takes 160 cycles, and two of them have room in the receiver.
    assert max(seen.masked for seen in turns()) < 160


def test_a_conversion_waits_less_than_the_next_one_takes(
    budget: dict[int, tuple[int, int]],
) -> None:
    usual = {vector: cycles for vector, (cycles, _) in budget.items() if vector not in (12, 21)}
    edge, pins = usual.pop(10), usual[5]
    # In stream8 all others may come at once. An edge, whose interrupt serves the conversion itself,
    # waits for the one that runs and for the pins, which go first.
    assert sum(usual.values()) < CYCLES_PER_CONVERSION
    assert max(usual.values()) + pins + edge < CYCLES_PER_CONVERSION
    measured = strain()
    print("conversion waited", measured.usual[21].waited, measured.hardest[21].waited)
    assert max(day[21].waited for day in (measured.usual, measured.hardest)) < CYCLES_PER_CONVERSION


def test_chatter_costs_edges_but_neither_samples_nor_the_order_of_time() -> None:
    heard = strain().chatter
    blocks = [message for message in heard if isinstance(message, SampleBlock)]
    for before, after in zip(blocks[:-1], blocks[1:], strict=True):
        assert after.index == before.index + before.counts.size
        assert after.tick == before.tick + before.counts.size * CYCLES_PER_CONVERSION
    healths = [message for message in heard if isinstance(message, Health)]
    assert (healths[-1].overruns, healths[-1].dropped_samples) == (0, 0)
    assert healths[-1].dropped_edges > healths[0].dropped_edges
    edges = [message for message in heard if isinstance(message, EdgeBlock)]
    assert all(
        before.times[-1] < after.times[0]
        for before, after in zip(edges[:-1], edges[1:], strict=True)
    )
    # What the page allows: 32 in 4.096 ms.
    assert sum(block.offsets.size for block in edges) <= 32 * (len(healths) + 1) * 25


def test_requests_are_answered_within_50_ms_on_a_full_line(switch_on: SwitchOn) -> None:
    process = switch_on()
    session = session_with(process)
    session.present(B)
    session.ask(SetMode(Mode.STREAM8))
    session.listen(0.2)
    assert isinstance(session.line, FirmwareLine)
    for _ in range(50):
        session.listen(0.0137)
        sent = process.command("pins")["tick"]
        session.ask(Arm())
        assert process.command("pins")["tick"] - sent < 0.050 * TICKS_PER_SECOND
    assert session.troubles == []


def test_registers_that_give_nothing_back_open_the_relays(switch_on: SwitchOn) -> None:
    process = switch_on()
    session = session_with(process)
    session.present(C)
    process.changes()
    since, broken = len(session.heard), process.pins()["tick"]
    process.command("chain broken")
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT
    session.listen(0.1)
    opened = [tick for tick, what, value in process.changes() if (what, value) == ("rung", "open")]
    # Looked at every 100 ms; then the pump of the enable runs down.
    assert opened[-1] - broken < 0.2 * TICKS_PER_SECOND
    assert session.ask(Present(B)).code is Code.CANNOT_PRESENT
    assert session.ask(Present(OPEN)).accepted
    process.command("chain sound")
    session.present(B)
    assert process.pins()["rung"] == "B"


def test_an_enable_that_is_lost_is_a_fault(switch_on: SwitchOn) -> None:
    process = switch_on()
    session = session_with(process)
    session.present(B)
    since = len(session.heard)
    process.command("set pump_ms=1")  # runs down between two beats
    assert session.event(EventKind.FELL_OPEN, since=since).reason is Reason.FAULT
    assert process.pins()["word"] == 0


def test_a_main_loop_that_hangs_opens_the_relays_and_is_reset(tmp_path: Path) -> None:
    process = BoardProcess(firmware=hanging_on_arm(tmp_path))
    try:
        session = session_with(process)
        session.present(B)
        session.listen(0.1)
        process.changes()
        since, hung = len(session.heard), process.pins()["tick"]
        session.say(Arm())
        identity = session.wait(Identity, since=since)
        assert not identity.asked
        assert identity.reset_cause is ResetCause.WATCHDOG
        rungs = [(tick, value) for tick, what, value in process.changes() if what == "rung"]
        assert rungs[-1][1] == "open"
        # 50 ms of the pump, and the relays' own time.
        assert rungs[-1][0] - hung < 0.1 * TICKS_PER_SECOND
    finally:
        process.close()


def hanging_on_arm(folder: Path) -> Path:
    """The firmware with an endless loop where it takes `arm`."""
    image = folder / "hanging.bin"
    subprocess.run(
        ["avr-objcopy", "-O", "binary", "-j", ".text", "-j", ".data", built().firmware, image],
        check=True,
    )
    code, place = bytearray(image.read_bytes()), symbol("rules_arm")
    code[place : place + 2] = (0xCFFF).to_bytes(2, "little")  # rjmp to itself
    image.write_bytes(code)
    hanging = folder / "hanging.hex"
    subprocess.run(["avr-objcopy", "-I", "binary", "-O", "ihex", image, hanging], check=True)
    return hanging

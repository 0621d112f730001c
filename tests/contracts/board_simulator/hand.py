"""Somebody at the bench who calibrates the simulated board: applies what the program asks for.

The references are the simulator's own truths, read to the accuracy that is stated for them.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from board_simulator.memory import BoardMemory
from board_simulator.process import BoardProcess
from board_simulator.protocol_board import at_address
from rungbench.calibrations.answers import Answers
from rungbench.calibrations.contact import Contact
from rungbench.calibrations.draft import Draft
from rungbench.calibrations.parts import resistors
from rungbench.calibrations.procedure import Job, calibrate
from rungbench.calibrations.record import Part
from rungbench.calibrations.store import CalibrationStore
from rungbench.link.words import CableCode, LadderSet
from rungbench.qualify.bench import calibration_for

BOARD = BoardMemory()

# What the simulated board is made of: traits.c.
_LADDER_ERROR = 0.0004
_DIODE_V, _DIODE_A, _DIODE_N_VT = 0.70, 6e-3, 1.8 * 0.02585

_LEVEL = re.compile(r"Apply about ([+-][0-9.]+) V")
_PULSES = re.compile(r"Apply pulses")
_HZ, _WIDTH_US = 1000.0, 300.0


@dataclass(frozen=True, slots=True)
class _Hand:
    """Answers the questions that ask for something at the contact."""

    board: BoardProcess

    def ask(self, text: str, default: str | None) -> str:
        level = _LEVEL.search(text)
        if level:
            return self._apply_level(float(level[1]))
        if _PULSES.search(text):
            return self._apply_pulses("frequency in Hz" in text)
        if default is None:
            raise AssertionError(f"nobody knows the answer to: {text}")
        return default

    def tell(self, text: str) -> None:
        """Nobody reads it."""

    def _apply_level(self, about: float) -> str:
        # A supply that is set by hand is near what was asked for, and the meter tells what it is.
        self.board.command(f"set applied_v={about + 0.013:.6f}")
        self.board.advance(20_000)
        return f"{self.board.pins()['pilot_v']:.5f}"

    def _apply_pulses(self, frequency: bool) -> str:
        self.board.command("set applied_v=none")
        self.board.command(f"set applied_width_us={_WIDTH_US}")
        self.board.command(f"set applied_hz={_HZ}")
        self.board.advance(20_000)
        self.board.truth()
        for _ in range(5):
            self.board.advance(20_000)
        truth = self.board.truth()
        return f"{1e6 / truth['period_us']:.6f}" if frequency else f"{truth['width_us']:.5f}"


def _drop(milliampere: float) -> str:
    volts = _DIODE_V + _DIODE_N_VT * math.log(milliampere * 1e-3 / _DIODE_A)
    return f"{volts:.4f}"


def _known() -> dict[str, str]:
    """Everything that is written on data sheets or was measured with the board unplugged."""
    ohms = {
        f"parts.ohm.{part.name}": f"{part.ohm * (1.0 + _LADDER_ERROR):.3f}"
        for part in resistors(tuple(LadderSet), tuple(CableCode))
    }
    ohms["parts.ohm.input_ohm"] = "1000000"
    return {
        "by": "a test",
        "volts.meter": "reference meter",
        "volts.accuracy": "0.01 % + 0.5 mV",
        "clock.meter": "frequency reference",
        "clock.accuracy": "1 ppm",
        "parts.meter": "ohmmeter",
        "parts.accuracy": "0.05 %",
        "parts.diode.meter": "voltmeter",
        "parts.diode.accuracy": "2 mV",
        "parts.diode.low_v": _drop(2.0),
        "parts.diode.high_v": _drop(10.0),
        "widths.any.how": "measured",
        "widths.meter": "pulse reference",
        "widths.accuracy": "0.01 us",
        **ohms,
    }


def calibrate_board(folder: Path, parts: Sequence[Part] = tuple(Part)) -> CalibrationStore:
    """Records of the simulated board in `folder`, made as a user makes them."""
    store = CalibrationStore(folder)
    board = BoardProcess(["applied_v=0"], memory=BOARD)
    try:
        with at_address(board, "calibration") as url:
            contact = Contact(url, wait_s=1.0)
            draft = Draft.in_folder(folder, contact.identity.board_id, fresh=True)
            for key, text in _known().items():
                draft.put(key, text)
            job = Job(tuple(parts), calibration_for(url)(contact.identity), "a test")
            hand = _Hand(board)
            for _ in calibrate(job, contact, Answers(draft, hand, None), store):
                pass
    finally:
        board.close()
    return store

"""Records the sessions of `board_simulator.sessions` from the firmware in its simulator.

    PYTHONPATH=signal:app:tests/contracts .venv/bin/python tests/board/record_links.py

Writes firmware_*.jsonl into fixtures/links, and what was really there into firmware_truth.json.
"""

import json
from pathlib import Path
from typing import Any

from board_simulator.hand import BOARD
from board_simulator.line import FirmwareLine
from board_simulator.process import BoardProcess
from board_simulator.sessions import SESSIONS

from rungbench.link.greeting import greet
from rungbench.link.record import RecordingLine
from rungbench.standin.board import StandIn

FOLDER = Path(__file__).parents[2] / "fixtures" / "links"


class _KeptLine(FirmwareLine):
    """Leaves the board on when it is closed: its contacts are looked at afterwards."""

    def close(self) -> None:
        """The board stays on."""


def record(name: str) -> dict[str, Any]:
    """Record one session; returns the truth of it."""
    board = BoardProcess(memory=BOARD)
    # Board time instead of the computer's, so that a recording is the same wherever it is made.
    started = board.pins()["tick"]
    try:
        with (FOLDER / f"{name}.jsonl").open("w", encoding="ascii") as stream:
            line = RecordingLine(
                _KeptLine(board), stream, lambda: (board.pins()["tick"] - started) / 16e6
            )
            with StandIn.behind(greet(line)) as standin:
                outcome = SESSIONS[name](standin, board.command)
                truth = board.truth()
        assert outcome.record is not None or outcome.said, name
        moves = [change for change in board.changes() if change[1] in ("rung", "mains")]
        return {
            "truth": truth,
            "last_rungs": [value for _, what, value in moves if what == "rung"][-1:],
        }
    finally:
        board.close()


if __name__ == "__main__":
    truths = {name: record(name) for name in SESSIONS}
    text = json.dumps(truths, indent=2) + "\n"
    (FOLDER / "firmware_truth.json").write_text(text, encoding="ascii")

"""Boards of the firmware with a calibration of their own, made once for all test processes."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from board_simulator.hand import BOARD, calibrate_board
from board_simulator.process import BoardProcess, SwitchOn

from rungbench.calibrations.store import CalibrationStore
from rungbench.paths import paths


@pytest.fixture(scope="session")
def calibrations(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the calibration records of the simulated board."""
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    folder = shared / "board-calibrations"
    with (shared / "board-calibrations.lock").open("w") as lock:
        # The first test process makes them, the others wait.
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.is_dir():
            made = shared / "board-calibrations.unfinished"
            shutil.rmtree(made, ignore_errors=True)
            calibrate_board(made)
            made.rename(folder)
    return folder


@pytest.fixture
def calibrated(calibrations: Path) -> CalibrationStore:
    """The records where the program looks for them."""
    shutil.copytree(calibrations, paths().calibrations)
    return CalibrationStore(paths().calibrations)


@pytest.fixture
def switch_on() -> Iterator[SwitchOn]:
    """Switches boards on, with ``key=value`` traits; they are switched off after the test."""
    boards: list[BoardProcess] = []

    def on(*traits: str, paced: bool = False) -> BoardProcess:
        boards.append(BoardProcess(traits, paced=paced, memory=BOARD))
        return boards[-1]

    yield on
    for board in boards:
        board.close()

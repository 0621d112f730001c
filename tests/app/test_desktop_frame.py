"""What holds the windows up: errands, preferences, the crash file, the command."""

import os
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot

from rungbench.cli.main import run
from rungbench.desktop.crash import catch_crashes, crash_text
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.palette import COLOURS, VERDICT_COLOURS
from rungbench.desktop.preferences import Preferences
from rungbench.errors import InputError
from rungbench.paths import paths

# Errands -----------------------------------------------------------------------------------------


def test_an_errand_runs_elsewhere_and_comes_back_here(qtbot: QtBot) -> None:
    errands, done = Errands("elsewhere"), list[tuple[str, str]]()
    here = threading.current_thread().name
    errands.start(
        Errand(
            lambda _cancel: threading.current_thread().name,
            lambda name: done.append((name, threading.current_thread().name)),
            pytest.fail,
        )
    )
    qtbot.waitUntil(lambda: bool(done))
    errands.close()
    assert done == [("elsewhere", here)]


def fails(problem: Exception) -> Callable[[Cancel], None]:
    def work(_cancel: Cancel) -> None:
        raise problem

    return work


@pytest.mark.parametrize(
    ("problem", "said"),
    [
        (InputError("The file is gone; look for it."), "The file is gone; look for it."),
        (PermissionError(13, "Permission denied", "a.csv"), "a.csv cannot be used (Permission"),
    ],
)
def test_an_errand_that_fails_is_a_sentence(qtbot: QtBot, problem: Exception, said: str) -> None:
    errands, failed = Errands("failing"), list[str]()
    errands.start(Errand(fails(problem), pytest.fail, failed.append))
    qtbot.waitUntil(lambda: bool(failed))
    errands.close()
    assert failed[0].startswith(said)


def test_what_was_cancelled_says_nothing(qtbot: QtBot) -> None:
    errands, begun = Errands("cancelled"), threading.Event()

    def work(cancel: Cancel) -> None:
        begun.set()
        while True:
            cancel.check()
            time.sleep(0.001)

    cancel = errands.start(Errand(work, pytest.fail, pytest.fail))
    assert begun.wait(5.0)
    cancel.request()
    qtbot.waitUntil(lambda: not errands.busy)
    errands.close()
    errands.start(Errand(lambda _cancel: None, pytest.fail, pytest.fail))
    qtbot.wait(20)


# Preferences -------------------------------------------------------------------------------------


def test_preferences_are_written_as_toml_and_read_back() -> None:
    first = Preferences()
    first.put("look", "colours", 'da"rk \N{GRINNING FACE}\x7f')
    first.put("look", "scale", 150)
    first.put("window", "frozen", True)
    first.save()
    assert tomllib.loads(first.file.read_text("utf-8"))["look"]["scale"] == 150
    second = Preferences()
    assert second.get("look", "colours", "") == 'da"rk \N{GRINNING FACE}\x7f'
    assert second.get("look", "scale", 100) == 150
    assert second.get("window", "frozen", False) is True
    assert second.get("look", "scale", "text") == "text"  # another type: the default
    assert second.get("window", "frozen", 3) == 3


@pytest.mark.parametrize("content", [b"\xff\xfe", b"[look\n", b"look = 3\n"])
def test_damaged_preferences_stop_nothing(content: bytes) -> None:
    file = Preferences().file
    file.parent.mkdir(parents=True)
    file.write_bytes(content)
    found = Preferences()
    assert found.get("look", "scale", 100) == 100
    assert bool(found.trouble) is (content != b"look = 3\n")


def test_preferences_that_cannot_be_written_are_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    found = Preferences(tmp_path / "file" / "desktop.toml")
    found.put("look", "scale", 150)
    found.save()
    assert "cannot be written" in found.trouble


# The crash file ----------------------------------------------------------------------------------


def crash(secret: str) -> None:
    raise ValueError(secret)


def test_the_crash_file_holds_no_personal_data() -> None:
    cries: list[str] = []
    undo = catch_crashes(cries.append)
    try:
        thread = threading.Thread(target=crash, args=("SN-4711 of Jane",), name="runner")
        thread.start()
        thread.join()
    finally:
        undo()
    text = paths().log_file.with_name("crash.txt").read_text("utf-8")
    assert "ValueError" in text
    assert "thread runner" in text
    assert "SN-4711" not in text
    assert str(Path.home()) not in text
    assert len(cries) == 1
    assert "fault of the program" in cries[0]


def test_the_crash_text_names_the_place() -> None:
    with pytest.raises(ValueError, match="secret") as problem:
        crash("secret")
    assert "in crash" in crash_text(ValueError, problem.tb)


# Colours -----------------------------------------------------------------------------------------


def luminance(name: str) -> float:
    # WCAG 2.1, relative luminance.
    colour = QColor(name)
    parts = (colour.redF(), colour.greenF(), colour.blueF())
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("look", ["light", "dark"])
def test_words_are_readable(look: str) -> None:
    # WCAG 2.1, 1.4.3: 4.5 to 1 for text.
    colours = COLOURS[look]
    words = {"ink", "faint", "presented", "measured", *VERDICT_COLOURS.values()}
    for name in words:
        for ground in ("paper", "sheet"):
            assert contrast(colours[name], colours[ground]) >= 4.5, (name, ground)
    for ground in ("alarm", "armed", "simulated"):
        assert contrast(colours[f"on {ground}"], colours[ground]) >= 4.5, ground


# The command -------------------------------------------------------------------------------------


def test_a_wrong_profile_is_refused_before_any_window(capsys: pytest.CaptureFixture[str]) -> None:
    assert int(run(["desktop", "--profile", "no-such-profile"])) in (2, 4)
    assert "no-such-profile" in capsys.readouterr().err


INTERRUPTED = """
import os, signal, sys
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from rungbench.cli.main import main
app = QApplication([])
QTimer.singleShot(2000, lambda: os.kill(os.getpid(), signal.SIGINT))
main(["desktop", "--bench", "sim://sound?speed=4"])
"""


def test_ctrl_c_closes_the_window_and_ends_with_0(root: Path, tmp_path: Path) -> None:
    environment = {
        **os.environ,
        "QT_QPA_PLATFORM": "offscreen",
        "PYTHONPATH": os.pathsep.join(str(root / name) for name in ("signal", "app")),
        "HOME": str(tmp_path),
    }
    ended = subprocess.run(
        [sys.executable, "-c", INTERRUPTED],
        check=False,
        env=environment,
        capture_output=True,
        text=True,
        cwd=tmp_path,
        timeout=90,
    )
    assert ended.returncode == 0, ended.stderr
    assert "Traceback" not in ended.stderr

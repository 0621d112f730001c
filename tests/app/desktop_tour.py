"""A whole run through the window by keys, with a picture of each view and mode in a folder.

``python tests/app/desktop_tour.py FOLDER [light|dark] [PERCENT] [URL]`` on a screen, such as Xvfb.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget

from pilotsignal.standard import load_profile
from rungbench.desktop.app import Desktop
from rungbench.desktop.handing import explain
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.run_control import Phase, RunControl

BAD = "sim://sound?speed=max&source_ohm=1100"
RECORDED = Path(__file__).resolve().parents[2] / "fixtures" / "csv" / "comment-lines.csv"
LONG_S = 40.0
SETTLES_S = 0.15
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
PLAIN = Qt.KeyboardModifier.NoModifier


def pause(seconds: float) -> None:
    """Let the window live.

    Not by `QTest.qWait`: it keeps the interpreter to itself, and the bench's threads wait for it.
    """
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        QApplication.processEvents()
        time.sleep(0.002)


def give_up(why: str) -> NoReturn:
    """End at once: the bench's threads would keep the program."""
    print(why, file=sys.stderr, flush=True)
    os._exit(1)


class Tour:
    """Goes through the views and takes pictures."""

    def __init__(self, folder: Path, look: str, scale: int) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        preferences = Preferences()
        preferences.put("look", "colours", look)
        preferences.put("look", "scale", scale)
        self.desktop = Desktop(load_profile(), preferences)
        self.window = self.desktop.window
        self.window.resize(1200, 800)

    def until(self, reached: Callable[[], object]) -> None:
        """Wait for it; what does not come ends the tour."""
        end = time.monotonic() + LONG_S
        while not reached():
            if time.monotonic() > end:
                self.picture(self.window, "stuck")
                give_up("the tour waited in vain")
            pause(0.01)

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = PLAIN) -> None:
        """A key to whatever has the focus."""
        focus: QWidget | None = QApplication.focusWidget()
        QTest.keyClick(self.window if focus is None else focus, key, modifier)

    def type(self, text: str) -> None:
        """Keys to whatever has the focus."""
        focus: QWidget | None = QApplication.focusWidget()
        QTest.keyClicks(self.window if focus is None else focus, text)

    def picture(self, widget: QWidget, name: str) -> None:
        """Keep what is seen."""
        pause(SETTLES_S)
        widget.grab().save(str(self.folder / f"{name}.png"))

    def go(self, url: str) -> None:
        """The whole tour."""
        self.desktop.open(url)
        self.until(self.window.isVisible)
        self.window.activateWindow()
        self.until(self.window.isActiveWindow)
        self.live()
        self.window.go("Run")
        view: Any = self.window.view("Run")
        control: RunControl = view.control
        self.until(lambda: control.choice is not None and control.phase is Phase.READY)
        self.run(view, control)
        self.ask(view, control)
        self.inspect(view, control)
        self.records()
        self.lots()
        self.bench()
        self.help()
        self.end()

    def live(self) -> None:
        """The scale on open and in B, frozen, and with a recorded pilot in place of the bench."""
        view: Any = self.window.view("Live")
        self.until(lambda: view.showing is not None)
        self.picture(self.window, "live-open")
        view.scale.setFocus()
        for _ in range(2):
            self.press(Key.Key_Down)
        self.press(Key.Key_Return)
        self.until(lambda: view.readings.state.text().startswith("B2"))
        self.until(lambda: view.showing.folded is not None)
        self.picture(self.window, "live-b")
        self.press(Key.Key_F8)
        self.until(view.frozen.isVisible)
        self.picture(self.window, "live-frozen")
        self.press(Key.Key_F8)
        self.until(lambda: not view.frozen.isVisible())
        view.open_file(RECORDED)
        self.until(lambda: "file is shown" in self.window.sentence.text())
        self.picture(self.window, "live-file")
        view.close_file()
        self.press(Key.Key_Escape)

    def run(self, view: Any, control: RunControl) -> None:
        """Cautions, a run, its verdict, the shift."""
        self.picture(self.window, "run-ready")
        self.press(Key.Key_F9, CONTROL)
        self.picture(self.window, "cautions")
        self.press(Key.Key_F9, CONTROL)
        self.until(lambda: control.progress and control.progress.lines["mains-on"].result)
        self.picture(self.window, "run-going")
        self.until(lambda: control.outcome is not None)
        pause(SETTLES_S)
        self.picture(self.window, "run-verdict")
        self.press(Key.Key_F3)
        self.picture(self.window, "run-shift")
        self.press(Key.Key_F3)
        self.press(Key.Key_F12)
        self.until(lambda: "hold slip is" in control.sentence)
        self.press(Key.Key_F5)
        self.until(lambda: "report is" in control.sentence)
        self.until(lambda: control.serial == "SIM-0002")
        view.page.pages.setCurrentIndex(2)
        self.picture(self.window, "run-describe")
        view.page.show_run()
        control.choose_plan("full")
        self.press(Key.Key_F2)
        self.picture(self.window, "run-options")
        self.press(Key.Key_Left, Qt.KeyboardModifier.AltModifier)
        control.choose_plan("quick")

    def ask(self, view: Any, control: RunControl) -> None:
        """A run with questions that is stopped; a pause."""
        control.choose_plan("full")
        control.let_answer_by_hand(True)
        self.press(Key.Key_F9, CONTROL)
        self.press(Key.Key_F6)
        self.until(lambda: control.progress and control.progress.stage == "paused")
        self.press(Key.Key_F6, CONTROL)
        self.picture(self.window, "run-paused-skip")
        self.press(Key.Key_Escape)
        self.until(lambda: control.outcome is not None)
        self.picture(self.window, "run-interrupted")
        view.page.control.next_charger()
        control.choose_plan("quick")
        self.until(lambda: control.phase is Phase.READY)
        self.type("tested <b>before</b>")
        self.press(Key.Key_Return)
        self.until(lambda: control.serial.startswith("tested"))

    def inspect(self, view: Any, control: RunControl) -> None:
        """The same, on the whole screen."""
        self.press(Key.Key_F11)
        self.until(lambda: view.inspection is not None and view.inspection.isVisible())
        face = view.inspection
        face.activateWindow()
        self.until(face.isActiveWindow)
        self.type("WB-0007")
        self.press(Key.Key_Tab)
        self.picture(face, "inspection-ready")
        self.press(Key.Key_F9, CONTROL)
        self.until(lambda: control.progress and control.progress.lines["mains-on"].result)
        self.picture(face, "inspection-going")
        self.until(lambda: control.outcome is not None)
        self.picture(face, "inspection-verdict")
        self.press(Key.Key_F4)
        self.type("Second Shift")
        self.picture(face, "inspection-operator")
        self.press(Key.Key_Return)
        self.until(lambda: not face.line.isVisible())
        self.press(Key.Key_F3)
        self.until(lambda: control.shift.runs == 3)
        self.picture(face, "inspection-shift")
        self.press(Key.Key_F3)
        self.press(Key.Key_F11)
        self.window.activateWindow()
        self.until(self.window.isActiveWindow)

    def records(self) -> None:
        """List, record, comparison."""
        self.window.go("Records")
        view: Any = self.window.view("Records")
        self.until(lambda: len(view.found.rows) == 3)
        self.picture(self.window, "records-list")
        view.list.table.setFocus()
        self.press(Key.Key_Return)
        self.until(lambda: view.detail.opened is not None)
        pause(SETTLES_S)
        self.picture(self.window, "record-evidence")
        for name in ("budget", "findings", "facts"):
            self.press(Key.Key_F6)
            self.picture(self.window, f"record-{name}")
        self.press(Key.Key_F8)
        self.picture(self.window, "record-judge")
        view.back()
        self.press(Key.Key_Space)
        self.press(Key.Key_Down)
        self.press(Key.Key_Down)
        self.press(Key.Key_Space)
        self.press(Key.Key_F7)
        self.until(lambda: view.pages.currentWidget() is view.compared)
        self.picture(self.window, "records-compare")

    def lots(self) -> None:
        """The list, and the form of a new lot."""
        self.window.go("Lots")
        view: Any = self.window.view("Lots")
        self.picture(self.window, "lots-list")
        self.press(Key.Key_N, CONTROL)
        self.until(lambda: view.pages.currentWidget() is view.form)
        self.picture(self.window, "lots-form")

    def bench(self) -> None:
        """All pages of the bench."""
        self.window.go("Bench")
        view: Any = self.window.view("Bench")
        for number, name in enumerate(("board", "calibration", "self-check", "resistors")):
            view.tabs.setCurrentIndex(number)
            self.picture(self.window, f"bench-{name}")

    def help(self) -> None:
        """A page with a reading above it, and one with pictures."""
        explain(self.window.room, "high_plateau_v", "High level: 9.003 ± 0.021 V.")
        self.picture(self.window, "help-reading")
        self.window.view("Help").go_to("faults")
        self.picture(self.window, "help-faults")
        self.window.view("Help").go_to("about")
        self.picture(self.window, "help-about")

    def end(self) -> None:
        """Close it as its user would."""
        self.window.close()
        self.until(lambda: not self.window.isVisible())
        if not self.desktop.worker.wait_for_end():
            give_up("the bench's thread did not end")


def main(given: list[str]) -> None:
    """See the module."""
    folder, look, scale, url = [*given, *("", "light", "100", BAD)[len(given) :]]
    with tempfile.TemporaryDirectory() as home:
        for place in ("DATA", "CONFIG", "STATE"):  # not the looks and runs of whoever runs it
            os.environ.setdefault(f"XDG_{place}_HOME", str(Path(home, place.lower())))
        app = QApplication([])
        Tour(Path(folder), look, int(scale)).go(url)
        app.processEvents()


if __name__ == "__main__":
    main(sys.argv[1:])

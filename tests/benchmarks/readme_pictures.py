r"""The two pictures of the README, written into fixtures/pictures.

Run it so, after a change of what is seen in them::

    PYTHONPATH=signal:app xvfb-run -a -s '-screen 0 1200x800x24' \
        .venv/bin/python tests/benchmarks/readme_pictures.py

Settings and archive are its own, in a folder that is removed.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np

ROOT: Final = Path(__file__).resolve().parent.parent.parent
FOLDER: Final = ROOT / "fixtures" / "pictures"
MOST_BYTES: Final = 150_000
_PATIENCE_S: Final = 90.0
_LIVE: Final = "sim://sound?speed=4"
_RUN: Final = "sim://sound?speed=max&source_ohm=1100"


def main(folder: Path) -> int:
    """Both pictures; 1 if one of them is too large for a README."""
    with tempfile.TemporaryDirectory() as home:
        for name in ("DATA", "CONFIG", "STATE"):
            os.environ[f"XDG_{name}_HOME"] = home
        from PySide6.QtWidgets import QApplication

        app = QApplication([])
        app.setQuitOnLastWindowClosed(False)
        folder.mkdir(parents=True, exist_ok=True)
        files = [_shown(_LIVE, live, folder / "live.png"), _shown(_RUN, run, folder / "run.png")]
    sizes = [file.stat().st_size for file in files]
    for file, size in zip(files, sizes, strict=True):
        print(f"{file.relative_to(ROOT)}  {size / 1000:.0f} kB")
    return int(max(sizes) > MOST_BYTES)


def live(desktop: Any) -> None:
    """Rung C, mains on: the voltage scale, one period, the last minutes, the readings."""
    from PySide6.QtWidgets import QLineEdit

    from rungbench.link.words import Rung, Setting

    view, worker = desktop.window.view("Live"), desktop.worker
    worker.present(Setting(Rung.B))
    _until(lambda: view.readings.state.text().startswith("B2"))
    stated = view.tools.findChild(QLineEdit)
    stated.setText("16")
    stated.editingFinished.emit()
    _wait(8.0)
    worker.arm()
    worker.present(Setting(Rung.C))
    _until(lambda: view.readings.state.text().startswith("C2"))
    _wait(6.0)
    _until(lambda: view.showing.folded is not None)


def run(desktop: Any) -> None:
    """A charger with a source resistor of 1100 ohm, at the end of its run."""
    desktop.window.go("Run")
    control = desktop.window.view("Run").control
    _until(lambda: control.phase.value == "ready")
    control.start(armed=True)
    _until(lambda: control.outcome is not None)
    _wait(1.5)


def _shown(url: str, prepare: Callable[[Any], None], file: Path) -> Path:
    from pilotsignal.standard import load_profile
    from rungbench.desktop.app import Desktop
    from rungbench.desktop.preferences import Preferences

    preferences = Preferences()
    preferences.put("look", "colours", "light")
    desktop = Desktop(load_profile(), preferences)
    desktop.window.resize(1200, 800)
    desktop.window.cautions.rehearsed = True
    desktop.open(url)
    _until(lambda: desktop.worker.snapshot_now is not None)
    _wait(0.5)
    prepare(desktop)
    _written(desktop.window.grab().toImage(), file)
    desktop.close()
    desktop.worker.end()
    _until(lambda: not desktop.worker.running)
    desktop.window.alarm.was_noted = True
    desktop.window.close()
    desktop.worker.wait_for_end()
    _wait(0.2)
    return file


def _written(picture: Any, file: Path) -> None:
    """As PNG with a table of its 256 commonest colours, in which a window looks as it did."""
    from PySide6.QtGui import QImage

    plain = picture.convertToFormat(QImage.Format.Format_RGB32)
    pixels = np.frombuffer(plain.constBits(), dtype=np.uint32)
    colours, counts = np.unique(pixels, return_counts=True)
    table = [int(one) for one in colours[np.argsort(counts)[::-1][:256]]]
    small = plain.convertToFormat(QImage.Format.Format_Indexed8, table)
    if not small.save(str(file), "PNG", 0):
        raise SystemExit(f"{file} cannot be written; make room.")


def _wait(seconds: float) -> None:
    from PySide6.QtWidgets import QApplication

    end = time.monotonic() + seconds
    while time.monotonic() < end:
        QApplication.processEvents()
        time.sleep(0.002)


def _until(reached: Callable[[], object]) -> None:
    end = time.monotonic() + _PATIENCE_S
    while not reached():
        if time.monotonic() > end:
            print("what the picture is to show did not come", file=sys.stderr, flush=True)
            os._exit(1)  # the bench's threads would keep the program
        _wait(0.02)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER))

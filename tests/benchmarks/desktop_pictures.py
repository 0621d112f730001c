r"""Pictures of the live view in its modes, to be looked at one by one.

Run it so, with a folder for the pictures::

    PYTHONPATH=signal:app xvfb-run -a -s '-screen 0 1400x900x24' \
        .venv/bin/python tests/benchmarks/desktop_pictures.py FOLDER

Each scene is shown in light and dark at 100, 150 and 200 %.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PySide6.QtWidgets import QApplication

from pilotsignal.standard import load_profile
from rungbench.desktop.app import Desktop
from rungbench.link.words import Rung, Setting

ROOT: Final = Path(__file__).resolve().parent.parent.parent
LOOKS: Final = tuple((look, scale) for scale in (100, 150, 200) for look in ("light", "dark"))
SOUND: Final = "sim://sound?speed=1"


@dataclass(frozen=True)
class Scene:
    """A bench, and what is done before the pictures are taken."""

    name: str
    url: str
    prepare: Callable[[Desktop], None]


def main(folder: Path) -> None:
    """All scenes in all looks."""
    folder.mkdir(parents=True, exist_ok=True)
    app = QApplication([])
    app.setQuitOnLastWindowClosed(False)
    for scene in SCENES:
        desktop = Desktop(load_profile())
        desktop.window.resize(1200, 800)
        desktop.window.cautions.read = scene.name != "cautions"
        desktop.open(scene.url)
        wait(4.0)
        scene.prepare(desktop)
        for look, scale in LOOKS:
            desktop.theme.set(look=look, scale=scale)
            wait(0.4)
            file = folder / f"{scene.name}-{look}-{scale}.png"
            desktop.window.grab().save(str(file))
            print(file)
        close(desktop)


def wait(seconds: float) -> None:
    """Let the window live."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        QApplication.processEvents()
        time.sleep(0.002)


def close(desktop: Desktop) -> None:
    """Without the watch of the outlet."""
    desktop.close()
    desktop.worker.end()
    while desktop.worker.running:
        wait(0.05)
    desktop.window.alarm.was_noted = True
    desktop.window.close()
    desktop.worker.wait_for_end()
    wait(0.2)


def present(rung: Rung) -> Callable[[Desktop], None]:
    """Present a rung and wait for readings."""

    def prepare(desktop: Desktop) -> None:
        desktop.worker.present(Setting(Rung.B))
        wait(2.0)
        if rung is not Rung.B:
            desktop.worker.arm()
            desktop.worker.present(Setting(rung))
        wait(4.0)

    return prepare


def armed(desktop: Desktop) -> None:
    """Armed, nothing chosen yet."""
    desktop.worker.arm()
    wait(0.5)


def watched(desktop: Desktop) -> None:
    """Back from C."""
    present(Rung.C)(desktop)
    desktop.worker.open()
    wait(6.0)


def cautions(desktop: Desktop) -> None:
    """The page that asks before the first arming."""
    desktop.window.arm.arm.emit()


def file(desktop: Desktop) -> None:
    """A recorded pilot."""
    desktop.window.view("Live").open_file(ROOT / "fixtures/csv/comment-lines.csv")
    wait(2.0)


SCENES: Final = (
    Scene("open", SOUND, lambda _desktop: None),
    Scene("b", SOUND, present(Rung.B)),
    Scene("armed", SOUND, armed),
    Scene("c", SOUND, present(Rung.C)),
    Scene("fails", f"{SOUND}&frequency_hz=1007&source_ohm=1300", present(Rung.B)),
    Scene("alarm", f"{SOUND}&welded=yes", watched),
    Scene("lost", f"{SOUND}&unplug_after_s=4", lambda _desktop: None),
    Scene("cautions", SOUND, cautions),
    Scene("file", SOUND, file),
)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Name a folder for the pictures.")
    with tempfile.TemporaryDirectory() as home:
        for place in ("DATA", "CONFIG", "STATE"):  # not the looks and runs of whoever runs it
            os.environ[f"XDG_{place}_HOME"] = str(Path(home, place.lower()))
        main(Path(sys.argv[1]))

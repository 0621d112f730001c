r"""Pictures of the Lots view: every page in light and dark, at 100, 150 and 200 %.

Run it so, with a folder for the pictures, and with ``XDG_DATA_HOME`` naming a folder whose demo
archive holds lots (``python tests/app/lot_inspection.py`` makes one of 500 units; ``--shelf`` adds
invented ones)::

    PYTHONPATH=signal:app:tests/app xvfb-run -a -s '-screen 0 1400x900x24' \
        .venv/bin/python tests/benchmarks/lots_pictures.py FOLDER LOT [--shelf]
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from PySide6.QtWidgets import QApplication, QWidget

from pilotsignal.standard import load_profile
from rungbench.desktop.app import Desktop
from rungbench.desktop.lots_view import LotsView
from rungbench.paths import paths

LOOKS: Final = tuple((look, scale) for scale in (100, 150, 200) for look in ("light", "dark"))


@dataclass
class Stage:
    """The window with the Lots view in front, and where pictures go."""

    desktop: Desktop
    folder: Path

    @property
    def view(self) -> LotsView:
        found = self.desktop.window.view("Lots")
        assert isinstance(found, LotsView)
        return found

    def wait(self, seconds: float = 0.5) -> None:
        """Let the window live."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            QApplication.processEvents()
            time.sleep(0.002)

    def until(self, reached: Callable[[], object]) -> None:
        """Wait for it, at most 30 s."""
        end = time.monotonic() + 30.0
        while not reached():
            if time.monotonic() > end:
                raise SystemExit("waited in vain")
            self.wait(0.05)

    def pictures(self, name: str, widget: QWidget | None = None) -> None:
        """All looks of what is seen."""
        for look, scale in LOOKS:
            self.desktop.theme.set(look=look, scale=scale)
            self.wait(0.4)
            file = self.folder / f"{name}-{look}-{scale}.png"
            (widget or self.desktop.window).grab().save(str(file))
        self.desktop.theme.set(look="light", scale=100)
        self.wait(0.2)

    def open(self, name: str) -> None:
        """Open a lot and wait for all that follows."""
        self.view.open(name)
        self.until(lambda: self.view.lot.state is not None and self.view.lot.state.lot.name == name)
        self.until(lambda: not self.view.errands.busy)


def lot_pages(stage: Stage, name: str) -> None:
    """Every part of one lot."""
    stage.open(name)
    lot = stage.view.lot
    for at, part in enumerate(("units", "plan", "values", "supplier")):
        lot.tabs.setCurrentIndex(at)
        stage.until(lambda: not stage.view.errands.busy)
        stage.pictures(f"{name}-{part}")
        if part == "values":
            lot.values.charts.next()
            stage.pictures(f"{name}-{part}-more")
            lot.values.charts.next()
    lot.tabs.setCurrentIndex(0)


def form_pages(stage: Stage) -> None:
    """The form, filled in, and with something to refuse."""
    view = stage.view
    view.new()
    stage.until(lambda: view.pages.currentWidget() is view.form)
    fields = view.form.fields
    fields.name.setText("NI-501")
    fields.supplier.setText("Northern Imports")
    fields.size.setText("40")
    fields.serials.setPlainText("\n".join(f"DX-{number:04}" for number in range(1, 41)))
    stage.wait(1.0)
    stage.until(view.form.numbers.text)
    stage.pictures("form")
    fields.size.setText("41")
    stage.wait(1.0)
    stage.pictures("form-refused")
    view.back()


def run_pages(stage: Stage, name: str) -> None:
    """The Run view with the lot chosen; the shift."""
    stage.open(name)
    stage.view.test_next()
    run: Any = stage.desktop.window.view("Run")
    stage.until(lambda: run.control.choice is not None and run.control.choice.model.lot is not None)
    stage.wait(1.0)
    stage.pictures("run-lot")
    run.page.toggle_shift()
    stage.pictures("run-shift")
    run.page.show_run()
    run.inspect()
    stage.until(lambda: run.inspection is not None and run.inspection.isVisible())
    run.inspection.resize(1200, 800)
    stage.pictures("inspection-lot", run.inspection)
    run.inspection.toggle_shift()
    stage.pictures("inspection-shift", run.inspection)
    run.inspection.leave()
    stage.desktop.window.go("Lots")


def main(folder: Path, name: str, *, invented: bool) -> None:
    """All pages in all looks."""
    folder.mkdir(parents=True, exist_ok=True)
    if invented:
        from lots_shelf import shelf

        from rungbench.archive.store import open_archive

        with open_archive(paths().demo_archive, simulated=True) as archive:
            shelf(archive)
    app = QApplication([])
    app.setQuitOnLastWindowClosed(False)
    stage = Stage(Desktop(load_profile()), folder)
    window = stage.desktop.window
    window.resize(1200, 800)
    window.cautions.read = True
    stage.desktop.open("sim://sound?speed=1")
    stage.wait(3.0)
    try:
        tour(stage, name, invented=invented)
    finally:
        close(stage)


def tour(stage: Stage, name: str, *, invented: bool) -> None:
    """From page to page."""
    stage.desktop.window.go("Lots")
    stage.until(lambda: stage.view.found.rows)
    stage.pictures("list")
    lot_pages(stage, name)
    opened = stage.view.lot.opened
    assert opened is not None
    print(f"{name}: opened in {1e3 * opened.took_s:.0f} ms")
    if invented:
        for other in ("U-1", "R-1", "B-1", "=1+1 <i>L</i>"):
            stage.open(other)
            stage.pictures(f"units-{other[:3].strip()}")
        lot_pages(stage, "D-09")
    form_pages(stage)
    run_pages(stage, "R-1" if invented else name)


def close(stage: Stage) -> None:
    """Without the watch of the outlet."""
    stage.desktop.close()
    stage.desktop.worker.end()
    while stage.desktop.worker.running:
        stage.wait(0.05)
    stage.desktop.window.alarm.was_noted = True
    stage.desktop.window.close()
    stage.desktop.worker.wait_for_end()


if __name__ == "__main__":
    given = [one for one in sys.argv[1:] if one != "--shelf"]
    if len(given) != 2:
        sys.exit("Name a folder for the pictures, and a lot.")
    with tempfile.TemporaryDirectory() as home:
        for place in ("CONFIG", "STATE"):  # not the looks of whoever runs it
            os.environ[f"XDG_{place}_HOME"] = str(Path(home, place.lower()))
        main(Path(given[0]), given[1], invented="--shelf" in sys.argv)

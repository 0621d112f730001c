"""A whole run through the window on a real X server, with a picture of each view and mode."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtGui import QImage

PICTURES = {
    "cautions",
    *(f"run-{one}" for one in ("ready", "going", "verdict", "shift", "describe", "options")),
    *("run-paused-skip", "run-interrupted"),
    *(f"inspection-{one}" for one in ("ready", "going", "verdict", "operator", "shift")),
    *(f"live-{one}" for one in ("open", "b", "frozen", "file")),
    *("records-list", "records-compare", "lots-list", "lots-form"),
    *("help-reading", "help-faults", "help-about"),
    *(f"bench-{one}" for one in ("board", "calibration", "self-check", "resistors")),
    *(f"record-{one}" for one in ("evidence", "budget", "findings", "facts", "judge")),
}


@pytest.fixture
def server() -> str:
    """The command that runs another on an X server of its own."""
    found = shutil.which("xvfb-run")
    if found is None:
        pytest.skip("no Xvfb on this machine (package xvfb)")
    return found


def test_the_start_is_timed_whatever_letters_are_remembered(
    root: Path, tmp_path: Path, server: str
) -> None:
    """With large letters the plots lie below what is seen: waiting for their paint had no end."""
    config = tmp_path / "rungbench"
    config.mkdir()
    remembered = "[look]\nscale = 200\n"
    (config / "desktop.toml").write_text(remembered, "utf-8")
    script = root / "tests" / "benchmarks" / "desktop_speed.py"
    places = {f"XDG_{name}_HOME": str(tmp_path) for name in ("DATA", "CONFIG", "STATE")}
    done = subprocess.run(
        [server, "-a", "-s", "-screen 0 1200x800x24", sys.executable, str(script), "--start", "0"],
        env={**os.environ, **places, "QT_QPA_PLATFORM": "xcb"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    first, painted, processor_s = map(float, done.stdout.split())
    assert 0.0 < first < painted
    assert processor_s > 0.0
    assert (config / "desktop.toml").read_text("utf-8") == remembered


def test_a_whole_run_on_a_screen(root: Path, tmp_path: Path, server: str) -> None:
    script = root / "tests" / "app" / "desktop_tour.py"
    screen = "-screen 0 1200x800x24"
    places = ("DATA", "CONFIG", "STATE")
    own = {f"XDG_{name}_HOME": str(tmp_path / name.lower()) for name in places}
    paths = os.pathsep.join(str(root / one) for one in ("signal", "app"))
    environment = {**os.environ, **own, "PYTHONPATH": paths, "QT_QPA_PLATFORM": "xcb"}
    folder = Path(os.environ.get("DESKTOP_PICTURES", str(tmp_path / "pictures")))
    done = subprocess.run(
        [server, "-a", "-s", screen, sys.executable, str(script), str(folder)],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=110,
    )
    assert done.returncode == 0, done.stderr
    assert {file.stem for file in folder.glob("*.png")} >= PICTURES
    for name in PICTURES:
        picture = QImage(str(folder / f"{name}.png"))
        assert (picture.width(), picture.height()) == (1200, 800)
        seen = {picture.pixel(x, y) for x in range(0, 1200, 7) for y in range(0, 800, 7)}
        assert len(seen) > 8, name  # not one colour: something was drawn
    reports = sorted((tmp_path / "data" / "rungbench" / "reports").glob("*.pdf"))
    assert [file.stem.endswith("-hold") for file in reports].count(True) == 1
    assert len(reports) == 2

"""What every test gets: a home of its own, no screen, the same random examples each time.

A test that leaves a thread behind fails.
"""

import faulthandler
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent

# Examples are the same on every machine and in every run; a slow machine is no failure.
settings.register_profile("reproducible", derandomize=True, deadline=None, database=None)
settings.load_profile("reproducible")

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep tests away from the settings, archives and logs of whoever runs them."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("HOME", str(home))
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    for name in [name for name in os.environ if name.startswith("RUNGBENCH_")]:
        monkeypatch.delenv(name)


@pytest.fixture(autouse=True)
def _slow_tests_take_their_time(request: pytest.FixtureRequest) -> None:
    """The time after which a test counts as hanging is not for those that say that they are slow.

    pytest sets it anew for each test.
    """
    if request.node.get_closest_marker("slow") is not None:
        faulthandler.cancel_dump_traceback_later()


@pytest.fixture(autouse=True)
def _no_thread_left_behind() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    deadline = time.monotonic() + 2.0
    while (left := set(threading.enumerate()) - before) and time.monotonic() < deadline:
        time.sleep(0.01)
    assert not left, f"threads left behind: {sorted(thread.name for thread in left)}"


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the project."""
    return ROOT


@pytest.fixture(scope="session")
def shared_captures() -> Path:
    """The oscilloscope recordings made by others, which lie beside the project."""
    folder = ROOT.parent / "shared" / "captures"
    if not folder.is_dir():
        pytest.skip("the recordings made by others (../shared/captures) are not on this machine")
    return folder

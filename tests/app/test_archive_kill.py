"""A kill at any moment loses at most the check in progress and doubles none; nor do other faults.

The ordinary run tries a tenth; ``pytest -m slow tests/app/test_archive_kill.py`` all, among them
200 kills.  ``python tests/app/archive_trials.py`` prints the figures.
"""

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from archive_trials import every, killed, killed_at_birth, server_stops
from postgres_server import postgres_server


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that everybody may reach; pytest's own may not."""
    with tempfile.TemporaryDirectory(prefix="rungbench-trials-") as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_twenty_kills(tmp_path: Path) -> None:
    found = killed(tmp_path / "demo.sqlite", 16, 1)
    assert found.good, found.line()
    # At most the check that was being stored when its run was killed.
    assert found.stored - found.completed <= found.times
    _intact(tmp_path / "demo.sqlite")
    assert killed_at_birth(tmp_path, 4, 1) == 4


def test_a_server_that_stops(tmp_path: Path) -> None:
    with postgres_server() as server:
        found = server_stops(server, tmp_path / "kept", 2, 1)
    assert found.good, found.line()
    assert found.stored == found.completed
    assert found.note.startswith("2 runs kept and said so")
    assert found.note.endswith("in order: True")


@pytest.mark.slow
def test_every_fault(open_folder: Path) -> None:
    assert killed_at_birth(open_folder, 30, 4) == 30
    with postgres_server() as server:
        for found in every(open_folder, server):
            assert found.good, found.line()


def _intact(path: Path) -> None:
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []

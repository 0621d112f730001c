"""An archive in a file and one on a server: tests that ask for `archive_place` run on both."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from postgres_server import PostgresServer, available, postgres_server

from rungbench.paths import Place, Server


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """A server of the tests' own, started once."""
    if not available():
        pytest.fail("there is no PostgreSQL; install the Debian package postgresql")
    with postgres_server() as server:
        yield server


@pytest.fixture(params=["file", "server"])
def archive_place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    """Where a new archive may lie; nothing is there yet."""
    if request.param == "file":
        return tmp_path / "data" / "archive.sqlite"
    server: PostgresServer = request.getfixturevalue("postgres")
    return Server(server.new_database())

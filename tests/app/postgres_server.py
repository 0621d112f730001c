"""A PostgreSQL server of the tests' own, from the Debian package: a folder, a socket, no network.

It never runs as root: then as the user of the package, or as nobody.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Any, Self

PROGRAMS = Path("/usr/lib/postgresql")
ROLE = "lab"
# What a test writes need not survive the machine; killed clients and servers are another matter.
SETTINGS = {
    "listen_addresses": "",
    "fsync": "off",
    "full_page_writes": "off",
    "shared_buffers": "16MB",
    "max_connections": "30",
    "log_min_messages": "fatal",
}


class PostgresServer:
    """A cluster in `folder`; `address` is that of one of its databases."""

    def __init__(self, folder: Path, settings: Mapping[str, str] = SETTINGS) -> None:
        self.folder, self._settings = folder, settings
        self._data, self._log = folder / "data", folder / "log"
        self._made = 0
        user = _user()
        self._as: dict[str, Any] = {} if user is None else {"user": user[0], "group": user[1]}
        if user is not None:
            os.chown(folder, *user)

    def make(self) -> Self:
        """Make the cluster, in another order of letters than SQLite's, and start it."""
        options = ["-U", ROLE, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N"]
        options += ["--locale-provider=icu", "--icu-locale=en-US"]
        self._run("initdb", "-D", str(self._data), *options)
        lines = [f"{name} = '{value}'" for name, value in self._settings.items()]
        lines.append(f"unix_socket_directories = '{self.folder}'")
        with (self._data / "postgresql.conf").open("a", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
        self.start()
        return self

    def start(self) -> None:
        self._run("pg_ctl", "-D", str(self._data), "-l", str(self._log), "-w", "start")

    def stop(self) -> None:
        """Stop at once, as a machine that loses its power."""
        self._run("pg_ctl", "-D", str(self._data), "-m", "immediate", "-w", "stop")

    @property
    def running(self) -> bool:
        return (self._data / "postmaster.pid").exists()

    def new_database(self) -> str:
        """Address of a new, empty database."""
        self._made += 1
        name = f"records{self._made}"
        self.sql("postgres", f"CREATE DATABASE {name}")
        return self.address(name)

    def address(self, database: str, user: str = ROLE) -> str:
        return f"postgresql+psycopg://{user}@/{database}?host={self.folder}"

    def sql(self, database: str, statement: str) -> str:
        """What psql answers, without headings."""
        where = ["-h", str(self.folder), "-U", ROLE, "-d", database]
        return self._run("psql", *where, "-qAtX", "-v", "ON_ERROR_STOP=1", "-c", statement)

    def _run(self, program: str, *words: str) -> str:
        done = subprocess.run(
            [str(_programs() / program), *words],
            stdout=subprocess.PIPE if program == "psql" else subprocess.DEVNULL,
            text=True,
            check=True,
            cwd=self.folder,
            env={"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"},
            **self._as,
        )
        return (done.stdout or "").strip()


def available() -> bool:
    """Whether this machine has the package."""
    return any(PROGRAMS.glob("*/bin/initdb"))


@contextmanager
def postgres_server(settings: Mapping[str, str] = MappingProxyType({})) -> Iterator[PostgresServer]:
    """A running server, in a folder that is gone afterwards; `settings` beat those above."""
    # The path of a socket may have some hundred characters only: pytest's folders are too deep.
    folder = Path(tempfile.mkdtemp(prefix="rungbench-pg-"))
    server = PostgresServer(folder, {**SETTINGS, **settings})
    try:
        yield server.make()
    finally:
        if server.running:
            server.stop()
        shutil.rmtree(folder)


def _programs() -> Path:
    return max(PROGRAMS.glob("*/bin"), key=lambda path: float(path.parent.name))


def _user() -> tuple[int, int] | None:
    """Whom to run it as; the server refuses to run as root."""
    if os.geteuid() != 0:
        return None
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    entry = names.get("postgres") or names["nobody"]
    return entry.pw_uid, entry.pw_gid

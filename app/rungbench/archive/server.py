"""An archive on a PostgreSQL server, which several benches may use at once."""

from collections.abc import Mapping
from typing import Final

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError

from rungbench.archive.database import as_json
from rungbench.archive.errors import ArchiveError
from rungbench.paths import Server

DRIVER: Final = "postgresql+psycopg"
# A server that is gone is noticed in this time, in seconds, so that a run can go on without it.
_GONE_S: Final = 10
_OPTIONS: Final[Mapping[str, str | int]] = {
    "connect_timeout": _GONE_S,
    "keepalives_idle": _GONE_S,
    "keepalives_interval": 2,
    "keepalives_count": 3,
    "tcp_user_timeout": _GONE_S * 1000,
    # What a server of any zone and encoding answers is then the same.
    "client_encoding": "utf8",
    "options": "-c timezone=UTC -c default_transaction_isolation=read\\ committed",
    "application_name": "rungbench",
}
# One at a time makes or upgrades the tables.
_TABLES: Final = "rungbench tables"


def engine_of(server: Server) -> sa.Engine:
    """Engine on a database.

    Raises
    ------
    ArchiveError : the address cannot be read, or what speaks to such servers is not installed.
    """
    try:
        url = sa.make_url(server.url).set(drivername=DRIVER)
        return sa.create_engine(url, connect_args=_options(url), json_serializer=as_json)
    except ModuleNotFoundError as problem:
        raise ArchiveError(
            "What speaks to a PostgreSQL server is not installed; install it with "
            "`pip install 'rungbench[shared]'`, or name a file."
        ) from problem
    except (ArgumentError, ValueError) as problem:
        raise ArchiveError(
            f"The address of the archive {server} cannot be read; write it as "
            f"{DRIVER}://USER@SERVER/DATABASE."
        ) from problem


def _options(url: sa.URL) -> dict[str, str | int]:
    """Ours, but for what the address states itself."""
    return {name: value for name, value in _OPTIONS.items() if name not in url.query}


def lock_tables(connection: sa.Connection) -> None:
    """Wait for whoever makes or upgrades the tables, until the end of the transaction."""
    take_turn(connection, _TABLES)


def take_turn(connection: sa.Connection, what: str) -> None:
    """Let one transaction at a time go on from here, among those that name the same.

    In a file every transaction that writes does so already.
    """
    if connection.dialect.name == "postgresql":
        key = sa.func.hashtextextended(what, 0)
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(key)))

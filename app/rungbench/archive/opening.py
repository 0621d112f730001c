"""From the place of an archive to a connection: made, upgraded, told apart by kind."""

from pathlib import Path

import sqlalchemy as sa

from rungbench.archive import database, links, lot_events, schema, server, sqlite_file
from rungbench.archive.errors import ArchiveError
from rungbench.archive.faults import explained
from rungbench.archive.record import utc_now
from rungbench.paths import Place, Server

_SIMULATED = "simulated"


def open_engine(place: Place, simulated: bool | None, *, create: bool) -> tuple[sa.Engine, bool]:
    """Engine on an archive that is up to date, and whether it is a demo archive.

    Raises
    ------
    ArchiveError : as `rungbench.archive.store.open_archive`.
    """
    engine = _engine(place, create=create and simulated is not None)
    try:
        with explained(place):
            found = _prepare(engine, place, simulated)
        require_same_kind(found, simulated, place)
    except BaseException:
        engine.dispose()
        raise
    return engine, found


def require_same_kind(found: bool, wanted: bool | None, place: Place) -> None:
    """Refuse an archive of the other kind: real and simulated runs are kept apart."""
    if wanted is None or wanted is found:
        return
    if found:
        raise ArchiveError(
            f"{place} is a demo archive of simulated runs; name another for real ones."
        )
    raise ArchiveError(f"{place} is an archive of real runs; name another for simulated ones.")


def _engine(place: Place, *, create: bool) -> sa.Engine:
    if isinstance(place, Server):
        return server.engine_of(place)
    sqlite_file.check_path(place)
    if create:
        sqlite_file.create_file(place)
    if not place.is_file():
        raise ArchiveError(f"There is no archive at {place}; the first run makes one.")
    return sqlite_file.engine_of(place)


def _prepare(engine: sa.Engine, place: Place, simulated: bool | None) -> bool:
    """Bring the schema up to date; returns whether it is a demo archive."""
    with engine.connect() as connection:
        version = database.revision(connection, place)
        if version == schema.HEAD:
            return _info(connection)[_SIMULATED] == "yes"
    if version is None and simulated is None:
        raise ArchiveError(f"The archive {place} is empty; the first run fills it.")
    if version is not None:
        database.refuse_newer(version, place)
    if isinstance(place, Path):
        with explained(place):
            sqlite_file.keep_journal(engine)
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        server.lock_tables(connection)
        # Again, now that nobody else can: two programs may have started at once.
        if database.revision(connection, place) != schema.HEAD:
            database.upgrade(connection)
            links.adopt(connection)
            lot_events.adopt_lots(connection)
        info = _info(connection)
        if _SIMULATED not in info:
            info[_SIMULATED] = "yes" if simulated else "no"
            made = {_SIMULATED: info[_SIMULATED], "made": utc_now().isoformat()}
            rows = [{"name": name, "value": value} for name, value in made.items()]
            connection.execute(schema.archive_info.insert(), rows)
    return info[_SIMULATED] == "yes"


def _info(connection: sa.Connection) -> dict[str, str]:
    table = schema.archive_info
    return dict(connection.execute(sa.select(table.c.name, table.c.value)).all())

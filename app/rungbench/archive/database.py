"""What files and servers have in common: which tables are there, and how they are upgraded.

Alembic is imported only for an archive that is not up to date: it costs a third of a second.
"""

import json
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from rungbench.archive.errors import ArchiveError
from rungbench.archive.schema import HEAD, archive_info, version_table
from rungbench.paths import Place


def as_json(value: Any) -> str:
    """Plain values as the archive holds them; half a character is written as its code."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode("utf-8", "backslashreplace").decode()


def revision(connection: sa.Connection, place: Place) -> str | None:
    """Schema version of the archive, or ``None`` if it is empty.

    Raises
    ------
    ArchiveError : the database belongs to another program.
    """
    names = sa.inspect(connection).get_table_names()
    if not names:
        return None
    if archive_info.name not in names or version_table.name not in names:
        kind = "an SQLite file" if isinstance(place, Path) else "a database"
        raise ArchiveError(f"{place} is {kind} of another program; name another.")
    found = connection.scalar(sa.select(version_table.c.version_num))
    return None if found is None else str(found)


def upgrade(connection: sa.Connection, to: str = HEAD) -> None:
    """Bring the tables to a newer version, inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def refuse_newer(found: str, place: Place) -> None:
    """Revisions count upwards as text of equal length."""
    if found > HEAD:
        raise ArchiveError(
            f"The archive {place} was written by a newer Rungbench (schema {found}, this one "
            f"knows {HEAD}); update the program."
        )

"""What this computer wrote last into each archive, noted apart from the archive.

A chain cannot tell that its end was cut off.  So the head of every chain that is written here is
noted in a file of its own, for its owner only; verifying compares it.  On a server, where others
have the rights to its tables, each bench that writes there is a witness.
"""

import json
import logging
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.links import chains_of, head_of
from rungbench.archive.record import utc_now
from rungbench.archive.verified import Break
from rungbench.paths import Place, paths

_SCHEMA: Final = "rungbench.heads/1"
_OWNER_ONLY: Final = 0o600
_log = logging.getLogger(__name__)

Notes = dict[str, dict[str, dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class Noted:
    """An entry that was once the last of its chain."""

    bench: str
    chain: str
    position: int
    hash: str
    noted: str


def note(connection: sa.Connection, place: Place) -> None:
    """Note the heads of all chains that are written here; a failure to is logged and no more."""
    known = _read()
    here = known.setdefault(place_text(place), {})
    for one in noted_now(connection):
        before = here.get(one.chain)
        if before is None or int(before["position"]) < one.position:
            here[one.chain] = _plain(one)
    _write(known)


def renew(connection: sa.Connection, place: Place) -> tuple[Noted, ...]:
    """Note what is here instead of what was; returns the notes that it does not bear out."""
    gone = tuple(_missing(connection, place))
    known = _read()
    known[place_text(place)] = {one.chain: _plain(one) for one in noted_now(connection)}
    _write(known)
    return gone


def witness_breaks(connection: sa.Connection, place: Place) -> Iterator[Break]:
    """Entries that this computer wrote or saw, and that are no longer there."""
    for one in _missing(connection, place):
        why = (
            f"Bench {one.bench}: entry {one.position} ({one.hash[:16]}) was here on "
            f"{one.noted[:10]} and is gone or another one: its chain was cut or made anew, or an "
            "older copy was put back."
        )
        yield Break(one.bench, one.position, "", why)


def noted_now(connection: sa.Connection) -> Iterator[Noted]:
    """The heads of all chains that are the archive's own."""
    moment = utc_now().isoformat(timespec="seconds")
    for chain in chains_of(connection):
        head = head_of(connection, chain) if chain.own else None
        if head is not None:
            yield Noted(chain.bench, chain.chain, head[0].position, head[1], moment)


def _missing(connection: sa.Connection, place: Place) -> Iterator[Noted]:
    chains, entries = schema.chains, schema.entries
    for chain, plain in _read().get(place_text(place), {}).items():
        one = Noted(chain=chain, **plain)
        query = (
            sa.select(entries.c.position)
            .join_from(entries, chains, entries.c.chain == chains.c.number)
            .where(
                chains.c.chain == chain,
                # One that is passed off as another archive's need not have its beginning.
                chains.c.own,
                entries.c.position == one.position,
                entries.c.hash == one.hash,
            )
        )
        if connection.execute(query).first() is None:
            yield one


def _plain(one: Noted) -> dict[str, Any]:
    return {
        "bench": one.bench,
        "position": one.position,
        "hash": one.hash,
        "noted": one.noted,
    }


def place_text(place: Place) -> str:
    """An archive as the notes name it: never with a password."""
    return str(place.resolve()) if isinstance(place, Path) else str(place)


def heads_file() -> Path:
    """Where the notes are."""
    return paths().log_file.parent / "heads.json"


def _read() -> Notes:
    try:
        found = json.loads(heads_file().read_text(encoding="utf-8"))
        return {str(place): dict(chains) for place, chains in found["archives"].items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, AttributeError, TypeError) as problem:
        _log.warning("the heads noted in %s cannot be read: %s", heads_file(), problem)
        return {}


def _write(notes: Notes) -> None:
    file = heads_file()
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    text = json.dumps({"schema": _SCHEMA, "archives": notes}, indent=1)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with os.fdopen(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, _OWNER_ONLY), "w") as to:
            to.write(text)
        part.replace(file)
    except OSError as problem:
        _log.warning("heads cannot be noted in %s: %s", file, problem)

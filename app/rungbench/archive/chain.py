"""Hashes: what that of a record covers, and how entries of a chain hang together.

Each bench has a chain.  An entry holds the hash of what was recorded and that of the entry before,
so that nothing can be changed, taken out or put in between without all later hashes changing.  A
record's hash covers its captures by their keys, which are hashes too: once a capture has expired,
the record can still be checked.

What is hashed is UTF-8 JSON without blanks, its keys in order.  Fields that have their default are
left out, so that a field which a later version adds changes no hash of an older record: a default
is never changed.  Numbers that are whole are written as such, whatever their type.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from datetime import UTC, date, datetime
from enum import Enum, StrEnum
from functools import cache
from typing import Any, Final

from rungbench.archive.record import Record, RunHeader

_VERSION: Final = 1
# What a float holds exactly, so that 16 and 16.0 are one number.
_WHOLE: Final = 2.0**53
# What others say of a record later, and what follows from the rest.
_NOT_CONTENT: Final = frozenset({"expired", "followed_by"})
_OF_THE_END: Final = frozenset({"verdict", "interrupted"})


class Kind(StrEnum):
    """What an entry stands for."""

    BEGUN = "begun"
    """A run began; the hash is that of its header."""
    ENDED = "ended"
    """A run came to its end."""
    CUT = "cut"
    """A run without end is over: its bench began another one, or it was taken up again."""
    ADOPTED = "adopted"
    """A record that was there before the archive had chains."""
    DERIVED = "derived"
    """A record made from another one: a correction, or another judgement."""
    LOT_MADE = "lot made"
    """A lot was made and its sample drawn; of it the hash and all that follow tell its id."""
    LOT_SERIAL = "lot serial"
    """The serial number of a unit that was drawn by its place became known."""
    LOT_RUN = "lot run"
    """A run joined a lot."""
    LOT_MOVED = "lot moved"
    """A run was of another unit than the one that it had joined as."""
    LOT_CLOSED = "lot closed"
    """The inspection of a lot ended."""


OF_LOTS: Final = frozenset(kind for kind in Kind if kind.value.startswith("lot "))


@dataclass(frozen=True, slots=True)
class Link:
    """An entry of a chain; `sha256` is what it vouches for, `previous` the hash of the one before.

    `made` is the time of day, which may jump; only `position` orders.
    """

    chain: str
    bench: str
    position: int
    kind: Kind
    record: str
    sha256: str
    previous: str
    made: datetime

    @property
    def hash(self) -> str:
        """SHA-256 of all fields (64 hex digits)."""
        return _sha256(
            {
                "version": _VERSION,
                **{one.name: _plain(getattr(self, one.name)) for one in fields(self)},
            }
        )


def first_hash(chain: str, bench: str) -> str:
    """What stands before the first entry."""
    return _sha256({"version": _VERSION, "chain": chain, "bench": bench})


def record_hash(record: Record) -> str:
    """SHA-256 of a record with all budgets, limits and the keys of its captures (64 hex digits)."""
    return hashlib.sha256(hashed(record)).hexdigest()


def hashed(record: Record) -> bytes:
    """What the hash of a record is worked out from: any tool that knows SHA-256 can do it again."""
    out = _NOT_CONTENT | (_OF_THE_END if record.finished is None else frozenset())
    return _canonical({"version": _VERSION, **dict(_fields(record, out))})


def header_hash(header: RunHeader) -> str:
    """SHA-256 of all that is known before the first check (64 hex digits)."""
    return _sha256({"version": _VERSION, **dict(_fields(header))})


def canonical(values: Mapping[str, Any]) -> bytes:
    """What plain values, times among them, are hashed as."""
    return _canonical({name: _plain(value) for name, value in values.items()})


def _sha256(plain: Mapping[str, Any]) -> str:
    return hashlib.sha256(_canonical(plain)).hexdigest()


def _canonical(plain: Mapping[str, Any]) -> bytes:
    text = json.dumps(
        plain, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
    # What no UTF-8 can hold, half a character from a broken scanner, is hashed by its code.
    return text.encode("utf-8", "backslashreplace")


def _fields(thing: Any, out: frozenset[str] = frozenset()) -> Iterator[tuple[str, Any]]:
    for name, default in _known(thing.__class__):
        if name not in out:
            value = getattr(thing, name)
            if value != default:
                yield name, _plain(value)


@cache
def _known(kind: Any) -> tuple[tuple[str, Any], ...]:
    """Fields of a dataclass with their defaults: to ask each time takes longer than to hash."""
    return tuple((one.name, _default(one)) for one in fields(kind))


def _default(one: "Field[Any]") -> Any:
    return one.default if one.default_factory is MISSING else one.default_factory()


def _plain(value: Any) -> Any:
    # The most frequent first: a record is hashed value by value.
    kind = type(value)
    if kind is str or kind is int or value is None:
        return value
    if kind is float:
        return _number(value)
    if is_dataclass(kind):
        return dict(_fields(value))
    if isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return _number(value)
    return _less_frequent(value)


def _less_frequent(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} is nothing that a record holds")


def _number(value: float) -> int | float | str:
    if value.is_integer() and abs(value) < _WHOLE:
        return int(value)
    return value if abs(value) < float("inf") else str(value)

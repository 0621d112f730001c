"""The hash that stands on a report, and its QR code."""

from collections.abc import Iterator
from typing import Any

from rungbench.archive.chain import record_hash
from rungbench.archive.record import Record
from rungbench.archive.store import Entered


def record_sha256(record: Record) -> str:
    """The record's hash, that of its chain (64 hex digits): see `rungbench.archive.chain`."""
    return record_hash(record)


def known_hash(one: Record | Entered) -> tuple[Record, str]:
    """A record and its hash: that of its chain where it comes with it, else worked out."""
    if isinstance(one, Entered):
        return one.record, one.sha256 or record_sha256(one.record)
    return one, record_sha256(one)


def code_text(run_id: str, sha256: str) -> str:
    """What the QR code says: id of the record and hash, nothing that a reader could open."""
    return f"rungbench record {run_id} sha256 {sha256}"


def code_squares(text: str) -> Iterator[tuple[int, int, int]]:
    """Dark stretches of the QR code of `text`: row, first column, length, border included."""
    for row, modules in enumerate(_modules(text)):
        start: int | None = None
        for column, dark in enumerate([*modules, 0]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                yield row, start, column - start
                start = None


def code_size(text: str) -> int:
    """Modules along one side, border included."""
    return len(_modules(text))


def _modules(text: str) -> list[list[int]]:
    # Late: only what is printed needs it.
    import segno

    code: Any = segno.make(text, error="m", micro=False)
    return [list(row) for row in code.matrix_iter(border=4)]

"""Records as JSON for other systems, schema ``rungbench.export/1``.

`schemas/export-1.json` describes it, value by value, in JSON Schema.  Names are only ever added to
version 1.
"""

import json
from collections.abc import Iterable, Iterator
from importlib.resources import files
from typing import Any, Final

from rungbench.archive.document import run_document
from rungbench.archive.record import Record
from rungbench.archive.store import Entered
from rungbench.qualify.findings import findings_document
from rungbench.report.digest import known_hash

SCHEMA: Final = "rungbench.export/1"


def record_document(one: Record | Entered) -> dict[str, Any]:
    """One record with all budgets, its findings and its hash; the hash covers the rest."""
    record, sha256 = known_hash(one)
    return run_document(record, budget=True) | {
        "findings": findings_document(record),
        "sha256": sha256,
    }


def export_chunks(records: Iterable[Record | Entered]) -> Iterator[bytes]:
    """The whole document piece by piece, one record in memory at a time."""
    yield f'{{\n"schema": "{SCHEMA}",\n"records": ['.encode()
    between = b"\n"
    for record in records:
        yield between + dumped(record_document(record))
        between = b",\n"
    yield b"\n]\n}\n"


def dumped(document: dict[str, Any]) -> bytes:
    """A document as JSON in ASCII: no reader has to guess at its characters."""
    return json.dumps(document, allow_nan=False, indent=1).encode("ascii")


def schema_text() -> str:
    """The JSON Schema of `SCHEMA`."""
    return files(__package__).joinpath("schemas", "export-1.json").read_text("utf-8")

"""What others say of a record since: where it comes from, what was made of it, what expired."""

from collections.abc import Iterator
from typing import Final

from rungbench.archive.record import Derivation, Record
from rungbench.report.figures import moment

_HOW: Final = {
    Derivation.CORRECTED: "A correction of record {record}: nothing was measured for it.",
    Derivation.JUDGED_AGAIN: "Record {record} judged again: nothing was measured for it.",
}


def remarks(record: Record) -> Iterator[str]:
    """Sentences for the first page; none where a record stands for itself."""
    origin = record.header.origin
    if origin is not None:
        yield f"{_HOW[origin.kind].format(record=origin.record)} Reason: {origin.reason}"
    if record.followed_by:
        yield followed(record)
    if record.expired:
        count, of = len(record.expired), len(record.capture_names)
        since = moment(min(when for _, when in record.expired))
        yield (
            f"{count} of {of} captures expired, the first {since}: their samples are gone, their "
            "hashes stay in the record. What was judged by them cannot be worked out again."
        )


def followed(record: Record) -> str:
    """That a later record corrects this one or judges it again, and which."""
    several = len(record.followed_by) > 1
    word = "records" if several else "record"
    names = ", ".join(record.followed_by)
    return f"Followed by {word} {names}, made from this one: look there before you rely on it."


def origin_pairs(record: Record) -> Iterator[tuple[str, str]]:
    """The same in full, for the section about the run."""
    origin = record.header.origin
    if origin is not None:
        yield (
            origin.kind.value.capitalize(),
            f"from record {origin.record}, {moment(origin.entered)}",
        )
        yield "Its SHA-256", origin.sha256
        yield "Reason", origin.reason
    yield "Followed by", ", ".join(record.followed_by)

"""Pages of the list of runs.

Numbers of the runs that fit are found first, in narrow indexes, and only those rows are read.
Pages are told apart by the number of their first or last run, so that the last page costs no more
than the first, and a run that begins meanwhile moves none.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import RowMapping

from pilotsignal.judge import Verdict
from rungbench.archive import schema
from rungbench.archive.reading import begins
from rungbench.archive.record import NOT_FINISHED, CheckResult, Role, RunVerdict, run_verdict
from rungbench.archive.rows import search_key
from rungbench.archive.search import RunSummary, Search

# A run that was interrupted comes to nothing else.
_WITHOUT_END: Final = (RunVerdict.FAIL, RunVerdict.BENCH_FAULT, RunVerdict.INCOMPLETE)
_BATCH: Final = 5000
_NAMES: Final = ("maker", "model", "serial", "plan", "profile", "operator")


def find_runs(connection: sa.Connection, search: Search) -> tuple[RunSummary, ...]:
    """Runs that fit, the newest first.

    The verdict of a run without an end stands in no column: those are looked at one by one.
    """
    if search.verdict is None:
        return _summaries(connection, _numbers(connection, search, None))
    ended = _numbers(connection, search, search.verdict.value)
    found = [*_summaries(connection, ended), *_endless(connection, search)]
    found.sort(key=lambda one: one.number, reverse=True)
    return tuple(found[-search.limit :] if search.oldest else found[: search.limit])


def _endless(connection: sa.Connection, search: Search) -> list[RunSummary]:
    """Runs without an end whose checks so far give the verdict, as many as a page holds."""
    if search.verdict not in _WITHOUT_END:
        return []
    number, still = schema.runs.c.number, schema.open_runs
    query = _fitting(connection, search).join(still, still.c.run == number)
    query = query.order_by(number if search.oldest else number.desc())
    runs = [int(run) for run in connection.scalars(query)]
    so_far = _verdicts_so_far(connection, runs)
    fits = [run for run in runs if so_far[run] is search.verdict]
    return list(_summaries(connection, fits[: search.limit]))


def _numbers(connection: sa.Connection, search: Search, verdict: str | None) -> Sequence[int]:
    ends, number = schema.run_ends, schema.runs.c.number
    # In the order of the index of verdicts, so that it stops after a page.
    by_end = verdict is not None and not _narrowed(search)
    query = _fitting(connection, search, by_end=by_end)
    if verdict is not None:
        query = query.join(ends, ends.c.run == number).where(ends.c.verdict == verdict)
    if by_end:
        number = ends.c.run
    query = query.order_by(number if search.oldest else number.desc()).limit(search.limit)
    return [int(number) for number in connection.scalars(query)]


def _narrowed(search: Search) -> bool:
    conditions = (search.maker, search.serial, search.since, search.until)
    return any(condition is not None for condition in conditions)


def _fitting(connection: sa.Connection, search: Search, *, by_end: bool = False) -> sa.Select[Any]:
    """Runs that fit but for the verdict; `by_end`: pages are cut in the order of the ends."""
    runs = schema.runs
    query = sa.select(runs.c.number)
    number = schema.run_ends.c.run if by_end else runs.c.number
    if search.before is not None:
        query = query.where(number < search.before)
    if search.after is not None:
        query = query.where(number > search.after)
    if search.maker is not None:
        query = query.where(runs.c.maker_key == search_key(search.maker))
    if search.serial is not None:
        query = query.where(begins(connection, runs.c.serial_key, search_key(search.serial)))
    if search.since is not None:
        query = query.where(runs.c.started >= search.since)
    if search.until is not None:
        query = query.where(runs.c.started < search.until)
    return query


def _summaries(connection: sa.Connection, numbers: Sequence[int]) -> tuple[RunSummary, ...]:
    runs, ends, origins = schema.runs, schema.run_ends, schema.run_origins
    names = ("number", "run_id", "simulated", "started", *_NAMES)
    query = (
        sa.select(
            *(runs.c[name] for name in names),
            *(ends.c[name] for name in ("verdict", "finished", "interrupted")),
            origins.c.kind,
            origins.c.record,
        )
        .select_from(runs)
        .outerjoin(ends, ends.c.run == runs.c.number)
        .outerjoin(origins, origins.c.run == runs.c.number)
        .where(runs.c.number.in_(numbers))
        .order_by(runs.c.number.desc())
    )
    rows = connection.execute(query).mappings().all()
    so_far = _verdicts_so_far(connection, [row["number"] for row in rows if not row["verdict"]])
    return tuple(_summary(row, so_far) for row in rows)


def _summary(row: RowMapping, so_far: Mapping[int, RunVerdict]) -> RunSummary:
    ended = row["verdict"] is not None
    follows: dict[str, Any] = {"follows": row["record"], "how": row["kind"]}
    return RunSummary(
        number=row["number"],
        run_id=row["run_id"],
        simulated=row["simulated"],
        started=row["started"],
        finished=row["finished"],
        verdict=RunVerdict(row["verdict"]) if ended else so_far[row["number"]],
        interrupted=row["interrupted"] if ended else NOT_FINISHED,
        **{name: row[name] for name in _NAMES},
        **follows,
    )


def _verdicts_so_far(connection: sa.Connection, runs: Sequence[int]) -> Mapping[int, RunVerdict]:
    """Of runs without an end: what their checks up to now come to."""
    table = schema.checks
    names = ("run", "check_id", "role", "verdict", "attempt")
    found: dict[int, list[CheckResult]] = {run: [] for run in runs}
    for some in _batches(runs):
        query = sa.select(*(table.c[name] for name in names)).where(table.c.run.in_(some))
        for run, check, role, verdict, attempt in connection.execute(query):
            result = CheckResult(check, "", Role(role), Verdict(verdict), attempt=attempt)
            found[run].append(result)
    return {run: run_verdict(checks, NOT_FINISHED) for run, checks in found.items()}


def _batches(numbers: Sequence[int]) -> Iterator[Sequence[int]]:
    """As many at a time as a statement may have parameters."""
    for start in range(0, len(numbers), _BATCH):
        yield numbers[start : start + _BATCH]

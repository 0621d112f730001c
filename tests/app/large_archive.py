"""An archive of 100,000 runs with 40 quantities each, made by SQLite itself in about a minute.

Rows are those that a bench writes, as far as queries read them: captures and the rows of budgets
are left out.  A hundred lots, 40 of them of one supplier, are spread over the whole of it.
"""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.record import RunHeader, utc_now
from rungbench.archive.rows import header_row
from rungbench.archive.schema import (
    budgets,
    checks,
    judgements,
    lot_runs,
    lot_serials,
    quantities,
    run_ends,
    runs,
)
from rungbench.archive.store import Archive, open_archive
from rungbench.lots.basis import basis_of_run
from rungbench.lots.lot import LotOrder
from rungbench.lots.sampling import plan_for
from rungbench.lots.store import Lots
from rungbench.qualify.sheet import Sheet

RUNS: Final = 100_000
CHECKS: Final = 20
QUANTITIES: Final = 40
LOTS: Final = 100
LOT: Final = 500
LARGE_LOT: Final = 150_000
"""Size of the last lot, of which 500 units are tested; 50 are of the others."""
SUPPLIERS: Final = ("Northern Imports", "Others")
OF_FIRST_SUPPLIER: Final = 40

SERVER: Final = {"shared_buffers": "256MB", "work_mem": "16MB", "maintenance_work_mem": "128MB"}
"""Settings of a server that holds such an archive, modest ones."""

_COUNT: Final = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < {0})"


def make(path: Path, header: RunHeader, budget: list[dict[str, Any]] | None = None) -> None:
    """Write the archive; `header` is the header that all its runs are copies of.

    With the rows of a `budget` each quantity has one: then runs can be read whole.
    """
    open_archive(path, simulated=False).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for line in ("foreign_keys=OFF", "synchronous=OFF", "cache_size=-400000"):
            connection.execute(f"PRAGMA {line}")
        connection.execute("BEGIN")
        _runs(connection, header)
        _checks(connection)
        _quantities(connection)
        if budget is not None:
            rows = {"check": '"check"', "position": "position", "rows": _text(budget)}
            _insert(connection, budgets, rows, "|FROM quantities")
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with open_archive(path, simulated=False) as archive:
        _lots(archive, header)


def copy_to_server(path: Path, address: str) -> None:
    """The same archive in an empty database of a PostgreSQL server."""
    with open_archive(address, simulated=False) as archive:
        pass
    with (
        closing(sqlite3.connect(path)) as source,
        archive.writing() as connection,
    ):
        connection.execute(sa.text("SET session_replication_role = replica"))
        raw: Any = connection.connection.dbapi_connection
        for table in schema.metadata.sorted_tables:
            if table.name != "archive_info":
                _copy_table(source, raw, table)
        connection.execute(sa.text("SET session_replication_role = DEFAULT"))
    for table in schema.metadata.sorted_tables:
        _after(archive, table)
    archive.close()


def _copy_table(source: sqlite3.Connection, raw: Any, table: sa.Table) -> None:
    names = ", ".join(f'"{column.name}"' for column in table.c)
    rows = source.execute(f"SELECT {names} FROM {table.name}")
    with raw.cursor().copy(f"COPY {table.name} ({names}) FROM STDIN") as to:
        for row in rows:
            to.write_row(row)


def _after(archive: Archive, table: sa.Table) -> None:
    """Numbers go on behind the last one, and the planner knows what there is."""
    with archive.writing() as connection:
        if "number" in table.c:
            last = f"(SELECT coalesce(max(number), 0) + 1 FROM {table.name})"
            sequence = f"pg_get_serial_sequence('{table.name}', 'number')"
            connection.execute(sa.text(f"SELECT setval({sequence}, {last}, false)"))
        connection.execute(sa.text(f"ANALYZE {table.name}"))


def _insert(
    connection: sqlite3.Connection, table: sa.Table, columns: dict[str, str], rest: str
) -> None:
    """Insert what a query gives: an SQL expression for each column."""
    names = ", ".join(f'"{name}"' for name in columns)
    values = ", ".join(columns.values())
    counting, source = rest.split("|")
    connection.execute(f"{counting} INSERT INTO {table.name} ({names}) SELECT {values} {source}")


def _text(value: Any) -> str:
    plain = json.dumps(value) if isinstance(value, dict | list) else value
    if plain is None:
        return "NULL"
    if isinstance(plain, bool | int | float):
        return str(float(plain) if isinstance(plain, float) else int(plain))
    return "'" + str(plain).replace("'", "''") + "'"


def _runs(connection: sqlite3.Connection, header: RunHeader) -> None:
    row = {name: _text(value) for name, value in header_row(header).items()}
    # Times of day, one run every five minutes.
    row |= {
        "number": "x",
        "run_id": "printf('%05x-bench', x)",
        "maker": f"CASE x % 1000 WHEN 7 THEN 'Rare Works' ELSE {row['maker']} END",
        "maker_key": f"CASE x % 1000 WHEN 7 THEN 'rare works' ELSE {row['maker_key']} END",
        "serial": "printf('D-%06d', x)",
        "serial_key": "printf('d-%06d', x)",
        "started": "strftime('%Y-%m-%d %H:%M:%f000', '2024-01-01', (x * 5) || ' minutes')",
    }
    counting = _COUNT.format(RUNS)
    _insert(connection, runs, row, f"{counting}|FROM n")
    end = {
        "run": "x",
        "verdict": "CASE WHEN x % 10000 = 7 THEN 'bench fault' WHEN x % 50 = 0 THEN 'fail' "
        "WHEN x % 50 = 1 THEN 'undecided' ELSE 'pass' END",
        "finished": "strftime('%Y-%m-%d %H:%M:%f000', '2024-01-01', (x * 5 + 1) || ' minutes')",
        "interrupted": "NULL",
        "make_safe": "'{}'",
    }
    _insert(connection, run_ends, end, f"{counting}|FROM n")


def _checks(connection: sqlite3.Connection) -> None:
    row = {
        "number": "x",
        "run": f"(x - 1) / {CHECKS} + 1",
        "check_id": f"printf('check-%02d', (x - 1) % {CHECKS})",
        "attempt": "1",
        "title": f"printf('Check number %02d of the plan', (x - 1) % {CHECKS})",
        "role": "'required'",
        "verdict": f"CASE WHEN x % {50 * CHECKS} = 0 THEN 'fail' ELSE 'pass' END",
        "why": "'1000.20 Hz and 0.06 Hz lie inside what the limit allows.'",
        "observations": "'{}'",
        "start_tick": "1",
        "end_tick": "2",
        "stored": "'2025-01-01 00:00:00.000000'",
    }
    _insert(connection, checks, row, f"{_COUNT.format(RUNS * CHECKS)}|FROM n")


def _quantities(connection: sqlite3.Connection) -> None:
    per_check = QUANTITIES // CHECKS
    row = {
        "check": "number",
        "position": "x - 1",
        "run": "run",
        "name": f"printf('quantity_%02d_v', ((number - 1) % {CHECKS}) * {per_check} + x - 1)",
        "value": "8.5 + (abs(random()) % 1000) / 1000.0",
        "unit": "'V'",
        "u": "0.02",
        "dof": "41.0",
        "method": "'median of the settled part of each pulse'",
        "listed": "1",
    }
    _insert(connection, quantities, row, f"{_COUNT.format(per_check)}|FROM checks, n")
    judged = {
        "check": '"check"',
        "position": "position",
        "verdict": "'pass'",
        "why": "'9.00 V and 0.04 V lie inside what the limit allows.'",
        "quantity": "position",
        "low": "8.37",
        "high": "9.59",
        "unit": "'V'",
        "profile": "'iec-61851-1-2017'",
        "clause": "'Table A.10'",
        "rule": "'guarded'",
        "confidence": "'H'",
        "limit_more": "'{}'",
        "conformance_probability": "0.999",
    }
    _insert(connection, judgements, judged, "|FROM quantities")


def _lots(archive: Archive, header: RunHeader) -> None:
    """Lot k has the runs k, k + 2000, k + 4000...: no two of them are neighbours."""
    lots = Lots(archive)
    for number in range(1, LOTS + 1):
        lot = lots.make(_order(number, header))
        units = [unit.number for unit in lots.state(lot.name).units]
        serials, joined = _members(lot.number, units)
        with archive.writing() as connection:
            connection.execute(lot_serials.insert(), serials)
            connection.execute(lot_runs.insert(), joined)


def _order(number: int, header: RunHeader) -> LotOrder:
    charger = header.charger
    return LotOrder(
        name=f"L{number}",
        supplier=SUPPLIERS[number > OF_FIRST_SUPPLIER],
        sheet=Sheet(maker=charger.maker, model=charger.model),
        basis=basis_of_run(header),
        plan=plan_for(LARGE_LOT if number == LOTS else LOT, 1.5),
        seed=f"seed-{number}",
    )


def _members(lot: int, units: list[int]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    apart, moment = RUNS // len(units), utc_now()
    numbers = {unit: lot + place * apart for place, unit in enumerate(units)}
    serials = [
        {
            "lot": lot,
            "unit": unit,
            "serial": f"D-{run:06}",
            "serial_key": f"d-{run:06}",
            "stored": moment,
        }
        for unit, run in numbers.items()
    ]
    joined = [
        {"lot": lot, "unit": unit, "run": run, "reason": "", "joined": moment}
        for unit, run in numbers.items()
    ]
    return serials, joined

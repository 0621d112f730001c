"""The tables.  Rows are added and never changed: a run without an end has no row in `run_ends`.

The one exception is `open_runs`, which says nothing that other tables do not: it is there to find
runs without an end among very many.

Quantities have a narrow table of their own, so that one quantity of many runs
can be read without touching budgets.  Types are those that SQLite and
PostgreSQL share; times are UTC.
"""

from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

HEAD = "0004"


class UtcTime(TypeDecorator[datetime]):
    """A moment: stored in UTC, read back with its zone."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if dialect.name == "sqlite" else value.astimezone(UTC)


class Words(TypeDecorator[str]):
    """Text; what no database can hold, half a character or a NUL, is written as its code."""

    impl = sa.String
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        del dialect
        if value is None or (value.isascii() and "\0" not in value):
            return value
        return value.encode("utf-8", "backslashreplace").decode().replace("\0", "\\x00")


metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# Alembic's own table, described here only to read it without importing Alembic.
version_table = sa.table("alembic_version", sa.column("version_num", sa.String))

archive_info = sa.Table(
    "archive_info",
    metadata,
    sa.Column("name", Words, primary_key=True),
    sa.Column("value", Words, nullable=False),
)

runs = sa.Table(
    "runs",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("run_id", Words, nullable=False, unique=True),
    sa.Column("simulated", sa.Boolean, nullable=False),
    sa.Column("started", UtcTime, nullable=False, index=True),
    sa.Column("maker", Words, nullable=False),
    sa.Column("model", Words, nullable=False),
    sa.Column("serial", Words, nullable=False),
    # What a search compares: letters folded, blanks at the ends gone.
    sa.Column("maker_key", Words, nullable=False),
    sa.Column("serial_key", Words, nullable=False),
    sa.Column("rated_current_a", sa.Float, nullable=False),
    sa.Column("set_current_a", sa.Float),
    sa.Column("phases", sa.Integer, nullable=False),
    sa.Column("outlet", Words, nullable=False),
    sa.Column("notes", Words, nullable=False),
    sa.Column("operator", Words, nullable=False),
    sa.Column("bench_url", Words, nullable=False),
    sa.Column("board", sa.JSON, nullable=False),
    sa.Column("calibration", sa.JSON, nullable=False),
    sa.Column("profile", Words, nullable=False),
    sa.Column("profile_hash", Words, nullable=False),
    sa.Column("plan", Words, nullable=False),
    sa.Column("plan_hash", Words, nullable=False),
    sa.Column("versions", sa.JSON, nullable=False),
    sa.Column("left_out", sa.JSON, nullable=False),
    sa.Column("planned", sa.JSON, nullable=False),
    # Empty: nobody declared it.
    sa.Column("ventilation", Words),
    # Narrow: a page of a list is found in one of these.
    sa.Index(None, "number", "maker_key", "serial_key", "started"),
    sa.Index(None, "maker_key", "number", "serial_key", "started"),
    sa.Index(None, "serial_key", "number", "maker_key", "started"),
    sqlite_autoincrement=True,
)

run_ends = sa.Table(
    "run_ends",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
    sa.Column("verdict", Words, nullable=False),
    sa.Column("finished", UtcTime, nullable=False),
    sa.Column("interrupted", Words),
    sa.Column("make_safe", sa.JSON, nullable=False),
    sa.Index(None, "verdict", "run"),
)

# Runs that have no row in `run_ends`: taken out again with their end.
open_runs = sa.Table(
    "open_runs",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
)

# Records that were made from others, and why.
run_origins = sa.Table(
    "run_origins",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
    sa.Column("kind", Words, nullable=False),
    # The id of the other: it may lie in another archive.
    sa.Column("record", Words, nullable=False, index=True),
    sa.Column("sha256", Words, nullable=False),
    sa.Column("reason", Words, nullable=False),
    sa.Column("entered", UtcTime, nullable=False),
)

checks = sa.Table(
    "checks",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("run", sa.ForeignKey("runs.number"), nullable=False),
    sa.Column("check_id", Words, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("title", Words, nullable=False),
    sa.Column("role", Words, nullable=False),
    sa.Column("verdict", Words, nullable=False),
    sa.Column("why", Words, nullable=False),
    sa.Column("observations", sa.JSON, nullable=False),
    sa.Column("start_tick", sa.BigInteger),
    sa.Column("end_tick", sa.BigInteger),
    sa.Column("stored", UtcTime, nullable=False),
    sa.UniqueConstraint("run", "check_id", "attempt"),
    sqlite_autoincrement=True,
)

quantities = sa.Table(
    "quantities",
    metadata,
    sa.Column("check", sa.ForeignKey("checks.number"), primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("run", sa.ForeignKey("runs.number"), nullable=False),
    sa.Column("name", Words, nullable=False),
    sa.Column("value", sa.Float, nullable=False),
    sa.Column("unit", Words, nullable=False),
    sa.Column("u", sa.Float, nullable=False),
    # Empty: infinitely many.
    sa.Column("dof", sa.Float),
    sa.Column("method", Words, nullable=False),
    # False: it stands only in a judgement.
    sa.Column("listed", sa.Boolean, nullable=False),
    sa.Index(None, "name", "run"),
    sa.Index(None, "run"),
)

budgets = sa.Table(
    "budgets",
    metadata,
    sa.Column("check", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("rows", sa.JSON, nullable=False),
    sa.ForeignKeyConstraint(["check", "position"], ["quantities.check", "quantities.position"]),
)

judgements = sa.Table(
    "judgements",
    metadata,
    sa.Column("check", sa.ForeignKey("checks.number"), primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("verdict", Words, nullable=False),
    sa.Column("why", Words, nullable=False),
    sa.Column("quantity", sa.Integer),
    sa.Column("low", sa.Float),
    sa.Column("high", sa.Float),
    sa.Column("unit", Words, nullable=False),
    sa.Column("profile", Words, nullable=False),
    sa.Column("clause", Words, nullable=False),
    sa.Column("rule", Words, nullable=False),
    sa.Column("confidence", Words, nullable=False),
    # Whatever else the limit carries.
    sa.Column("limit_more", sa.JSON, nullable=False),
    sa.Column("conformance_probability", sa.Float),
    sa.ForeignKeyConstraint(["check", "quantity"], ["quantities.check", "quantities.position"]),
)

# What the arrays hold, once each: two captures with equal samples share one.
contents = sa.Table(
    "contents",
    metadata,
    sa.Column("sha256", Words, primary_key=True),
    sa.Column("codec", Words, nullable=False),
    sa.Column("dtype", Words, nullable=False),
    sa.Column("length", sa.BigInteger, nullable=False),
    sa.Column("data", sa.LargeBinary, nullable=False),
)

captures = sa.Table(
    "captures",
    metadata,
    sa.Column("sha256", Words, primary_key=True),
    sa.Column("kind", Words, nullable=False),
    sa.Column("content", sa.ForeignKey("contents.sha256"), nullable=False, index=True),
    sa.Column("description", sa.JSON, nullable=False),
)

run_captures = sa.Table(
    "run_captures",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
    sa.Column("name", Words, primary_key=True),
    sa.Column("capture", sa.ForeignKey("captures.sha256"), nullable=False, index=True),
)

check_captures = sa.Table(
    "check_captures",
    metadata,
    sa.Column("check", sa.ForeignKey("checks.number"), primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("capture", sa.ForeignKey("captures.sha256"), nullable=False),
)

# When the bytes of a content were taken away.
expired = sa.Table(
    "expired",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("content", sa.ForeignKey("contents.sha256"), nullable=False, index=True),
    sa.Column("moment", UtcTime, nullable=False),
    sqlite_autoincrement=True,
)

# A chain of hashes for each bench; those that are not the archive's own came with records of
# another, and hold what was handed on.

chains = sa.Table(
    "chains",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("chain", Words, nullable=False, unique=True),
    sa.Column("bench", Words, nullable=False),
    sa.Column("own", sa.Boolean, nullable=False),
    sqlite_autoincrement=True,
)

entries = sa.Table(
    "entries",
    metadata,
    sa.Column("chain", sa.ForeignKey("chains.number"), primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("kind", Words, nullable=False),
    # Not a reference: of a chain from elsewhere not every record need be here.
    sa.Column("record", Words, nullable=False, index=True),
    sa.Column("sha256", Words, nullable=False),
    sa.Column("previous", Words, nullable=False),
    sa.Column("made", UtcTime, nullable=False),
    sa.Column("hash", Words, nullable=False),
)

# Lots: a sample of units, drawn once; runs join it one by one, and one row ends it.

lots = sa.Table(
    "lots",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("name", Words, nullable=False),
    sa.Column("name_key", Words, nullable=False, unique=True),
    sa.Column("made", UtcTime, nullable=False),
    sa.Column("supplier", Words, nullable=False),
    sa.Column("supplier_key", Words, nullable=False, index=True),
    sa.Column("operator", Words, nullable=False),
    sa.Column("notes", Words, nullable=False),
    sa.Column("sheet", sa.JSON, nullable=False),
    # What every run of the lot must have been judged by.
    sa.Column("plan", Words, nullable=False),
    sa.Column("plan_hash", Words, nullable=False),
    sa.Column("profile", Words, nullable=False),
    sa.Column("profile_hash", Words, nullable=False),
    sa.Column("planned", sa.JSON, nullable=False),
    sa.Column("lot_size", sa.Integer, nullable=False),
    sa.Column("aql", sa.Float, nullable=False),
    sa.Column("level", Words, nullable=False),
    sa.Column("severity", Words, nullable=False),
    sa.Column("letter", Words, nullable=False),
    sa.Column("sample_size", sa.Integer, nullable=False),
    sa.Column("accept", sa.Integer, nullable=False),
    sa.Column("standard", Words, nullable=False),
    sa.Column("seed", Words, nullable=False),
    sa.Column("seed_given", sa.Boolean, nullable=False),
    # Of the list of serial numbers that was drawn from; empty: places in the lot were drawn.
    sa.Column("list_sha256", Words),
    # What the switching rules said when the lot was made.
    sa.Column("advice", sa.JSON, nullable=False),
    sa.Column("resubmits", sa.ForeignKey("lots.number"), index=True),
    sqlite_autoincrement=True,
)

lot_sample = sa.Table(
    "lot_sample",
    metadata,
    sa.Column("lot", sa.ForeignKey("lots.number"), primary_key=True, autoincrement=False),
    sa.Column("unit", sa.Integer, primary_key=True, autoincrement=False),
)

# Every serial number known of a lot: from the list it was drawn from, or scanned later.
lot_serials = sa.Table(
    "lot_serials",
    metadata,
    sa.Column("lot", sa.ForeignKey("lots.number"), primary_key=True, autoincrement=False),
    sa.Column("unit", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("serial", Words, nullable=False),
    sa.Column("serial_key", Words, nullable=False),
    sa.Column("stored", UtcTime, nullable=False),
    sa.UniqueConstraint("lot", "serial_key"),
)

lot_runs = sa.Table(
    "lot_runs",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
    sa.Column("lot", sa.Integer, nullable=False),
    sa.Column("unit", sa.Integer, nullable=False),
    # Why the unit was tested again; empty for its first run.
    sa.Column("reason", Words, nullable=False),
    sa.Column("joined", UtcTime, nullable=False),
    sa.ForeignKeyConstraint(["lot", "unit"], ["lot_sample.lot", "lot_sample.unit"]),
    sa.Index(None, "lot", "unit"),
)

lot_ends = sa.Table(
    "lot_ends",
    metadata,
    sa.Column("lot", sa.ForeignKey("lots.number"), primary_key=True, autoincrement=False),
    sa.Column("decision", Words, nullable=False),
    sa.Column("reason", Words, nullable=False),
    sa.Column("operator", Words, nullable=False),
    sa.Column("closed", UtcTime, nullable=False),
    # Units that passed, failed, stayed undecided, were not tested.
    sa.Column("tally", sa.JSON, nullable=False),
    # The head of each chain of the archive's own benches then, by the chain's id.
    sa.Column("heads", sa.JSON),
)

# Runs that had joined a lot as a unit that they are not of.  The last row about a run counts.
lot_moves = sa.Table(
    "lot_moves",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("lot", sa.ForeignKey("lots.number"), nullable=False, index=True),
    # Empty: only the serial number of a unit whose first one had been another's.
    sa.Column("run", sa.ForeignKey("lot_runs.run")),
    # What it was taken for until then; empty: it was out of the lot.
    sa.Column("before", sa.Integer),
    # The unit that it is of; empty: of none, it no longer counts.
    sa.Column("unit", sa.Integer),
    # Of a lot drawn by places: the serial number that goes along.
    sa.Column("serial", Words),
    sa.Column("reason", Words, nullable=False),
    sa.Column("operator", Words, nullable=False),
    sa.Column("moved", UtcTime, nullable=False),
    sqlite_autoincrement=True,
)

"""The tables.  Rows are added and never changed: a run without an end has no row in `run_ends`.

Quantities have a narrow table of their own, so that one quantity of many runs
can be read without touching budgets.  Types are those that SQLite and
PostgreSQL share; times are UTC.
"""

from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

HEAD = "0001"


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
    sa.Column("name", sa.String, primary_key=True),
    sa.Column("value", sa.String, nullable=False),
)

runs = sa.Table(
    "runs",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("run_id", sa.String, nullable=False, unique=True),
    sa.Column("simulated", sa.Boolean, nullable=False),
    sa.Column("started", UtcTime, nullable=False, index=True),
    sa.Column("maker", sa.String, nullable=False),
    sa.Column("model", sa.String, nullable=False),
    sa.Column("serial", sa.String, nullable=False),
    # What a search compares: letters folded, blanks at the ends gone.
    sa.Column("maker_key", sa.String, nullable=False, index=True),
    sa.Column("serial_key", sa.String, nullable=False, index=True),
    sa.Column("rated_current_a", sa.Float, nullable=False),
    sa.Column("set_current_a", sa.Float),
    sa.Column("phases", sa.Integer, nullable=False),
    sa.Column("outlet", sa.String, nullable=False),
    sa.Column("notes", sa.String, nullable=False),
    sa.Column("operator", sa.String, nullable=False),
    sa.Column("bench_url", sa.String, nullable=False),
    sa.Column("board", sa.JSON, nullable=False),
    sa.Column("calibration", sa.JSON, nullable=False),
    sa.Column("profile", sa.String, nullable=False),
    sa.Column("profile_hash", sa.String, nullable=False),
    sa.Column("plan", sa.String, nullable=False),
    sa.Column("plan_hash", sa.String, nullable=False),
    sa.Column("versions", sa.JSON, nullable=False),
    sa.Column("left_out", sa.JSON, nullable=False),
    sa.Column("planned", sa.JSON, nullable=False),
    sqlite_autoincrement=True,
)

run_ends = sa.Table(
    "run_ends",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
    sa.Column("verdict", sa.String, nullable=False, index=True),
    sa.Column("finished", UtcTime, nullable=False),
    sa.Column("interrupted", sa.String),
    sa.Column("make_safe", sa.JSON, nullable=False),
)

checks = sa.Table(
    "checks",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("run", sa.ForeignKey("runs.number"), nullable=False),
    sa.Column("check_id", sa.String, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("title", sa.String, nullable=False),
    sa.Column("role", sa.String, nullable=False),
    sa.Column("verdict", sa.String, nullable=False),
    sa.Column("why", sa.String, nullable=False),
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
    sa.Column("name", sa.String, nullable=False),
    sa.Column("value", sa.Float, nullable=False),
    sa.Column("unit", sa.String, nullable=False),
    sa.Column("u", sa.Float, nullable=False),
    # Empty: infinitely many.
    sa.Column("dof", sa.Float),
    sa.Column("method", sa.String, nullable=False),
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
    sa.Column("verdict", sa.String, nullable=False),
    sa.Column("why", sa.String, nullable=False),
    sa.Column("quantity", sa.Integer),
    sa.Column("low", sa.Float),
    sa.Column("high", sa.Float),
    sa.Column("unit", sa.String, nullable=False),
    sa.Column("profile", sa.String, nullable=False),
    sa.Column("clause", sa.String, nullable=False),
    sa.Column("rule", sa.String, nullable=False),
    sa.Column("confidence", sa.String, nullable=False),
    # Whatever else the limit carries.
    sa.Column("limit_more", sa.JSON, nullable=False),
    sa.Column("conformance_probability", sa.Float),
    sa.ForeignKeyConstraint(["check", "quantity"], ["quantities.check", "quantities.position"]),
)

# What the arrays hold, once each: two captures with equal samples share one.
contents = sa.Table(
    "contents",
    metadata,
    sa.Column("sha256", sa.String, primary_key=True),
    sa.Column("codec", sa.String, nullable=False),
    sa.Column("dtype", sa.String, nullable=False),
    sa.Column("length", sa.BigInteger, nullable=False),
    sa.Column("data", sa.LargeBinary, nullable=False),
)

captures = sa.Table(
    "captures",
    metadata,
    sa.Column("sha256", sa.String, primary_key=True),
    sa.Column("kind", sa.String, nullable=False),
    sa.Column("content", sa.ForeignKey("contents.sha256"), nullable=False, index=True),
    sa.Column("description", sa.JSON, nullable=False),
)

run_captures = sa.Table(
    "run_captures",
    metadata,
    sa.Column("run", sa.ForeignKey("runs.number"), primary_key=True, autoincrement=False),
    sa.Column("name", sa.String, primary_key=True),
    sa.Column("capture", sa.ForeignKey("captures.sha256"), nullable=False, index=True),
)

check_captures = sa.Table(
    "check_captures",
    metadata,
    sa.Column("check", sa.ForeignKey("checks.number"), primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("capture", sa.ForeignKey("captures.sha256"), nullable=False),
)

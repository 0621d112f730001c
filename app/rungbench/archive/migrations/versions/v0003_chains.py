"""Chains of hashes, records made from others, captures that expire; what is written stays.

Triggers refuse changes of whatever was written.  A later step that must change rows drops them
first and makes them again.
"""

from collections.abc import Iterable
from typing import Final

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

REFUSED: Final = "what an archive holds is never changed"
_TABLES: Final = (
    "archive_info",
    "runs",
    "run_ends",
    "checks",
    "quantities",
    "budgets",
    "judgements",
    "captures",
    "run_captures",
    "check_captures",
    "lots",
    "lot_sample",
    "lot_serials",
    "lot_runs",
    "lot_ends",
    "run_origins",
    "chains",
    "entries",
    "expired",
)


def upgrade() -> None:
    _run_origins()
    _chains()
    _entries()
    _expired()
    _indexes()
    if op.get_bind().dialect.name == "postgresql":
        _guard_server()
    else:
        _guard_file()


def _run_origins() -> None:
    op.create_table(
        "run_origins",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("record", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("entered", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_run_origins_run"),
        sa.PrimaryKeyConstraint("run", name="pk_run_origins"),
    )
    op.create_index("ix_run_origins_record", "run_origins", ["record"])


def _chains() -> None:
    op.create_table(
        "chains",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("chain", sa.String(), nullable=False),
        sa.Column("bench", sa.String(), nullable=False),
        sa.Column("own", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_chains"),
        sa.UniqueConstraint("chain", name="uq_chains_chain"),
        sqlite_autoincrement=True,
    )


def _entries() -> None:
    op.create_table(
        "entries",
        sa.Column("chain", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("record", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("made", sa.DateTime(timezone=True), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["chain"], ["chains.number"], name="fk_entries_chain"),
        sa.PrimaryKeyConstraint("chain", "position", name="pk_entries"),
    )
    op.create_index("ix_entries_record", "entries", ["record"])


def _expired() -> None:
    op.create_table(
        "expired",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content", sa.String(), nullable=False),
        sa.Column("moment", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["content"], ["contents.sha256"], name="fk_expired_content"),
        sa.PrimaryKeyConstraint("number", name="pk_expired"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_expired_content", "expired", ["content"])


def _indexes() -> None:
    # A page of a list is looked up in one of these without touching the wide rows of runs.
    for first in ("number", "maker_key", "serial_key"):
        rest = [name for name in ("number", "maker_key", "serial_key") if name != first]
        columns = [first, *rest, "started"]
        op.create_index(f"ix_runs_{'_'.join(columns)}", "runs", columns)
    for column in ("maker_key", "serial_key"):
        op.drop_index(f"ix_runs_{column}", "runs")
    op.create_index("ix_run_ends_verdict_run", "run_ends", ["verdict", "run"])
    op.drop_index("ix_run_ends_verdict", "run_ends")
    if op.get_bind().dialect.name == "postgresql":
        for table, column in (("runs", "serial_key"), ("runs", "run_id"), ("captures", "sha256")):
            prefix = sa.text(f'{column} COLLATE "C"')
            op.create_index(f"ix_{table}_{column}_prefix", table, [prefix])


def _guard_file() -> None:
    for table in _TABLES:
        for event in ("UPDATE", "DELETE"):
            _guard_table(table, event)
    _guard_table("contents", "DELETE")
    # Content may be taken away and put back, and never be another.
    _guard_table("contents", "UPDATE", " WHEN " + _another("<>"))


def _guard_table(table: str, event: str, when: str = "") -> None:
    op.execute(
        f"CREATE TRIGGER keep_{table}_{event.lower()} BEFORE {event} ON {table}{when} "
        f"BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
    )


def _guard_server() -> None:
    op.execute(
        "CREATE FUNCTION keep_rows() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSED}' USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$"
    )
    for table in _TABLES:
        _guard_on_server(table, "UPDATE OR DELETE OR TRUNCATE")
    _guard_on_server("contents", "DELETE OR TRUNCATE")
    op.execute(
        "CREATE TRIGGER keep_contents_update BEFORE UPDATE ON contents FOR EACH ROW "
        f"WHEN ({_another('IS DISTINCT FROM')}) EXECUTE FUNCTION keep_rows()"
    )


def _guard_on_server(table: str, events: str) -> None:
    op.execute(
        f"CREATE TRIGGER keep_{table} BEFORE {events} ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION keep_rows()"
    )


def _another(differs: str) -> str:
    kept: Iterable[str] = ("sha256", "codec", "dtype", "length")
    same = " OR ".join(f"NEW.{name} {differs} OLD.{name}" for name in kept)
    return f"{same} OR (length(NEW.data) > 0 AND length(OLD.data) > 0)"

"""Corrections of lots, heads of chains at the end of a lot, and runs without an end at hand.

Lots are entered into a chain of their own by the program, see `rungbench.archive.lot_events`.
"""

import sqlalchemy as sa
from alembic import op

from rungbench.archive.migrations.versions.v0003_chains import REFUSED

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("lot_ends", sa.Column("heads", sa.JSON(), nullable=True))
    _lot_moves()
    _open_runs()
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE TRIGGER keep_lot_moves BEFORE UPDATE OR DELETE OR TRUNCATE ON lot_moves "
            "FOR EACH STATEMENT EXECUTE FUNCTION keep_rows()"
        )
    else:
        for event in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER keep_lot_moves_{event.lower()} BEFORE {event} ON lot_moves "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
            )


def _lot_moves() -> None:
    op.create_table(
        "lot_moves",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("lot", sa.Integer(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=True),
        sa.Column("before", sa.Integer(), nullable=True),
        sa.Column("unit", sa.Integer(), nullable=True),
        sa.Column("serial", sa.String(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("operator", sa.String(), nullable=False),
        sa.Column("moved", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["lot"], ["lots.number"], name="fk_lot_moves_lot"),
        sa.ForeignKeyConstraint(["run"], ["lot_runs.run"], name="fk_lot_moves_run"),
        sa.PrimaryKeyConstraint("number", name="pk_lot_moves"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_lot_moves_lot", "lot_moves", ["lot"])


def _open_runs() -> None:
    op.create_table(
        "open_runs",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_open_runs_run"),
        sa.PrimaryKeyConstraint("run", name="pk_open_runs"),
    )
    op.execute(
        "INSERT INTO open_runs (run) SELECT number FROM runs "
        "WHERE NOT EXISTS (SELECT 1 FROM run_ends WHERE run_ends.run = runs.number)"
    )

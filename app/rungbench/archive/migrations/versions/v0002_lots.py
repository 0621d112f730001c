"""Lots, and what is declared of a charger's answer to D."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("runs", sa.Column("ventilation", sa.String(), nullable=True))
    _lots()
    _lot_sample()
    _lot_serials()
    _lot_runs()
    _lot_ends()


def _lots() -> None:
    op.create_table(
        "lots",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("made", sa.DateTime(timezone=True), nullable=False),
        sa.Column("supplier", sa.String(), nullable=False),
        sa.Column("supplier_key", sa.String(), nullable=False),
        sa.Column("operator", sa.String(), nullable=False),
        sa.Column("notes", sa.String(), nullable=False),
        sa.Column("sheet", sa.JSON(), nullable=False),
        *_basis(),
        *_sampling(),
        sa.Column("seed", sa.String(), nullable=False),
        sa.Column("seed_given", sa.Boolean(), nullable=False),
        sa.Column("list_sha256", sa.String(), nullable=True),
        sa.Column("advice", sa.JSON(), nullable=False),
        sa.Column("resubmits", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["resubmits"], ["lots.number"], name="fk_lots_resubmits"),
        sa.PrimaryKeyConstraint("number", name="pk_lots"),
        sa.UniqueConstraint("name_key", name="uq_lots_name_key"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_lots_supplier_key", "lots", ["supplier_key"])
    op.create_index("ix_lots_resubmits", "lots", ["resubmits"])


def _basis() -> list[sa.Column[Any]]:
    names = ("plan", "plan_hash", "profile", "profile_hash")
    columns = [sa.Column(name, sa.String(), nullable=False) for name in names]
    return [*columns, sa.Column("planned", sa.JSON(), nullable=False)]


def _sampling() -> list[sa.Column[Any]]:
    return [
        sa.Column("lot_size", sa.Integer(), nullable=False),
        sa.Column("aql", sa.Float(), nullable=False),
        sa.Column("level", sa.String(), nullable=False),
        sa.Column("severity", sa.String(), nullable=False),
        sa.Column("letter", sa.String(), nullable=False),
        sa.Column("sample_size", sa.Integer(), nullable=False),
        sa.Column("accept", sa.Integer(), nullable=False),
        sa.Column("standard", sa.String(), nullable=False),
    ]


def _lot_sample() -> None:
    op.create_table(
        "lot_sample",
        sa.Column("lot", sa.Integer(), nullable=False),
        sa.Column("unit", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot"], ["lots.number"], name="fk_lot_sample_lot"),
        sa.PrimaryKeyConstraint("lot", "unit", name="pk_lot_sample"),
    )


def _lot_serials() -> None:
    op.create_table(
        "lot_serials",
        sa.Column("lot", sa.Integer(), nullable=False),
        sa.Column("unit", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("serial_key", sa.String(), nullable=False),
        sa.Column("stored", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["lot"], ["lots.number"], name="fk_lot_serials_lot"),
        sa.PrimaryKeyConstraint("lot", "unit", name="pk_lot_serials"),
        sa.UniqueConstraint("lot", "serial_key", name="uq_lot_serials_lot_serial_key"),
    )


def _lot_runs() -> None:
    op.create_table(
        "lot_runs",
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("lot", sa.Integer(), nullable=False),
        sa.Column("unit", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("joined", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_lot_runs_run"),
        sa.ForeignKeyConstraint(
            ["lot", "unit"], ["lot_sample.lot", "lot_sample.unit"], name="fk_lot_runs_lot_unit"
        ),
        sa.PrimaryKeyConstraint("run", name="pk_lot_runs"),
    )
    op.create_index("ix_lot_runs_lot_unit", "lot_runs", ["lot", "unit"])


def _lot_ends() -> None:
    op.create_table(
        "lot_ends",
        sa.Column("lot", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("operator", sa.String(), nullable=False),
        sa.Column("closed", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tally", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["lot"], ["lots.number"], name="fk_lot_ends_lot"),
        sa.PrimaryKeyConstraint("lot", name="pk_lot_ends"),
    )

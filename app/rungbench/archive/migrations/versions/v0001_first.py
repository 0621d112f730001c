"""The first archive."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    _archive_info()
    _contents()
    _runs()
    _captures()
    _checks()
    _run_ends()
    _check_captures()
    _quantities()
    _run_captures()
    _budgets()
    _judgements()


def _archive_info() -> None:
    op.create_table(
        "archive_info",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_archive_info"),
    )


def _contents() -> None:
    op.create_table(
        "contents",
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("codec", sa.String(), nullable=False),
        sa.Column("dtype", sa.String(), nullable=False),
        sa.Column("length", sa.BigInteger(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_contents"),
    )


def _runs() -> None:
    op.create_table(
        "runs",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(), nullable=False),
        sa.Column("simulated", sa.Boolean(), nullable=False),
        sa.Column("started", sa.DateTime(timezone=True), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("maker_key", sa.String(), nullable=False),
        sa.Column("serial_key", sa.String(), nullable=False),
        sa.Column("rated_current_a", sa.Float(), nullable=False),
        sa.Column("set_current_a", sa.Float(), nullable=True),
        sa.Column("phases", sa.Integer(), nullable=False),
        sa.Column("outlet", sa.String(), nullable=False),
        sa.Column("notes", sa.String(), nullable=False),
        sa.Column("operator", sa.String(), nullable=False),
        sa.Column("bench_url", sa.String(), nullable=False),
        sa.Column("board", sa.JSON(), nullable=False),
        sa.Column("calibration", sa.JSON(), nullable=False),
        sa.Column("profile", sa.String(), nullable=False),
        sa.Column("profile_hash", sa.String(), nullable=False),
        sa.Column("plan", sa.String(), nullable=False),
        sa.Column("plan_hash", sa.String(), nullable=False),
        sa.Column("versions", sa.JSON(), nullable=False),
        sa.Column("left_out", sa.JSON(), nullable=False),
        sa.Column("planned", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_runs"),
        sa.UniqueConstraint("run_id", name="uq_runs_run_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_runs_maker_key", "runs", ["maker_key"], unique=False)
    op.create_index("ix_runs_serial_key", "runs", ["serial_key"], unique=False)
    op.create_index("ix_runs_started", "runs", ["started"], unique=False)


def _captures() -> None:
    op.create_table(
        "captures",
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("content", sa.String(), nullable=False),
        sa.Column("description", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["content"], ["contents.sha256"], name="fk_captures_content"),
        sa.PrimaryKeyConstraint("sha256", name="pk_captures"),
    )
    op.create_index("ix_captures_content", "captures", ["content"], unique=False)


def _checks() -> None:
    op.create_table(
        "checks",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("check_id", sa.String(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("observations", sa.JSON(), nullable=False),
        sa.Column("start_tick", sa.BigInteger(), nullable=True),
        sa.Column("end_tick", sa.BigInteger(), nullable=True),
        sa.Column("stored", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_checks_run"),
        sa.PrimaryKeyConstraint("number", name="pk_checks"),
        sa.UniqueConstraint("run", "check_id", "attempt", name="uq_checks_run_check_id_attempt"),
        sqlite_autoincrement=True,
    )


def _run_ends() -> None:
    op.create_table(
        "run_ends",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("finished", sa.DateTime(timezone=True), nullable=False),
        sa.Column("interrupted", sa.String(), nullable=True),
        sa.Column("make_safe", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_run_ends_run"),
        sa.PrimaryKeyConstraint("run", name="pk_run_ends"),
    )
    op.create_index("ix_run_ends_verdict", "run_ends", ["verdict"], unique=False)


def _check_captures() -> None:
    op.create_table(
        "check_captures",
        sa.Column("check", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("capture", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["capture"], ["captures.sha256"], name="fk_check_captures_capture"),
        sa.ForeignKeyConstraint(["check"], ["checks.number"], name="fk_check_captures_check"),
        sa.PrimaryKeyConstraint("check", "position", name="pk_check_captures"),
    )


def _quantities() -> None:
    op.create_table(
        "quantities",
        sa.Column("check", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("u", sa.Float(), nullable=False),
        sa.Column("dof", sa.Float(), nullable=True),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("listed", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["check"], ["checks.number"], name="fk_quantities_check"),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_quantities_run"),
        sa.PrimaryKeyConstraint("check", "position", name="pk_quantities"),
    )
    op.create_index("ix_quantities_name_run", "quantities", ["name", "run"], unique=False)
    op.create_index("ix_quantities_run", "quantities", ["run"], unique=False)


def _run_captures() -> None:
    op.create_table(
        "run_captures",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("capture", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["capture"], ["captures.sha256"], name="fk_run_captures_capture"),
        sa.ForeignKeyConstraint(["run"], ["runs.number"], name="fk_run_captures_run"),
        sa.PrimaryKeyConstraint("run", "name", name="pk_run_captures"),
    )
    op.create_index("ix_run_captures_capture", "run_captures", ["capture"], unique=False)


def _budgets() -> None:
    op.create_table(
        "budgets",
        sa.Column("check", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rows", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["check", "position"],
            ["quantities.check", "quantities.position"],
            name="fk_budgets_check_position",
        ),
        sa.PrimaryKeyConstraint("check", "position", name="pk_budgets"),
    )


def _judgements() -> None:
    op.create_table(
        "judgements",
        sa.Column("check", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=True),
        sa.Column("low", sa.Float(), nullable=True),
        sa.Column("high", sa.Float(), nullable=True),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("profile", sa.String(), nullable=False),
        sa.Column("clause", sa.String(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("confidence", sa.String(), nullable=False),
        sa.Column("limit_more", sa.JSON(), nullable=False),
        sa.Column("conformance_probability", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["check", "quantity"],
            ["quantities.check", "quantities.position"],
            name="fk_judgements_check_quantity",
        ),
        sa.ForeignKeyConstraint(["check"], ["checks.number"], name="fk_judgements_check"),
        sa.PrimaryKeyConstraint("check", "position", name="pk_judgements"),
    )

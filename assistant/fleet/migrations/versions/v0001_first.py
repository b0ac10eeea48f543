"""The first tables of the fleet store."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "hearing",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("engine", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("phrase", sa.String(), nullable=False),
        sa.Column("unheard", sa.String(), nullable=False),
        sa.Column("speech_db10", sa.Integer(), nullable=True),
        sa.Column("noise_db10", sa.Integer(), nullable=True),
        sa.Column("band", sa.Integer(), nullable=True),
        sa.Column("first", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "seq"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "quarantine",
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("run", sa.String(), nullable=False),
        sa.Column("seen_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("mtime_ns", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("path", "digest"),
    )
    op.create_table(
        "reading",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("limit_name", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("milli", sa.BigInteger(), nullable=False),
        sa.Column("base_unit", sa.String(), nullable=False),
        sa.Column("within", sa.Boolean(), nullable=False),
        sa.Column("rig", sa.String(), nullable=False),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("first", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "seq"),
        sqlite_with_rowid=False,
    )
    op.create_index("reading_by_limit", "reading", ["limit_name", "rig", "day"], unique=False)
    op.create_table(
        "refusal",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("refused", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("act", sa.String(), nullable=False),
        sa.Column("phrase", sa.String(), nullable=False),
        sa.Column("first", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "seq"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "stale",
        sa.Column("procedure", sa.String(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("procedure", "month"),
    )
    op.create_table(
        "tablet",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    op.create_table(
        "tally",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("procedure", sa.String(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("rig", sa.String(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.Column("practice", sa.Boolean(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("bin", sa.Integer(), nullable=False),
        sa.Column("n", sa.BigInteger(), nullable=False),
        sa.Column("runs", sa.BigInteger(), nullable=False),
        sa.Column("people", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "procedure", "site", "rig", "month", "practice", "item", "bin"),
        sqlite_with_rowid=False,
    )
    op.create_index("tally_by_month", "tally", ["procedure", "month"], unique=False)
    op.create_table(
        "trend",
        sa.Column("procedure", sa.String(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("rig", sa.String(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.Column("practice", sa.Boolean(), nullable=False),
        sa.Column("limit_name", sa.String(), nullable=False),
        sa.Column("base_unit", sa.String(), nullable=False),
        sa.Column("n", sa.BigInteger(), nullable=False),
        sa.Column("runs", sa.BigInteger(), nullable=False),
        sa.Column("people", sa.BigInteger(), nullable=False),
        sa.Column("outside", sa.BigInteger(), nullable=False),
        sa.Column("lowest", sa.BigInteger(), nullable=False),
        sa.Column("highest", sa.BigInteger(), nullable=False),
        sa.Column("last_x", sa.BigInteger(), nullable=False),
        sa.Column("sum_x", sa.BigInteger(), nullable=False),
        sa.Column("sum_y", sa.BigInteger(), nullable=False),
        sa.Column("sum_xx", sa.BigInteger(), nullable=False),
        sa.Column("sum_xy", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("procedure", "site", "rig", "month", "practice", "limit_name", "base_unit"),
        sqlite_with_rowid=False,
    )
    op.create_index("trend_by_month", "trend", ["procedure", "month"], unique=False)
    op.create_table(
        "visit",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("nth", sa.Integer(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("look", sa.Boolean(), nullable=False),
        sa.Column("asked_ms", sa.BigInteger(), nullable=False),
        sa.Column("answered_ms", sa.BigInteger(), nullable=True),
        sa.Column("counted_ms", sa.BigInteger(), nullable=True),
        sa.Column("took_s", sa.Integer(), nullable=True),
        sa.Column("answer", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("not_understood", sa.Integer(), nullable=False),
        sa.Column("repeats", sa.Integer(), nullable=False),
        sa.Column("first", sa.Boolean(), nullable=False),
        sa.Column("first_answer", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "seq"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tablet_id", sa.Integer(), nullable=False),
        sa.Column("run", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("program", sa.String(), nullable=False),
        sa.Column("procedure", sa.String(), nullable=False),
        sa.Column("rig", sa.String(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("crew", sa.String(), nullable=False),
        sa.Column("lang", sa.String(), nullable=False),
        sa.Column("ears", sa.String(), nullable=False),
        sa.Column("practice", sa.Boolean(), nullable=False),
        sa.Column("call_sign", sa.String(), nullable=False),
        sa.Column("person", sa.BigInteger(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.Column("started_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("ended_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("duration_ms", sa.BigInteger(), nullable=False),
        sa.Column("took_s", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("records", sa.Integer(), nullable=False),
        sa.Column("clock", sa.String(), nullable=False),
        sa.Column("clock_moved_ms", sa.BigInteger(), nullable=False),
        sa.Column("has_audio", sa.Boolean(), nullable=False),
        sa.Column("forgotten", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("source_size", sa.BigInteger(), nullable=False),
        sa.Column("source_mtime_ns", sa.BigInteger(), nullable=False),
        sa.Column("links", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["tablet_id"],
            ["tablet.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("tablet_id", "run"),
    )
    op.create_index("run_by_call_sign", "run", ["call_sign", "procedure"], unique=False)
    op.create_index("run_by_month", "run", ["procedure", "month"], unique=False)
    op.create_index("run_by_start", "run", ["started_wall_ms"], unique=False)

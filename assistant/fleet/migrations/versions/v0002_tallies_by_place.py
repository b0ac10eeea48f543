"""The tallies and readings in the order they are asked for; tallies are worked out anew, so none is carried over."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_PLACE = ("site", "rig", "practice", "procedure", "month")


def upgrade() -> None:
    """Make both tables anew and mark every month as behind."""
    op.drop_table("tally")
    op.drop_table("trend")
    _make("tally", ("kind", *_PLACE, "item", "bin"), ("n", "runs", "people"))
    sums = ("outside", "lowest", "highest", "last_x", "sum_x", "sum_y", "sum_xx", "sum_xy")
    _make("trend", (*_PLACE, "limit_name", "base_unit"), ("n", "runs", "people", *sums))
    op.drop_index("reading_by_limit", "reading")
    op.create_index("reading_by_day", "reading", ["limit_name", "day", "run_id", "seq"], unique=False)
    op.execute("DELETE FROM stale")
    op.execute("INSERT INTO stale (procedure, month) SELECT DISTINCT procedure, month FROM run")


def _make(name: str, keys: tuple[str, ...], numbers: tuple[str, ...]) -> None:
    kinds: dict[str, Any] = {"practice": sa.Boolean, "bin": sa.Integer}
    op.create_table(
        name,
        *(sa.Column(key, kinds.get(key, sa.String)(), nullable=False) for key in keys),
        *(sa.Column(number, sa.BigInteger(), nullable=False) for number in numbers),
        sa.PrimaryKeyConstraint(*keys),
        sqlite_with_rowid=False,
    )
    op.create_index(f"{name}_by_month", name, ["procedure", "month"], unique=False)

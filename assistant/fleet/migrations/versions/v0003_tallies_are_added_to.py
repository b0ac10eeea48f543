"""Counts are added to where they stand; a run knows how many refusals and hearings not understood it has.

The index of tallies by month cost more than it saved. All months are worked out anew, for there are new counts.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the indices away, add the columns and fill them."""
    for table in ("tally", "trend"):
        op.drop_index(f"{table}_by_month", table)
    for name, rows in (("refusals", "refusal"), ("not_understood", "hearing WHERE unheard <> '' AND")):
        op.add_column("run", sa.Column(name, sa.Integer(), nullable=False, server_default="0"))
        of_run = rows + ("" if rows.endswith("AND") else " WHERE") + " run_id = run.id"
        op.execute(f"UPDATE run SET {name} = (SELECT count(*) FROM {of_run})")  # noqa: S608 - our own words
    op.execute("DELETE FROM stale")
    op.execute("INSERT INTO stale (procedure, month) SELECT DISTINCT procedure, month FROM run")

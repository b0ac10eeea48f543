"""Counts are added to where they stand, and no longer looked for by their month: that index cost more than it saved."""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take it away from both tables."""
    for table in ("tally", "trend"):
        op.drop_index(f"{table}_by_month", table)

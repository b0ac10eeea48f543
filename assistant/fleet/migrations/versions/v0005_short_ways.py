"""The newest runs, and the newest readings of one rig, are found without looking at all of them.

Counts that are added to stay where they stand, if PostgreSQL leaves room beside them.
"""

from __future__ import annotations

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the indices; leave room in the tables of counts."""
    for name in ("procedure", "site", "rig"):
        op.create_index(f"run_by_{name}", "run", [name, "started_wall_ms"])
    op.create_index("reading_by_rig", "reading", ["limit_name", "rig", "day", "run_id", "seq"])
    if op.get_bind().dialect.name == "postgresql":
        for name in ("tally", "trend"):
            op.execute(f"ALTER TABLE {name} SET (fillfactor = 50)")

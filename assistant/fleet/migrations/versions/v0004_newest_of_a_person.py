"""The newest runs of a call sign are found without looking at all of them."""

from __future__ import annotations

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Order a call sign's runs by when they began."""
    op.drop_index("run_by_call_sign", "run")
    op.create_index("run_by_call_sign", "run", ["call_sign", "started_wall_ms"])

"""What Alembic runs: the changes, on the connection that the store has opened."""

from __future__ import annotations

from alembic import context

from assistant.fleet.schema import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    transaction_per_migration=False,
)
context.run_migrations()

"""Runs the steps on the connection that store/migrate.py hands over."""

from __future__ import annotations

from alembic import context

from notify.store.schema import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    transaction_per_migration=True,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()

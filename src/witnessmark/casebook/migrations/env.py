"""Alembic's entry point: the casebook passes its own open connection in."""

from __future__ import annotations

from alembic import context

from witnessmark.casebook.casebook_tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()

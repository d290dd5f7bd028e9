"""Alembic's way in: runs the steps on the connection that `database.upgrade` opened."""

from __future__ import annotations

from alembic import context

from shearbolt.book.schema_work import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    # SQLite does roll back changes of the schema; Alembic takes it for one that does not.
    transactional_ddl=True,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()

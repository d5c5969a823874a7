"""Alembic's entry: runs the revisions on the connection that service.storage.migrate hands over."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    transaction_per_migration=True,
    version_table_schema="public",
)
with context.begin_transaction():
    context.run_migrations()

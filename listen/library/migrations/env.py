"""Runs the steps on the connection that `listen.library.schema` hands over."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    # With explicit BEGIN, SQLite takes back half a step as PostgreSQL does.
    transactional_ddl=True,
    transaction_per_migration=False,
)
context.run_migrations()

"""Alembic's entry: the caller has opened the connection and begun the transaction."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()

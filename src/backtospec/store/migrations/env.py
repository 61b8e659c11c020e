"""Run the migrations on the connection that :mod:`backtospec.store.opening` hands over."""

from __future__ import annotations

from alembic import context


def run() -> None:
    """Run the steps, or print them for PostgreSQL where no connection was handed over."""
    connection = context.config.attributes["connection"]
    if context.is_offline_mode():
        context.configure(dialect_name="postgresql", as_sql=True)
    else:
        context.configure(connection=connection, transactional_ddl=True)
    with context.begin_transaction():
        context.run_migrations()


if __name__ == "env_py":  # the name under which the migration tool loads this file
    run()

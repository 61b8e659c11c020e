"""The migrations lead to the tables that the program uses, on either database."""

from __future__ import annotations

import io
from contextlib import redirect_stdout

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from backtospec.store.connection import Store, reading
from backtospec.store.migrations import configure
from backtospec.store.schema import APPEND_ONLY, REVISION, metadata


def test_the_migrated_tables_are_those_of_the_schema(store: Store) -> None:
    with reading(store) as connection:
        differences = compare_metadata(MigrationContext.configure(connection), metadata)
        triggers = connection.exec_driver_sql(
            "SELECT count(*) FROM sqlite_master WHERE type = 'trigger'"
        ).scalar_one()
    assert differences == []
    assert triggers == 2 * len(APPEND_ONLY)


def test_the_schema_names_the_newest_revision() -> None:
    assert ScriptDirectory.from_config(configure()).get_heads() == [REVISION]


def test_the_same_tree_speaks_postgresql() -> None:
    printed = io.StringIO()
    config = configure()
    config.output_buffer = printed
    with redirect_stdout(printed):
        command.upgrade(config, "head", sql=True)
    statements = printed.getvalue()
    for table in metadata.tables:
        assert f"CREATE TABLE {table} (" in statements
    assert "TIMESTAMP WITH TIME ZONE" in statements
    assert "BIGSERIAL" in statements
    assert "TRIGGER" not in statements


def test_connections_are_safe(store: Store) -> None:
    with reading(store) as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "foreign_keys", "synchronous", "recursive_triggers")
        }
    assert found == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "synchronous": 2,
        "recursive_triggers": 1,
    }

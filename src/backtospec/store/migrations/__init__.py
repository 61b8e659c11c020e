"""The steps that bring a store's tables up to date; they travel inside the package."""

from __future__ import annotations

from pathlib import Path

from alembic.config import Config
from sqlalchemy import Connection


def configure(connection: Connection | None = None) -> Config:
    """Configure the migrations from code.

    Parameters
    ----------
    connection
        An open connection, inside the transaction that shall hold the steps; without one the
        statements are printed for PostgreSQL instead of run.
    """
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config

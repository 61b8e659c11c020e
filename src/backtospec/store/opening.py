"""Opening the store: find the folder, prove the file sound, bring its tables up to date."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import platformdirs
from sqlalchemy import Connection, inspect, text

from backtospec.errors import BenchError
from backtospec.store.connection import (
    DATABASE_NAME,
    Store,
    connect,
    explaining,
    random_id,
    utc_now,
    write_transaction,
)
from backtospec.store.files import FOLDER, INCOMING
from backtospec.store.schema import REVISION

_MAGIC = b"SQLite format 3\0"
_STALE_S = 24 * 3600.0


def open_store(
    data_dir: Path | None = None,
    *,
    identify: Callable[[str], str] = random_id,
    now: Callable[[], datetime] = utc_now,
    wait_s: float = 30.0,
) -> Store:
    """Open the store of a data folder, making it where there is none.

    Parameters
    ----------
    data_dir
        The data folder; by default the one the system keeps for this user.
    identify
        Proposes an id for a prefix (``"r"`` gives ``"r-7k3f2"``).
    now
        The clock; its times carry a time zone.
    wait_s
        How long a writer waits for another one, in seconds.

    Returns
    -------
    Store
        Ready to read and write, its tables at the newest revision.

    Raises
    ------
    BenchError
        Where the folder cannot be made or written, or the store is damaged, is not one of ours,
        or was made by a newer version.
    """
    folder = data_dir or platformdirs.user_data_path("backtospec", appauthor=False)
    path = folder / DATABASE_NAME
    _make_folder(folder)
    _look_at(path)
    store = Store(folder, connect(path, wait_s), identify, now)
    try:
        with explaining(folder), store.engine.connect() as connection:
            _verify(connection, path)
            revision = _revision(connection, path)
        if revision != REVISION:
            with explaining(folder), write_transaction(store.engine) as connection:
                _migrate(connection, path)
    except BaseException:
        store.close()
        raise
    return store


def _make_folder(folder: Path) -> None:
    try:
        (folder / FOLDER).mkdir(parents=True, exist_ok=True)
        for leftover in (folder / FOLDER).glob(f"{INCOMING}*"):
            if time.time() - leftover.stat().st_mtime > _STALE_S:
                leftover.unlink(missing_ok=True)
    except OSError as error:
        raise BenchError(
            f"The data folder cannot be used ({error.strerror}).",
            str(folder),
            "Choose a folder you may write to with --data-dir.",
        ) from error


def _look_at(path: Path) -> None:
    """Refuse a file that is no database before anything is written to it."""
    try:
        with path.open("rb") as file:
            start = file.read(len(_MAGIC))
    except FileNotFoundError:
        return
    except OSError as error:
        raise BenchError(
            f"The store cannot be opened ({error.strerror}).",
            str(path),
            "Allow reading of this file, or choose another data folder with --data-dir.",
        ) from error
    if start and start != _MAGIC:
        raise BenchError(
            f"The store is damaged, or is no store at all: it begins with {start!r}.",
            str(path),
            "Move it away and put the file of your last backup in its place.",
        )


def _verify(connection: Connection, path: Path) -> None:
    found = connection.execute(text("PRAGMA quick_check(1)")).scalar_one()
    if found != "ok":
        raise BenchError(
            f"The store is damaged: {' '.join(found.split())}.",
            str(path),
            "Move it away and put the file of your last backup in its place.",
        )


def _revision(connection: Connection, path: Path) -> str | None:
    """Return the revision the tables are at, or ``None`` for a store that is still empty."""
    tables = inspect(connection).get_table_names()
    if not tables:
        return None
    if "alembic_version" not in tables:
        raise BenchError(
            f"This database holds the tables {', '.join(tables[:3])}… and is not a store of ours.",
            str(path),
            "Choose another data folder with --data-dir.",
        )
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def _migrate(connection: Connection, path: Path) -> None:
    """Bring the tables up to date, inside the caller's transaction."""
    from alembic import command
    from alembic.script import ScriptDirectory

    from backtospec.store.migrations import configure

    config = configure(connection)
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    # read again: another process may have brought it up to date while this one waited
    revision = _revision(connection, path)
    if revision is not None and revision not in known:
        raise BenchError(
            f"The store is at revision {revision}, made by a newer version of this program;"
            f" this one knows revisions up to {REVISION}.",
            str(path),
            "Install the newer version again.",
        )
    command.upgrade(config, "head")

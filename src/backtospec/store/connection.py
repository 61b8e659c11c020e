"""The open store, its transactions, and what a failing database means in plain words."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import ConnectionPoolEntry

from backtospec.errors import BenchError

DATABASE_NAME = "backtospec.db"
_LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"  # without i, l, o, u: read aloud without mistakes


def random_id(prefix: str) -> str:
    """Draw a short id such as ``r-7k3f2``; the store draws again where it is taken."""
    return f"{prefix}-{''.join(secrets.choice(_LETTERS) for _ in range(5))}"


def utc_now() -> datetime:
    """Read the clock, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Store:
    """An open store; closes at the end of a ``with`` block.

    Parameters
    ----------
    folder
        The data folder that holds the database and the kept files.
    engine
        Connections to the database.
    identify
        Proposes an id for a prefix.
    now
        The clock, with a time zone.
    """

    folder: Path
    engine: Engine
    identify: Callable[[str], str] = random_id
    now: Callable[[], datetime] = utc_now

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def connect(path: Path, wait_s: float) -> Engine:
    """Prepare connections to an SQLite file.

    Parameters
    ----------
    path
        The database file; made where it is missing.
    wait_s
        How long a writer waits for another one, in seconds.
    """
    address = URL.create("sqlite+pysqlite", database=str(path))
    engine = create_engine(address, connect_args={"timeout": wait_s})

    @event.listens_for(engine, "connect")
    def prepare(connection: DBAPIConnection, _: ConnectionPoolEntry) -> None:
        connection.isolation_level = None  # the driver's own BEGIN comes too late for a snapshot
        cursor = connection.cursor()
        for pragma in (
            "journal_mode = WAL",
            "synchronous = FULL",  # a committed reading survives a power cut
            "foreign_keys = ON",
            "recursive_triggers = ON",  # else REPLACE would slip past the append-only triggers
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


@contextmanager
def reading(store: Store) -> Iterator[Connection]:
    """Give a connection that sees one unchanging state of the store."""
    with explaining(store.folder), store.engine.connect() as connection:
        yield connection


@contextmanager
def writing(store: Store) -> Iterator[Connection]:
    """Give a connection whose facts are all kept at the end, or none where anything fails."""
    with explaining(store.folder), write_transaction(store.engine) as connection:
        yield connection


def write_transaction(engine: Engine) -> AbstractContextManager[Connection]:
    """Begin a transaction that waits for its turn to write before it reads."""
    return engine.execution_options(writes=True).begin()


_MEANINGS = {
    "SQLITE_BUSY": (
        "is being written by another program, which has not finished.",
        "Close the other program, or try again when it is done.",
    ),
    "SQLITE_FULL": (
        "cannot grow: the disk is full. Nothing of this step was kept.",
        "Free some space on the disk, then repeat the step.",
    ),
    "SQLITE_READONLY": (
        "may not be written to.",
        "Allow writing to the data folder, or choose another one with --data-dir.",
    ),
    "SQLITE_CANTOPEN": (
        "cannot be opened.",
        "Allow reading and writing of the data folder, or choose another one with --data-dir.",
    ),
    "SQLITE_IOERR": (
        "cannot be read or written: the disk reports an error.",
        "Check the disk, then copy the data folder to a sound one.",
    ),
    "SQLITE_CORRUPT": (
        "is damaged.",
        "Move it away and put the file of your last backup in its place.",
    ),
    "SQLITE_NOTADB": (
        "is damaged, or is no store at all.",
        "Move it away and put the file of your last backup in its place.",
    ),
}


@contextmanager
def explaining(folder: Path) -> Iterator[None]:
    """Turn what the database says about its file into words; anything else is a bug and passes.

    Raises
    ------
    BenchError
        Where the file is busy, full, read-only, unreachable or damaged.
    """
    try:
        yield
    except DBAPIError as error:
        name = getattr(error.orig, "sqlite_errorname", "")
        for code, (what, fix) in _MEANINGS.items():
            if name.startswith(code):
                path = folder / DATABASE_NAME
                raise BenchError(f"The store {what}", str(path), fix) from error
        raise

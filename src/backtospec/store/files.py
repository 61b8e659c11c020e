"""Recordings and logs, kept whole under the hash of their content."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import insert, select

from backtospec.errors import BenchError
from backtospec.store.connection import Store, reading, writing
from backtospec.store.schema import files
from backtospec.store.storable import refuse_unstorable

FOLDER = "files"
INCOMING = "incoming-"
_BLOCK_BYTES = 1 << 20


def keep_file(store: Store, source: Path | bytes, name: str = "") -> str:
    """Keep a copy of a file for ever and return its SHA-256.

    Parameters
    ----------
    store
        The open store.
    source
        The file's path, or its content.
    name
        Its name for people; by default the file's own.

    Returns
    -------
    str
        64 hexadecimal digits. The same content kept twice is kept once, under its first name.

    Raises
    ------
    BenchError
        Where the file cannot be read, or the data folder has no room for it.

    Notes
    -----
    The copy is complete and flushed to the disk before the database hears of it, so that a row
    never points at a file that is not there.
    """
    name = name or (source.name if isinstance(source, Path) else "unnamed")
    refuse_unstorable(name, "file name")
    with _open(source) as stream:
        digest, size = _copy(store.folder / FOLDER, stream, name)
    with writing(store) as connection:
        known = connection.execute(select(files.c.sha256).where(files.c.sha256 == digest)).first()
        if known is None:
            row = {"sha256": digest, "name": name, "size": size, "kept_at": store.now()}
            connection.execute(insert(files), row)
    return digest


def file_path(store: Store, sha256: str) -> Path:
    """Return where the content of a kept file lies.

    Raises
    ------
    BenchError
        Where no such file was kept, or its content is gone or has another length.
    """
    with reading(store) as connection:
        row = connection.execute(select(files).where(files.c.sha256 == sha256)).first()
    if row is None:
        raise BenchError(
            f"No file with the hash '{sha256}' was kept.", "file", "Give the recording again."
        )
    path = _place(store.folder / FOLDER, sha256)
    size = path.stat().st_size if path.is_file() else None
    if size != row.size:
        found = "is gone" if size is None else f"has {size} bytes where {row.size} were kept"
        raise BenchError(
            f"The kept copy of '{row.name}' {found}.",
            str(path),
            "Put the file of your last backup in its place.",
        )
    return path


def file_name(store: Store, sha256: str) -> str:
    """Return the name under which a file was kept, or the empty text for an unknown one."""
    with reading(store) as connection:
        row = connection.execute(select(files.c.name).where(files.c.sha256 == sha256)).first()
    return "" if row is None else row.name


def verify_file(store: Store, sha256: str) -> None:
    """Read a kept file and prove that it still has the content its hash names.

    Raises
    ------
    BenchError
        As :func:`file_path`, and where the content has changed.
    """
    path = file_path(store, sha256)
    with path.open("rb") as stream:
        found = hashlib.file_digest(stream, "sha256").hexdigest()
    if found != sha256:
        raise BenchError(
            f"The kept copy has changed: its content now has the hash {found[:12]}….",
            str(path),
            "Put the file of your last backup in its place.",
        )


def _place(folder: Path, digest: str) -> Path:
    return folder / digest[:2] / digest


def _open(source: Path | bytes) -> BinaryIO:
    if isinstance(source, bytes):
        return BytesIO(source)
    try:
        return source.open("rb")
    except OSError as error:
        raise BenchError(
            f"The file cannot be read ({error.strerror}).", str(source), "Give its full path."
        ) from error


def _blocks(stream: BinaryIO) -> Iterator[bytes]:
    while block := stream.read(_BLOCK_BYTES):
        yield block


def _copy(folder: Path, stream: BinaryIO, name: str) -> tuple[str, int]:
    """Copy a stream to its place and return its hash and length in bytes."""
    digest, size = hashlib.sha256(), 0
    incoming: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=folder, prefix=INCOMING, delete=False) as copy:
            incoming = Path(copy.name)
            for block in _blocks(stream):
                digest.update(block)
                size += copy.write(block)
            copy.flush()
            os.fsync(copy.fileno())
        place = _place(folder, digest.hexdigest())
        place.parent.mkdir(exist_ok=True)
        incoming.replace(place)
        _flush_folder(place.parent)
        _flush_folder(folder)
    except OSError as error:
        if incoming is not None:
            incoming.unlink(missing_ok=True)
        raise BenchError(
            f"'{name}' cannot be kept ({error.strerror}).",
            str(folder),
            "Free some space there and see that you may write to it, then give the file again.",
        ) from error
    return digest.hexdigest(), size


def _flush_folder(folder: Path) -> None:
    """Make a rename last through a power cut, where the system can open folders."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

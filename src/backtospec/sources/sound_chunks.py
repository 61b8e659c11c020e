"""The bytes of a sound file, and the chunks they are strung into."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import BinaryIO

_SEARCHED_BYTES = 1 << 20
_TRAILER_BYTES = 1 << 16
_PRINTABLE = frozenset(range(0x20, 0x7F))

MOST_CHUNKS = 4096
"""A file of more chunks than this was not written by a recorder."""


class SoundBytes:
    """The bytes of an open file; beyond its end there are none.

    Parameters
    ----------
    file
        Opened for reading, in binary.
    name
        What the person calls it.
    """

    def __init__(self, file: BinaryIO, name: str) -> None:
        self.name = name
        self.size = file.seek(0, 2)
        self._file = file

    def at(self, offset: int, count: int) -> bytes:
        """Return up to so many bytes from an offset."""
        if offset >= self.size:
            return b""
        self._file.seek(offset)
        return self._file.read(count)

    def find(self, word: bytes, offset: int) -> int | None:
        """Return where a word stands within the next mebibyte, or ``None``."""
        found = self.at(offset, _SEARCHED_BYTES).find(word)
        return None if found < 0 else offset + found

    def sounds_after(self, offset: int) -> bool:
        """Whether anything but zeros follows an offset."""
        return any(self.at(offset, _TRAILER_BYTES))


@dataclass(frozen=True, slots=True)
class Chunk:
    """One chunk of a file.

    Parameters
    ----------
    name
        Four letters, or the sixteen bytes of a name that has no letters.
    start, size
        Where its content begins, and how many bytes it claims to be.
    next_at
        Where the next chunk begins.
    """

    name: bytes
    start: int
    size: int
    next_at: int


@dataclass(frozen=True, slots=True)
class Chain:
    """How a format strings its chunks together.

    Parameters
    ----------
    chunk_at
        Returns the chunk whose header is at an offset, or ``None`` where the file ends.
    sound
        Name of the chunk with the samples.
    begins
        Returns where the next chunk begins, for the byte at which one ends.
    """

    chunk_at: Callable[[SoundBytes, int], Chunk | None]
    sound: bytes = b"data"
    begins: Callable[[SoundBytes, int], int] = lambda _, end: end

    def fault_after(self, source: SoundBytes, at: int) -> str:
        """Return what is wrong behind the sound, which ends at an offset, or nothing."""
        at = self.begins(source, at)
        for _ in range(MOST_CHUNKS):
            if at >= source.size:
                return ""
            chunk = self.chunk_at(source, at)
            if chunk and chunk.name == self.sound:
                return f"A second stretch of sound begins at byte {at}."
            if chunk is None or not fits(source, chunk):
                left = source.size - at
                is_sound = source.sounds_after(at)
                return f"The last {left} bytes belong to no part of the file." if is_sound else ""
            at = chunk.next_at
        return ""


def fits(source: SoundBytes, chunk: Chunk) -> bool:
    """Whether a chunk can have been meant, and lies in the file as a whole."""
    named = is_chunk_name(chunk.name) or len(chunk.name) == 16
    return named and 0 <= chunk.size <= source.size - chunk.start


def is_chunk_name(name: bytes) -> bool:
    """Whether these are four bytes that can be the name of a chunk.

    Examples
    --------
    >>> is_chunk_name(b"LIST"), is_chunk_name(bytes(4))
    (True, False)
    """
    return len(name) == 4 and _PRINTABLE.issuperset(name)

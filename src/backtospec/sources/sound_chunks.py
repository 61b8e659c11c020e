"""The bytes of a sound file, and the chunks they are strung into."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import BinaryIO

_SEARCHED_BYTES = 1 << 20
_TRAILER_BYTES = 1 << 16
_PRINTABLE = frozenset(range(0x20, 0x7F))

MOST_CHUNKS = 4096
"""A file of more chunks than this was not written by a recorder."""

PASSED_OVER = "A part of the header is damaged; it was passed over."
"""What is said where a chain of chunks breaks before the sound."""


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
    marks
        How the chunks begin that every file must have: what describes the samples, and what
        holds them.
    begins
        Returns where the next chunk begins, for the byte at which one ends.
    """

    chunk_at: Callable[[SoundBytes, int], Chunk | None]
    marks: tuple[bytes, bytes]
    begins: Callable[[SoundBytes, int], int] = lambda _, end: end

    def walk(self, source: SoundBytes, start: int) -> Iterator[Chunk | None]:
        """Yield the chunks from an offset until both that are needed have come.

        Where the chain breaks, ``None`` comes, and what is still needed is looked for, once.
        """
        needed, broken, at = list(self.marks), False, start
        for _ in range(MOST_CHUNKS):
            chunk = self.chunk_at(source, at)
            if chunk is None:
                return
            yield chunk
            needed = [mark for mark in needed if mark[:4] != chunk.name]
            if not needed:
                return
            if fits(source, chunk):
                at = chunk.next_at
                continue
            found = None if broken else source.find(needed[0], start)
            if found is None:
                return
            broken, at = True, found
            yield None

    def fault_after(self, source: SoundBytes, at: int) -> str:
        """Return what is wrong behind the sound, which ends at an offset, or nothing."""
        at = self.begins(source, at)
        for _ in range(MOST_CHUNKS):
            if at >= source.size:
                return ""
            chunk = self.chunk_at(source, at)
            if chunk and chunk.name == self.marks[1][:4]:
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


def shown(name: bytes) -> str:
    """Return four bytes as a person may read them.

    Examples
    --------
    >>> shown(b"alac"), shown(bytes(4))
    ('alac', 'code 0x00000000')
    """
    return name.decode("ascii") if is_chunk_name(name) else f"code 0x{name.hex()}"

"""Pieces of one text as a sequence of strings, kept as positions.

A string of its own for every cell of a long log takes more memory than the log, and more time
than all the arithmetic. Here a cell is two numbers, and becomes a string where one is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.unsignedinteger[Any]]
Ints = NDArray[np.int64]
Places = NDArray[np.int32]
Flags = NDArray[np.bool_]

_ENCODINGS = {1: "latin-1", 2: "utf-16-le", 4: "utf-32-le"}
_BLOCK = 16_384
_BLOCK_CODES = 2_000_000
_FIRST_TRIES = 12
# what str.isspace accepts; all codes from the last entry on are none
_SPACE = np.zeros(0x3002, np.bool_)
_SPACE[[*range(9, 14), *range(28, 33), 0x85, 0xA0, 0x1680, *range(0x2000, 0x200B)]] = True
_SPACE[[0x2028, 0x2029, 0x202F, 0x205F, 0x3000]] = True


class Spans(Sequence[str]):
    """Pieces of a text, in rising order; a slice of them shares the text.

    Parameters
    ----------
    codes
        The text, one code point per element.
    starts, ends
        First position of each piece, and the position after its last.
    """

    __slots__ = ("codes", "ends", "starts")

    def __init__(self, codes: Codes, starts: Places, ends: Places) -> None:
        self.codes, self.starts, self.ends = codes, starts, ends

    @classmethod
    def of(cls, cells: Sequence[str]) -> Spans:
        """Return any strings as spans of a text of their own."""
        if isinstance(cells, Spans):
            return cells
        lengths = np.fromiter(map(len, cells), np.int32, len(cells))
        ends = np.cumsum(lengths, dtype=np.int32)
        return cls(codes_of("".join(cells)), ends - lengths, ends)

    @classmethod
    def lines_of(cls, text: str) -> Spans:
        """Return the lines of a text, without the marks between them."""
        codes = codes_of(text)
        breaks = np.flatnonzero(codes == 10).astype(np.int32)
        starts = np.concatenate([np.zeros(1, np.int32), breaks + 1])
        return cls(codes, starts, np.concatenate([breaks, np.full(1, codes.size, np.int32)]))

    @property
    def lengths(self) -> Places:
        return self.ends - self.starts

    def __len__(self) -> int:
        return len(self.starts)

    @overload
    def __getitem__(self, which: int) -> str: ...

    @overload
    def __getitem__(self, which: slice) -> Spans: ...

    def __getitem__(self, which: int | slice) -> str | Spans:
        if isinstance(which, slice):
            return Spans(self.codes, self.starts[which], self.ends[which])
        return self._text(int(self.starts[which]), int(self.ends[which]))

    def __iter__(self) -> Iterator[str]:
        for first in range(0, len(self), _BLOCK):
            starts = self.starts[first : first + _BLOCK].tolist()
            ends = self.ends[first : first + _BLOCK].tolist()
            low = min(starts)
            text = self._text(low, max(ends))
            yield from (text[a - low : b - low] for a, b in zip(starts, ends, strict=True))

    def _text(self, start: int, end: int) -> str:
        codes = self.codes[start:end]
        return codes.tobytes().decode(_ENCODINGS[codes.itemsize], "surrogatepass")

    def take(self, rows: Ints) -> Spans:
        """Return the pieces of the given rows."""
        return Spans(self.codes, self.starts[rows], self.ends[rows])

    def part(self, start: int, end: int) -> Spans:
        """Return the characters of every piece from one position to another, from its start."""
        return Spans(self.codes, self.starts + np.int32(start), self.starts + np.int32(end))

    def code_at(self, rows: Ints, position: int) -> Codes:
        """Return the code at one position of the pieces of some rows, from their start."""
        return self.codes[self.starts[rows] + position]

    def stripped(self) -> Spans:
        """Return the pieces without white space at either end."""
        starts, ends = self.starts.copy(), self.ends.copy()
        for edge, inner, step in ((starts, 0, 1), (ends, -1, -1)):
            rows = np.flatnonzero(starts < ends)
            while rows.size:
                rows = rows[is_space(self.codes[edge[rows] + inner])]
                edge[rows] += step
                rows = rows[starts[rows] < ends[rows]]
        return Spans(self.codes, starts, ends)

    def distinct(self) -> tuple[list[str], Ints]:
        """Return the different texts in order of appearance, and the number of each piece's."""
        rows_of = self.rows_alike()
        numbers = np.zeros(len(self), np.int64)
        for number, rows in enumerate(rows_of):
            numbers[rows] = number
        return [self[int(rows[0])] for rows in rows_of], numbers

    def rows_alike(self, *, digits: bool = True) -> list[Ints]:
        """Return the rows of equal pieces, in order of appearance.

        Parameters
        ----------
        digits
            False to take every digit for the same.
        """
        numbers = np.zeros(len(self), np.int32)
        known: dict[bytes, int] = {}
        lengths = self.lengths
        for first in range(0, len(self), _BLOCK):
            here = lengths[first : first + _BLOCK]
            for length in np.flatnonzero(np.bincount(here)).tolist():
                rows = np.flatnonzero(here == length) + first
                size = max(1, _BLOCK_CODES // max(length, 1))
                for low in range(0, len(rows), size):
                    some = rows[low : low + size]
                    table = self.codes.take(self.starts[some][:, None] + np.arange(length))
                    if not digits:
                        table[(table > 48) & (table < 58)] = 48
                    numbers[some] = _number_rows(table, known)
        if len(known) <= 1:
            return [np.arange(len(self))] if len(self) else []
        order = np.argsort(
            numbers.astype(np.int16 if len(known) < 2**15 else np.int32), kind="stable"
        )
        groups = np.split(order, np.cumsum(np.bincount(numbers))[:-1])
        return sorted(groups, key=lambda rows: int(rows[0]))


def _number_rows(table: Codes, known: dict[bytes, int]) -> Ints:
    """Return a number for each row of a table, the same for the same; new ones become known."""
    numbers, left = np.zeros(len(table), np.int64), np.arange(len(table))
    for _ in range(_FIRST_TRIES):
        # nearly all rows of a log are like the first: compare with that at once
        alike = (table[left] == table[left[0]]).all(axis=1)
        numbers[left[alike]] = known.setdefault(table[left[0]].tobytes(), len(known))
        left = left[~alike]
        if not left.size:
            return numbers
    numbers[left] = [known.setdefault(row.tobytes(), len(known)) for row in table[left]]
    return numbers


def join(columns: Sequence[Spans]) -> Spans:
    """Return the pieces of several columns joined row by row with a space, then stripped."""
    kind = np.result_type(*(column.codes for column in columns))
    lengths = sum(column.lengths for column in columns) + np.int32(len(columns) - 1)
    ends = np.cumsum(lengths, dtype=np.int32)
    starts = ends - lengths
    codes = np.full(int(ends[-1]) if len(ends) else 0, ord(" "), kind)
    for first in range(0, len(starts), _BLOCK):
        rows = slice(first, first + _BLOCK)
        to = starts[rows].astype(np.int64)
        for column in columns:
            size = column.lengths[rows]
            before = np.repeat(np.cumsum(size) - size, size)
            within = np.arange(before.size) - before
            source = np.repeat(column.starts[rows], size) + within
            codes[np.repeat(to, size) + within] = column.codes[source]
            to += size + 1
    return Spans(codes, starts, ends).stripped()


def codes_of(text: str) -> Codes:
    """Return the code points of a text, in the narrowest form that holds them all."""
    for size, encoding in _ENCODINGS.items():
        try:
            data = text.encode(encoding, "surrogatepass")
        except UnicodeEncodeError:
            continue
        # a code beyond the range takes two places in UTF-16
        if len(data) == size * len(text):
            break
    return np.frombuffer(data, f"<u{size}")


def is_space(codes: Codes) -> Flags:
    """Tell of each code whether it is white space."""
    return _SPACE.take(codes, mode="clip")

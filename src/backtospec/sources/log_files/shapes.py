"""Cells of one shape, read together.

A logger writes a column in one or a few shapes: every digit replaced by ``0``, the cells look
alike. What a cell means is decided once per shape, on one sample; the digits of all the others
are then taken by position, in blocks, which is what makes a long log quick to read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

_DIGITS = str.maketrans("123456789", "000000000")
_GROUPED = re.compile(r"[+-]?0{1,3}(?:[.,]000)+(?![0-9])")
_BLOCK_ROWS = 65_536


class Group(NamedTuple):
    """Rows whose cells have one shape, with the first of these cells."""

    sample: str
    rows: Ints


def group_by_shape(cells: Sequence[str]) -> list[Group]:
    """Return the rows of each shape, in order of first appearance.

    A number such as ``0,987`` is kept apart from ``1,234``: only the second can hold a mark of
    thousands.

    Examples
    --------
    >>> [(g.sample, g.rows.tolist()) for g in group_by_shape(["9.6", "OL", "9.7"])]
    [('9.6', [0, 2]), ('OL', [1])]
    """
    number_of: dict[str, int] = {}
    numbers = np.zeros(len(cells), np.int64)
    for start in range(0, len(cells), _BLOCK_ROWS):
        block = cells[start : start + _BLOCK_ROWS]
        shapes = "\n".join(block).translate(_DIGITS).split("\n")
        numbers[start : start + len(block)] = [
            number_of.setdefault(shape, len(number_of)) for shape in shapes
        ]
    order = np.argsort(numbers, kind="stable")
    ends = np.cumsum(np.bincount(numbers, minlength=len(number_of)))[:-1]
    groups: list[Group] = []
    for shape, rows in zip(number_of, np.split(order, ends), strict=True):
        parts = [rows]
        if _GROUPED.match(shape):
            zero = np.array([cells[row].lstrip("+-").startswith("0") for row in rows.tolist()])
            parts = [rows[zero], rows[~zero]]
        groups += [Group(cells[int(part[0])], part) for part in parts if len(part)]
    return groups


def digit_blocks(cells: Sequence[str], rows: Ints) -> Iterator[tuple[slice, Ints]]:
    """Yield blocks of digits, rows × characters; where no digit stands the number is noise.

    The cells of the rows have one shape, hence one length.
    """
    for start in range(0, len(rows), _BLOCK_ROWS):
        part = rows[start : start + _BLOCK_ROWS]
        joined = "".join([cells[row] for row in part.tolist()])
        codes = (
            np.frombuffer(joined.encode("ascii"), np.uint8)
            if joined.isascii()
            else np.frombuffer(joined.encode("utf-32-le"), np.uint32)
        )
        yield slice(start, start + len(part)), codes.reshape(len(part), -1).astype(np.int64) - 48


def take_integer(digits: Ints, positions: Sequence[int]) -> Ints:
    """Return the whole number that stands at the given character positions, per row."""
    value = np.zeros(len(digits), np.int64)
    for position in positions:
        value = value * 10 + digits[:, position]
    return value

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
    rows_of: dict[str, list[int]] = {}
    for row, cell in enumerate(cells):
        shape = cell.translate(_DIGITS)
        if shape in rows_of:
            rows_of[shape].append(row)
        else:
            rows_of[shape] = [row]
    groups: list[Group] = []
    for shape, rows in rows_of.items():
        parts = [rows]
        if _GROUPED.match(shape):
            parts = [
                [row for row in rows if (cells[row].lstrip("+-")[:1] == "0") is zero]
                for zero in (True, False)
            ]
        groups += [Group(cells[part[0]], np.array(part, np.int64)) for part in parts if part]
    return groups


def digit_blocks(cells: Sequence[str], rows: Ints) -> Iterator[tuple[slice, Ints]]:
    """Yield blocks of digits by position: rows × characters, −48…: only digits are meaningful."""
    for start in range(0, len(rows), _BLOCK_ROWS):
        part = rows[start : start + _BLOCK_ROWS]
        text = np.array([cells[row] for row in part.tolist()])
        codes = text.view(np.uint32).reshape(len(part), -1)
        yield slice(start, start + len(part)), codes.astype(np.int64) - 48


def take_integer(digits: Ints, positions: Sequence[int]) -> Ints:
    """Return the whole number that stands at the given character positions, per row."""
    value = np.zeros(len(digits), np.int64)
    for position in positions:
        value = value * 10 + digits[:, position]
    return value

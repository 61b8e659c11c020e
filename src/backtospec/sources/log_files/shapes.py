"""Cells of one shape, read together.

A logger writes a column in one or a few shapes: every digit replaced by ``0``, the cells look
alike. What a cell means is decided once per shape, on one sample; the digits of all the others
are then taken by position, which is what makes a long log quick to read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backtospec.sources.log_files.spans import Spans

Ints = NDArray[np.int64]

_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[.,][0-9]{3})+(?![0-9])")


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
    spans = Spans.of(cells)
    groups: list[Group] = []
    for rows in spans.rows_alike(digits=False):
        sample = spans[int(rows[0])]
        parts = [rows]
        if _GROUPED.match(sample):
            zero = spans.code_at(rows, sample[0] in "+-") == ord("0")
            parts = [rows[zero], rows[~zero]]
        groups += [Group(spans[int(part[0])], part) for part in parts if len(part)]
    return groups


def take_integer(cells: Spans, rows: Ints, positions: Sequence[int]) -> Ints:
    """Return the whole number that stands at the given character positions, per row."""
    value = np.zeros(len(rows), np.int64)
    for position in positions:
        value *= 10
        value += cells.code_at(rows, position)
        value -= ord("0")
    return value

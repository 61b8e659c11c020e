"""Columns of numbers, with or without a unit in the cell, kept as exact counts and powers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backtospec.sources.log_files.numbers import NUMBER, Mark, Number, mark_in, read_number
from backtospec.sources.log_files.shapes import Group, Ints, take_integer
from backtospec.sources.log_files.spans import Spans
from backtospec.sources.log_files.units import Unit, read_time_unit, read_unit
from backtospec.sources.log_files.vocabulary import missing_reason

READ, OVERLOAD, NO_READING, UNREADABLE = 0, 1, 2, 3
REASON = {OVERLOAD: "overload", NO_READING: "no reading"}
_CODE = {"overload": OVERLOAD, "no reading": NO_READING}

_CELL = re.compile(rf"({NUMBER})\s*(.*)")
_WHOLE_DIGITS = 18
_OVERLOAD_COUNT = Number(98, 36)


class Cell(NamedTuple):
    """One cell taken apart: where its number stands, and the unit behind it."""

    start: int
    end: int
    unit: Unit | None
    seconds: Number | None


@dataclass(frozen=True, slots=True)
class Cells:
    """A column of numbers: value = ``count`` × 10 ** ``exponent`` in ``units[unit]``.

    ``unit`` is −1 where the cell names none; ``state`` is one of READ, OVERLOAD, NO_READING and
    UNREADABLE; ``scientific`` says that the numbers carry an exponent; ``grain`` is the number of
    counts in the last digit shown.
    """

    count: Ints
    exponent: Ints
    unit: Ints
    state: Ints
    units: tuple[Unit, ...]
    scientific: bool
    grain: int = 1


@lru_cache(maxsize=8192)
def take_apart(cell: str) -> Cell | None:
    """Return the parts of a cell that holds a number, with or without a unit; else None.

    Examples
    --------
    >>> take_apart("-1.36V").unit.si, take_apart("-500.0us").seconds.exponent
    ('V', -6)
    >>> take_apart("4k7") is None
    True
    """
    match = _CELL.fullmatch(cell) if len(cell) < 64 else None
    if match is None or mark_in(match.group(1)) is None:
        return None
    tail = match.group(2).strip()
    if not tail:
        return Cell(match.start(1), match.end(1), None, None)
    tail = re.sub(r"^[\[(](.*)[\])]$", r"\1", tail)
    unit = read_unit(tail)
    seconds = read_time_unit(tail)
    if unit is None and seconds is None:
        return None
    return Cell(match.start(1), match.end(1), unit, seconds)


@lru_cache(maxsize=8192)
def missing_code(cell: str) -> int | None:
    """Return the state of a cell that holds a mark instead of a number, else None."""
    reason = missing_reason(cell)
    if reason is None and " " in cell.strip():
        # an overload mark with its unit: "OL mV"
        mark, _, unit = cell.strip().rpartition(" ")
        reason = missing_reason(mark) if read_unit(unit) else None
    elif reason is None:
        match = re.fullmatch(r"([+-]?(?:O\.?L\.?|0\.?L))([nµumkM]?[VAΩ].{0,3})", cell.strip())
        reason = missing_reason(match.group(1)) if match else None
    return None if reason is None else _CODE[reason]


def marks_of(groups: Iterable[Group]) -> list[tuple[Mark, int]]:
    """Return what the shapes of a column say about the decimal mark, each with its first row."""
    found = []
    for sample, rows in groups:
        parts = take_apart(sample)
        if parts is not None and missing_code(sample) is None:
            mark = mark_in(sample[parts.start : parts.end])
            if mark is not None:
                found.append((mark, int(rows[0])))
    return found


def read_cells(cells: Spans, groups: Sequence[Group], decimal: str) -> Cells:
    """Return a column of numbers.

    Parameters
    ----------
    cells
        The cells as written.
    groups
        Their shapes, from ``group_by_shape``.
    decimal
        The decimal mark, ``.`` or ``,``; ``own`` where each number shows its own.
    """
    n = len(cells)
    count, exponent = np.zeros(n, np.int64), np.zeros(n, np.int64)
    unit, state = np.full(n, -1, np.int64), np.full(n, UNREADABLE, np.int64)
    units: list[Unit] = []
    scientific = False
    for sample, rows in groups:
        code = missing_code(sample)
        parts = take_apart(sample) if code is None else None
        if parts is None:
            for row in rows.tolist():
                state[row] = _alone(cells[row])
            continue
        text = sample[parts.start : parts.end]
        mark = _own_mark(text) if decimal == "own" else decimal
        number = read_number(text, mark)
        if number is None:
            continue
        scientific |= number.scientific
        if parts.unit is not None:
            if parts.unit not in units:
                units.append(parts.unit)
            unit[rows] = units.index(parts.unit)
        state[rows] = _take_numbers(cells, rows, parts, number, mark, count, exponent)
    return Cells(count, exponent, unit, state, tuple(units), scientific)


def _own_mark(text: str) -> str:
    return "," if mark_in(text) is Mark.COMMA else "."


def _alone(cell: str) -> int:
    code = missing_code(cell)
    return UNREADABLE if code is None else code


def _take_numbers(
    cells: Spans,
    rows: Ints,
    parts: Cell,
    number: Number,
    decimal: str,
    count: Ints,
    exponent: Ints,
) -> NDArray[np.int64]:
    """Fill counts and exponents for the rows of one shape; return their states."""
    sample = cells[int(rows[0])]
    text = sample[parts.start : parts.end]
    mantissa, *power = re.split("[eE]", text)
    places = [parts.start + i for i, sign in enumerate(mantissa) if sign.isdigit()]
    if len(places) > _WHOLE_DIGITS or len(rows) < 8:
        return _take_singly(cells, rows, parts, decimal, count, exponent)
    states = np.full(len(rows), READ, np.int64)
    value = take_integer(cells, rows, places)
    count[rows] = -value if text.startswith("-") else value
    exponent[rows] = number.exponent
    if power:
        start = parts.start + len(text) - len(power[0].lstrip("+-"))
        shown = take_integer(cells, rows, range(start, parts.start + len(text)))
        exponent[rows] += (-shown if "-" in power[0] else shown) - int(power[0])
        # one that may be an overload mark is looked at by itself
        large = np.flatnonzero(exponent[rows] + len(places) > _OVERLOAD_COUNT.exponent)
        states[large] = _take_singly(cells, rows[large], parts, decimal, count, exponent)
    return states


def _take_singly(
    cells: Spans, rows: Ints, parts: Cell, decimal: str, count: Ints, exponent: Ints
) -> Ints:
    known: dict[str, tuple[int, int, int]] = {}
    states = np.zeros(len(rows), np.int64)
    for index, row in enumerate(rows.tolist()):
        text = cells[row][parts.start : parts.end]
        if text not in known:
            known[text] = _stored(read_number(text, decimal))
        count[row], exponent[row], states[index] = known[text]
    return states


def _stored(number: Number | None) -> tuple[int, int, int]:
    if number is None:
        return 0, 0, UNREADABLE
    if abs(number.as_float()) >= _OVERLOAD_COUNT.as_float():
        return 0, 0, OVERLOAD
    digits, power = number.count, number.exponent
    while abs(digits) >= 10**_WHOLE_DIGITS:
        # beyond what any meter shows; trailing zeros alone may go
        digits, rest = divmod(digits, 10)
        power += 1
        if rest:
            return 0, 0, UNREADABLE
    return digits, power, READ

"""Which sign is the decimal mark: settled by the file, by the person, or asked."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from backtospec.errors import BenchError, Choice, Question
from backtospec.sources.log_files.cells import UNREADABLE, Cells, marks_of, read_cells
from backtospec.sources.log_files.numbers import Mark
from backtospec.sources.log_files.reading import Assumption
from backtospec.sources.log_files.shapes import Group, group_by_shape
from backtospec.sources.log_files.spans import Spans
from backtospec.sources.log_files.units import Unit

OPTION = "--decimal"
SIGNS = {"point": ".", "comma": ","}
NAMES = {".": "point", ",": "comma"}

# Beyond these a reading on an audio bench makes no sense (common practice, no source; 1000 V is
# the usual limit of a hand meter).
_LIMITS = {"V": (-1000.0, 1000.0), "A": (-100.0, 100.0), "degC": (-60.0, 600.0), "W": (-1e4, 1e4)}
_JUMP = 100.0
_SURE = {Mark.POINT: ".", Mark.COMMA: ","}


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """A column of numbers before its decimal mark is known."""

    cells: Spans
    groups: list[Group]
    marks: tuple[tuple[Mark, int], ...]
    is_time: bool
    unit: Unit | None

    @classmethod
    def of(cls, cells: Spans, *, is_time: bool, unit: Unit | None) -> NumberColumn:
        """Return the column with its shapes and what they say."""
        groups = group_by_shape(cells)
        return cls(cells, groups, tuple(marks_of(groups)), is_time, unit)

    def read(self, decimal: str) -> Cells:
        """Return the numbers."""
        return read_cells(self.cells, self.groups, decimal)


def decide_marks(
    name: str, columns: Sequence[NumberColumn], lines: Sequence[int], stated: str | None
) -> tuple[list[str], list[Assumption]]:
    """Return the decimal mark of each column, and what was assumed.

    Parameters
    ----------
    name
        File name, for messages.
    columns
        The columns of numbers of one file.
    lines
        Line number of each row.
    stated
        ``point``, ``comma`` or None: what the person said.

    Raises
    ------
    Question
        A number such as ``1,234`` can be read in two ways and nothing decides.
    BenchError
        What the person said contradicts the file.
    """
    file_sure = {_SURE[mark] for column in columns for mark, _ in column.marks if mark in _SURE}
    decided: list[str] = []
    assumptions: list[Assumption] = []
    for column in columns:
        decimal, why = _decide(name, column, lines, stated, file_sure)
        decided.append(decimal)
        if why is not None and why not in assumptions:
            assumptions.append(why)
    return decided, assumptions


def _decide(
    name: str,
    column: NumberColumn,
    lines: Sequence[int],
    stated: str | None,
    file_sure: set[str],
) -> tuple[str, Assumption | None]:
    kinds = {mark for mark, _ in column.marks}
    sure = {_SURE[mark] for mark in kinds if mark in _SURE}
    open_rows = [row for mark, row in column.marks if mark is Mark.COMMA_OR_GROUP]
    said = SIGNS.get(stated or "")
    if said and sure and said not in sure and not column.is_time:
        row = next(row for mark, row in column.marks if _SURE.get(mark) in sure)
        raise BenchError(
            f"{column.cells[row]!r} cannot be read with a decimal {stated}.",
            f"{name}, line {lines[row]}",
            f"Give {OPTION} {NAMES[next(iter(sure))]} or leave it out.",
        )
    if len(sure) == 2:
        if open_rows and not said:
            raise _question(name, column, lines, open_rows[0])
        return said if said and open_rows else "own", None
    if sure:
        return next(iter(sure)), None
    if said and (open_rows or Mark.POINT_OR_GROUP in kinds):
        return said, None
    if open_rows and Mark.POINT_OR_GROUP in kinds:
        raise _question(name, column, lines, open_rows[0])
    if open_rows or (Mark.POINT_OR_GROUP in kinds and file_sure == {","}):
        if len(file_sure) == 1:
            return next(iter(file_sure)), None
        return _by_sense(name, column, lines, open_rows[0])
    return ".", None


def _by_sense(
    name: str, column: NumberColumn, lines: Sequence[int], row: int
) -> tuple[str, Assumption | None]:
    """Settle an open mark only where exactly one reading makes sense."""
    sensible = [decimal for decimal in ".," if _makes_sense(column, column.read(decimal))]
    if len(sensible) != 1:
        raise _question(name, column, lines, row)
    meaning = "thousands" if sensible == ["."] else "decimal comma"
    text = f"{column.cells[row]} read as {meaning}: the other reading makes no sense here"
    return sensible[0], Assumption(lines[row], text)


def _makes_sense(column: NumberColumn, cells: Cells) -> bool:
    values: list[float] = []
    for count, exponent, unit, state in zip(
        cells.count.tolist(), cells.exponent.tolist(), cells.unit.tolist(), cells.state.tolist(),
        strict=True,
    ):  # fmt: skip
        if state == UNREADABLE:
            return False
        if state == 0:
            own = cells.units[unit] if unit >= 0 else column.unit
            values.append(count * 10.0 ** (exponent + (own.power if own else 0)))
    if column.is_time:
        return all(b >= a for a, b in itertools.pairwise(values))
    units = {unit.si for unit in cells.units} or ({column.unit.si} if column.unit else set())
    for si in units:
        low, high = _LIMITS.get(si, (-1e12, 1e12))
        if any(not low <= value <= high for value in values):
            return False
    sizes = [abs(value) for value in values if value]
    return not any(max(a, b) > _JUMP * min(a, b) for a, b in itertools.pairwise(sizes))


def _question(name: str, column: NumberColumn, lines: Sequence[int], row: int) -> Question:
    quote = column.cells[row]
    unit = f" {column.unit.symbol}" if column.unit else ""
    number = quote.split()[0]
    return ask_decimal(f"{name}, line {lines[row]}", quote, number, unit)


def ask_decimal(where: str, quote: str, number: str, unit: str) -> Question:
    """Return the question whether ``1,234`` holds a decimal comma or a mark of thousands."""
    body = number
    as_comma, as_group = body.replace(",", "."), body.replace(",", "")
    return Question(
        f"{quote!r} is {as_comma}{unit} with a decimal comma and {as_group}{unit} with a mark of "
        "thousands; nothing in the file decides.",
        where,
        f"Say which with {OPTION} comma or {OPTION} point.",
        about="decimal_mark",
        quotes=(quote,),
        choices=(
            Choice("comma", f"decimal comma: {as_comma}{unit}"),
            Choice("point", f"comma marks thousands: {as_group}{unit}"),
        ),
        option=OPTION,
    )

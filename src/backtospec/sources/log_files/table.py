"""The layout of a log: comment block, titles, separator, rows."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from backtospec.errors import BenchError
from backtospec.sources.log_files.cells import missing_code, take_apart
from backtospec.sources.log_files.row_split import SEPARATORS, split_rows
from backtospec.sources.log_files.spans import Spans
from backtospec.sources.log_files.times import match_time
from backtospec.sources.log_files.units import read_time_unit
from backtospec.sources.log_files.vocabulary import (
    INDEX_TITLES,
    TIME_TITLES,
    unit_in_title,
    words_of,
)

_COMMENT = re.compile(r"\s*(?:#|;|//|%|!|\*)")
_SAMPLE_LINES = 400
_MOST_COLUMNS = 100
_MOST_BAD = 0.1
_USUAL_LOOK = 0.05


@dataclass(frozen=True, slots=True)
class Table:
    """A log as columns of cells.

    Parameters
    ----------
    head
        Lines before the rows, without comment marks, each with its line number from 1.
    titles
        One title per column, empty where there is none.
    units_row
        Cells of a row of units below the titles, or empty strings.
    columns
        The cells, by column.
    line_numbers
        Line of each row.
    left_out
        Lines between the rows that are no rows.
    """

    head: tuple[tuple[int, str], ...]
    titles: tuple[str, ...]
    title_line: int | None
    units_row: tuple[str, ...]
    columns: list[Spans]
    line_numbers: Sequence[int]
    left_out: tuple[tuple[int, str], ...]
    separator: str


def read_table(name: str, lines: Spans) -> Table | None:
    """Return the table in the lines, or None where no line looks like a row.

    Raises
    ------
    BenchError
        Too many lines do not fit the rows.
    """
    filled = ((number, line) for number, line in enumerate(lines, 1) if line.strip())
    sample = list(itertools.islice(filled, _SAMPLE_LINES))
    best: tuple[int, str, int] | None = None
    for separator in SEPARATORS:
        width, hits = _score(sample, separator)
        if width and (best is None or hits > best[0]):
            best = (hits, separator, width)
    if best is None:
        return None
    _, separator, width = best
    return _rows(name, lines, _first_row(sample, separator, width), separator, width)


def _first_row(sample: Sequence[tuple[int, str]], separator: str, width: int) -> int:
    """Line of the first row: one that looks like many others, not a title with numbers in it."""
    split = SEPARATORS[separator]
    rows = [
        (number, "".join(map(_look, cells)))
        for number, line in sample
        if len(cells := split(line)) == width and _is_row(cells)
    ]
    looks = Counter(look for _, look in rows)
    usual = max(2, _USUAL_LOOK * len(rows))
    return next((number for number, look in rows if looks[look] >= usual), rows[0][0])


def _look(cell: str) -> str:
    if any(match_time(cell, kind) for kind in ("stamp", "clock", "date")):
        return "t"
    return "n" if missing_code(cell) is not None or take_apart(cell) is not None else "x"


def _rows(name: str, lines: Spans, start: int, separator: str, width: int) -> Table:
    left_out: list[tuple[int, str]] = []

    def fit(number: int, line: str, cells: list[str]) -> list[str] | None:
        fitted = None if _COMMENT.match(line) else _fitted(cells, width)
        if fitted is None:
            left_out.append((number, line))
        return fitted

    columns, numbers = split_rows(lines, start, separator, width, fit)
    wrong = [each for each in left_out if not _COMMENT.match(each[1])]
    if len(wrong) > max(1, _MOST_BAD * len(numbers)):
        number, line = wrong[0]
        raise BenchError(
            f"{line.strip()[:60]!r} does not fit the rows around it, nor do {len(wrong) - 1} more "
            f"lines ({width} cells expected).",
            f"{name}, line {number}",
            "Correct these lines, or export the log again.",
        )
    head = [(n, line) for n, line in enumerate(lines[: start - 1], 1) if line.strip()]
    titles, title_line, units_row = _titles(head, separator, width)
    if title_line is None and head:
        _refuse_split_decimals(name, head[-1], separator, width)
    if title_line is not None:
        head = [each for each in head if each[0] < title_line]
    return Table(
        tuple((n, _COMMENT.sub("", line).strip()) for n, line in head),
        titles,
        title_line,
        units_row,
        columns,
        numbers,
        tuple(left_out),
        separator,
    )


def _fitted(cells: list[str], width: int) -> list[str] | None:
    """A row with empty cells too many at its end, or its last cells missing."""
    while len(cells) > width and not cells[-1]:
        cells.pop()
    if len(cells) == width:
        return cells
    if 2 <= len(cells) < width and _is_row(cells):
        return cells + [""] * (width - len(cells))
    return None


def _score(sample: Sequence[tuple[int, str]], separator: str) -> tuple[int, int]:
    split = SEPARATORS[separator]
    widths: Counter[int] = Counter()
    for _, line in sample:
        if _COMMENT.match(line) and not line.lstrip().startswith(separator.strip() or "\0"):
            continue
        cells = split(line)
        if (len(cells) > 1 or not separator) and _is_row(cells):
            widths[len(cells)] += 1
    if not widths:
        return 0, 0
    width, hits = widths.most_common(1)[0]
    return width, hits


def _is_row(cells: Sequence[str]) -> bool:
    """A row holds a time or a number, and beside it one more number or mark for no reading."""
    if len(cells) > _MOST_COLUMNS:
        return False
    filled = [cell for cell in cells if cell]
    looks = [_look(cell) for cell in filled]
    if len(cells) == 1:
        return looks == ["n"]
    if looks and _look(cells[0]) == "x" and "t" not in looks and looks.count("n") < 2:
        return False
    measured = any(take_apart(cell) is not None for cell in filled) or "t" in looks
    return measured and len(looks) - looks.count("x") >= 2 and "n" in looks


def _titles(
    head: Sequence[tuple[int, str]], separator: str, width: int
) -> tuple[tuple[str, ...], int | None, tuple[str, ...]]:
    """The last line above the rows that splits like them; a row of units may stand below it."""

    def cells_of(line: str) -> list[str]:
        bare = _COMMENT.sub("", line, count=1) if _COMMENT.match(line) else line
        for text in (line, bare):
            cells = split(text)
            while len(cells) > width and not cells[-1]:
                cells.pop()
            if len(cells) == width:
                return cells
        return SEPARATORS["  "](bare.strip())

    split = SEPARATORS[separator]
    empty = ("",) * width
    units_row = empty
    for number, line in reversed(head):
        cells = cells_of(line)
        if len(cells) != width or not any(cells) or not _may_be_titles(line, cells):
            break
        bare = [re.sub(r"^[\[(](.*)[\])]$", r"\1", cell) for cell in cells]
        is_units = all(
            not cell or read_time_unit(cell) or unit_in_title(cell) for cell in bare
        ) and any(bare)
        if is_units and units_row == empty and number == head[-1][0] and len(head) > 1:
            above = cells_of(head[-2][1])
            if len(above) == width and not any(":" in cell or "=" in cell for cell in above):
                units_row = tuple(bare)
                continue
        return tuple(cells), number, units_row
    return empty, None, units_row


def _refuse_split_decimals(name: str, last: tuple[int, str], separator: str, width: int) -> None:
    """Commas that are separators and decimal marks at once leave more cells than titles."""
    titles = SEPARATORS[separator](last[1])
    words = {word for cell in titles for word in words_of(cell)}
    if separator == "," and 1 < len(titles) < width and words & TIME_TITLES:
        raise BenchError(
            f"The titles name {len(titles)} columns and the rows have {width} cells: the comma "
            "may be separator and decimal mark at once.",
            f"{name}, line {last[0]}",
            "Export the log with semicolons or tabs between the columns.",
        )


def _may_be_titles(line: str, cells: Sequence[str]) -> bool:
    """A comment is a row of titles only where it names a time or a count."""
    if len(cells) == 1 and re.search("[:=,;]", line):
        return False
    words = {word for cell in cells for word in words_of(cell)}
    return not _COMMENT.match(line) or bool(words & (TIME_TITLES | INDEX_TITLES))

"""Lines of a log cut into cells: the regular ones all at once, the others one by one."""

from __future__ import annotations

import csv
import re
from array import array
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from backtospec.sources.log_files.spans import Codes, Ints, Places, Spans, codes_of, is_space

_WIDE_SPACE = re.compile(r"\t+| {2,}")
_SPACE = re.compile(r"\s+")
_BLOCK_LINES = 16_384
_SPACE_CODE, _TAB, _QUOTE, _BREAK = (ord(sign) for sign in ' \t"\n')

Fit = Callable[[int, str, list[str]], list[str] | None]


def split_cells(line: str, separator: str) -> list[str]:
    """Return the cells of one line, without white space at either end.

    Parameters
    ----------
    line
        The line, without its end.
    separator
        One of :data:`SEPARATORS`.
    """
    return SEPARATORS[separator](line)


def split_rows(
    lines: Spans, first: int, separator: str, width: int, fit: Fit
) -> tuple[list[Spans], array[int]]:
    """Return the columns of cells, and the line number of each row.

    Parameters
    ----------
    lines
        All lines of the log.
    first
        Line, from 1, of the first row.
    separator, width
        What parts the cells, and how many there are.
    fit
        Makes a row of the cells of a line that has some other number of them, given its number
        and text; None where it is no row.
    """
    blocks: list[tuple[Places, Places]] = []
    numbers = array("l")
    beside, size = [], lines.codes.size
    for begin in range(first - 1, len(lines), _BLOCK_LINES):
        block = lines[begin : begin + _BLOCK_LINES]
        starts, ends, good = _split_regular(block, separator, width)
        kept = np.flatnonzero(good)
        singly = []
        for at in np.flatnonzero(~good).tolist():
            cells = _split_singly(block[at], begin + at + 1, separator, width, fit)
            if cells is not None:
                singly.append(at)
                beside += cells
        if singly:
            lengths = np.array([len(cell) for cell in beside[-width * len(singly) :]])
            stops = (size + np.cumsum(lengths)).reshape(-1, width)
            size = int(stops[-1, -1])
            ends = np.concatenate([ends, stops])
            starts = np.concatenate([starts, stops - lengths.reshape(-1, width)])
            kept = np.concatenate([kept, singly])
            order = np.argsort(kept)
            starts, ends, kept = starts[order], ends[order], kept[order]
        blocks.append((starts.astype(np.int32), ends.astype(np.int32)))
        numbers.frombytes((kept + begin + 1).astype(f"i{numbers.itemsize}").tobytes())
    codes = lines.codes
    if beside:
        codes = np.concatenate([codes, codes_of("".join(beside)).astype(codes.dtype)])
    columns = [
        Spans(codes, *(np.concatenate([each[side][:, k] for each in blocks]) for side in (0, 1)))
        for k in range(width)
    ]
    return columns, numbers


def _split_singly(line: str, number: int, separator: str, width: int, fit: Fit) -> list[str] | None:
    if not line or line.isspace():
        return None
    cells = split_cells(line, separator)
    return cells if len(cells) == width else fit(number, line, cells)


def _split_regular(
    block: Spans, separator: str, width: int
) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    """Return first and last positions of the cells in the regular lines, and which these are.

    A line is regular when it holds the right number of cells, no quotation marks but around
    whole cells, and no white space but blanks and tabs.
    """
    low, high = int(block.starts[0]), int(block.ends[-1])
    window = block.codes[low:high]
    line_starts, line_ends = block.starts - low, block.ends - low
    odd = is_space(window) & (window != _SPACE_CODE) & (window != _TAB) & (window != _BREAK)
    if separator.strip() or separator == "\t":
        marks = np.flatnonzero(window == ord(separator))
        before = np.searchsorted(marks, line_starts)
        good = np.searchsorted(marks, line_ends) - before == width - 1
        inner = marks[before[good][:, None] + np.arange(width - 1)]
        starts = np.concatenate([line_starts[good][:, None], inner + 1], axis=1)
        ends = np.concatenate([inner, line_ends[good][:, None]], axis=1)
        plain = _take_quotes_off(window, starts, ends)
        starts, ends = starts[plain], ends[plain]
        good[good] = plain
    elif separator:
        apart, strange = _gaps(window, separator)
        odd |= strange
        edges = np.diff(np.concatenate([[True], apart, [True]]).astype(np.int8))
        first, stop = np.flatnonzero(edges == -1), np.flatnonzero(edges == 1)
        before = np.searchsorted(first, line_starts)
        good = np.searchsorted(first, line_ends) - before == width
        places = before[good][:, None] + np.arange(width)
        starts, ends = first[places], stop[places]
    else:
        good = line_ends > line_starts
        starts, ends = line_starts[good][:, None], line_ends[good][:, None]
    cells = Spans(window, starts.ravel(), ends.ravel()).stripped()
    starts, ends = cells.starts.reshape(-1, width), cells.ends.reshape(-1, width)
    sound = (ends > starts).any(axis=1)
    strange_lines = np.searchsorted(line_starts, np.flatnonzero(odd), side="right") - 1
    good_rows = np.flatnonzero(good)
    good[good_rows[~sound]] = False
    good[strange_lines] = False
    kept = good[good_rows]
    return starts[kept].astype(np.int64) + low, ends[kept].astype(np.int64) + low, good


def _take_quotes_off(window: Codes, starts: Ints, ends: Ints) -> NDArray[np.bool_]:
    """Take cells out of their quotation marks, in place; tell which rows hold no other marks."""
    marks = np.flatnonzero(window == _QUOTE)
    if not marks.size:
        return np.ones(len(starts), bool)
    first, last = (window.take(edge, mode="clip") for edge in (starts, ends - 1))
    quoted = (first == _QUOTE) & (last == _QUOTE) & (ends - starts >= 2)
    held = np.searchsorted(marks, ends[:, -1]) - np.searchsorted(marks, starts[:, 0])
    starts += quoted
    ends -= quoted
    return np.asarray(held == 2 * quoted.sum(axis=1))


def _gaps(window: Codes, separator: str) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return where cells are parted by blanks and tabs, and where it takes a closer look."""
    blank, tab, broken = (window == code for code in (_SPACE_CODE, _TAB, _BREAK))
    if separator == " ":
        return blank | tab | broken, np.zeros(len(window), bool)
    wide = _beside(blank) & blank
    return wide | tab | broken, _beside(tab) & blank


def _beside(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which places have a flag right before or right after them."""
    near = np.zeros(len(flags), bool)
    near[1:] = flags[:-1]
    near[:-1] |= flags[1:]
    return near


def _split_plain(mark: str) -> Callable[[str], list[str]]:
    other_space = " " if mark == "\t" else "\t"

    def split(line: str) -> list[str]:
        if '"' in line:
            try:
                return [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]
            except (csv.Error, StopIteration):
                pass
        if " " in line or other_space in line:
            return [cell.strip() for cell in line.split(mark)]
        return line.split(mark)

    return split


def _split_wide(line: str) -> list[str]:
    return _WIDE_SPACE.split(line.strip())


def _split_space(line: str) -> list[str]:
    return _SPACE.split(line.strip())


SEPARATORS: dict[str, Callable[[str], list[str]]] = {
    "\t": _split_plain("\t"),
    ";": _split_plain(";"),
    "|": _split_plain("|"),
    ",": _split_plain(","),
    "  ": _split_wide,
    " ": _split_space,
    # one reading per line, a fixed interval apart
    "": lambda line: [line.strip()],
}
"""How to cut a line, by what stands between its cells; tried in this order."""

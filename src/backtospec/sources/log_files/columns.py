"""What each column of a log is: time, index, reading, unit, channel."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from backtospec.sources.log_files.cells import missing_code, take_apart
from backtospec.sources.log_files.numbers import read_number
from backtospec.sources.log_files.spans import Spans, join
from backtospec.sources.log_files.table import Table
from backtospec.sources.log_files.times import match_time
from backtospec.sources.log_files.units import read_time_unit, read_unit
from backtospec.sources.log_files.vocabulary import (
    ELAPSED_TITLES,
    IGNORED_TITLES,
    INDEX_TITLES,
    LABEL_TITLES,
    QUALITY_TITLES,
    TIME_TITLES,
    read_channel,
    seconds_in_title,
    unit_in_title,
    words_of,
)

_SAMPLE_ROWS = 300
_COMPACT = re.compile(r"(?:19|20)[0-9]{6}")
_HALF = re.compile(r"[AaPp]\.?[Mm]\.?")


@dataclass(slots=True)
class ValueColumn:
    """A column of readings, with the columns that hold its unit and channel, if any."""

    index: int
    title: str
    unit_column: int | None = None
    channel_column: int | None = None


@dataclass(slots=True)
class Roles:
    """The columns by role; ``stamp`` are columns that together make a time, in order."""

    stamp: tuple[int, ...] = ()
    stamp_kind: str = ""
    elapsed: int | None = None
    elapsed_unit_column: int | None = None
    index: int | None = None
    quality: int | None = None
    values: list[ValueColumn] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)


def assign_roles(table: Table) -> Roles:
    """Return the role of every column; no times or no values leaves those parts empty."""
    kinds = [
        _kind(column[:_SAMPLE_ROWS], table.titles[i]) for i, column in enumerate(table.columns)
    ]
    roles = Roles()
    _find_stamp(table, kinds, roles)
    numeric = [i for i, kind in enumerate(kinds) if kind in ("number", "quantity", "seconds")]
    numeric = [i for i in numeric if i not in roles.stamp]
    for i in list(numeric):
        words = words_of(table.titles[i])
        title = table.titles[i].strip().lower()
        if title in QUALITY_TITLES | IGNORED_TITLES:
            numeric.remove(i)
        elif roles.index is None and kinds[i] == "number" and _is_index(title, words):
            roles.index = i
            numeric.remove(i)
    _find_elapsed(table, kinds, numeric, roles)
    texts = [i for i, kind in enumerate(kinds) if kind in ("text", "channel", "unit")]
    marked = [i for i in texts if table.titles[i].strip().lower() in QUALITY_TITLES]
    roles.quality = marked[0] if marked else None
    roles.values = [ValueColumn(i, table.titles[i]) for i in numeric]
    _attach(table, kinds, roles)
    return roles


def is_elapsed_title(title: str) -> bool:
    """Tell whether a title announces time since the start rather than time of day."""
    return bool(ELAPSED_TITLES.intersection(words_of(title)))


def _is_index(title: str, words: list[str]) -> bool:
    return title in INDEX_TITLES or (bool(words) and words[0] in INDEX_TITLES and len(words) <= 2)


def _kind(cells: Sequence[str], title: str) -> str:
    counts: Counter[str] = Counter()
    for cell in cells:
        if cell:
            counts[_cell_kind(cell)] += 1
    marks = counts.pop("mark", 0)
    if not counts:
        return "number" if marks else "empty"
    kind = counts.most_common(1)[0][0]
    if counts["number"] and counts["quantity"]:
        kind = "quantity"
    if title.strip().lower() in LABEL_TITLES and kind != "empty":
        return "channel" if kind in ("channel", "text", "unit") else kind
    if kind == "number" and all(_COMPACT.fullmatch(cell) for cell in cells if cell):
        return "compact date"
    return kind


def _cell_kind(cell: str) -> str:
    for kind in ("stamp", "clock", "date"):
        if match_time(cell, kind):
            return kind
    if missing_code(cell) is not None:
        return "mark"
    parts = take_apart(cell)
    if parts is not None:
        return "quantity" if parts.unit else "seconds" if parts.seconds else "number"
    if _HALF.fullmatch(cell):
        return "half"
    if read_channel(cell):
        return "channel"
    if read_unit(cell) or read_time_unit(cell):
        return "unit"
    return "text"


def _find_stamp(table: Table, kinds: list[str], roles: Roles) -> None:
    """Joined columns are rewritten in place as one cell per row, in the first of them."""
    if "stamp" in kinds:
        chosen: tuple[int, ...] = (kinds.index("stamp"),)
        kind = "stamp"
    elif "clock" in kinds:
        clock = kinds.index("clock")
        day = next((i for i, k in enumerate(kinds) if k in ("date", "compact date")), None)
        chosen, kind = ((clock,), "clock") if day is None else ((day, clock), "stamp")
    else:
        return
    last = chosen[-1]
    if last + 1 < len(kinds) and kinds[last + 1] == "half":
        chosen += (last + 1,)
    if len(chosen) > 1:
        parts = [table.columns[i] for i in chosen]
        first = chosen[0]
        if kinds[first] == "compact date":
            parts[0] = Spans.of([f"{cell[:4]}-{cell[4:6]}-{cell[6:]}" for cell in parts[0]])
        table.columns[first] = join(parts)
    roles.stamp, roles.stamp_kind = chosen, kind


def _find_elapsed(table: Table, kinds: list[str], numeric: list[int], roles: Roles) -> None:
    def unit_column(i: int) -> int | None:
        if i + 1 < len(kinds) and kinds[i + 1] in ("unit", "text") and i + 1 not in numeric:
            cells = {cell for cell in table.columns[i + 1][:_SAMPLE_ROWS] if cell}
            if cells and all(read_time_unit(cell) for cell in cells):
                return i + 1
        return None

    def is_time(i: int) -> bool:
        title = table.titles[i]
        if kinds[i] == "seconds" or unit_column(i) is not None:
            return True
        if unit_in_title(title) is not None and seconds_in_title(title) is None:
            return False
        if table.units_row[i] and read_time_unit(table.units_row[i]):
            return True
        return seconds_in_title(title) is not None or bool(
            TIME_TITLES.intersection(words_of(title))
        )

    times = [i for i in numeric if kinds[i] != "quantity" and is_time(i)]
    chosen = times[0] if times else None
    if chosen is None and not roles.stamp and roles.index is None:
        chosen = _untitled_elapsed(table, kinds, numeric, roles)
    if chosen is not None:
        roles.elapsed = chosen
        roles.elapsed_unit_column = unit_column(chosen)
        numeric.remove(chosen)
        # a second column of times goes too, unless it is all there is to read
        others = [i for i in times if i != chosen]
        if set(numeric) - set(others):
            numeric[:] = [i for i in numeric if i not in others]


def _untitled_elapsed(
    table: Table, kinds: list[str], numeric: list[int], roles: Roles
) -> int | None:
    plain = [i for i in numeric if kinds[i] == "number"]
    if not plain or len(numeric) < 2 or unit_in_title(table.titles[plain[0]]):
        return None
    first = _floats(table.columns[plain[0]])
    if len(plain) > 2 and _counts_up(first) and _rises(_floats(table.columns[plain[1]])):
        roles.index = plain[0]
        numeric.remove(plain[0])
        return plain[1]
    return plain[0] if all(b >= a for a, b in itertools.pairwise(first)) else None


def _floats(cells: Sequence[str]) -> list[float]:
    found = []
    for cell in cells[:_SAMPLE_ROWS]:
        number = read_number(cell, ".") or read_number(cell, ",")
        if number is not None:
            found.append(number.as_float())
    return found


def _counts_up(values: list[float]) -> bool:
    return len(values) > 2 and all(b - a == 1 for a, b in itertools.pairwise(values))


def _rises(values: list[float]) -> bool:
    return len(values) > 2 and all(b > a for a, b in itertools.pairwise(values))


def _attach(table: Table, kinds: list[str], roles: Roles) -> None:
    """Give each column of readings its unit and channel columns."""
    taken = {roles.quality, roles.elapsed_unit_column}
    titles = [title.strip().lower() for title in table.titles]
    unit_columns = [
        i
        for i, k in enumerate(kinds)
        if k == "unit" and i not in taken and titles[i] not in IGNORED_TITLES
    ]
    channel_columns = [
        i
        for i, k in enumerate(kinds)
        if k == "channel" and i not in taken and titles[i] not in IGNORED_TITLES
    ]
    for column in roles.values:
        following = [i for i in unit_columns if i > column.index]
        next_value = min((v.index for v in roles.values if v.index > column.index), default=10**9)
        if following and following[0] < next_value:
            column.unit_column = following[0]
        elif len(unit_columns) == 1:
            column.unit_column = unit_columns[0]
    if len(channel_columns) == len(roles.values):
        for column, channel in zip(roles.values, channel_columns, strict=True):
            column.channel_column = channel
    elif len(channel_columns) == 1:
        for column in roles.values:
            column.channel_column = channel_columns[0]

"""Dates and times of day as loggers write them, column by column."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backtospec.sources.log_files.shapes import Ints, group_by_shape, take_integer
from backtospec.sources.log_files.spans import Spans

DAY_US = 86_400_000_000
_WIDEST_OFFSET_US = 15 * 3_600_000_000
_BLOCK_ROWS = 65_536

_MONTHS = (
    "jan janv ene янв",
    "feb febr févr fev фев",
    "mar mär märz mrt maart mars мар",
    "apr avr avri abr апр",
    "may mai mag mei maj мая май",
    "jun juin giu июн",
    "jul juil lug июл",
    "aug août ago авг",
    "sep sept set сен",
    "oct okt ott окт",
    "nov ноя",
    "dec dez déc dic дек",
)
_MONTH_OF = {word: i for i, words in enumerate(_MONTHS, 1) for word in words.split()}

_DATE = (
    r"(?P<y>[0-9]{4})(?P<s1>[-/._ ])(?P<m>[0-9]{1,2})(?P=s1)(?P<d>[0-9]{1,2})"
    r"|(?P<yj>[0-9]{4})年(?P<mj>[0-9]{1,2})月(?P<dj>[0-9]{1,2})日"
    r"|(?P<a>[0-9]{1,2})(?P<s2>[-/.])(?P<b>[0-9]{1,2})(?P=s2)(?P<c>[0-9]{4}|[0-9]{2})\.?"
    r"|(?P<dn>[0-9]{1,2})[-./ ]{1,2}(?P<name>[^\W\d_]{3,9})[-./ ]{1,2}(?P<yn>[0-9]{4}|[0-9]{2})"
    r"|(?P<nameu>[^\W\d_]{3,9})\.? (?P<du>[0-9]{1,2}),? (?P<yu>[0-9]{4})"
)
_COMPACT_DATE = r"(?P<yk>[0-9]{4})(?P<mk>[0-9]{2})(?P<dk>[0-9]{2})"
_FRACTION = r"(?:[.,:-](?P<f>[0-9]{1,9}))?"
_TAIL = r"(?:\s?(?P<half>[AaPp])\.?\s?[Mm]\.?)?\s?(?P<zone>Z|UTC|[+-][0-9]{2}:?[0-9]{2})?"
_COLON_CLOCK = r"(?P<h>[0-9]{1,4}):(?P<n>[0-9]{2})(?::(?P<x>[0-9]{2})" + _FRACTION + ")?" + _TAIL
_HOUR_CLOCK = r"(?P<h>[0-9]{1,2})[h時](?P<n>[0-9]{2})(?:[m分:](?:(?P<x>[0-9]{2})[s秒]?)?)?"
_DOT_CLOCK = (
    r"(?P<h>[0-9]{1,2})(?P<s3>[.-])(?P<n>[0-9]{2})(?P=s3)(?P<x>[0-9]{2})(?P<frac>[.,:-](?P<f>[0-9]{1,9}))"
    + _TAIL
)
_DATED_CLOCKS = (
    _COLON_CLOCK,
    _HOUR_CLOCK,
    _DOT_CLOCK.replace("(?P<frac>", "(?:").replace("[0-9]{1,9}))", "[0-9]{1,9}))?"),
    r"(?P<h>[0-9]{2})(?P<n>[0-9]{2})(?P<x>[0-9]{2})" + _FRACTION + _TAIL,
)
_JOINED = r"(?:T|_|,?\s+|[-/:](?=[0-9]{2}[:.]))"
_STAMPS = tuple(
    re.compile(f"(?:{date}){_JOINED}{clock}")
    for date in (_DATE, _COMPACT_DATE)
    for clock in _DATED_CLOCKS
)
_CLOCKS = tuple(re.compile(clock) for clock in (_COLON_CLOCK, _HOUR_CLOCK, _DOT_CLOCK))
_DATES = (re.compile(_DATE),)


@dataclass(frozen=True, slots=True)
class Times:
    """A column of dates, times of day, or both, as written.

    Parameters
    ----------
    parts
        Rows × (year, month, day); where ``open_order`` holds, the three numbers as written.
    clock_us
        Microseconds since midnight, or elapsed; negative where there is none.
    offset_us
        Stated offset from universal time, microseconds; ``has_offset`` where stated.
    ok
        Rows that could be read.
    """

    parts: Ints
    open_order: NDArray[np.bool_]
    long_year: NDArray[np.bool_]
    dotted: NDArray[np.bool_]
    clock_us: Ints
    offset_us: Ints
    has_offset: NDArray[np.bool_]
    ok: NDArray[np.bool_]
    has_date: bool
    has_clock: bool
    with_seconds: bool
    halves: bool


def read_times(cells: Sequence[str], kind: str) -> Times:
    """Return a column of cells of one kind: ``stamp``, ``clock`` or ``date``."""
    cells, n = Spans.of(cells), len(cells)
    parts = np.zeros((n, 3), np.int64)
    clock, offset = np.full(n, -1, np.int64), np.zeros(n, np.int64)
    flags = {name: np.zeros(n, bool) for name in ("open", "long", "dotted", "offset", "ok")}
    with_seconds = halves = False
    for sample, rows in group_by_shape(cells):
        match = match_time(sample, kind)
        if match is None:
            continue
        flags["ok"][rows] = True
        halves |= match.groupdict().get("half") is not None
        with_seconds |= match.groupdict().get("x") is not None
        for first in range(0, len(rows), _BLOCK_ROWS):
            here = rows[first : first + _BLOCK_ROWS]
            if kind != "clock":
                _fill_dates(match, cells, here, parts, flags)
            if kind != "date":
                clock[here], good = _clock(match, cells, here)
                flags["ok"][here] &= good
        zone = match.groupdict().get("zone")
        if zone:
            # the digits of an offset vary by row
            start, end = match.span("zone")
            texts, which = cells.take(rows).part(start, end).distinct()
            offset[rows] = np.array([_offset_us(text) for text in texts])[which]
            flags["offset"][rows] = True
            flags["ok"][rows] &= np.abs(offset[rows]) <= _WIDEST_OFFSET_US
    return Times(
        parts, flags["open"], flags["long"], flags["dotted"], clock, offset, flags["offset"],
        flags["ok"], kind != "clock", kind != "date", with_seconds, halves,
    )  # fmt: skip


@lru_cache(maxsize=4096)
def match_time(cell: str, kind: str) -> re.Match[str] | None:
    """Return how the cell reads as a ``stamp``, ``clock`` or ``date``; None where it does not."""
    if len(cell) > 48:
        return None
    patterns = {"stamp": _STAMPS, "clock": _CLOCKS, "date": _DATES}[kind]
    for pattern in patterns:
        match = pattern.fullmatch(cell)
        if match is not None and _month_known(match):
            return match
    return None


def day_numbers(parts: Ints, order: str) -> tuple[Ints, NDArray[np.bool_]]:
    """Return days since 1970-01-01 and which rows are real dates, for an order such as ``dmy``."""
    year, month, day = (parts[:, order.index(letter)] for letter in "ymd")
    year = np.where(year < 100, year + np.where(year < 70, 2000, 1900), year)
    sound = (
        (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1900) & (year <= 2200)
    )
    months = np.where(sound, (year - 1970) * 12 + month - 1, 0)
    first = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    length = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64) - first
    return first + day - 1, sound & (day <= length)


def _fill_dates(
    match: re.Match[str],
    cells: Spans,
    rows: Ints,
    parts: Ints,
    flags: dict[str, NDArray[np.bool_]],
) -> None:
    def number(group: str) -> Ints:
        return take_integer(cells, rows, range(*match.span(group)))

    found = match.groupdict()
    if found.get("a"):
        parts[rows] = np.column_stack([number("a"), number("b"), number("c")])
        flags["open"][rows] = True
        flags["long"][rows] = len(found["c"]) == 4
        flags["dotted"][rows] = found["s2"] == "."
        return
    for year, month, day in (("y", "m", "d"), ("yj", "mj", "dj"), ("yk", "mk", "dk")):
        if found.get(year):
            parts[rows] = np.column_stack([number(year), number(month), number(day)])
            return
    name, year, day = ("name", "yn", "dn") if found.get("name") else ("nameu", "yu", "du")
    month_number = _month(found[name])
    parts[rows] = np.column_stack(
        [number(year), np.full(len(rows), month_number, np.int64), number(day)]
    )


def _clock(match: re.Match[str], cells: Spans, rows: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    def number(group: str) -> Ints:
        found = match.groupdict().get(group)
        if found is None:
            return np.zeros(len(rows), np.int64)
        return take_integer(cells, rows, range(*match.span(group)))

    found = match.groupdict()
    hours, minutes, seconds = number("h"), number("n"), number("x")
    fraction = number("f") * 10 ** max(0, 6 - len(found.get("f") or ""))
    fraction //= 10 ** max(0, len(found.get("f") or "") - 6)
    good = (minutes < 60) & (seconds < 61)
    if found.get("half"):
        good &= (hours >= 1) & (hours <= 12)
        hours = hours % 12 + (12 if found["half"] in "pP" else 0)
    return ((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + fraction, good


def _offset_us(text: str) -> int:
    if text in ("Z", "UTC"):
        return 0
    minutes = int(text[1:3]) * 60 + int(text[-2:])
    return (-1 if text[0] == "-" else 1) * minutes * 60_000_000


def _month(word: str) -> int:
    low = word.lower()
    return _MONTH_OF.get(low) or _MONTH_OF.get(low[:4]) or _MONTH_OF.get(low[:3]) or 0


def _month_known(match: re.Match[str]) -> bool:
    found = match.groupdict()
    word = found.get("name") or found.get("nameu")
    return word is None or _month(word) > 0

"""From times as written to one time axis: date order, midnight, clock changes, intervals."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError, Choice, Question
from backtospec.sources.log_files.reading import Assumption
from backtospec.sources.log_files.shapes import Ints
from backtospec.sources.log_files.times import DAY_US, Times, day_numbers
from backtospec.sources.log_files.zones import to_universal

ORDER_OPTION = "--date-order"
ORDERS = {"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}
_HALF_DAY = DAY_US // 2
# a step over days that only a wrong order of the date explains, against one over midnight
_LONG_STEP_US = 20 * DAY_US
_SHORT_STEP_US = 2 * DAY_US


@dataclass(frozen=True, slots=True)
class Timeline:
    """One time per row.

    Parameters
    ----------
    ticks
        Whole ticks, rising with time.
    per_second
        Ticks per second.
    kind
        ``stamp`` (with date), ``clock`` (time of day) or ``elapsed``.
    offset_us
        Offset from universal time by row, where known.
    start_us
        For ``elapsed``: date and time of the first row, microseconds, where known.
    ok
        Rows whose time could be read.
    """

    ticks: Ints
    per_second: int
    kind: str
    ok: NDArray[np.bool_]
    offset_us: Ints | None = None

    def elapsed_s(self, rows: Ints) -> NDArray[np.float64]:
        """Return seconds after the first of the given rows."""
        ticks = self.ticks[rows]
        return np.asarray((ticks - ticks[0]) / float(self.per_second), np.float64)

    def first_time(self, row: int) -> str | None:
        """Return the ISO time of a row, None where there is no date."""
        if self.kind != "stamp":
            return None
        ticks = int(self.ticks[row])
        zone = None
        if self.offset_us is not None:
            offset = int(self.offset_us[row])
            zone, ticks = dt.timezone(dt.timedelta(microseconds=offset)), ticks + offset
        moment = dt.datetime(1970, 1, 1, tzinfo=zone) + dt.timedelta(microseconds=ticks)
        return moment.isoformat(timespec=_precision(ticks))

    def clock_first(self, row: int) -> str | None:
        """Return the time of day of a row where there is no date."""
        if self.kind != "clock":
            return None
        ticks = int(self.ticks[row]) % DAY_US
        moment = dt.datetime(1970, 1, 1) + dt.timedelta(microseconds=ticks)  # noqa: DTZ001
        return moment.time().isoformat(timespec=_precision(ticks))

    def start_s(self, row: int) -> float | None:
        """Return the stated elapsed time of a row in seconds, None where it is none or zero."""
        if self.kind != "elapsed" or self.ticks[row] == 0:
            return None
        return int(self.ticks[row]) / self.per_second


def stamp_timeline(
    name: str,
    cells: Sequence[str],
    times: Times,
    lines: Sequence[int],
    date_order: str | None,
    zone: ZoneInfo | None,
) -> tuple[Timeline, list[Assumption]]:
    """Return the time axis of stamps that hold a date.

    Raises
    ------
    Question
        The order of day, month and year is open.
    BenchError
        Times that do not exist, or that run backwards.
    """
    ok = times.ok & (times.clock_us < DAY_US) & (times.clock_us >= 0)
    days, real, notes = _days(name, cells, times, lines, ok, date_order)
    ok &= real
    local = days * DAY_US + times.clock_us
    offset: Ints | None = None
    if times.has_offset[ok].any():
        if not times.has_offset[ok].all():
            raise BenchError(
                "Some times state their offset from universal time and some do not.",
                name,
                "Export the log with one form of time.",
            )
        offset = times.offset_us
    elif zone is not None:
        offset = np.zeros(len(local), np.int64)
        offset[ok], zone_notes = to_universal(name, local[ok], np.array(lines)[ok], zone)
        notes += zone_notes
    ticks = local if offset is None else local - offset
    refuse_backwards(name, cells, ticks, ok, lines, zone is None and offset is None)
    return Timeline(ticks, 1_000_000, "stamp", ok, offset), notes


def clock_timeline(
    name: str, cells: Sequence[str], times: Times, lines: Sequence[int], title: str, elapsed: bool
) -> tuple[Timeline, list[Assumption]]:
    """Return the time axis of times without date: time of day, or elapsed ``hh:mm:ss``."""
    ok = times.ok & (times.clock_us >= 0)
    clock = times.clock_us.copy()
    if not ok.any():
        return Timeline(clock, 1_000_000, "clock", ok), []
    first = int(clock[ok][0])
    low = title.lower()
    minutes_first = "mm:ss" in low and "hh" not in low
    if not times.with_seconds and (minutes_first or bool((clock[ok] >= DAY_US).any())):
        # mm:ss: what was read as hours and minutes is a sixtieth of it
        clock, elapsed = np.where(ok, clock // 60, clock), True
    elif not times.with_seconds and (elapsed or first == 0) and not times.halves:
        row = int(np.flatnonzero(ok)[0])
        raise BenchError(
            f"{cells[row]!r} may be minutes:seconds or hours:minutes.",
            f"{name}, line {lines[row]}",
            "Write the times as h:mm:ss, or name the column mm:ss.",
        )
    if elapsed or (first == 0 and not times.halves) or bool((clock[ok] >= DAY_US).any()):
        refuse_backwards(name, cells, clock, ok, lines)
        return Timeline(clock, 1_000_000, "elapsed", ok), []
    rows = np.flatnonzero(ok)
    steps = np.diff(clock[rows])
    nights = np.concatenate([[0], np.cumsum(steps < -_HALF_DAY)])
    clock[rows] += nights * DAY_US
    notes = [
        Assumption(lines[int(rows[i + 1])], "the clock runs over midnight")
        for i in np.flatnonzero(steps < -_HALF_DAY)[:5].tolist()
    ]
    refuse_backwards(name, cells, clock, ok, lines)
    return Timeline(clock, 1_000_000, "clock", ok), notes


def _days(
    name: str,
    cells: Sequence[str],
    times: Times,
    lines: Sequence[int],
    ok: NDArray[np.bool_],
    stated: str | None,
) -> tuple[Ints, NDArray[np.bool_], list[Assumption]]:
    first_at, inverse = _distinct(times.parts)
    days, real = day_numbers(times.parts[first_at], "ymd")
    days, real = days[inverse], real[inverse]
    is_open = times.open_order & ok
    if not is_open.any():
        return days, real, []
    where = np.flatnonzero(is_open)
    parts = times.parts[where]
    first_at, inverse = _distinct(parts)
    distinct = parts[first_at]
    long_year = bool(times.long_year[where].all())
    dotted = bool(times.dotted[where].all())
    orders = [stated] if stated else ["dmy", "mdy"] if long_year else ["dmy", "mdy", "ymd"]
    if stated == "ymd" and long_year:
        orders = []
    possible: dict[str, Ints] = {}
    for order in orders:
        numbers, sound = day_numbers(distinct, order)
        # a corrupt row must not veto an order: nearly all rows have to agree
        if np.count_nonzero(~sound[inverse]) <= 0.01 * len(where):
            possible[order] = numbers
    row = int(where[0])
    quote = _date_text(cells[row])
    if not possible:
        said = f" in the order {ORDERS[stated]}" if stated else ""
        wrong = np.flatnonzero(~day_numbers(parts, orders[0])[1]) if orders else np.zeros(1, int)
        bad = int(where[int(wrong[0])])
        raise BenchError(
            f"{_date_text(cells[bad])!r} is no date{said}.",
            f"{name}, line {lines[bad]}",
            f"Leave out {ORDER_OPTION}." if stated else "Correct the date in the file.",
        )
    notes: list[Assumption] = []
    if len(possible) > 1:
        possible = _continuous(possible, inverse, times.clock_us[where])
    if len(possible) > 1 and dotted and long_year and "dmy" in possible:
        # a dotted date that ends in the full year is day first wherever it is in use
        possible = {"dmy": possible["dmy"]}
        notes.append(Assumption(lines[row], f"{quote} read as day.month.year"))
    same = all(np.array_equal(a, b) for a, b in itertools.pairwise(possible.values()))
    if not same:
        raise _order_question(name, lines[row], quote, distinct[inverse[0]], possible)
    order, numbers = next(iter(possible.items()))
    days[where] = numbers[inverse]
    real[where] = day_numbers(distinct, order)[1][inverse]
    if not stated and not notes and not same:
        notes.append(Assumption(lines[row], f"order of the date: {ORDERS[order]}"))
    return days, real, notes


def _distinct(parts: Ints) -> tuple[Ints, Ints]:
    """Return the first row of each date, and for every row which of them it is."""
    keys = (parts[:, 0] * 10_000 + parts[:, 1]) * 10_000 + parts[:, 2]
    # a date stands in row after row for a whole day: look only where it changes
    heads = np.flatnonzero(np.concatenate([[True], keys[1:] != keys[:-1]])[: len(keys)])
    _, first_at, which = np.unique(keys[heads], return_index=True, return_inverse=True)
    return heads[first_at], np.repeat(which, np.diff(np.append(heads, len(keys))))


def _continuous(possible: dict[str, Ints], inverse: Ints, clock_us: Ints) -> dict[str, Ints]:
    """Drop the orders under which a log that runs on would leap by weeks or run backwards."""
    longest: dict[str, int] = {}
    for order, numbers in possible.items():
        steps = np.diff(numbers[inverse] * DAY_US + clock_us)
        backwards = len(steps) and int(steps.min()) < -7_200_000_000
        longest[order] = 2**62 if backwards else int(steps.max(initial=0))
    smooth = {order for order, step in longest.items() if step < _SHORT_STEP_US}
    rough = {order for order, step in longest.items() if step > _LONG_STEP_US}
    if smooth and rough and smooth | rough == set(possible):
        return {order: possible[order] for order in possible if order in smooth}
    sane = {order for order, step in longest.items() if step < 2**62}
    return {order: possible[order] for order in possible if order in sane} or possible


def _order_question(
    name: str, line: int, quote: str, parts: Ints, possible: dict[str, Ints]
) -> Question:
    choices = []
    for order in possible:
        day = int(day_numbers(parts.reshape(1, 3), order)[0][0])
        date = (dt.date(1970, 1, 1) + dt.timedelta(days=day)).isoformat()
        choices.append(Choice(order, f"{date} ({ORDERS[order]})"))
    listed = " or ".join(choice.text.split(" ")[0] for choice in choices)
    return Question(
        f"The date {quote!r} may be {listed}; nothing in the file decides.",
        f"{name}, line {line}",
        f"Say which with {ORDER_OPTION} {', '.join(possible)}.",
        about="date_order",
        quotes=(quote,),
        choices=tuple(choices),
        option=ORDER_OPTION,
    )


def _date_text(cell: str) -> str:
    return cell.replace("T", " ").replace("_", " ").split(" ")[0]


def refuse_backwards(
    name: str,
    cells: Sequence[str],
    ticks: Ints,
    ok: NDArray[np.bool_],
    lines: Sequence[int],
    zone_may_help: bool = False,
) -> None:
    """Raise if a time is before the one in the row above it."""
    rows = np.flatnonzero(ok)
    back = np.flatnonzero(np.diff(ticks[rows]) < 0)
    if not len(back):
        return
    row, before = int(rows[back[0] + 1]), int(rows[back[0]])
    step_s = int(ticks[before] - ticks[row]) // 1_000_000
    if zone_may_help and 600 <= step_s <= 7200:
        fix = "If the clock was put back, give the time zone, such as --time-zone Europe/Berlin."
    else:
        fix = "Put the rows in the order of time."
    raise BenchError(
        f"The time runs backwards, from {cells[before]!r} to {cells[row]!r}.",
        f"{name}, line {lines[row]}",
        fix,
    )


def _precision(ticks_us: int) -> str:
    if ticks_us % 1_000_000 == 0:
        return "seconds"
    return "milliseconds" if ticks_us % 1000 == 0 else "microseconds"

"""Time axes made of numbers: seconds, minutes, scaled units, epochs, a count times an interval."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from backtospec.errors import BenchError
from backtospec.sources.log_files.cells import READ, take_apart
from backtospec.sources.log_files.decimal_mark import NumberColumn
from backtospec.sources.log_files.numbers import Number
from backtospec.sources.log_files.reading import Assumption
from backtospec.sources.log_files.shapes import Ints
from backtospec.sources.log_files.spans import Spans
from backtospec.sources.log_files.timeline import Timeline, refuse_backwards
from backtospec.sources.log_files.units import read_time_unit
from backtospec.sources.log_files.vocabulary import seconds_in_title, words_of

_MAX_TICKS = 2**62
# 1998 to 2096, counted in seconds or milliseconds since 1970: too long for any elapsed time
_DAYS_BEFORE_1970 = 25_569
_DATE_TITLES = frozenset(
    ("date", "datum", "data", "datetime", "stamp", "timestamp", "дата", "日時")
)
_EPOCH_S = (9 * 10**8, 4 * 10**9)


def elapsed_timeline(
    name: str,
    column: NumberColumn,
    decimal: str,
    lines: Sequence[int],
    title: str,
    unit_cells: Spans | None,
    units_row: str,
) -> tuple[Timeline, list[Assumption]]:
    """Return the time axis of a column of numbers.

    Raises
    ------
    BenchError
        The times run backwards, or are out of any range.
    """
    cells = column.read(decimal)
    count, exponent = cells.count.copy(), cells.exponent.copy()
    ok = cells.state == READ
    notes: list[Assumption] = []
    named = seconds_in_title(title)
    fallback = Number(*named) if named else read_time_unit(units_row) if units_row else None
    factor = np.full(len(count), 0, np.int64)
    power = np.zeros(len(count), np.int64)
    for sample, rows in column.groups:
        parts = take_apart(sample)
        if parts is not None and parts.seconds is not None:
            factor[rows], power[rows] = parts.seconds.count, parts.seconds.exponent
    if unit_cells is not None:
        texts, which = unit_cells.distinct()
        for place, unit in enumerate(map(read_time_unit, texts)):
            if unit is not None:
                rows = np.flatnonzero((which == place) & (factor == 0))
                factor[rows], power[rows] = unit.count, unit.exponent
    bare = ok & (factor == 0)
    fallback_is_assumed = bool(bare.any()) and fallback is None
    if bare.any():
        if fallback is None:
            line = lines[int(np.flatnonzero(bare)[0])]
            notes.append(Assumption(line, "times without a unit read as seconds"))
            fallback = Number(1, 0)
        factor[bare], power[bare] = fallback.count, fallback.exponent
    ticks, per_second = _ticks(name, count, exponent + power, factor, ok)
    kind, offset = "elapsed", None
    if ok.any():
        first = int(np.flatnonzero(ok)[0])
        epoch = _epoch_scale(int(ticks[first]), per_second)
        if epoch is not None:
            scaled = ticks.astype(object) * 1_000_000 // (per_second * epoch)
            ticks, per_second, kind = np.array(scaled, np.int64), 1_000_000, "stamp"
            offset = np.zeros(len(ticks), np.int64)
            notes = [Assumption(lines[first], "times read as counted from 1970")]
        elif fallback_is_assumed and _is_day_count(title, int(ticks[first]) / per_second):
            # the last digits of a spreadsheet's day count are rounding
            days = np.where(ok, ticks / float(per_second) - _DAYS_BEFORE_1970, 0.0)
            ticks = np.round(days * 86_400_000).astype(np.int64) * 1000
            per_second, kind = 1_000_000, "stamp"
            notes = [Assumption(lines[first], "times read as days of a spreadsheet")]
    refuse_backwards(name, column.cells, ticks, ok, lines)
    return Timeline(ticks, per_second, kind, ok, offset), notes


def index_timeline(
    name: str, column: NumberColumn | None, lines: Sequence[int], interval_s: Fraction
) -> Timeline:
    """Return the time axis of rows a fixed interval apart, counted by a column or by the rows."""
    if column is None:
        steps, ok = np.arange(len(lines), dtype=np.int64), np.ones(len(lines), bool)
    else:
        cells = column.read(".")
        ok = (cells.state == READ) & (cells.exponent == 0) & (np.abs(cells.count) < 10**9)
        first = int(cells.count[ok][0]) if ok.any() else 0
        steps = cells.count - first
    interval = interval_s.limit_denominator(10**12)
    if int(np.abs(steps[ok]).max(initial=1)) * interval.numerator > _MAX_TICKS:
        raise BenchError(
            f"{float(interval_s):g} s between the rows makes the log too long.",
            name,
            "Correct the interval in the header.",
        )
    steps = np.where(ok, steps, 0)
    if column is not None:
        refuse_backwards(name, column.cells, steps, ok, lines)
    return Timeline(steps * interval.numerator, interval.denominator, "elapsed", ok)


def _ticks(
    name: str, count: Ints, exponent: Ints, factor: Ints, ok: np.typing.NDArray[np.bool_]
) -> tuple[Ints, int]:
    if not ok.any():
        return np.zeros(len(count), np.int64), 1
    lowest = min(0, int(exponent[ok].min()))
    highest = int(exponent[ok].max())
    largest = max(int(np.abs(count[ok]).max()), 1) * int(factor[ok].max())
    if lowest < -18 or highest > 18 or largest * 10 ** (highest - lowest) > _MAX_TICKS:
        raise BenchError(
            "The times are too large or too fine to be seconds of a measurement.",
            name,
            "Check which column holds the time.",
        )
    scale = 10 ** np.where(ok, exponent - lowest, 0)
    return np.where(ok, count * factor * scale, 0), 10**-lowest


def _is_day_count(title: str, first: float) -> bool:
    """Days since the end of 1899, 1954 to 2119, under a title that speaks of a date."""
    return bool(_DATE_TITLES.intersection(words_of(title))) and 20_000 < first < 80_000


def _epoch_scale(first: int, per_second: int) -> int | None:
    for scale in (1, 1000):
        if _EPOCH_S[0] * scale <= first / per_second <= _EPOCH_S[1] * scale:
            return scale
    return None

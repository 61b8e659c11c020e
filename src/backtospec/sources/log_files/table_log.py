"""A log that is a table, from its columns to its series."""

from __future__ import annotations

import re
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np

from backtospec.errors import BenchError
from backtospec.sources.log_files.cells import NO_READING, OVERLOAD, READ, UNREADABLE, take_apart
from backtospec.sources.log_files.columns import Roles, ValueColumn, assign_roles, is_elapsed_title
from backtospec.sources.log_files.decimal_mark import NumberColumn, decide_marks
from backtospec.sources.log_files.elapsed import elapsed_timeline, index_timeline
from backtospec.sources.log_files.header import Header, read_header
from backtospec.sources.log_files.outcome import FileOutcome
from backtospec.sources.log_files.reading import Assumption, LogOptions
from backtospec.sources.log_files.series import (
    Readings,
    mark_sentinels,
    refuse_absurd,
    si_values,
    smallest_step,
)
from backtospec.sources.log_files.shapes import Ints
from backtospec.sources.log_files.table import Table
from backtospec.sources.log_files.timeline import Timeline, clock_timeline, stamp_timeline
from backtospec.sources.log_files.times import read_times
from backtospec.sources.log_files.unit_choice import (
    Stated,
    apply_divisions,
    choose_units,
    stated_units,
)
from backtospec.sources.log_files.units import Unit, read_unit
from backtospec.sources.log_files.vocabulary import (
    BAD_MARKS,
    channel_in_title,
    place_in,
    read_channel,
    unit_in_title,
)
from backtospec.sources.log_files.zones import stated_zone

_MOST_UNREADABLE = 0.1


def read_table_log(name: str, table: Table, options: LogOptions) -> FileOutcome | None:
    """Return what the table holds, or None where it has no times or no readings.

    Raises
    ------
    Question
        Something decisive can be read in two ways.
    BenchError
        The rows contradict each other or the options.
    """
    roles = assign_roles(table)
    header = read_header(table.head)
    values = _worth_reading(table, roles, header)
    has_times = bool(roles.stamp) or roles.elapsed is not None or header.interval_s is not None
    if not values or not has_times:
        return None
    stated = [_stated_unit(table, header, column) for column in values]
    columns = [
        NumberColumn.of(
            table.columns[column.index],
            is_time=False,
            unit=each.unit if each else _unit_of_column(table, column),
        )
        for column, each in zip(values, stated, strict=True)
    ]
    for i in (roles.elapsed, roles.index):
        if i is not None:
            columns.append(NumberColumn.of(table.columns[i], is_time=True, unit=None))
    decimals, notes = decide_marks(name, columns, table.line_numbers, options.decimal)
    by_index = {column.index: k for k, column in enumerate(values)}
    by_index |= {
        i: len(values) + k
        for k, i in enumerate(i for i in (roles.elapsed, roles.index) if i is not None)
    }
    timeline, time_notes = _timeline(
        name, table, roles, header, columns, decimals, by_index, options
    )
    notes += time_notes
    _note_left_out(name, table, roles, timeline, notes)
    outcome = FileOutcome(name, timeline, header.channel, header.channel_line, [], notes)
    bad_quality = _bad_quality(table, roles)
    several = len(values) > 1
    for k, column in enumerate(values):
        outcome.readings += _column_readings(
            name, table, header, column, columns[k], decimals[k], stated[k], timeline, options,
            bad_quality, several, notes,
        )  # fmt: skip
    return outcome


def _worth_reading(table: Table, roles: Roles, header: Header) -> list[ValueColumn]:
    """Columns without a unit or a channel, beside others with a unit, are no readings."""

    def has_unit(column: ValueColumn) -> bool:
        return (
            unit_in_title(column.title) is not None
            or bool(table.units_row[column.index])
            or _unit_of_column(table, column) is not None
        )

    known = [column for column in roles.values if has_unit(column)]
    if not known:
        return roles.values
    kept = []
    for column in roles.values:
        if column in known or channel_in_title(column.title) or header.unit is not None:
            kept.append(column)
        elif column.title:
            roles.left_out.append(column.title)
        else:
            kept.append(column)
    return kept


def _unit_of_column(table: Table, column: ValueColumn) -> Unit | None:
    """The unit in the cells, or in the column of units, of the first rows."""
    for cell in table.columns[column.index][:50]:
        parts = take_apart(cell)
        if parts is not None and parts.unit is not None:
            return parts.unit
    if column.unit_column is not None:
        for cell in table.columns[column.unit_column][:50]:
            unit = read_unit(cell)
            if unit is not None:
                return unit
    return None


def _stated_unit(table: Table, header: Header, column: ValueColumn) -> Stated | None:
    unit = unit_in_title(column.title)
    if unit is None and table.units_row[column.index]:
        unit = unit_in_title(table.units_row[column.index])
    if unit is not None:
        return Stated(unit, "title", table.title_line)
    if header.unit is not None:
        return Stated(header.unit, "header", header.unit_line)
    return None


def _timeline(
    name: str,
    table: Table,
    roles: Roles,
    header: Header,
    columns: Sequence[NumberColumn],
    decimals: Sequence[str],
    by_index: dict[int, int],
    options: LogOptions,
) -> tuple[Timeline, list[Assumption]]:
    lines = table.line_numbers
    if roles.stamp:
        cells = table.columns[roles.stamp[0]]
        title = " ".join(table.titles[i] for i in roles.stamp)
        times = read_times(cells, roles.stamp_kind)
        if roles.stamp_kind == "stamp":
            zone, notes = _zone(header, options)
            timeline, more = stamp_timeline(name, cells, times, lines, options.date_order, zone)
            return timeline, notes + more
        return clock_timeline(name, cells, times, lines, title, is_elapsed_title(title))
    if roles.elapsed is not None:
        k = by_index[roles.elapsed]
        units = table.columns[roles.elapsed_unit_column] if roles.elapsed_unit_column else None
        return elapsed_timeline(
            name, columns[k], decimals[k], lines, table.titles[roles.elapsed], units,
            table.units_row[roles.elapsed],
        )  # fmt: skip
    if header.interval_s is None:
        raise BenchError("The rows have no times.", name, "Add a column with the time.")
    column = columns[by_index[roles.index]] if roles.index is not None else None
    seconds = float(header.interval_s)
    note = Assumption(header.interval_line, f"times from the stated interval of {seconds:g} s")
    return index_timeline(name, column, lines, header.interval_s), [note]


def _zone(header: Header, options: LogOptions) -> tuple[ZoneInfo | None, list[Assumption]]:
    if options.time_zone is not None:
        return stated_zone(options.time_zone), []
    if header.zone is not None:
        return header.zone, [
            Assumption(header.zone_line, f"time zone from header: {header.zone.key}")
        ]
    return None, []


def _column_readings(
    name: str,
    table: Table,
    header: Header,
    column: ValueColumn,
    numbers: NumberColumn,
    decimal: str,
    stated: Stated | None,
    timeline: Timeline,
    options: LogOptions,
    bad_quality: Ints,
    several: bool,
    notes: list[Assumption],
) -> list[Readings]:
    lines = table.line_numbers
    cells = numbers.read(decimal)
    cells.state[bad_quality] = NO_READING
    unreadable = cells.state == UNREADABLE
    if unreadable.sum() > max(1, _MOST_UNREADABLE * len(lines)):
        row = int(np.flatnonzero(unreadable)[0])
        raise BenchError(
            f"{numbers.cells[row]!r} is not a reading, and many rows are like it.",
            f"{name}, line {lines[row]}",
            "Write one number per cell, with its unit in the title.",
        )
    for row in np.flatnonzero(unreadable)[:5].tolist():
        notes.append(Assumption(lines[row], f"{numbers.cells[row]!r} left out: not a number"))
    cells.state[unreadable] = NO_READING
    by_row = None
    if column.unit_column is not None:
        by_row = table.columns[column.unit_column]
    sentinels = mark_sentinels(cells, np.flatnonzero(timeline.ok))
    if sentinels:
        notes.append(Assumption(None, f"rows of all nines taken as overload: {sentinels}"))
    index, units, unit_notes = choose_units(
        name, numbers.cells, cells, lines, by_row, stated, stated_units(options.unit)
    )
    notes += [note for note in unit_notes if note not in notes]
    if header.volts_per_division is not None and any(unit.scale == "div" for unit in units):
        probe = f"; the probe factor {header.probe} is not applied again" if header.probe else ""
        text = f"volts per division from header, taken at the probe tip{probe}"
        notes.append(Assumption(header.volts_line, text))
    cells, units = apply_divisions(name, cells, index, units, header.volts_per_division)
    if not (cells.state == READ).any():
        raise BenchError(
            "Every reading is an overload mark or empty.", name, "Choose a higher range and repeat."
        )
    si = {units[int(i)].si for i in np.unique(index[cells.state == READ])}
    if len(si) > 1:
        raise BenchError(
            f"One column mixes {' and '.join(sorted(si))}.",
            name,
            "Give each quantity its own column.",
        )
    groups = _channel_rows(table, column, si.pop(), several, timeline)
    found = []
    for channel, unit_name, rows in groups:
        if not (cells.state[rows] == READ).any():
            continue
        value = si_values(cells, rows, index[rows], units)
        refuse_absurd(name, unit_name, value)
        step = smallest_step(cells, rows, index[rows], units)
        found.append(Readings(channel, unit_name, rows, value, cells.state[rows], step))
    overloads = int((cells.state == OVERLOAD).sum())
    if overloads:
        row = int(np.flatnonzero(cells.state == OVERLOAD)[0])
        notes.append(Assumption(lines[row], f"overload rows left out: {overloads}"))
    return found


def _channel_rows(
    table: Table, column: ValueColumn, si: str, several: bool, timeline: Timeline
) -> list[tuple[str | None, str, Ints]]:
    rows = np.flatnonzero(timeline.ok)
    if column.channel_column is not None:
        place = place_in(column.title) if si == "degC" else None
        texts, which = table.columns[column.channel_column].take(rows).distinct()
        named = [place or read_channel(text) or text.strip() or None for text in texts]
        channels = list(dict.fromkeys(named))
        number = np.array([channels.index(name) for name in named], np.int64)[which]
        return [(name, si, rows[number == k]) for k, name in enumerate(channels)]
    channel = channel_in_title(column.title)
    if si == "degC":
        place = place_in(column.title)
        channel = " ".join(filter(None, (place, channel))) or "temperature"
    if channel is None and several:
        same = [t for t in table.titles if t == column.title]
        bare = re.sub(r"[\[(/].*", "", column.title).strip()
        channel = bare if bare and len(same) == 1 and unit_in_title(bare) is None else None
        if len(same) > 1 or not column.title:
            channel = f"column {column.index + 1}"
    return [(channel, si, rows)] if len(rows) else []


def _bad_quality(table: Table, roles: Roles) -> Ints:
    if roles.quality is None:
        return np.zeros(0, np.int64)
    cells = table.columns[roles.quality]
    texts, which = cells.distinct()
    return np.flatnonzero(np.array([text.lower() in BAD_MARKS for text in texts], bool)[which])


def _note_left_out(
    name: str, table: Table, roles: Roles, timeline: Timeline, notes: list[Assumption]
) -> None:
    lost = np.flatnonzero(~timeline.ok)
    if len(lost) > max(1, _MOST_UNREADABLE * len(timeline.ok)) or not timeline.ok.any():
        line = table.line_numbers[int(lost[0])]
        raise BenchError(
            "Many rows have no time that can be read.",
            f"{name}, line {line}",
            "Write the times as 2023-11-04 19:02:10, or as seconds.",
        )
    for row in lost[:5].tolist():
        notes.append(Assumption(table.line_numbers[row], "row left out: no time"))
    for line, text in table.left_out[:5]:
        if not text.lstrip().startswith(("#", ";", "//", "%", "!", "*")):
            notes.append(Assumption(line, f"line left out: {text.strip()[:60]!r}"))
    for title in roles.left_out:
        notes.append(Assumption(table.title_line, f"column left out, it has no unit: {title}"))

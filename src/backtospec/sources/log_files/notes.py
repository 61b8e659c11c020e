"""Notes taken by hand: ``after 10 min  9.6 mV L   9.4 mV R``, in the words of several languages.

A line is read as a row of signs: times, readings, channels, marks for no reading. A time holds
until the next one, so that readings may stand on the lines below it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from backtospec.errors import BenchError
from backtospec.sources.log_files.cells import OVERLOAD, READ, Cells
from backtospec.sources.log_files.decimal_mark import OPTION as DECIMAL_OPTION
from backtospec.sources.log_files.decimal_mark import SIGNS, ask_decimal
from backtospec.sources.log_files.header import read_header
from backtospec.sources.log_files.note_signs import (
    MAX_LINE,
    MAX_LINES,
    pair_with_channels,
    signs_of,
    without_remarks,
    without_strays,
)
from backtospec.sources.log_files.numbers import Mark, Number, mark_in, read_number
from backtospec.sources.log_files.outcome import FileOutcome
from backtospec.sources.log_files.reading import Assumption, LogOptions
from backtospec.sources.log_files.series import Readings, refuse_absurd, si_values, smallest_step
from backtospec.sources.log_files.timeline import Timeline, clock_timeline
from backtospec.sources.log_files.times import read_times
from backtospec.sources.log_files.unit_choice import ask_unit, stated_units
from backtospec.sources.log_files.units import Unit, read_unit
from backtospec.sources.log_files.vocabulary import channel_in_text, place_in

_TICKS_PER_S = 1_000_000


@dataclass(slots=True)
class _Entry:
    """One reading of the notes."""

    line: int
    seconds: Fraction | None
    clock: str | None
    channel: str | None
    shown: str
    number: str | None
    unit: Unit | None

    def series(self) -> tuple[str | None, str]:
        """Channel and SI unit: the series the reading belongs to."""
        return self.channel, self.unit.si if self.unit else ""


def read_notes(name: str, lines: Sequence[str], options: LogOptions) -> FileOutcome:
    """Return the readings of notes taken by hand.

    Raises
    ------
    Question
        A number or a unit is open.
    BenchError
        No reading with a time is found, or times of day stand beside elapsed ones.
    """
    entries, head = _entries(name, lines)
    if not entries:
        raise BenchError(
            f"No readings with a time were found; the file starts {_start_of(lines)!r}.",
            name,
            "Write one reading per line: time, value, unit.",
        )
    header = read_header(head)
    notes: list[Assumption] = []
    _complete_units(name, entries, header.unit, header.unit_line, options, notes)
    timeline, time_notes = _timeline(name, entries)
    notes += time_notes
    outcome = FileOutcome(name, timeline, header.channel, header.channel_line, [], notes, True)
    numbers = [_number(name, entry, options) for entry in entries]
    keys = list(dict.fromkeys(entry.series() for entry in entries))
    for channel, si in keys:
        rows = [row for row, entry in enumerate(entries) if entry.series() == (channel, si)]
        outcome.readings += _readings(name, channel, si, rows, entries, numbers)
    overloads = sum(number is None for number in numbers)
    if overloads:
        notes.append(Assumption(None, f"overload rows left out: {overloads}"))
    return outcome


def _readings(
    name: str,
    channel: str | None,
    si: str,
    rows: list[int],
    entries: Sequence[_Entry],
    numbers: Sequence[Number | None],
) -> list[Readings]:
    units = list(dict.fromkeys(entries[row].unit for row in rows))
    known = [unit for unit in units if unit is not None]
    chosen = [numbers[row] for row in rows]
    cells = Cells(
        np.array([number.count if number else 0 for number in chosen], np.int64),
        np.array([number.exponent if number else 0 for number in chosen], np.int64),
        np.array([units.index(entries[row].unit) for row in rows], np.int64),
        np.array([READ if number else OVERLOAD for number in chosen], np.int64),
        tuple(known),
        any(number.scientific for number in chosen if number),
    )
    here = np.arange(len(rows))
    if not (cells.state == READ).any():
        return []
    value = si_values(cells, here, cells.unit, known)
    refuse_absurd(name, si, value)
    step = smallest_step(cells, here, cells.unit, known)
    return [Readings(channel, si, np.array(rows, np.int64), value, cells.state, step)]


def _entries(name: str, lines: Sequence[str]) -> tuple[list[_Entry], list[tuple[int, str]]]:
    """Every reading with its time and channel; lines before the first time are the head."""
    entries: list[_Entry] = []
    head: list[tuple[int, str]] = []
    seconds: Fraction | None = None
    clock: str | None = None
    section: str | None = None
    if len(lines) > MAX_LINES:
        raise BenchError(
            f"The {len(lines)} lines form no table of readings.",
            name,
            "Export the log as CSV with one reading per line.",
        )
    for number, raw in enumerate(lines, 1):
        if not raw.strip() or len(raw) > MAX_LINE:
            continue
        line = without_remarks(raw)
        signs = list(signs_of(line))
        times = [sign for sign in signs if sign[0] in ("seconds", "clock")]
        values = [sign for sign in signs if sign[0] in ("value", "bare", "mark")]
        if times and (values or len(signs) <= 3):
            kind, found = times[0]
            seconds = found if kind == "seconds" and isinstance(found, Fraction) else None
            clock = str(found) if kind == "clock" else None
        started = seconds is not None or clock is not None
        if not values or not started or (not times and not _has_unit(values)):
            head.append((number, raw))
            named = channel_in_text(line)
            if not entries or len(line.split()) <= 3:
                section = named or section
            continue
        signs = without_strays(name, number, signs)
        for channel, (kind, found) in pair_with_channels(signs):
            entry = _entry(number, seconds, clock, channel or section, kind, found, line)
            if entry is not None:
                entries.append(entry)
    return _without_resistors(entries), head


def _entry(
    number: int,
    seconds: Fraction | None,
    clock: str | None,
    channel: str | None,
    kind: str,
    found: object,
    line: str,
) -> _Entry | None:
    text, unit_text = found if isinstance(found, tuple) else (str(found), "")
    unit = read_unit(unit_text.replace(" ", "")) if unit_text else None
    if unit_text and unit is None:
        return None
    if unit is not None and unit.si == "degC":
        channel = " ".join(filter(None, (place_in(line), channel))) or "temperature"
    shown = f"{text} {unit_text}".strip()
    return _Entry(number, seconds, clock, channel, shown, None if kind == "mark" else text, unit)


def _has_unit(values: Sequence[tuple[str, object]]) -> bool:
    return any(kind in ("value", "mark") for kind, _ in values)


def _without_resistors(entries: list[_Entry]) -> list[_Entry]:
    """An ohm value beside volts names the resistor the volts are taken across."""
    if not any(entry.unit is not None and entry.unit.si == "V" for entry in entries):
        return entries
    return [entry for entry in entries if entry.unit is None or entry.unit.si != "ohm"]


def _complete_units(
    name: str,
    entries: Sequence[_Entry],
    header_unit: Unit | None,
    header_line: int | None,
    options: LogOptions,
    notes: list[Assumption],
) -> None:
    """Give a unit to the readings that have none: header, person, or the one unit in use."""
    bare = [entry for entry in entries if entry.unit is None]
    if not bare:
        return
    option = stated_units(options.unit)
    used = Counter(entry.unit for entry in entries if entry.unit and entry.unit.si != "degC")
    if header_unit is not None:
        unit, text, line = header_unit, f"unit from header: {header_unit.symbol}", header_line
    elif len(option) == 1:
        unit, text, line = option[0], "", None
    elif len(used) == 1:
        unit = next(iter(used))
        text, line = f"no unit here: {unit.symbol} as in the other readings", bare[0].line
    elif any(entry.number is not None for entry in bare):
        first = next(entry for entry in bare if entry.number is not None)
        raise ask_unit(f"{name}, line {first.line}", first.shown)
    elif used:
        unit, text, line = used.most_common(1)[0][0], "", None
    else:
        raise BenchError(
            "Every reading is an overload mark.", name, "Choose a higher range and repeat."
        )
    for entry in bare:
        entry.unit = unit
    if text:
        notes.append(Assumption(line, text))


def _number(name: str, entry: _Entry, options: LogOptions) -> Number | None:
    """The reading of an entry; each number written by hand shows its own decimal mark."""
    if entry.number is None:
        return None
    text = entry.number.rstrip(".,")
    mark = mark_in(text)
    where = f"{name}, line {entry.line}"
    if mark is Mark.COMMA_OR_GROUP and options.decimal is None:
        unit = f" {entry.unit.symbol}" if entry.unit else ""
        raise ask_decimal(where, text, text, unit)
    if mark is Mark.COMMA_OR_GROUP and options.decimal is not None:
        number = read_number(text, SIGNS[options.decimal])
    elif mark is Mark.POINT_OR_GROUP:
        number = read_number(text, SIGNS.get(options.decimal or "", "."))
    else:
        number = read_number(text, "," if mark is Mark.COMMA else ".")
    if number is None or len(str(abs(number.count))) > 15:
        raise BenchError(
            f"{entry.shown!r} is not a number.", where, f"Correct it, or give {DECIMAL_OPTION}."
        )
    return number


def _timeline(name: str, entries: Sequence[_Entry]) -> tuple[Timeline, list[Assumption]]:
    lines = [entry.line for entry in entries]
    clocks = [entry.clock for entry in entries if entry.clock is not None]
    if clocks and len(clocks) < len(entries):
        row = next(entry for entry in entries if entry.clock is None)
        raise BenchError(
            f"Times of day such as {clocks[0]!r} stand beside times since the start.",
            f"{name}, line {row.line}",
            "Write all times in one way.",
        )
    if clocks:
        cells = [re.sub(r"\s?([AaPp])\.?([Mm])\.?$", r" \1\2", clock) for clock in clocks]
        times = read_times(cells, "clock")
        for cell, line, sound in zip(cells, lines, times.ok.tolist(), strict=True):
            if not sound:
                raise BenchError(
                    f"{cell!r} is no time of day.", f"{name}, line {line}", "Correct the time."
                )
        return clock_timeline(name, cells, times, lines, "", False)
    ticks = [int((entry.seconds or Fraction(0)) * _TICKS_PER_S) for entry in entries]
    # channels may be noted one after the other, each from the start
    latest: dict[tuple[str | None, str], int] = {}
    for entry, tick in zip(entries, ticks, strict=True):
        before = latest.get(entry.series(), tick)
        if tick < before:
            raise BenchError(
                f"The time runs backwards, from {before / _TICKS_PER_S:g} s to "
                f"{tick / _TICKS_PER_S:g} s.",
                f"{name}, line {entry.line}",
                "Put the readings in the order of time.",
            )
        latest[entry.series()] = tick
    if max(ticks) > 10**15:
        raise BenchError("The times are too long for a measurement.", name, "Check the times.")
    array = np.array(ticks, np.int64)
    return Timeline(array, _TICKS_PER_S, "elapsed", np.ones(len(array), bool)), []


def _start_of(lines: Sequence[str]) -> str:
    return next((line.strip()[:60] for line in lines if line.strip()), "")

"""Files of one call to series: each file alone, then channels, gaps and repeated stamps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from backtospec.errors import BenchError, Question
from backtospec.sources.log_files.decimal_mark import OPTION as DECIMAL_OPTION
from backtospec.sources.log_files.decimal_mark import SIGNS
from backtospec.sources.log_files.decoding import MAX_BYTES, decode, split_lines
from backtospec.sources.log_files.note_signs import looks_like_notes, may_be_notes
from backtospec.sources.log_files.notes import read_notes
from backtospec.sources.log_files.outcome import FileOutcome
from backtospec.sources.log_files.reading import Assumption, LogOptions, LogReading, Series
from backtospec.sources.log_files.series import build_series, find_duplicates, find_gaps
from backtospec.sources.log_files.spans import Spans
from backtospec.sources.log_files.table import read_table
from backtospec.sources.log_files.table_log import read_table_log
from backtospec.sources.log_files.timeline import ORDER_OPTION, ORDERS
from backtospec.sources.log_files.unit_choice import stated_units
from backtospec.sources.log_files.vocabulary import channel_in_title, read_channel
from backtospec.sources.log_files.zones import stated_zone

_STEREO = ("L", "R", "M")


def read_logs(paths: Sequence[Path | str], options: LogOptions | None = None) -> LogReading:
    """Return the readings of one or more log files that belong together.

    Parameters
    ----------
    paths
        The files, at least one.
    options
        What the person states beside the files.

    Raises
    ------
    Question
        Something decisive can be read in more than one way.
    BenchError
        A file cannot be read, or an option is wrong.
    """
    files = []
    for each in paths:
        path = Path(each)
        try:
            if path.stat().st_size > MAX_BYTES:
                raise BenchError(
                    f"The file has {path.stat().st_size} bytes; up to {MAX_BYTES} can be read.",
                    path.name,
                    "Split the log into parts.",
                )
            files.append((path.name, path.read_bytes()))
        except OSError as error:
            raise BenchError(
                f"The file cannot be opened ({error.strerror or error}).",
                str(path),
                "Check its name and place.",
            ) from None
    return parse_logs(files, options)


def parse_log(name: str, data: bytes, options: LogOptions | None = None) -> LogReading:
    """Return the readings of one log given as bytes; see :func:`read_logs`.

    Examples
    --------
    >>> reading = parse_log("idle.csv", b"s;mV\\n0;9,6\\n60;9,8\\n")
    >>> reading.series[0].value, reading.series[0].elapsed_s
    ((0.0096, 0.0098), (0.0, 60.0))
    """
    return parse_logs([(name, data)], options)


def parse_logs(files: Sequence[tuple[str, bytes]], options: LogOptions | None = None) -> LogReading:
    """Return the readings of logs given as (name, bytes); see :func:`read_logs`."""
    options = options or LogOptions()
    check_options(options, len(files))
    outcomes = [_read_file(name, data, options) for name, data in files]
    series: list[Series] = []
    logged: list[Series] = []
    assumptions: list[Assumption] = []
    for position, outcome in enumerate(outcomes):
        stated = options.channels[position] if options.channels else None
        since_on_s = _since_on(options, outcomes[0], outcome)
        found = [build_series(each, outcome.timeline, since_on_s) for each in outcome.readings]
        named = _with_channels(outcome, found, read_channel(stated) if stated else None)
        series += named
        logged += [] if outcome.by_hand else named
        prefix = f"{outcome.name}: " if len(outcomes) > 1 else ""
        assumptions += [
            replace(each, text=prefix + each.text)
            for each in sorted(outcome.assumptions, key=lambda note: note.line or 0)
        ]
    _refuse_twins(series, outcomes)
    return LogReading(tuple(series), find_gaps(logged), find_duplicates(series), tuple(assumptions))


def check_options(options: LogOptions, files: int) -> None:
    """Refuse options that are wrong whatever the files hold.

    Raises
    ------
    BenchError
        Names the option, what was given, and what is accepted.
    """
    if files < 1:
        raise BenchError("No file was given.", "FILE", "Name at least one log file.")
    if options.decimal is not None and options.decimal not in SIGNS:
        raise BenchError(
            f"{options.decimal!r} is neither point nor comma.",
            DECIMAL_OPTION,
            f"Give {DECIMAL_OPTION} point or {DECIMAL_OPTION} comma.",
        )
    if options.date_order is not None and options.date_order not in ORDERS:
        raise BenchError(
            f"{options.date_order!r} is none of dmy, mdy, ymd.",
            ORDER_OPTION,
            f"Give {ORDER_OPTION} dmy, mdy or ymd.",
        )
    if options.time_zone is not None:
        stated_zone(options.time_zone)
    stated_units(options.unit)
    minutes = options.minutes_since_on
    if minutes is not None and not (math.isfinite(minutes) and 0 <= minutes <= 1e6):
        raise BenchError(
            f"{minutes} min is outside 0…1000000 min.",
            "--minutes-since-on",
            "Give the minutes between switch-on and the first row.",
        )
    if options.channels and len(options.channels) != files:
        raise BenchError(
            f"{len(options.channels)} channels for {files} files.",
            "--channel",
            "Give one channel for each file, in the same order.",
        )
    for channel in options.channels:
        if read_channel(channel) not in _STEREO:
            raise BenchError(
                f"{channel!r} is none of L, R, M.", "--channel", "Give L, R, or M for mono."
            )


def _read_file(name: str, data: bytes, options: LogOptions) -> FileOutcome:
    text, encoding = decode(name, data)
    lines = split_lines(name, text)
    del text
    outcome = _read_lines(name, lines, options)
    if not outcome.readings:
        raise BenchError(
            "No readings with a time were found.",
            name,
            "Write one reading per line: time, value, unit.",
        )
    if encoding not in ("utf-8", "utf-16-le", "utf-16-be"):
        outcome.assumptions.append(Assumption(None, f"text read as {encoding}"))
    return outcome


def _read_lines(name: str, lines: Spans, options: LogOptions) -> FileOutcome:
    """Notes that are plainly notes, else a table, else whatever notes a hand may have written."""
    if looks_like_notes(lines):
        return read_notes(name, lines, options)
    start = next((line.strip()[:60] for line in lines if line.strip()), "")
    fault = BenchError(
        f"No rows with a time and a reading were found; the file starts {start!r}.",
        name,
        "Write one reading per line: time, value, unit.",
    )
    try:
        table = read_table(name, lines)
        outcome = None if table is None else read_table_log(name, table, options)
        if outcome is not None:
            return outcome
    except Question:
        raise
    except BenchError as error:
        fault = error
    if not may_be_notes(lines):
        raise fault
    try:
        return read_notes(name, lines, options)
    except Question:
        raise
    except BenchError:
        raise fault from None


def _since_on(options: LogOptions, first: FileOutcome, outcome: FileOutcome) -> float | None:
    """Seconds since switch-on at the first row of this file."""
    if options.minutes_since_on is None:
        return None
    seconds = options.minutes_since_on * 60.0
    a, b = first.timeline, outcome.timeline
    if a.kind == b.kind and a.kind != "elapsed":
        start_a, start_b = (int(t.ticks[np.flatnonzero(t.ok)[0]]) for t in (a, b))
        return seconds + start_b / b.per_second - start_a / a.per_second
    return seconds


def _with_channels(outcome: FileOutcome, found: list[Series], stated: str | None) -> list[Series]:
    """Name the series that have no channel: by the option, the header, the file name."""
    own = stated or outcome.channel or channel_in_title(Path(outcome.name).stem)
    sounding = [each for each in found if each.unit != "degC"]
    if stated is not None:
        clash = [each.channel for each in sounding if each.channel in _STEREO] or [
            outcome.channel
            for each in sounding
            if each.channel is None and outcome.channel in _STEREO
        ]
        if any(channel != stated for channel in clash):
            raise BenchError(
                f"The file itself names the channel {', '.join(str(c) for c in clash)}.",
                f"--channel {stated}, {outcome.name}",
                "Leave out --channel.",
            )
        if len({each.channel for each in sounding}) == 1:
            return [
                replace(each, channel=stated) if each.unit != "degC" else each for each in found
            ]
    named = []
    for each in found:
        if each.channel is None and own is not None and each.unit != "degC":
            each = replace(each, channel=own)
            if stated is None and own == outcome.channel:
                note = Assumption(outcome.channel_line, f"channel from header: {own}")
            else:
                note = Assumption(None, f"channel from the file name: {own}")
            if stated is None and note not in outcome.assumptions:
                outcome.assumptions.append(note)
        named.append(each)
    return named


def _refuse_twins(series: Sequence[Series], outcomes: Sequence[FileOutcome]) -> None:
    seen: set[tuple[str | None, str]] = set()
    for each in series:
        key = (each.channel, each.unit)
        if key in seen:
            what = (
                f"Two series are both channel {each.channel}."
                if each.channel
                else ("Two series have no channel.")
            )
            fix = (
                "Give --channel for each file, such as --channel L --channel R."
                if len(outcomes) > 1
                else "Name the channel in each column title."
            )
            raise BenchError(what, ", ".join(outcome.name for outcome in outcomes), fix)
        seen.add(key)

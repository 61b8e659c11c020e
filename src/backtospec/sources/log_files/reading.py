"""What a meter log says once it is read: series, gaps, repeated stamps, assumptions."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from backtospec.errors import Question

SCHEMA = "backtospec/readings/1"


@dataclass(frozen=True, slots=True)
class LogOptions:
    """What the person states about the files, beside the files themselves.

    Parameters
    ----------
    unit
        Unit of the readings where the file names none: ``mV``, ``V``, ``°C`` ... A pair such as
        ``V/mV`` says that the meter changed range and logged no unit: the small numbers are in
        the first unit, the large ones in the second.
    decimal
        ``point`` or ``comma``.
    date_order
        ``dmy``, ``mdy`` or ``ymd``.
    time_zone
        Name in the time zone database, such as ``Europe/Berlin``.
    channels
        One channel (L, R or M) for each file, in order; empty when the files say it themselves.
    minutes_since_on
        Minutes since switch-on at the first row of the first file, 0 or more.
    """

    unit: str | None = None
    decimal: str | None = None
    date_order: str | None = None
    time_zone: str | None = None
    channels: tuple[str, ...] = ()
    minutes_since_on: float | None = None


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something taken for granted, and the line (from 1) it was taken from, if any."""

    line: int | None
    text: str


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch without readings in a series that is otherwise regular, seconds."""

    start_s: float
    end_s: float
    channels: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class Duplicate:
    """A time stamp that had stood in the row before, seconds after the first row."""

    elapsed_s: float
    channels: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class Series:
    """The readings of one channel in one unit, rows in the order of the file.

    Parameters
    ----------
    channel
        ``L``, ``R``, ``M``, the file's own label (``CH1``), a place (``heatsink``), or None.
    unit
        SI unit: ``V``, ``A``, ``ohm``, ``degC`` ...
    first_time
        ISO time of the first row, None where the file gives no date.
    elapsed_s
        Seconds after the first row of this series.
    value
        Readings in the unit; None where there was none, with the reason in ``status``.
    status
        Reason (``overload``, ``no reading``) by row index from 0.
    quantum
        Smallest step of the readings, in the unit; None when there is no reading.
    t0_s
        Time of the first row, where it is stated and not zero: after switch-on, or against the
        trigger of an oscilloscope (negative before it).
    clock_first
        Time of day of the first row where the file gives no date.
    """

    channel: str | None
    unit: str
    first_time: str | None
    elapsed_s: tuple[float, ...]
    value: tuple[float | None, ...]
    status: dict[int, str] = field(default_factory=dict)
    quantum: float | None = None
    t0_s: float | None = None
    clock_first: str | None = None


@dataclass(frozen=True, slots=True)
class LogReading:
    """Everything read from the files of one call."""

    series: tuple[Series, ...]
    gaps: tuple[Gap, ...] = ()
    duplicates: tuple[Duplicate, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def as_document(outcome: LogReading | Question) -> dict[str, Any]:
    """Return the ``backtospec/readings/1`` document of a reading, or of an open question.

    Parameters
    ----------
    outcome
        What :func:`read_logs` returned, or the question it raised.

    Examples
    --------
    >>> as_document(LogReading(series=()))["action"]
    'read'
    """
    asked = isinstance(outcome, Question)
    reading = LogReading(series=()) if isinstance(outcome, Question) else outcome
    return {
        "schema": SCHEMA,
        "action": "ask" if asked else "read",
        "series": [_series_document(series) for series in reading.series],
        "gaps": [
            {"start_s": gap.start_s, "end_s": gap.end_s, "channels": list(gap.channels)}
            for gap in reading.gaps
        ],
        "duplicates": [
            {"elapsed_s": duplicate.elapsed_s, "channels": list(duplicate.channels)}
            for duplicate in reading.duplicates
        ],
        "assumptions": [{"line": each.line, "text": each.text} for each in reading.assumptions],
        "question": _question_document(outcome) if isinstance(outcome, Question) else None,
    }


def _series_document(series: Series) -> dict[str, Any]:
    return {
        "channel": series.channel,
        "unit": series.unit,
        "first_time": series.first_time,
        "elapsed_s": list(series.elapsed_s),
        "value": list(series.value),
        "status": {str(row): reason for row, reason in series.status.items()},
        "quantum": series.quantum,
        "t0_s": series.t0_s,
        "clock_first": series.clock_first,
    }


def _question_document(question: Question) -> dict[str, Any]:
    return {
        "about": question.about,
        "quotes": list(question.quotes),
        "choices": [{"value": each.value, "text": each.text} for each in question.choices],
        "option": question.option,
        "text": str(question),
    }

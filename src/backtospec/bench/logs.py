"""Meter logs and hand-made tables: read them, and say whether they have settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from backtospec.analysis.adjustment import Setting, Turn, guide_adjustment
from backtospec.analysis.warm_up import WarmUp, analyse_warm_up
from backtospec.analysis.warm_up import as_document as warm_up_document
from backtospec.errors import BenchError, Question
from backtospec.quantity import read
from backtospec.sources.log_files import (
    LogOptions,
    LogReading,
    Series,
    as_document,
    read_logs,
)

__all__ = [
    "LogOptions",
    "LogReading",
    "Series",
    "document_of",
    "document_of_warm_ups",
    "next_setting",
    "read_files",
    "turn_from_text",
    "warm_ups",
]


def read_files(paths: Sequence[Path], options: LogOptions) -> LogReading:
    """Return the series of files that belong together.

    Raises
    ------
    BenchError
        For a file that cannot be read; a ``Question`` where it can be read in several ways.
    """
    return read_logs(list(paths), options)


def warm_ups(
    reading: LogReading, target_v: float | None = None, tolerance_v: float | None = None
) -> dict[str, tuple[Series, WarmUp]]:
    """Return each channel's series in volts with what it says about the warm-up.

    Parameters
    ----------
    reading
        Series as read.
    target_v, tolerance_v
        What the manual asks for, in volts.

    Raises
    ------
    BenchError
        Where no series is in volts.
    """
    found: dict[str, tuple[Series, WarmUp]] = {}
    for series in reading.series:
        if series.unit != "V":
            continue
        name = series.channel or "M"
        if name in found:
            raise BenchError(
                f"channel {name} occurs twice.", "the files", "Name them with --channel."
            )
        found[name] = (series, _warm_up(series, target_v, tolerance_v))
    if not found:
        units = ", ".join(sorted({s.unit for s in reading.series})) or "nothing"
        raise BenchError(
            f"hold {units}, not volts.", "the files", "Give a log of millivolts or volts."
        )
    return found


def _warm_up(series: Series, target_v: float | None, tolerance_v: float | None) -> WarmUp:
    return analyse_warm_up(
        series.elapsed_s,
        series.value,
        step_v=series.quantum,
        target_v=target_v,
        tolerance_v=tolerance_v,
        minutes_since_on=max(0.0, series.t0_s or 0.0) / 60,
    )


def next_setting(
    reading: LogReading,
    *,
    target_v: float,
    tolerance_v: float | None,
    quantity: str,
    position: str,
    now_v: float | None = None,
    time_s: float | None = None,
    turn: Turn | None = None,
) -> dict[str, Setting]:
    """Return for each channel what its trimmer shall be set to now.

    Parameters
    ----------
    reading
        The log, from before the trimmer was touched.
    target_v, tolerance_v
        Where it shall be when hot, in volts.
    quantity
        ``idle`` or ``offset``.
    position
        Where the trimmer stood before the first turn.
    now_v, time_s
        Reading now and its time on the log's clock; by default the last row.
    turn
        The last turn made.

    Raises
    ------
    BenchError
        For an unknown quantity, a position nobody noted, or a log that is not in volts.
    """
    if quantity not in ("idle", "offset"):
        raise BenchError(f'"{quantity}" is not idle or offset.', "quantity", "Say which.")
    found = {}
    for name, (series, warm_up) in warm_ups(reading, target_v, tolerance_v).items():
        rows = zip(series.elapsed_s, series.value, strict=True)
        last_s, last_v = [(t, v) for t, v in rows if v is not None][-1]
        found[name] = guide_adjustment(
            warm_up,
            time_s=last_s if time_s is None else time_s,
            reading_v=last_v if now_v is None else now_v,
            target_v=target_v,
            tolerance_v=tolerance_v,
            quantity="idle" if quantity == "idle" else "offset",
            original_position=position,
            turn=turn,
        )
    return found


def turn_from_text(text: str) -> Turn:
    """Return the last turn from "before asked after", in millivolts where no unit stands.

    Examples
    --------
    >>> turn_from_text("10.9 9.6 9.7")
    Turn(before_v=0.0109, asked_v=0.0096, after_v=0.0097)
    """
    parts = text.replace(";", " ").split()
    if len(parts) != 3:
        raise BenchError(f'"{text}" is not three readings.', "turned", 'Type it as "10.9 9.6 9.7".')
    before, asked, after = (read(part, "mV", "turned", -100_000, 100_000) for part in parts)
    return Turn(before, asked, after)


def document_of(outcome: LogReading | Question) -> dict[str, Any]:
    """Return the body of the ``readings`` document, for a reading or an open question."""
    return {key: value for key, value in as_document(outcome).items() if key != "schema"}


def document_of_warm_ups(found: Mapping[str, tuple[Series, WarmUp]]) -> dict[str, Any]:
    """Return the body of the ``warm-up`` document."""
    document = warm_up_document({name: one for name, (_, one) in found.items()})
    return {key: value for key, value in document.items() if key != "schema"}

"""Meter logs and hand-made tables: read them, and say whether they have settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from backtospec.analysis.warm_up import WarmUp, analyse_warm_up
from backtospec.analysis.warm_up import as_document as warm_up_document
from backtospec.errors import BenchError, Question
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
    "read_files",
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


def document_of(outcome: LogReading | Question) -> dict[str, Any]:
    """Return the body of the ``readings`` document, for a reading or an open question."""
    return {key: value for key, value in as_document(outcome).items() if key != "schema"}


def document_of_warm_ups(found: Mapping[str, tuple[Series, WarmUp]]) -> dict[str, Any]:
    """Return the body of the ``warm-up`` document."""
    document = warm_up_document({name: one for name, (_, one) in found.items()})
    return {key: value for key, value in document.items() if key != "schema"}

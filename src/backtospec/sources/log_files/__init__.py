"""Meter logs and hand-made tables of readings, as found, to series in SI units."""

from backtospec.sources.log_files.log import parse_log, parse_logs, read_logs
from backtospec.sources.log_files.reading import (
    Assumption,
    Duplicate,
    Gap,
    LogOptions,
    LogReading,
    Series,
    as_document,
)

__all__ = [
    "Assumption",
    "Duplicate",
    "Gap",
    "LogOptions",
    "LogReading",
    "Series",
    "as_document",
    "parse_log",
    "parse_logs",
    "read_logs",
]

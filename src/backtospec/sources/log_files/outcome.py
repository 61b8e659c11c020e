"""What one file holds, before the files of a call are put together."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.sources.log_files.reading import Assumption
from backtospec.sources.log_files.series import Readings
from backtospec.sources.log_files.timeline import Timeline


@dataclass(slots=True)
class FileOutcome:
    """Readings of one file on one time axis; noted by hand they keep no interval."""

    name: str
    timeline: Timeline
    channel: str | None
    channel_line: int | None
    readings: list[Readings]
    assumptions: list[Assumption]
    by_hand: bool = False

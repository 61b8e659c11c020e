"""The straight path for one job: answers are stored raw, then read back and judged."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.check import Conclusion
from backtospec.records import (
    Amplifier,
    Job,
    Reading,
    Replacement,
    Sitting,
    SpecSheet,
    Visit,
)


@dataclass(frozen=True, slots=True)
class JudgedSitting:
    """One sitting with its current readings and what follows from them.

    ``conclusion`` is ``None`` for quick readings, which belong to no check.
    """

    sitting: Sitting
    readings: tuple[Reading, ...]
    conclusion: Conclusion | None

    def reading_ids(self, keys: tuple[str, ...]) -> tuple[str, ...]:
        """Return the ids of the readings that the given inputs rest on, in their order."""
        by_key = {reading.key: reading.id for reading in self.readings}
        return tuple(by_key[key] for key in keys if key in by_key)


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything about one job, judged today from its raw readings."""

    job: Job
    amplifier: Amplifier
    spec: SpecSheet
    sittings: tuple[JudgedSitting, ...]
    replacements: tuple[Replacement, ...]

    def latest(self, check_id: str, visit: Visit) -> JudgedSitting | None:
        """Return the newest sitting of one check in one visit."""
        found = [
            s
            for s in self.sittings
            if s.sitting.check_id == check_id and s.sitting.visit is visit
        ]
        return found[-1] if found else None

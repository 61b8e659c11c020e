"""The two clocks of a warm-up, from the power states an amplifier went through."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from backtospec.check.power_path import FULL_MAINS
from backtospec.records import PowerStep


@dataclass(frozen=True, slots=True)
class Clocks:
    """The two clocks of a warm-up, in minutes.

    Parameters
    ----------
    on_min
        Since it was last brought to full mains; ``None`` where it is not on full mains now.
    warm_min
        The thermal clock: time on full mains less the pauses between, never below zero.
    """

    on_min: float | None
    warm_min: float

    @property
    def interrupted(self) -> bool:
        """Whether the two differ, so that a reading needs both."""
        return self.on_min is not None and abs(self.warm_min - self.on_min) >= 0.5


def clocks(kept: Iterable[PowerStep], now: datetime) -> Clocks:
    """Return minutes since power-on and minutes of warmth, from the power states kept.

    Parameters
    ----------
    kept
        Oldest first.
    now
        The moment to tell them for, not before the last of them.

    Notes
    -----
    A heatsink is taken to cool as fast as it warms, and neither lamp nor variable transformer to
    warm it: a rule that errs on the side of waiting (from memory). Going from full mains to driven
    and back does not start the clocks anew.
    """
    warm = 0.0
    on_since: datetime | None = None
    before: PowerStep | None = None
    for step in kept:
        if before is not None:
            warm = _warmed(warm, before, step.at)
        on_since = (on_since or step.at) if step.state in FULL_MAINS else None
        before = step
    if before is not None:
        warm = _warmed(warm, before, now)
    on_min = None if on_since is None else (now - on_since).total_seconds() / 60
    return Clocks(on_min, warm)


def _warmed(warm_min: float, step: PowerStep, until: datetime) -> float:
    minutes = (until - step.at).total_seconds() / 60
    return max(0.0, warm_min + (minutes if step.state in FULL_MAINS else -minutes))

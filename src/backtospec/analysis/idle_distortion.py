"""Distortion at low power against idle current: where more current stops paying."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

STILL_PAYS = 0.10
"""A step that takes less than this share off the distortion no longer pays (a working rule)."""

HOT_C = 50.0
"""A heatsink that hot without a signal ends the experiment (from memory)."""


@dataclass(frozen=True, slots=True)
class IdleExperiment:
    """What distortion against idle current says.

    Parameters
    ----------
    lowest
        The lowest idle at which distortion has stopped falling, in the unit given; ``None`` where
        it still falls at the highest one tried.
    exponent
        Of the last step: distortion goes as idle to this power.
    rises_again
        True where it passes a least value and rises.
    """

    lowest: float | None
    exponent: float
    rises_again: bool


def read_experiment(points: Sequence[tuple[float, float]]) -> IdleExperiment | None:
    """Return where distortion stops falling, from (idle, distortion) pairs.

    Parameters
    ----------
    points
        Idle above zero in any one unit, distortion above zero in percent, in any order.

    Returns
    -------
    IdleExperiment or None
        ``None`` with fewer than two different idles.

    Examples
    --------
    A buffer without feedback at 0.25 Ω (diyaudio.com/community/threads/379908 p. 3):

    >>> found = read_experiment([(0.112, 0.050), (0.400, 0.014)])
    >>> found.lowest, round(found.exponent, 2)
    (None, -1.0)
    >>> read_experiment([(5, 0.2), (10, 0.06), (15, 0.041), (20, 0.040)]).lowest
    15
    """
    ordered = sorted(dict(points).items())
    if len(ordered) < 2:
        return None
    least = min(thd for _, thd in ordered)
    lowest = next(idle for idle, thd in ordered if thd * (1 - STILL_PAYS) <= least)
    (before, thd_before), (last, thd_last) = ordered[-2:]
    return IdleExperiment(
        None if lowest == last else lowest,
        math.log(thd_last / thd_before) / math.log(last / before),
        thd_last > least * (1 + STILL_PAYS),
    )

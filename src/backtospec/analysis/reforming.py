"""How a re-forming capacitor's leakage goes: reached its limit, on its way, or not to be had."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from backtospec.analysis.capacitor import time_to_limit
from backtospec.analysis.decay import fit_leakage

Readings = Sequence[tuple[float, float]]

LONGEST_S = 24 * 3600.0
"""Re-forming that would take longer is given up (common practice, no source)."""

SHORTEST_S = 3600.0
"""No leakage reading earlier than this condemns a part (common practice, no source)."""

RISING = 1.1
"""A last reading above the lowest one before it by this factor has risen (a working rule)."""


class Course(StrEnum):
    """How the leakage goes."""

    REACHED = "reached"
    SETTLING = "settling"
    TOO_SLOW = "too slow"
    STALLED = "stalled"
    RISING = "rising"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Reforming:
    """What a leakage series says.

    Parameters
    ----------
    course
        How it goes.
    passes_s
        Seconds since the voltage was applied at which the limit is or was reached.
    earliest_s, latest_s
        Between which it lies; equal where nothing bounds it.
    exponent
        Of I ~ t^-exponent through all readings; ``None`` with fewer than two.
    """

    course: Course
    passes_s: float | None = None
    earliest_s: float | None = None
    latest_s: float | None = None
    exponent: float | None = None


def judge_reforming(readings: Readings, limit_a: float) -> Reforming:
    """Return how a leakage series goes against its limit.

    Parameters
    ----------
    readings
        (seconds since the voltage was applied, amperes), in order; rows at or below zero are
        left out of the fit.
    limit_a
        Amperes, positive.

    Notes
    -----
    Ahead of the last reading an exponential bounds the soonest and a power of time the latest
    (:func:`backtospec.analysis.decay.fit_leakage`); of two readings only the power of time speaks.

    Examples
    --------
    >>> rows = [(20, 4.5e-3), (900, 1e-3), (3600, 120e-6), (10800, 50e-6)]
    >>> found = judge_reforming(rows, 500e-6)
    >>> found.course.value, round(found.exponent, 2)
    ('reached', 0.71)
    >>> judge_reforming(rows[:3], 50e-6).course.value
    'settling'
    """
    rows = [(t, a) for t, a in readings if t > 0 and a > 0]
    slope = _exponent(rows)
    if readings and readings[-1][1] <= limit_a:
        times = fit_leakage(*_columns(rows), limit_a) if len(rows) >= 3 else None
        if times is None or rows[-1][1] > limit_a:
            return Reforming(Course.REACHED, None, None, None, slope)
        return Reforming(Course.REACHED, times.passes_s, times.earliest_s, times.latest_s, slope)
    if len(rows) < 2:
        return Reforming(Course.UNKNOWN)
    if rows[-1][1] > RISING * min(a for _, a in rows[:-1]):
        return Reforming(Course.RISING, None, None, None, slope)
    passes = earliest = latest = time_to_limit(rows, limit_a)
    if len(rows) >= 3:
        times = fit_leakage(*_columns(rows), limit_a)
        passes, earliest, latest = times.passes_s, times.earliest_s, times.latest_s
    if passes is None:
        return Reforming(Course.STALLED, None, None, None, slope)
    course = Course.SETTLING if passes <= LONGEST_S else Course.TOO_SLOW
    return Reforming(course, passes, earliest, latest, slope)


def _columns(rows: Readings) -> tuple[list[float], list[float]]:
    return [t for t, _ in rows], [a for _, a in rows]


def _exponent(rows: Readings) -> float | None:
    """Return the falling exponent of a power of time, by least squares on logarithmic scales."""
    if len(rows) < 2:
        return None
    x, y = [math.log(t) for t, _ in rows], [math.log(a) for _, a in rows]
    middle_x, middle_y = sum(x) / len(x), sum(y) / len(y)
    spread = sum((v - middle_x) ** 2 for v in x)
    if spread == 0:
        return None
    return -sum((u - middle_x) * (v - middle_y) for u, v in zip(x, y, strict=True)) / spread

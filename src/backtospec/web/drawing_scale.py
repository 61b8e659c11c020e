"""The scale of one axis: where a value stands in pixels, and which ticks are written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis from ``start`` to ``end`` in pixels.

    Parameters
    ----------
    low, high
        Values at both ends.
    """

    low: float
    high: float
    start: float
    end: float
    logarithmic: bool
    ticks: tuple[float, ...]

    def at(self, value: float) -> float:
        """Return where a value stands, in pixels."""
        low, high = self.low, self.high
        if self.logarithmic:
            low, high, value = math.log(low), math.log(high), math.log(value)
        return self.start + (value - low) / (high - low) * (self.end - self.start)

    def holds(self, value: float) -> bool:
        """Return whether the axis can show a value."""
        return math.isfinite(value) and (value > 0 or not self.logarithmic)


def scale_of(
    values: Sequence[float], logarithmic: bool, start: float, end: float, *, upright: bool
) -> Scale:
    """Return the scale that shows all values, with room around them.

    Examples
    --------
    >>> scale_of([1, 60], False, 0, 100, upright=False).ticks
    (0.0, 20.0, 40.0, 60.0)
    >>> scale_of([0.1, 45], True, 0, 100, upright=False).ticks
    (0.1, 1.0, 10.0)
    """
    finite = [v for v in values if math.isfinite(v) and (v > 0 or not logarithmic)]
    low, high = (min(finite), max(finite)) if finite else (1.0, 10.0)
    few = abs(end - start) < 400
    if logarithmic:
        room = 2.0 if low == high else 1.4 if upright else 1.12
        low, high = low / room, high * room
        return Scale(low, high, start, end, True, _decades(low, high, few))
    span = high - low or abs(high) or 1.0
    room = span * (0.12 if upright else 0.03)
    bottom = 0.0 if not upright and 0 <= low <= 0.3 * high else low - room
    return Scale(bottom, high + room, start, end, False, _steps(bottom, high + room, few))


def _steps(low: float, high: float, few: bool) -> tuple[float, ...]:
    rough = (high - low) / (5 if few else 7)
    size = 10 ** math.floor(math.log10(rough))
    step = next(size * n for n in (1, 2, 2.5, 5, 10) if size * n >= rough)
    first = math.ceil(low / step - 1e-9)
    count = math.floor(high / step + 1e-9) - first + 1
    return tuple(float(round((first + n) * step, 12)) for n in range(count))


def _decades(low: float, high: float, few: bool) -> tuple[float, ...]:
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    wide = math.log10(high / low)
    between = (1.0, 2.0, 5.0) if wide < (1.5 if few else 2.2) else (1.0,)
    ticks = [n * 10.0**d for d in decades for n in between]
    return tuple(float(f"{v:.6g}") for v in ticks if low <= v <= high)

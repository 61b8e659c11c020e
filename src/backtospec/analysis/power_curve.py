"""Distortion against power: where it crosses a figure, where its knee lies, how channels track.

Works on a few spots read off a meter as well as on the dense curve of a recording.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

KNEE_RATIO = 1.5
"""The knee is where distortion has risen to this many times its flat part."""

FLAT_FROM, FLAT_TO = 0.02, 0.8
"""The flat part is looked for between these shares of the highest power."""


@dataclass(frozen=True, slots=True)
class PowerCurve:
    """Distortion of one channel against its power.

    Parameters
    ----------
    power_w
        Ascending, watts.
    thd_percent
        Of equal length.
    at_most
        Indices of points that are only upper bounds.
    """

    power_w: tuple[float, ...]
    thd_percent: tuple[float, ...]
    at_most: tuple[int, ...] = ()

    @classmethod
    def of(cls, points: Sequence[tuple[float, float]], at_most: Sequence[int] = ()) -> PowerCurve:
        """Return the curve of (power, distortion) points in any order."""
        order = sorted(range(len(points)), key=lambda i: points[i][0])
        bounds = set(at_most)
        return cls(
            tuple(points[i][0] for i in order),
            tuple(points[i][1] for i in order),
            tuple(place for place, i in enumerate(order) if i in bounds),
        )


@dataclass(frozen=True, slots=True)
class Crossing:
    """The power at which distortion finally exceeds a figure.

    ``low_w`` and ``high_w`` are the neighbouring points it lies between. Where the figure is never
    reached, ``reached`` is false and ``power_w`` is the highest power known to be inside it.
    """

    power_w: float
    low_w: float
    high_w: float
    reached: bool


def smoothed(points: Sequence[tuple[float, float]], step_db: float = 0.5) -> PowerCurve:
    """Return the medians of (power, value) points in steps of level, quietest first.

    Parameters
    ----------
    points
        Any number, in any order; powers above zero.
    step_db
        Width of a step.
    """
    groups: dict[int, list[tuple[float, float]]] = {}
    for power, value in points:
        groups.setdefault(math.floor(10 * math.log10(power) / step_db), []).append((power, value))
    return PowerCurve.of(
        [
            (statistics.median(p for p, _ in group), statistics.median(v for _, v in group))
            for _, group in sorted(groups.items())
        ]
    )


def crossing(curve: PowerCurve, thd_percent: float) -> Crossing | None:
    """Return where the curve exceeds a distortion figure for good, going up in power.

    Parameters
    ----------
    curve
        At least one point.
    thd_percent
        The figure, in percent.

    Returns
    -------
    Crossing or None
        ``None`` where even the lowest measured power exceeds the figure.

    Notes
    -----
    Between points distortion is taken as a power law of power (straight on log-log axes).

    Examples
    --------
    >>> curve = PowerCurve((1.0, 10.0, 40.0, 50.0), (0.02, 0.02, 0.05, 0.8))
    >>> found = crossing(curve, 0.1)
    >>> round(found.power_w, 1), found.low_w, found.high_w
    (42.3, 40.0, 50.0)
    >>> crossing(curve, 1.0).reached
    False
    """
    inside = [i for i, thd in enumerate(curve.thd_percent) if thd <= thd_percent]
    if not inside:
        return None
    last = inside[-1]
    power = curve.power_w
    if last == len(power) - 1:
        return Crossing(power[last], power[last], power[last], False)
    low, high = curve.thd_percent[last], curve.thd_percent[last + 1]
    share = math.log(thd_percent / max(low, 1e-12)) / math.log(high / max(low, 1e-12))
    at = power[last] * (power[last + 1] / power[last]) ** share
    return Crossing(at, power[last], power[last + 1], True)


def flat_part(curve: PowerCurve) -> float | None:
    """Return the median distortion in percent of the middle of the curve, or ``None``.

    It needs at least two points that are no mere bounds between 2 % and 80 % of the highest power.
    """
    top = curve.power_w[-1]
    bounds = set(curve.at_most)
    middle = [
        thd
        for i, (power, thd) in enumerate(zip(curve.power_w, curve.thd_percent, strict=True))
        if FLAT_FROM * top <= power <= FLAT_TO * top and i not in bounds
    ]
    return statistics.median(middle) if len(middle) >= 2 else None


def knee(curve: PowerCurve) -> Crossing | None:
    """Return the power at which distortion has risen to 1.5 times its flat part.

    ``None`` where there is no flat part to rise from.

    Examples
    --------
    A class-AB knee: a little more at the lowest powers, flat, and a steep rise at the top.

    >>> curve = PowerCurve((0.25, 1, 5, 20, 33, 34), (0.09, 0.06, 0.06, 0.06, 0.06, 0.1))
    >>> found = knee(curve)
    >>> 33 < found.power_w < 34
    True
    """
    flat = flat_part(curve)
    return None if flat is None or flat <= 0 else crossing(curve, KNEE_RATIO * flat)


def highest(curve: PowerCurve, low_w: float, high_w: float) -> tuple[float, float, bool] | None:
    """Return (distortion in percent, power in watts, is a bound) where it is highest in a range.

    Both ends count: at ``high_w`` the curve is interpolated. ``None`` where no point lies inside.
    """
    bounds = set(curve.at_most)
    inside = [
        (thd, power, i in bounds)
        for i, (power, thd) in enumerate(zip(curve.power_w, curve.thd_percent, strict=True))
        if low_w <= power <= high_w
    ]
    at_end = value_at(curve, high_w)
    if at_end is not None:
        inside.append((at_end, high_w, False))
    return max(inside) if inside else None


def value_at(curve: PowerCurve, power_w: float) -> float | None:
    """Return the distortion in percent at a power, interpolated; ``None`` outside the curve."""
    power, thd = curve.power_w, curve.thd_percent
    for i in range(len(power) - 1):
        if power[i] <= power_w <= power[i + 1]:
            if power[i] == power[i + 1]:
                return thd[i]
            share = math.log(power_w / power[i]) / math.log(power[i + 1] / power[i])
            return float(
                max(thd[i], 1e-12) * (max(thd[i + 1], 1e-12) / max(thd[i], 1e-12)) ** share
            )
    return None


def tracking_db(left_w: float, right_w: float) -> float:
    """Return the level of the right channel over the left one, from powers in equal loads.

    Examples
    --------
    >>> round(tracking_db(0.267, 0.255), 2), round(tracking_db(33.5, 33.3), 2)
    (-0.2, -0.03)
    """
    return 10 * math.log10(right_w / left_w)

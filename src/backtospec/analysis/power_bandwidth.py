"""Power bandwidth: between which frequencies half of the power is there at no more distortion."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

HALF_POWER_DB = 10 * math.log10(0.5)

DEFINITION = (
    "lowest and highest frequency at which the output still gives half of the power at 1 kHz "
    "(−3.01 dB), the input unchanged, at no more than the rated distortion where one is given; "
    "found between the tones on either side, whose distance makes the uncertainty"
)


@dataclass(frozen=True, slots=True)
class PowerPoint:
    """Power at one frequency.

    Parameters
    ----------
    hz
        Frequency.
    power_w
        Of the tone.
    thd_percent
        Its distortion, or the bound of it; ``None`` where it is not known.
    """

    hz: float
    power_w: float
    thd_percent: float | None = None


@dataclass(frozen=True, slots=True)
class PowerBandwidth:
    """Where the power has fallen to half, or the distortion passed its limit, on either side.

    Parameters
    ----------
    reference_hz, reference_power_w
        The tone nearest to 1 kHz, and its power.
    low_hz, high_hz
        The edges, where power alone sets them; ``…_u`` is their standard uncertainty.
    low_hz_at_most, high_hz_at_least
        The outermost tone that still meets both, where no edge is known.
    low_hz_at_least, high_hz_at_most
        The first tone beyond, where it is distortion that sets the edge.
    """

    reference_hz: float
    reference_power_w: float
    low_hz: float | None = None
    low_hz_u: float | None = None
    low_hz_at_most: float | None = None
    low_hz_at_least: float | None = None
    high_hz: float | None = None
    high_hz_u: float | None = None
    high_hz_at_least: float | None = None
    high_hz_at_most: float | None = None


def find_power_bandwidth(
    points: Sequence[PowerPoint], reference_hz: float, rated_thd_percent: float | None = None
) -> PowerBandwidth | None:
    """Return the power bandwidth of one channel, or ``None`` where 1 kHz is above the limit.

    Parameters
    ----------
    points
        Power and distortion by frequency, all taken at one input level, in any order.
    reference_hz
        Frequency of the point that power refers to.
    rated_thd_percent
        The maker's distortion, 0…100 %; without it only power counts.

    Notes
    -----
    IEC 60268-3, power bandwidth; restated from memory. Between two tones the level is taken as
    a straight line in decibels over the logarithm of frequency; how it really runs is not known,
    so the edge has the uncertainty of a rectangle from one tone to the other (GUM 4.3.7).

    Examples
    --------
    >>> points = [PowerPoint(20.0, 40.0), PowerPoint(1000.0, 50.0), PowerPoint(20e3, 12.5)]
    >>> found = find_power_bandwidth(points, 1000.0)
    >>> found.low_hz_at_most, round(found.high_hz)
    (20.0, 4472)
    """
    by_hz = {point.hz: point for point in points}
    reference = by_hz[reference_hz]
    if not _is_clean(reference, rated_thd_percent):
        return None
    above = sorted((p for p in points if p.hz >= reference_hz), key=lambda p: p.hz)
    below = sorted((p for p in points if p.hz <= reference_hz), key=lambda p: -p.hz)
    up = _edge(above, rated_thd_percent)
    down = _edge(below, rated_thd_percent)
    found = PowerBandwidth(reference_hz, reference.power_w)
    found = replace(found, high_hz=up[0], high_hz_u=up[1], low_hz=down[0], low_hz_u=down[1])
    return replace(
        found,
        high_hz_at_least=up[2],
        high_hz_at_most=up[3],
        low_hz_at_most=down[2],
        low_hz_at_least=down[3],
    )


def _is_clean(point: PowerPoint, limit_percent: float | None) -> bool:
    if limit_percent is None:
        return True
    return point.thd_percent is not None and point.thd_percent <= limit_percent


def _edge(
    outward: list[PowerPoint], limit_percent: float | None
) -> tuple[float | None, float | None, float | None, float | None]:
    """Return (edge, its uncertainty, last good frequency, first bad one) on one side."""
    reference_w = outward[0].power_w
    good = outward[0]
    for point in outward[1:]:
        db, good_db = (10 * math.log10(p.power_w / reference_w) for p in (point, good))
        if not _is_clean(point, limit_percent):
            known_bad = point.thd_percent is not None
            return None, None, good.hz, point.hz if known_bad else None
        if db < HALF_POWER_DB:
            share = (good_db - HALF_POWER_DB) / (good_db - db)
            hz = good.hz * (point.hz / good.hz) ** share
            return hz, abs(point.hz - good.hz) / math.sqrt(12), None, None
        good = point
    return None, None, good.hz, None

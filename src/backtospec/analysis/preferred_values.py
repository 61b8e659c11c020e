"""Values that resistors are made in."""

from __future__ import annotations

import math
from enum import StrEnum

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82)


class Series(StrEnum):
    """How finely a decade is divided."""

    E24 = "E24"
    E96 = "E96"


_DECADES: dict[Series, tuple[float, ...]] = {
    Series.E24: tuple(n / 10 for n in (*_E24, 91)),
    Series.E96: tuple(round(100 * 10 ** (i / 96)) / 100 for i in range(96)),
}


def decade(series: Series) -> tuple[float, ...]:
    """Return the values of one decade, from 1 to below 10.

    Notes
    -----
    IEC 60063:2015. E96 is the decade in 96 equal ratios, to three digits; E24 is older than the
    rule and departs from it in eight places, so it is written out.

    Examples
    --------
    >>> decade(Series.E24)[:4], len(decade(Series.E96))
    ((1.0, 1.1, 1.2, 1.3), 96)
    """
    return _DECADES[series]


def values_between(series: Series, low: float, high: float) -> tuple[float, ...]:
    """Return the values of a series from ``low`` to ``high``, both included, rising.

    Examples
    --------
    >>> values_between(Series.E24, 900.0, 1200.0)
    (910.0, 1000.0, 1100.0, 1200.0)
    """
    first, last = (math.floor(math.log10(end)) for end in (low, high))
    found = (
        float(f"{value}e{power}") for power in range(first, last + 1) for value in decade(series)
    )
    return tuple(value for value in found if low <= value <= high)


def next_above(series: Series, value: float) -> float:
    """Return the smallest value of a series that is not below a positive value.

    Examples
    --------
    >>> next_above(Series.E24, 9.1e3), next_above(Series.E24, 9.2e3), next_above(Series.E96, 17.0)
    (9100.0, 10000.0, 17.4)
    """
    # a value that arithmetic has left a hair above a preferred one is that one
    return values_between(series, value * (1 - 1e-9), value * 2)[0]

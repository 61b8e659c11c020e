"""What an electrolytic capacitor may be: tolerance by age, ESR by several sources, leakage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

CHART_ONE = "glodark.com/design/esrchart.htm"
CHART_TWO = "circuitsgallery.com/electrolytic-capacitor-esr-chart"
TAN_MODERN = "tan δ of a 105 °C general-purpose data sheet"
TAN_LEGACY = "tan δ of 85 °C parts of the 1970s and 80s (from memory)"

MODERN_YEAR = 1985
"""From here on ±20 % is usual (a maker's data sheet; the year is from memory)."""

MARKS = {
    "K": (-10.0, 10.0),
    "M": (-20.0, 20.0),
    "Q": (-10.0, 30.0),
    "T": (-10.0, 50.0),
    "Z": (-20.0, 80.0),
    "P": (0.0, 100.0),
}
"""Tolerance letters of electrolytics, percent; elsewhere some of them mean other things."""

_TAN_DELTA = {
    6.3: (0.23, 0.28),
    10.0: (0.20, 0.24),
    16.0: (0.16, 0.20),
    25.0: (0.14, 0.16),
    35.0: (0.12, 0.14),
    50.0: (0.10, 0.12),
    63.0: (0.09, 0.10),
    100.0: (0.08, 0.10),
    160.0: (0.12, 0.15),
    200.0: (0.14, 0.15),
    250.0: (0.17, 0.15),
    350.0: (0.20, 0.20),
    400.0: (0.25, 0.20),
    450.0: (0.25, 0.20),
}
"""Largest tan δ of a new part at 120 Hz by rated volts: modern, 1970s."""

_Chart = dict[float, tuple[float | None, ...]]

_CHART_ONE_V = (10.0, 16.0, 25.0, 35.0, 63.0, 100.0, 250.0)
_CHART_ONE: _Chart = {
    1: (None, None, None, 14, 16, 18, 20),
    2.2: (None, None, 6.0, 8.0, 10, 10, 18),
    4.7: (None, None, 15, 7.5, 4.2, 2.3, 5.0),
    10: (None, 8.0, 5.3, 3.2, 2.4, 3.0, 2.5),
    22: (5.4, 3.6, 2.1, 1.5, 1.5, 1.5, 1.8),
    47: (2.2, 1.6, 1.2, 0.68, 0.56, 0.7, 0.8),
    100: (1.2, 0.7, 0.32, 0.32, 0.3, 0.15, 0.8),
    220: (0.6, 0.33, 0.23, 0.17, 0.16, 0.09, 0.5),
    470: (0.24, 0.18, 0.12, 0.09, 0.09, 0.05, 0.3),
    1000: (0.12, 0.09, 0.08, 0.07, 0.05, 0.06, None),
    4700: (0.23, 0.20, 0.12, 0.08, 0.04, None, None),
    10000: (0.12, 0.08, 0.06, 0.04, None, None, None),
}
_CHART_TWO_V = (10.0, 16.0, 25.0, 35.0, 63.0, 160.0, 250.0)
_CHART_TWO: _Chart = {
    4.7: (None, 35, 29, 24, 19, 16, 13),
    10: (20, 16, 14, 11, 9.3, 7.7, 6.3),
    22: (9.0, 7.5, 6.2, 5.1, 4.2, 3.5, 2.9),
    47: (4.2, 3.5, 2.9, 2.4, 2.0, 1.6, 1.4),
    # 63 V is printed as 0.09 between 1.10 and 0.77: a misprint, left out
    100: (2.0, 1.6, 1.4, 1.1, None, 0.77, 0.63),
    220: (0.90, 0.75, 0.62, 0.51, 0.42, 0.35, 0.29),
    470: (0.42, 0.35, 0.29, 0.24, 0.20, 0.16, 0.13),
    1000: (0.20, 0.16, 0.14, 0.11, 0.09, 0.08, 0.06),
    2200: (0.09, 0.07, 0.06, 0.05, 0.04, 0.03, 0.03),
    4700: (0.04, 0.03, 0.03, 0.02, 0.02, 0.02, 0.01),
    10000: (0.02, 0.02, 0.01, 0.01, 0.01, 0.01, 0.01),
}


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Percent by which a part may differ from its marked value when new, and who says so."""

    low_percent: float
    high_percent: float
    source: str


def usual_tolerance(year: int | None) -> Tolerance:
    """Return the widest tolerance that was usual where nothing is marked on the part.

    Parameters
    ----------
    year
        Year of make; ``None`` where unknown.

    Notes
    -----
    Before 1985 −10/+50, −20/+80, −10/+75, −10/+100 and 0/+100 % were all sold; the widest is taken
    on both sides, so that nothing is condemned by a tolerance it may never have had.

    Examples
    --------
    >>> usual_tolerance(1977).high_percent, usual_tolerance(2005).high_percent
    (100.0, 20.0)
    """
    if year is not None and year >= MODERN_YEAR:
        return Tolerance(-20.0, 20.0, "usual since about 1985")
    era = "unknown age" if year is None else "its age"
    return Tolerance(-20.0, 100.0, f"−20/+100 %, the widest usual for {era}")


def largest_tan_delta(farad: float, rated_v: float, legacy: bool = False) -> float | None:
    """Return the largest tan δ of a new part at 120 Hz and 20 °C.

    Parameters
    ----------
    farad
        Marked capacitance; above 1000 µF, 0.02 is added per 1000 µF, pro rata.
    rated_v
        A rating between two rows takes the lower row; below 6.3 V the table says nothing.
    legacy
        True for the 85 °C parts of the 1970s (from memory), else a modern general-purpose series.

    Examples
    --------
    >>> round(largest_tan_delta(4700e-6, 63), 3)
    0.164
    """
    listed = [volt for volt in _TAN_DELTA if volt <= rated_v]
    if not listed:
        return None
    return _TAN_DELTA[max(listed)][legacy] + 0.02 * max(0.0, farad * 1e3 - 1)


def esr_from_tan_delta(tan_delta: float, farad: float, frequency_hz: float) -> float:
    """Return the series resistance tan δ / (2π·f·C) in ohms.

    Examples
    --------
    >>> round(esr_from_tan_delta(0.09, 1000e-6, 120), 4)
    0.1194
    """
    return tan_delta / (2 * math.pi * frequency_hz * farad)


@dataclass(frozen=True, slots=True)
class SourcedEsr:
    """The largest ESR of a new part, by one source."""

    source: str
    ohm: float


@dataclass(frozen=True, slots=True)
class EsrBand:
    """What several sources say of the ESR of a new part, in ohms."""

    sources: tuple[SourcedEsr, ...]

    @property
    def low_ohm(self) -> float:
        """The strictest source."""
        return min(s.ohm for s in self.sources)

    @property
    def high_ohm(self) -> float:
        """The most lenient source."""
        return max(s.ohm for s in self.sources)


def esr_band(
    farad: float, rated_v: float | None, frequency_hz: float | None = None
) -> EsrBand | None:
    """Return what published charts and tan δ tables allow a new part, or ``None``.

    Parameters
    ----------
    farad
        Marked capacitance.
    rated_v
        ``None`` where unknown: then every listed rating is included, and the band is wide.
    frequency_hz
        Of the meter. tan δ tables speak of 100…120 Hz; above 1 kHz they are used only where no
        chart covers the part. ``None``: taken as 100 Hz, the lenient end.

    Notes
    -----
    Sources differ by 2 to 4 times for the same part, which is why this is a band. The charts
    state no frequency. Between two chart rows the value is interpolated on logarithmic scales;
    outside a chart nothing is claimed.

    Examples
    --------
    >>> band = esr_band(1000e-6, 63, 100e3)
    >>> band.low_ohm, band.high_ohm
    (0.05, 0.09)
    """
    ratings = tuple(_TAN_DELTA) if rated_v is None else (rated_v,)
    found: list[SourcedEsr] = []
    for volt in ratings:
        charts = _from_charts(farad, volt)
        found += charts
        if frequency_hz is None or frequency_hz < 1000 or not charts:
            found += _from_tan_delta(farad, volt, min(frequency_hz or 100.0, 120.0))
    return EsrBand(tuple(found)) if found else None


def _from_tan_delta(farad: float, rated_v: float, frequency_hz: float) -> list[SourcedEsr]:
    limits = (
        (TAN_MODERN, largest_tan_delta(farad, rated_v)),
        (TAN_LEGACY, largest_tan_delta(farad, rated_v, legacy=True)),
    )
    return [
        SourcedEsr(source, esr_from_tan_delta(tan, farad, frequency_hz))
        for source, tan in limits
        if tan is not None
    ]


def _from_charts(farad: float, rated_v: float) -> list[SourcedEsr]:
    charts = (
        (CHART_ONE, _CHART_ONE, _CHART_ONE_V),
        (CHART_TWO, _CHART_TWO, _CHART_TWO_V),
    )
    read = [(name, _read_chart(chart, volts, farad, rated_v)) for name, chart, volts in charts]
    return [SourcedEsr(name, ohm) for name, ohm in read if ohm is not None]


def _read_chart(
    chart: _Chart, volts: Sequence[float], farad: float, rated_v: float
) -> float | None:
    """Return a chart's value in the column at or next below the rating, between its rows."""
    listed = [column for column, volt in enumerate(volts) if volt <= rated_v]
    if not listed or rated_v > volts[-1]:
        return None
    points = [(micro, row[listed[-1]]) for micro, row in chart.items()]
    known = [(micro, ohm) for micro, ohm in points if ohm is not None]
    wanted = float(f"{farad * 1e6:.9g}")
    below = [point for point in known if point[0] <= wanted]
    above = [point for point in known if point[0] >= wanted]
    if not below or not above:
        return None
    return _log_interpolate(below[-1], above[0], wanted)


def _log_interpolate(a: tuple[float, float], b: tuple[float, float], x: float) -> float:
    if a[0] == b[0]:
        return a[1]
    share = math.log(x / a[0]) / math.log(b[0] / a[0])
    return float(a[1] * (b[1] / a[1]) ** share)


def new_part_leakage(farad: float, rated_v: float) -> float:
    """Return the leakage in amperes that a modern part may have when new.

    Notes
    -----
    Up to 100 V the larger of 0.01·C·V and 3 µA after 2 min; above it 0.03·C·V + 15 µA, or with
    C·V over 1000 µC 0.02·C·V + 25 µA, after 5 min at rated volts and 20 °C (a maker's data sheet).

    Examples
    --------
    >>> round(new_part_leakage(47e-6, 40) * 1e6, 1)
    18.8
    """
    charge = farad * 1e6 * rated_v
    if rated_v <= 100:
        return max(0.01 * charge, 3.0) * 1e-6
    return (0.03 * charge + 15 if charge <= 1000 else 0.02 * charge + 25) * 1e-6


def discard_leakage(farad: float, rated_v: float) -> float | None:
    """Return the leakage in amperes above which an old part was thrown away, or ``None``.

    Notes
    -----
    I = k·C + 0.3 mA with C in µF and k from 0.01 to 0.04 by rating, 3…500 V: practice of the
    1950s to 70s, very lenient (puck.nether.net boatanchors 1999-May/005362).

    Examples
    --------
    >>> round(discard_leakage(20e-6, 450) * 1e3, 3)
    1.1
    """
    if not 3 <= rated_v <= 500:
        return None
    slopes = ((100, 0.01), (250, 0.02), (350, 0.025), (500, 0.04))
    slope = next(slope for most_v, slope in slopes if rated_v <= most_v)
    return (slope * farad * 1e6 + 0.3) * 1e-3


Readings = Sequence[tuple[float, float]]


def time_in_limit(readings: Readings, limit_a: float) -> float | None:
    """Return the seconds after which the leakage stayed within its limit, or ``None``.

    Parameters
    ----------
    readings
        (seconds since the voltage was applied, amperes), in order.
    limit_a
        Amperes, positive.

    Notes
    -----
    Re-forming falls about as a power of time, so it is interpolated on logarithmic scales.

    Examples
    --------
    >>> series = [(20, 4.5e-3), (900, 1e-3), (3600, 120e-6), (10800, 50e-6)]
    >>> round(time_in_limit(series, 500e-6) / 60)
    24
    """
    above = [index for index, (_, ampere) in enumerate(readings) if ampere > limit_a]
    if not above:
        return readings[0][0] if readings else None
    last = above[-1]
    if last + 1 == len(readings):
        return None
    before, after = readings[last], readings[last + 1]
    if before[0] <= 0 or after[1] <= 0:
        return after[0]
    share = math.log(limit_a / before[1]) / math.log(after[1] / before[1])
    return float(before[0] * (after[0] / before[0]) ** share)


def time_to_limit(readings: Readings, limit_a: float) -> float | None:
    """Return when the leakage will reach its limit if it goes on as between its last two rows.

    Returns
    -------
    float or None
        Seconds since the voltage was applied; ``None`` where it does not fall, or one row is all.

    Examples
    --------
    >>> round(time_to_limit([(900, 1e-3), (1800, 0.5e-3)], 0.25e-3))
    3600
    """
    rows = [(t, a) for t, a in readings if t > 0 and a > 0]
    if len(rows) < 2 or rows[-1][0] <= rows[-2][0]:
        return None
    (t1, a1), (t2, a2) = rows[-2:]
    slope = math.log(a1 / a2) / math.log(t2 / t1)
    if slope <= 0:
        return None
    # an exponent beyond 700 does not fit a float: it will never get there
    exponent = math.log(a2 / limit_a) / slope
    return t2 * math.exp(exponent) if exponent < 700 else None

"""A response held against a curve, or read as a tone control, a filter or a loudness contour."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.equalisation import Curve
from backtospec.errors import BenchError

Array = NDArray[np.float64]

REFERENCE_HZ = 1000.0
HALF_POWER_DB = 10 * math.log10(0.5)
#: A filter's slope is taken from so far down to so far down.
SLOPE_FROM_DB, SLOPE_TO_DB = -6.0, -45.0
_FEWEST_FOR_SLOPE = 3
#: A control that moves the ends by less does nothing that could be called its turnover.
TURNOVER_DB = 3.0
_NEAR_REFERENCE = 1.03


@dataclass(frozen=True, slots=True)
class Response:
    """A response by frequency.

    Parameters
    ----------
    hz
        Frequencies, ascending, shape (points,).
    db
        Level relative to 1 kHz, decibels.
    u
        Standard uncertainty of each, decibels.
    """

    hz: Array
    db: Array
    u: Array

    def at(self, hz: float) -> tuple[float, float]:
        """Return (level in dB, its standard uncertainty) between the points.

        Raises
        ------
        BenchError
            Outside what was measured.
        """
        if not self.hz[0] <= hz <= self.hz[-1]:
            raise BenchError(
                f"{hz:g} Hz is outside {self.hz[0]:.4g}…{self.hz[-1]:.5g} Hz, which was measured.",
                "frequency",
                "Measure further, or leave this point out.",
            )
        where = np.log(self.hz)
        straight = float(np.interp(math.log(hz), where, self.db))
        bent = float(_bent(where, self.db, np.array([math.log(hz)]))[0])
        noise = float(np.interp(math.log(hz), where, self.u))
        return bent, math.hypot(noise, bent - straight)


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a response passes a level.

    Parameters
    ----------
    hz, hz_u
        The frequency and its standard uncertainty; ``None`` where the response ends before.
    followed_to_hz
        How far outwards the response was followed without passing it.
    """

    hz: float | None
    hz_u: float | None
    followed_to_hz: float | None


@dataclass(frozen=True, slots=True)
class Departure:
    """Response minus curve.

    Parameters
    ----------
    error_db, error_db_u
        By frequency, 0 dB at 1 kHz.
    most_db, most_at_hz, least_db, least_at_hz
        Largest rise above the curve and deepest fall below it, with ``…_u``.
    spread_db
        Half of the distance between the two: the ± of a claim.
    """

    error_db: Mapping[float, float]
    error_db_u: Mapping[float, float]
    most_db: float
    most_db_u: float
    most_at_hz: float
    least_db: float
    least_db_u: float
    least_at_hz: float

    @property
    def spread_db(self) -> float:
        """The ± of a claim."""
        return (self.most_db - self.least_db) / 2

    @property
    def spread_db_u(self) -> float:
        """Standard uncertainty of the ±."""
        return math.hypot(self.most_db_u, self.least_db_u) / 2


@dataclass(frozen=True, slots=True)
class Shelf:
    """One end of a tone control.

    Parameters
    ----------
    extreme_db, extreme_db_u, extreme_at_hz
        Largest lift, or deepest cut, on this side of 1 kHz.
    turnover_hz, turnover_hz_u
        Where the response departs by 3 dB from its level at 1 kHz; ``None`` if it does not.
    shelf_hz, shelf_hz_u
        Where it is still 3 dB short of the extreme.
    """

    extreme_db: float
    extreme_db_u: float
    extreme_at_hz: float
    turnover_hz: float | None = None
    turnover_hz_u: float | None = None
    shelf_hz: float | None = None
    shelf_hz_u: float | None = None


@dataclass(frozen=True, slots=True)
class Cutoff:
    """One side of a filter.

    Parameters
    ----------
    corner
        The −3 dB point.
    slope_db_per_octave, slope_db_per_octave_u
        Final slope of the maximally flat filter that fits best between 6 and 45 dB down;
        ``None`` where too little of it was measured.
    """

    corner: Crossing
    slope_db_per_octave: float | None = None
    slope_db_per_octave_u: float | None = None


def response_of(db: Mapping[float, float], db_u: Mapping[float, float]) -> Response:
    """Return a response from figures by frequency.

    Parameters
    ----------
    db, db_u
        Level and standard uncertainty by frequency in Hz; a missing uncertainty counts as 0.

    Raises
    ------
    BenchError
        With fewer than three points, or none within 3 % of 1 kHz.

    Examples
    --------
    >>> response_of({1000.0: 0.0, 20.0: -1.0, 20e3: -3.0}, {}).hz.tolist()
    [20.0, 1000.0, 20000.0]
    """
    hz = sorted(db)
    near = [one for one in hz if 1 / _NEAR_REFERENCE < one / REFERENCE_HZ < _NEAR_REFERENCE]
    if len(hz) < 3 or not near:
        raise BenchError(
            f"{len(hz)} points of response, {'one' if near else 'none'} of them at 1 kHz, "
            "are too few.",
            "response",
            "Measure at three frequencies or more, 1000 Hz among them.",
        )
    nearest = min(near, key=lambda one: abs(math.log(one / REFERENCE_HZ)))
    level = np.array([db[one] for one in hz]) - db[nearest]
    return Response(np.array(hz), level, np.array([db_u.get(one, 0.0) for one in hz]))


def find_departure(
    response: Response, curve: Curve, low_hz: float = 20.0, high_hz: float = 20_000.0
) -> Departure:
    """Return how far a response departs from a curve, both 0 dB at 1 kHz.

    Parameters
    ----------
    response
        As measured.
    curve
        Decibels at a frequency.
    low_hz, high_hz
        Only this band counts, edges included.

    Raises
    ------
    BenchError
        Without any point in the band.
    """
    inside = (response.hz >= low_hz) & (response.hz <= high_hz)
    if not np.any(inside):
        raise BenchError(
            f"no point of the response lies within {low_hz:g}…{high_hz:g} Hz.",
            "band",
            "Choose a band that was measured.",
        )
    hz, doubt = response.hz[inside], response.u[inside]
    error = response.db[inside] - np.array([curve(float(one)) - curve(REFERENCE_HZ) for one in hz])
    top, bottom = int(np.argmax(error)), int(np.argmin(error))
    return Departure(
        error_db=dict(zip(hz.tolist(), error.tolist(), strict=True)),
        error_db_u=dict(zip(hz.tolist(), doubt.tolist(), strict=True)),
        most_db=float(error[top]),
        most_db_u=float(doubt[top]),
        most_at_hz=float(hz[top]),
        least_db=float(error[bottom]),
        least_db_u=float(doubt[bottom]),
        least_at_hz=float(hz[bottom]),
    )


def find_crossing(
    response: Response, level_db: float, *, upward: bool, from_hz: float = REFERENCE_HZ
) -> Crossing:
    """Return where a response first passes a level, going outwards from a frequency.

    Parameters
    ----------
    response
        As measured.
    level_db
        The level, relative to 1 kHz; from above or from below, whichever is the case.
    upward
        Whether to go to higher frequencies, or to lower ones.
    from_hz
        Where to start.

    Notes
    -----
    Between points by a shape-preserving cubic over the logarithm of frequency. The uncertainty
    is that of the level over the slope, and how far a straight line would lead elsewhere.

    Examples
    --------
    >>> hz = np.geomspace(100.0, 100_000.0, 73)
    >>> fall = -10 * np.log10(1 + (hz / 20e3) ** 2)
    >>> found = find_crossing(Response(hz, fall, 0.01 + 0 * hz), HALF_POWER_DB, upward=True)
    >>> round(found.hz, -1), 20 < found.hz_u < 60
    (20000.0, True)
    """
    side = np.flatnonzero(response.hz >= from_hz if upward else response.hz <= from_hz)
    outward = side if upward else side[::-1]
    if len(outward) == 0:
        return Crossing(None, None, None)
    over = response.db[outward] - level_db
    beyond = np.flatnonzero(over * (1.0 if over[0] >= 0 else -1.0) < 0)
    if len(beyond) == 0:
        return Crossing(None, None, float(response.hz[outward[-1]]))
    inner, outer = sorted((int(outward[beyond[0] - 1]), int(outward[beyond[0]])))
    where = np.log(response.hz)
    fine = np.linspace(where[inner], where[outer], 1001)
    bent = _bent(where, response.db, fine)
    passes = int(np.flatnonzero(np.diff(np.sign(bent - level_db)))[0])
    step = bent[passes + 1] - bent[passes]
    at = float(fine[passes] + (level_db - bent[passes]) / step * (fine[1] - fine[0]))
    slope = (response.db[outer] - response.db[inner]) / (where[outer] - where[inner])
    straight = float(where[inner] + (level_db - response.db[inner]) / slope)
    doubt = float(np.interp(at, where, response.u)) / abs(slope)
    hz = math.exp(at)
    return Crossing(hz, hz * math.hypot(doubt, at - straight), None)


def _bent(where: Array, db: Array, at: Array) -> Array:
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(where, db)(at))


def read_cutoff(response: Response, *, upward: bool) -> Cutoff:
    """Return the −3 dB point and the slope of a filter on one side of 1 kHz.

    Parameters
    ----------
    response
        As measured, with the filter in.
    upward
        The high (treble) filter, or the low (rumble) filter.

    Notes
    -----
    Of a maximally flat filter of any order n, 10·log10(1/g − 1) with the power gain g is a
    straight line of 6.02·n dB per octave; a filter of the first order is one. Fitted by weighted
    least squares; scatter about the line, as from another kind of filter, widens the uncertainty.

    Examples
    --------
    >>> hz = np.geomspace(10.0, 1000.0, 81)
    >>> db = -10 * np.log10(1 + (70 / hz) ** 4)
    >>> found = read_cutoff(Response(hz, db - db[-1], 0.01 + 0 * hz), upward=False)
    >>> f"{found.corner.hz:.1f} Hz, {found.slope_db_per_octave:.2f} dB per octave"
    '70.0 Hz, 12.04 dB per octave'
    """
    corner = find_crossing(response, HALF_POWER_DB, upward=upward)
    side = response.hz >= REFERENCE_HZ if upward else response.hz <= REFERENCE_HZ
    used = side & (response.db <= SLOPE_FROM_DB) & (response.db >= SLOPE_TO_DB)
    if corner.hz is None or np.count_nonzero(used) < _FEWEST_FOR_SLOPE:
        return Cutoff(corner)
    loss = 10 ** (-response.db[used] / 10)
    octaves = np.log2(response.hz[used])
    line = 10 * np.log10(loss - 1)
    doubt = np.maximum(response.u[used] * loss / (loss - 1), 1e-6)
    slope, slope_u = _slope(octaves, line, doubt)
    return Cutoff(corner, abs(slope), slope_u)


def _slope(x: Array, y: Array, u: Array) -> tuple[float, float]:
    """Return the slope of the weighted straight line and its standard uncertainty."""
    weight = u**-2.0
    centre = float(weight @ x / weight.sum())
    spread = float(weight @ (x - centre) ** 2)
    slope = float(weight @ ((x - centre) * y) / spread)
    left = y - slope * (x - centre)
    left = left - weight @ left / weight.sum()
    scatter = float(weight @ left**2) / max(len(x) - 2, 1)
    return slope, math.sqrt(max(scatter, 1.0) / spread)


def read_shelf(response: Response, *, upward: bool) -> Shelf:
    """Return the lift or cut of a tone control on one side of 1 kHz.

    Parameters
    ----------
    response
        As measured, with the control at one end.
    upward
        Treble, or bass.

    Notes
    -----
    Makers mean by turnover frequency the point 3 dB from the level in the middle: common
    practice, no source.

    Examples
    --------
    >>> hz = np.geomspace(20.0, 20_000.0, 121)
    >>> lift = 10 * np.log10((1 + (500 / hz) ** 2) / (1 + (50 / hz) ** 2))
    >>> bass = read_shelf(Response(hz, lift - lift[68], 0 * hz), upward=False)
    >>> round(bass.extreme_db, 1), bass.extreme_at_hz
    (18.4, 20.0)
    """
    side = np.flatnonzero(
        response.hz >= REFERENCE_HZ / _NEAR_REFERENCE
        if upward
        else response.hz <= REFERENCE_HZ * _NEAR_REFERENCE
    )
    at = int(side[np.argmax(np.abs(response.db[side]))])
    extreme = float(response.db[at])
    shelf = Shelf(extreme, float(response.u[at]), float(response.hz[at]))
    if abs(extreme) <= TURNOVER_DB:
        return shelf
    sign = math.copysign(1.0, extreme)
    near = find_crossing(response, sign * TURNOVER_DB, upward=upward)
    far = find_crossing(response, extreme - sign * TURNOVER_DB, upward=upward)
    return Shelf(
        extreme,
        shelf.extreme_db_u,
        shelf.extreme_at_hz,
        turnover_hz=near.hz,
        turnover_hz_u=near.hz_u,
        shelf_hz=far.hz,
        shelf_hz_u=far.hz_u,
    )

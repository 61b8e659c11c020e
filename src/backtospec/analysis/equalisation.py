"""Replay equalisation of gramophone records in closed form, and a response held to it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeAlias, overload

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError

Array = NDArray[np.float64]

REFERENCE_HZ = 1000.0
BASS_POLE_S = 3180e-6
MIDDLE_ZERO_S = 318e-6
TREBLE_POLE_S = 75e-6
LOW_CUT_S = 7950e-6


@overload
def riaa_replay_db(hz: float, *, low_cut: bool = False) -> float: ...
@overload
def riaa_replay_db(hz: Array, *, low_cut: bool = False) -> Array: ...
def riaa_replay_db(hz: float | Array, *, low_cut: bool = False) -> float | Array:
    """Return the RIAA replay curve in decibels, 0 dB at 1 kHz.

    Parameters
    ----------
    hz
        Frequency or frequencies, above 0.
    low_cut
        Include the high-pass of 7950 µs (20 Hz) that IEC 60098 had from 1976.

    Notes
    -----
    H(s) = (1 + s·318 µs) / ((1 + s·3180 µs)(1 + s·75 µs)), times s·7950 µs/(1 + s·7950 µs);
    RIAA (1954), IEC 60098. The curve is brought to 0 dB at 1 kHz with the low cut included.

    Examples
    --------
    >>> f"{riaa_replay_db(20.0):.4f} {riaa_replay_db(20_000.0):.4f}"
    '19.2741 -19.6203'
    >>> f"{riaa_replay_db(20.0, low_cut=True):.4f}"
    '16.2614'
    """
    relative = _unscaled_db(np.asarray(hz, dtype=np.float64), low_cut) - _unscaled_db(
        np.asarray(REFERENCE_HZ), low_cut
    )
    return float(relative) if np.ndim(hz) == 0 else np.asarray(relative)


@overload
def riaa_recording_db(hz: float, *, low_cut: bool = False) -> float: ...
@overload
def riaa_recording_db(hz: Array, *, low_cut: bool = False) -> Array: ...
def riaa_recording_db(hz: float | Array, *, low_cut: bool = False) -> float | Array:
    """Return the inverse of :func:`riaa_replay_db`: what a test record or inverse network does."""
    return -riaa_replay_db(hz, low_cut=low_cut)


def riaa_replay(hz: Array, *, low_cut: bool = False) -> NDArray[np.complex128]:
    """Return the complex RIAA replay transfer, of gain 1 at 1 kHz.

    Examples
    --------
    >>> gain = abs(riaa_replay(np.array([100.0]))[0])
    >>> f"{20 * math.log10(gain):.4f}"
    '13.0885'
    """
    s = 2j * np.pi * np.append(hz, REFERENCE_HZ)
    transfer = (1 + s * MIDDLE_ZERO_S) / ((1 + s * BASS_POLE_S) * (1 + s * TREBLE_POLE_S))
    if low_cut:
        transfer *= s * LOW_CUT_S / (1 + s * LOW_CUT_S)
    return np.asarray(transfer[:-1] / abs(transfer[-1]))


def _unscaled_db(hz: Array, low_cut: bool) -> Array:
    omega = 2 * np.pi * hz
    db = 10 * np.log10(
        (1 + (omega * MIDDLE_ZERO_S) ** 2)
        / ((1 + (omega * BASS_POLE_S) ** 2) * (1 + (omega * TREBLE_POLE_S) ** 2))
    )
    if low_cut:
        db = db - 10 * np.log10(1 + 1 / (omega * LOW_CUT_S) ** 2)
    return np.asarray(db)


Curve: TypeAlias = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far a response departs from a curve.

    Parameters
    ----------
    error_db
        Response minus curve by frequency in Hz, 0 dB at the reference frequency.
    most_db, most_at_hz
        Largest rise above the curve and where.
    least_db, least_at_hz
        Deepest fall below the curve and where.
    """

    error_db: Mapping[float, float]
    most_db: float
    most_at_hz: float
    least_db: float
    least_at_hz: float

    @property
    def spread_db(self) -> float:
        """Half of the distance from the deepest fall to the largest rise: the ± of a claim."""
        return (self.most_db - self.least_db) / 2


def compare(
    response_db: Mapping[float, float],
    curve: Curve,
    *,
    reference_hz: float = REFERENCE_HZ,
    low_hz: float = 0.0,
    high_hz: float = math.inf,
) -> Deviation:
    """Return response minus curve, both 0 dB at the reference frequency.

    Parameters
    ----------
    response_db
        Decibels by frequency in Hz; it must hold the reference frequency.
    curve
        Decibels at a frequency, such as :func:`riaa_replay_db`.
    reference_hz
        Where both are 0 dB.
    low_hz, high_hz
        Only this band is compared, edges included.

    Raises
    ------
    BenchError
        Without a reference point, or without any point in the band.

    Examples
    --------
    >>> found = compare({100.0: 13.2, 1000.0: 0.0, 10_000.0: -14.0}, riaa_replay_db)
    >>> f"{found.most_db:+.2f} dB at {found.most_at_hz:g} Hz, {found.least_db:+.2f} dB"
    '+0.11 dB at 100 Hz, -0.27 dB'
    """
    if reference_hz not in response_db:
        raise BenchError(
            f"the response has no point at {reference_hz:g} Hz to compare from.",
            "response",
            f"Measure at {reference_hz:g} Hz as well.",
        )
    offset_db = response_db[reference_hz] - curve(reference_hz)
    error_db = {
        hz: db - curve(hz) - offset_db for hz, db in response_db.items() if low_hz <= hz <= high_hz
    }
    if not error_db:
        raise BenchError(
            f"no point of the response lies within {low_hz:g}…{high_hz:g} Hz.",
            "band",
            "Choose a band that was measured.",
        )
    top = max(error_db, key=error_db.__getitem__)
    bottom = min(error_db, key=error_db.__getitem__)
    return Deviation(error_db, error_db[top], top, error_db[bottom], bottom)

"""Frequency weightings for noise: A and C of sound level meters, and ITU-R BS.468."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias, assert_never

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

Weighting: TypeAlias = Literal["unweighted", "A", "C", "468"]

_REFERENCE_HZ = 1000.0

# IEC 61672-1, analytical expressions: what fixes the four pole frequencies.
_LOW_HZ, _HIGH_HZ, _MIDDLE_HZ = 10**1.5, 10**3.9, 10**2.45
_HALF_POWER = math.sqrt(0.5)

# ITU-R BS.468-4, Fig. 1a, between 600 Ω and 600 Ω, from source to load.
_TERMINATION_OHM = 600.0
_SHUNT_F = (13.85e-9, 26.82e-9, 9.21e-9, 31.47e-9)
_SERIES_H = (12.88e-3, 26.49e-3)
_SERIES_F = 33.06e-9


def weighting_db(weighting: Weighting, hz: ArrayLike) -> Array:
    """Return a weighting's gain in decibels relative to 1 kHz.

    Parameters
    ----------
    weighting
        ``A``, ``C``, ``468`` or ``unweighted``.
    hz
        Frequencies in Hz, 0 or more, of any shape. Where nothing passes, as at 0 Hz, the gain
        is minus infinity.

    Notes
    -----
    A and C by the analytical expressions of IEC 61672-1; 468 from the passive network of
    ITU-R BS.468-4, Fig. 1a. Only the curve: the quasi-peak meter of BS.468 is not modelled.

    Examples
    --------
    >>> [f"{gain:.2f}" for gain in weighting_db("A", [100.0, 1000.0, 10_000.0])]
    ['-19.14', '0.00', '-2.49']
    >>> f"{weighting_db('468', 6300.0):.2f}"
    '12.22'
    """
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(power_gain(weighting, hz)))


def power_gain(weighting: Weighting, hz: ArrayLike) -> Array:
    """Return the factor by which a weighting multiplies mean square, 1 at 1 kHz.

    Parameters
    ----------
    weighting, hz
        See :func:`weighting_db`.
    """
    frequencies = np.asarray(hz, dtype=np.float64)
    match weighting:
        case "unweighted":
            return np.ones_like(frequencies)
        case "A":
            return _sound_level_a(frequencies) / _sound_level_a(np.array(_REFERENCE_HZ))
        case "C":
            return _sound_level_c(frequencies) / _sound_level_c(np.array(_REFERENCE_HZ))
        case "468":
            return _noise_468(frequencies) / _noise_468(np.array(_REFERENCE_HZ))
        case _:
            assert_never(weighting)


def _double_poles_hz() -> tuple[float, float]:
    """Return the two double poles of A and C, 20.6 and 12 194 Hz."""
    reference, low, high = _REFERENCE_HZ**2, _LOW_HZ**2, _HIGH_HZ**2
    b = (reference + low * high / reference - _HALF_POWER * (low + high)) / (1 - _HALF_POWER)
    root = math.sqrt(b**2 - 4 * low * high)
    return math.sqrt((-b - root) / 2), math.sqrt((-b + root) / 2)


def _sound_level_c(hz: Array) -> Array:
    low, high = _double_poles_hz()
    square = hz**2
    return np.asarray((square / ((square + low**2) * (1 + square / high**2))) ** 2)


def _sound_level_a(hz: Array) -> Array:
    square = hz**2
    second = (3 - math.sqrt(5)) / 2 * _MIDDLE_HZ
    third = (3 + math.sqrt(5)) / 2 * _MIDDLE_HZ
    bass_cut = square**2 / ((square + second**2) * (square + third**2))
    return np.asarray(_sound_level_c(hz) * bass_cut)


def _noise_468(hz: Array) -> Array:
    """Return |load voltage over source voltage|² of the network, by its chain matrix."""
    # The one series capacitor blocks direct voltage: multiply through by its admittance.
    s = 2j * np.pi * hz
    first, second, third, fourth = _SHUNT_F
    # Voltage and current at the load for one volt there, carried back to the source.
    volts = np.ones_like(s)
    amperes = volts / _TERMINATION_OHM + s * fourth * volts
    volts = volts + s * _SERIES_H[1] * amperes
    amperes = amperes + s * third * volts
    blocked = s * _SERIES_F
    volts, amperes = blocked * volts + amperes, blocked * amperes
    amperes = amperes + s * second * volts
    volts = volts + s * _SERIES_H[0] * amperes
    amperes = amperes + s * first * volts
    volts = volts + _TERMINATION_OHM * amperes
    return np.asarray(np.abs(blocked / volts) ** 2)

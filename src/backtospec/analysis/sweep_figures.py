"""Response, harmonics and corners read from the spectrum of a sweep."""

from __future__ import annotations

import math
from typing import TypeAlias

from backtospec.analysis.sweep_spectrum import SweepSpectrum

Figures: TypeAlias = dict[float, float]

REFERENCE_HZ = 1000.0
#: Preferred numbers of the series R40 (ISO 3): about a twelfth of an octave, and they hold every
#: nominal third-octave frequency.
_R40 = (
    *(1.0, 1.06, 1.12, 1.18, 1.25, 1.32, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.12, 2.24, 2.36),
    *(2.5, 2.65, 2.8, 3.0, 3.15, 3.35, 3.55, 3.75, 4.0, 4.25, 4.5, 4.75, 5.0, 5.3, 5.6, 6.0),
    *(6.3, 6.7, 7.1, 7.5, 8.0, 8.5, 9.0, 9.5),
)
_ORDERS = (2, 3, 4, 5)
_KNOWN = 3.0
_CORNER_DB = -3.0103


def grid_hz(low_hz: float, high_hz: float) -> tuple[float, ...]:
    """Return the preferred frequencies (R40) in a range, in ascending order.

    Examples
    --------
    >>> grid_hz(20.0, 26.0)
    (20.0, 21.2, 22.4, 23.6, 25.0)
    """
    decades = range(math.floor(math.log10(low_hz)), math.ceil(math.log10(high_hz)) + 1)
    every = (round(number * 10.0**decade, 6) for decade in decades for number in _R40)
    return tuple(hz for hz in every if low_hz <= hz <= high_hz)


def read_response(spectrum: SweepSpectrum) -> tuple[Figures, Figures, Figures]:
    """Return the response in dB re 1 kHz, its standard uncertainty, and the phase in degrees."""
    reference = spectrum.line(REFERENCE_HZ)
    response, doubt, phase = {}, {}, {}
    for hz in grid_hz(*spectrum.reach_hz()):
        line = spectrum.line(hz)
        response[hz] = 0.0 if hz == REFERENCE_HZ else decibels(line.modulus / reference.modulus)
        doubt[hz] = 0.0 if hz == REFERENCE_HZ else math.hypot(line.db_u, reference.db_u)
        phase[hz] = math.degrees(math.atan2(line.value.imag, line.value.real))
    return response, doubt, phase


def read_harmonics(
    spectrum: SweepSpectrum,
) -> tuple[dict[int, Figures], dict[int, Figures], dict[int, Figures]]:
    """Return, by order, harmonic over fundamental in dB, its uncertainty, and bounds.

    A bound stands where the harmonic is below three standard uncertainties: the reading and two
    of them on top.
    """
    found: dict[int, Figures] = {order: {} for order in _ORDERS}
    doubt: dict[int, Figures] = {order: {} for order in _ORDERS}
    at_most: dict[int, Figures] = {order: {} for order in _ORDERS}
    for order in _ORDERS:
        lowest, highest = spectrum.reach_hz(order)
        for hz in grid_hz(max(lowest, spectrum.reach_hz()[0]), highest):
            fundamental, harmonic = spectrum.line(hz), spectrum.line(hz, order)
            ratio = harmonic.modulus / fundamental.modulus
            if harmonic.modulus > _KNOWN * harmonic.u:
                found[order][hz] = decibels(ratio)
                doubt[order][hz] = harmonic.db_u
            else:
                bound = (harmonic.modulus + 2 * harmonic.u) / fundamental.modulus
                at_most[order][hz] = decibels(bound)
    return found, doubt, at_most


def find_corner(
    spectrum: SweepSpectrum, response: Figures, *, upward: bool
) -> tuple[float | None, float | None, float | None]:
    """Return (−3 dB point, its standard uncertainty, how far the response was followed).

    The first two are ``None`` where it does not fall by 3 dB, the last where it does.

    Parameters
    ----------
    spectrum
        To read between the grid's points.
    response
        Decibels relative to 1 kHz on the grid.
    upward
        Which side of 1 kHz to look at.
    """
    side = [hz for hz in response if (hz >= REFERENCE_HZ if upward else hz <= REFERENCE_HZ)]
    side.sort(reverse=not upward)
    beyond = next((i for i, hz in enumerate(side) if response[hz] < _CORNER_DB), None)
    if beyond is None:
        return None, None, side[-1]
    reference = spectrum.line(REFERENCE_HZ)
    inner, outer = side[beyond - 1], side[beyond]
    slope_db = (response[inner] - response[outer]) / abs(math.log(outer / inner))
    for _ in range(30):
        middle = math.sqrt(inner * outer)
        if decibels(spectrum.line(middle).modulus / reference.modulus) < _CORNER_DB:
            outer = middle
        else:
            inner = middle
    corner = math.sqrt(inner * outer)
    doubt_db = math.hypot(spectrum.line(corner).db_u, reference.db_u)
    return corner, corner * doubt_db / slope_db, None


def decibels(ratio: float) -> float:
    """Return 20·log10 of a ratio of amplitudes; −400 dB stands for nothing."""
    return 20 * math.log10(max(ratio, 1e-20))

"""Lines in a recording without a signal: hum followed through the mains' wandering, and others."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import find_mains, find_single_lines, local_floor
from backtospec.analysis.line_fit import Family, fit_lines, line_spectrum

Array = NDArray[np.float64]

HumCause: TypeAlias = Literal["ripple", "induction-or-loop", "both", "other-multiples"]

#: The mains wanders by some 10 mHz in 10 s: over 2 s its lines still stand still.
PIECE_S = 2.0
_HIGHEST_ORDER = 200
_HIGHEST_HZ = 20_000.0
_LINE_OVER_MEDIAN = 24.0
_SIDE_BINS = 40
#: Once and twice the mains frequency this far apart point at one cause.
_CLEAR_RATIO_DB = 6.0
#: Hum at the output that ordinary speakers do not make audible (a maker's paper on hum, 2003).
_HEARD_V = 2e-3


@dataclass(frozen=True, slots=True)
class HumReading:
    """What the hum lines say about where the hum comes from.

    Parameters
    ----------
    cause
        ``ripple`` where twice the mains frequency leads, ``induction-or-loop`` where once does,
        ``both`` within 6 dB of each other, ``other-multiples`` where neither is heard.
    once_over_twice_db
        Line at the mains frequency over the line at twice that, where both are heard.
    text
        The reading in words, and what to try next.
    """

    cause: HumCause
    once_over_twice_db: float | None
    text: str


@dataclass(frozen=True, slots=True)
class NoiseLine:
    """One line of a recording.

    Parameters
    ----------
    name
        Its nominal frequency for hum, its fitted one otherwise, in Hz.
    hz
        Fitted frequency.
    square, square_u
        Mean square in digital amplitude, noise bias removed, and its standard uncertainty.
    """

    name: str
    hz: float
    square: float
    square_u: float


@dataclass(frozen=True, slots=True)
class FittedHum:
    """Hum of one channel.

    Parameters
    ----------
    lines
        Every multiple of the mains frequency that was found; empty without hum.
    residual
        What is left, shape (samples,).
    parameters
        How many linear parameters were fitted.
    mains_hz, mains_hz_u
        Fitted mains frequency and its standard uncertainty, or ``None``.
    """

    lines: tuple[NoiseLine, ...]
    residual: Array
    parameters: int
    mains_hz: float | None
    mains_hz_u: float | None


def fit_hum(samples: Array, rate_hz: float, nominal_hz: float | None) -> FittedHum:
    """Return hum lines, their mean squares averaged over pieces of about two seconds.

    Parameters
    ----------
    samples
        One channel, shape (samples,).
    rate_hz
        Sampling rate.
    nominal_hz
        50, 60, or ``None`` to try both.
    """
    count = max(1, int(len(samples) / (PIECE_S * rate_hz)))
    pieces = np.array_split(samples - samples.mean(), count)
    shortest = min(len(piece) for piece in pieces)
    stacked = np.stack([piece[:shortest] for piece in pieces], axis=1)
    mains = find_mains(stacked, rate_hz, math.inf, nominal_hz)
    if mains is None:
        return FittedHum((), samples - samples.mean(), 1, None, None)
    start = fit_lines(
        stacked, np.arange(shortest, dtype=float), rate_hz, (Family(mains.hz, mains.orders),)
    )
    mains_hz = start.families[0].hz
    orders = mains.orders + _high_orders(start.residual, rate_hz, mains_hz)
    fits = [
        fit_lines(
            piece[:, None],
            np.arange(len(piece), dtype=float),
            rate_hz,
            (Family(mains_hz, orders),),
        )
        for piece in pieces
    ]
    doubt = np.array([float(fit.amplitude_u[0]) for fit in fits])
    squares = np.stack([np.abs(fit.amplitudes[0][:, 0]) ** 2 for fit in fits])
    mean = np.mean(squares - 2 * doubt[:, None] ** 2, axis=0) / 2
    mean_u = np.sqrt(np.sum(squares * doubt[:, None] ** 2, axis=0)) / count
    weight = np.array([fit.frequency_u[0] ** -2 for fit in fits])
    hz = float(np.sum(weight * [fit.families[0].hz for fit in fits]) / weight.sum())
    base = 50 if abs(hz - 50) < abs(hz - 60) else 60
    lines = tuple(
        NoiseLine(str(k * base), k * hz, float(square), float(square_u))
        for k, square, square_u in zip(orders, mean, mean_u, strict=True)
        if square > 0
    )
    residual = np.concatenate([fit.residual[:, 0] for fit in fits])
    parameters = sum(fit.parameters for fit in fits)
    return FittedHum(lines, residual, parameters, hz, float(weight.sum() ** -0.5))


def _high_orders(residual: Array, rate_hz: float, mains_hz: float) -> tuple[int, ...]:
    """Return orders above the twentieth that stand out of the noise."""
    power = line_spectrum(residual)
    floor = local_floor(power)
    bin_hz = rate_hz / len(residual)
    found = []
    for order in range(21, _HIGHEST_ORDER + 1):
        middle = round(order * mains_hz / bin_hz)
        if order * mains_hz > min(_HIGHEST_HZ, 0.45 * rate_hz) or middle + 2 >= len(power):
            break
        peak = middle - 1 + int(np.argmax(power[middle - 1 : middle + 2]))
        is_top = power[peak] >= power[peak - 1] and power[peak] >= power[peak + 1]
        if is_top and power[peak] > _LINE_OVER_MEDIAN * floor[peak]:
            found.append(order)
    return tuple(found)


def fit_single_lines(hum: FittedHum, rate_hz: float) -> tuple[tuple[NoiseLine, ...], Array, int]:
    """Return single lines to 20 kHz, what is left, and the parameters of hum and lines.

    Parameters
    ----------
    hum
        As found by :func:`fit_hum`.
    rate_hz
        Sampling rate.
    """
    column = hum.residual[:, None]
    found = _standing_out(
        column, rate_hz, find_single_lines(column, rate_hz, (0.0, *(x.hz for x in hum.lines)))
    )
    positions = np.arange(len(column), dtype=float)
    fit = fit_lines(column, positions, rate_hz, tuple(Family(hz, (1,)) for hz in found))
    doubt = float(fit.amplitude_u[0])
    lines = []
    for family, line in zip(fit.families, fit.amplitudes, strict=True):
        amplitude = float(abs(line[0, 0]))
        square = max(amplitude**2 - 2 * doubt**2, 0.0) / 2
        lines.append(NoiseLine(f"{family.hz:.3f}", family.hz, square, amplitude * doubt))
    return tuple(lines), fit.residual[:, 0], hum.parameters + fit.parameters


def _standing_out(column: Array, rate_hz: float, found: tuple[float, ...]) -> tuple[float, ...]:
    """Return the lines in the band that stand above the noise on both sides, not at a cliff."""
    power = line_spectrum(column)
    bin_hz = rate_hz / len(column)
    kept = []
    for hz in found:
        peak = round(hz / bin_hz)
        below = power[max(1, peak - _SIDE_BINS) : max(1, peak - 3)]
        above = power[peak + 4 : peak + 1 + _SIDE_BINS]
        if hz > _HIGHEST_HZ or not len(below) or not len(above):
            continue
        if power[peak] > _LINE_OVER_MEDIAN * max(np.median(below), np.median(above)):
            kept.append(hz)
    return tuple(kept)


def read_hum(hum: FittedHum, volts: float) -> HumReading | None:
    """Return where the hum comes from: once or twice the mains frequency.

    Parameters
    ----------
    hum
        As found by :func:`fit_hum`.
    volts
        Peak volts at digital amplitude 1.0.

    Notes
    -----
    Full-wave ripple is at twice the mains frequency; half-wave supplies, ground loops and
    induction at once (amfone.net, Amforum topic 22916); hum that falls when the chassis is
    touched is grounding (forum.ampage.org tid=46185). The 6 dB are common practice, no source.
    """
    if not hum.lines or hum.mains_hz is None:
        return None
    base = 50 if abs(hum.mains_hz - 50) < abs(hum.mains_hz - 60) else 60
    levels = {line.name: line.square for line in hum.lines}
    once, twice = levels.get(str(base)), levels.get(str(2 * base))
    ratio = 10 * math.log10(once / twice) if once and twice else None
    cause, meaning = _cause(base, once, twice, ratio)
    loudest = max(hum.lines, key=lambda line: line.square)
    loudest_v = volts * math.sqrt(loudest.square)
    text = f"Hum, strongest at {loudest.name} Hz ({1e3 * loudest_v:.3g} mV): {meaning}"
    if volts * math.sqrt(sum(levels.values())) < _HEARD_V:
        text += " Below about 2 mV it is not heard on ordinary speakers."
    return HumReading(cause, ratio, text)


def _cause(
    base: int, once: float | None, twice: float | None, ratio: float | None
) -> tuple[HumCause, str]:
    if once is None and twice is None:
        return "other-multiples", (
            f"neither {base} nor {2 * base} Hz is there, so no cause is plain."
        )
    if once is None or (ratio is not None and ratio < -_CLEAR_RATIO_DB):
        return "ripple", (
            f"{2 * base} Hz leads, as ripple of a full-wave supply does. Look at the filter "
            "capacitors and the supply; hum that changes with the volume control comes in before "
            "it."
        )
    if twice is None or (ratio is not None and ratio > _CLEAR_RATIO_DB):
        return "induction-or-loop", (
            f"{base} Hz leads, as a ground loop, induction or a half-wave supply does. Hum that "
            "falls when the chassis is touched is grounding, not capacitors."
        )
    return "both", (
        f"{base} and {2 * base} Hz are alike, so ripple and induction or a ground loop may both "
        "be there. Short the input and see which one falls."
    )

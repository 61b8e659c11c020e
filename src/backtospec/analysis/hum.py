"""Lines that do not belong to the tone: mains hum with its own frequency, and single lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import interpolated_bin, line_spectrum

Array = NDArray[np.float64]

#: Nominal mains frequencies.
MAINS_HZ = (50.0, 60.0)
_MAINS_TOLERANCE = 0.008
_HIGHEST_ORDER = 20
_MOST_SINGLE_LINES = 12
#: A bin this far above the local median is a line: one false alarm in a million bins.
_LINE_OVER_MEDIAN = 24.0
_SHORTEST_RECORD_S = 0.08
#: Lines nearer than this many cycles per record cannot be told apart.
UNRESOLVED_CYCLES = 0.75


@dataclass(frozen=True, slots=True)
class Mains:
    """Hum found in a residual: frequency, orders present, orders that hide behind the tone."""

    hz: float
    orders: tuple[int, ...]
    hidden: tuple[int, ...]


def local_floor(power: Array) -> Array:
    """Return a smooth median floor of a power spectrum, of the same shape."""
    width = 48
    count = max(1, len(power) // width)
    medians = [float(np.median(part)) for part in np.array_split(power, count)]
    centres = [float(np.mean(part)) for part in np.array_split(np.arange(len(power)), count)]
    return np.asarray(np.interp(np.arange(len(power)), centres, medians))


def find_mains(
    residual: Array, rate_hz: float, tone_hz: float, nominal_hz: float | None
) -> Mains | None:
    """Return the mains hum in what the tone leaves, or ``None``.

    Parameters
    ----------
    residual
        Shape (samples, channels).
    tone_hz
        The tone; a hum line behind one of its harmonics is left out and named.
    nominal_hz
        50, 60, or ``None`` to try both.
    """
    if len(residual) / rate_hz < _SHORTEST_RECORD_S:
        return None
    power = line_spectrum(residual)
    floor = local_floor(power)
    bin_hz = rate_hz / len(residual)
    candidates = (nominal_hz,) if nominal_hz else MAINS_HZ
    found = [_lines_of(power, floor, bin_hz, base) for base in candidates]
    best = max(found, key=lambda lines: sum(p for _, _, p in lines))
    telling = [line for line in best if line[0] in (1, 2, 3, 4, 6)]
    if not telling:
        return None
    order, hz, _ = max(telling, key=lambda line: line[0] ** 2 * line[2])
    mains_hz = hz / order
    orders, hidden = [], []
    for k in range(1, _HIGHEST_ORDER + 1):
        if k * mains_hz > 0.45 * rate_hz:
            break
        away = abs(k * mains_hz - tone_hz * max(1, round(k * mains_hz / tone_hz)))
        if away < UNRESOLVED_CYCLES * bin_hz:
            hidden.append(k)
        elif any(j == k and abs(line - k * mains_hz) < 1.5 * bin_hz for j, line, _ in best):
            orders.append(k)
    return Mains(mains_hz, tuple(orders), tuple(hidden)) if orders else None


def _lines_of(
    power: Array, floor: Array, bin_hz: float, base: float
) -> list[tuple[int, float, float]]:
    """Return (order, frequency, power) of every line near a multiple of a mains frequency."""
    lines = []
    for order in range(1, _HIGHEST_ORDER + 1):
        reach = max(1, int(np.ceil(_MAINS_TOLERANCE * base * order / bin_hz)))
        middle = round(order * base / bin_hz)
        low, high = max(1, middle - reach), middle + reach + 1
        if high >= len(power) - 1:
            break
        peak = low + int(np.argmax(power[low:high]))
        is_top = power[peak] >= power[peak - 1] and power[peak] >= power[peak + 1]
        if is_top and power[peak] > _LINE_OVER_MEDIAN * floor[peak]:
            lines.append((order, interpolated_bin(power, peak) * bin_hz, float(power[peak])))
    return lines


def find_single_lines(
    residual: Array, rate_hz: float, known_hz: tuple[float, ...], guard_bins: int = 4
) -> tuple[float, ...]:
    """Return frequencies of lines in a residual, the strongest first, at most twelve.

    Parameters
    ----------
    residual
        Shape (samples, channels).
    known_hz
        Lines already modelled.
    guard_bins
        Nothing within so many bins of them is taken.
    """
    power = line_spectrum(residual)
    bin_hz = rate_hz / len(residual)
    over = power / np.maximum(local_floor(power), 1e-300)
    taken = np.zeros(len(power), dtype=bool)
    taken[:4] = taken[-3:] = True
    for hz in known_hz:
        middle = round(hz / bin_hz)
        taken[max(0, middle - guard_bins) : middle + guard_bins + 1] = True
    found: list[float] = []
    while len(found) < _MOST_SINGLE_LINES:
        peak = int(np.argmax(np.where(taken, 0, over)))
        if over[peak] < _LINE_OVER_MEDIAN or taken[peak]:
            break
        if power[peak] >= power[peak - 1] and power[peak] >= power[peak + 1]:
            found.append(interpolated_bin(power, peak) * bin_hz)
        taken[max(0, peak - 4) : peak + 5] = True
    return tuple(found)

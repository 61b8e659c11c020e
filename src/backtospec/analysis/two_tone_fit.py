"""Two tones found, fitted with everything they make together, and told apart by their ratio."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import UNRESOLVED_CYCLES, Mains, find_mains, find_single_lines
from backtospec.analysis.lattice_fit import LatticeFit, fit_lattice, lattice_lines
from backtospec.analysis.line_fit import Family, fit_lines, line_spectrum, strongest_line
from backtospec.analysis.two_tone_products import ToneRatio
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_SECOND_RANGE_HZ = (1.0, 96_000.0)
_SEARCH = 0.03
_SEARCH_OF_SPACING = 0.4
_HEARD_IN_SPECTRUM = 1e3
_LEAST_SHARE = 0.01
#: 12.04 dB and 0 dB, each with room for the response of what lies between.
_RATIOS_DB: tuple[tuple[ToneRatio, float, float], ...] = (("4:1", 9.5, 14.5), ("1:1", -3.0, 3.0))
_SHORTEST_CYCLES = 3.0
_FIRST_LINES = (3, 3, 3)
_ALL_LINES = (8, 5, 9)


@dataclass(frozen=True, slots=True)
class FittedPair:
    """Two tones with their products, hum and single lines.

    Parameters
    ----------
    fit
        Frequencies: f1, f2 and, when ``mains`` is not ``None``, the mains frequency. Its
        residual and variance are what is left when single lines are removed too.
    mains
        Hum found beside the tones.
    """

    fit: LatticeFit
    mains: Mains | None


def ordered_pair(first_hz: float, second_hz: float) -> tuple[float, float]:
    """Return both nominal frequencies, the low tone first, refusing what cannot be."""
    low, high = _SECOND_RANGE_HZ
    if not (math.isfinite(second_hz) and low <= second_hz <= high):
        raise BenchError(
            f"{second_hz:g} Hz is outside {low:g}…{high:g} Hz.",
            "second nominal frequency",
            "Give the frequency of the generator's second tone.",
        )
    if first_hz == second_hz:
        raise BenchError(
            f"both tones are given as {first_hz:g} Hz.",
            "second nominal frequency",
            "Give two different frequencies.",
        )
    return min(first_hz, second_hz), max(first_hz, second_hz)


def find_pair(
    samples: Array, rate_hz: float, nominal_hz: tuple[float, float]
) -> tuple[float, float]:
    """Return both frequencies to a fraction of a bin, refusing a recording without them.

    Parameters
    ----------
    samples
        Shape (samples, channels).
    nominal_hz
        What the generator was set to, the low tone first.
    """
    low_hz, high_hz = nominal_hz
    if high_hz >= 0.499 * rate_hz:
        raise BenchError(
            f"a tone of {high_hz:g} Hz does not fit below half of {rate_hz:g} Hz.",
            "nominal frequency",
            "Record at a higher sampling rate.",
        )
    _check_apart(nominal_hz, rate_hz, len(samples))
    power = line_spectrum(samples)
    bin_hz = rate_hz / len(samples)
    strongest = 1 + int(np.argmax(power[1:]))
    floor = float(np.median(power))
    found = []
    for hz in nominal_hz:
        reach = min(_SEARCH * hz, _SEARCH_OF_SPACING * (high_hz - low_hz)) + bin_hz
        low, high = max(hz - reach, bin_hz), min(hz + reach, 0.499 * rate_hz)
        near = power[int(low / bin_hz) : int(high / bin_hz) + 2]
        at = strongest_line(samples, rate_hz, low, high)
        loud = float(near.max(initial=0.0))
        if loud < max(_LEAST_SHARE * power[strongest], _HEARD_IN_SPECTRUM * floor) or not (
            low <= at <= high
        ):
            raise BenchError(
                f"no tone of about {hz:g} Hz (±{100 * reach / hz:.2g} %) is there; the strongest "
                f"is at {strongest * bin_hz:.5g} Hz.",
                "nominal frequency",
                "Give both frequencies the generator was set to.",
            )
        found.append(at)
    return found[0], found[1]


def _check_apart(nominal_hz: tuple[float, float], rate_hz: float, count: int) -> None:
    """Refuse tones whose products fall on each other, and a record too short to part them."""
    low_hz, high_hz = nominal_hz
    products = {0.0}
    spacing_hz = rate_hz
    for m, n in ((1, 0), (0, 1), (1, 1), (1, -1), (2, 1), (2, -1), (1, 2), (1, -2)):
        at = abs(m * low_hz + n * high_hz)
        spacing_hz = min(spacing_hz, *(abs(at - other) for other in products))
        products.add(at)
    if spacing_hz < 1e-6 * low_hz:
        raise BenchError(
            f"products of {low_hz:g} Hz and {high_hz:g} Hz fall on each other or on a tone.",
            "nominal frequency",
            "Use 60 and 7000 Hz, 250 and 8000 Hz, or 19 000 and 20 000 Hz.",
        )
    if count * spacing_hz / rate_hz < _SHORTEST_CYCLES:
        raise BenchError(
            f"{count / rate_hz:.4g} s are too short to part lines {spacing_hz:g} Hz from each "
            f"other; at least {_SHORTEST_CYCLES / spacing_hz:.3g} s are needed.",
            "recording",
            "Record for longer.",
        )


def fit_pair(
    samples: Array,
    positions: Array,
    rate_hz: float,
    start_hz: tuple[float, float],
    mains_nominal_hz: float | None,
) -> FittedPair:
    """Return the two tones, their products, hum and single lines.

    Parameters
    ----------
    samples, positions
        Clean samples, shape (samples, channels), and their index in the file.
    start_hz
        Both tones to about a third of a cycle per record.
    mains_nominal_hz
        50, 60 or ``None`` to try both.
    """
    span = float(positions[-1] - positions[0]) + 1
    few = lattice_lines(start_hz, rate_hz, span, _FIRST_LINES)
    fit = fit_lattice(samples, positions, rate_hz, np.array(start_hz), few)
    hz = (float(fit.hz[0]), float(fit.hz[1]))
    lines = lattice_lines(hz, rate_hz, span, _ALL_LINES)
    fit = fit_lattice(samples, positions, rate_hz, fit.hz, lines)
    if _is_quiet(fit):
        return FittedPair(fit, None)
    mains = find_mains(fit.residual, rate_hz, hz[0], mains_nominal_hz)
    if mains:
        apart_hz = UNRESOLVED_CYCLES * rate_hz / span
        clear = tuple(
            k for k in mains.orders if np.min(np.abs(k * mains.hz - fit.line_hz)) > apart_hz
        )
        mains = Mains(mains.hz, clear, mains.hidden) if clear else None
    if mains:
        more = tuple((m, n, 0) for m, n in lines) + tuple((0, 0, k) for k in mains.orders)
        fit = fit_lattice(samples, positions, rate_hz, np.append(fit.hz, mains.hz), more)
    return FittedPair(_without_single_lines(fit, positions, rate_hz), mains)


def _is_quiet(fit: LatticeFit) -> bool:
    """Return whether only the rounding of the arithmetic is left."""
    strongest = np.max(np.abs(fit.amplitudes), axis=0)
    return bool(np.all(fit.variance < 1e-20 * strongest**2))


def _without_single_lines(fit: LatticeFit, positions: Array, rate_hz: float) -> LatticeFit:
    """Return the fit with lines that belong to nothing taken out of its residual."""
    singles = find_single_lines(fit.residual, rate_hz, (0.0, *fit.line_hz.tolist()))
    if not singles:
        return fit
    families = tuple(Family(hz, (1,)) for hz in singles)
    return fit.with_residual(fit_lines(fit.residual, positions, rate_hz, families).residual)


def tone_ratio(low: float, high: float) -> ToneRatio | None:
    """Return which test the amplitudes of the two tones belong to, or ``None``.

    Examples
    --------
    >>> tone_ratio(0.39, 0.1), tone_ratio(0.1, 0.11), tone_ratio(0.2, 0.1)
    ('4:1', '1:1', None)
    """
    apart_db = 20 * math.log10(max(low, 1e-300) / max(high, 1e-300))
    for ratio, least, most in _RATIOS_DB:
        if least <= apart_db <= most:
            return ratio
    return None

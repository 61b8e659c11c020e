"""What is left of a tone after the fundamental, over one cycle, and what its shape says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import total
from backtospec.analysis.residual_shapes import Fault, ShapeMatch, match_shapes
from backtospec.analysis.tone_fit import FittedTone, fit_tone, orders_below
from backtospec.analysis.tone_search import find_tone
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

ResidualShape: TypeAlias = Fault | Literal["hum", "noise", "unclear"]

PHASE_BINS = 256
_FEWEST_CYCLES = 8
_MOST_ORDER = 100
_CHUNK = 65_536
#: With fewer orders in the band every shape looks like a bend.
_FEWEST_ORDERS = 7
_EXPLAINS = 0.75
_EXPLAINS_WELL = 0.9
_PEAK_SHARE = 0.7

_WORDS: dict[ResidualShape, str] = {
    "crossover": "Crossover: the residual peaks where the wave passes through zero.",
    "symmetric-clipping": "Clipping on both sides: the residual stands at both crests.",
    "clipping-positive": "Clipping of the positive side: the residual stands at that crest.",
    "clipping-negative": "Clipping of the negative side: the residual stands at that crest.",
    "slewing": "Slewing: the slope of the wave is cut off, not its crests.",
    "bend": "A smooth bend: second and third harmonic, no corner anywhere in the cycle.",
    "hum": "Hum: most of the residual does not keep step with the tone.",
    "noise": "Noise only: nothing repeats from cycle to cycle.",
    "unclear": "Distortion that fits none of the known shapes.",
}


@dataclass(frozen=True, slots=True)
class ResidualCycle:
    """The average residual over one cycle of the tone, relative to the fundamental's peak.

    Parameters
    ----------
    phase_deg
        0 where the fundamental rises through zero, 90 at its positive crest; shape (256,).
    residual, residual_u
        What repeats with the tone, and its standard error, at each phase.
    shape
        What the residual is.
    locked_shape
        What the part is that repeats with the tone, where hum outweighs it; else as ``shape``.
    text
        The reading in plain words.
    evidence
        What it rests on.
    confidence
        0…1: how much of the repeating residual the shape explains, or for hum and noise their
        share in the whole.
    sure
        Whether the shape explains nine tenths and no other comes near.
    locked_percent, hum_percent, noise_percent
        Rms of what repeats, of hum, and of the rest, over that of the fundamental.
    """

    phase_deg: Array
    residual: Array
    residual_u: Array
    shape: ResidualShape
    locked_shape: ResidualShape
    text: str
    evidence: tuple[str, ...]
    confidence: float
    sure: bool
    locked_percent: float
    hum_percent: float
    noise_percent: float


def read_cycle(
    samples: Array, rate_hz: float, hz: float, mains_hz: float | None = None
) -> ResidualCycle:
    """Return the average residual of one stretch of a steady tone, and what its shape says.

    Parameters
    ----------
    samples
        One channel, shape (samples,), digital amplitude, without a gap: from 8 cycles up, and
        for a shape from 0.1 s.
    rate_hz
        Sampling rate.
    hz
        The tone, to a fifth of a cycle in the whole stretch, or as it was set.
    mains_hz
        50, 60 or ``None`` to try both.

    Raises
    ------
    BenchError
        When the stretch is shorter than 8 cycles, or its tone is not near ``hz`` (±3 %).

    Examples
    --------
    >>> turn = 2 * np.pi * 997.02 * np.arange(9600) / 48_000
    >>> cut = np.clip(np.sin(turn), -0.98, 0.98)
    >>> read_cycle(0.5 * cut, 48_000, 997.0).shape
    'symmetric-clipping'
    """
    if len(samples) * hz < _FEWEST_CYCLES * rate_hz:
        raise BenchError(
            f"{len(samples) / rate_hz:.4g} s hold less than {_FEWEST_CYCLES} cycles of {hz:g} Hz.",
            "stretch",
            "Take a longer one.",
        )
    column = samples[:, None]
    start_hz = find_tone(column, rate_hz, hz)
    positions = np.arange(len(samples), dtype=np.float64)
    return average_residual(fit_tone(column, positions, rate_hz, start_hz, mains_hz), 0, rate_hz)


def average_residual(fitted: FittedTone, column: int, rate_hz: float) -> ResidualCycle:
    """Return the residual averaged over all cycles against phase, and what its shape says.

    Parameters
    ----------
    fitted
        The tone as :func:`backtospec.analysis.tone_fit.fit_tone` found it.
    column
        Which channel of it.
    rate_hz
        Sampling rate.

    Notes
    -----
    The average over cycles is the sum of the harmonics, to order 100 or half the rate, so that
    it needs no whole number of samples per cycle and leaves no phase empty. Polarity is as
    recorded: an inverting interface exchanges the sides. A tone that shares a line with hum
    cannot be told from it.
    """
    first = complex(fitted.harmonics[0, column])
    size = abs(first)
    cycles = np.asarray(fitted.cycles + np.angle(first) / (2 * np.pi), dtype=np.float64)
    noise = fitted.residual[:, column]
    lines = _aligned_lines(fitted, column, rate_hz, cycles, noise)
    amplitude_u = float(fitted.amplitude_u[column])
    orders = np.arange(2, len(lines) + 2)
    phase_deg = 360 * np.arange(PHASE_BINS) / PHASE_BINS
    angle = np.deg2rad(phase_deg - 90)
    residual = np.real(np.exp(1j * np.outer(angle, orders)) @ lines)
    residual_u = _standard_error(cycles, noise, len(lines), float(fitted.variance[column])) / size
    matches = _matches(lines, amplitude_u / size)
    locked = total(np.abs(lines) * size, amplitude_u, size).ratio or 0.0
    hum = _hum_ratio(fitted, column, amplitude_u) / size
    rest = math.sqrt(2 * float(fitted.variance[column])) / size
    locked_shape, confidence, sure = _locked_shape(matches, locked, len(lines))
    shape = locked_shape
    if hum > locked and (locked > 0 or hum > rest):
        shape, confidence = "hum", hum**2 / (hum**2 + locked**2 + rest**2)
        sure = hum > 2 * locked
    elif locked == 0:
        confidence = rest**2 / (rest**2 + hum**2)
        sure = hum < 0.5 * rest
    return ResidualCycle(
        phase_deg=phase_deg,
        residual=residual,
        residual_u=residual_u,
        shape=shape,
        locked_shape=locked_shape,
        text=_words(shape, locked_shape),
        evidence=_evidence(phase_deg, residual, matches, (locked, hum, rest), fitted),
        confidence=confidence,
        sure=sure,
        locked_percent=100 * locked,
        hum_percent=100 * hum,
        noise_percent=100 * rest,
    )


def _aligned_lines(
    fitted: FittedTone, column: int, rate_hz: float, cycles: Array, noise: Array
) -> Complex:
    """Return harmonics from order 2 over the fundamental, the fundamental turned to phase 0."""
    every = orders_below(0.499 * rate_hz, fitted.hz, _MOST_ORDER)
    known = fitted.harmonics[: len(every), column]
    start = np.angle(known[0])
    turned = known * np.exp(-1j * start * fitted.orders[: len(known)])
    further = np.array(every[len(known) :])
    if len(further):
        turned = np.concatenate((turned, _projected(noise, cycles, further)))
    return np.asarray(turned[1:] / abs(known[0]), dtype=np.complex128)


def _projected(noise: Array, cycles: Array, orders: NDArray[np.int64]) -> Complex:
    """Return harmonics of orders that were not fitted, from what the fit has left."""
    sums = np.zeros(len(orders), dtype=np.complex128)
    for at in range(0, len(noise), _CHUNK):
        turn = np.exp(-2j * np.pi * cycles[at : at + _CHUNK])
        line = turn ** int(orders[0])
        for place in range(len(orders)):
            sums[place] += np.dot(line, noise[at : at + _CHUNK])
            line = line * turn
    return sums * (2 / len(noise))


def _standard_error(cycles: Array, noise: Array, lines: int, variance: float) -> Array:
    """Return the standard error of the average at each phase from the scatter at that phase."""
    place = np.floor((cycles + 0.25) % 1.0 * PHASE_BINS).astype(np.int64) % PHASE_BINS
    count = np.bincount(place, minlength=PHASE_BINS)
    square = np.bincount(place, weights=noise**2, minlength=PHASE_BINS)
    local = np.where(count >= 8, square / np.maximum(count, 1), variance)
    return np.asarray(np.sqrt(local * 2 * lines / len(noise)))


def _matches(lines: Complex, relative_u: float) -> tuple[ShapeMatch, ...]:
    if len(lines) + 1 < _FEWEST_ORDERS:
        return ()
    return match_shapes(lines, 2 * relative_u**2)


def _locked_shape(
    matches: tuple[ShapeMatch, ...], locked: float, lines: int
) -> tuple[ResidualShape, float, bool]:
    """Return the shape of what repeats, how much it explains, and whether that is plain."""
    if locked == 0:
        return "noise", 1.0, True
    if lines + 1 < _FEWEST_ORDERS or matches[0].explained < _EXPLAINS:
        best = matches[0].explained if matches else 0.0
        return "unclear", 1 - best, False
    best, second = matches[0].explained, matches[1].explained
    plain = best >= _EXPLAINS_WELL and 1 - best < 0.5 * (1 - second)
    return matches[0].fault, best, plain


def _hum_ratio(fitted: FittedTone, column: int, amplitude_u: float) -> float:
    """Return the root of the summed squares of the hum lines' amplitudes, noise removed."""
    if fitted.mains is None:
        return 0.0
    squares = np.abs(fitted.fit.amplitudes[1][:, column]) ** 2 - 2 * amplitude_u**2
    return math.sqrt(max(float(squares.sum()), 0.0))


def _words(shape: ResidualShape, locked_shape: ResidualShape) -> str:
    if shape == "hum" and locked_shape not in ("noise", "unclear"):
        return (
            f"{_WORDS['hum']} Beneath it: {_WORDS[locked_shape][0].lower()}"
            + (_WORDS[locked_shape][1:])
        )
    return _WORDS[shape]


def _evidence(
    phase_deg: Array,
    residual: Array,
    matches: tuple[ShapeMatch, ...],
    ratios: tuple[float, float, float],
    fitted: FittedTone,
) -> tuple[str, ...]:
    locked, hum, rest = (100 * ratio for ratio in ratios)
    found = [f"repeats with the tone {locked:.3g} %, hum {hum:.3g} %, noise {rest:.3g} %"]
    if locked > 0:
        size = np.abs(residual)
        before, after = np.roll(size, 1), np.roll(size, -1)
        tops = (size >= before) & (size > after) & (size > _PEAK_SHARE * size.max())
        places = ", ".join(f"{phase_deg[i]:.0f}°" for i in np.flatnonzero(tops)[:8])
        found.append(f"largest at {places} (0° rising through zero, 90° positive crest)")
        half = len(residual) // 2
        odd = (residual - np.roll(residual, half)) / 2
        share = float(np.sum(odd**2) / max(np.sum(residual**2), 1e-300))
        found.append(f"{100 * share:.0f} % of it alike on both halves (odd harmonics)")
    for match in matches[:2] if locked > 0 else ():
        found.append(f"{match.fault} explains {100 * match.explained:.0f} % of it")
    if not matches and locked > 0:
        found.append("too few harmonics below half the sampling rate to see a shape")
    if fitted.mains and fitted.mains.hidden:
        found.append("a harmonic sits on a hum line: hum and distortion are mixed there")
    return tuple(found)

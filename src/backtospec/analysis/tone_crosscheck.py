"""A second opinion on a fitted tone: the same lines through a flat-top window."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.tone_fit import FittedTone, MoreTerms, fit_tone

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Window HFT248D of Heinzel, Rüdiger and Schilling (2002); from memory, held by its tests.
_FLAT_TOP = (
    1.0,
    -1.985844164102,
    1.791176438506,
    -1.282075284005,
    0.667777530266,
    -0.240160796576,
    0.056656381764,
    -0.008134974479,
    0.000624544650,
    -0.000019808998,
    0.000000132974,
)
#: Half the width of its main lobe in bins: nearer lines are read together.
LOBE_BINS = 10
_FEWEST_CYCLES = 24
_LONGEST_SAMPLES = 1 << 19
_MOST_ORDER = 10
_KNOWN = 3.0
#: A line that the window's own noise may move by more than this tells nothing.
_TELLING = 0.5
#: The two readings differ from here on, and where chance explains it once in 370.
DIFFERS_DB = 0.1
_CHANCE = 0.0027
_FLOOR_BINS = (12, 40)


@dataclass(frozen=True, slots=True)
class LineCheck:
    """One line through the window beside its fit.

    Parameters
    ----------
    difference_db
        Windowed minus fitted.
    limit_db
        What the difference may be: 0.1 dB, or what noise explains if that is more.
    """

    difference_db: float
    limit_db: float

    @property
    def agrees(self) -> bool:
        """Whether the two readings agree."""
        return abs(self.difference_db) <= self.limit_db


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """One channel's fundamental and harmonics, each read twice.

    Parameters
    ----------
    lines
        By order, 1 for the fundamental, to the tenth: those that stand out of the noise.
    """

    lines: Mapping[int, LineCheck]

    @property
    def differing(self) -> tuple[int, ...]:
        """Orders on which the two readings do not agree."""
        return tuple(order for order, line in self.lines.items() if not line.agrees)

    @property
    def excess(self) -> float:
        """The largest difference over what is allowed."""
        return max((abs(x.difference_db) / x.limit_db for x in self.lines.values()), default=0.0)


@dataclass(frozen=True, slots=True)
class CheckedTone:
    """A fitted tone with a second opinion on each of its channels.

    Parameters
    ----------
    fitted
        The fit.
    checks
        One per channel; without a line where the record is too short for the window.
    added
        What was followed as well because the two disagreed, in words; ``None`` where they agreed.
    """

    fitted: FittedTone
    checks: tuple[CrossCheck, ...]
    added: str | None = None

    @property
    def excess(self) -> float:
        """The largest difference over what is allowed, of every channel."""
        return max((check.excess for check in self.checks), default=0.0)


@dataclass(frozen=True, slots=True)
class ChannelFit:
    """A checked fit, and which column of it is one channel's."""

    checked: CheckedTone
    column: int

    @property
    def fitted(self) -> FittedTone:
        """The fit itself."""
        return self.checked.fitted


_LADDER = (
    ("hum at the mains frequency", MoreTerms(hum=True)),
    ("lines close to the harmonics", MoreTerms(lines=True)),
    ("a moving level", MoreTerms(level=True)),
    ("a wavering pitch", MoreTerms(pitch=True)),
    ("hum, a moving level and pitch, lines close by", MoreTerms(True, True, True, True)),
)


def fit_checked_tone(
    samples: Array,
    positions: Array,
    rate_hz: float,
    start_hz: float,
    mains_nominal_hz: float | None,
) -> CheckedTone:
    """Return a fitted tone, with terms added until a windowed estimate agrees or none is left.

    Parameters
    ----------
    samples, positions, rate_hz, start_hz, mains_nominal_hz
        See :func:`backtospec.analysis.tone_fit.fit_tone`.

    Notes
    -----
    The fit sees one bin around each line, the window ten: where something else lies between,
    a neighbouring line or the sidebands of a moving level or pitch, the two part. Of all that was
    tried the fit that agrees best is kept.
    """

    def checked(more: MoreTerms | None, added: str | None) -> CheckedTone:
        fitted = fit_tone(samples, positions, rate_hz, start_hz, mains_nominal_hz, more)
        columns = range(samples.shape[1])
        checks = tuple(cross_check(fitted, samples, positions, rate_hz, c) for c in columns)
        return CheckedTone(fitted, checks, added)

    best = checked(None, None)
    for words, more in _LADDER if best.excess > 1 else ():
        tried = checked(more, words)
        if tried.excess < 0.5 * best.excess:
            best = tried
        if best.excess <= 1:
            break
    return best


def cross_check(
    fitted: FittedTone, samples: Array, positions: Array, rate_hz: float, column: int
) -> CrossCheck:
    """Return fundamental and harmonics of one channel through a flat-top window beside the fit.

    Parameters
    ----------
    fitted, samples, positions
        The fit and what it was made of.
    rate_hz
        Sampling rate.
    column
        Which channel.

    Notes
    -----
    Window HFT248D: side lobes −248 dB, a line read within 0.0009 dB wherever it lies between two
    bins; here it is laid along the phase as followed. From 24 cycles, over the middle 2¹⁹ samples
    at most of the longest unbroken stretch. The window's noise is √5.65 times that of the fit. It
    is the larger of the white noise and of what the fit leaves 12 to 40 bins beside the line.
    """
    here = _unbroken(positions)
    cycles = fitted.cycles[here]
    if abs(cycles[-1] - cycles[0]) < _FEWEST_CYCLES:
        return CrossCheck({})
    window = flat_top(len(cycles))
    heard, left = samples[here, column], fitted.residual[here, column]
    bins = fitted.hz * len(cycles) / rate_hz
    orders = [
        int(order)
        for order, line in zip(fitted.orders, fitted.harmonics[:, column], strict=True)
        if order <= _MOST_ORDER
        and order * bins < len(cycles) / 2 - LOBE_BINS
        and abs(line) > _KNOWN * fitted.amplitude_u[column]
    ]
    if not orders:
        return CrossCheck({})
    floor = np.abs(np.fft.rfft(window * left)) ** 2 * 4
    white = 2 * float(fitted.variance[column]) * float(np.sum(window**2))
    turn = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    carrier = np.ones_like(turn)
    found: dict[int, LineCheck] = {}
    for order in range(1, max(orders) + 1):
        carrier = carrier * turn
        if order not in orders:
            continue
        whole, rest = 2 * np.dot(carrier, window * heard), 2 * np.dot(carrier, window * left)
        size = abs(whole - rest)
        noise = math.sqrt(max(white, _beside(floor, round(order * bins))))
        allowed, ratio = _deviations(len(orders)) * noise / size, abs(whole) / size
        if allowed > _TELLING or ratio == 0:
            continue
        # Chance pulls a line further down than up, in decibels.
        chance_db = 20 * abs(math.log10(1 + math.copysign(allowed, ratio - 1)))
        found[order] = LineCheck(20 * math.log10(ratio), max(DIFFERS_DB, chance_db))
    return CrossCheck(found)


def _unbroken(positions: Array) -> slice:
    """Return the longest stretch without a gap, cut to its middle where it is long."""
    edges = np.concatenate(([0], np.flatnonzero(np.diff(positions) != 1) + 1, [len(positions)]))
    longest = int(np.argmax(np.diff(edges)))
    start, end = int(edges[longest]), int(edges[longest + 1])
    spare = max(0, end - start - _LONGEST_SAMPLES) // 2
    return slice(start + spare, end - spare)


@lru_cache(maxsize=2)
def flat_top(count: int) -> Array:
    """Return the flat-top window HFT248D of so many samples, its sum 1."""
    angle = 2 * np.pi * np.arange(count) / count
    window = np.zeros(count)
    for order, coefficient in enumerate(_FLAT_TOP):
        window += coefficient * np.cos(order * angle)
    return np.asarray(window / window.sum())


def _beside(floor: Array, middle: int) -> float:
    """Return the mean square of one part of a windowed line in what lies beside it.

    Half the square of a bin is the variance of either part; its median is ln 2 of its mean.
    """
    near, far = _FLOOR_BINS
    sides = np.concatenate(
        (
            floor[max(1, middle - far) : max(1, middle - near)],
            floor[middle + near : middle + far],
        )
    )
    return float(np.median(sides)) / math.log(2) / 2 if len(sides) else 0.0


def _deviations(lines: int) -> float:
    """Return how many standard deviations one of so many lines may lie off by chance."""
    from scipy.special import ndtri

    return float(-ndtri(_CHANCE / 2 / lines))

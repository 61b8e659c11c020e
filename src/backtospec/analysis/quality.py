"""Is a recording fit to be measured: rails, gaps, resolution, and the shape of a cycle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: A converter that clips does so at, or within 0.2 dB of, digital full scale. Below that a flat
#: top is the amplifier's.
NEAR_FULL_SCALE = 0.98
_SAME_CODE = 2.0**-22
#: TPDF dither and quantisation together are 0.50 steps rms, rectangular dither 0.41, none 0.29.
_UNDITHERED_STEPS = 0.36
_QUANTISED_STEPS = 0.60


def overload_fraction(samples: NDArray[np.floating], cycle_samples: float) -> float:
    """Return the share of samples that sit on a converter's rail; 0 when it did not overload.

    Parameters
    ----------
    samples
        One channel, shape (samples,), digital amplitude.
    cycle_samples
        Samples per cycle of the tone.

    Notes
    -----
    A rail is one extreme value near full scale that is held longer than the crest of a sine of
    that amplitude would hold it, again and again. An amplifier's flat top lies lower, or is
    never held to the last digit.
    """
    share = 0.0
    for sign, top in ((1, samples.max(initial=0.0)), (-1, -samples.min(initial=0.0))):
        if top < NEAR_FULL_SCALE:
            continue
        signed, top = sign * samples.astype(np.float64), float(top)
        held = signed >= top - _SAME_CODE
        longest = int(run_lengths(held).max(initial=0))
        crowd = int(held.sum())
        # Crest of a sine within one 16-bit step of its peak: the longest honest run; and within
        # one 24-bit step: the honest crowd.
        honest = np.arccos(1 - 2.0**-15 / top) / np.pi * cycle_samples + 1
        honest_crowd = np.arccos(1 - 2 * _SAME_CODE / top) / np.pi * len(signed)
        at_the_limit = top >= 1 - 2.0**-15
        if longest > max(2.0, honest) or (at_the_limit and crowd > 20 + 8 * honest_crowd):
            share += crowd / len(samples)
    return share


def middle(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return the (upper) median along the first axis, far quicker than a general median.

    Examples
    --------
    >>> float(middle(np.array([3.0, 1.0, 2.0])))
    2.0
    """
    return np.asarray(np.sort(values, axis=0)[len(values) // 2])


def run_lengths(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the lengths of the runs of true values."""
    starts, ends = run_edges(mask)
    return ends - starts


def run_edges(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (first, one past the last) of each run of true values.

    Examples
    --------
    >>> [edge.tolist() for edge in run_edges(np.array([False, True, True, False, True]))]
    [[1, 4], [3, 5]]
    """
    padded = np.zeros(len(mask) + 2, dtype=np.int8)
    padded[1:-1] = mask
    change = np.diff(padded)
    return np.flatnonzero(change == 1), np.flatnonzero(change == -1)


def quantisation_step(samples: Array) -> float:
    """Return the step of an integer recording in digital amplitude, or 0 for floating point.

    Examples
    --------
    >>> quantisation_step(np.array([3, -7, 1]) / 2**15) == 2**-15
    True
    """
    scaled = samples.ravel() * 2.0**31
    codes = np.round(scaled)
    if not np.array_equal(codes, scaled):
        return 0.0
    bits = int(np.bitwise_or.reduce(codes.astype(np.int64)))
    if bits == 0:
        return 0.0
    return float(bits & -bits) * 2.0**-31


def is_undithered(noise_rms: float, step: float) -> bool:
    """Return whether a 16-bit recording's noise is too small to hold any dither."""
    return step >= 2.0**-15 and noise_rms < _UNDITHERED_STEPS * step


def is_quantisation_limited(noise_rms: float, step: float) -> bool:
    """Return whether the steps of a 16-bit recording set its noise."""
    return step >= 2.0**-15 and noise_rms < _QUANTISED_STEPS * step


@dataclass(frozen=True, slots=True)
class CrestLoss:
    """How far the two crests of a wave fall short of its fundamental, relative to it.

    Positive is flattened. For hard clipping each is about three times the THD.
    """

    positive: float
    negative: float

    @property
    def asymmetric(self) -> bool:
        """Whether one crest is flattened clearly more than the other."""
        deeper = max(self.positive, self.negative)
        return deeper > 0 and abs(self.positive - self.negative) > 0.25 * deeper

    @property
    def polarity(self) -> str:
        """Which crest gives way: ``positive``, ``negative`` or ``symmetric``, as recorded."""
        if not self.asymmetric:
            return "symmetric"
        return "positive" if self.positive > self.negative else "negative"


def crest_loss(harmonics: Complex, orders: NDArray[np.int64]) -> CrestLoss:
    """Return the loss at both crests of the cycle that harmonics make.

    Parameters
    ----------
    harmonics
        Complex peak amplitudes, shape (orders,), the fundamental first.
    orders
        Their orders, 1 first.

    Examples
    --------
    A third harmonic against the crest flattens both sides alike.

    >>> crest_loss(np.array([1, -0.02 + 0j]), np.array([1, 3]))
    CrestLoss(positive=0.02, negative=0.02)
    """
    turn = np.exp(-1j * np.angle(harmonics[0]) * orders[1:])
    aligned = np.real(harmonics[1:] * turn) / abs(harmonics[0])
    odd = orders[1:] % 2 == 1
    return CrestLoss(
        positive=float(-aligned.sum()),
        negative=float(-aligned[odd].sum() + aligned[~odd].sum()),
    )


def is_clipping(thd: float, loss: CrestLoss) -> bool:
    """Return whether the shape says clipping: crests cut off, not merely bent.

    Parameters
    ----------
    thd
        Distortion as a ratio, harmonics to the band edge.

    Notes
    -----
    Common practice, no source: from 0.1 % where a crest loses at least 1.5 times the THD, as
    only cut crests do; from 1 % where the crests are flattened at all.
    """
    deepest = max(loss.positive, loss.negative)
    mean = (loss.positive + loss.negative) / 2
    return (thd >= 1e-3 and deepest > 1.5 * thd and mean > 0.5 * thd) or (
        thd >= 1e-2 and mean > 0.3 * thd
    )

"""Test signals in closed form: harmonics, clipped and bent sines, level plans, noise, rounding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def phase_cycles(frames: int, rate_hz: float, hz: float, start_cycles: float = 0.0) -> Array:
    """Return the phase of a tone at each sample, in cycles, shape (frames,)."""
    return np.asarray(start_cycles + hz * np.arange(frames) / rate_hz, dtype=np.float64)


def harmonic_wave(cycles: Array, amplitudes: Mapping[int, complex]) -> Array:
    """Return a sum of harmonics.

    Parameters
    ----------
    cycles
        Phase of the fundamental in cycles; see :func:`phase_cycles`.
    amplitudes
        Complex peak amplitude by order; a real one is a cosine.

    Examples
    --------
    >>> harmonic_wave(np.array([0.0, 0.25]), {1: 1.0, 2: 0.5}).round(12).tolist()
    [1.5, -0.5]
    """
    wave = np.zeros_like(cycles)
    for order, amplitude in amplitudes.items():
        turn = order * cycles
        angle = 2 * np.pi * (turn - np.round(turn))
        wave += np.real(amplitude) * np.cos(angle) - np.imag(amplitude) * np.sin(angle)
    return wave


def clipped_cosine_harmonics(
    upper: ArrayLike, lower: ArrayLike, orders: Sequence[int]
) -> tuple[Array, Array]:
    """Return (mean, cosine amplitudes by order) of a unit cosine limited to −lower…+upper.

    Parameters
    ----------
    upper, lower
        Where the sides are cut, as a share of the peak; 1 or more leaves the side alone. May be
        arrays of one shape.
    orders
        Orders from 1 up; the first axis of the second result.

    Notes
    -----
    Fourier integral of the three pieces of a half cycle.

    Examples
    --------
    Cut to 0.9 on both sides, the fundamental is 0.96261 and the third harmonic 3.29 % of it.

    >>> _, lines = clipped_cosine_harmonics(0.9, 0.9, (1, 3))
    >>> f"{lines[0]:.5f} {abs(lines[1] / lines[0]):.5f}"
    '0.96261 0.03286'
    """
    top = np.minimum(np.asarray(upper, dtype=np.float64), 1.0)
    bottom = np.minimum(np.asarray(lower, dtype=np.float64), 1.0)
    first, last = np.arccos(top), np.pi - np.arccos(bottom)
    mean = (top * first + np.sin(last) - np.sin(first) - bottom * (np.pi - last)) / np.pi
    lines = []
    for n in orders:
        if n == 1:
            inner = (last - first) / 2 + (np.sin(2 * last) - np.sin(2 * first)) / 4
        else:
            inner = (np.sin((n - 1) * last) - np.sin((n - 1) * first)) / (2 * (n - 1)) + (
                np.sin((n + 1) * last) - np.sin((n + 1) * first)
            ) / (2 * (n + 1))
        flat = (top * np.sin(n * first) + bottom * np.sin(n * last)) / n
        lines.append(2 / np.pi * (flat + inner))
    return np.asarray(mean), np.asarray(lines)


def clipped_wave(
    cycles: Array, amplitude: ArrayLike, upper: float, lower: float, most_order: int
) -> Array:
    """Return a cosine cut at fixed limits, without anything above an order.

    Parameters
    ----------
    cycles
        Phase of the fundamental in cycles.
    amplitude
        Peak amplitude before cutting, one number or one per sample.
    upper, lower
        Limits in the same unit as the amplitude.
    most_order
        Highest harmonic kept, so that none folds back at the band edge.
    """
    drive = np.broadcast_to(np.asarray(amplitude, dtype=np.float64), cycles.shape)
    orders = range(1, most_order + 1)
    steady = np.ndim(amplitude) == 0
    ratio = drive[:1] if steady else drive
    mean, lines = clipped_cosine_harmonics(upper / ratio, lower / ratio, list(orders))
    wave = np.broadcast_to(mean, cycles.shape).copy()
    angle = 2 * np.pi * (cycles - np.round(cycles))
    for order, line in zip(orders, lines, strict=True):
        wave += line * np.cos(order * angle)
    return np.asarray(wave * drive)


def bent_cosine_harmonics(coefficients: Sequence[float], amplitude: float) -> Array:
    """Return amplitudes of DC, H1, H2, … of a polynomial of A·cos(t).

    Parameters
    ----------
    coefficients
        Of x⁰, x¹, x², …
    amplitude
        Peak amplitude A.

    Notes
    -----
    The Chebyshev series of the polynomial, since Tₖ(cos t) = cos kt.

    Examples
    --------
    >>> bent_cosine_harmonics((0, 1, 0.01, 0.02), 1.0).round(6).tolist()
    [0.005, 1.015, 0.005, 0.005]
    """
    scaled = np.asarray(coefficients, dtype=np.float64) * amplitude ** np.arange(len(coefficients))
    return np.asarray(np.polynomial.chebyshev.poly2cheb(scaled))


def level_plan_db(
    levels_db: Sequence[float], pause_s: float, turn_s: float, rate_hz: float
) -> Array:
    """Return a level in decibels per sample that rests at each level and moves evenly between.

    Examples
    --------
    >>> level_plan_db((-20, -10), pause_s=0.002, turn_s=0.002, rate_hz=1000).tolist()
    [-20.0, -20.0, -17.5, -12.5, -10.0, -10.0]
    """
    rest, move = round(pause_s * rate_hz), round(turn_s * rate_hz)
    pieces = [np.full(rest, float(levels_db[0]))]
    for before, after in pairwise(levels_db):
        share = (np.arange(move) + 0.5) / max(move, 1)
        pieces.extend((before + (after - before) * share, np.full(rest, float(after))))
    return np.concatenate(pieces)


def white_noise(shape: int | tuple[int, ...], rms: float, seed: int) -> Array:
    """Return Gaussian white noise of an rms; equal seeds give equal noise."""
    return rms * np.random.default_rng(seed).standard_normal(shape)


def as_recorded(samples: Array, bits: int, dither_seed: int | None = None) -> Array:
    """Return samples rounded to a converter's steps, limited to its range.

    Parameters
    ----------
    samples
        Digital amplitude; beyond ±1 the converter clips.
    bits
        Resolution.
    dither_seed
        With a seed, triangular dither of one step either way is added first.

    Examples
    --------
    >>> as_recorded(np.array([0.5, 2.0, -2.0]), 16).tolist()
    [0.5, 0.999969482421875, -1.0]
    """
    scale = 2.0 ** (bits - 1)
    codes = samples * scale
    if dither_seed is not None:
        chance = np.random.default_rng(dither_seed)
        codes = codes + chance.uniform(-0.5, 0.5, samples.shape)
        codes = codes + chance.uniform(-0.5, 0.5, samples.shape)
    return np.asarray(np.clip(np.round(codes), -scale, scale - 1) / scale)

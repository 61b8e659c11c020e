"""The phase of a tone whose pitch wavers: wow, or a generator that drifts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_BLOCK_CYCLES = 8
_SHORTEST_BLOCK_S = 0.006
_FEWEST_BLOCKS = 24
#: Less wander than this leaves every figure alone; the rms of the phase in radians.
_WANDER_RAD = 2e-3
_OVER_CHANCE = 20.0
_LEAST_GAIN = 0.9
_LOWEST_HZ = 200.0
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class PhaseTrack:
    """Phase of a tone at each sample.

    Parameters
    ----------
    cycles
        Shape (samples,), counted from the middle of the record.
    hz
        Mean frequency.
    wander_hz
        Rms deviation of the frequency from its mean.
    """

    cycles: Array
    hz: float
    wander_hz: float


def follow_phase(
    samples: Array, positions: Array, rate_hz: float, hz: float, always: bool = False
) -> PhaseTrack | None:
    """Return the phase of a tone whose frequency wavers, or ``None`` where it is steady.

    Parameters
    ----------
    samples, positions
        Shape (samples, channels) without a break, and their index in the file.
    rate_hz, hz
        Sampling rate, and the tone to a cycle per block of eight cycles.
    always
        Follow a wander too small to spoil a figure as well.

    Notes
    -----
    Phase of Hann-weighted blocks that overlap by half, smoothed by a least-squares cubic spline
    with as many pieces as still improve it. Slower than about 20 Hz; tones from 200 Hz.
    """
    size = 2 * math.ceil(max(_BLOCK_CYCLES / hz, _SHORTEST_BLOCK_S) * rate_hz / 2)
    count = len(samples) // (size // 2) - 1
    broken = positions[-1] - positions[0] + 1 != len(samples)
    if count < _FEWEST_BLOCKS or broken or hz < _LOWEST_HZ:
        return None
    place = positions - (positions[0] + positions[-1]) / 2
    cycles = hz * place / rate_hz
    middle = place[0] + np.arange(count) * (size // 2) + (size - 1) / 2
    off = _block_phases(samples, cycles, size, count)
    line = np.polynomial.polynomial.polyfit(middle, off, 1)
    wander = off - np.polynomial.polynomial.polyval(middle, line)
    smooth = _smoothed(middle, wander, place, again=always)
    if smooth is None:
        return None
    cycles = cycles + np.polynomial.polynomial.polyval(place, line) + smooth
    for _ in range(_ROUNDS):
        left = _block_phases(samples, cycles, size, count)
        more = _smoothed(middle, left, place, again=True)
        cycles = cycles if more is None else cycles + more
    speed_hz = np.gradient(cycles)[size:-size] * rate_hz
    return PhaseTrack(cycles, float(speed_hz.mean()), float(speed_hz.std()))


def _block_phases(samples: Array, cycles: Array, size: int, count: int) -> Array:
    """Return how far each block's phase lies from a track, in cycles, unwrapped."""
    turn = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)
    window *= 2 / window.sum()

    def in_blocks(signal: Array) -> NDArray[np.complex128]:
        windows = np.lib.stride_tricks.sliding_window_view(signal * turn, size)
        return np.asarray(windows[:: size // 2][:count] @ window)

    phasor = np.empty((count, samples.shape[1]), dtype=np.complex128)
    for column in range(samples.shape[1]):
        # The mean tone is taken out first: its image at twice the frequency would leak.
        mean = in_blocks(samples[:, column]).mean()
        steady = np.real(mean * turn.conj())
        phasor[:, column] = mean + in_blocks(samples[:, column] - steady)
    # Channels may lie at any phase to one another: each is turned onto the first.
    towards = np.sum(phasor * phasor[:, :1].conj(), axis=0)
    phasor = phasor * np.exp(-1j * np.angle(towards))
    return np.asarray(np.unwrap(np.angle(phasor.sum(axis=1))) / (2 * np.pi), dtype=np.float64)


def _smoothed(middle: Array, phase: Array, place: Array, again: bool = False) -> Array | None:
    """Return a smooth curve through block phases at every sample, ``None`` for mere noise."""
    from scipy.interpolate import make_lsq_spline

    flat = float(np.mean((phase - phase.mean()) ** 2))
    best, best_left = None, flat
    most = len(middle) // 2
    for pieces in (*(2**power for power in range(1, most.bit_length() - 1)), most):
        inner = np.linspace(middle[0], middle[-1], pieces + 1)
        knots = np.concatenate(([inner[0]] * 3, inner, [inner[-1]] * 3))
        spline = make_lsq_spline(middle, phase, knots, k=3)
        freedom = len(middle) - pieces - 3
        left = float(np.sum((phase - spline(middle)) ** 2)) / freedom
        if left < _LEAST_GAIN**2 * best_left:
            best, best_left = spline, left
        elif best is not None and pieces > 32:
            break
    if best is None:
        return None
    loud = 2 * math.pi * math.sqrt(flat) > _WANDER_RAD and flat > _OVER_CHANCE * best_left
    return np.asarray(best(place)) if again or loud else None

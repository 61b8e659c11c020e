"""Where the bursts of a gated tone begin and end, found from the sound alone."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import Family, fit_lines
from backtospec.analysis.quality import run_edges

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: A burst stands this far above what surrounds it (6 dB).
_LEAST_STEP = 2.0
#: Below this share of the loudest the level no longer matters (−34 dB).
_FLOOR = 0.02
_BLOCKS_PER_CYCLE = 4
_WINDOW_CYCLES = 2
SHORTEST_CYCLES = 4
_EDGE_REACH_CYCLES = 3
_CARRIED_CYCLES = 16
_EDGE_ORDERS = 5


def find_bursts(samples: Array, rate_hz: float, hz: float) -> tuple[tuple[int, int], ...]:
    """Return (first sample, one past the last) of every burst of four cycles or more.

    Parameters
    ----------
    samples
        Shape (samples, channels), the channels that carry the tone.
    rate_hz, hz
        Sampling rate, and the tone to a few parts in a thousand.

    Notes
    -----
    A burst lies between a rise and a fall of 6 dB or more. One that touches the start or the end
    of the recording counts when it is about as loud as the others.
    """
    block = max(1, round(rate_hz / hz / _BLOCKS_PER_CYCLE))
    level = _level(samples, rate_hz, hz, block)
    edges = _steps(level, round(_WINDOW_CYCLES * rate_hz / hz / block))
    every = [(0, 0), *edges, (len(level), 0)]
    inner, outer = [], []
    for (a, before), (b, after) in pairwise(every):
        if b - a < SHORTEST_CYCLES * rate_hz / hz / block:
            continue
        if before > 0 and after < 0:
            inner.append((a, b))
        elif (a == 0 and after < 0) or (b == len(level) and before > 0):
            outer.append((a, b))
    loud = [_middle(level, a, b) for a, b in inner]
    least = float(np.median(loud)) / 2 if loud else 0.0
    bursts = sorted(inner + [(a, b) for a, b in outer if _middle(level, a, b) >= least])
    return tuple(
        (
            0 if a == 0 else _edge(samples, rate_hz, hz, a * block),
            len(samples) if b == len(level) else _edge(samples, rate_hz, hz, b * block),
        )
        for a, b in bursts
    )


def _middle(level: Array, a: int, b: int) -> float:
    return float(np.median(level[a:b]))


def _level(samples: Array, rate_hz: float, hz: float, block: int) -> Array:
    """Return the tone's level over two cycles, every quarter cycle, the channels added."""
    count = len(samples) // block
    used = samples[: count * block] - samples.mean(axis=0)
    cycles = hz * np.arange(count * block) / rate_hz
    carrier = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    square = np.zeros(count)
    window = max(1, round(_WINDOW_CYCLES * rate_hz / hz / block))
    for channel in range(samples.shape[1]):
        parts = (used[:, channel] * carrier).reshape(count, block).sum(axis=1)
        total = np.concatenate(([0.0], np.cumsum(parts)))
        low = np.maximum(np.arange(count) - window // 2, 0)
        high = np.minimum(low + window, count)
        square += np.abs((total[high] - total[low]) / (high - low)) ** 2
    return np.asarray(np.sqrt(square))


def _steps(level: Array, window: int) -> list[tuple[int, int]]:
    """Return (block, +1 up or −1 down) of every step of the level, in order."""
    log = np.log(np.maximum(level, _FLOOR * level.max()))
    if len(log) <= 2 * window:
        return []
    change = np.zeros(len(log))
    change[window:-window] = log[2 * window :] - log[: -2 * window]
    steps = []
    for sign in (1, -1):
        for a, b in zip(*run_edges(sign * change > math.log(_LEAST_STEP)), strict=True):
            # A flat top spans the step: its middle is where the level changes.
            top = sign * change[a:b]
            flat = np.flatnonzero(top > 0.98 * top.max())
            steps.append((int(a) + int(flat[0] + flat[-1]) // 2, sign))
    return sorted(steps)


def _edge(samples: Array, rate_hz: float, hz: float, near: int) -> int:
    """Return the sample at which one side of a step, carried on, gives way to the other."""
    reach = math.ceil(_EDGE_REACH_CYCLES * rate_hz / hz)
    carried = math.ceil(_CARRIED_CYCLES * rate_hz / hz)
    low, high = max(0, near - reach), min(len(samples), near + reach)
    region = np.arange(low, high, dtype=float)
    before = np.arange(max(0, low - carried), low, dtype=float)
    after = np.arange(high, min(len(samples), high + carried), dtype=float)
    if min(len(before), len(after)) < rate_hz / hz:
        return near
    worse = [
        np.sum((samples[low:high] - _carried_on(samples, rate_hz, hz, side, region)) ** 2, axis=1)
        for side in (before, after)
    ]
    cost = np.concatenate(([0.0], np.cumsum(worse[0] - worse[1])))
    return low + int(np.argmin(cost))


def _carried_on(samples: Array, rate_hz: float, hz: float, side: Array, region: Array) -> Array:
    """Return the tone of one side extrapolated, shape (region, channels)."""
    most = max(1, min(_EDGE_ORDERS, int(0.45 * rate_hz / hz), len(side) // 16))
    family = Family(hz, tuple(range(1, most + 1)), free=False)
    fit = fit_lines(samples[side.astype(int)], side, rate_hz, (family,))
    turn = np.exp(2j * np.pi * hz * (region - fit.centre) / rate_hz)
    powers = turn[:, None] ** np.arange(1, most + 1)
    return np.asarray(np.real(powers @ fit.amplitudes[0]) + fit.dc)

"""The close look at a ramp, only where it matters: high harmonics, fine steps, runs of zeros."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import run_edges
from backtospec.analysis.ramp_grid import Array, Complex, Grid, Single, product

_SHORTEST_ZEROS = 4
#: What is left over the tone, in power: below, no gap of zeros can be there.
_GAP_SHOWS = 1e-6
#: What is left over the distortion, in power: below, the high harmonics do not matter.
_HIGH_SHOWS = 1e-4


@dataclass(frozen=True, slots=True)
class Close:
    """Squares beyond the tenth harmonic, and crest losses, shape (channels, quarters[, 2])."""

    high: Array
    crest: Single


def look_closely(grid: Grid, pieces: Single, lines: Complex, noise: Array) -> Close:
    """Return the squares beyond the tenth harmonic and the crest losses, where distortion shows.

    Parameters
    ----------
    grid, pieces
        The grid, and samples of shape (channels, quarters, samples).
    lines, noise
        Of the fit of ten harmonics. Where the high harmonics matter they are replaced by what
        the fit of every harmonic gives, since those leak into the low ones and count as noise.
    """
    level = np.abs(lines[..., 0])
    high = np.full(level.shape, np.nan)
    crest = np.full((*level.shape, 2), np.nan, dtype=np.float32)
    stated = np.sum(np.abs(lines[..., 1:]) ** 2, axis=-1)
    bias = 4 * noise / grid.quarter * (lines.shape[-1] - 1)
    shows = (level > 1e-6) & (stated - 2 * bias > (grid.closely_from * level) ** 2)
    chosen = shows & (2 * noise > _HIGH_SHOWS * stated)
    if chosen.any():
        taken = pieces[chosen]
        solved, every, _ = grid.every.solve(taken)
        left = taken - product(solved.astype(np.float32), grid.every.columns)
        noise[chosen] = np.einsum("qn,qn->q", left, left) / (grid.quarter - solved.shape[-1])
        kept = lines.shape[-1]
        lines[chosen] = every[:, :kept]
        high[chosen] = np.sum(np.abs(every[:, kept:]) ** 2, axis=-1)
        crest[chosen] = _crest(every, grid.every.orders)
    others = shows & ~chosen
    if others.any():
        crest[others] = _crest(lines[others], grid.stated.orders)
    return Close(high, crest)


def _crest(lines: Complex, orders: NDArray[np.int64]) -> Array:
    """Return what the positive and the negative crest lose, shape (quarters, 2)."""
    unit = lines[:, :1] / np.abs(lines[:, :1])
    aligned = np.real(lines[:, 1:] * unit.conj() ** orders[1:]) / np.abs(lines[:, :1])
    sign = np.where(orders[1:] % 2 == 0, 1.0, -1.0)
    return np.stack((-aligned.sum(axis=1), (aligned * sign).sum(axis=1)), axis=1)


def fine_rows(
    grid: Grid,
    pieces: Single,
    first: int,
    level: Array,
    change: Array,
    square: Array,
    noise: Array,
) -> Array:
    """Return fine steps of level and distortion where a moving level crosses a criterion.

    Parameters
    ----------
    grid, pieces, first
        The grid, samples of shape (channels, quarters, samples), and the first one's index.
    level, change, square, noise
        Amplitude, its relative change over half a quarter, squared harmonics, mean square left.
    """
    if grid.fine is None:
        return np.empty((0, 5))
    thd = np.sqrt(square) / np.where(level > 0, level, 1)
    moving = np.abs(change) > 0.001
    near = np.zeros(level.shape, dtype=bool)
    for criterion in grid.criteria:
        near |= (thd > criterion / 5) & (thd < criterion * 20)
    chosen = np.argwhere(moving & near)
    if not len(chosen):
        return np.empty((0, 5))
    chosen = chosen[np.argsort(chosen[:, 1], kind="stable")]
    size = len(grid.fine.inverse)
    parts = grid.quarter // size
    fine = pieces[chosen[:, 0], chosen[:, 1]].reshape(len(chosen), parts, size)
    _, lines, _ = grid.fine.solve(fine)
    rows = np.empty((len(chosen), parts, 5))
    starts = first + chosen[:, 1] * grid.quarter
    middle = np.arange(parts) * size + (size - 1) / 2
    rows[..., 0] = (starts[:, None] + middle) / grid.rate_hz
    rows[..., 1] = chosen[:, 0][:, None]
    rows[..., 2] = np.abs(lines[..., 0])
    rows[..., 3] = np.sum(np.abs(lines[..., 1:]) ** 2, axis=-1)
    rows[..., 4] = 2 * noise[chosen[:, 0], chosen[:, 1]][:, None] / size
    # Where the supply ripples, clipping comes and goes within a quarter: only its mean counts.
    # A gap of zeros inside a quarter is no step of the level.
    whole = np.all(rows[..., 2] > level[chosen[:, 0], chosen[:, 1]][:, None] / 2, axis=1)
    rows, chosen = rows[whole], chosen[whole]
    thd = np.sqrt(rows[..., 3]) / rows[..., 2]
    rising = np.sign(change[chosen[:, 0], chosen[:, 1]])[:, None]
    return rows[_even(thd, rising)].reshape(-1, 5)


def _even(thd: Array, direction: Array) -> NDArray[np.bool_]:
    """Return which rows of THD move in one direction only, within a tenth of their range."""
    steps = np.diff(thd, axis=1) * direction
    slack = 0.1 * np.ptp(thd, axis=1, keepdims=True)
    return np.asarray(np.all(steps >= -slack, axis=1))


def find_zeros(
    grid: Grid, pieces: Single, first: int, level: Array, noise: Array
) -> NDArray[np.int64]:
    """Return rows of (channel, first sample, one past the last) of runs of exact zeros.

    Looked for only where something is left over that a gap could have made.
    """
    rows: list[tuple[int, int, int]] = []
    for channel, quarter in np.argwhere(noise >= _GAP_SHOWS * level**2):
        zero = pieces[channel, quarter] == 0.0
        if np.count_nonzero(zero) < _SHORTEST_ZEROS:
            continue
        starts, ends = run_edges(zero)
        at = first + int(quarter) * grid.quarter
        rows.extend(
            (int(channel), at + int(a), at + int(b))
            for a, b in zip(starts, ends, strict=True)
            if b - a >= _SHORTEST_ZEROS
        )
    return np.array(rows, dtype=np.int64).reshape(-1, 3)

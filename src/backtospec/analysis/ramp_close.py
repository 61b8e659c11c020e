"""The close look at a ramp, only where it matters: high harmonics, fine steps, runs of zeros."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import run_edges
from backtospec.analysis.ramp_grid import Array, Complex, Grid, Single

_SHORTEST_ZEROS = 4
#: What is left over the tone, in power: below, no gap of zeros can be there.
_GAP_SHOWS = 1e-6
#: What is left over the distortion, in power: below, the high harmonics do not matter.
_HIGH_SHOWS = 1e-4
_MOVES = 0.001


@dataclass(frozen=True, slots=True)
class Close:
    """Which quarters were looked at closely, and what showed.

    Parameters
    ----------
    rows
        (quarter, channel), in order of time, shape (rows, 2).
    values
        Squares beyond the tenth harmonic (NaN where they do not matter), loss of the positive
        and of the negative crest, shape (rows, 3).
    high
        The squares again, shape (channels, quarters), NaN where unknown.
    """

    rows: NDArray[np.int32]
    values: Single
    high: Array


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
    stated = np.sum(np.square(lines[..., 1:].real) + np.square(lines[..., 1:].imag), axis=-1)
    bias = 4 * noise / grid.quarter * (lines.shape[-1] - 1)
    shows = (level > 1e-6) & (stated - 2 * bias > (grid.closely_from * level) ** 2)
    if not shows.any():
        return Close(np.empty((0, 2), np.int32), np.empty((0, 3), np.float32), high)
    crest = np.empty((*level.shape, 2))
    chosen = shows & (2 * noise > _HIGH_SHOWS * stated)
    if chosen.any():
        taken = pieces[chosen]
        solved = grid.every.solve(taken)
        every = grid.every.lines(solved.astype(np.float64))
        left = np.empty_like(taken)
        grid.every.sound(solved, left)
        np.subtract(taken, left, out=left)
        noise[chosen] = np.vecdot(left, left) / (grid.quarter - solved.shape[-1])
        kept = lines.shape[-1]
        lines[chosen] = every[:, :kept]
        high[chosen] = np.sum(np.abs(every[:, kept:]) ** 2, axis=-1)
        crest[chosen] = _crest(every, grid.every.orders)
    others = shows & ~chosen
    if others.any():
        crest[others] = _crest(lines[others], grid.stated.orders)
    quarters, channels = np.nonzero(shows.T)
    values = np.column_stack((high[channels, quarters], crest[channels, quarters]))
    rows = np.column_stack((quarters, channels))
    return Close(rows.astype(np.int32), values.astype(np.float32), high)


def _crest(lines: Complex, orders: NDArray[np.int64]) -> Array:
    """Return what the positive and the negative crest lose, shape (quarters, 2)."""
    unit = lines[:, :1] / np.abs(lines[:, :1])
    aligned = np.real(lines[:, 1:] * unit.conj() ** orders[1:]) / np.abs(lines[:, :1])
    sign = np.where(orders[1:] % 2 == 0, 1.0, -1.0)
    return np.stack((-aligned.sum(axis=1), (aligned * sign).sum(axis=1)), axis=1)


def fine_rows(
    grid: Grid, pieces: Single, level: Array, change: Array, square: Array
) -> tuple[NDArray[np.int32], Single]:
    """Return fine steps of level and distortion where a moving level crosses a criterion.

    Parameters
    ----------
    grid, pieces
        The grid, and samples of shape (channels, quarters, samples).
    level, change, square
        Amplitude, its relative change over half a quarter, squared harmonics.

    Returns
    -------
    tuple
        Rows of (quarter, channel) in order of time, and each one's steps: amplitude and squared
        harmonics, shape (rows, steps, 2).
    """
    parts = grid.fine_parts
    none = np.empty((0, 2), dtype=np.int32), np.empty((0, parts, 2), dtype=np.float32)
    if grid.fine is None:
        return none
    thd = np.sqrt(square) / np.where(level > 0, level, 1)
    near = np.zeros(level.shape, dtype=bool)
    for criterion in grid.criteria:
        near |= (thd > criterion / 5) & (thd < criterion * 20)
    near &= np.abs(change) > _MOVES
    if not near.any():
        return none
    quarters, channels = np.nonzero(near.T)
    fine = pieces[channels, quarters].reshape(len(quarters), parts, -1)
    lines = grid.fine.lines(grid.fine.solve(fine).astype(np.float64))
    amplitude = np.abs(lines[..., 0])
    squares = np.sum(np.abs(lines[..., 1:]) ** 2, axis=-1)
    # Where the supply ripples, clipping comes and goes within a quarter: only its mean counts.
    # A gap of zeros inside a quarter is no step of the level.
    rising = np.sign(change[channels, quarters])[:, None]
    whole = np.all(amplitude > level[channels, quarters][:, None] / 2, axis=1)
    ratio = np.sqrt(squares) / np.where(amplitude > 0, amplitude, 1.0)
    kept = whole & _even(ratio, rising)
    rows = np.column_stack((quarters[kept], channels[kept])).astype(np.int32)
    return rows, np.stack((amplitude[kept], squares[kept]), axis=-1).astype(np.float32)


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
    channels, quarters = np.nonzero(noise >= _GAP_SHOWS * level**2)
    if not len(channels):
        return np.empty((0, 3), dtype=np.int64)
    zero = pieces[channels, quarters] == 0.0
    many = np.flatnonzero(np.count_nonzero(zero, axis=1) >= _SHORTEST_ZEROS)
    # A column of samples that are not zero keeps the rows apart when they are strung together.
    apart = np.pad(zero[many], ((0, 0), (0, 1)))
    starts, ends = run_edges(apart.ravel())
    long = ends - starts >= _SHORTEST_ZEROS
    row, offset = np.divmod(starts[long], apart.shape[1])
    at = first + quarters[many[row]] * grid.quarter + offset
    return np.column_stack((channels[many[row]], at, at + (ends - starts)[long]))

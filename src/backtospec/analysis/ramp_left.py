"""What the harmonics leave of a ramp's quarters: noise, slow movement, and noise by band."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import run_edges
from backtospec.analysis.ramp_grid import QUARTERS, SLOW_STEPS, Array, Grid, Single

#: Few enough to stay in the processor's own memory.
_QUARTERS_AT_ONCE = 64
#: Of a run of frames at rest, cut at the ends of a batch, so many tell the noise.
_FRAMES_A_RUN = 12
#: A frame in whose quarters the level differs by less, as a ratio, rests.
_RESTS = 1e-2
_SURE = 6.0
_HEARD = 10.0


@dataclass(frozen=True, slots=True)
class Left:
    """The stated harmonics of every quarter, and what they leave.

    Parameters
    ----------
    solved
        Coefficients of the fit, shape (channels, quarters, columns).
    noise
        Mean square without DC and slope, shape (channels, quarters).
    slow
        Means over short steps, relative to the quarter's DC, shape (channels, quarters, steps).
    bands
        Mean square by band, shape (frames, channels, bands); NaN where a frame was not taken,
        for its level moves or its neighbours at rest are enough.
    """

    solved: Array
    noise: Array
    slow: Single
    bands: Single


def read_left(grid: Grid, pieces: Single) -> Left:
    """Return the stated harmonics of every quarter, and what they leave.

    Parameters
    ----------
    grid, pieces
        The grid, and samples of shape (channels, quarters, samples).
    """
    channels, count, size = pieces.shape
    solved = np.empty((channels, count, grid.stated.inverse.shape[1]))
    left = np.empty_like(pieces)
    square = np.empty((channels, count))
    slow = np.empty((channels, count, SLOW_STEPS), dtype=np.float32)
    averaging = np.full(size // SLOW_STEPS, SLOW_STEPS / size, dtype=np.float32)
    for channel in range(channels):
        for at in range(0, count, _QUARTERS_AT_ONCE):
            some = slice(at, at + _QUARTERS_AT_ONCE)
            here, model = left[channel, some], grid.stated.solve(pieces[channel, some])
            solved[channel, some] = model
            # DC and slope stay in as they belong to the noise, but a steady DC would swamp it.
            dc = model[:, -4].copy()
            model[:, -3], model[:, -4] = 0.0, dc.mean()
            grid.stated.sound(model, here)
            np.subtract(pieces[channel, some], here, out=here)
            square[channel, some] = np.vecdot(here, here) - size * (dc - dc.mean()) ** 2
            means = (here.reshape(-1, len(averaging)) @ averaging).reshape(-1, SLOW_STEPS)
            slow[channel, some] = means - (dc - dc.mean())[:, None]
    square -= grid.stated.slope_square * solved[..., -3] ** 2
    noise = np.maximum(square, 0.0) / (size - solved.shape[-1])
    return Left(solved, noise, slow, _read_bands(grid, left, solved, noise))


def _read_bands(grid: Grid, left: Single, solved: Array, noise: Array) -> Single:
    """Return noise by band of some of the frames that rest, shape (frames, channels, bands)."""
    channels, count, size = left.shape
    frames = count // QUARTERS
    bands = np.full((frames, channels, len(grid.bands)), np.nan, dtype=np.float32)
    level = np.hypot(solved[..., 0], solved[..., 1])
    for channel, resting in enumerate(_resting(grid, level, noise)):
        cut = left[channel, : frames * QUARTERS].reshape(frames, QUARTERS * size)
        for first, end in zip(*run_edges(resting), strict=True):
            taken = slice(first, end, -(-(end - first) // _FRAMES_A_RUN))
            bands[taken, channel] = _by_band(grid, cut[taken])
    return bands


def _resting(grid: Grid, level: Array, noise: Array) -> NDArray[np.bool_]:
    """Return in which frames the level rests, shape (channels, frames)."""
    frames = level.shape[1] // QUARTERS
    shape = (len(level), frames, QUARTERS)
    levels = level[:, : frames * QUARTERS].reshape(shape)
    noisiest = noise[:, : frames * QUARTERS].reshape(shape).max(axis=-1)
    loudest, doubt = levels.max(axis=-1), np.sqrt(2 / grid.quarter * noisiest)
    drop = loudest - levels.min(axis=-1)
    return np.asarray((loudest > _HEARD * doubt) & (drop < _RESTS * loudest + _SURE * doubt))


def _by_band(grid: Grid, frames: Single) -> Array:
    """Return the mean square of frames by band, shape (frames, bands)."""
    lines = np.fft.rfft(frames * grid.window).view(np.float32)
    parts = [lines[:, 2 * a : 2 * b] for a, b in pairwise(grid.edges)]
    power = np.cumsum([np.vecdot(part, part) for part in parts], axis=0)
    # The columns of the fit have taken their share of the noise.
    freedom = 1 - (grid.stated.inverse.shape[1] - 2) / grid.quarter
    return np.asarray(power.T * (grid.band_scale / freedom))

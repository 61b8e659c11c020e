"""Level, distortion and frequency along a ramp, quarter by quarter."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.plateaus import LevelTrack
from backtospec.analysis.ramp_grid import Array, Grid
from backtospec.analysis.ramp_quarters import Quarters
from backtospec.analysis.setup import CaptureSetup

Mask = NDArray[np.bool_]

_PLAYING_OVER_NOISE = 10.0
_FAINTEST = 1e-6
#: Residue over distortion, in power, from which clipping is taken to come and go.
_RIPPLED = 0.05
_NEIGHBOURS = 5
#: Rows worked on at once: what is passing takes little memory however long the recording is.
_ROWS_AT_ONCE = 4096


@dataclass(frozen=True, slots=True)
class SettledRamp:
    """A ramp that has been fed completely, and what was found along it.

    Parameters
    ----------
    grid, quarters, setup
        How it was cut, what was kept of it, and its calibration.
    names
        Of the channels.
    levels
        Level and distortion, shape (quarters, channels).
    spoiled
        Quarters that cannot be used, shape (quarters,).
    rows
        First quarter of every plateau and one past its last.
    hz
        The tone.
    harmonics_at
        First quarter of each row of harmonics.
    """

    grid: Grid
    quarters: Quarters
    setup: CaptureSetup
    names: tuple[str, ...]
    levels: LevelTrack
    spoiled: Mask
    rows: tuple[tuple[int, int], ...]
    hz: float
    harmonics_at: NDArray[np.int64]

    def moving(self, index: int) -> Mask:
        """Return the quarters in which a channel plays and that lie on no plateau."""
        moving: Mask = np.isfinite(self.levels.level_db[:, index])
        for first, end in self.rows:
            moving[first:end] = False
        return moving


def find_playing(grid: Grid, quarters: Quarters) -> Mask:
    """Return where a tone stands clearly above the noise, shape (quarters, channels)."""
    doubt = np.sqrt(2 * np.maximum(quarters.noise, 0) / grid.quarter)
    amplitude = np.abs(quarters.phasor)
    playing: Mask = (amplitude > _PLAYING_OVER_NOISE * doubt) & (amplitude > _FAINTEST)
    return playing


def level_track(grid: Grid, quarters: Quarters, playing: Mask) -> LevelTrack:
    """Return level and distortion of every quarter, NaN where nothing plays.

    Parameters
    ----------
    grid, quarters
        The ramp.
    playing
        Shape (quarters, channels).
    """
    columns = [np.empty(playing.shape, dtype=np.float32) for _ in range(4)]
    level_db, level_u_db, thd, thd_u = columns
    lines = quarters.harmonics.shape[-1]
    for start in range(0, len(playing), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        amplitude = np.abs(quarters.phasor[part]).astype(np.float64)
        safe = np.where(playing[part], amplitude, np.nan)
        square_u = _square_u(grid, quarters.noise[part])
        level_db[part] = 20 * np.log10(safe)
        level_u_db[part] = 20 / math.log(10) * np.sqrt(square_u) / safe
        thd[part] = np.sqrt(np.maximum(quarters.squares[part] - 2 * lines * square_u, 0.0)) / safe
        thd_u[part] = np.sqrt(lines * square_u) / safe
    looked_at = np.flatnonzero(np.isfinite(quarters.close[:, 0]))
    for start in range(0, len(looked_at), _ROWS_AT_ONCE):
        some = looked_at[start : start + _ROWS_AT_ONCE]
        row, channel = quarters.close_at[some].T
        safe = np.where(playing[row, channel], np.abs(quarters.phasor[row, channel]), np.nan)
        root, root_u = _distortion(grid, quarters, some)
        thd[row, channel], thd_u[row, channel] = root / safe, root_u / safe
    return LevelTrack(grid.quarter_s, *columns)


def _square_u(grid: Grid, noise: NDArray[np.float32]) -> Array:
    """Return the variance of an amplitude that is measured over one quarter."""
    return np.asarray(2 * np.maximum(noise.astype(np.float64), 0.0) / grid.quarter)


def _distortion(
    grid: Grid, quarters: Quarters, looked_at: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Return (amplitude of all harmonics, its uncertainty) of quarters that were looked at."""
    row, channel = quarters.close_at[looked_at].T
    lines = len(grid.every.orders) - 1
    square_u = _square_u(grid, quarters.noise[row, channel])
    whole = quarters.squares[row, channel].astype(np.float64) + quarters.close[looked_at, 0]
    freed = np.maximum(whole - 2 * lines * square_u, 0.0)
    spread = lines * square_u
    # Where the supply ripples, clipping comes and goes: neighbours are averaged, phases locked.
    rippled = 2 * quarters.noise[row, channel] > _RIPPLED * whole
    if rippled.any():
        near = np.arange(_NEIGHBOURS) - _NEIGHBOURS // 2
        around = np.clip(row[rippled, None] + near, 0, len(quarters.phasor) - 1)
        beside = channel[rippled, None]
        place = np.searchsorted(quarters.harmonics_at, around, side="right") - 1
        mean = quarters.harmonics[place, beside].mean(axis=1, dtype=np.complex128)
        meant = np.sum(np.abs(mean) ** 2, axis=-1)
        usual = quarters.squares[around, beside].mean(axis=1, dtype=np.float64)
        unsteady = np.maximum(usual - meant, 0.0) / _NEIGHBOURS
        freed[rippled] = np.maximum(meant - unsteady, 0.0)
        spread[rippled] = unsteady
    return np.sqrt(freed), np.sqrt(spread)


def turning_frequency(
    grid: Grid, quarters: Quarters, playing: Mask, valid: list[int]
) -> tuple[float, float]:
    """Return (the tone's frequency, its uncertainty) from the turning of the phase.

    Each step is weighted by its power.

    Parameters
    ----------
    grid, quarters, playing
        The ramp, and where a tone plays.
    valid
        Channels that may be believed.
    """
    both = np.asarray(playing[:, valid].all(axis=1))
    pair = np.flatnonzero(np.logical_and(both[1:], both[:-1]))
    if not len(pair):
        return grid.hz, math.inf
    turns = np.zeros(len(pair), dtype=np.complex128)
    for channel in valid:
        phasor = quarters.phasor[:, channel].astype(np.complex128)
        turns += phasor[pair + 1] * phasor[pair].conj()
    mean = np.sum(turns)
    spread = np.angle(turns * np.conj(mean))
    weight = np.abs(turns)
    deviation = math.sqrt(float(np.sum(weight * spread**2) / np.sum(weight)) / len(turns))
    scale = 1 / (2 * math.pi * grid.quarter_s)
    return grid.hz + float(np.angle(mean)) * scale, deviation * scale

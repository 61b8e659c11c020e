"""Where the hand rested: stretches of constant level, and constant distortion, in a ramp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import middle, run_edges

Track = NDArray[np.floating]

_WINDOW_S = 0.15
_SHORTEST_S = 0.28
_STEADY_DB_PER_S = 0.05
_CAP_DB_PER_S = 0.8
_TOLERANCE_DB = 0.01
_MOST_DRIFT_DB = 0.15
_MOST_DISTORTION_TREND = 0.02
_ROWS_AT_ONCE = 4096
_STRIDE = 64


@dataclass(frozen=True, slots=True)
class LevelTrack:
    """Level and distortion of the tone along a ramp, one row per quarter frame.

    Parameters
    ----------
    quarter_s
        Time per row.
    level_db
        Shape (quarters, channels), dBFS peak; NaN where no tone plays.
    level_u_db
        Standard uncertainty of each level.
    thd, thd_u
        Distortion as a ratio (noise bias removed, not below 0), and its standard uncertainty.
    """

    quarter_s: float
    level_db: Track
    level_u_db: Track
    thd: Track
    thd_u: Track


def find_plateaus(track: LevelTrack) -> tuple[tuple[int, int], ...]:
    """Return (first quarter, one past the last) of every plateau, in order.

    Parameters
    ----------
    track
        Level and distortion.

    Notes
    -----
    A plateau is 0.28 s or longer; all channels keep their level within 0.05 dB/s (more where the
    level itself is unsteady) and their distortion. A ramp that runs into hard clipping keeps its
    level but not its distortion, so it is none.
    """
    steady = _steady_rows(track)
    found: list[tuple[int, int]] = []
    reached = 0
    for first, end in zip(*run_edges(steady), strict=True):
        if first < reached:
            first = min(reached, end)
        if first == end:
            continue
        grown = _grow(track, int(first), int(end), found[-1][1] if found else 0)
        if _holds(track, *grown):
            found.append(grown)
        reached = max(int(end), grown[1])
    return tuple(found)


def _steady_rows(track: LevelTrack) -> NDArray[np.bool_]:
    """Return the rows at the middle of a window over which no channel's level moves."""
    half = max(2, round(_WINDOW_S / track.quarter_s / 2))
    width = 2 * half + 1
    rows, channels = track.level_db.shape
    steady = np.zeros(rows, dtype=bool)
    if rows < width:
        return steady
    place = np.arange(width) - half
    spread = float(np.sum(place**2))
    steady[half : rows - half] = True
    for first in range(0, rows - width + 1, _ROWS_AT_ONCE):
        some = slice(first, min(first + _ROWS_AT_ONCE, rows - width + 1))
        for channel in range(channels):
            windows = _windows(track.level_db[:, channel], width)[some]
            doubts = _windows(track.level_u_db[:, channel], width)[some]
            slope = windows @ place / spread
            centred = windows - windows.mean(axis=1, keepdims=True) - slope[:, None] * place
            scatter = np.sqrt(np.sum(centred**2, axis=1) / (width - 2))
            doubt = np.maximum(scatter, np.sqrt(np.mean(doubts**2, axis=1))) / np.sqrt(spread)
            allowed = np.maximum(_STEADY_DB_PER_S * track.quarter_s, 5 * doubt)
            allowed = np.minimum(allowed, _CAP_DB_PER_S * track.quarter_s)
            steady[some.start + half : some.stop + half] &= np.abs(slope) < allowed
    return steady


def _windows(track: Track, width: int) -> Track:
    return np.lib.stride_tricks.sliding_window_view(track, width)


def _grow(track: LevelTrack, first: int, end: int, lowest: int) -> tuple[int, int]:
    """Return the stretch with its edges moved to where the level leaves the plateau's own."""
    inside = track.level_db[first:end]
    own_db = middle(inside)
    scatter = 1.4826 * middle(np.abs(inside - own_db))
    doubt = middle(track.level_u_db[first:end])
    tolerance = _TOLERANCE_DB + 4 * np.maximum(scatter, doubt)

    def belongs(rows: slice) -> NDArray[np.bool_]:
        near: NDArray[np.bool_] = np.abs(track.level_db[rows] - own_db) <= tolerance
        return np.asarray(near.all(axis=1))

    own = np.flatnonzero(belongs(slice(first, end)))
    if not len(own):
        return first, first + 1
    first, end = first + int(own[0]), first + int(own[-1]) + 1
    while first > lowest:
        some = slice(max(lowest, first - _STRIDE), first)
        strange = np.flatnonzero(~belongs(some))
        first = some.start + int(strange[-1]) + 1 if len(strange) else some.start
        if len(strange):
            break
    while end < len(track.level_db):
        some = slice(end, min(len(track.level_db), end + _STRIDE))
        strange = np.flatnonzero(~belongs(some))
        end = end + int(strange[0]) if len(strange) else some.stop
        if len(strange):
            break
    return first, end


def _holds(track: LevelTrack, first: int, end: int) -> bool:
    """Return whether a stretch is long enough and neither level nor distortion trends."""
    rows = end - first
    if rows * track.quarter_s < _SHORTEST_S:
        return False
    third = max(1, rows // 3)
    early, late = slice(first, first + third), slice(end - third, end)
    drift = track.level_db[late].mean(axis=0) - track.level_db[early].mean(axis=0)
    if np.any(np.abs(drift) > _MOST_DRIFT_DB):
        return False
    before, after = track.thd[early].mean(axis=0), track.thd[late].mean(axis=0)
    scatter = (track.thd[early].std(axis=0) + track.thd[late].std(axis=0)) / 2
    doubt = np.maximum(scatter, track.thd_u[first:end].mean(axis=0)) * np.sqrt(2 / third)
    allowed = np.maximum(_MOST_DISTORTION_TREND * track.thd[first:end].mean(axis=0), 4 * doubt)
    return bool(np.all(np.abs(after - before) <= np.maximum(allowed, 1e-5)))

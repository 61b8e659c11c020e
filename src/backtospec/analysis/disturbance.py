"""What spoils a warm-up log: jumps, draughts, and the power being off in between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SWING_LAG_S = 22.0
"""A draught swings the reading in 40…120 s, so neighbours this far away differ from it."""
SWING_WINDOW_S = 150.0
SWING_SURE = 3.8
BLOCK = 16


@dataclass(frozen=True, slots=True)
class Jump:
    """A step between two neighbouring readings; ``row`` is the first one after it."""

    time_s: float
    size: float
    row: int


@dataclass(frozen=True, slots=True)
class Pause:
    """The power was off from one time to another, in seconds on the log's clock."""

    off_s: float
    on_s: float


def estimate_noise(time_s: Array, value: Array, step: float) -> float:
    """Return the standard deviation of one reading, from its two neighbours.

    Parameters
    ----------
    time_s, value
        Ascending times in seconds, and readings.
    step
        Smallest step of the meter; the answer is at least step/√12, and at most what a meter
        in order shows (1.5 steps or 0.8 % of the reading), so that a draught through the whole
        log is not taken for noise.
    """
    floor = step / np.sqrt(12)
    if value.size < 5:
        return float(floor * 2)
    bent, weight = _bend(time_s, value, 1)
    # the calmest quarter of the log tells the noise even where a draught fills the rest
    noise = float(np.quantile(_spreads(bent / weight, max(1, bent.size // BLOCK)), 0.25))
    most = max(1.5 * step, 0.008 * float(np.median(np.abs(value))))
    return float(np.clip(noise, floor, max(most, floor)))


def _spreads(deviations: Array, blocks: int) -> Array:
    """Return a standard deviation for each block that outliers do not enlarge."""
    size, longer = divmod(deviations.size, blocks)
    cut = longer * (size + 1)
    spreads = []
    for rows in (deviations[:cut].reshape(-1, size + 1), deviations[cut:].reshape(-1, size)):
        kept = np.sort(np.abs(rows), axis=1)[:, : max(int(0.7 * rows.shape[1]), 2)]
        # the smallest 70 % of a normal distribution have 0.556 of its standard deviation
        spreads.append(np.sqrt(np.mean(kept**2, axis=1)) / 0.556)
    return np.concatenate(spreads)


def _bend(time_s: Array, value: Array, lag: int) -> tuple[Array, Array]:
    """Return how far each reading lies off the line through two others, and its noise gain."""
    before, here, after = time_s[: -2 * lag], time_s[lag:-lag], time_s[2 * lag :]
    share = (here - before) / (after - before)
    line = (1 - share) * value[: -2 * lag] + share * value[2 * lag :]
    return value[lag:-lag] - line, np.sqrt(1 + share**2 + (1 - share) ** 2)


def find_jumps(time_s: Array, value: Array, noise: float, step: float) -> tuple[Jump, ...]:
    """Return the steps between neighbours that no smooth course and no draught explains.

    Parameters
    ----------
    time_s, value
        Strictly ascending times in seconds, and readings.
    noise, step
        Standard deviation of one reading, and the meter's step.

    Notes
    -----
    On a smooth course the change from one reading to the next lies between the changes on
    either side. What lies outside by more than seven standard deviations, while its own
    neighbours keep quiet, is a jump. The newest interval is never judged: one more reading
    tells a jump from a slip of the probe.
    """
    if value.size < 5:
        return ()
    outside = _outside(time_s, value)
    limit = max(7 * np.sqrt(2) * noise, 4 * step, 0.012 * float(np.median(np.abs(value))), 1e-12)
    spacing = np.diff(time_s)
    rate = np.diff(value) / spacing
    jumps = []
    for k in np.flatnonzero(np.abs(outside) > limit):
        around = np.concatenate([rate[max(k - 6, 0) : k], rate[k + 1 : k + 7]]) * spacing[k]
        unrest = np.median(np.abs(around - np.median(around)))
        if unrest <= 0.2 * abs(outside[k]):
            jumps.append(Jump(float(time_s[k + 1]), float(outside[k]), int(k + 1)))
    return tuple(jumps)


def _outside(time_s: Array, value: Array) -> Array:
    """Return by how much each change leaves the range that its neighbours' rates allow."""
    spacing = np.diff(time_s)
    change = np.diff(value)
    rate = change / spacing
    outside = np.zeros(change.size)
    padded = np.concatenate([np.full(3, np.nan), rate, np.full(3, np.nan)])
    windows = sliding_window_view(padded, 7)[1:-1]
    left = _middle(windows[:, :3]) * spacing[1:-1]
    right = _middle(windows[:, 4:]) * spacing[1:-1]
    inner = change[1:-1]
    outside[1:-1] = inner - np.clip(inner, np.minimum(left, right), np.maximum(left, right))
    return outside


def _middle(rows: Array) -> Array:
    """Return the median of each row, NaN left out."""
    known = np.sum(~np.isnan(rows), axis=1)
    here, ascending = np.arange(known.size), np.sort(rows, axis=1)
    middle: Array = (ascending[here, (known - 1) // 2] + ascending[here, known // 2]) / 2
    return middle


def find_draughts(time_s: Array, value: Array, noise: float) -> tuple[tuple[float, float], ...]:
    """Return the ranges (start, end in s) in which the reading swings as in moving air.

    Parameters
    ----------
    time_s, value
        Strictly ascending times in seconds, and readings without jumps.
    noise
        Standard deviation of one reading in still air.
    """
    if value.size < 12:
        return ()
    spacing = float(np.median(np.diff(time_s)))
    lag = max(1, round(SWING_LAG_S / spacing))
    if value.size < 2 * lag + 7:
        return ()
    rest = value - _smooth(time_s, value)
    bent, weight = _bend(time_s, rest, lag)
    # at the turns of a swing it is bent, between them it is steep
    steep = np.abs(rest[2 * lag :] - rest[: -2 * lag]) / np.sqrt(2)
    moved = np.maximum(np.abs(bent) / weight, steep) > SWING_SURE * noise
    width = max(7, round(SWING_WINDOW_S / spacing))
    if moved.size < width:
        return ()
    busy = sliding_window_view(moved, width).mean(axis=1) > 0.55
    inside = np.zeros(moved.size, dtype=bool)
    for k in np.flatnonzero(busy):
        inside[k : k + width] = True
    return _ranges(time_s, inside, moved, lag, width * spacing)


def _ranges(
    time_s: Array, inside: Flags, moved: Flags, lag: int, window_s: float
) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], inside.astype(int), [0]])))
    found: list[tuple[float, float]] = []
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        hits = np.flatnonzero(moved[first:stop]) + first
        # a reading is bent by neighbours one lag away, so the swings reach that far
        start = float(time_s[hits[0]])
        end = float(time_s[min(hits[-1] + 2 * lag, time_s.size - 1)])
        if time_s[-1] - end < max(window_s, SWING_WINDOW_S):
            end = float(time_s[-1])
        if found and start - found[-1][1] < 120:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return tuple(found)


def _smooth(time_s: Array, value: Array) -> Array:
    """Return a smooth course through the readings: line, two decays and one growth."""
    since = (time_s - time_s[0]) / (time_s[-1] - time_s[0])
    shapes = np.column_stack(
        [np.ones(since.size), since, np.exp(-12 * since), np.exp(-4 * since), np.exp(4 * since - 4)]
    )
    course: Array = shapes @ np.linalg.lstsq(shapes, value, rcond=None)[0]
    return course


def find_pauses(time_s: Array, value: Array, noise: float) -> tuple[Pause, ...]:
    """Return the gaps in which the part left its course: power off, or driven; no fault.

    Parameters
    ----------
    time_s, value
        Strictly ascending times in seconds, and readings.
    noise
        Standard deviation of one reading.

    Notes
    -----
    A gap counts when the reading changed by more than six standard deviations across it and
    then went back the other way, as a part does that cooled and warms again. A gap of the
    logger alone leaves the course as it was.
    """
    spacing = np.diff(time_s)
    if spacing.size < 4:
        return ()
    long = np.flatnonzero(spacing > max(60.0, 2.5 * float(np.median(spacing))))
    pauses = []
    for k in long:
        later = long[long > k]
        stop = int(later[0]) + 1 if later.size else value.size
        if stop - k <= 3:
            continue
        change = value[k + 1] - value[k]
        again = float(np.median(value[max(stop - 3, k + 2) : stop])) - value[k + 1]
        limit = 6 * np.sqrt(2) * noise
        if abs(change) > limit and again * change < 0 and abs(again) > limit / 2:
            pauses.append(Pause(float(time_s[k]), float(time_s[k + 1])))
    return tuple(pauses)


def find_power_off(time_s: Array, value: Array, step: float) -> Flags:
    """Return which rows were read with the power off: next to nothing, with a cliff beside.

    A contact that opens for a few seconds is no power switch: runs under 20 s are left to
    :func:`find_jumps`.
    """
    level = float(np.median(np.abs(value)))
    low = np.abs(value) <= max(2 * step, 0.05 * level)
    off = np.zeros(value.size, dtype=bool)
    if level < 20 * step:
        return off
    edges = np.flatnonzero(np.diff(np.concatenate([[0], low.astype(int), [0]])))
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        beside = [value[k] for k in (first - 1, stop) if 0 <= k < value.size]
        cliff = all(abs(v) > 0.4 * level for v in beside)
        length = time_s[min(stop, value.size - 1)] - time_s[max(first - 1, 0)]
        off[first:stop] = cliff and length >= 20
    return off

"""Power at a stated distortion, the knee, and which side clips first."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.setup import CaptureSetup

Array = NDArray[np.float64]

#: A crossing is believed when this share of all louder points lies above it, too.
_AGREEING_SHARE = 0.7
_CLEARLY_LOUDER_DB = 0.3
_MOST_BRACKET_DB = 3.0
_KNEE_FACTOR = 2.0
_KNEE_NEIGHBOURHOOD = (0.3, 4.0)


@dataclass(frozen=True, slots=True)
class PowerAtThd:
    """Power of one channel where its THD passes a criterion.

    Parameters
    ----------
    reached
        Whether it was passed.
    power_w, level_dbfs_peak
        At the criterion; ``None`` when it was not reached.
    at_least_w
        The largest power seen below the criterion, when it was not reached.
    at_most_w
        The smallest power seen, when the distortion was above the criterion throughout.
    """

    reached: bool
    power_w: float | None = None
    power_w_u: float | None = None
    level_dbfs_peak: float | None = None
    at_least_w: float | None = None
    at_most_w: float | None = None


@dataclass(frozen=True, slots=True)
class DistortionTrack:
    """Level and distortion of one channel, in order of time.

    Parameters
    ----------
    time_s, level_db
        Rows with a tone.
    thd
        Ratio, every harmonic, noise bias removed; 0 where noise hides it.
    plateau
        Whether the row is a plateau's mean.
    """

    time_s: Array
    level_db: Array
    thd: Array
    plateau: NDArray[np.bool_]


def power_at_thd(
    track: DistortionTrack, criterion: float, setup: CaptureSetup, channel: str
) -> PowerAtThd:
    """Return the power at which a channel's THD passes a criterion.

    Parameters
    ----------
    track
        Level and distortion in order of time.
    criterion
        THD as a ratio, such as 0.01.
    setup, channel
        Calibration, and the channel's name.

    Notes
    -----
    The logarithm of THD is interpolated over level between neighbours in time on either side
    of the criterion. Of several crossings, up and down, the median is taken.
    """
    above = track.thd >= criterion
    levels = [
        level
        for i in np.flatnonzero(above[1:] != above[:-1])
        if (level := _crossing(track, int(i), criterion)) is not None
        and _agrees(track, level, criterion)
    ]
    if levels:
        level = float(np.median(levels))
        power_w = setup.power_w(channel, 10 ** (level / 20))
        spread = (max(levels) - min(levels)) / 2 if len(levels) > 1 else 0.0
        relative_u = math.log(10) / 20 * max(spread, 0.01)
        return PowerAtThd(
            True, power_w, power_w * setup.relative_power_u(relative_u), level_dbfs_peak=level
        )
    clean = ~above
    if not clean.any():
        lowest = float(np.min(track.level_db)) if len(track.level_db) else -math.inf
        return PowerAtThd(False, at_most_w=setup.power_w(channel, 10 ** (lowest / 20)))
    preferred = clean & track.plateau if (clean & track.plateau).any() else clean
    loudest = float(np.max(track.level_db[preferred]))
    return PowerAtThd(False, at_least_w=setup.power_w(channel, 10 ** (loudest / 20)))


def _crossing(track: DistortionTrack, index: int, criterion: float) -> float | None:
    """Return the level at which THD passes between two rows, or ``None`` when it is no knee."""
    levels, thd = track.level_db[index : index + 2], track.thd[index : index + 2]
    quiet, loud = (0, 1) if thd[0] < thd[1] else (1, 0)
    step = levels[loud] - levels[quiet]
    if not 0 <= step <= _MOST_BRACKET_DB:
        return None
    low, high = math.log(max(thd[quiet], criterion / 100)), math.log(thd[loud])
    share = (math.log(criterion) - low) / (high - low)
    return float(levels[quiet] + share * step)


def _agrees(track: DistortionTrack, level_db: float, criterion: float) -> bool:
    louder = track.level_db > level_db + _CLEARLY_LOUDER_DB
    if not louder.any():
        return True
    return float(np.mean(track.thd[louder] >= 0.9 * criterion)) >= _AGREEING_SHARE


def knee_level(track: DistortionTrack) -> float | None:
    """Return the level in dBFS peak at which THD has doubled over its flat part, or ``None``.

    Notes
    -----
    The flat part is the lowest THD of half-decibel steps of level; the knee is the first step
    above it from which THD stays above twice that figure.
    """
    known = track.thd > 0
    if known.sum() < 4:
        return None
    level, thd = track.level_db[known], track.thd[known]
    order = np.argsort(level, kind="stable")
    level, thd = level[order], thd[order]
    edges = np.arange(level[0], level[-1] + 0.5, 0.5)
    place = np.digitize(level, edges)
    steps = [
        (float(np.mean(level[place == p])), float(np.median(thd[place == p])))
        for p in np.unique(place)
    ]
    lowest = min(range(len(steps)), key=lambda i: steps[i][1])
    limit = _KNEE_FACTOR * max(steps[lowest][1], 1e-12)
    high = [i for i in range(lowest + 1, len(steps)) if steps[i][1] > limit]
    beyond = [i for i in high if all(steps[j][1] > limit for j in range(i, len(steps)))]
    if not beyond:
        return None
    after, before = steps[beyond[0]], steps[beyond[0] - 1]
    span = math.log(after[1] / max(before[1], 1e-12))
    share = math.log(limit / max(before[1], 1e-12)) / span if span > 0 else 1.0
    return before[0] + min(max(share, 0.0), 1.0) * (after[0] - before[0])


def first_clipping(thd: Array, crest: Array, criterion: float) -> tuple[float, float] | None:
    """Return what the positive and the negative crest lose near a criterion, or ``None``.

    Parameters
    ----------
    thd
        Ratio per row.
    crest
        Loss of the positive and negative crest, shape (rows, 2), NaN where unknown.
    criterion
        THD near which clipping begins, such as 0.01.
    """
    low, high = _KNEE_NEIGHBOURHOOD
    near = (thd > low * criterion) & (thd < high * criterion) & np.isfinite(crest[:, 0])
    if not near.any():
        near = (thd > low * criterion) & np.isfinite(crest[:, 0])
    if not near.any():
        return None
    nearest = np.argsort(np.abs(np.log(thd[near] / criterion)), kind="stable")[:5]
    mean = crest[near][nearest].mean(axis=0)
    return float(mean[0]), float(mean[1])

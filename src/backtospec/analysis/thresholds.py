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
_FLUTTER_S = 0.25
_FLUTTER_DB = 0.3
_REACH_S = 0.5
_REACH_ROWS = 40
_NEAR_FACTOR = 2.5
_ENOUGH_ROWS = 5
_LEAST_DOUBT_DB = 0.005
_KNEE_FACTOR = 2.0
_KNEE_STEP_DB = 0.5
_FLAT_FROM_DB = 13.0
_FLAT_TO_DB = 3.0
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
    Around each passage of the criterion the level is fitted over the logarithm of THD. Of
    several passages, up and down, the median is taken.
    """
    above = track.thd >= criterion
    found = [
        passage
        for first, last in _passages(track, above)
        if (passage := _level_at(track, first, last, criterion)) is not None
        and _agrees(track, passage[0], criterion)
    ]
    if found:
        level = float(np.median([level for level, _ in found]))
        spread = max(abs(one - level) for one, _ in found)
        doubt_db = max(spread, float(np.median([doubt for _, doubt in found])), _LEAST_DOUBT_DB)
        power_w = setup.power_w(channel, 10 ** (level / 20))
        relative_u = setup.relative_power_u(math.log(10) / 20 * doubt_db)
        return PowerAtThd(True, power_w, power_w * relative_u, level_dbfs_peak=level)
    clean = ~above
    if not clean.any():
        lowest = float(np.min(track.level_db)) if len(track.level_db) else -math.inf
        return PowerAtThd(False, at_most_w=setup.power_w(channel, 10 ** (lowest / 20)))
    preferred = clean & track.plateau if (clean & track.plateau).any() else clean
    loudest = float(np.max(track.level_db[preferred]))
    return PowerAtThd(False, at_least_w=setup.power_w(channel, 10 ** (loudest / 20)))


def _passages(track: DistortionTrack, above: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return (first, last row) of every passage through the criterion; flutter is one passage."""
    changes = np.flatnonzero(above[1:] != above[:-1])
    passages: list[tuple[int, int]] = []
    for i in changes:
        near = passages and track.time_s[i] - track.time_s[passages[-1][1]] < _FLUTTER_S
        if near:
            passages[-1] = (passages[-1][0], int(i) + 1)
        else:
            passages.append((int(i), int(i) + 1))
    return [(a, b) for a, b in passages if above[a] != above[b]]


def _level_at(
    track: DistortionTrack, first: int, last: int, criterion: float
) -> tuple[float, float] | None:
    """Return (level, doubt in dB) at which one passage meets the criterion, or ``None``.

    Level is fitted as a parabola of log THD through the rows around the passage; between two
    rows alone it is interpolated.
    """
    quiet, loud = (first, last) if track.thd[first] < track.thd[last] else (last, first)
    step = float(track.level_db[loud] - track.level_db[quiet])
    if not -_FLUTTER_DB <= step <= _MOST_BRACKET_DB:
        return None
    inside = slice(max(0, first - _REACH_ROWS), last + 1 + _REACH_ROWS)
    thd, level = track.thd[inside], track.level_db[inside]
    near = (thd > criterion / _NEAR_FACTOR) & (thd < criterion * _NEAR_FACTOR)
    near &= np.abs(track.time_s[inside] - track.time_s[first]) < _REACH_S
    if near.sum() >= _ENOUGH_ROWS:
        place = np.log(thd[near] / criterion)
        both = place.min() < 0 < place.max()
        degree = 2 if near.sum() >= 2 * _ENOUGH_ROWS else 1
        fit = np.polynomial.polynomial.polyfit(place, level[near], degree)
        left = level[near] - np.polynomial.polynomial.polyval(place, fit)
        if both:
            doubt = float(np.sqrt(np.sum(left**2) / max(len(left) - degree - 1, 1) / len(left)))
            return float(fit[0]), doubt
    low = math.log(max(track.thd[quiet], criterion / 100))
    share = (math.log(criterion) - low) / (math.log(track.thd[loud]) - low)
    return float(track.level_db[quiet] + share * step), abs(step) / 6


def _agrees(track: DistortionTrack, level_db: float, criterion: float) -> bool:
    louder = track.level_db > level_db + _CLEARLY_LOUDER_DB
    if not louder.any():
        return True
    return float(np.mean(track.thd[louder] >= 0.9 * criterion)) >= _AGREEING_SHARE


def knee_level(track: DistortionTrack, clean_db: float) -> float | None:
    """Return the level in dBFS peak at which THD has doubled over its flat part, or ``None``.

    Parameters
    ----------
    track
        Level and distortion.
    clean_db
        Level of the 1 % point, or the highest level where that was not reached.

    Notes
    -----
    Common practice, no source: the flat part is the median THD between 13 and 3 dB below the
    given level, in half-decibel steps; the knee is where THD passes twice that and stays above.
    """
    known = track.thd > 0
    below = track.level_db - clean_db
    if not (known & (below > -_FLAT_FROM_DB) & (below < -_FLAT_TO_DB)).any():
        return None
    level, thd = _in_steps(track.level_db[known], track.thd[known])
    flat = (level > clean_db - _FLAT_FROM_DB) & (level < clean_db - _FLAT_TO_DB)
    if not flat.any():
        return None
    limit = _KNEE_FACTOR * float(np.median(thd[flat]))
    under = np.flatnonzero(thd <= limit)
    last = int(under[-1])
    if last + 1 >= len(thd):
        return None
    share = math.log(limit / thd[last]) / math.log(thd[last + 1] / thd[last])
    return float(level[last] + share * (level[last + 1] - level[last]))


def _in_steps(level_db: Array, thd: Array) -> tuple[Array, Array]:
    """Return (mean level, median THD) of the rows in each half-decibel step, in order."""
    place = np.floor(level_db / _KNEE_STEP_DB).astype(int)
    steps = np.unique(place)
    return (
        np.array([float(np.mean(level_db[place == step])) for step in steps]),
        np.array([float(np.median(thd[place == step])) for step in steps]),
    )


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

"""One channel along a ramp: distortion against power, knee, clipping, and tracking."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import CrestLoss
from backtospec.analysis.ramp_grid import Array
from backtospec.analysis.ramp_levels import SettledRamp
from backtospec.analysis.ramp_results import ChannelRamp, CurvePoint, Step, TrackingPoint
from backtospec.analysis.thresholds import (
    DistortionTrack,
    PowerAtThd,
    first_clipping,
    knee_level,
    power_at_thd,
)

ALWAYS_ASKED = (0.01, 0.1)
"""THD ratios whose power every ramp is asked for."""

_MOST_POINTS = 2000
_SURE = 3.0


@dataclass(frozen=True, slots=True)
class ChannelFigures:
    """One channel of a ramp, and its power at every THD that was asked for."""

    channel: ChannelRamp
    at_thd: dict[float, PowerAtThd]


def read_channel(ramp: SettledRamp, index: int, steps: tuple[Step, ...]) -> ChannelFigures:
    """Return the figures of one channel.

    Parameters
    ----------
    ramp
        The ramp.
    index
        Which channel.
    steps
        Its plateaus, read already.
    """
    name = ramp.names[index]
    track = _distortion_track(ramp, index, steps)
    at_thd = {
        criterion: power_at_thd(track, criterion, ramp.setup, name)
        for criterion in ramp.grid.criteria
    }
    clean_db = at_thd[min(ALWAYS_ASKED)].level_dbfs_peak
    if clean_db is None:
        clean_db = float(np.max(track.level_db, initial=-math.inf))
    knee_db = knee_level(track, clean_db)
    loss = _crest_loss(ramp, index)
    known = [
        (tone.distortion.thd_percent, tone.power_w)
        for step in steps
        if (tone := step.channels[name]).distortion is not None
        and tone.distortion.thd_percent is not None
        and tone.power_w is not None
    ]
    floor = min(known) if known else (None, None)
    noise = [tone.noise_floor_dbfs for s in steps if (tone := s.channels[name]).noise_floor_dbfs]
    mean = float(np.mean(ramp.quarters.dc[:, index], dtype=np.float64))
    channel = ChannelRamp(
        valid=True,
        frequency_hz=ramp.hz,
        dc_v=mean * ramp.setup.volts(name),
        noise_floor_dbfs=min(noise) if noise else None,
        curve=_curve(ramp, index, steps),
        thd_floor_percent=floor[0],
        thd_floor_power_w=floor[1],
        knee_level_dbfs_peak=knee_db,
        knee_power_w=None if knee_db is None else ramp.setup.power_w(name, 10 ** (knee_db / 20)),
        first_clipping=loss.polarity if loss else None,
        crest_loss=loss,
    )
    return ChannelFigures(channel, at_thd)


def _crest_loss(ramp: SettledRamp, index: int) -> CrestLoss | None:
    """Return what the crests lose where clipping begins, ``None`` where they lose nothing."""
    count = len(ramp.quarters.phasor)
    quarters, close = ramp.quarters.closely(index, 0, count)
    thd = ramp.levels.thd[quarters, index].astype(np.float64)
    crests = first_clipping(thd, close[:, 1:].astype(np.float64), min(ALWAYS_ASKED))
    return CrestLoss(*crests) if crests and sum(crests) > 0 else None


def _distortion_track(ramp: SettledRamp, index: int, steps: tuple[Step, ...]) -> DistortionTrack:
    """Return level and distortion in order of time: plateaus, fine steps, and quarters."""
    grid, quarters, levels = ramp.grid, ramp.quarters, ramp.levels
    single = ramp.moving(index)
    fine_at = quarters.fine_at
    taken = np.flatnonzero((fine_at[:, 1] == index) & single[fine_at[:, 0]])
    finely = fine_at[taken, 0]
    single[finely] = False
    rest = np.flatnonzero(single)
    thd = levels.thd[rest, index]
    hidden = thd < _SURE * levels.thd_u[rest, index]
    table = []
    for step in steps:
        tone = step.channels[ramp.names[index]]
        if tone.level_dbfs_peak is not None and tone.distortion is not None:
            ratio = (tone.distortion.thd_all_percent or 0.0) / 100
            table.append(((step.start_s + step.end_s) / 2, tone.level_dbfs_peak, ratio, 1.0))
    quarter = np.column_stack(
        (
            (rest + 0.5) * grid.quarter_s,
            levels.level_db[rest, index],
            np.where(hidden, 0.0, thd),
            np.zeros(len(rest)),
        )
    )
    rows = (_fine_rows(ramp, index, taken), quarter, np.array(table).reshape(-1, 4))
    ordered = np.concatenate(rows)
    ordered = ordered[np.argsort(ordered[:, 0], kind="stable")]
    return DistortionTrack(ordered[:, 0], ordered[:, 1], ordered[:, 2], ordered[:, 3].astype(bool))


def _fine_rows(ramp: SettledRamp, index: int, taken: NDArray[np.int64]) -> Array:
    """Return rows of (time, level, THD, 0) of the fine steps of one channel."""
    grid, quarters = ramp.grid, ramp.quarters
    at = quarters.fine_at[taken, 0]
    amplitude, squares = np.moveaxis(quarters.fine[taken].astype(np.float64), -1, 0)
    parts = grid.fine_parts
    lines = 0 if grid.fine is None else len(grid.fine.orders) - 1
    noise = quarters.noise[at, index].astype(np.float64)[:, None]
    bias = 4 * lines * noise * parts / grid.quarter
    # The middle sample of each part.
    time_s = (at[:, None] + (np.arange(parts) + 0.5) / parts) * grid.quarter_s - 0.5 / grid.rate_hz
    rows = (
        time_s,
        20 * np.log10(amplitude),
        np.sqrt(np.maximum(squares - bias, 0.0)) / amplitude,
        np.zeros(amplitude.shape),
    )
    return np.stack(rows, axis=-1).reshape(-1, 4)


def _curve(ramp: SettledRamp, index: int, steps: tuple[Step, ...]) -> tuple[CurvePoint, ...]:
    name = ramp.names[index]
    chosen = np.flatnonzero(ramp.moving(index))
    chosen = chosen[:: max(1, -(-len(chosen) // _MOST_POINTS))]
    columns = (
        ramp.levels.level_db[chosen, index],
        ramp.levels.thd[chosen, index],
        ramp.levels.thd_u[chosen, index],
        ramp.quarters.noise[chosen, index],
    )
    full_w = ramp.setup.power_w(name, 1.0)
    points = []
    for row, level, thd, doubt, noise in zip(
        chosen.tolist(), *(column.tolist() for column in columns), strict=True
    ):
        amplitude = 10 ** (level / 20)
        left = 2 * max(noise, 0.0) / amplitude**2
        points.append(
            CurvePoint(
                time_s=(row + 0.5) * ramp.grid.quarter_s,
                level_dbfs_peak=level,
                power_w=full_w * amplitude**2,
                thd_percent=None if thd < _SURE * doubt else 100 * thd,
                thdn_percent=100 * math.sqrt(left + thd**2),
                plateau=False,
            )
        )
    for step in steps:
        tone = step.channels[name]
        if tone.distortion is None or tone.level_dbfs_peak is None or tone.power_w is None:
            continue
        points.append(
            CurvePoint(
                time_s=(step.start_s + step.end_s) / 2,
                level_dbfs_peak=tone.level_dbfs_peak,
                power_w=tone.power_w,
                thd_percent=tone.distortion.thd_all_percent,
                thdn_percent=next(iter(tone.distortion.thdn_percent.values()), None),
                plateau=True,
            )
        )
    return tuple(sorted(points, key=lambda point: point.time_s))


def read_tracking(ramp: SettledRamp, valid: list[int]) -> tuple[TrackingPoint, ...]:
    """Return right minus left along the ramp; nothing without two valid channels."""
    if valid != [0, 1]:
        return ()
    level_db = ramp.levels.level_db
    both = np.flatnonzero(np.isfinite(level_db).all(axis=1))
    both = both[:: max(1, -(-len(both) // _MOST_POINTS))]
    left, right = level_db[both].astype(np.float64).T
    rows = ((both + 0.5) * ramp.grid.quarter_s, left, right - left)
    return tuple(TrackingPoint(*row) for row in zip(*(r.tolist() for r in rows), strict=True))

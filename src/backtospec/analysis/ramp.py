"""A tone while the volume is turned: plateaus, tracking, distortion against power, clipping."""

from __future__ import annotations

import math

import numpy as np

from backtospec.analysis.notes import FileFacts, channel_names
from backtospec.analysis.plateaus import find_plateaus
from backtospec.analysis.ramp_curves import ALWAYS_ASKED, read_channel, read_tracking
from backtospec.analysis.ramp_frames import RampFrames, condense, feed, merge, settle, start
from backtospec.analysis.ramp_grid import Array, Grid, find_frequency, make_grid
from backtospec.analysis.ramp_health import bridge, find_spoiled, state_notes
from backtospec.analysis.ramp_levels import (
    SettledRamp,
    find_playing,
    level_track,
    turning_frequency,
)
from backtospec.analysis.ramp_remarks import (
    SILENT_AMPLITUDE,
    clipping_notes,
    hum_notes,
    pair_notes,
    refuse_channels,
    silent_ramp,
)
from backtospec.analysis.ramp_results import (
    ChannelRamp,
    CurvePoint,
    RampAnalysis,
    Step,
    TrackingPoint,
)
from backtospec.analysis.ramp_steps import clean_samples, read_step
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.thresholds import PowerAtThd

__all__ = [
    "ChannelRamp",
    "CurvePoint",
    "RampAnalysis",
    "Step",
    "TrackingPoint",
    "analyse_ramp",
    "condense",
    "excerpt_ranges",
    "excerpts",
    "feed",
    "find_frequency",
    "finish",
    "grid_for",
    "merge",
    "silent_ramp",
    "start",
]


def grid_for(rate_hz: float, hz: float, setup: CaptureSetup) -> Grid:
    """Return the grid for a ramp, with the THD criteria its setup asks for.

    Parameters
    ----------
    rate_hz
        Sampling rate.
    hz
        From :func:`find_frequency`.
    setup
        Its rated THD is looked for too.
    """
    rated = () if setup.rated_thd_percent is None else (setup.rated_thd_percent / 100,)
    return make_grid(rate_hz, hz, tuple(sorted({*ALWAYS_ASKED, *rated})))


def analyse_ramp(samples: Array, file: FileFacts, setup: CaptureSetup) -> RampAnalysis:
    """Return the figures of a ramp held in memory.

    Parameters
    ----------
    samples
        Shape (frames, channels), digital amplitude.
    file, setup
        Facts of the file, calibration and nominal frequency.

    Raises
    ------
    BenchError
        When no tone near the nominal frequency is found.
    """
    rate_hz = float(file.sample_rate_hz)
    if float(np.max(np.std(samples, axis=0), initial=0.0)) < SILENT_AMPLITUDE:
        return silent_ramp(file, channel_names(samples.shape[1]))
    hz = find_frequency(excerpts(samples, rate_hz), rate_hz, setup.nominal_hz)
    state = start(grid_for(rate_hz, hz, setup), samples.shape[1])
    return finish(feed(state, samples), file, setup)


def excerpts(samples: Array, rate_hz: float, count: int = 8) -> tuple[Array, ...]:
    """Return short stretches spread evenly over a recording, for :func:`find_frequency`."""
    return tuple(samples[a:b] for a, b in excerpt_ranges(len(samples), rate_hz, count))


def excerpt_ranges(frames: int, rate_hz: float, count: int = 8) -> tuple[tuple[int, int], ...]:
    """Return (first, one past the last) of short stretches spread evenly over a recording."""
    length = min(frames, int(0.4 * rate_hz))
    starts = np.linspace(0, frames - length, count).astype(int)
    return tuple((int(a), int(a) + length) for a in dict.fromkeys(starts.tolist()))


def finish(state: RampFrames, file: FileFacts, setup: CaptureSetup) -> RampAnalysis:
    """Return the figures of a ramp that has been fed completely; it is used up.

    Parameters
    ----------
    state
        From :func:`start`, :func:`feed` and :func:`merge`.
    file, setup
        As for :func:`analyse_ramp`.
    """
    grid, quarters = state.grid, settle(state)
    names = channel_names(quarters.phasor.shape[1])
    channels, notes = refuse_channels(quarters, names, file)
    valid = [i for i, name in enumerate(names) if name not in channels]
    playing = find_playing(grid, quarters)
    playing[1:-1] &= playing[2:] & playing[:-2]
    if not valid or not playing[:, valid].any():
        return RampAnalysis(file, channels, notes=tuple(notes))
    spoiled = find_spoiled(grid, quarters, playing, valid)
    playing[spoiled.quarters] = False
    levels = level_track(grid, quarters, playing)
    rows = find_plateaus(bridge(levels, valid, spoiled.quarters))
    hz, hz_u = turning_frequency(grid, quarters, playing, valid)
    ramp = SettledRamp(
        grid, quarters, setup, names, levels, spoiled.quarters, rows, hz, quarters.harmonics_at
    )
    steps = tuple(_step(ramp, valid, row) for row in rows)
    asked: dict[str, dict[str, PowerAtThd]] = {f"{100 * c:g}": {} for c in grid.criteria}
    for index in valid:
        name = names[index]
        figures = read_channel(ramp, index, steps)
        channels[name] = figures.channel
        for criterion, found in figures.at_thd.items():
            asked[f"{100 * criterion:g}"][name] = found
        notes += clipping_notes(name, figures.channel, asked["1"][name])
        notes += state_notes(grid, quarters, playing, index, name, rows, setup.volts(name))
        notes += hum_notes(name, steps)
    notes += spoiled.notes
    notes += pair_notes(quarters, playing, valid, names)
    heard = np.flatnonzero(playing[:, valid].any(axis=1))
    return RampAnalysis(
        file=file,
        channels={name: channels[name] for name in names},
        steps=steps,
        power_at_thd=asked,
        tracking=read_tracking(ramp, valid),
        clock_ppm=(hz / setup.nominal_hz - 1) * 1e6,
        clock_ppm_u=hz_u / setup.nominal_hz * 1e6,
        tone_start_s=float(heard[0]) * grid.quarter_s,
        tone_end_s=float(heard[-1] + 1) * grid.quarter_s,
        notes=tuple(dict.fromkeys(notes)),
    )


def _step(ramp: SettledRamp, valid: list[int], row: tuple[int, int]) -> Step:
    channels = {ramp.names[i]: read_step(ramp, i, row) for i in valid}
    tracking = tracking_u = None
    if "L" in channels and "R" in channels:
        left, right = channels["L"], channels["R"]
        if left.level_dbfs_peak is not None and right.level_dbfs_peak is not None:
            tracking = right.level_dbfs_peak - left.level_dbfs_peak
            tracking_u = math.hypot(left.level_dbfs_peak_u or 0.0, right.level_dbfs_peak_u or 0.0)
    quarter_s = ramp.grid.quarter_s
    return Step(
        start_s=row[0] * quarter_s,
        end_s=row[1] * quarter_s,
        channels=channels,
        tracking_db_r_minus_l=tracking,
        tracking_db_r_minus_l_u=tracking_u,
        clean=clean_samples(ramp, row),
    )

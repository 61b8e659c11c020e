"""A tone while the volume is turned: plateaus, tracking, distortion against power, clipping."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.plateaus import LevelTrack, find_plateaus
from backtospec.analysis.quality import CrestLoss
from backtospec.analysis.ramp_frames import (
    Quarters,
    RampFrames,
    condense,
    feed,
    merge,
    settle,
    start,
)
from backtospec.analysis.ramp_grid import Grid, find_frequency, make_grid
from backtospec.analysis.ramp_health import bridged, find_spoiled, state_notes
from backtospec.analysis.ramp_steps import read_step
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.thresholds import (
    DistortionTrack,
    PowerAtThd,
    first_clipping,
    knee_level,
    power_at_thd,
)
from backtospec.analysis.tone import ChannelTone

__all__ = [
    "ChannelRamp",
    "CurvePoint",
    "RampAnalysis",
    "Step",
    "analyse_ramp",
    "condense",
    "feed",
    "find_frequency",
    "finish",
    "grid_for",
    "merge",
    "start",
]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_MOST_POINTS = 2000
_SURE = 3.0
_PLAYING_OVER_NOISE = 10.0
_SILENT_AMPLITUDE = 1e-5
_OPPOSITE = math.radians(150)
#: Hum is spoken of from 0.1 % of the tone.
_HUM_RATIO = 1e-3
_ALWAYS_ASKED = (0.01, 0.1)
#: Residue over distortion, in power, from which clipping is taken to come and go.
_RIPPLED = 0.05
_NEIGHBOURS = 5


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Distortion and level at one moment of a ramp, or on one plateau.

    ``thd_percent`` counts every harmonic and is ``None`` where noise hides it; ``thdn_percent``
    is taken over the lowest band, relative to the fundamental.
    """

    time_s: float
    level_dbfs_peak: float
    power_w: float
    thd_percent: float | None
    thdn_percent: float | None
    plateau: bool


@dataclass(frozen=True, slots=True)
class TrackingPoint:
    """Right minus left in decibels, with the left channel's level, at one moment."""

    time_s: float
    level_dbfs_peak: float
    tracking_db_r_minus_l: float


@dataclass(frozen=True, slots=True)
class Step:
    """One plateau: constant volume.

    Parameters
    ----------
    start_s, end_s
        Edges, to about 0.03 s.
    channels
        Figures by channel, as for a steady tone.
    tracking_db_r_minus_l
        ``None`` without two valid channels.
    """

    start_s: float
    end_s: float
    channels: Mapping[str, ChannelTone]
    tracking_db_r_minus_l: float | None
    tracking_db_r_minus_l_u: float | None


@dataclass(frozen=True, slots=True)
class ChannelRamp:
    """One channel of a ramp; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload`` or ``silence``.
    frequency_hz
        Fitted frequency, shared by the channels.
    dc_v, noise_floor_dbfs
        Mean; and 20·log10 of the rms of what is left, over the quietest plateau.
    curve
        Level, power and distortion against time, at most 2000 points.
    thd_floor_percent, thd_floor_power_w
        Lowest THD (H2…H10) of a plateau, and where.
    knee_level_dbfs_peak, knee_power_w
        Where THD has doubled over its flat part; ``None`` when it never does.
    first_clipping
        Which crest gives way first, as recorded: ``positive``, ``negative`` or ``symmetric``;
        ``None`` when nothing clips.
    crest_loss
        What both crests lose there, relative to the fundamental.
    """

    valid: bool
    reason: str | None = None
    frequency_hz: float | None = None
    dc_v: float | None = None
    noise_floor_dbfs: float | None = None
    curve: tuple[CurvePoint, ...] = ()
    thd_floor_percent: float | None = None
    thd_floor_power_w: float | None = None
    knee_level_dbfs_peak: float | None = None
    knee_power_w: float | None = None
    first_clipping: str | None = None
    crest_loss: CrestLoss | None = None


@dataclass(frozen=True, slots=True)
class RampAnalysis:
    """A recorded volume ramp, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M``.
    steps
        Plateaus in order of time.
    power_at_thd
        By THD in percent (``"1"``, ``"10"``, the rated one), then by channel.
    tracking
        Right minus left at every level, ramps included, at most 2000 points.
    clock_ppm
        Frequency in the file over nominal, minus one, in parts per million.
    tone_start_s, tone_end_s
        Where the tone plays.
    notes
        Remarks.
    """

    kind: ClassVar[Literal["ramp"]] = "ramp"
    file: FileFacts
    channels: Mapping[str, ChannelRamp]
    steps: tuple[Step, ...] = ()
    power_at_thd: Mapping[str, Mapping[str, PowerAtThd]] = field(default_factory=dict)
    tracking: tuple[TrackingPoint, ...] = ()
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    tone_start_s: float | None = None
    tone_end_s: float | None = None
    notes: tuple[Note, ...] = ()


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
    return make_grid(rate_hz, hz, _criteria(setup))


def _criteria(setup: CaptureSetup) -> tuple[float, ...]:
    rated = () if setup.rated_thd_percent is None else (setup.rated_thd_percent / 100,)
    return tuple(sorted({*_ALWAYS_ASKED, *rated}))


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
    if float(np.max(np.std(samples, axis=0), initial=0.0)) < _SILENT_AMPLITUDE:
        names = channel_names(samples.shape[1])
        return silent_ramp(file, names)
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


def silent_ramp(file: FileFacts, names: tuple[str, ...]) -> RampAnalysis:
    """Return the analysis of a recording that holds nothing."""
    text = "Nothing but silence was recorded."
    return RampAnalysis(
        file,
        {name: ChannelRamp(False, "silence") for name in names},
        notes=tuple(Note("silence", text, name) for name in names),
    )


def finish(state: RampFrames, file: FileFacts, setup: CaptureSetup) -> RampAnalysis:
    """Return the figures of a ramp that has been fed completely.

    Parameters
    ----------
    state
        From :func:`start`, :func:`feed` and :func:`merge`.
    file, setup
        As for :func:`analyse_ramp`.
    """
    grid, quarters = state.grid, settle(state)
    names = channel_names(quarters.phasor.shape[1])
    refused, notes = _refused(quarters, names, file)
    valid = [i for i, name in enumerate(names) if name not in refused]
    playing = _playing(grid, quarters)
    playing[1:-1] &= playing[2:] & playing[:-2]
    if not valid or not playing[:, valid].any():
        return RampAnalysis(file, refused, notes=tuple(notes))
    spoiled = find_spoiled(grid, quarters, playing, valid)
    playing[spoiled.quarters] = False
    levels = _levels(grid, quarters, playing)
    rows = find_plateaus(_track(levels, valid, spoiled.quarters))
    hz, hz_u = _frequency(grid, quarters, playing, valid)
    steps = tuple(
        _step(grid, quarters, names, valid, row, setup, hz, spoiled.quarters) for row in rows
    )
    channels: dict[str, ChannelRamp] = dict(refused)
    asked: dict[str, dict[str, PowerAtThd]] = {f"{100 * c:g}": {} for c in _criteria(setup)}
    for index in valid:
        name = names[index]
        track = _distortion_track(grid, quarters, levels, index, rows, steps, name)
        for criterion in _criteria(setup):
            found = power_at_thd(track, criterion, setup, name)
            asked[f"{100 * criterion:g}"][name] = found
        channels[name] = _channel(
            grid, quarters, levels, index, name, track, rows, steps, setup, asked["1"][name]
        )
        notes.extend(_clipping_notes(name, channels[name], asked["1"][name]))
        notes.extend(state_notes(grid, quarters, playing, index, name, rows, setup.volts(name)))
        notes.extend(_hum_notes(name, steps))
    notes.extend(spoiled.notes)
    notes.extend(_pair_notes(quarters, playing, valid, names))
    heard = np.flatnonzero(playing[:, valid].any(axis=1))
    channels = {
        name: (_with_frequency(channels[name], hz) if channels[name].valid else channels[name])
        for name in names
    }
    return RampAnalysis(
        file=file,
        channels=channels,
        steps=steps,
        power_at_thd=asked,
        tracking=_tracking(grid, levels, valid),
        clock_ppm=(hz / setup.nominal_hz - 1) * 1e6,
        clock_ppm_u=hz_u / setup.nominal_hz * 1e6,
        tone_start_s=float(heard[0]) * grid.quarter_s,
        tone_end_s=float(heard[-1] + 1) * grid.quarter_s,
        notes=tuple(dict.fromkeys(notes)),
    )


def _with_frequency(channel: ChannelRamp, hz: float) -> ChannelRamp:
    return replace(channel, frequency_hz=hz)


def _refused(
    quarters: Quarters, names: tuple[str, ...], file: FileFacts
) -> tuple[dict[str, ChannelRamp], list[Note]]:
    refused, notes = {}, []
    for index, name in enumerate(names):
        if quarters.rails[index] > 0:
            share = 100 * quarters.rails[index] / max(file.frames, 1)
            refused[name] = ChannelRamp(False, "adc-overload")
            text = (
                f"The recorder was overloaded: {share:.2g} % of the samples sit on its rail. "
                "Turn its input down and record again."
            )
            notes.append(Note("adc-overload", text, name))
        elif float(np.max(np.abs(quarters.phasor[:, index]), initial=0.0)) < _SILENT_AMPLITUDE:
            refused[name] = ChannelRamp(False, "silence")
            notes.append(Note("silence", "Nothing but silence was recorded.", name))
    return refused, notes


def _playing(grid: Grid, quarters: Quarters) -> NDArray[np.bool_]:
    """Return where a tone stands clearly above the noise, shape (quarters, channels)."""
    doubt = np.sqrt(2 * np.maximum(quarters.noise, 0) / grid.quarter)
    amplitude = np.abs(quarters.phasor)
    playing: NDArray[np.bool_] = (amplitude > _PLAYING_OVER_NOISE * doubt) & (amplitude > 1e-6)
    return playing


def _levels(grid: Grid, quarters: Quarters, playing: NDArray[np.bool_]) -> LevelTrack:
    amplitude = np.abs(quarters.phasor).astype(np.float64)
    safe = np.where(playing, amplitude, np.nan)
    doubt = np.sqrt(2 * np.maximum(quarters.noise.astype(np.float64), 0) / grid.quarter)
    every = np.isfinite(quarters.high)
    high = np.where(every, quarters.high, 0.0).astype(np.float64)
    lines = np.where(every, len(grid.every.orders) - 1.0, float(quarters.harmonics.shape[-1]))
    squares = np.square(np.abs(quarters.harmonics)).sum(axis=-1, dtype=np.float64)
    bias = lines * doubt**2 * 2
    freed = np.maximum(squares + high - bias, 0.0)
    thd_u = doubt * np.sqrt(lines)
    # Where the supply ripples, clipping comes and goes: neighbours are averaged, phases locked.
    rippled = every & (2 * quarters.noise > _RIPPLED * (squares + high))
    rows = np.flatnonzero(rippled.any(axis=1))
    around = np.clip(rows[:, None] + np.arange(_NEIGHBOURS) - _NEIGHBOURS // 2, 0, len(every) - 1)
    near = quarters.harmonics[around].mean(axis=1, dtype=np.complex128)
    meant = np.sum(np.abs(near) ** 2, axis=-1)
    unsteady = np.maximum(squares[around].mean(axis=1) - meant, 0.0) / _NEIGHBOURS
    here = rippled[rows]
    freed[rows] = np.where(here, np.maximum(meant - unsteady, 0.0), freed[rows])
    thd_u[rows] = np.where(here, np.sqrt(unsteady), thd_u[rows])
    with np.errstate(invalid="ignore", divide="ignore"):
        return LevelTrack(
            quarter_s=grid.quarter_s,
            level_db=20 * np.log10(safe),
            level_u_db=20 / math.log(10) * doubt / safe,
            thd=np.sqrt(freed) / safe,
            thd_u=thd_u / safe,
        )


def _track(levels: LevelTrack, valid: list[int], spoiled: NDArray[np.bool_]) -> LevelTrack:
    """Return the valid channels, with spoiled quarters bridged so that they part no plateau."""
    return LevelTrack(
        levels.quarter_s,
        *(
            bridged(track[:, valid], spoiled)
            for track in (levels.level_db, levels.level_u_db, levels.thd, levels.thd_u)
        ),
    )


def _frequency(
    grid: Grid, quarters: Quarters, playing: NDArray[np.bool_], valid: list[int]
) -> tuple[float, float]:
    """Return the frequency from the turning of the phase, each step weighted by its power."""
    both = np.asarray(playing[:, valid].all(axis=1))
    pair = np.flatnonzero(np.logical_and(both[1:], both[:-1]))
    phasor = quarters.phasor[:, valid].astype(np.complex128)
    turns = np.sum(phasor[1:] * phasor[:-1].conj(), axis=1)[pair]
    if not len(turns):
        return grid.hz, math.inf
    mean = np.sum(turns)
    turn = float(np.angle(mean))
    spread = np.angle(turns * np.conj(mean))
    weight = np.abs(turns)
    deviation = math.sqrt(float(np.sum(weight * spread**2) / np.sum(weight)) / len(turns))
    scale = 1 / (2 * math.pi * grid.quarter_s)
    return grid.hz + turn * scale, deviation * scale


def _step(
    grid: Grid,
    quarters: Quarters,
    names: tuple[str, ...],
    valid: list[int],
    row: tuple[int, int],
    setup: CaptureSetup,
    hz: float,
    spoiled: NDArray[np.bool_],
) -> Step:
    channels = {
        names[i]: read_step(grid, quarters, i, row, names[i], setup, hz, spoiled) for i in valid
    }
    tracking = tracking_u = None
    if "L" in channels and "R" in channels:
        left, right = channels["L"], channels["R"]
        if left.level_dbfs_peak is not None and right.level_dbfs_peak is not None:
            tracking = right.level_dbfs_peak - left.level_dbfs_peak
            tracking_u = math.hypot(left.level_dbfs_peak_u or 0.0, right.level_dbfs_peak_u or 0.0)
    return Step(row[0] * grid.quarter_s, row[1] * grid.quarter_s, channels, tracking, tracking_u)


def _distortion_track(
    grid: Grid,
    quarters: Quarters,
    levels: LevelTrack,
    index: int,
    rows: tuple[tuple[int, int], ...],
    steps: tuple[Step, ...],
    name: str,
) -> DistortionTrack:
    """Return level and distortion in order of time: plateaus, fine steps, and quarters."""
    count = len(levels.level_db)
    level, thd, doubt = levels.level_db[:, index], levels.thd[:, index], levels.thd_u[:, index]
    single = np.isfinite(level)
    for first, end in rows:
        single[first:end] = False
    fine = quarters.fine[quarters.fine[:, 1] == index]
    inside = np.clip((fine[:, 0] / grid.quarter_s).astype(int), 0, count - 1)
    kept = single[inside]
    lines = len(grid.fine.orders) - 1 if grid.fine else 0
    fine, looked_at = fine[kept], inside[kept]
    freed = np.sqrt(np.maximum(fine[:, 3] - 2 * lines * fine[:, 4], 0.0)) / fine[:, 2]
    single[looked_at] = False
    rest = np.flatnonzero(single)
    hidden = thd[rest] < _SURE * doubt[rest]
    middle = (rest + 0.5) * grid.quarter_s
    table = []
    for step in steps:
        tone = step.channels[name]
        if tone.level_dbfs_peak is not None and tone.distortion is not None:
            ratio = (tone.distortion.thd_all_percent or 0.0) / 100
            table.append(((step.start_s + step.end_s) / 2, tone.level_dbfs_peak, ratio, 1.0))
    rows_of = (
        np.stack((fine[:, 0], 20 * np.log10(fine[:, 2]), freed, np.zeros(len(fine))), axis=1),
        np.stack(
            (middle, level[rest], np.where(hidden, 0.0, thd[rest]), np.zeros(len(rest))), axis=1
        ),
        np.array(table).reshape(-1, 4),
    )
    ordered = np.concatenate(rows_of)
    ordered = ordered[np.argsort(ordered[:, 0], kind="stable")]
    return DistortionTrack(ordered[:, 0], ordered[:, 1], ordered[:, 2], ordered[:, 3].astype(bool))


def _channel(
    grid: Grid,
    quarters: Quarters,
    levels: LevelTrack,
    index: int,
    name: str,
    track: DistortionTrack,
    rows: tuple[tuple[int, int], ...],
    steps: tuple[Step, ...],
    setup: CaptureSetup,
    at_one: PowerAtThd,
) -> ChannelRamp:
    clean_db = at_one.level_dbfs_peak
    if clean_db is None:
        clean_db = float(np.max(track.level_db, initial=-math.inf))
    knee_db = knee_level(track, clean_db)
    crests = first_clipping(
        levels.thd[:, index], quarters.crest[:, index].astype(np.float64), min(_ALWAYS_ASKED)
    )
    loss = CrestLoss(*crests) if crests else None
    clips = loss is not None and loss.positive + loss.negative > 0
    known = [
        (tone.distortion.thd_percent, tone.power_w)
        for step in steps
        if (tone := step.channels[name]).distortion is not None
        and tone.distortion.thd_percent is not None
        and tone.power_w is not None
    ]
    floor = min(known) if known else (None, None)
    noise = [tone.noise_floor_dbfs for s in steps if (tone := s.channels[name]).noise_floor_dbfs]
    return ChannelRamp(
        valid=True,
        dc_v=float(np.mean(quarters.dc[:, index])) * setup.volts(name),
        noise_floor_dbfs=min(noise) if noise else None,
        curve=_curve(grid, quarters, levels, index, name, rows, steps, setup),
        thd_floor_percent=floor[0],
        thd_floor_power_w=floor[1],
        knee_level_dbfs_peak=knee_db,
        knee_power_w=None if knee_db is None else setup.power_w(name, 10 ** (knee_db / 20)),
        first_clipping=loss.polarity if loss and clips else None,
        crest_loss=loss if clips else None,
    )


def _curve(
    grid: Grid,
    quarters: Quarters,
    levels: LevelTrack,
    index: int,
    name: str,
    rows: tuple[tuple[int, int], ...],
    steps: tuple[Step, ...],
    setup: CaptureSetup,
) -> tuple[CurvePoint, ...]:
    level, thd, doubt = levels.level_db[:, index], levels.thd[:, index], levels.thd_u[:, index]
    moving = np.isfinite(level)
    for first, end in rows:
        moving[first:end] = False
    chosen = np.flatnonzero(moving)
    chosen = chosen[:: max(1, -(-len(chosen) // _MOST_POINTS))]
    points = []
    for i in chosen:
        amplitude = 10 ** (level[i] / 20)
        left = 2 * max(float(quarters.noise[i, index]), 0.0) / amplitude**2
        points.append(
            CurvePoint(
                time_s=(float(i) + 0.5) * grid.quarter_s,
                level_dbfs_peak=float(level[i]),
                power_w=setup.power_w(name, amplitude),
                thd_percent=None if thd[i] < _SURE * doubt[i] else 100 * float(thd[i]),
                thdn_percent=100 * math.sqrt(left + float(thd[i]) ** 2),
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


def _tracking(grid: Grid, levels: LevelTrack, valid: list[int]) -> tuple[TrackingPoint, ...]:
    if valid != [0, 1]:
        return ()
    both = np.flatnonzero(np.isfinite(levels.level_db).all(axis=1))
    both = both[:: max(1, -(-len(both) // _MOST_POINTS))]
    return tuple(
        TrackingPoint(
            (float(i) + 0.5) * grid.quarter_s,
            float(levels.level_db[i, 0]),
            float(levels.level_db[i, 1] - levels.level_db[i, 0]),
        )
        for i in both
    )


def _clipping_notes(name: str, channel: ChannelRamp, at_one: PowerAtThd) -> list[Note]:
    if not at_one.reached or channel.first_clipping is None or channel.crest_loss is None:
        return []
    sides = {"positive": "the positive side first", "negative": "the negative side first"}
    side = sides.get(channel.first_clipping, "both sides alike")
    text = f"The amplifier clips, {side}: 1 % THD at {at_one.power_w:.3g} W."
    notes = [Note("amplifier-clipping", text, name)]
    if channel.crest_loss.asymmetric:
        loss = channel.crest_loss
        text = (
            f"The crests are cut unevenly: {100 * loss.positive:.1f} % off the positive, "
            f"{100 * loss.negative:.1f} % off the negative."
        )
        notes.append(Note("asymmetric", text, name))
    return notes


def _hum_notes(name: str, steps: tuple[Step, ...]) -> list[Note]:
    """Return the remark on hum, as a share of the tone on the loudest plateau that shows it."""
    humming = [
        (tone.level_dbfs_peak, tone.distortion.hum_db)
        for step in steps
        if (tone := step.channels[name]).distortion is not None
        and tone.level_dbfs_peak is not None
        and tone.distortion.hum_db
    ]
    if not humming:
        return []
    _, lines = max(humming, key=lambda found: found[0])
    hum = math.sqrt(sum(10 ** (db / 10) for db in lines.values()))
    if hum < _HUM_RATIO:
        return []
    loudest = max(lines, key=lambda hz: lines[hz])
    text = (
        f"Hum: {100 * hum:.2g} % of the tone at its loudest, strongest at {loudest} Hz "
        f"({lines[loudest]:.1f} dB)."
    )
    return [Note("hum", text, name)]


def _pair_notes(
    quarters: Quarters, playing: NDArray[np.bool_], valid: list[int], names: tuple[str, ...]
) -> list[Note]:
    if valid != [0, 1]:
        return []
    notes = []
    if quarters.same:
        text = "Both channels hold the very same samples: one was recorded twice."
        notes.append(Note("mono", text))
    both = playing.all(axis=1)
    turn = np.sum(quarters.phasor[both, 1] * quarters.phasor[both, 0].conj())
    if both.any() and abs(float(np.angle(turn))) > _OPPOSITE:
        text = "The channels are of opposite polarity: one is inverted."
        notes.append(Note("inverted", text, names[1]))
    return notes

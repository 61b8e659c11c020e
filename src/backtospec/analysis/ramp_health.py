"""What is wrong with a recorded ramp: gaps, lost samples, a thump, DC, missing dither, hum."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import find_mains
from backtospec.analysis.line_fit import Family, fit_lines
from backtospec.analysis.notes import Note
from backtospec.analysis.plateaus import LevelTrack, Track
from backtospec.analysis.quality import is_quantisation_limited, is_undithered, middle, run_edges
from backtospec.analysis.ramp_grid import SLOW_STEPS, Array, Grid
from backtospec.analysis.ramp_quarters import Quarters, unpack_slow

Mask = NDArray[np.bool_]
Rows = tuple[tuple[int, int], ...]

_SMALLEST_JUMP_RAD = math.radians(0.4)
_MOST_LEVEL_CHANGE = 0.12
_MOST_MISSING = 3
_AROUND = 8
_DC_FULL_SCALE = 1e-3
_FAINTEST_THUMP = 3e-5
_THUMP_S = 0.15
_LEAST_SLOW_HZ = 330.0
_SURE = 6.0
_STANDS_OUT = 16.0
_HUM_LINES_HZ = np.array([50.0, 60.0, 100.0, 120.0, 150.0, 180.0])
_ROWS_AT_ONCE = 4096


@dataclass(frozen=True, slots=True)
class Spoiled:
    """Quarters that something sudden spoils, and the notes that say so.

    Parameters
    ----------
    quarters
        True where the figures of a quarter cannot be used, shape (quarters,).
    notes
        Gaps and lost samples.
    """

    quarters: Mask
    notes: tuple[Note, ...]


def find_spoiled(grid: Grid, quarters: Quarters, playing: Mask, valid: list[int]) -> Spoiled:
    """Return the gaps of zeros and the lost samples of a ramp.

    Parameters
    ----------
    grid, quarters
        The ramp.
    playing
        Where a tone stands above the noise, shape (quarters, channels).
    valid
        Channels that may be believed.
    """
    amplitude = np.abs(quarters.phasor).astype(np.float64)
    gaps = _gaps(grid, quarters, amplitude, playing, valid)
    mask = np.zeros(len(playing), dtype=bool)
    for a, b in gaps:
        mask[a // grid.quarter : (b - 1) // grid.quarter + 1] = True
    notes = [
        Note(
            "dropout",
            f"{(b - a) / grid.rate_hz * 1e3:.1f} ms of zeros at {a / grid.rate_hz:.3f} s. "
            "Figures come from the clean stretches.",
            at_s=a / grid.rate_hz,
        )
        for a, b in gaps
    ]
    torn = np.zeros(len(playing), dtype=bool)
    torn[quarters.torn_at // grid.quarter] = True
    clean = np.flatnonzero(playing[:, valid].all(axis=1) & ~mask & ~torn)
    for before, after, jump in _jumps(grid, quarters, clean, valid):
        at = _place(grid, quarters, before, after, valid)
        mask[before + 1 : after] = True
        notes.append(
            Note(
                "lost-samples",
                f"Samples are missing at {at / grid.rate_hz:.3f} s: the phase jumps by "
                f"{math.degrees(jump):+.1f}°. Figures come from the clean stretches.",
                at_s=at / grid.rate_hz,
                phase_jump_deg=math.degrees(jump),
            )
        )
    return Spoiled(mask, tuple(sorted(notes, key=lambda note: note.at_s or 0.0)))


def _gaps(
    grid: Grid, quarters: Quarters, amplitude: Array, playing: Mask, valid: list[int]
) -> list[tuple[int, int]]:
    """Return (first sample, one past the last) of runs of zeros inside the tone."""
    found = []
    step = quarters.step if math.isfinite(quarters.step) else 0.0
    for channel in valid:
        runs = quarters.zeros[quarters.zeros[:, 0] == channel, 1:]
        for a, b in _touching([(int(a), int(b)) for a, b in runs]):
            first, last = a // grid.quarter, (b - 1) // grid.quarter
            sides = (slice(max(0, first - _AROUND), first), slice(last + 1, last + 1 + _AROUND))
            if not all(playing[side, channel].any() for side in sides):
                continue
            near = np.concatenate([amplitude[side, channel] for side in sides])
            heard = np.concatenate([playing[side, channel] for side in sides])
            usual = float(np.median(near[heard]))
            half_turn = min((b - a) / 2 * grid.hz / grid.rate_hz, 0.25) * 2 * math.pi
            if usual * math.sin(half_turn) > max(2 * step, 2.0**-22, 0.05 * usual):
                found.append((a, b))
    return _touching(sorted(found))


def _touching(runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return sorted runs with those that touch or overlap made one."""
    merged: list[tuple[int, int]] = []
    for a, b in runs:
        if merged and a <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
        else:
            merged.append((a, b))
    return merged


def _jumps(
    grid: Grid, quarters: Quarters, clean: NDArray[np.int64], valid: list[int]
) -> list[tuple[int, int, float]]:
    """Return (last quarter before, first after, jump in radians) of every break of phase."""
    if len(clean) < 2 * _AROUND:
        return []
    phasor = quarters.phasor[clean][:, valid].astype(np.complex128)
    gap = np.diff(clean)
    turns = np.angle(np.sum(phasor[1:] * phasor[:-1].conj(), axis=1))
    follow = gap == 1
    if follow.sum() < _AROUND:
        return []
    usual = float(np.median(turns[follow]))
    off = _wrapped(turns - gap * _local_medians(np.where(follow, turns, usual)))
    level = np.sqrt(np.sum(np.abs(phasor) ** 2, axis=1))
    noise = quarters.noise[clean][:, valid].sum(axis=1, dtype=np.float64)
    doubt = np.sqrt(2 * noise / grid.quarter) / level
    scatter = 1.4826 * float(np.median(np.abs(off[follow])))
    limit = np.maximum(8 * np.hypot(doubt[1:], doubt[:-1]), max(8 * scatter, _SMALLEST_JUMP_RAD))
    steady = np.abs(np.log(level[1:] / level[:-1])) < _MOST_LEVEL_CHANGE
    suspect = np.flatnonzero((np.abs(off) > limit) & steady & (gap <= _MOST_MISSING))
    found: list[tuple[int, int, float]] = []
    for i in suspect:
        if found and found[-1][1] == clean[i]:
            before, _, jump = found[-1]
            found[-1] = (before, int(clean[i + 1]), float(_wrapped(np.array(jump + off[i]))))
        else:
            found.append((int(clean[i]), int(clean[i + 1]), float(off[i])))
    return [one for one in found if abs(one[2]) > _SMALLEST_JUMP_RAD]


def _local_medians(track: Array) -> Array:
    """Return the median of each value with the eight before and the eight after it."""
    padded = np.pad(track, _AROUND, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _AROUND + 1)
    found = np.empty(len(track))
    for start in range(0, len(track), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        found[part] = np.sort(windows[part], axis=1)[:, _AROUND]
    return found


def _wrapped(radians: Array) -> Array:
    return np.asarray((radians + math.pi) % (2 * math.pi) - math.pi)


def _place(grid: Grid, quarters: Quarters, before: int, after: int, valid: list[int]) -> int:
    """Return the sample at which the tone before changes into the tone after.

    In a quarter that was kept it is where changing from one to the other leaves the least.
    """
    middle = (before + 1 + after) * grid.quarter // 2
    if after == before + 1:
        return middle
    kept = np.flatnonzero(np.isin(quarters.torn_at // grid.quarter, range(before + 1, after)))
    if not len(kept):
        return middle
    spots = []
    for k in kept:
        samples = quarters.torn[k][:, valid].astype(np.float64)
        index = quarters.torn_at[k] + np.arange(len(samples))
        cycles = grid.hz * index / grid.rate_hz
        turn = np.exp(2j * np.pi * (cycles - np.round(cycles)))[:, None]
        sides = [np.real(turn * quarters.phasor[q, valid]) for q in (before, after)]
        mean = quarters.dc[before, valid]
        worse = np.sum((samples - mean - sides[0]) ** 2 - (samples - mean - sides[1]) ** 2, axis=1)
        cost = np.concatenate(([0.0], np.cumsum(worse)))
        spots.append((float(cost.min()), int(index[0]) + int(np.argmin(cost))))
    return min(spots)[1]


def state_notes(
    grid: Grid,
    quarters: Quarters,
    playing: Mask,
    index: int,
    name: str,
    rows: Rows,
    full_scale_volts: float,
) -> list[Note]:
    """Return the remarks on one channel: a thump at the start, DC, dither.

    Parameters
    ----------
    grid, quarters, playing
        The ramp, and where a tone plays.
    index, name
        Which channel, and its name.
    rows
        First quarter of every plateau and one past its last.
    full_scale_volts
        Peak volts at digital amplitude 1.0.
    """
    notes = []
    noise = quarters.noise[:, index].astype(np.float64)
    dc = quarters.dc[:, index].astype(np.float64)
    level = np.abs(quarters.phasor[:, index])
    heard = np.flatnonzero(playing[:, index])
    if rows and len(heard) and rows[0][0] <= heard[0] + _THUMP_S / grid.quarter_s:
        calm = slice(max(rows[0][0], int(heard[0])), rows[0][1])
        tracks = (np.sqrt(noise), np.abs(dc - np.median(dc[calm])))
        if any(_starts_loud(track, int(heard[0]), calm, level) for track in tracks):
            text = "A thump at the start is left out."
            notes.append(Note("thump", text, at_s=float(heard[0]) * grid.quarter_s))
    if not rows:
        return notes
    quietest = min(rows, key=lambda row: float(middle(level[slice(*row)])))
    steady = float(np.median(dc[slice(*quietest)]))
    if abs(steady) > _DC_FULL_SCALE:
        text = (
            f"A steady {100 * steady:+.2f} % of full scale ({steady * full_scale_volts:+.3g} V) "
            "was recorded."
        )
        notes.append(Note("dc", text, name))
    floor = min(math.sqrt(float(middle(noise[slice(*row)]))) for row in rows)
    step = quarters.step if math.isfinite(quarters.step) else 0.0
    if is_undithered(floor, step):
        text = (
            "A 16-bit recording without dither: the steps themselves make distortion. "
            "Record with 24 bits."
        )
        notes.append(Note("undithered", text, name))
    elif is_quantisation_limited(floor, step):
        text = "The steps of the 16-bit recording set the noise floor."
        notes.append(Note("quantisation-limited", text, name))
    return notes


def _starts_loud(track: Array, first: int, calm: slice, level: Array) -> bool:
    """Return whether a track starts far above what it settles to, and sinks from there."""
    inside = track[calm]
    later = inside[len(inside) // 3 :]
    if len(later) < _AROUND:
        return False
    usual = float(np.median(later))
    scatter = 1.4826 * float(np.median(np.abs(later - usual)))
    limit = max(4 * usual, usual + 10 * scatter, _FAINTEST_THUMP * float(np.median(level[calm])))
    return bool(track[first] > limit and track[first] > 2 * float(np.max(later)))


@dataclass(frozen=True, slots=True)
class Hum:
    """Mains hum of one channel on one plateau.

    Parameters
    ----------
    mains_hz
        Fitted mains frequency.
    amplitudes, amplitude_u
        Peak amplitude by nominal frequency, such as ``"100"``, and the uncertainty of each.
    """

    mains_hz: float
    amplitudes: dict[str, float]
    amplitude_u: float


def read_hum(
    grid: Grid, quarters: Quarters, index: int, row: tuple[int, int], nominal_hz: float | None
) -> Hum | None:
    """Return the hum of one plateau from what the tone leaves, or ``None``.

    Parameters
    ----------
    grid, quarters, index
        The ramp, and which channel.
    row
        First quarter of the plateau and one past its last.
    nominal_hz
        Mains frequency, or ``None`` to try 50 and 60.
    """
    step = grid.quarter // SLOW_STEPS
    slow_hz = grid.rate_hz / step
    if slow_hz < _LEAST_SLOW_HZ or grid.hz < slow_hz:
        return None
    inner = slice(row[0] + 1, row[1] - 1)
    dc = quarters.dc[inner, index, None].astype(np.float64)
    residual = (unpack_slow(quarters.slow[inner, index]) + dc - dc.mean()).reshape(-1, 1)
    if not (np.isfinite(residual).all() and _may_hum(residual, slow_hz)):
        return None
    mains = find_mains(residual, slow_hz, grid.hz, nominal_hz)
    if mains is None:
        return None
    positions = np.arange(len(residual), dtype=np.float64)
    fit = fit_lines(residual, positions, slow_hz, (Family(mains.hz, mains.orders),))
    hz, amplitude_u = fit.families[0].hz, float(fit.amplitude_u[0])
    nominal = 50 if abs(hz - 50) < abs(hz - 60) else 60
    found = {
        # Averaging over the steps has made each line smaller.
        str(order * nominal): float(line / np.sinc(order * hz / slow_hz))
        for order, line in zip(mains.orders, np.abs(fit.amplitudes[0][:, 0]), strict=True)
        if line > _SURE * amplitude_u
    }
    return Hum(hz, found, amplitude_u) if found else None


def _may_hum(residual: Array, slow_hz: float) -> bool:
    """Return whether a line may stand at a multiple of a mains frequency: a quick look."""
    lines = np.fft.rfft(residual[:, 0] - residual.mean())
    power = np.square(lines.real) + np.square(lines.imag)
    bin_hz = slow_hz / len(residual)
    reach = 0.008 * _HUM_LINES_HZ / bin_hz + 1
    low = np.maximum(np.ceil(_HUM_LINES_HZ / bin_hz - reach), 1)
    high = np.floor(_HUM_LINES_HZ / bin_hz + reach) + 1
    edges = np.minimum(np.stack((low, high), axis=1), len(power) - 1).astype(int)
    strongest = np.maximum.reduceat(power, edges.ravel())[::2]
    return bool(strongest.max() > _STANDS_OUT * float(middle(power)))


def bridge(levels: LevelTrack, valid: list[int], spoiled: Mask) -> LevelTrack:
    """Return the valid channels, spoiled quarters filled evenly: they part no plateau.

    Parameters
    ----------
    levels
        Of all channels.
    valid
        Channels that may be believed.
    spoiled
        Shape (quarters,).
    """
    tracks = (levels.level_db, levels.level_u_db, levels.thd, levels.thd_u)
    return LevelTrack(levels.quarter_s, *(_bridged(track[:, valid], spoiled) for track in tracks))


def _bridged(track: Track, spoiled: Mask) -> Track:
    """Return a track with spoiled rows filled evenly from their neighbours."""
    for a, b in zip(*run_edges(spoiled), strict=True):
        if a == 0 or b == len(track):
            continue
        share = (np.arange(a, b) - a + 1)[:, None] / (b - a + 1)
        track[a:b] = track[a - 1] * (1 - share) + track[b] * share
    return track

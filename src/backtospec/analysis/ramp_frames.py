"""The block method for long recordings: every quarter frame fitted by one shared inverse.

A recording is cut on a fixed grid into quarter frames of about 21 ms. In each the fundamental,
its harmonics, DC, slope and the change of level are one matrix product with a pseudo-inverse
that all quarters share. Four quarters make a frame, whose residual is turned into noise by band.
What is kept per quarter is a few numbers, so memory hardly depends on length. The products are
in single precision: that sets a floor near −140 dB, below what 24 bits carry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import overload_fraction, quantisation_step
from backtospec.analysis.ramp_close import find_zeros, fine_rows, look_closely
from backtospec.analysis.ramp_grid import (
    QUARTERS,
    SLOW_STEPS,
    Array,
    Grid,
    Single,
    product,
)

_STEP_SAMPLES = 4096
_FRAMES_AT_ONCE = 16
#: Quarters kept whole because something breaks in them.
MOST_TORN = 256
_TORN_A_BATCH = 2
_TORN_OVER_USUAL = 20.0
_BREAK_RATIO = 1e-9


@dataclass(slots=True)
class Quarters:
    """What is kept of each quarter frame; first axis quarters, second channels.

    Parameters
    ----------
    phasor
        Fundamental against the carrier.
    harmonics
        H2 and up, turned so that the fundamental's phase is 0; third axis orders.
    dc, noise
        Mean, and mean square of what the fit leaves (harmonics above the tenth included, unless
        they were looked at).
    high
        Sum of squared amplitudes beyond the tenth harmonic, noise included; NaN where not needed.
    crest
        What the positive and negative crest lose, third axis; NaN where not needed.
    slow
        Means of what the harmonics leave over short steps, third axis: hum shows in them.
    bands
        Mean square of what the harmonics leave by band, for whole frames: first axis frames.
    fine
        Rows of (time s, channel, amplitude, squared harmonics, squared amplitude noise).
    zeros
        Rows of (channel, first sample, one past the last) of runs of exact zeros.
    torn, torn_at
        Samples of quarters that hold a sudden break, shape (quarters, samples, channels), and
        the index of each one's first sample.
    rails
        Samples on a converter's rail, per channel.
    step
        Step of an integer recording in digital amplitude; 0 for floating point, infinity for
        silence.
    same
        Whether both channels held the same samples.
    """

    phasor: NDArray[np.complex64]
    harmonics: NDArray[np.complex64]
    dc: Single
    noise: Single
    high: Single
    crest: Single
    slow: Single
    bands: Single
    fine: Array
    zeros: NDArray[np.int64]
    torn: Single
    torn_at: NDArray[np.int64]
    rails: Array
    step: float
    same: bool

    @classmethod
    def joined(cls, parts: Sequence[Quarters]) -> Quarters:
        """Return consecutive parts as one; the parts are emptied, so that little is held twice."""
        if len(parts) == 1:
            return parts[0]
        joined: dict[str, Any] = {
            "rails": np.sum([part.rails for part in parts], axis=0),
            "step": min(part.step for part in parts),
            "same": all(part.same for part in parts),
        }
        for name in (f.name for f in fields(cls) if f.name not in joined):
            joined[name] = np.concatenate([getattr(part, name) for part in parts])
            for part in parts:
                setattr(part, name, joined[name][:0])
        joined["torn"] = joined["torn"][:MOST_TORN]
        joined["torn_at"] = joined["torn_at"][:MOST_TORN]
        return cls(**joined)


@dataclass(frozen=True, slots=True)
class RampFrames:
    """A ramp on its way through: what is done, and samples that wait for a whole batch.

    Parameters
    ----------
    grid
        How the recording is cut.
    first
        Index of the first sample fed; a multiple of ``grid.batch``.
    next_sample
        Index of the sample after the last one fed.
    done
        Finished quarters, in parts.
    waiting
        Samples after them, shape (samples, channels).
    """

    grid: Grid
    first: int
    next_sample: int
    done: tuple[Quarters, ...]
    waiting: Single


def start(grid: Grid, channels: int, first: int = 0) -> RampFrames:
    """Return an empty ramp.

    Parameters
    ----------
    grid
        From :func:`backtospec.analysis.ramp_grid.make_grid`.
    channels
        1 or 2.
    first
        Sample of the file at which feeding starts; a multiple of ``grid.batch``.
    """
    return RampFrames(grid, first, first, (), np.empty((0, channels), dtype=np.float32))


def feed(state: RampFrames, block: NDArray[np.floating]) -> RampFrames:
    """Return the ramp with a block of samples added.

    Parameters
    ----------
    block
        Shape (samples, channels), any length.
    """
    block = np.asarray(block, dtype=np.float32)
    waiting = np.concatenate((state.waiting, block)) if len(state.waiting) else block
    size = state.grid.batch
    at = state.next_sample - len(state.waiting)
    done = [
        read_quarters(state.grid, waiting[offset : offset + size], at + offset)
        for offset in range(0, len(waiting) - size + 1, size)
    ]
    rest = waiting[len(done) * size :]
    return replace(
        state,
        next_sample=state.next_sample + len(block),
        done=(*state.done, *done),
        waiting=rest.copy() if done else rest,
    )


def condense(state: RampFrames) -> RampFrames:
    """Return the same ramp with its finished parts joined; the given one is used up."""
    return replace(state, done=(Quarters.joined(state.done),)) if state.done else state


def merge(earlier: RampFrames, later: RampFrames) -> RampFrames:
    """Return two neighbouring parts of a ramp as one; the later starts where the earlier ends."""
    if earlier.next_sample != later.first or len(earlier.waiting):
        raise ValueError("the parts are not neighbours on the batch grid")
    return replace(later, first=earlier.first, done=(*earlier.done, *later.done))


def settle(state: RampFrames) -> Quarters:
    """Return all quarters of a ramp, those of the last incomplete batch included.

    The ramp is used up.
    """
    size = state.grid.quarter
    whole = len(state.waiting) // size * size
    parts = state.done
    if whole or not parts:
        at = state.next_sample - len(state.waiting)
        parts = (*parts, read_quarters(state.grid, state.waiting[:whole], at))
    return Quarters.joined(parts)


def read_quarters(grid: Grid, samples: Single, first: int) -> Quarters:
    """Return the quarters of whole quarter frames of samples.

    Parameters
    ----------
    samples
        Shape (quarters × grid.quarter, channels).
    first
        Index of the first sample in the file.
    """
    count, channels = len(samples) // grid.quarter, samples.shape[1]
    pieces = np.ascontiguousarray(samples.T).reshape(channels, count, grid.quarter)
    solved, lines, change = grid.stated.solve(pieces)
    left, noise = _residual(grid, pieces, solved)
    close = look_closely(grid, pieces, lines, noise)
    level = np.abs(lines[..., 0])
    unit = np.where(level > 0, lines[..., 0] / np.where(level > 0, level, 1.0), 1.0)
    turned = lines[..., 1:] * unit[..., None].conj() ** grid.stated.orders[1:]
    centres = first + np.arange(count) * grid.quarter + (grid.quarter - 1) / 2
    cycles = grid.hz * centres / grid.rate_hz
    carrier = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    square = np.sum(np.abs(turned) ** 2, axis=-1) + np.nan_to_num(close.high)
    relative = np.real(change / np.where(level > 0, lines[..., 0], 1.0))
    step = grid.quarter // SLOW_STEPS
    mean = np.full(step, 1 / step, dtype=np.float32)
    slow = (left.reshape(-1, step) @ mean).reshape(channels, count, SLOW_STEPS)
    torn = _torn(level, noise)
    rails = [overload_fraction(row, grid.rate_hz / grid.hz) for row in pieces.reshape(channels, -1)]
    return Quarters(
        phasor=(lines[..., 0] * carrier).T.astype(np.complex64),
        harmonics=np.moveaxis(turned, 0, 1).astype(np.complex64),
        dc=solved[..., -4].T.astype(np.float32),
        noise=noise.T.astype(np.float32),
        high=close.high.T.astype(np.float32),
        crest=np.moveaxis(close.crest, 0, 1),
        slow=np.moveaxis(slow, 0, 1),
        bands=_bands(grid, left, solved.shape[-1] - 2),
        fine=fine_rows(grid, pieces, first, level, relative, square, noise),
        zeros=find_zeros(grid, pieces, first, level, noise),
        torn=np.moveaxis(pieces[:, torn], 0, -1),
        torn_at=first + torn * grid.quarter,
        rails=np.array(rails) * len(samples),
        step=_step(samples),
        same=channels == 2
        and bool(np.array_equal(pieces[0, :, 0], pieces[1, :, 0]))
        and bool(np.array_equal(pieces[0], pieces[1])),
    )


def _residual(grid: Grid, pieces: Single, solved: Array) -> tuple[Single, Array]:
    """Return what the harmonics leave, slow terms kept, and the mean square without those."""
    model = solved.astype(np.float32)
    # The slow terms stay in, but for a steady DC that would swamp them.
    model[..., -3] = 0.0
    mean = solved[..., -4].mean(axis=1, keepdims=True) if solved.shape[1] else solved[..., -4]
    model[..., -4] = mean
    left = product(model, grid.stated.columns)
    np.subtract(pieces, left, out=left)
    square = np.einsum("cqn,cqn->cq", left, left).astype(np.float64)
    slope = float(np.sum(grid.stated.columns[-3].astype(np.float64) ** 2))
    square -= grid.quarter * (solved[..., -4] - mean) ** 2 + slope * solved[..., -3] ** 2
    return left, np.maximum(square, 0.0) / (grid.quarter - solved.shape[-1])


def _step(samples: Single) -> float:
    """Return the step of an integer recording, 0 for floating point, infinity for silence."""
    some = samples[:_STEP_SAMPLES].astype(np.float64)
    return quantisation_step(some) if some.any() else math.inf


def _torn(level: Array, noise: Array) -> NDArray[np.int64]:
    """Return the quarters in which something happens suddenly, a few a batch at the most."""
    if not noise.shape[1]:
        return np.empty(0, dtype=np.int64)
    usual = np.median(noise, axis=1, keepdims=True)
    over = noise / np.maximum(np.maximum(usual, _BREAK_RATIO * level**2), 1e-30)
    worst = over.max(axis=0)
    loudest = np.argsort(-worst, kind="stable")[:_TORN_A_BATCH]
    return np.sort(loudest[worst[loudest] > _TORN_OVER_USUAL])


def _bands(grid: Grid, left: Single, parameters: int) -> Single:
    """Return mean square by band of whole frames, shape (frames, channels, bands)."""
    from scipy.fft import rfft

    channels, count, size = left.shape
    frames = count // QUARTERS
    whole = left[:, : frames * QUARTERS].reshape(channels, frames, QUARTERS * size)
    power = np.zeros((frames, channels, len(grid.bands)), dtype=np.float32)
    for at in range(0, frames, _FRAMES_AT_ONCE):
        some = whole[:, at : at + _FRAMES_AT_ONCE] * grid.window
        lines = rfft(some, axis=-1, overwrite_x=True).view(np.float32)
        for band, (a, b) in enumerate(pairwise(grid.edges)):
            part = lines[..., 2 * a : 2 * b]
            power[at : at + _FRAMES_AT_ONCE, :, band] = np.einsum("cfn,cfn->fc", part, part)
    scale = grid.band_scale * size / (size - parameters)
    return np.asarray(np.cumsum(power, axis=-1) * scale, dtype=np.float32)

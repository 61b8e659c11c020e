"""The block method for long recordings: every quarter frame fitted by one shared inverse.

A recording is cut on a fixed grid into quarter frames of about 21 ms. In each the fundamental,
its harmonics, DC, slope and the change of level are one matrix product with a pseudo-inverse
that all quarters share. Four quarters make a frame; where the level rests, what the fit leaves of
it is turned into noise by band. The products are in single precision: that sets a floor near
−140 dB, below what 24 bits carry.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.quality import middle, overload_fraction, quantisation_step
from backtospec.analysis.ramp_close import find_zeros, fine_rows, look_closely
from backtospec.analysis.ramp_grid import QUARTERS, Array, Grid, Single
from backtospec.analysis.ramp_left import read_left
from backtospec.analysis.ramp_quarters import Quarters, pack_slow

_STEP_SAMPLES = 512
_TORN_A_BATCH = 16
_TORN_OVER_USUAL = 20.0
_BREAK_RATIO = 1e-9
_LEAST_JUMP_RAD = math.radians(0.2)
#: A frame in whose quarters the level differs by less, as a ratio, is still, if what is left
#: over differs by no more than a factor.
_STILL = 3e-3
_CALM = 4.0
_SURE = 6.0
#: A level that changes by more over half a quarter, as a ratio, belongs to no plateau.
_MOVES = 5e-3
_HEARD = 10.0


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
    left = read_left(grid, pieces)
    solved, noise, lines = left.solved, left.noise, grid.stated.lines(left.solved)
    close = look_closely(grid, pieces, lines, noise)
    level = np.abs(lines[..., 0])
    squares = np.sum(np.square(lines[..., 1:].real) + np.square(lines[..., 1:].imag), axis=-1)
    change = solved[..., -2] - 1j * solved[..., -1]
    relative = np.real(change / np.where(level > 0, lines[..., 0], 1.0))
    fine_at, fine = fine_rows(grid, pieces, level, relative, squares + np.nan_to_num(close.high))
    one_row = _one_row(grid, level, relative, noise, close.rows)
    harmonics, spans = _harmonics(lines, level, one_row)
    phasor = lines[..., 0] * _carrier(grid, first, count)
    torn = _torn(phasor, noise)
    at = np.array((first // grid.quarter, 0), dtype=np.int32)
    return Quarters(
        phasor=phasor.T.astype(np.complex64),
        dc=solved[..., -4].T.astype(np.float32),
        noise=noise.T.astype(np.float32),
        squares=squares.T.astype(np.float32),
        slow=pack_slow(np.moveaxis(left.slow, 0, 1)),
        harmonics=harmonics,
        spans=spans,
        bands=left.bands,
        close_at=close.rows + at,
        close=close.values,
        fine_at=fine_at + at,
        fine=fine,
        zeros=find_zeros(grid, pieces, first, level, noise),
        torn=np.moveaxis(pieces[:, torn], 0, -1),
        torn_at=first + torn * grid.quarter,
        rails=_rails(grid, pieces),
        step=_step(pieces),
        same=channels == 2
        and bool(np.array_equal(pieces[0, :, 0], pieces[1, :, 0]))
        and bool(np.array_equal(pieces[0], pieces[1])),
    )


def _carrier(grid: Grid, first: int, count: int) -> NDArray[np.complex128]:
    centres = first + np.arange(count) * grid.quarter + (grid.quarter - 1) / 2
    cycles = grid.hz * centres / grid.rate_hz
    return np.asarray(np.exp(-2j * np.pi * (cycles - np.round(cycles))))


def _one_row(
    grid: Grid, level: Array, change: Array, noise: Array, looked_at: NDArray[np.int32]
) -> NDArray[np.bool_]:
    """Return which frames are kept as one row: those in which no plateau can begin or end."""
    channels, count = level.shape
    frames = count // QUARTERS
    shape = (channels, frames, QUARTERS)
    inside = slice(frames * QUARTERS)
    levels, noises = level[:, inside].reshape(shape), noise[:, inside].reshape(shape)
    loudest, noisiest = levels.max(axis=-1), noises.max(axis=-1)
    drop, doubt = loudest - levels.min(axis=-1), np.sqrt(2 / grid.quarter * noisiest)
    still = drop < _STILL * loudest + _SURE * doubt
    still &= noisiest <= _CALM * noises.min(axis=-1)
    moving = (np.abs(change[:, inside]).reshape(shape) > _MOVES).all(axis=-1)
    one_row: NDArray[np.bool_] = np.all(still | moving | (loudest <= _HEARD * doubt), axis=0)
    if len(looked_at):
        near = looked_at[:, 0] // QUARTERS
        one_row[near[near < frames]] = False
    return one_row


def _harmonics(
    lines: NDArray[np.complex128], level: Array, one_row: NDArray[np.bool_]
) -> tuple[NDArray[np.complex64], NDArray[np.uint8]]:
    """Return rows of harmonics with the phase of the fundamental at 0, and each one's span."""
    channels, count, orders = lines.shape
    unit = np.where(level > 0, lines[..., 0] / np.where(level > 0, level, 1.0), 1.0).conj()
    turn = np.multiply.accumulate(np.broadcast_to(unit[..., None], lines.shape), axis=-1)
    turned = np.moveaxis(lines[..., 1:] * turn[..., 1:], 0, 1).astype(np.complex64)
    joined = np.zeros(count, dtype=bool)
    joined[: len(one_row) * QUARTERS] = np.repeat(one_row, QUARTERS)
    first = np.flatnonzero(~joined | (np.arange(count) % QUARTERS == 0))
    spans = np.where(joined[first], QUARTERS, 1).astype(np.uint8)
    rows = turned[first]
    frames = turned[: len(one_row) * QUARTERS].reshape(-1, QUARTERS, channels, orders - 1)
    rows[spans > 1] = frames[one_row].mean(axis=1)
    return rows, spans


def _rails(grid: Grid, pieces: Single) -> Array:
    cycle = grid.rate_hz / grid.hz
    rows = pieces.reshape(len(pieces), -1)
    return np.array([overload_fraction(row, cycle) for row in rows]) * rows.shape[1]


def _step(pieces: Single) -> float:
    """Return the step of an integer recording, 0 for floating point, infinity for silence."""
    some = pieces.reshape(len(pieces), -1)[:, :_STEP_SAMPLES].astype(np.float64)
    return quantisation_step(some) if some.any() else math.inf


def _torn(phasor: NDArray[np.complex128], noise: Array) -> NDArray[np.int64]:
    """Return the quarters in which the phase may jump, a few a batch at the most."""
    if not noise.shape[1]:
        return np.empty(0, dtype=np.int64)
    usual = middle(noise.T)[:, None]
    least = np.maximum(np.maximum(usual, _BREAK_RATIO * np.abs(phasor) ** 2), 1e-30)
    worst = (noise / least).max(axis=0)
    if phasor.shape[1] > 2:
        across = np.angle(np.sum(phasor[:, 2:] * phasor[:, :-2].conj(), axis=0))
        # At the ends of a batch nothing is known of the other side.
        worst[1:-1][np.abs(across - middle(across)) < _LEAST_JUMP_RAD] = 0.0
    loudest = np.argsort(-worst, kind="stable")[:_TORN_A_BATCH]
    return np.sort(loudest[worst[loudest] > _TORN_OVER_USUAL])

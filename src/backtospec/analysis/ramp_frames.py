"""A ramp on its way through: fed in blocks of any size, in parts that are put together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.ramp_batch import read_quarters
from backtospec.analysis.ramp_grid import Grid, Single
from backtospec.analysis.ramp_quarters import Quarters

#: So many batches are kept apart before they are packed together.
_BATCHES_APART = 32


@dataclass(frozen=True, slots=True)
class RampFrames:
    """What of a ramp is done, and samples that wait for a whole batch.

    Parameters
    ----------
    grid
        How the recording is cut.
    first
        Index of the first sample fed; a multiple of ``grid.batch``.
    next_sample
        Index of the sample after the last one fed.
    packed, done
        Finished quarters in order: long parts, then single batches.
    waiting
        Samples after them, shape (samples, channels).
    """

    grid: Grid
    first: int
    next_sample: int
    packed: tuple[Quarters, ...]
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
    return RampFrames(grid, first, first, (), (), np.empty((0, channels), dtype=np.float32))


def feed(state: RampFrames, block: NDArray[np.floating]) -> RampFrames:
    """Return the ramp with a block of samples added; the given one is used up.

    Parameters
    ----------
    block
        Shape (samples, channels), any length.
    """
    block = np.asarray(block, dtype=np.float32)
    waiting = np.concatenate((state.waiting, block)) if len(state.waiting) else block
    size = state.grid.batch
    at = state.next_sample - len(state.waiting)
    packed, done = state.packed, list(state.done)
    whole = len(waiting) // size * size
    for offset in range(0, whole, size):
        done.append(read_quarters(state.grid, waiting[offset : offset + size], at + offset))
        if len(done) == _BATCHES_APART:
            packed, done = (*packed, Quarters.joined(done)), []
    rest = waiting[whole:]
    return replace(
        state,
        next_sample=state.next_sample + len(block),
        packed=packed,
        done=tuple(done),
        waiting=rest.copy() if whole else rest,
    )


def condense(state: RampFrames) -> RampFrames:
    """Return the same ramp with its finished parts joined; the given one is used up."""
    parts = (*state.packed, *state.done)
    return replace(state, packed=(Quarters.joined(parts),), done=()) if parts else state


def merge(earlier: RampFrames, later: RampFrames) -> RampFrames:
    """Return two neighbouring parts of a ramp as one; the later starts where the earlier ends."""
    if earlier.next_sample != later.first or len(earlier.waiting):
        raise ValueError("the parts are not neighbours on the batch grid")
    packed = (*earlier.packed, *earlier.done, *later.packed)
    return replace(later, first=earlier.first, packed=packed)


def settle(state: RampFrames) -> Quarters:
    """Return all quarters of a ramp, those of the last incomplete batch included.

    The ramp is used up.
    """
    size = state.grid.quarter
    whole = len(state.waiting) // size * size
    parts = (*state.packed, *state.done)
    if whole or not parts:
        at = state.next_sample - len(state.waiting)
        parts = (*parts, read_quarters(state.grid, state.waiting[:whole], at))
    return Quarters.joined(parts)

"""A log made ready to fit: empty rows out, and cut where the power was off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backtospec.analysis.disturbance import Jump, Pause
from backtospec.errors import BenchError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Readings between two interruptions; times in seconds on the log's clock, ascending."""

    start_s: float
    time_s: Array
    value: Array


def clean_series(
    elapsed_s: ArrayLike, value_v: Sequence[float | None] | ArrayLike
) -> tuple[Array, Array]:
    """Return times and readings without empty rows; rows of one stamp become their mean."""
    time_s = np.asarray(elapsed_s, dtype=float)
    value = np.array([np.nan if v is None else v for v in np.asarray(value_v, dtype=object)])
    value = value.astype(float)
    if time_s.shape != value.shape:
        raise BenchError(
            f"{time_s.size} times and {value.size} values do not belong together.",
            "warm-up series",
            "Give one time for each value.",
        )
    kept = np.isfinite(value) & np.isfinite(time_s)
    time_s, value = time_s[kept], value[kept]
    if not value.size:
        raise BenchError("There is no reading in it.", "warm-up series", "Take readings.")
    back = np.flatnonzero(np.diff(time_s) < 0)
    if back.size:
        raise BenchError(
            f"Time runs backwards after {time_s[back[0]]:g} s.",
            "warm-up series",
            "Give the rows in the order in which they were taken.",
        )
    stamps, which = np.unique(time_s, return_inverse=True)
    return stamps, np.bincount(which, weights=value) / np.bincount(which)


def find_smallest_step(value: Array) -> float:
    apart = np.diff(np.unique(np.round(value, 12)))
    return float(apart.min()) if apart.size else 1e-4


def find_runs_off(time_s: Array, off: NDArray[np.bool_]) -> list[Pause]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(int), [0]])))
    return [
        Pause(float(time_s[max(first - 1, 0)]), float(time_s[min(stop, time_s.size - 1)]))
        for first, stop in zip(edges[::2], edges[1::2], strict=True)
    ]


def merge_pauses(pauses: list[Pause]) -> list[Pause]:
    """Return the pauses in order, those that overlap joined."""
    merged: list[Pause] = []
    for pause in sorted(pauses, key=lambda p: p.off_s):
        if merged and pause.off_s <= merged[-1].on_s and pause.off_s < merged[-1].on_s + 1:
            joined = Pause(merged[-1].off_s, max(merged[-1].on_s, pause.on_s))
            merged[-1] = joined
        else:
            merged.append(pause)
    return merged


def leave_out_pauses(pauses: list[Pause], jumps: tuple[Jump, ...]) -> tuple[Jump, ...]:
    return tuple(
        jump for jump in jumps if not any(p.off_s <= jump.time_s <= p.on_s for p in pauses)
    )


def drop_slip(
    time_s: Array, value: Array, jumps: tuple[Jump, ...]
) -> tuple[Array, Array, tuple[Jump, ...]]:
    """Return the series without a single reading that stands apart: a slip of the probe."""
    if len(jumps) == 2 and jumps[1].row == jumps[0].row + 1:
        there, back = jumps[0].size, jumps[1].size
        if abs(there + back) < 0.3 * abs(there):
            kept = np.arange(time_s.size) != jumps[0].row
            return time_s[kept], value[kept], ()
    return time_s, value, jumps


def cut_at_pauses(time_s: Array, value: Array, pauses: list[Pause]) -> list[Stretch]:
    """Return the stretches between the pauses, those with fewer than two readings left out."""
    bounds = [-np.inf, *(p.on_s for p in pauses), np.inf]
    stretches = []
    for low, high in pairwise(bounds):
        inside = (time_s >= low) & (time_s < high)
        if inside.sum() >= 2:
            start = low if np.isfinite(low) else float(time_s[inside][0])
            stretches.append(Stretch(start, time_s[inside], value[inside]))
    return stretches

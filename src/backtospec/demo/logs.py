"""Warm-up of the invented amplifier, as a logging meter would have written it down."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from backtospec.demo.amplifier import FloatArray


@dataclass(frozen=True, slots=True)
class WarmUp:
    """How one reading creeps from power-on to its end value: two decaying exponentials.

    Parameters
    ----------
    settled_mv
        Where it ends.
    fast_mv, slow_mv
        What is still missing at power-on in the fast and in the slow part; added to the end value.
    fast_min, slow_min
        Time constants in minutes: devices on their sink, and the sink in its cabinet.
    """

    settled_mv: float
    fast_mv: float
    slow_mv: float
    fast_min: float = 2.5
    slow_min: float = 13.0

    def at(self, minutes: FloatArray) -> FloatArray:
        """Return millivolts at the given minutes since power-on, without noise.

        Examples
        --------
        >>> creep = WarmUp(10.0, -1.0, -2.0)
        >>> [round(float(value), 2) for value in creep.at(np.array([0.0, 13.0, 75.0]))]
        [7.0, 9.26, 9.99]
        """
        fast_mv = self.fast_mv * np.exp(-minutes / self.fast_min)
        slow_mv = self.slow_mv * np.exp(-minutes / self.slow_min)
        return np.asarray(self.settled_mv + fast_mv + slow_mv)


def read_meter(
    creep: WarmUp, minutes: FloatArray, chance: np.random.Generator, step_mv: float = 0.1
) -> FloatArray:
    """Return what the meter shows: the creep, a little air on the heatsink, noise, whole steps."""
    interval_min = float(minutes[1] - minutes[0])
    memory = np.exp(-interval_min)  # the air moves over about a minute
    pushes = chance.standard_normal(len(minutes)) * 0.03 * np.sqrt(1 - memory**2)
    air_mv = np.empty(len(minutes))
    state = 0.0
    for index, push in enumerate(pushes):
        state = memory * state + push
        air_mv[index] = state
    shown = creep.at(minutes) + air_mv + chance.standard_normal(len(minutes)) * 0.04
    return np.asarray(np.round(shown / step_mv) * step_mv)


def write_warm_up(
    path: Path,
    title: str,
    left: WarmUp,
    right: WarmUp,
    *,
    length_min: float = 75.0,
    interval_s: float = 30.0,
    seed: int = 0,
) -> None:
    """Write both channels against minutes since power-on as a plain text table.

    Parameters
    ----------
    path
        File to write.
    title
        What was measured and where; it becomes the first line, after ``#``.
    left, right
        What each channel does.
    length_min, interval_s
        How long, and how often a row was written.
    seed
        Decides the noise.
    """
    minutes = np.arange(0.0, length_min + interval_s / 120, interval_s / 60)
    chance = np.random.default_rng(seed)
    left_mv, right_mv = (read_meter(creep, minutes, chance) for creep in (left, right))
    lines = [f"# {title}", "minutes;L mV;R mV"]
    lines += [
        f"{minute:.1f};{left_one:.1f};{right_one:.1f}"
        for minute, left_one, right_one in zip(minutes, left_mv, right_mv, strict=True)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")

"""A distortion result beside the floor of the measuring chain: a range, never a difference."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.errors import BenchError

#: A floor this far below the result moves it by 1 % at most (0.09 dB).
_NEGLIGIBLE = 0.01


@dataclass(frozen=True, slots=True)
class OverFloor:
    """What a reading says about the amplifier once the chain's own share is allowed for.

    Parameters
    ----------
    reading, floor
        As measured, through the amplifier and in loop-back, as ratios.
    low, high
        The amplifier's own share lies between |reading − floor| and reading + floor.
    near_floor
        Whether the floor may move the result by more than 1 %; then only ``high`` may be stated,
        with a "≤".
    """

    reading: float
    floor: float
    low: float
    high: float
    near_floor: bool

    @property
    def at_most(self) -> float | None:
        """The bound to state where the floor is near, else ``None``."""
        return self.high if self.near_floor else None

    @property
    def text(self) -> str:
        """The result in percent, in words."""
        if not self.near_floor:
            return f"{100 * self.reading:.3g} % (floor {100 * self.floor:.2g} %)"
        return (
            f"≤ {100 * self.high:.3g} % (measured {100 * self.reading:.3g} %, floor "
            f"{100 * self.floor:.3g} %: the amplifier's own lies in "
            f"{100 * self.low:.2g}…{100 * self.high:.3g} %)"
        )


def combine(reading: float, floor: float) -> OverFloor:
    """Return what a reading says beside the floor of source and recorder.

    Parameters
    ----------
    reading
        THD, THD+N or one harmonic over the fundamental, as a ratio, 0 or more.
    floor
        The same figure in loop-back: the generator straight into the recorder.

    Raises
    ------
    BenchError
        Where either is no ratio.

    Notes
    -----
    The harmonics of chain and amplifier add as vectors of unknown angle: |a − b| ≤ r ≤ a + b, and
    for a sum over harmonics the triangle inequality says the same. They may even cancel, so a
    reading below the floor bounds the amplifier too and nothing is ever subtracted.

    Examples
    --------
    >>> print(combine(0.00010, 0.00008).text)
    ≤ 0.018 % (measured 0.01 %, floor 0.008 %: the amplifier's own lies in 0.002…0.018 %)
    >>> print(combine(0.01, 0.00002).text)
    1 % (floor 0.002 %)
    """
    faults = [
        BenchError(f"{value!r} is not a ratio of 0 or more.", where, "Give the figure as measured.")
        for value, where in ((reading, "reading"), (floor, "floor"))
        if not (math.isfinite(value) and value >= 0)
    ]
    if faults:
        raise BenchError.of(faults)
    return OverFloor(
        reading=reading,
        floor=floor,
        low=abs(reading - floor),
        high=reading + floor,
        near_floor=floor > _NEGLIGIBLE * reading,
    )


def combine_percent(reading_percent: float, floor_percent: float) -> OverFloor:
    """Return the same for figures in percent; the result holds ratios.

    Parameters
    ----------
    reading_percent, floor_percent
        See :func:`combine`.
    """
    return combine(reading_percent / 100, floor_percent / 100)


def combine_db(reading_db: float, floor_db: float) -> OverFloor:
    """Return the same for figures in decibels below the fundamental; the result holds ratios.

    Parameters
    ----------
    reading_db, floor_db
        See :func:`combine`.

    Examples
    --------
    >>> f"{20 * math.log10(combine_db(-100.0, -100.0).high):.2f} dB"
    '-93.98 dB'
    """
    return combine(10 ** (reading_db / 20), 10 ** (floor_db / 20))

"""A meter's reading at a frequency it was not made for: corrected where known, else refused."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping

from backtospec.errors import BenchError

SURE_HZ = (40.0, 400.0)
"""Where any meter may be believed on alternating voltage (common practice, no source)."""


def factor_at(shown: Mapping[float, float], frequency_hz: float) -> float:
    """Return what a meter shows over what is there, at a frequency.

    Parameters
    ----------
    shown
        Shown over true by frequency in Hz, as found on a source of known level; two or more.
    frequency_hz
        Within the lowest and highest of them.

    Raises
    ------
    BenchError
        Outside of what was tried: nothing is guessed there.

    Notes
    -----
    Straight lines between the points, over the logarithm of frequency.

    Examples
    --------
    >>> round(factor_at({100.0: 1.0, 1000.0: 0.98, 10e3: 0.6}, 3162.28), 3)
    0.79
    """
    known = sorted(shown)
    if not known or not known[0] <= frequency_hz <= known[-1]:
        tried = f"{known[0]:g}…{known[-1]:g} Hz" if known else "no frequency"
        raise BenchError(
            f"at {frequency_hz:g} Hz this meter is not known; it was tried at {tried}.",
            "meter",
            f"Measure at {SURE_HZ[0]:g}…{SURE_HZ[1]:g} Hz.",
        )
    above = bisect_left(known, frequency_hz)
    if known[above] == frequency_hz:
        return shown[frequency_hz]
    low, high = known[above - 1], known[above]
    share = math.log(frequency_hz / low) / math.log(high / low)
    return shown[low] + share * (shown[high] - shown[low])

"""Two meters on two channels, swapped once: what belongs to the meters, what to the channels."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.quantity import Measured, sqrt


@dataclass(frozen=True, slots=True)
class Swap:
    """Right over left of the channels, and second over first of the meters."""

    channels: Measured
    meters: Measured


def separate(
    left: Measured, right: Measured, left_swapped: Measured, right_swapped: Measured
) -> Swap | None:
    """Return the ratio of the channels without the meters, and of the meters.

    Parameters
    ----------
    left, right
        Left channel on the first meter, right channel on the second.
    left_swapped, right_swapped
        The same channels with the meters swapped.

    Returns
    -------
    Swap or None
        ``None`` where a reading is zero or negative.

    Notes
    -----
    Each meter reads each channel once, so its gain cancels in the geometric mean. It holds for
    errors in percent, not in counts, and while nothing drifts between the two rounds.

    Examples
    --------
    The second meter reads 5 % high, the channels are alike:

    >>> found = separate(Measured(10.0), Measured(10.5), Measured(10.5), Measured(10.0))
    >>> print(found.channels, round(found.meters.value, 4))
    1 1.05
    """
    if min(v.value for v in (left, right, left_swapped, right_swapped)) <= 0:
        return None
    return Swap(
        sqrt(right * right_swapped / (left * left_swapped)),
        sqrt(right * left_swapped / (left * right_swapped)),
    )

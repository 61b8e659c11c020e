"""The mains: what a chart of voltages is worth at today's volts, and where a selector belongs."""

from __future__ import annotations

import re
from collections.abc import Sequence

from backtospec.quantity import Measured

USUAL_POSITIONS_V = (110.0, 120.0, 220.0, 240.0)
"""Positions of the usual selector of the 1970s, volts (from memory)."""

WORTH_TURNING_PERCENT = 3.0
"""Mains above the selector's position by this or more is worth the next position (220 V on a 230 V
supply is 4.5 %: blog.analogbo.dk/2021/03/15/230-v-eller-220-v/)."""

FAR_PERCENT = 15.0
"""A position further above the mains than this starves the amplifier (a working rule)."""

DANGER_PERCENT = 15.5
"""Mains above the position by more than this is beyond what a supply tolerates: 253 V on a 220 V
amplifier is 15 % (from memory)."""

_HIGHEST_V = {120.0: 126.0, 230.0: 253.0, 100.0: 107.0}
"""Highest mains of a region by its nominal volts: ielogical.com/Audio/BuckTrans.php;
blog.analogbo.dk/2021/03/15/230-v-eller-220-v/; 100 V from memory."""


def mains_ratio(mains_v: Measured, set_v: float) -> Measured:
    """Return the mains over the volts the amplifier is set to; unregulated rails follow it.

    Examples
    --------
    >>> round(mains_ratio(Measured(122.0), 117.0).value, 4)
    1.0427
    """
    return mains_v / set_v


def voltage_percent(ratio: Measured) -> Measured:
    """Return how far the volts are above the plate, in percent.

    Examples
    --------
    >>> round(voltage_percent(Measured(122 / 117)).value, 1)
    4.3
    """
    return (ratio - 1) * 100


def power_percent(ratio: Measured) -> Measured:
    """Return how far the output power is above the plate's, in percent: it goes as volts squared.

    Examples
    --------
    >>> round(power_percent(Measured(122 / 117)).value, 1)
    8.7
    """
    return (ratio**2 - 1) * 100


def highest_mains(mains_v: float) -> float | None:
    """Return the highest mains to reckon with where such a voltage is met, or ``None``.

    Examples
    --------
    >>> highest_mains(236.0), highest_mains(122.0), highest_mains(160.0)
    (253.0, 126.0, None)
    """
    near = min(_HIGHEST_V, key=lambda nominal: abs(nominal - mains_v))
    return _HIGHEST_V[near] if abs(mains_v - near) <= 0.14 * near else None


def read_positions(text: str) -> tuple[float, ...]:
    """Return the positions of a voltage selector, in order; the usual ones for an empty text.

    Examples
    --------
    >>> read_positions("110/120/220/240 V")
    (110.0, 120.0, 220.0, 240.0)
    """
    found = sorted(float(number) for number in re.findall(r"\d{2,3}", text))
    return tuple(found) or USUAL_POSITIONS_V


def best_position(mains_v: float, set_v: float, positions: Sequence[float]) -> float | None:
    """Return the position to turn the selector to, or ``None`` where it is right.

    Parameters
    ----------
    mains_v
        Measured mains.
    set_v
        Where the selector stands.
    positions
        What it offers.

    Notes
    -----
    Where the mains exceed the present position by 3 % or more: the lowest position at or above the
    mains, or where none lies within 15 % above them, the highest below. A position above the mains
    harms nothing: rails and hum go down (blog.analogbo.dk/2021/03/15/230-v-eller-220-v/).

    Examples
    --------
    >>> best_position(230.0, 220.0, (110.0, 120.0, 220.0, 240.0))
    240.0
    >>> best_position(222.0, 220.0, (220.0, 240.0)) is None
    True
    """
    if (mains_v / set_v - 1) * 100 < WORTH_TURNING_PERCENT:
        return None
    above = [p for p in positions if mains_v <= p <= mains_v * (1 + FAR_PERCENT / 100)]
    best = min(above) if above else max((p for p in positions if p < mains_v), default=set_v)
    return best if best > set_v else None

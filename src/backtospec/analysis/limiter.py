"""A series lamp that limits the current at first power, and the rails behind it."""

from __future__ import annotations

from backtospec.quantity import Measured

LAMPS_W = (25.0, 40.0, 60.0, 100.0, 150.0, 200.0, 300.0, 500.0, 1000.0)
"""Incandescent lamps in the usual sizes, watts."""


def choose_lamp(draw_w: float) -> float:
    """Return the lamp in watts for an amplifier that draws so much without a signal.

    Parameters
    ----------
    draw_w
        Expected draw, watts, positive.

    Notes
    -----
    The lamp matches the expected draw: a smaller one lights anyway and starves the amplifier; 25 W
    is the least, for a first start (antiqueradio.org/dimbulb.htm).

    Examples
    --------
    >>> choose_lamp(10), choose_lamp(45), choose_lamp(60)
    (25.0, 60.0, 60.0)
    """
    return next((lamp for lamp in LAMPS_W if lamp >= draw_w), LAMPS_W[-1])


def uneven_percent(plus: Measured, minus: Measured) -> Measured:
    """Return how far two rails lie apart, in percent of the larger; their signs do not matter.

    Raises
    ------
    ValueError
        Where both are zero.

    Examples
    --------
    >>> print(uneven_percent(Measured(40.0), Measured(-30.0)))
    25
    """
    plus = plus if plus.value >= 0 else -1 * plus
    minus = minus if minus.value >= 0 else -1 * minus
    larger, smaller = (plus, minus) if plus.value >= minus.value else (minus, plus)
    if not larger.value:
        raise ValueError("two rails of 0 V")
    return (larger - smaller) / larger * 100

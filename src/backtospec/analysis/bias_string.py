"""Idle current after the voltage across the bias string has changed."""

from __future__ import annotations

from math import exp, log1p

from backtospec.quantity import Measured

THERMAL_V = 0.026
"""kT/q at 29 °C, the usual round figure."""


def idle_after(idle_a: Measured, difference_v: Measured, emitter_ohm: Measured) -> Measured:
    """Return the idle current once the bias string stands higher by a difference.

    Parameters
    ----------
    idle_a
        Idle current before, amperes per device, above zero.
    difference_v
        New less old voltage across the whole string, volts.
    emitter_ohm
        One emitter resistor, ohms, zero or more.

    Returns
    -------
    Measured
        Amperes per device; the uncertainty is that of all three, to first order.

    Notes
    -----
    A complementary pair of emitter followers: the string's extra voltage is shared between both
    emitter resistors and both base-emitter junctions, 2·Re·ΔI + 2·kT/q·ln(I/I₀). The drivers are
    taken as unchanged and the junctions as cold; warming comes on top and only raises it.

    Examples
    --------
    50 mV more at 0.22 Ω doubles 25 mA:

    >>> print(round(idle_after(Measured(0.025), Measured(0.05), Measured(0.22)).value * 1000))
    52
    """
    before, step, ohm = idle_a.value, difference_v.value, emitter_ohm.value
    after = _solved(before, step, ohm)
    slope = 2 * ohm + 2 * THERMAL_V / after
    by_idle = (2 * ohm + 2 * THERMAL_V / before) / slope
    by_ohm = -2 * (after - before) / slope
    moved = (difference_v - step) / slope + (idle_a - before) * by_idle
    return after + moved + (emitter_ohm - ohm) * by_ohm


def _solved(before_a: float, step_v: float, ohm: float) -> float:
    """Solve for the logarithm of the current by Newton's method; the function only rises."""

    def excess(grown: float) -> float:
        return 2 * ohm * before_a * (exp(grown) - 1) + 2 * THERMAL_V * grown - step_v

    # Without resistors the growth is the largest there can be: start there and come down.
    grown = step_v / (2 * THERMAL_V)
    if step_v > 0 and ohm > 0:
        grown = min(grown, log1p(step_v / (2 * ohm * before_a)))
    for _ in range(60):
        slope = 2 * ohm * before_a * exp(grown) + 2 * THERMAL_V
        move = excess(grown) / slope
        grown -= move
        if abs(move) < 1e-14:
            break
    return before_a * exp(grown)

"""Emptying a filter capacitor: what it stores, and a resistor that empties it in a chosen time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.quantity import Measured

SAFE_V = 2.0
"""Safe to touch below this, measured twice a minute apart (from memory)."""

WANTED_S = 5.0
"""Time in which a discharge resistor should empty a capacitor (common practice, no source)."""

SHORT_OVERLOAD = 5.0
"""Times its rating that a wire-wound resistor stands for a few seconds (from memory)."""

E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
RATINGS_W = (1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0)


def stored_energy(farad: Measured, volt: Measured) -> Measured:
    """Return the energy ½·C·V² of a charged capacitor in joules.

    Examples
    --------
    >>> print(stored_energy(Measured(0.01), Measured(63.0)))
    19.845
    """
    return 0.5 * farad * volt**2


def largest_resistor(farad: float, from_v: float, to_v: float, within_s: float) -> float:
    """Return the largest resistor in ohms that discharges a capacitor in time.

    Parameters
    ----------
    farad, within_s
        Positive.
    from_v, to_v
        Volts before and after, ``from_v`` above ``to_v`` above zero.

    Raises
    ------
    ValueError
        Where those relations do not hold.

    Notes
    -----
    R = t / (C·ln(V0/Vs)). Dielectric absorption is left out: an electrolytic recovers some volts
    within minutes, so the result is measured twice.

    Examples
    --------
    >>> round(largest_resistor(0.01, 63.0, 1.0, 5.0), 2)
    120.68
    """
    if not (farad > 0 and within_s > 0 and from_v > to_v > 0):
        raise ValueError(f"{farad} F from {from_v} V to {to_v} V in {within_s} s is no discharge")
    return within_s / (farad * math.log(from_v / to_v))


def discharge_time(farad: float, ohm: float, from_v: float, to_v: float) -> float:
    """Return the seconds a resistor takes to bring a capacitor from one voltage to a lower one.

    Examples
    --------
    >>> round(discharge_time(0.01, 10_000, 63.0, 2.0))
    345
    """
    return ohm * farad * math.log(from_v / to_v)


def volts_left(farad: float, ohm: float, from_v: float, after_s: float) -> float:
    """Return the volts still on a capacitor after some seconds with a resistor across it.

    Examples
    --------
    >>> round(volts_left(0.01, 10_000, 63.0, 30.0))
    47
    """
    return from_v * math.exp(-after_s / (ohm * farad))


@dataclass(frozen=True, slots=True)
class Discharger:
    """A resistor to discharge with, and what it goes through."""

    ohm: float
    rating_w: float
    peak_w: float
    peak_a: float
    time_s: float


def choose_discharger(farad: float, from_v: float, within_s: float = WANTED_S) -> Discharger:
    """Return a resistor one can buy that brings a capacitor below 2 V in time.

    Parameters
    ----------
    farad
        Capacitance, positive.
    from_v
        Volts on it, above 2 V.
    within_s
        Seconds allowed.

    Notes
    -----
    The next E6 value (IEC 60063) below :func:`largest_resistor`; its rating is at least a fifth of
    the first instant's power, since that power falls with half the time constant.

    Examples
    --------
    >>> chosen = choose_discharger(0.01, 63.0)
    >>> chosen.ohm, chosen.rating_w, round(chosen.time_s, 1)
    (100.0, 10.0, 3.4)
    """
    ohm = _next_lower(largest_resistor(farad, from_v, SAFE_V, within_s))
    peak_w = from_v**2 / ohm
    enough = (rating for rating in RATINGS_W if rating >= peak_w / SHORT_OVERLOAD)
    return Discharger(
        ohm,
        next(enough, math.ceil(peak_w / SHORT_OVERLOAD)),
        peak_w,
        from_v / ohm,
        discharge_time(farad, ohm, from_v, SAFE_V),
    )


def _next_lower(ohm: float) -> float:
    decade = math.floor(math.log10(ohm))
    steps = [float(f"{step}e{power}") for power in (decade - 1, decade, decade + 1) for step in E6]
    return max(step for step in steps if step <= ohm)

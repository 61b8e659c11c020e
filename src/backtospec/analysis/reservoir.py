"""A reservoir capacitor behind a rectifier: ripple, what it implies, and inrush."""

from __future__ import annotations

from backtospec.quantity import Measured


def expected_ripple(ampere: Measured, ripple_hz: Measured, farad: Measured) -> Measured:
    """Return the ripple I/(f·C) in volts peak to peak.

    Parameters
    ----------
    ampere
        Direct current drawn, positive.
    ripple_hz
        Twice the mains for full-wave rectification.
    farad
        Reservoir, positive.

    Notes
    -----
    The reservoir is taken to discharge for the whole period, so the true ripple is somewhat less:
    an upper estimate (from memory). As RMS, 1/√12 of it: 2.4·I[mA]/C[µF] at 120 Hz, which is the
    textbook form (issuhub.com/view/index/4134?pageIndex=207).

    Examples
    --------
    >>> print(expected_ripple(Measured(0.1), Measured(100.0), Measured(10e-3)))
    0.1
    """
    return ampere / (ripple_hz * farad)


def effective_capacitance(ampere: Measured, ripple_hz: Measured, ripple_vpp: Measured) -> Measured:
    """Return the capacitance in F that a measured ripple implies, I/(f·V).

    Examples
    --------
    >>> print(effective_capacitance(Measured(0.1), Measured(100.0), Measured(0.2)))
    0.005
    """
    return ampere / (ripple_hz * ripple_vpp)


def energy_ratio(old_farad: float, new_farad: float, old_v: float, new_v: float) -> float:
    """Return how much more energy ½·C·V² the new reservoir holds.

    Examples
    --------
    >>> energy_ratio(4700e-6, 6800e-6, 50.0, 50.0).__round__(3)
    1.447
    """
    return new_farad * new_v**2 / (old_farad * old_v**2)


def inrush_ratio(old_farad: float, new_farad: float) -> float:
    """Return how much more the fuse and the rectifier are stressed at switch-on, as I²t.

    Notes
    -----
    Charging C to V through a fixed resistance R puts I²t = C·V²/(2·R) through the fuse: with the
    same transformer it grows as the capacitance does.

    Examples
    --------
    >>> inrush_ratio(4700e-6, 9400e-6)
    2.0
    """
    return new_farad / old_farad

"""Readings that jump about from one to the next, as a bad contact makes them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

SHARE = 0.02
"""Unrest of this share of the reading is a contact's, no meter's (a working rule)."""

FEWEST = 16
"""Readings needed to tell it."""

ALTERNATING = -0.58
"""Second differences of readings that know nothing of each other correlate with −2/3 from one to
the next; those of anything that takes its time, such as moving air, with more."""


def is_restless(value: ArrayLike, step: float) -> bool:
    """Return whether most readings jump about independently by more than a meter's own unrest.

    Parameters
    ----------
    value
        Readings in order and about evenly spaced, in any unit.
    step
        Smallest step of the meter, in that unit.

    Notes
    -----
    Second differences take a warm-up away; their median size is that of the unrest even where
    single jumps or a passing draught stand out.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> is_restless(10 + rng.normal(0, 0.5, 60), 0.1), is_restless(10 + np.arange(60) / 99, 0.1)
    (True, False)
    >>> is_restless(10 + 0.8 * np.sin(np.arange(60)), 0.1)
    False
    """
    readings = np.asarray(value, dtype=float)
    if readings.size < FEWEST:
        return False
    bends = np.diff(readings, 2)
    unrest = 1.4826 * float(np.median(np.abs(bends))) / np.sqrt(6)
    if unrest <= max(SHARE * float(np.median(np.abs(readings))), 1.5 * step):
        return False
    # held back, for one large jump would otherwise decide alone
    held = np.clip(bends, -8 * unrest, 8 * unrest)
    return bool(np.dot(held[1:], held[:-1]) / np.dot(held, held) < ALTERNATING)

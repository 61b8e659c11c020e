"""A dummy load as it was measured: cold, hot, and how long it may be driven."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.errors import BenchError
from backtospec.quantity import Measured

WITHOUT_HEATSINK = 0.25
"""Share of the rating that a metal-clad resistor holds in free air (from memory)."""

MOST_DRIFT_PERCENT = 2.0
"""More drift than this and the hot value must be read: 2 % of the load is 2 % of the power."""


@dataclass(frozen=True, slots=True)
class Load:
    """One load.

    Parameters
    ----------
    cold_ohm, hot_ohm
        As measured, with the meter's uncertainty; ``hot_ohm`` straight after driving it.
    lead_ohm
        Leads of the meter, shorted; taken off both.
    henry
        Inductance, where known.
    rating_w
        What is printed on it, on a heatsink if it wants one.
    on_heatsink
        Whether a load that wants a heatsink has one; ``None`` where it wants none.
    """

    cold_ohm: Measured
    hot_ohm: Measured | None = None
    lead_ohm: Measured | None = None
    henry: float | None = None
    rating_w: float | None = None
    on_heatsink: bool | None = None

    def __post_init__(self) -> None:
        if self.cold.value <= 0 or (self.hot is not None and self.hot.value <= 0):
            raise BenchError(
                "with its leads taken off nothing is left of the load.",
                "leads",
                "Short the leads alone and read them again.",
            )

    @property
    def cold(self) -> Measured:
        """Ohms cold, without the leads."""
        return self.cold_ohm - (self.lead_ohm or 0.0)

    @property
    def hot(self) -> Measured | None:
        """Ohms hot, without the leads."""
        return None if self.hot_ohm is None else self.hot_ohm - (self.lead_ohm or 0.0)

    @property
    def in_use(self) -> Measured:
        """Ohms that power is computed with: hot where they were read.

        Examples
        --------
        8.06 Ω cold and 8.14 Ω hot with 0.03 Ω of leads:

        >>> load = Load(Measured(8.06), Measured(8.14), Measured(0.03))
        >>> print(load.in_use, round(load.drift_percent, 2))
        8.11 1.0
        """
        return self.cold if self.hot is None else self.hot

    @property
    def drift_percent(self) -> float | None:
        """How far it rises from cold to hot."""
        hot = self.hot
        return None if hot is None else 100 * (hot.value / self.cold.value - 1)

    @property
    def continuous_w(self) -> float | None:
        """Watts it may be driven with for good."""
        if self.rating_w is None:
            return None
        return self.rating_w * (WITHOUT_HEATSINK if self.on_heatsink is False else 1.0)

    def impedance_excess_percent(self, frequency_hz: float) -> float | None:
        """Return how far |Z| lies above R at a frequency.

        Examples
        --------
        8 Ω with 20 µH at 20 kHz:

        >>> round(Load(Measured(8.0), henry=20e-6).impedance_excess_percent(20e3), 1)
        4.8
        """
        if self.henry is None:
            return None
        ohm = self.in_use.value
        return 100 * (math.hypot(1.0, 2 * math.pi * frequency_hz * self.henry / ohm) - 1)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What speaks against trusting it."""
        found = []
        if self.hot is None:
            found.append("Never read hot: drive it, then read it at once.")
        drift = self.drift_percent
        if drift is not None and abs(drift) > MOST_DRIFT_PERCENT:
            found.append(f"It drifts by {drift:.1f} %: read it hot at each power.")
        if self.on_heatsink is False:
            found.append("Without its heatsink it holds about a quarter of its rating.")
        return tuple(found)


def pause_s(power_w: float, continuous_w: float, driven_s: float) -> float:
    """Return how long to rest after driving a load above its rating.

    Parameters
    ----------
    power_w
        Put into it, positive.
    continuous_w
        What it holds for good, positive.
    driven_s
        How long it was driven; minutes at most, within which a resistor stores its heat.

    Notes
    -----
    The mean over driving and resting is the rating (common practice, no source).

    Examples
    --------
    150 W into a 100 W load for a minute, then 75 W:

    >>> pause_s(150.0, 100.0, 60.0), pause_s(75.0, 100.0, 60.0)
    (30.0, 0.0)
    """
    return max(0.0, driven_s * (power_w / continuous_w - 1))

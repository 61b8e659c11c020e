"""The worst an amplifier can put out at its speaker terminals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from backtospec.errors import BenchError

ABOVE_RATING = 1.25
"""Peaks above those of the rated power where no rail is known: rated cautiously, and the mains
may be high (common practice, no source)."""


class Output(StrEnum):
    """How the two terminals of one channel stand against the chassis."""

    GROUNDED = "grounded"
    BRIDGED = "bridged"
    INVERTED = "inverted"
    FLOATING = "floating"


@dataclass(frozen=True, slots=True)
class Source:
    """What is known of an amplifier's output; a rail, a rated power, or both.

    Parameters
    ----------
    rail_v
        The larger of both rails as measured, without its sign; of a bridged amplifier, of one side.
    rated_w, load_ohm
        Rated power of one channel, into its load.

    Raises
    ------
    BenchError
        Where there is neither.
    """

    rail_v: float | None = None
    rated_w: float | None = None
    load_ohm: float | None = None

    def __post_init__(self) -> None:
        if self.rail_v is None and (self.rated_w is None or self.load_ohm is None):
            raise BenchError(
                "neither a rail nor a rated power with its load was given.",
                "rail",
                "Give the rail as measured.",
            )
        for value, where, unit, high in (
            (self.rail_v, "rail", "V", 1000.0),
            (self.rated_w, "rated power", "W", 1e5),
            (self.load_ohm, "load", "Ω", 1e4),
        ):
            if value is not None and not 0 < value <= high:
                raise BenchError(
                    f"{value:g} {unit} is outside 0…{high:g} {unit} (above zero).",
                    where,
                    "Check the unit.",
                )

    @property
    def rated_peak_v(self) -> float | None:
        """Peak volts across the load at the rated power, √(2·P·R)."""
        if self.rated_w is None or self.load_ohm is None:
            return None
        return math.sqrt(2 * self.rated_w * self.load_ohm)


@dataclass(frozen=True, slots=True)
class Peaks:
    """The worst peaks in volts: between the terminals, and from either of them to the chassis."""

    across_v: float
    to_chassis_v: float


def worst_peaks(source: Source, output: Output) -> Peaks:
    """Return the worst peaks that a divider and its input must stand.

    Parameters
    ----------
    source
        A rail bounds every peak and also what a failed output device leaves standing.
    output
        Of a bridged output each terminal swings by itself, so the voltage between them is twice
        that to the chassis. A floating one is taken as bridged by its rail, and as standing whole
        against the chassis by its rated power: whichever is worse.

    Notes
    -----
    Where both a rail and a rated power are known the larger counts: they are two readings of one
    thing, and the smaller may be the mistaken one.

    Examples
    --------
    >>> worst_peaks(Source(rail_v=55.0), Output.GROUNDED)
    Peaks(across_v=55.0, to_chassis_v=55.0)
    >>> worst_peaks(Source(rail_v=55.0), Output.BRIDGED)
    Peaks(across_v=110.0, to_chassis_v=55.0)
    >>> worst_peaks(Source(rated_w=100.0, load_ohm=8.0), Output.BRIDGED)
    Peaks(across_v=50.0, to_chassis_v=25.0)
    """
    twice = output in (Output.BRIDGED, Output.FLOATING)
    found = []
    if source.rail_v is not None:
        found.append(Peaks((2 if twice else 1) * source.rail_v, source.rail_v))
    if source.rated_peak_v is not None:
        across = ABOVE_RATING * source.rated_peak_v
        half = output is Output.BRIDGED
        found.append(Peaks(across, across / 2 if half else across))
    return Peaks(max(p.across_v for p in found), max(p.to_chassis_v for p in found))

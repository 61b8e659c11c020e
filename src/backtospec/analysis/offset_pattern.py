"""Offset with the input open and shorted, the volume at both ends: where it comes from."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import TypeAlias

MOVES_V = 2e-3
"""A change below this is not held to be one (a working rule)."""

MOVES_SHARE = 0.15
"""Nor is one below this share of the larger reading (a working rule)."""

Condition: TypeAlias = tuple[str, str]
"""Input, ``open`` or ``shorted``; volume, ``min`` or ``max``."""


class Place(StrEnum):
    """Where in the chain an offset arises."""

    BEHIND = "behind the volume control"
    AT_CONTROL = "between the input and the volume control"
    AT_INPUT = "at the input"
    AROUND = "around the volume control"
    UNKNOWN = "not told by these conditions"


def moves(one_v: float, other_v: float) -> bool:
    """Return whether two readings differ by more than their usual unrest.

    Examples
    --------
    >>> moves(0.040, 0.042), moves(0.040, 0.012)
    (False, True)
    """
    larger = max(abs(one_v), abs(other_v))
    return abs(one_v - other_v) > max(MOVES_V, MOVES_SHARE * larger)


def localise(offset_v: Mapping[Condition, float]) -> Place:
    """Return the place that offsets under up to four conditions point to.

    Parameters
    ----------
    offset_v
        Offset in volts by (input, volume); missing ones are left out.

    Notes
    -----
    What does not move with the volume arises behind the control. What moves with it and not with
    the input comes to the control from the stage ahead of it; what moves with the input at full
    volume comes in there, or through a missing coupling capacitor: shorting such an input changes
    the bias current's path and can itself make an offset (diyaudio.com post 1046138). What moves
    with the input at minimum volume gets past the control. A leak into the control also shows
    as a scratch when it is turned (common practice, no source).

    Examples
    --------
    >>> localise({("open", "min"): 0.04, ("open", "max"): 0.041, ("shorted", "max"): 0.04}).value
    'behind the volume control'
    >>> at_full = {("shorted", "max"): 0.08, ("open", "max"): 0.081}
    >>> localise({("shorted", "min"): 0.002} | at_full).value
    'between the input and the volume control'
    >>> localise({("shorted", "max"): 0.002, ("open", "max"): 0.08}).value
    'at the input'
    """

    def between(one: Condition, other: Condition) -> bool | None:
        if one not in offset_v or other not in offset_v:
            return None
        return moves(offset_v[one], offset_v[other])

    with_volume = [between((state, "min"), (state, "max")) for state in ("open", "shorted")]
    at_min = between(("open", "min"), ("shorted", "min"))
    at_max = between(("open", "max"), ("shorted", "max"))
    if at_min:
        return Place.AROUND
    if at_max:
        return Place.AT_INPUT
    if any(with_volume):
        return Place.AT_CONTROL if at_max is False else Place.UNKNOWN
    if any(moved is False for moved in with_volume):
        return Place.BEHIND
    return Place.UNKNOWN

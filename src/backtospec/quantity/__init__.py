"""Numbers as people write them, and values that carry their uncertainty."""

from __future__ import annotations

from backtospec.quantity.measured import (
    Measured,
    MeterRange,
    decibel_ratio,
    exp,
    log10,
    rectangular,
    sqrt,
    with_tolerance,
)
from backtospec.quantity.reading import read, resolution
from backtospec.quantity.units import in_unit, to_si, write

__all__ = [
    "Measured",
    "MeterRange",
    "decibel_ratio",
    "exp",
    "in_unit",
    "log10",
    "read",
    "rectangular",
    "resolution",
    "sqrt",
    "to_si",
    "with_tolerance",
    "write",
]

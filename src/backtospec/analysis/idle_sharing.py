"""Devices of one output stage beside each other: which share the current, and which do not."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from backtospec.quantity import Measured

SHARE_PERCENT = 30.0
"""Partners within ±3 mV of a device set to 10 mV (service sheet dated 23/11/99)."""

SILENT_SHARE = 0.1
"""A device below this share of the liveliest one carries about nothing (common practice)."""

_LEFT = {"l", "lch", "left", "links", "左"}
_RIGHT = {"r", "rch", "right", "rechts", "右"}
_UPPER = {"npn", "upper", "top", "positive", "plus"}
_LOWER = {"pnp", "lower", "bottom", "negative", "minus"}


@dataclass(frozen=True, slots=True)
class Device:
    """One output device by its name, with the drop across its own emitter resistor in volts."""

    name: str
    drop: Measured

    @property
    def channel(self) -> str:
        """``left`` or ``right`` where the name says it, else empty."""
        words = _words(self.name)
        return "left" if words & _LEFT else "right" if words & _RIGHT else ""

    @property
    def side(self) -> str:
        """``NPN`` or ``PNP`` side where the name says it, else empty."""
        words = _words(self.name)
        return "NPN" if words & _UPPER else "PNP" if words & _LOWER else ""


def _words(name: str) -> set[str]:
    return {word.rstrip("0123456789") for word in re.split(r"[\s\-_/.,:]+", name.casefold())}


@dataclass(frozen=True, slots=True)
class Bank:
    """The devices of one channel, or of one side of it.

    Parameters
    ----------
    devices
        At least one.
    """

    channel: str
    side: str
    devices: tuple[Device, ...]

    @property
    def silent(self) -> tuple[Device, ...]:
        """Those that carry about nothing beside the liveliest."""
        most = max(abs(d.drop.value) for d in self.devices)
        return tuple(d for d in self.devices if abs(d.drop.value) <= SILENT_SHARE * most)

    @property
    def mean(self) -> Measured:
        """Mean drop of those that conduct, or of all where none does."""
        conducting = [d.drop for d in self.devices if d not in self.silent] or [
            d.drop for d in self.devices
        ]
        return sum(conducting[1:], conducting[0]) / len(conducting)

    def worst_percent(self) -> Measured | None:
        """Return how far the farthest device lies off the mean; ``None`` for one device alone.

        Examples
        --------
        >>> drops = (("Q1", 10e-3), ("Q2", 6e-3), ("Q3", 11e-3))
        >>> bank = Bank("left", "", tuple(Device(n, Measured(v)) for n, v in drops))
        >>> print(round(bank.worst_percent().value), bank.worst.name)
        -33 Q2
        """
        mean = self.mean
        if len(self.devices) < 2 or mean.value == 0:
            return None
        return (self.worst.drop - mean) / mean * 100

    @property
    def worst(self) -> Device:
        """The device farthest from the mean."""
        mean = self.mean.value
        return max(self.devices, key=lambda d: abs(d.drop.value - mean))


def banks_of(devices: Iterable[Device]) -> tuple[Bank, ...]:
    """Return the devices by channel and side, in the order met.

    Examples
    --------
    >>> found = banks_of([Device("L NPN1", Measured(0.01)), Device("L PNP1", Measured(0.009))])
    >>> [(bank.channel, bank.side, len(bank.devices)) for bank in found]
    [('left', 'NPN', 1), ('left', 'PNP', 1)]
    """
    grouped: dict[tuple[str, str], list[Device]] = {}
    for device in devices:
        grouped.setdefault((device.channel, device.side), []).append(device)
    return tuple(Bank(channel, side, tuple(found)) for (channel, side), found in grouped.items())


def sides_percent(banks: Iterable[Bank], channel: str) -> Measured | None:
    """Return NPN side less PNP side of one channel, in percent of their mean.

    Returns
    -------
    Measured or None
        ``None`` where one side was not read, or both carry nothing.
    """
    by_side = {bank.side: bank.mean for bank in banks if bank.channel == channel}
    if not {"NPN", "PNP"} <= set(by_side):
        return None
    mean = (by_side["NPN"] + by_side["PNP"]) / 2
    return (by_side["NPN"] - by_side["PNP"]) / mean * 100 if mean.value else None

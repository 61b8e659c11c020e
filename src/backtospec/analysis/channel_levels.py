"""Levels of two channels as people note them, and what their differences say."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from backtospec import quantity
from backtospec.errors import BenchError
from backtospec.quantity import Measured, MeterRange, decibel_ratio, rectangular
from backtospec.records import Meter

HAND_METER = (0.5, 1.0)
"""Percent and counts taken where no meter is named: typed readings are rounded to a count."""

_DECIBEL = re.compile(r"d\s*b", re.IGNORECASE)
_SILENT = ("silent", "silence", "nothing", "none", "dead", "mute", "off", "no signal", "drops out")
_SILENT_V = 1e-9


@dataclass(frozen=True, slots=True)
class Level:
    """One level.

    Parameters
    ----------
    text
        As typed.
    db
        Decibels, over 1 V or over whatever a meter in decibels refers to; ``None`` where nothing
        came through.
    in_volts
        Whether it was read in volts.
    """

    text: str
    db: Measured | None
    in_volts: bool


class LevelReader:
    """Reads levels in volts or decibels; what a meter's range shares cancels in differences.

    Parameters
    ----------
    meter
        Whose accuracy counts; a usual hand meter without it.

    Examples
    --------
    >>> reader = LevelReader(None)
    >>> left, right = reader.read("2.00 V", "left"), reader.read("1,00 V", "right")
    >>> round(difference_db(left, right, "12 o'clock").value, 2)
    6.02
    >>> reader.read("dead", "right").db is None
    True
    """

    def __init__(self, meter: Meter | None) -> None:
        self._percent, self._counts = (meter.percent, meter.counts) if meter else HAND_METER
        self._ranges: dict[float, MeterRange] = {}
        self._seen: set[str] = set()

    def read(self, text: str, where: str, unit: str = "V") -> Level:
        """Return a level.

        Parameters
        ----------
        text
            ``"2.83 V"``, ``"45 mV"``, ``"-3.2 dB"``, or ``"silent"``; a bare number is in
            ``unit``, and nought volts is silence.
        where
            The field, named as the person knows it.
        unit
            ``"V"``, ``"mV"`` or ``"dB"``.

        Raises
        ------
        BenchError
            Where it is no level.
        """
        if text.strip().lower() in _SILENT:
            return Level(text, None, in_volts=True)
        if unit != "dB":
            self._refuse_doubtful(text, where)
        if unit == "dB" or _DECIBEL.search(text):
            plain = re.sub(r"d\s*b\s*[a-z]?\s*$", "dB", text.strip(), flags=re.IGNORECASE)
            db = quantity.read(plain, "dB", where, -200, 200)
            half_digit = quantity.resolution(plain, "dB") / 2
            return Level(text, rectangular(db, half_digit), in_volts=False)
        volt = quantity.read(text, unit, where, 0, quantity.in_unit(1e4, unit))
        if volt <= _SILENT_V:
            return Level(text, None, in_volts=True)
        step = quantity.resolution(text, unit)
        if step not in self._ranges:
            self._ranges[step] = MeterRange(self._percent, self._counts, step)
        return Level(text, decibel_ratio(self._ranges[step].measured(volt), 1.0), in_volts=True)

    def _refuse_doubtful(self, text: str, where: str) -> None:
        """Refuse a bare number beside levels in decibels: nothing says what it is in."""
        kind = "dB" if _DECIBEL.search(text) else "" if text.strip()[-1:].isdigit() else "V"
        self._seen.add(kind)
        if {"dB", ""} <= self._seen:
            raise BenchError(
                f"“{text}” stands beside others: some in decibels, some without a unit.",
                where,
                "Write dB, V or mV beside each.",
            )


def difference_db(left: Level, right: Level, where: str) -> Measured | None:
    """Return left over right in decibels; ``None`` where one of them is silent.

    Parameters
    ----------
    left, right
        Both in volts, or both in decibels.
    where
        The row, for the refusal.

    Raises
    ------
    BenchError
        Where one is in volts and the other in decibels.
    """
    if left.db is None or right.db is None:
        return None
    if left.in_volts != right.in_volts:
        raise BenchError(
            f"{left.text} and {right.text}: one is in volts, the other in decibels.",
            where,
            "Give both in the same unit.",
        )
    return left.db - right.db


def spread_db(levels: Sequence[Level], where: str) -> Measured | None:
    """Return the highest over the lowest of levels that should be alike; ``None`` below two.

    Silent ones are left out: they are dropouts, not a spread.

    Raises
    ------
    BenchError
        Where some are in volts and some in decibels.
    """
    heard = [one for one in levels if one.db is not None]
    if len(heard) < 2:
        return None
    top = max(heard, key=lambda one: one.db.value if one.db else -math.inf)
    bottom = min(heard, key=lambda one: one.db.value if one.db else math.inf)
    odd = next((one for one in heard if one.in_volts != top.in_volts), bottom)
    return difference_db(top, odd if odd.in_volts != top.in_volts else bottom, where)


def contact_ohm(before: Measured, after: Measured, load_ohm: Measured | float) -> Measured:
    """Return the series resistance that loses the difference into a load: R·(U₁/U₂ − 1).

    Parameters
    ----------
    before, after
        Volts before and behind what lies in series; or without and with the load, and then the
        output resistance of the amplifier is in it.
    load_ohm
        The load.

    Notes
    -----
    diyaudio.com thread 260534; not near clipping, where the supply sags.

    Examples
    --------
    >>> round(contact_ohm(Measured(10.0), Measured(9.8), 8.0).value, 3)
    0.163
    """
    return (before / after - 1) * load_ohm


@dataclass(frozen=True, slots=True)
class Loss:
    """Where the balance of two channels changes most along the signal path.

    Parameters
    ----------
    before, after
        Points on either side; ``before`` is empty where it is there at the first point already.
    weak
        The channel that loses: ``left`` or ``right``.
    db
        By how much.
    """

    before: str
    after: str
    weak: str
    db: Measured


def locate_loss(differences: Mapping[str, Measured], least_db: float = 0.5) -> Loss | None:
    """Return between which points one channel loses most against the other.

    Parameters
    ----------
    differences
        Left over right in decibels by point, in the order of the signal path.
    least_db
        Below this nothing is lost (common practice, no source).

    Examples
    --------
    >>> path = {"preamp-out": Measured(0.1), "before-relay": Measured(0.2)}
    >>> locate_loss(path) is None
    True
    >>> found = locate_loss({**path, "after-relay": Measured(2.2)})
    >>> found.before, found.after, found.weak
    ('before-relay', 'after-relay', 'right')
    """
    found: list[Loss] = []
    before, level = "", Measured(0.0)
    for point, difference in differences.items():
        change = difference - level
        weak = "right" if change.value > 0 else "left"
        found.append(Loss(before, point, weak, abs(change)))
        before, level = point, difference
    worst = max(found, key=lambda loss: loss.db.value, default=None)
    return worst if worst is not None and worst.db.value > least_db else None

"""Fuses as people write them, and what is wrong with the one fitted."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from backtospec import quantity
from backtospec.errors import BenchError

TIME_LAG = "time-lag"
FAST = "fast"

_LAG_WORDS = r"time[- ]?(?:lag|delay)|slow(?:[- ]?blow)?|anti[- ]?surge|tr[äa]ge|sb|at|tt?"
_FAST_WORDS = r"fast(?:[- ]?acting)?|quick(?:[- ]?blow)?|normal|flink|af|ff?"
_NO_FUSE = re.compile(r"(?i)\b(wire|foil|bridged|bypassed|solder(ed)?|nail|shorted|link)\b")


class FuseFault(StrEnum):
    """What is wrong with a fuse that is fitted."""

    BRIDGED = "bridged"
    TOO_LARGE = "too large"
    TOO_SMALL = "too small"
    FAST_FOR_LAG = "fast where time-lag belongs"
    LAG_FOR_FAST = "time-lag where fast belongs"


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse: rated amperes and kind, each ``None`` where it is not said."""

    ampere: float | None
    kind: str | None
    bridged: bool = False


def read_fuse(text: str, where: str) -> Fuse:
    """Return a fuse written as "T1.6A", "3 A fast", "1.5 A slow-blow 250 V" or "wire".

    Raises
    ------
    BenchError
        Where there is neither a rating nor a kind in it.

    Notes
    -----
    T is time-lag and F is fast in IEC 60127 (from memory).

    Examples
    --------
    >>> read_fuse("T1.6A 250V", "mains"), read_fuse("30 A", "mains").ampere
    (Fuse(ampere=1.6, kind='time-lag', bridged=False), 30.0)
    >>> read_fuse("500 mA fast", "rail"), read_fuse("a piece of wire", "rail").bridged
    (Fuse(ampere=0.5, kind='fast', bridged=False), True)
    """
    plain = text.strip()
    if _NO_FUSE.search(plain):
        return Fuse(None, None, bridged=True)
    without_volts = re.sub(r"(?i)\b\d+\s*V(?:AC|DC)?\b", " ", plain)
    number = re.search(r"(?i)(\d+(?:[.,]\d+)?|[.,]\d+)\s*(mA|A(?:mps?)?)?(?![\d.])", without_volts)
    ampere = None
    if number:
        unit = "mA" if (number[2] or "").lower() == "ma" else "A"
        ampere = quantity.read(f"{number[1]} {unit}", "A", where, 0.01, 100)
    letters = re.sub(r"(?i)\d+(?:[.,]\d+)?\s*(?:mA|A(?:mps?)?)?\b", " ", without_volts)
    kind = None
    if re.search(rf"(?i)(?<![a-zä])(?:{_LAG_WORDS})(?![a-zä])", letters):
        kind = TIME_LAG
    elif re.search(rf"(?i)(?<![a-zä])(?:{_FAST_WORDS})(?![a-zä])", letters):
        kind = FAST
    if ampere is None and kind is None:
        raise BenchError(f"“{plain}” is not a fuse.", where, 'Write it as "T1.6A" or "3 A fast".')
    return Fuse(ampere, kind)


def fuse_faults(fitted: Fuse, specified: Fuse) -> tuple[FuseFault, ...]:
    """Return everything that is wrong with the fuse that is fitted; its kind only where both say.

    Examples
    --------
    >>> fuse_faults(Fuse(30.0, None), Fuse(1.5, TIME_LAG))
    (<FuseFault.TOO_LARGE: 'too large'>,)
    >>> fuse_faults(Fuse(3.0, FAST), Fuse(3.0, TIME_LAG))
    (<FuseFault.FAST_FOR_LAG: 'fast where time-lag belongs'>,)
    >>> fuse_faults(Fuse(1.6, TIME_LAG), Fuse(1.6, None))
    ()
    """
    if fitted.bridged:
        return (FuseFault.BRIDGED,)
    found: list[FuseFault] = []
    if fitted.ampere is not None and specified.ampere is not None:
        if fitted.ampere > specified.ampere * (1 + 1e-9):
            found.append(FuseFault.TOO_LARGE)
        elif fitted.ampere < specified.ampere * (1 - 1e-9):
            found.append(FuseFault.TOO_SMALL)
    if (fitted.kind, specified.kind) == (FAST, TIME_LAG):
        found.append(FuseFault.FAST_FOR_LAG)
    if (fitted.kind, specified.kind) == (TIME_LAG, FAST):
        found.append(FuseFault.LAG_FOR_FAST)
    return tuple(found)

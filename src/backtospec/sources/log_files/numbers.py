"""Numbers as people and meters write them, kept exact: a count times a power of ten."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True, slots=True)
class Number:
    """An exact decimal: ``count`` × 10 ** ``exponent``; ``scientific`` if written with one."""

    count: int
    exponent: int
    scientific: bool = False

    def scaled(self, power: int) -> Number:
        """Return the number times 10 ** ``power``."""
        return Number(self.count, self.exponent + power, self.scientific)

    def times(self, other: Number) -> Number:
        """Return the exact product."""
        return Number(self.count * other.count, self.exponent + other.exponent, self.scientific)

    def as_float(self) -> float:
        """Return the nearest double.

        Examples
        --------
        >>> Number(74, -1).scaled(-3).as_float()
        0.0074
        """
        if self.exponent >= 0:
            return float(self.count * 10**self.exponent)
        return float(self.count / 10**-self.exponent)


class Mark(Enum):
    """What a written number says about the decimal mark."""

    NONE = "no mark"
    POINT = "decimal point"
    COMMA = "decimal comma"
    COMMA_OR_GROUP = "decimal comma or thousands"
    POINT_OR_GROUP = "decimal point or thousands"


NUMBER = r"[+-]?(?:[0-9][0-9.,'’\u00a0\u202f\u2009]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2}(?![0-9]))?"
_NUMBER = re.compile(
    r"([+-]?)([0-9][0-9.,'’\u00a0\u202f\u2009]*|[.,][0-9]+)(?:[eE]([+-]?[0-9]{1,2}))?"
)
_GROUPS = {
    ",": re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+"),
    ".": re.compile(r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+"),
}
_THIN = str.maketrans("", "", "'’\u00a0\u202f\u2009")
_MAX_CHARACTERS = 40


def read_number(text: str, decimal: str) -> Number | None:
    """Return the number written in ``text``, or None where it is none.

    Parameters
    ----------
    text
        One number, without unit.
    decimal
        The decimal mark, ``.`` or ``,``; the other one may group thousands.

    Examples
    --------
    >>> read_number("1.234,5", ",")
    Number(count=12345, exponent=-1, scientific=False)
    >>> read_number("9.6", ",") is None
    True
    """
    match = _NUMBER.fullmatch(text) if len(text) <= _MAX_CHARACTERS else None
    if match is None:
        return None
    sign, body, power = match.groups()
    whole, _, fraction = body.translate(_THIN).partition(decimal)
    other = "," if decimal == "." else "."
    if other in whole:
        if not _GROUPS[other].fullmatch(whole):
            return None
        whole = whole.replace(other, "")
    if "." in fraction or "," in fraction or not whole + fraction:
        return None
    count = int(whole + fraction)
    exponent = int(power or 0) - len(fraction)
    return Number(-count if sign == "-" else count, exponent, power is not None)


def mark_in(text: str) -> Mark | None:
    """Return what a written number says about the decimal mark; None where it is no number.

    Examples
    --------
    >>> mark_in("0,987").name, mark_in("1,234").name, mark_in("9.6").name
    ('COMMA', 'COMMA_OR_GROUP', 'POINT')
    """
    match = _NUMBER.fullmatch(text) if len(text) <= _MAX_CHARACTERS else None
    if match is None:
        return None
    body, scientific = match.group(2).translate(_THIN), match.group(3) is not None
    points, commas = body.count("."), body.count(",")
    if not points and not commas:
        return Mark.NONE
    if points and commas:
        mark = Mark.POINT if body.rfind(".") > body.rfind(",") else Mark.COMMA
        return mark if read_number(text, "." if mark is Mark.POINT else ",") else None
    mark, open_mark, other, sign = (
        (Mark.POINT, Mark.POINT_OR_GROUP, Mark.COMMA, ".")
        if points
        else (Mark.COMMA, Mark.COMMA_OR_GROUP, Mark.POINT, ",")
    )
    grouped = _GROUPS[sign].fullmatch(body) is not None
    if points + commas > 1:
        return other if grouped else None
    return open_mark if grouped and not scientific else mark

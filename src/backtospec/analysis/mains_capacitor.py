"""Capacitors on the mains: the safety class their place asks for."""

from __future__ import annotations

import re
from enum import StrEnum


class Place(StrEnum):
    """Where a suppression capacitor sits."""

    ACROSS = "across-mains"
    TO_CHASSIS = "mains-to-chassis"


class Ruling(StrEnum):
    """What becomes of a part that sits on the mains."""

    KEEP = "keep"
    READ_CLASS = "read its class"
    REPLACE = "replace"


_WHERE = {Place.ACROSS: "across the mains", Place.TO_CHASSIS: "from mains to chassis"}
_WANTED = {Place.ACROSS: "X2", Place.TO_CHASSIS: "Y2"}
_ACCEPTED = {Place.ACROSS: ("X1", "X2", "Y1", "Y2"), Place.TO_CHASSIS: ("Y1", "Y2")}


def wanted_class(place: Place) -> str:
    """Return the usual safety class of a place in a household appliance.

    Notes
    -----
    Class X bridges the mains, where a short blows the fuse; class Y bridges the insulation to
    touchable metal, where a short can kill, so it must fail open (IEC 60384-14, from memory).

    Examples
    --------
    >>> wanted_class(Place.ACROSS), wanted_class(Place.TO_CHASSIS)
    ('X2', 'Y2')
    """
    return _WANTED[place]


def safety_classes(text: str) -> tuple[str, ...]:
    """Return the safety classes printed on a part, such as X1, X2, Y1 or Y2.

    Examples
    --------
    >>> safety_classes("0.1 µF X2 275 VAC"), safety_classes("4n7 x1/y2"), safety_classes("630 V")
    (('X2',), ('X1', 'Y2'), ())
    """
    return tuple(match.upper() for match in re.findall(r"(?<![A-Za-z])[XYxy][1-4]\b", text))


def class_fault(text: str, place: Place) -> str:
    """Return why a part must not go into a place on the mains, or an empty text.

    Parameters
    ----------
    text
        What is printed on it.
    place
        A class Y part may stand in for class X; never the other way round.

    Examples
    --------
    >>> class_fault("4.7 nF X2", Place.TO_CHASSIS)
    'it is class X2, and this place asks for Y1 or Y2'
    >>> class_fault("0.1 µF X2", Place.ACROSS), class_fault("0.1 µF 630 V", Place.ACROSS)
    ('', 'it has no safety class, and this place asks for X1, X2, Y1 or Y2')
    """
    found = safety_classes(text)
    accepted = _ACCEPTED[place]
    if any(one in accepted for one in found):
        return ""
    *first, last = accepted
    asked = f"this place asks for {', '.join(first)} or {last}"
    if not found:
        return f"it has no safety class, and {asked}"
    return f"it is class {'/'.join(found)}, and {asked}"


def judge_fitted(kind: str, place: Place, *, broken: bool, old: bool) -> tuple[Ruling, str]:
    """Return what becomes of a part on the mains, and why in words.

    Parameters
    ----------
    kind
        ``class-x``, ``class-y``, ``paper``, ``film``, ``ceramic``, ``electrolytic``, or empty.
    place
        Where it sits.
    broken
        Cracked, bulging or leaking.
    old
        Made before safety classes were usual; then a part without a known class goes.

    Examples
    --------
    >>> judge_fitted("paper", Place.ACROSS, broken=False, old=True)[0].value
    'replace'
    >>> judge_fitted("class-x", Place.TO_CHASSIS, broken=False, old=False)
    (<Ruling.REPLACE: 'replace'>, 'a class X part from mains to chassis. Replace it by class Y2')
    """
    where, wanted = _WHERE[place], _WANTED[place]
    suits = kind == "class-y" or (kind == "class-x" and place is Place.ACROSS)
    if suits and not broken:
        return Ruling.KEEP, f"it has the class for its place {where}"
    if not kind and not broken and not old:
        return Ruling.READ_CLASS, f"sits {where}. Read the class printed on it; {wanted} is wanted"
    words = {"class-x": "a class X part", "class-y": "a class Y part"}
    what = words.get(kind, f"a {kind} part" if kind else "an old part without a known class")
    what = f"{what}, broken," if broken else what
    whatever = ", whatever it reads" if kind not in words else ""
    return Ruling.REPLACE, f"{what} {where}. Replace it by class {wanted}{whatever}"

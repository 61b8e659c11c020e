"""Units of measure: what each is worth, how people spell it, and writing a value with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

MICRO = "µ"
POWERS = {"p": -12, "n": -9, MICRO: -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
"""Prefixes and their powers of ten."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """One kind of quantity.

    Parameters
    ----------
    symbol
        The unit that its values are kept in.
    spellings
        Other ways to spell the symbol, in lower case.
    prefixes
        Prefixes used in writing; an empty string where the unit is written as it stands.
    """

    symbol: str
    spellings: tuple[str, ...]
    prefixes: str = ""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of measure: ``si = number * factor + offset``."""

    name: str
    dimension: str
    factor: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)


# The largest prefix that is written stays below mega wherever people write "MV" for millivolts.
DIMENSIONS = {
    dimension.symbol: dimension
    for dimension in (
        Dimension("V", ("v", "volt", "volts"), "nµmk"),
        Dimension("A", ("a", "amp", "amps", "ampere", "amperes"), "nµmk"),
        Dimension("Ω", ("ω", "ohm", "ohms", "r"), "µmkMG"),
        Dimension("F", ("f", "fd", "farad", "farads"), "pnµ"),
        Dimension("W", ("w", "watt", "watts"), "nµmk"),
        Dimension("VA", ("va",), "mk"),
        Dimension("Hz", ("hz", "hertz", "cps", "c/s", "c"), "mkMG"),
        Dimension("J", ("j", "joule", "joules", "ws"), "nµmk"),
        Dimension("H", ("h", "henry", "henrys", "henries"), "nµm"),
        Dimension("s", ("s", "sec", "secs", "second", "seconds"), "nµm"),
        Dimension("°C", ()),
        Dimension("K", ("k", "kelvin")),
        Dimension("%", ("%", "percent", "pct")),
        Dimension("ppm", ("ppm",)),
        Dimension("dB", ("db", "decibel", "decibels")),
        Dimension("dBFS", ("dbfs",)),
        Dimension("dBV", ("dbv",)),
        Dimension("°", ("°", "deg", "degree", "degrees")),
        Dimension("year", ("year", "years", "yr")),
        Dimension("", ()),
    )
}

_MINUTE = Unit("min", "s", Fraction(60))
_HOUR = Unit("h", "s", Fraction(3600))
_CELSIUS = Unit("°C", "°C")
_FAHRENHEIT = Unit("°F", "°C", Fraction(5, 9), Fraction(-160, 9))

SPECIAL = {
    "s": {
        **dict.fromkeys(("m", "min", "mins", "minute", "minutes"), _MINUTE),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), _HOUR),
    },
    "°C": {
        **dict.fromkeys(("°c", "c", "degc", "degreesc", "celsius", "°", "deg"), _CELSIUS),
        **dict.fromkeys(("°f", "f", "degf", "degreesf", "fahrenheit"), _FAHRENHEIT),
    },
}
"""Spellings, in lower case, of units that are no power of ten of their dimension's own."""

_PREFIX_WORDS = {
    "pico": "p",
    "nano": "n",
    "micro": MICRO,
    "milli": "m",
    "kilo": "k",
    "kil": "k",
    "mega": "M",
    "meg": "M",
}


@lru_cache
def unit_named(name: str) -> Unit:
    """Return the unit of that exact name, such as ``mV``, ``kΩ``, ``min`` or ``V/µs``.

    Raises
    ------
    ValueError
        For a name that is no unit: an error in the program, not of a person.
    """
    name = name.replace("μ", MICRO).replace("\u2126", "Ω")  # either micro sign, either omega
    if name in DIMENSIONS:
        return Unit(name, name)
    for special in (_MINUTE, _HOUR, _FAHRENHEIT):
        if name == special.name:
            return special
    upper, _, lower = name.partition("/")
    if upper and lower:
        over, under = unit_named(upper), unit_named(lower)
        return Unit(name, f"{over.dimension}/{under.dimension}", over.factor / under.factor)
    prefix, symbol = name[:1], name[1:]
    if prefix in POWERS and symbol in DIMENSIONS and DIMENSIONS[symbol].prefixes:
        return _prefixed(prefix, symbol)
    raise ValueError(f"{name!r} is no unit of measure")


def _prefixed(prefix: str, symbol: str) -> Unit:
    return Unit(prefix + symbol, symbol, Fraction(10) ** POWERS[prefix])


@lru_cache
def spelled(suffix: str, wanted: Unit) -> tuple[Unit, ...]:
    """Return every unit that a suffix typed behind a number can mean, the likeliest first.

    Parameters
    ----------
    suffix
        As typed, NFKC-normalised; may be a prefix alone (``k``) or empty.
    wanted
        The unit assumed for a bare number, which fixes the dimension.

    Returns
    -------
    tuple of Unit
        Empty where the suffix means nothing in this dimension.
    """
    suffix = "".join(suffix.split()).replace(".", "").replace("μ", MICRO)
    if not suffix:
        return (wanted,)
    lowered = suffix.lower()
    if len(lowered) != len(suffix):
        return ()
    if "/" in wanted.dimension:
        return _spelled_rate(suffix, wanted)
    if special := SPECIAL.get(wanted.dimension, {}).get(lowered):
        return (special,)
    dimension = DIMENSIONS[wanted.dimension]
    # A prefix alone is understood ("10k"), except for seconds, where "m" is a minute.
    bare = ("",) if dimension.prefixes and dimension.symbol != "s" else ()
    for spelling in sorted(dimension.spellings, key=len, reverse=True) + list(bare):
        if lowered.endswith(spelling):
            prefix = suffix[: len(suffix) - len(spelling)]
            if found := _prefixes(prefix, suffix[len(prefix) :], dimension):
                return tuple(_prefixed(p, dimension.symbol) for p in found)
    return ()


def _spelled_rate(suffix: str, wanted: Unit) -> tuple[Unit, ...]:
    upper, _, lower = suffix.partition("/")
    if not (upper and lower):
        return ()
    over_dimension, _, under_dimension = wanted.dimension.partition("/")
    over = spelled(upper, Unit("", over_dimension))
    under = spelled(lower, Unit("", under_dimension))
    return tuple(
        Unit(f"{o.name}/{u.name}", wanted.dimension, o.factor / u.factor)
        for o in over
        for u in under
    )


def _prefixes(prefix: str, symbol: str, dimension: Dimension) -> tuple[str, ...]:
    """Return the prefixes that typed letters can mean before a symbol, the likeliest first."""
    if not prefix:
        return ("",)
    if not dimension.prefixes:
        return ()
    lowered = prefix.lower().replace("u", MICRO)
    if dimension.symbol == "F" and lowered in ("m", "mm", MICRO * 2):
        return _farad_prefixes(lowered, symbol)
    if prefix == "M":
        likeliest = {"Ω": ("M",), "Hz": ("M",), "s": ("m",)}
        return likeliest.get(dimension.symbol, ("m", "M"))
    if prefix == "m" and dimension.symbol == "Hz" and symbol != "Hz":
        return ("M", "m")
    if len(prefix) == 1 and (letter := prefix if prefix in "mMG" else lowered) in POWERS:
        return (letter,)
    return (_PREFIX_WORDS[lowered],) if lowered in _PREFIX_WORDS and len(prefix) > 1 else ()


def _farad_prefixes(lowered: str, symbol: str) -> tuple[str, ...]:
    """Old parts lists write m for micro and mm for micro-micro: "mfd" always, "mF" perhaps."""
    if lowered != "m":
        return ("p",)
    if symbol.lower() == "fd":
        return (MICRO,)
    return ("m",) if symbol.lower().startswith("farad") else (MICRO, "m")


def exactly(number: float) -> Fraction:
    """Return the shortest decimal number that stands for a float, so 0.1 is one tenth."""
    if not math.isfinite(number):
        raise ValueError(f"{number} is not finite")
    return Fraction(repr(float(number)))


def to_si(number: float, unit: str) -> float:
    """Return the SI value of a number in a unit; °C, %, dB and years stay themselves.

    Examples
    --------
    >>> to_si(9.6, "mV"), to_si(2, "min"), to_si(212, "°F")
    (0.0096, 120.0, 100.0)
    """
    known = unit_named(unit)
    return float(exactly(number) * known.factor + known.offset)


def in_unit(value_si: float, unit: str) -> float:
    """Return an SI value as a number in a unit.

    Examples
    --------
    >>> in_unit(0.0096, "mV"), in_unit(5e6, "V/µs")
    (9.6, 5.0)
    """
    known = unit_named(unit)
    return float((exactly(value_si) - known.offset) / known.factor)


def write(value: float, unit: str, digits: int = 3) -> str:
    """Return an SI value as text with the prefix that reads best; ``read`` reads it back.

    Parameters
    ----------
    value
        In SI units; finite.
    unit
        Any unit of the dimension, such as ``V`` or ``mV``. Minutes, hours, °C, °F, %, dB, years
        and rates such as V/µs are written in that unit itself.
    digits
        Significant digits, at least 1; zeros at the end of a fraction are dropped.

    Examples
    --------
    >>> write(0.0096, "V"), write(4700, "Ω"), write(3.3e-3, "F"), write(-87.34, "dB")
    ('9.6 mV', '4.7 kΩ', '3300 µF', '-87.3 dB')
    """
    known = unit_named(unit)
    dimension = DIMENSIONS.get(known.dimension)
    if dimension is None or not dimension.prefixes or unit in ("min", "h"):
        places = max(digits, 4) if known.dimension == "year" else digits
        number = in_unit(value, unit) or 0.0  # no minus sign before zero
        return f"{_plain(Decimal(f'{number:.{places - 1}e}'))} {unit}".rstrip()
    if not math.isfinite(value):
        raise ValueError(f"{value} is not finite")
    if value == 0:
        return f"0 {unit}"
    rounded = Decimal(f"{value:.{digits - 1}e}")
    prefix = _best_prefix(rounded, dimension)
    return f"{_plain(rounded.scaleb(-POWERS[prefix]))} {prefix}{dimension.symbol}"


def _best_prefix(rounded: Decimal, dimension: Dimension) -> str:
    """Return the largest prefix that leaves at least one before the point."""
    # Filter capacitors are printed in µF however large; millifarads only invite mistakes.
    if dimension.symbol == "F" and abs(rounded) >= Decimal("1e-6"):
        return MICRO if abs(rounded) <= Decimal("0.1") else ""
    allowed: list[str] = sorted(["", *dimension.prefixes], key=lambda p: -POWERS[p])
    for prefix in allowed:
        if abs(rounded) >= Decimal(1).scaleb(POWERS[prefix]):
            return prefix
    return allowed[-1]


def _plain(number: Decimal) -> str:
    """Return a decimal number without needless zeros, with an exponent only far from one."""
    if number and not -7 <= number.adjusted() <= 9:
        return f"{_plain(number.scaleb(-number.adjusted()))}e{number.adjusted()}"
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text

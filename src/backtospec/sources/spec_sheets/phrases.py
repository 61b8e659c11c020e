"""Phrases of a spec sheet: ranges, bands, the mains, tolerances, topologies and rating rules."""

from __future__ import annotations

import difflib
import re
from fractions import Fraction

from backtospec import quantity
from backtospec.errors import BenchError
from backtospec.records import Topology

RULES = ("FTC-1974", "FTC-2000", "FTC-2024", "DIN 45500", "IHF", "none")
"""Families of rules that a rated power can be written to; ``none`` where the sheet names none."""

_NAMES_UNIT = re.compile(r"[^\W\d_]|[%Ω°]")
_SUFFIX = re.compile(r"[^\d\s.,'+\-−][^\d]*$")
_SPREAD = re.compile(r"\s*(?:±|\+\s*/\s*[-−]|\+[-−])\s*")
_BETWEEN = re.compile(
    r"\s+(?:to|and)\s+|\s*(?:…|\.{2,3}|–|—)\s*|(?<=\w)(?<!\d[eE])\s*[-−]\s*(?=[\d.,])"
)
_AT_MOST = re.compile(
    r"(?:at most|no more than|not more than|up to|max\.?|maximum|≤|<=|<)\s*", re.I
)
_AT_LEAST = re.compile(r"(?:at least|no less than|not less than|min\.?|minimum|≥|>=|>)\s*", re.I)
_THOUSANDS_HZ = re.compile(
    r"(?<![\d.,])(\d{1,3})((?:[., ']\d{3})+)(?=\s*(?:Hz|hertz|c/s|cps)\b)", re.I
)
_NUMBER = r"\d+(?:[.,]\d+)?"

Span = tuple[float | None, float | None]


def read_with_unit(text: str, unit: str, where: str, low: float, high: float) -> float:
    """Return the SI value of a number that must name its unit.

    Examples
    --------
    >>> read_with_unit("0R22", "Ω", "emitter", 0.001, 100)
    0.22
    >>> read_with_unit("0,22", "Ω", "emitter", 0.001, 100)
    Traceback (most recent call last):
    backtospec.errors.BenchError: emitter: “0,22” has no unit. Write its unit behind it.
    """
    if re.search(r"\d", text) and not _NAMES_UNIT.search(text):
        raise BenchError(f"“{text}” has no unit.", where, "Write its unit behind it.")
    return quantity.read(text, unit, where, low, high)


def read_span(text: str, unit: str, where: str, low: float, high: float) -> Span:
    """Return the two ends, in SI units, of a range as people write it.

    Parameters
    ----------
    text
        "9 to 11 mV", "10 ± 1 mV", "22 mV ± 0.5 mV", "25 mA ± 20 %", "at most 11 mV"; one value
        alone gives two equal ends.
    unit, low, high
        Unit and plausible range of each end, as for :func:`backtospec.quantity.read`.
    where
        The field, in the person's words.

    Raises
    ------
    BenchError
        Where an end is no number with a unit, or the ends are in the wrong order.

    Examples
    --------
    >>> read_span("10 ± 1 mV", "mV", "idle.reading", 0, 5000)
    (0.009, 0.011)
    >>> read_span("at most 11 mV", "mV", "idle.reading", 0, 5000)
    (None, 0.011)
    """

    def end(part: str) -> float:
        return read_with_unit(part, unit, where, low, high)

    text = text.strip()
    if match := _AT_MOST.match(text):
        return None, end(text[match.end() :])
    if match := _AT_LEAST.match(text):
        return end(text[match.end() :]), None
    if len(parts := _SPREAD.split(text, maxsplit=1)) == 2 and parts[0]:
        return _spread(parts[0], parts[1], unit, where, (low, high))
    text = re.sub(r"^(?:from|between)\s+", "", text, flags=re.I)
    parts = _BETWEEN.split(text, maxsplit=1)
    if len(parts) == 1:
        value = end(text)
        return value, value
    first, last = (end(part) for part in share_unit(*parts))
    if first > last:
        what = f"“{text}” begins above its end."
        raise BenchError(what, where, "Write the lower end first.")
    return first, last


def _spread(centre: str, spread: str, unit: str, where: str, bounds: tuple[float, float]) -> Span:
    """Return the ends of "10 ± 1 mV"; the spread may be a percentage of the centre."""
    if spread.rstrip().endswith("%"):
        middle = Fraction(repr(read_with_unit(centre, unit, where, *bounds)))
        percent = Fraction(repr(quantity.read(spread, "%", where, 0, 100)))
        away = abs(middle) * percent / 100
    else:
        centre, spread = share_unit(centre, spread)
        middle = Fraction(repr(read_with_unit(centre, unit, where, *bounds)))
        away = Fraction(repr(read_with_unit(spread, unit, where, 0, bounds[1])))
    if away > abs(middle):
        what = f"“{spread}” is more than the “{centre}” it is around."
        raise BenchError(what, where, "Check both figures.")
    return float(middle - away), float(middle + away)


def share_unit(first: str, last: str) -> tuple[str, str]:
    """Give the unit of one number to the other where only one of two names it.

    Examples
    --------
    >>> share_unit("9", "11 mV")
    ('9 mV', '11 mV')
    """
    first, last = first.strip(), last.strip()
    if not _NAMES_UNIT.search(first) and (suffix := _SUFFIX.search(last)):
        first = f"{first} {suffix[0]}"
    elif not _NAMES_UNIT.search(last) and (suffix := _SUFFIX.search(first)):
        last = f"{last} {suffix[0]}"
    return first, last


def read_band(text: str, where: str) -> Span:
    """Return the edges of a frequency band in hertz.

    Notes
    -----
    Two habits of printed sheets, from memory: nobody prints thousandths of a hertz, so a mark
    before three digits and "Hz" stands between thousands; and in "20-20 kHz" the unit belongs to
    the upper edge alone, because no band begins above 1 kHz.

    Examples
    --------
    >>> read_band("20 - 20,000 Hz", "band"), read_band("20-20kHz", "band"), read_band("1 kHz", "b")
    ((20.0, 20000.0), (20.0, 20000.0), (1000.0, 1000.0))
    """
    plain = _THOUSANDS_HZ.sub(lambda m: m[1] + re.sub(r"\D", "", m[2]), text)
    parts = _BETWEEN.split(plain, maxsplit=1)
    bare = re.fullmatch(
        _NUMBER, re.sub(r"^\s*(?:from|between)\s+", "", parts[0], flags=re.I).strip()
    )
    if len(parts) == 2 and bare and re.search(r"k", parts[1], re.I):
        first = bare[0].replace(",", ".")
        plain = f"{bare[0]} {'Hz' if float(first) >= 1 else 'kHz'} to {parts[1]}"
    return read_span(plain, "Hz", where, 0.1, 1e6)


def read_mains(text: str, where: str) -> Span:
    """Return volts and hertz of the mains; what is not said is ``None``.

    Examples
    --------
    >>> read_mains("220 V 50 Hz", "mains"), read_mains("120 V", "mains")
    ((220.0, 50.0), (120.0, None))
    """
    text = re.sub(r"c/s|cps|hertz", "Hz", text, flags=re.I)
    volts = re.findall(rf"({_NUMBER}(?:\s*/\s*{_NUMBER})*)\s*V(?:olts?|AC)?(?![a-z])", text, re.I)
    hertz = re.findall(rf"({_NUMBER}(?:\s*/\s*{_NUMBER})*)\s*Hz\b", text, re.I)
    rest = re.sub(rf"{_NUMBER}|/|V(?:olts?|AC)?(?![a-z])|Hz|AC|mains|[~,;\s]", "", text, flags=re.I)
    if rest or len(volts) > 1 or len(hertz) > 1 or not volts + hertz:
        raise BenchError(f"“{text}” does not say the mains.", where, "Write it like “220 V 50 Hz”.")
    for choice in volts + hertz:
        if "/" in choice:
            what = f"“{text}” leaves open which of {choice} is meant."
            raise BenchError(
                what, where, "Write the one the amplifier is set to, like “220 V 50 Hz”."
            )
    return (
        quantity.read(volts[0], "V", where, 80, 480) if volts else None,
        quantity.read(hertz[0], "Hz", where, 15, 440) if hertz else None,
    )


def read_tolerance(text: str, where: str) -> Span:
    """Return the tolerance of a part in percent, below and above the marked value.

    Examples
    --------
    >>> read_tolerance("-10/+50 %", "tolerance"), read_tolerance("20 %", "tolerance")
    ((-10.0, 50.0), (-20.0, 20.0))
    """
    even = re.fullmatch(rf"\s*(?:±|\+\s*/\s*[-−]|\+[-−])?\s*({_NUMBER})\s*%\s*", text)
    if even:
        spread = quantity.read(even[1], "%", where, 0, 100)
        return -spread, spread
    sides = dict(re.findall(rf"([-+])\s*({_NUMBER})", text.replace("−", "-")))
    rest = re.sub(rf"[-−+]\s*{_NUMBER}|%|\s|/|…|,|to", "", text)
    if rest or "%" not in text or not sides:
        what = f"“{text}” is no tolerance in percent."
        raise BenchError(what, where, "Write it like “±20 %” or “-10/+50 %”.")
    return (
        -quantity.read(sides["-"], "%", where, 0, 100) if "-" in sides else None,
        quantity.read(sides["+"], "%", where, 0, 1000) if "+" in sides else None,
    )


def read_topology(text: str, where: str) -> Topology:
    """Return the topology of that name; case, spaces and hyphens do not matter."""
    wanted = re.sub(r"[\s_-]+", "-", text.strip().lower())
    by_name = {re.sub("-", "", str(kind)): kind for kind in Topology}
    if found := by_name.get(re.sub("-", "", wanted)):
        return found
    if re.search(r"valve|tube|triode|pentode", wanted):
        what = f"“{text}” is not covered: valve amplifiers have other hazards."
        raise BenchError(what, where, "Give the job to somebody who knows valves.")
    raise BenchError(f"“{text}” is no topology known here.", where, nearest(wanted, [*Topology]))


def read_rule(text: str, where: str) -> str:
    """Return the family of rating rules of that name; case, spaces and hyphens do not matter."""
    by_name = {re.sub(r"[\s-]", "", rule).lower(): rule for rule in RULES}
    if found := by_name.get(re.sub(r"[\s_-]", "", text).lower()):
        return found
    raise BenchError(f"“{text}” is no rating rule known here.", where, nearest(text, [*RULES]))


def nearest(word: str, known: list[str]) -> str:
    """Name the known word nearest to one that is not known, or all of them."""
    by_lower = {str(name).lower(): str(name) for name in known}
    close = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.75)
    if close:
        return f"Write “{by_lower[close[0]]}”."
    return f"Write one of: {', '.join(by_lower.values())}."

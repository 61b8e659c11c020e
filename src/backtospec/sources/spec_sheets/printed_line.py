"""One printed line of a leaflet, such as "2 x 60 W into 8 ohm, 20-20000 Hz, 0.1 %"."""

from __future__ import annotations

import re

from backtospec import quantity
from backtospec.errors import BenchError, Choice, Question
from backtospec.records import Rating
from backtospec.sources.spec_sheets import phrases

_N = r"\d+(?:[.,]\d+)*"
_TO = r"\s*(?:to|-|–|—|…|\.{2,3})\s*"
_W = r"(?:mW|kW|W|milliwatts?|kilowatts?|watts?)(?![a-z])"
_HZ = r"(?:k?Hz|(?:kilo)?hertz)\b"

_SHORT_TERM = re.compile(r"\b(?:music|dynamic|peak|PMPO|momentary|short[- ]term)\b", re.I)
_FROM = re.compile(rf"({_N}\s*{_W}){_TO}(?:full |the )?(?:rated|{_N}\s*{_W})", re.I)
_POWER = re.compile(rf"(?:\d\s*[x×*]\s*)?(?<![\d.,])({_N}\s*{_W})", re.I)
_LOAD = re.compile(rf"({_N}(?:(?:{_TO}|/){_N})?)[\s-]*(?:ohms?\b|Ω|\u2126)", re.I)
_BAND = re.compile(
    rf"(?<![\d.,])((?:{_N}(?: \d{{3}})*\s*(?:{_HZ})?{_TO})?{_N}(?: \d{{3}})*\s*{_HZ})", re.I
)
_OTHER_DISTORTION = re.compile(
    rf"(?:\bI\.?M\.?D?\.?\b|intermodulation|damping|tolerance)[^,;]*?{_N}\s*(?:%|percent|per cent)",
    re.I,
)
_THD = re.compile(rf"({_N})\s*(?:%|percent|per cent)", re.I)
_BOTH = re.compile(
    r"\b(?:both|each|all|two|2) channels? (?:are |being )?(?:driven|operating)", re.I
)
_ONE = re.compile(r"\b(?:one|single|1) channel (?:is |being )?(?:driven|operating)", re.I)
_RULES = {
    "FTC": re.compile(r"\bFTC(?:[\s-]*(\d{4}))?\b", re.I),
    "DIN 45500": re.compile(r"\bDIN(?:[\s-]*45[\s.]?500)?\b", re.I),
    "IHF": re.compile(r"\bIHF\b", re.I),
}


def read_rating(line: str, source: str, where: str = "claim") -> Rating:
    """Return the rated power that one printed line states.

    Parameters
    ----------
    line
        As printed, in any order.
    source
        Where the line stands.
    where
        The field, in the person's words.

    Returns
    -------
    Rating
        What the line leaves open stays ``None``: "2 x" counts channels and does not say that
        both were driven together.

    Raises
    ------
    BenchError
        Where the line states no continuous power, no load, or more than one of anything.
    Question
        Where it names a rule that was rewritten and no year.

    Examples
    --------
    >>> rating = read_rating("2 x 60 W into 8 ohm, 20-20,000 Hz, 0.1 %", "leaflet")
    >>> rating.power_w, rating.load_ohm, rating.band_low_hz, rating.band_high_hz, rating.thd_percent
    (60.0, 8.0, 20.0, 20000.0, 0.1)
    >>> print(rating.channels_driven)
    None
    """
    if short := _SHORT_TERM.search(line):
        raise BenchError(
            f"“{short[0]}” power in “{line}” is a short burst, no continuous rating.",
            where,
            "Give the continuous power, with its load.",
        )
    rest = _OTHER_DISTORTION.sub(" ", line)
    start = _FROM.search(rest)
    if start:
        rest = rest.replace(start[1], " ", 1)
    power = _only(_POWER, rest, "power", where, line, "60 W")
    load = _only(_LOAD, rest, "load", where, line, "into 8 ohm")
    if not re.fullmatch(_N, load):
        what = f"“{line}” states a range of loads, {load} ohm."
        raise BenchError(what, where, "Give the load that this power holds for.")
    band = _only(_BAND, rest, "band", where, line)
    thd = _only(_THD, rest, "distortion", where, line)
    low, high = phrases.read_band(band, f"{where}, band") if band else (None, None)
    return Rating(
        power_w=quantity.read(power, "W", f"{where}, power", 0.01, 10_000),
        load_ohm=quantity.read(load, "Ω", f"{where}, load", 0.5, 10_000),
        thd_percent=quantity.read(thd, "%", f"{where}, distortion", 1e-5, 50) if thd else None,
        source=source,
        channels_driven="both" if _BOTH.search(line) else "one" if _ONE.search(line) else None,
        band_low_hz=low,
        band_high_hz=high,
        from_power_w=quantity.read(start[1], "W", where, 1e-6, 10_000) if start else None,
        rule=_rule(line, where),
    )


def _only(
    pattern: re.Pattern[str], rest: str, noun: str, where: str, line: str, example: str = ""
) -> str:
    """Return the one match of a pattern; without an example it may be missing."""
    found = list(dict.fromkeys(match[1] for match in pattern.finditer(rest)))
    if len(found) > 1:
        what = f"“{line}” states more than one {noun}: {', '.join(found)}."
        raise BenchError(what, where, "Give one rating at a time.")
    if not found and example:
        raise BenchError(f"“{line}” states no {noun}.", where, f"Add it, such as “{example}”.")
    return found[0] if found else ""


def _rule(line: str, where: str) -> str | None:
    """Return the family of rules that a line names."""
    for family, pattern in _RULES.items():
        if match := pattern.search(line):
            if family != "FTC":
                return family
            if match[1]:
                return phrases.read_rule(f"FTC-{match[1]}", where)
            raise Question(
                f"“{line}” names a rule that was rewritten twice.",
                where,
                "Write FTC-1974, FTC-2000 or FTC-2024 for the text in force when it was rated.",
                about="rule",
                quotes=(line,),
                choices=(
                    Choice("FTC-1974", "rated from 1974 to 2000: one third of power for an hour"),
                    Choice("FTC-2000", "rated from 2001 to 2023: one eighth of power for an hour"),
                    Choice("FTC-2024", "rated since 2024: 8 Ω, 20 Hz to 20 kHz, at most 1 %"),
                ),
                option="--set",
            )
    return None

"""One printed line of a leaflet, such as "2 x 60 W into 8 ohm, 20-20000 Hz, 0.1 %"."""

from __future__ import annotations

import re

from backtospec import quantity
from backtospec.errors import BenchError, Choice, Question
from backtospec.records import Rating
from backtospec.sources.spec_sheets import phrases

_N = r"(?:\d+(?:[.,]\d+)*|[.,]\d+)"
_AND = r"\s*(?:to|and|or|[&/+]|-|–|—|…|\.{2,3})\s*"
_SEVERAL = rf"(?<![\d.,]){_N}(?:{_AND}{_N})*"
_W = r"(?:mW|kW|W|milliwatts?|kilowatts?|watts?)(?![a-z])"
_HZ = r"(?:k?Hz|(?:kilo)?hertz|k?c/s|k?cps)(?![a-z])"
_PERCENT = r"(?:%|percent|per cent)"
_GROUPED = rf"{_N}(?: \d{{3}})*"
_SPAN_HZ = rf"(?<![\d.,])(?:{_GROUPED}\s*(?:{_HZ})?{_AND})?{_GROUPED}\s*{_HZ}"

_SHORT_TERM = re.compile(r"\b(?:music|dynamic|peak|PMPO|momentary|short[- ]term)\b", re.I)
_CHANNELS = re.compile(r"(?<![\d.,])\d\s*[x×*]\s*(?=[\d.,])", re.I)
_FROM = re.compile(
    rf"(?<![\d.,])(?:({_N}\s*{_W})\s*(?:to|-|–|—|…)\s*(?:the |full )*(?:rated|{_N}\s*{_W})"
    rf"|(?<=from )({_N})\s*to\s*{_N}\s*{_W})",
    re.I,
)
_POWER = re.compile(rf"({_SEVERAL}\s*{_W})", re.I)
_LOAD = re.compile(rf"({_SEVERAL})[\s-]*(?:ohms?\b|Ω|\u2126)", re.I)
_BAND = re.compile(rf"({_SPAN_HZ})", re.I)
_THD = re.compile(rf"({_SEVERAL})\s*{_PERCENT}", re.I)
_BOTH = re.compile(
    r"\b(?:both|each|all|two|2) channels? (?:are |being )?(?:driven|operating)", re.I
)
_ONE = re.compile(r"\b(?:one|single|1) channel (?:is |being )?(?:driven|operating)", re.I)
_RULES = {
    "FTC": re.compile(r"\bFTC(?:[\s-]*(\d{4}))?\b", re.I),
    "DIN 45500": re.compile(r"\bDIN(?:[\s-]*45[\s.]?500)?\b", re.I),
    "IHF": re.compile(r"\bIHF\b", re.I),
}
_OTHER_CLAIMS = (
    re.compile(
        rf"(?:\bI\.?M\.?D?\.?\b|intermodulation|tolerance)[^,;]*?{_N}\s*{_PERCENT}",
        re.I,
    ),
    re.compile(rf"(?:response|power bandwidth)[^;]*?{_SPAN_HZ}", re.I),
    re.compile(rf"{_SPAN_HZ}[\s,(]*(?:±|\+\s*/\s*-|\+-|[-+])\s*{_N}(?:[\s/,+-]*{_N})?\s*dB", re.I),
    *_RULES.values(),
)
"""What may stand in the same line and is no condition of the rated power."""


def read_rating(line: str, source: str, where: str = "claim", year: int | None = None) -> Rating:
    """Return the rated power that one printed line states.

    Parameters
    ----------
    line
        As printed, in any order.
    source
        Where the line stands.
    where
        The field, in the person's words.
    year
        The year of the model, which tells the texts of one rule apart.

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
        Where it names a rule that was rewritten, and no year tells which text.

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
    rest = line
    for claim in _OTHER_CLAIMS:
        rest = claim.sub(" ; ", rest)
    rest = _CHANNELS.sub("", rest)
    from_w, rest = _from_power(rest, where)
    power = _only(_POWER, rest, "power", where, line, "60 W")
    load = _only(_LOAD, rest, "load", where, line, "into 8 ohm")
    thd = _only(_THD, rest, "distortion", where, line)
    band = _only(_BAND, rest, "band", where, line)
    low, high = phrases.read_band(band, f"{where}, band") if band else (None, None)
    return Rating(
        power_w=quantity.read(power, "W", f"{where}, power", 0.01, 10_000),
        load_ohm=quantity.read(load, "Ω", f"{where}, load", 0.5, 10_000),
        thd_percent=quantity.read(thd, "%", f"{where}, distortion", 1e-5, 50) if thd else None,
        source=source,
        channels_driven="both" if _BOTH.search(line) else "one" if _ONE.search(line) else None,
        band_low_hz=low,
        band_high_hz=high,
        from_power_w=from_w,
        rule=_rule(line, where, year),
    )


def _from_power(rest: str, where: str) -> tuple[float | None, str]:
    """Return the power that a rating begins at, and the line without it."""
    start = _FROM.search(rest)
    if start is None:
        return None, rest
    group = 1 if start[1] else 2
    value = quantity.read(start[group], "W", f"{where}, lowest power", 1e-6, 10_000)
    return value, f"{rest[: start.start(group)]} ; {rest[start.end(group) :]}"


def _only(
    pattern: re.Pattern[str], rest: str, noun: str, where: str, line: str, example: str = ""
) -> str:
    """Return the one match of a pattern; without an example it may be missing."""
    found = list(dict.fromkeys(match[1] for match in pattern.finditer(rest)))
    if not found and example:
        raise BenchError(f"“{line}” states no {noun}.", where, f"Add it, such as “{example}”.")
    if not found:
        return ""
    if len(found) == 1 and pattern is _BAND:
        return found[0]
    if len(found) == 1 and len(set(re.findall(_N, found[0]))) == 1:
        return re.sub(rf"^(?:({_N}){_AND})+(?=\1)", "", found[0])  # "50 + 50 W" is 50 W each
    what = f"“{line}” states more than one {noun}: {', '.join(found)}."
    raise BenchError(what, where, f"Give one rating at a time, with the {noun} that belongs to it.")


def _rule(line: str, where: str, year: int | None) -> str | None:
    """Return the family of rules that a line names."""
    for family, pattern in _RULES.items():
        if match := pattern.search(line):
            if family != "FTC":
                return family
            if match[1]:
                return phrases.read_rule(f"FTC-{match[1]}", where)
            for since, text in ((2024, "FTC-2024"), (2001, "FTC-2000"), (1974, "FTC-1974")):
                if year is not None and year >= since:
                    return text
            raise _which_text(line, where)
    return None


def _which_text(line: str, where: str) -> Question:
    return Question(
        f"“{line}” names a rule that was rewritten twice.",
        where,
        "Write FTC-1974, FTC-2000 or FTC-2024, for the text in force when it was rated.",
        about="rule",
        quotes=(line,),
        choices=(
            Choice("FTC-1974", "rated from 1974 to 2000: one third of power for an hour first"),
            Choice("FTC-2000", "rated from 2001 to 2023: one eighth of power for an hour first"),
            Choice("FTC-2024", "rated since 2024: 8 Ω, 20 Hz to 20 kHz, at most 1 %"),
        ),
        option="--set",
    )

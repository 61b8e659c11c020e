"""The signs of a line of notes: times, readings, channels, marks for no reading."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import islice

from backtospec.errors import BenchError
from backtospec.sources.log_files.numbers import read_number
from backtospec.sources.log_files.units import read_time_unit, time_unit_words
from backtospec.sources.log_files.vocabulary import read_channel

MAX_LINES = 20_000
MAX_LINE = 1000

_START = "|".join(
    (
        "at start|start|at switch-on|switch-on|switch on|cold|begin|beginning",
        "beginn|anfang|zu beginn|kalt|einschalten|au début|début|à froid|froid",
        "all'inizio|inizio|freddo|a freddo|koud|al inicio|inicio|начало|в начале",
        "開始|最初|冷間|電源投入",
    )
)
_HALVES = {
    "half an hour": 1800,
    "a quarter of an hour": 900,
    "quarter of an hour": 900,
    "quarter hour": 900,
    "half hour": 1800,
    "eine halbe stunde": 1800,
    "halbe stunde": 1800,
    "viertelstunde": 900,
    "une demi-heure": 1800,
    "demi-heure": 1800,
    "mezz'ora": 1800,
    "полчаса": 1800,
    "an hour": 3600,
    "one hour": 3600,
    "eine stunde": 3600,
    "1時間半": 5400,
}
_PLAIN = r"[+-]?(?:[0-9][0-9.,'’]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2}(?![0-9]))?"
_TIME_WORDS = "|".join(re.escape(word) for word in time_unit_words())
_NO_LETTER = r"(?![^\W\d_])"
_UNIT = "|".join(
    (
        rf"[nµumkM]?(?:V|A|Ω|В|А)(?:DC|AC)?{_NO_LETTER}",
        rf"(?:м|мк)[ВА]{_NO_LETTER}",
        r"[km]?ohms?\b",
        r"°\s?[CF]\b",
        rf"[CF]{_NO_LETTER}",
        r"(?:milli)?volts?\b",
    )
)
_PATTERNS = (
    rf"(?P<half>{'|'.join(re.escape(words) for words in _HALVES)})(?!\w)",
    rf"(?P<start>(?<!\w)(?:{_START})(?!\w))",
    # 1/4 h, 1 1/2 h
    r"(?P<fraction>(?<![\w.,])(?:(?P<whole>[0-9]{1,3})\s+)?(?P<over>[0-9]{1,3})/(?P<under>[0-9]{1,3})"
    rf"\s*(?P<fraction_unit>{_TIME_WORDS}){_NO_LETTER})",
    rf"(?P<time>(?<![\w.,])(?P<amount>[0-9][0-9.,]*)\s*(?P<amount_unit>{_TIME_WORDS}){_NO_LETTER})",
    r"(?P<clock>(?<![\w.,:])[0-9]{1,2}[:h][0-9]{2}(?::[0-9]{2})?(?:\s?[AP]\.?M\b\.?)?(?![\w:]))",
    rf"(?P<value>(?<![\w.,/])(?P<number>{_PLAIN})\s*(?P<unit>{_UNIT}))",
    rf"(?P<bare>(?<![\w.,/])(?P<bare_number>{_PLAIN})(?![\w/]))",
    r"(?P<mark>(?<!\w)(?:[+-]?O\.?L\.?|0\.?L|OVLD|overload|-{3,})(?!\w)\s?(?:[µm]?V\b)?)",
    r"(?P<word>[^\W\d_]+\.?|[左右])",
)
_SIGNS = re.compile("|".join(_PATTERNS), re.IGNORECASE)
# dates and scaled times that no hand writes
_MACHINE = re.compile(r"[0-9][-/.][0-9]{1,2}[-/.][0-9]|[0-9][nuµm]s\b|[-+][0-9.]+\s?m?s\b")
_SEPARATED = re.compile(r"[;|\t]")
_JUDGED_LINES = 200
_PARENTHESES = re.compile(r"\([^()]*\)|\[[^\[\]]*\]|（[^（）]*）")


def without_remarks(line: str) -> str:
    """Return the line without what stands in brackets."""
    return _PARENTHESES.sub(" ", line)


def looks_like_notes(lines: Sequence[str]) -> bool:
    """Tell whether most lines with numbers read as notes: a time in words beside a reading.

    Examples
    --------
    >>> looks_like_notes(["after 10 min 9.6 mV L"]), looks_like_notes(["2023-11-04 19:02:10,9.6"])
    (True, False)
    """
    numbered = (line for line in lines[:MAX_LINES] if re.search("[0-9]", line))
    filled = list(islice(numbered, _JUDGED_LINES))
    # columns with separators may have their channels in titles: a table, if it can be one
    return not any(map(_SEPARATED.search, filled)) and _mostly_noted(filled)


def may_be_notes(lines: Sequence[str]) -> bool:
    """Tell whether a hand may have written what forms no table: times in words, no dates."""
    filled = [line for line in lines[:MAX_LINES] if re.search("[0-9]", line)]
    if len(lines) > MAX_LINES or any(len(line) > MAX_LINE for line in filled):
        return False
    bare = [without_remarks(line) for line in filled]
    if any(map(_MACHINE.search, bare)):
        return False
    if any(map(_SEPARATED.search, bare)):
        return _mostly_noted(filled)
    return any(kind in ("seconds", "clock") for line in bare for kind, _ in signs_of(line))


def _mostly_noted(lines: Sequence[str]) -> bool:
    noted = sum(_is_noted(without_remarks(line)) for line in lines if len(line) <= MAX_LINE)
    return noted > 0.5 * len(lines)


def _is_noted(line: str) -> bool:
    if _MACHINE.search(line):
        return False
    kinds = [kind for kind, _ in signs_of(line)]
    read = "value" in kinds or "mark" in kinds or ("bare" in kinds and "channel" in kinds)
    return read and ("seconds" in kinds or ("clock" in kinds and "channel" in kinds))


def signs_of(line: str) -> Iterator[tuple[str, object]]:
    """Yield the signs of a line in order: (kind, what it says)."""
    joined: Fraction | None = None
    for match in _SIGNS.finditer(line):
        found = match.groupdict()
        if found["time"] or found["fraction"]:
            # "1 h 30 min" is one time
            part = _seconds_of(found)
            joined = part if joined is None else joined + part
            continue
        if joined is not None:
            yield "seconds", joined
            joined = None
        if found["half"]:
            yield "seconds", Fraction(_HALVES[found["half"].lower()])
        elif found["start"]:
            yield "seconds", Fraction(0)
        elif found["clock"]:
            yield "clock", found["clock"].replace("h", ":").replace("H", ":")
        elif found["value"]:
            yield "value", (found["number"], found["unit"])
        elif found["bare"]:
            yield "bare", (found["bare_number"], "")
        elif found["mark"]:
            unit = re.search(r"[µm]?V$", found["mark"].strip())
            yield "mark", (found["mark"].strip(), unit.group() if unit else "")
        elif found["word"]:
            channel = read_channel(found["word"])
            if channel is not None:
                yield "channel", channel
    if joined is not None:
        yield "seconds", joined


def _seconds_of(found: dict[str, str | None]) -> Fraction:
    unit = read_time_unit(found["fraction_unit"] or found["amount_unit"] or "")
    if unit is None:
        return Fraction(0)
    factor = unit.count * Fraction(10) ** unit.exponent
    if found["over"]:
        under = int(found["under"] or 1) or 1
        return (int(found["whole"] or 0) + Fraction(int(found["over"]), under)) * factor
    text = (found["amount"] or "0").rstrip(".,")
    number = read_number(text, ",") if "," in text else read_number(text, ".")
    if number is None:
        return Fraction(0)
    return number.count * Fraction(10) ** number.exponent * factor


def pair_with_channels(
    signs: Sequence[tuple[str, object]],
) -> list[tuple[str | None, tuple[str, object]]]:
    """Return each reading with its channel: before it where the line starts so, else behind."""
    useful = [sign for sign in signs if sign[0] in ("value", "bare", "mark", "channel")]
    before = bool(useful) and useful[0][0] == "channel"
    pairs: list[tuple[str | None, tuple[str, object]]] = []
    channel: str | None = None
    if before:
        for sign in useful:
            if sign[0] == "channel":
                channel = str(sign[1])
            else:
                pairs.append((channel, sign))
        return pairs
    waiting: list[tuple[str, object]] = []
    for sign in useful:
        if sign[0] == "channel":
            pairs += [(str(sign[1]), value) for value in waiting]
            waiting = []
        else:
            waiting.append(sign)
    return pairs + [(None, value) for value in waiting]


def without_strays(
    name: str, line: int, signs: Sequence[tuple[str, object]]
) -> list[tuple[str, object]]:
    """Keep numbers without a unit only where each has its channel, or stands alone."""
    count = Counter(kind for kind, _ in signs)
    stated = count["value"] + count["mark"]
    if not count["bare"] or stated + count["bare"] == count["channel"]:
        return list(signs)
    if stated:
        return [sign for sign in signs if sign[0] != "bare"]
    if count["bare"] == 1:
        return list(signs)
    numbers = [found[0] for kind, found in signs if kind == "bare" and isinstance(found, tuple)]
    shown = ", ".join(numbers)
    raise BenchError(
        f"The numbers {shown} cannot be told apart.",
        f"{name}, line {line}",
        "Write each reading with its unit and channel.",
    )

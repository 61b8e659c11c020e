"""The words logs and bench notes use for channels, places, columns and missing readings."""

from __future__ import annotations

import re

from backtospec.sources.log_files.units import Unit, read_time_unit, read_unit


def _words(*lines: str) -> frozenset[str]:
    return frozenset(word for line in lines for word in line.split())


_CHANNELS = {
    "L": _words(
        "l left lch lh links linker linke linken linkes gauche sinistra sinistro sx izquierda",
        "izquierdo venstre vänster лев левый левая 左 左ch ch-l chl",
    ),
    "R": _words(
        "r right rch rh rechts rechter rechte rechten rechtes droite droit destra destro dx",
        "derecha derecho højre höger прав правый правая 右 右ch ch-r chr",
    ),
    "M": _words("m mono モノ"),
}
_CHANNEL_WORDS = {word: channel for channel, words in _CHANNELS.items() for word in words}
_NUMBERED = re.compile(r"(?:ch|chan|channel|kanal|canal|ch\.)[ _]?([0-9]{1,2})", re.IGNORECASE)
# "left" and "right" are also plain English
_PROSE = re.compile(
    r"\bleft (?:on|off|open|out|running|in|for|alone|to)\b|\bright (?:after|away|before|now|at)\b",
    re.IGNORECASE,
)
_STATED = re.compile(
    r"(?:channel|chan|ch|kanal|canal|voie|canale|канал|チャンネル)\s*[:=]?\s*([LRMlrm]|[0-9]{1,2})(?![\w])"
)
_TOKEN = re.compile(r"[^\W_]+|[左右]")

_PLACES = {
    "heatsink": "heatsink heat_sink sink kühlkörper kuehlkoerper kuhlkorper dissipateur radiateur "
    "dissipatore koellichaam koelplaat радиатор ヒートシンク 放熱器 放熱板",
    "ambient": "ambient room raum umgebung ambiante ambiente kamer комната 室温",
}
_PLACE_WORDS = {word: place for place, words in _PLACES.items() for word in words.split()}

_OVERLOAD = re.compile(
    r"[+-]?\s*(?:[O0]\.?L\.?|O\.L|OFL|OVL|OVLD|OVRLD|OVER|OVERLOAD|OVERFLOW|-{3,}|_{3,}|"
    r"9\.9[0-9]*E\+?37|INF|INFINITY)",
    re.IGNORECASE,
)
_NO_READING = {
    "",
    "nan",
    "n/a",
    "na",
    "n.a.",
    "none",
    "null",
    "-",
    "--",
    "?",
    "??",
    "...",
    "…",
    "err",
    "error",
}

TIME_TITLES = _words(
    "time times t zeit uhrzeit temps heure tempo ora tijd tid время 時刻 時間 elapsed elapse",
    "seconds sec minutes min second minute s stamp timestamp datetime date datum data sekunden",
    "minuten secondes x-axis x дата 日時 日付 clock laufzeit dauer durée uptime hours h hour",
)
ELAPSED_TITLES = _words(
    "elapsed elapse laufzeit dauer durée runtime duration relative rel seconds sec minutes min s",
    "h ms us µs sekunden minuten secondes verstrichen trascorso verstreken 経過時間 経過 прошло",
)
INDEX_TITLES = _words(
    "index idx no no. nr nr. num number n sample samples # row count counter point reading_no",
    "zeile lfd messung № 番号 id record step",
)
LABEL_TITLES = _words(
    "label channel chan ch kanal canal voie name input probe source канал side seite チャンネル"
)
IGNORED_TITLES = _words(
    "mode range flag flags status quality q function func coupling comment note notes remark",
    "bemerkung modus bereich remarks battery state",
)
QUALITY_TITLES = _words("quality q valid validity")
BAD_MARKS = _words("b bad invalid fail f error err x poor")


def read_channel(text: str) -> str | None:
    """Return the channel that a cell or a word names, or None.

    Examples
    --------
    >>> read_channel("links"), read_channel("Rch"), read_channel("ch 2"), read_channel("lid")
    ('L', 'R', 'CH2', None)
    """
    word = text.strip().strip(".:()[]").lower()
    if word in _CHANNEL_WORDS:
        return _CHANNEL_WORDS[word]
    numbered = _NUMBERED.fullmatch(word)
    return f"CH{int(numbered.group(1))}" if numbered else None


def channel_in_title(title: str) -> str | None:
    """Return the channel that a column title or file name holds as a word of its own."""
    found = {_CHANNEL_WORDS[w] for w in words_of(title) if w in _CHANNEL_WORDS}
    if not found:
        numbered = _NUMBERED.search(title) or re.fullmatch(r"\s*([1-8])\s*", title)
        found = {f"CH{int(numbered.group(1))}"} if numbered else set()
    return found.pop() if len(found) == 1 else None


def channel_in_text(text: str) -> str | None:
    """Return the one channel that a free line of a header names; letters only if announced.

    Examples
    --------
    >>> channel_in_text("voltage across 0.22 Ω, left channel"), channel_in_text("R = 0,47 Ohm")
    ('L', None)
    """
    text = _PROSE.sub(" ", text)
    found = {
        _CHANNEL_WORDS[w]
        for w in words_of(text)
        if len(w) > 1 or not w.isascii()
        if w in _CHANNEL_WORDS
    }
    for match in _STATED.finditer(text):
        letter = match.group(1).upper()
        found.add(f"CH{int(letter)}" if letter.isdigit() else letter)
    return found.pop() if len(found) == 1 else None


def place_in(title: str) -> str | None:
    """Return the place whose temperature a column holds, or None."""
    low = title.lower().replace("heat sink", "heatsink")
    return next((place for word, place in _PLACE_WORDS.items() if word in low), None)


def words_of(text: str) -> list[str]:
    """Return the words of a text, lower case."""
    return _TOKEN.findall(text.lower())


def missing_reason(text: str) -> str | None:
    """Return why a cell holds no number (``overload``, ``no reading``), None where it is neither.

    Examples
    --------
    >>> missing_reason("O.L"), missing_reason("-----"), missing_reason("n/a"), missing_reason("9.6")
    ('overload', 'overload', 'no reading', None)
    """
    if text.lower() in _NO_READING:
        return "no reading"
    return "overload" if _OVERLOAD.fullmatch(text) else None


def unit_words(title: str) -> list[str]:
    """Return the parts of a column title that may name its unit, likeliest first."""
    parts = re.findall(r"[\[(]([^\])]*)[\])]", title)
    parts += [title.rsplit("/", 1)[1]] if "/" in title else []
    # v stands for value as often as for volts
    parts += [title] if title.strip() != "v" else []
    tokens = re.split(r"[\s_,:;()\[\]=]+", title)
    # a letter alone is a unit only at the end of a name such as idle_V
    parts += [t for t in tokens if len(t) > 1 or t == "V"]
    parts += [tokens[-1]] if "_" in title else []
    return [part.strip() for part in parts if part.strip()]


def unit_in_title(title: str) -> Unit | None:
    """Return the unit of a reading that a column title names.

    Examples
    --------
    >>> unit_in_title("U/mV").power, unit_in_title("Links [mV]").power, unit_in_title("reading")
    (-3, -3, None)
    """
    if read_channel(title) is not None:
        return None
    return next((unit for part in unit_words(title) if (unit := read_unit(part))), None)


# as titles these mean the time, not hours
_TIME_OF_DAY = _words("heure ora hora 時間")


def seconds_in_title(title: str) -> tuple[int, int] | None:
    """Return count and exponent of the seconds in the time unit a column title names."""
    for part in unit_words(title):
        unit = read_time_unit(part)
        if unit is not None and part.lower() not in _TIME_OF_DAY:
            return unit.count, unit.exponent
    return None


_HEADER_UNIT = re.compile(
    r"(?:units?|einheit|unité|unità|eenheid|ед\.?|единиц[аы]|単位)\s*[:=,;\t]?\s*[\[(]?\s*([^\s,;\])]+)",
    re.IGNORECASE,
)
_LOOSE_UNIT = re.compile(r"(?:\b(?:in|en)\s+|[\[(])([^\s,;\])\[(]{1,12})[\])]?(?=$|[\s,;.])")


def unit_in_text(text: str) -> Unit | None:
    """Return the unit a free line of a header states for the readings.

    A unit that belongs to a number (``0.22 Ω``, ``interval 20 s``) is not one.

    Examples
    --------
    >>> unit_in_text("unit = mV, right").power, unit_in_text("Re = 0.47 Ohm")
    (-3, None)
    """
    for pattern in (_HEADER_UNIT, _LOOSE_UNIT):
        for match in pattern.finditer(text):
            unit = read_unit(match.group(1))
            # a letter in brackets, such as (R) or (A), names something else
            if unit is not None and (pattern is _HEADER_UNIT or len(unit.symbol) > 1):
                return unit
    return None

"""Text that can be printed: what no font covers is spelled out, what is too long may break."""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
"""The fallback faces; they come with the plotting library, which makes them the same everywhere."""

_MOST_MARKS = 2
"""Combining marks on one letter; a higher pile would print over the neighbouring lines."""

_LONG_WORD, _PIECE = 15, 8
_BREAK = "\u200b"
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:[pnµmkM]?(?:V|A|W|Ω|F|Hz|s)|%|dB|°C|min)(?![\w/]))")


def font_folder() -> Path:
    """Return the folder that holds the fallback faces."""
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@cache
def covered() -> frozenset[int]:
    """Return the code points that every fallback face covers."""
    from matplotlib.ft2font import FT2Font

    faces = [set(FT2Font(str(font_folder() / name)).get_charmap()) for name in FACES]
    return frozenset(set.intersection(*faces))


def spelled_out(text: str) -> tuple[str, ...]:
    """Return the characters of a text that cannot be printed, each once.

    Examples
    --------
    >>> spelled_out("10 µF, 中文")
    ('中', '文')
    """
    folded = unicodedata.normalize("NFC", _one_line(text))
    return tuple(dict.fromkeys(c for c in folded if not _printable(c)))


def visible(text: str) -> str:
    """Return a text in which every character prints and any word can be broken.

    Line breaks become ↵; what no font covers, and signs that steer without being seen, become
    ``[U+…]``.

    Examples
    --------
    >>> visible("C5\\n中").replace("\\u200b", "")
    'C5 ↵ [U+4E2D]'
    """
    folded = unicodedata.normalize("NFC", _one_line(text))
    shown: list[str] = []
    marks = 0
    for character in folded:
        marks = marks + 1 if unicodedata.combining(character) else 0
        if _printable(character) and marks <= _MOST_MARKS:
            shown.append(character)
        else:
            shown.append(f"{_BREAK}[U+{ord(character):04X}]{_BREAK}")
    whole = _NUMBER_AND_UNIT.sub("\u00a0", "".join(shown))
    return re.sub(rf"[^\s{_BREAK}]{{{_LONG_WORD},}}", _breakable, whole)


def ascii_only(text: str) -> str:
    """Return a text with everything beyond ASCII spelled out: prints with any font."""
    return "".join(c if " " <= c <= "~" else f"[U+{ord(c):04X}] " for c in text)


def mapped(data: Any, change: Any) -> Any:
    """Return JSON data with a change made to every text in it; keys stay."""
    if isinstance(data, str):
        return change(data)
    if isinstance(data, list):
        return [mapped(item, change) for item in data]
    if isinstance(data, dict):
        return {key: mapped(value, change) for key, value in data.items()}
    return data


def _one_line(text: str) -> str:
    text = re.sub(r"\s*(?:\r\n|[\n\r\v\f\x85\u2028\u2029])\s*", " ↵ ", text.strip())
    return text.replace("\t", " ")


def _printable(character: str) -> bool:
    # Cc, Cf, Cs, Co, Cn: control, invisible, half, private or no characters at all
    return ord(character) in covered() and not unicodedata.category(character).startswith("C")


def _breakable(word: re.Match[str]) -> str:
    """Allow a break after joining signs, and inside what is still too long."""
    parts = re.split(r"(?<=[_/.,;:\-])(?=\w)", word[0])
    return _BREAK.join(
        _BREAK.join(part[i : i + _PIECE] for i in range(0, len(part), _PIECE))
        if len(part) > _LONG_WORD
        else part
        for part in parts
    )

"""Bytes of a log to text: byte order marks, UTF-8, UTF-16, and the old one-byte code pages."""

from __future__ import annotations

import codecs
import re

from backtospec.errors import BenchError
from backtospec.sources.log_files.spans import Spans

MAX_BYTES = 256 * 1024 * 1024
MAX_LINE = 100_000

# Full-width forms and one-character units as typed in Japanese, and signs with twins.
_FOLDED = {chr(code): chr(code - 0xFEE0) for code in range(0xFF01, 0xFF5F)} | {
    "\u3000": " ",
    "\u2103": "°C",
    "\u2109": "°F",
    "\u2126": "Ω",
    "\u03bc": "µ",
    "\u2212": "-",
    "\u2013": "-",
    "\u00bc": " 1/4",
    "\u00bd": " 1/2",
    "\u00be": " 3/4",
    "\u2044": "/",
    "\u338f": "mV",
    "\u33b7": "mV",
    "\u33b6": "µV",
}
_ASCII = bytes(range(128))
_CYRILLIC = re.compile("лев|прав|мин|сек|врем|канал|ток", re.IGNORECASE)
_JAPANESE = re.compile("[左右分秒時日]|時間|電圧|電流")
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")


def decode(name: str, data: bytes) -> tuple[str, str]:
    """Return the text of a log and the name of its encoding.

    Parameters
    ----------
    name
        File name, for messages.
    data
        The whole file.

    Raises
    ------
    BenchError
        The file is empty, too large, or not text.
    """
    if not data.strip():
        raise BenchError("The file is empty.", name, "Choose the log with the readings.")
    if len(data) > MAX_BYTES:
        raise BenchError(
            f"The file has {len(data)} bytes; up to {MAX_BYTES} bytes can be read.",
            name,
            "Split the log into parts.",
        )
    text, encoding = _decoded(data)
    text = text.removeprefix("\ufeff")
    strange = len(_CONTROL.findall(text[:100_000]))
    if "\x00" in text or strange > 2:
        raise BenchError(
            f"The file is not text (it starts with {data[:8]!r}).",
            name,
            "Export the log as text or CSV and choose that file.",
        )
    if not text.isascii():
        signs = set(
            text.encode("utf-8", "surrogatepass")
            .translate(None, _ASCII)
            .decode("utf-8", "surrogatepass")
        )
        for sign in signs & _FOLDED.keys():
            text = text.replace(sign, _FOLDED[sign])
    if not text.strip():
        raise BenchError("The file is empty.", name, "Choose the log with the readings.")
    return text, encoding


def split_lines(name: str, text: str) -> Spans:
    """Return the lines, whatever the line ends.

    Raises
    ------
    BenchError
        A line is longer than 100 000 characters.
    """
    lines = Spans.lines_of(text.replace("\r\n", "\n").replace("\r", "\n"))
    longest = int(lines.lengths.max())
    if longest > MAX_LINE:
        number = int(lines.lengths.argmax()) + 1
        raise BenchError(
            f"The line has {longest} characters; up to {MAX_LINE} can be read.",
            f"{name}, line {number}",
            "Export the log with one reading per line.",
        )
    return lines


def _decoded(data: bytes) -> tuple[str, str]:
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(mark):
            return data[len(mark) :].decode(encoding, errors="replace"), encoding
    wide = _wide_encoding(data)
    if wide is not None:
        return data.decode(wide, errors="replace"), wide
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        pass
    # No mark tells one code page from another; a word of the trade in it does.
    for encoding, words in (("cp932", _JAPANESE), ("cp1251", _CYRILLIC)):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if words.search(text):
            return text, encoding
    try:
        return data.decode("cp1252"), "cp1252"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "latin-1"


def _wide_encoding(data: bytes) -> str | None:
    """UTF-16 without a mark: in a log most characters are ASCII, so every other byte is NUL."""
    head = data[:4096]
    pairs = len(head) // 2
    if pairs < 2:
        return None
    even, odd = head[0 : 2 * pairs : 2].count(0), head[1 : 2 * pairs : 2].count(0)
    if odd > 0.7 * pairs and even < 0.1 * pairs:
        return "utf-16-le"
    if even > 0.7 * pairs and odd < 0.1 * pairs:
        return "utf-16-be"
    return None

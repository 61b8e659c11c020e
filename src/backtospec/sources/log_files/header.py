"""What the lines above the rows state: unit, channel, time zone, interval, volts per division."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from zoneinfo import ZoneInfo

from backtospec.sources.log_files.numbers import Number, read_number
from backtospec.sources.log_files.units import Unit, read_time_unit, read_unit
from backtospec.sources.log_files.vocabulary import channel_in_text, unit_in_text
from backtospec.sources.log_files.zones import zone_in_text

_N = r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?"
_INTERVAL = re.compile(
    r"(?:interval\w*|sampling (?:period|time)|sample (?:period|time)|period|abtastzeit|"
    rf"time step|timestep|delta[ _]?t|dt|間隔)[^0-9+.\-]{{0,24}}?({_N})\s*([^\W\d]*)",
    re.IGNORECASE,
)
_RATE = re.compile(
    rf"(?:sample|sampling|abtast)[ _]?(?:rate|frequency|rate)[^0-9+.\-]{{0,24}}?({_N})\s*(\S*)",
    re.IGNORECASE,
)
_PER_DIVISION = re.compile(
    r"(?:volts?|v|vertical scale|vertical|scale)[ _]?(?:/|per|pro)[ _]?div\w*"
    rf"[^0-9+.\-]{{0,12}}?({_N})\s*([^\s,;/]*)"
    rf"|({_N})\s*([nµum]?V)\s?(?:/|per)\s?div",
    re.IGNORECASE,
)
_UNIT_PER_DIVISION = re.compile(r"([nµumk]?V)\s?/\s?div", re.IGNORECASE)
_PROBE = re.compile(rf"(?:probe|tastkopf|sonde)[^0-9]{{0,24}}?({_N})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Header:
    """Statements of a header, each with its line where a line is worth telling."""

    unit: Unit | None = None
    unit_line: int | None = None
    channel: str | None = None
    channel_line: int | None = None
    zone: ZoneInfo | None = None
    zone_line: int | None = None
    interval_s: Fraction | None = None
    interval_line: int | None = None
    volts_per_division: Number | None = None
    volts_line: int | None = None
    probe: str | None = None


def read_header(head: Sequence[tuple[int, str]]) -> Header:
    """Return what the head of a log states; the first statement of a kind counts.

    Examples
    --------
    >>> read_header([(1, "unit: mV"), (2, "Sample Interval,2.00E-05")]).interval_s
    Fraction(1, 50000)
    """
    found: dict[str, object] = {}

    def note(key: str, value: object, line: int, line_key: str | None = None) -> None:
        if value is not None and key not in found:
            found[key] = value
            if line_key:
                found[line_key] = line

    channels: set[str] = set()
    for line, text in head:
        text = text[:400]
        note("unit", unit_in_text(text), line, "unit_line")
        note("zone", zone_in_text(text), line, "zone_line")
        note("interval_s", _interval(text), line, "interval_line")
        note("volts_per_division", _volts_per_division(text), line, "volts_line")
        probe = _PROBE.search(text)
        note("probe", probe.group(1) if probe else None, line)
        channel = channel_in_text(text.replace(",", " ").replace(";", " ")) or _source(text)
        if channel:
            channels.add(channel)
            note("channel", channel, line, "channel_line")
    if len(channels) > 1:
        found.pop("channel")
    return Header(**found)  # type: ignore[arg-type]


def _source(text: str) -> str | None:
    match = re.fullmatch(
        r"(?:source|input)\s*[,;:=\t ]\s*ch(?:an(?:nel)?)?\s?([0-9])", text.strip(), re.IGNORECASE
    )
    return f"CH{match.group(1)}" if match else None


def _interval(text: str) -> Fraction | None:
    match = _INTERVAL.search(text)
    if match is not None:
        unit = read_time_unit(match.group(2)) if match.group(2) else Number(1, 0)
        number = _exact(match.group(1))
        if unit is not None and number is not None and number > 0:
            return number * unit.count * Fraction(10) ** unit.exponent
    match = _RATE.search(text)
    if match is not None:
        number = _exact(match.group(1))
        hertz = read_unit(re.split(r"[\s,;]", match.group(2))[0] or "Hz")
        if number and number > 0 and hertz is not None and hertz.si == "Hz":
            return 1 / (number * Fraction(10) ** hertz.power)
    return None


def _volts_per_division(text: str) -> Number | None:
    match = _PER_DIVISION.search(text)
    if match is None:
        return None
    number = _plain(match.group(1) or match.group(3))
    named = _UNIT_PER_DIVISION.search(text)
    symbol = match.group(2) or match.group(4) or (named.group(1) if named else "")
    unit = read_unit(symbol) if symbol else None
    if number is None or number.count <= 0:
        return None
    return number.scaled(unit.power) if unit is not None and unit.si == "V" else number


def _plain(text: str) -> Number | None:
    return read_number(text, ".") or read_number(text, ",")


def _exact(text: str) -> Fraction | None:
    number = _plain(text)
    return None if number is None else Fraction(number.count) * Fraction(10) ** number.exponent

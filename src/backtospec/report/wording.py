"""Values, limits and conditions in the words and figures of the printed page."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from datetime import datetime

from backtospec import quantity
from backtospec.quantity import Measured
from backtospec.records import Condition, Limit, Meter, PowerState, Rating
from backtospec.verdict import Bound, Result, Verdict

MARKS: Mapping[Verdict, tuple[str, str]] = {
    Verdict.PASS: ("✓", "in spec"),
    Verdict.FAIL: ("✕", "out of spec"),
    Verdict.UNDECIDED: ("?", "undecided"),
    Verdict.NOT_COMPARABLE: ("≠", "not comparable"),
    Verdict.NO_LIMIT: ("–", "no limit"),
}
"""Shape and word of every verdict: colour alone never carries one."""

COVERAGE = 2.0
"""Coverage factor k of every printed uncertainty: about 95 %."""

POWER_STATES: Mapping[PowerState, str] = {
    PowerState.SAFE: "unplugged, measured discharged",
    PowerState.OFF: "off",
    PowerState.LIMITED: "on the series lamp",
    PowerState.REDUCED: "on reduced mains",
    PowerState.MAINS: "on full mains",
    PowerState.DRIVEN: "driven",
}

_BOUNDS = {Bound.EQUALS: "", Bound.AT_MOST: "at most ", Bound.AT_LEAST: "at least "}
_SUFFIX_UNITS = {
    "ohm": "Ω",
    "hz": "Hz",
    "w": "W",
    "v": "V",
    "a": "A",
    "percent": "%",
    "db": "dB",
    "c": "°C",
    "s": "s",
    "f": "F",
}


def amount(value: float, unit: str, digits: int = 4) -> str:
    """Return a value in SI units as text with a real minus sign.

    Examples
    --------
    >>> amount(-0.0123, "V"), amount(0.5, "furlong")
    ('−12.3 mV', '0.5 furlong')
    """
    try:
        text = quantity.write(value, unit, digits)
    except ValueError:
        text = f"{value:.{digits}g} {unit}".rstrip()
    return text.replace("-", "−", 1) if text.startswith("-") else text


def measured(value: Measured, unit: str, like: float = 0.0) -> str:
    """Return a value with its expanded uncertainty (k = 2), both to the same decimal.

    Parameters
    ----------
    value, unit
        In SI units.
    like
        A value whose prefix to use, where several stand side by side.

    Notes
    -----
    Two digits of the uncertainty are kept (JCGM 100:2008, 7.2.6).

    Examples
    --------
    >>> measured(Measured(0.02231, 0.0008), "A"), measured(Measured(8.0), "Ω")
    ('22.3 ± 1.6 mA', '8 Ω')
    """
    expanded = value.expanded(COVERAGE)
    size = max(abs(value.value), expanded, abs(like))
    if expanded <= 1e-6 * size:
        return amount(value.value, unit)
    shown = _prefixed(size, unit)
    try:
        number, spread = quantity.in_unit(value.value, shown), quantity.in_unit(expanded, shown)
    except ValueError:
        number, spread = value.value, expanded
    places = 1 - math.floor(math.log10(float(f"{spread:.1e}")))
    number, spread = round(number, places) or 0.0, round(spread, places)
    digits = max(0, places)
    text = f"{number:.{digits}f} ± {spread:.{digits}f} {shown}".rstrip()
    return text.replace("-", "−", 1) if text.startswith("-") else text


def _prefixed(size: float, unit: str) -> str:
    """Return the unit with the prefix that reads best for a value of that size."""
    try:
        written = quantity.write(size, unit, 2)
    except ValueError:
        return unit
    return written.rpartition(" ")[2] if " " in written else unit


def result_text(result: Result) -> str:
    """Return a result as printed; "no value" where it was refused."""
    if result.value is None:
        return "no value"
    return _BOUNDS[result.bound] + measured(result.value, result.unit)


def limit_text(limit: Limit) -> str:
    """Return a limit as printed.

    Examples
    --------
    >>> limit_text(Limit("offset", -0.05, 0.05, "V", "manual"))
    'within ±50 mV'
    >>> limit_text(Limit("idle", 0.02, 0.03, "A", "manual"))
    '20…30 mA'
    """
    low, high, unit = limit.low, limit.high, limit.unit
    if low is None and high is None:
        return "no bound stated"
    if high is None:
        return f"at least {amount(low or 0.0, unit)}"
    if low is None:
        return f"at most {amount(high, unit)}"
    if low == -high:
        return f"within ±{amount(high, unit)}"
    left, right = amount(low, unit), amount(high, unit)
    number, _, left_unit = left.rpartition(" ")
    same_unit = number and left_unit == right.rpartition(" ")[2]
    return f"{number}…{right}" if same_unit else f"{left}…{right}"


def source_text(limit: Limit) -> str:
    """Return who stated a limit; what nobody but the trade states is called a convention."""
    if limit.convention and not limit.source.startswith("common practice"):
        return f"convention, {limit.source}"
    return limit.source


def conditions_text(conditions: Iterable[Condition]) -> str:
    """Return the conditions of a limit in words."""
    return ", ".join(text for c in conditions if (text := _condition(c)))


def _condition(condition: Condition) -> str:
    if condition.wanted is not None:
        return taken_text(condition.name, condition.wanted)
    if condition.name == "minutes_since_on" and condition.low is not None:
        return f"at least {condition.low:g} min after power-on"
    name, unit = _named(condition.name)
    low, high = condition.low, condition.high
    if low is not None and high is not None:
        return f"{name} {amount(low, unit)}–{amount(high, unit)}"
    if low is not None:
        return f"{name} at least {amount(low, unit)}"
    return f"{name} at most {amount(high, unit)}" if high is not None else ""


def taken_text(name: str, value: float | str) -> str:
    """Return one condition in words.

    Examples
    --------
    >>> taken_text("load_ohm", 8.0), taken_text("frequency_hz", 1000.0)
    ('into 8 Ω', 'at 1 kHz')
    """
    if name == "channels_driven":
        return {"both": "both channels driven", "one": "one channel driven"}.get(
            str(value), f"channels driven: {value}"
        )
    if name == "minutes_since_on" and not isinstance(value, str):
        return f"{value:.3g} min after power-on"
    words, unit = _named(name)
    shown = value if isinstance(value, str) else amount(value, unit)
    return {"load_ohm": f"into {shown}", "frequency_hz": f"at {shown}"}.get(
        name, f"{words} {shown}".replace("-", " ")
    )


def _named(name: str) -> tuple[str, str]:
    """Split ``level_dbv`` style names into words and unit."""
    words, _, suffix = name.rpartition("_")
    unit = _SUFFIX_UNITS.get(suffix, "")
    return (words if unit and words else name).replace("_", " "), unit


def rating_text(rating: Rating) -> str:
    """Return a rating as a buyer reads it: ``2 × 45 W into 8 Ω``."""
    power = amount(rating.power_w, "W")
    per = f"2 × {power}" if rating.channels_driven == "both" else f"{power} per channel"
    return f"{per} into {amount(rating.load_ohm, 'Ω')}"


def rating_conditions(rating: Rating) -> str:
    """Return what else is printed beside a rating."""
    low, high = rating.band_low_hz, rating.band_high_hz
    parts = []
    if rating.channels_driven:
        parts.append(taken_text("channels_driven", rating.channels_driven))
    if low is not None and high is not None:
        same = math.isclose(low, high)
        parts.append(
            f"at {amount(low, 'Hz')}" if same else f"{amount(low, 'Hz')} to {amount(high, 'Hz')}"
        )
    if rating.from_power_w is not None:
        parts.append(f"from {rating.from_power_w:g} W")
    if rating.thd_percent is not None:
        parts.append(f"at most {amount(rating.thd_percent, '%')} distortion")
    if rating.rule:
        parts.append(f"written to {rating.rule}")
    return ", ".join(parts)


def accuracy_text(meter: Meter) -> str:
    """Return the accuracy of a meter as its maker would print it."""
    return f"±({meter.percent:g} % + {meter.counts:g} counts)"


def when(moment: datetime) -> str:
    """Return date and time to the minute, with the offset from UTC where it is known."""
    offset = moment.strftime("%z")
    zone = " UTC" if offset == "+0000" else f" {offset[:3]}:{offset[3:5]}" if offset else ""
    return moment.strftime("%Y-%m-%d %H:%M") + zone


def lowered(title: str) -> str:
    """Return a title as it stands inside a sentence; initialisms keep their capitals."""
    return title if re.match(r"\W*[A-Z]{2}|\W*\d", title) else title[:1].lower() + title[1:]


def listed(parts: Iterable[str]) -> str:
    """Return "a", "a and b" or "a, b and c"."""
    *most, last = list(parts) or [""]
    return f"{', '.join(most)} and {last}" if most else last

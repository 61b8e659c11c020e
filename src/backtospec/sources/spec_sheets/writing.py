"""Writing a spec sheet down, so that reading it gives the same sheet again."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import groupby

from backtospec import quantity
from backtospec.records import (
    CapacitorSpec,
    IdleSpec,
    NodeVoltage,
    OffsetSpec,
    Rating,
    SpecSheet,
)

_LONGEST = 17  # digits that tell any two floats apart


def write_spec(spec: SpecSheet) -> str:
    """Return the text of a spec sheet file; ``read_spec`` reads the same sheet back.

    Parameters
    ----------
    spec
        The sheet. Its own ``text`` is left aside.

    Examples
    --------
    >>> from backtospec.records import Rating, SpecSheet
    >>> print(write_spec(SpecSheet("Halden", "62", ratings=(Rating(60, 8, 0.1, "leaflet"),))))
    maker = "Halden"
    model = "62"
    <BLANKLINE>
    [[rating]]
    power = "60 W"
    load = "8 Ω"
    thd = "0.1 %"
    source = "leaflet"
    <BLANKLINE>
    """
    return "\n".join(_rows(spec)) + "\n"


def _rows(spec: SpecSheet) -> Iterator[str]:
    mains = [
        spell(value, unit)
        for value, unit in ((spec.mains_v, "V"), (spec.mains_hz, "Hz"))
        if value is not None
    ]
    yield from _text("maker", spec.maker)
    yield from _text("model", spec.model)
    yield from _plain("year", spec.year)
    yield from _text("topology", spec.topology)
    yield from _text("mains", " ".join(mains) or None)
    yield from _number("rail", spec.rail_v, "V")
    for rating in spec.ratings:
        yield from _rating(rating)
    if spec.idle is not None:
        yield from _idle(spec.idle)
    if spec.offset is not None:
        yield from _offset(spec.offset)
    for capacitor in spec.capacitors:
        yield from _capacitor(capacitor)
    for group in _groups(spec.chart):
        yield from _chart(group)


def _rating(rating: Rating) -> Iterator[str]:
    yield from ("", "[[rating]]")
    yield from _number("power", rating.power_w, "W")
    yield from _number("load", rating.load_ohm, "Ω")
    yield from _text("channels_driven", rating.channels_driven)
    band = _span(rating.band_low_hz, rating.band_high_hz, "Hz")
    # three places before "Hz" would be read as thousands
    yield from _text("band", band and re.sub(r"(\.\d{3})(?= Hz)", r"\g<1>0", band))
    yield from _number("thd", rating.thd_percent, "%")
    yield from _number("from", rating.from_power_w, "W")
    yield from _text("rule", rating.rule)
    yield from _text("source", rating.source)


def _idle(idle: IdleSpec) -> Iterator[str]:
    yield from ("", "[idle]")
    unit = "A" if idle.across in ("current", "supply-rise") else "V"
    yield from _text("across", idle.across.replace("-", " "))
    yield from _text("current" if unit == "A" else "reading", _span(idle.low, idle.high, unit))
    yield from _number("emitter", idle.emitter_ohm, "Ω")
    yield from _number("tolerance", idle.emitter_tolerance_percent, "%")
    yield from _plain("devices_in_parallel", idle.devices_in_parallel)
    yield from _plain("adjustable", idle.adjustable)
    yield from _minutes("warm", idle.warm_minutes)
    yield from _text("source", idle.source)


def _offset(offset: OffsetSpec) -> Iterator[str]:
    yield from ("", "[offset]")
    yield from _number("limit", offset.high_v, "V")
    yield from _plain("adjustable", offset.adjustable)
    yield from _minutes("warm", offset.warm_minutes)
    yield from _text("source", offset.source)


def _capacitor(capacitor: CapacitorSpec) -> Iterator[str]:
    yield from ("", "[[capacitor]]")
    yield from _text("designator", capacitor.designator)
    yield from _number("value", capacitor.farad, "F")
    yield from _number("volts", capacitor.rated_v, "V")
    below, above = capacitor.tolerance_low_percent, capacitor.tolerance_high_percent
    signed = [
        f"{sign}{spell(abs(value), '%').removesuffix(' %')}"
        for sign, value in (("-", below), ("+", above))
        if value is not None
    ]
    yield from _text("tolerance", f"{'/'.join(signed)} %" if signed else None)
    yield from _plain("year", capacitor.year)
    yield from _text("source", capacitor.source)


def _groups(chart: tuple[NodeVoltage, ...]) -> Iterator[list[NodeVoltage]]:
    """Cut a chart into runs that share source and tolerance and name no node twice."""
    for _, run in groupby(chart, key=lambda node: (node.source, node.tolerance_percent)):
        group: list[NodeVoltage] = []
        for node in run:
            if any(node.node == other.node for other in group):
                yield group
                group = []
            group.append(node)
        yield group


def _chart(group: list[NodeVoltage]) -> Iterator[str]:
    yield from ("", "[[chart]]")
    yield from _text("source", group[0].source)
    yield from _number("tolerance", group[0].tolerance_percent, "%")
    yield "[chart.voltage]"
    for node in group:
        yield from _number(_quote(node.node), node.volt, "V")


def spell(value: float, unit: str) -> str:
    """Return a number and its unit in as few digits as give the same number back.

    Examples
    --------
    >>> spell(0.0096, "V"), spell(1 / 3, "V")
    ('9.6 mV', '333.3333333333333 mV')
    """
    for digits in range(3, _LONGEST):
        text = quantity.write(value, unit, digits)
        if quantity.read(text, unit, "") == value:
            return text
    return quantity.write(value, unit, _LONGEST)


def _span(low: float | None, high: float | None, unit: str) -> str | None:
    if low is None and high is None:
        return None
    if low is None:
        return f"at most {spell(high or 0.0, unit)}"
    if high is None:
        return f"at least {spell(low, unit)}"
    return spell(low, unit) if low == high else f"{spell(low, unit)} to {spell(high, unit)}"


def _text(key: str, value: str | None) -> Iterator[str]:
    if value is not None:
        yield f"{key} = {_quote(value)}"


def _number(key: str, value: float | None, unit: str) -> Iterator[str]:
    if value is not None:
        yield f'{key} = "{spell(value, unit)}"'


def _minutes(key: str, minutes: float | None) -> Iterator[str]:
    if minutes is not None:
        yield f'{key} = "{spell(quantity.to_si(minutes, "min"), "min")}"'


def _plain(key: str, value: bool | int | None) -> Iterator[str]:
    if value is not None:
        yield f"{key} = {json.dumps(value)}"


def _quote(text: str) -> str:
    """Quote a text for TOML, which escapes as JSON does, and DEL besides."""
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")

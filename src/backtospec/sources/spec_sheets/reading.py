"""Reading a spec sheet file, with all its mistakes at once."""

from __future__ import annotations

from typing import Any

from backtospec import quantity
from backtospec.errors import BenchError
from backtospec.records import (
    CapacitorSpec,
    IdleSpec,
    NodeVoltage,
    OffsetSpec,
    Rating,
    SpecSheet,
)
from backtospec.sources.spec_sheets import phrases
from backtospec.sources.spec_sheets.document import Document, Section

_ACROSS = {
    "current": "A",
    "supply-rise": "A",
    "one-resistor": "V",
    "resistor-pair": "V",
}
_SAY_SOURCE = 'Say where it comes from: source = "service manual p. 14", say.'


def read_spec(text: str, name: str) -> SpecSheet:
    """Return the spec sheet that a file holds.

    Parameters
    ----------
    text
        The file's text: TOML, values in quotation marks as people write them.
    name
        The file's name, for the messages.

    Returns
    -------
    SpecSheet
        What is not said stays ``None``; ``text`` holds the file's text.

    Raises
    ------
    BenchError
        With every mistake at once, each with its line and key.

    Notes
    -----
    Every limit names its source; ``source`` above the first heading holds for each section that
    has none of its own. A figure of one value without a tolerance has two equal ends.

    Examples
    --------
    >>> spec = read_spec('''
    ... maker = "Halden"
    ... model = "62"
    ... year = 1977
    ... topology = "quasi-complementary"
    ... mains = "220 V 50 Hz"
    ... rail = "38 V"
    ...
    ... [[rating]]                      # as many as the maker prints
    ... power = "60 W"                  # or power_w = 60
    ... load = "8 ohm"
    ... channels_driven = "both"        # both, one
    ... band = "20 Hz to 20 kHz"
    ... thd = "0.1 %"
    ... from = "250 mW"
    ... rule = "FTC-1974"               # FTC-2000, FTC-2024, DIN 45500, IHF, none
    ... source = "leaflet p. 2"
    ...
    ... [idle]
    ... across = "resistor pair"        # one resistor, or: current, supply rise
    ... reading = "10 ± 1 mV"           # or current = "20 to 30 mA"
    ... emitter = "0R22"
    ... tolerance = "5 %"
    ... devices_in_parallel = 1
    ... adjustable = true
    ... warm = "10 min"
    ... source = "service manual p. 14"
    ...
    ... [offset]
    ... limit = "50 mV"                 # either sign
    ... source = "service manual p. 15"
    ...
    ... [[capacitor]]
    ... designator = "C601"
    ... value = "10000 µF"
    ... volts = "50 V"
    ... tolerance = "-10/+50 %"
    ... year = 1976
    ... source = "parts list"
    ...
    ... [[chart]]                       # at the nameplate mains voltage, without signal
    ... source = "schematic"
    ... tolerance = "10 %"
    ... [chart.voltage]
    ... "Q601 collector" = "37.5 V"
    ... ''', "halden.toml")
    >>> spec.ratings[0].band_high_hz, spec.idle.low, spec.capacitors[0].tolerance_high_percent
    (20000.0, 0.009, 50.0)
    >>> read_spec('maker = "Halden"\\nmodle = "62"', "halden.toml")
    Traceback (most recent call last):
    backtospec.errors.BenchError: halden.toml, model: nothing was given. Write model = "…".
    halden.toml, line 2, modle: this key is not known here. Write “model”.
    """
    document = Document(text, name)
    top = Section(document, (), document.values)
    maker = top.words("maker", 'Write maker = "…".')
    model = top.words("model", 'Write model = "…".')
    mains = top.phrase("mains", phrases.read_mains, "220 V 50 Hz") or (None, None)
    source = top.words("source")
    idle, offset = _single(document, "idle"), _single(document, "offset")
    spec = SpecSheet(
        maker=maker,
        model=model,
        year=top.whole("year", 1940, 2100, "1977"),
        topology=top.phrase("topology", phrases.read_topology, "quasi-complementary"),
        mains_v=mains[0],
        mains_hz=mains[1],
        rail_v=top.quantity("rail", "V", 1, 400, "38 V"),
        ratings=tuple(_rating(part, source) for part in document.sections("rating")),
        idle=_idle(idle, source) if idle else None,
        offset=_offset(offset, source) if offset else None,
        capacitors=tuple(_capacitor(part, source) for part in document.sections("capacitor")),
        chart=tuple(node for part in document.sections("chart") for node in _chart(part, source)),
        text=text,
    )
    for heading in ("rating", "idle", "offset", "capacitor", "chart"):
        top.know(heading)
    top.finish()
    document.finish()
    return spec


def _single(document: Document, key: str) -> Section | None:
    """Return the one section of a name, if any."""
    sections = document.sections(key)
    for extra in sections[1:]:
        document.refuse(extra.path, "there is one already.", "Keep one of them.")
    return sections[0] if sections else None


def _source(section: Section, source: str) -> str:
    """Return where a section's figures come from; nothing is assumed."""
    return section.words("source", "" if source else _SAY_SOURCE) or source


def _rating(section: Section, source: str) -> Rating:
    band = section.phrase("band", phrases.read_band, "20 Hz to 20 kHz") or (None, None)
    power_w = section.quantity("power", "W", 0.01, 10_000, "60 W", needed=True)
    from_w = section.quantity("from", "W", 1e-6, 10_000, "250 mW")
    if power_w is not None and from_w is not None and from_w > power_w:
        section.refuse("from", "it lies above the rated power.", "Check both powers.")
    rating = Rating(
        power_w=power_w or 0.0,
        load_ohm=section.quantity("load", "Ω", 0.5, 10_000, "8 ohm", needed=True) or 0.0,
        thd_percent=section.quantity("thd", "%", 1e-5, 50, "0.1 %"),
        source=_source(section, source),
        channels_driven=section.phrase("channels_driven", _channels_driven, "both"),
        band_low_hz=band[0],
        band_high_hz=band[1],
        from_power_w=from_w,
        rule=section.phrase("rule", phrases.read_rule, "FTC-1974"),
    )
    section.finish()
    return rating


def _channels_driven(text: str, where: str) -> str:
    if (word := text.strip().lower()) in ("both", "one"):
        return word
    raise BenchError(f"“{text}” is neither both nor one.", where, "Write “both” or “one”.")


def _idle(section: Section, source: str) -> IdleSpec:
    across = _across(section)
    low, high = _idle_figure(section, across)
    adjustable = section.given("adjustable", bool, "true")
    tolerance = section.quantity("tolerance", "%", 0, 50, "5 %")
    given: dict[str, Any] = {
        "emitter_ohm": section.quantity("emitter", "Ω", 0.001, 100, "0R22"),
        "emitter_tolerance_percent": tolerance,
        "devices_in_parallel": section.whole("devices_in_parallel", 1, 32, "2"),
        "adjustable": adjustable,
        "warm_minutes": _minutes(section),
    }
    stated = {key: value for key, value in given.items() if value is not None}
    spec = IdleSpec(across, low, high, _source(section, source), **stated)
    section.finish()
    return spec


def _across(section: Section) -> str:
    """Return what the idle figure is taken across; millivolts alone do not say it."""

    def read(text: str, where: str) -> str:
        word = "-".join(text.lower().replace("-", " ").split())
        if word in _ACROSS:
            return word
        fix = phrases.nearest(word.replace("-", " "), [a.replace("-", " ") for a in _ACROSS])
        raise BenchError(f"“{text}” is not known here.", where, fix)

    if "across" not in section.values and _current_key(section):
        section.know("across")
        return "current"
    across = section.phrase("across", read, "resistor pair")
    if "across" not in section.values:
        section.refuse(
            "across",
            "a voltage is no idle current until it is known what it is taken across.",
            'Write across = "one resistor" or across = "resistor pair".',
        )
    return across or ""


def _current_key(section: Section) -> str:
    """Return the key that gives the idle figure as a current, if one does."""
    return next((k for k in ("current", "current_ma", "current_a") if k in section.values), "")


def _idle_figure(section: Section, across: str) -> phrases.Span:
    """Return the ends of the idle figure, in volts or amperes as ``across`` says."""
    current = _current_key(section)
    if current and "reading" in section.values:
        section.know("reading")
        section.refuse("reading", f"{current} says it already.", f"Keep reading or {current}.")
    elif current and _ACROSS.get(across) == "V":
        what = f"a current is not taken across {across.replace('-', ' ')}."
        section.refuse(current, what, "Write the voltage there as reading, or leave across out.")
    if current and current != "current":
        value = section.quantity("current", "A", 0, 20, "25 mA")
        return value, value

    def amperes(text: str, where: str) -> phrases.Span:
        return phrases.read_span(text, "A", where, 0, 20)

    def volts(text: str, where: str) -> phrases.Span:
        return phrases.read_span(text, "V", where, 0, 10)

    by_current = section.phrase("current", amperes, "25 mA")
    if current:
        return by_current or (None, None)
    unit = _ACROSS.get(across)
    if unit is None:
        section.know("reading")
        return None, None
    read = amperes if unit == "A" else volts
    return section.phrase("reading", read, "10 ± 1 mV") or (None, None)


def _minutes(section: Section) -> float | None:
    seconds = section.quantity("warm", "min", 0, 600, "10 min")
    return None if seconds is None else quantity.in_unit(seconds, "min")


def _offset(section: Section, source: str) -> OffsetSpec:
    def either_sign(text: str, where: str) -> float:
        bare = text.strip().removeprefix("±").removeprefix("+/-")
        return phrases.read_with_unit(bare, "V", where, 0.0001, 10)

    if {"limit_mv", "limit_v"} & set(section.values):
        limit = section.quantity("limit", "V", 0.0001, 10, "50 mV")
    else:
        limit = section.phrase("limit", either_sign, "50 mV")
        if "limit" not in section.values:
            section.refuse("limit", "nothing was given.", 'Write limit = "50 mV".')
    spec = OffsetSpec(
        high_v=limit or 0.0,
        source=_source(section, source),
        adjustable=section.given("adjustable", bool, "true"),
        warm_minutes=_minutes(section),
    )
    section.finish()
    return spec


def _capacitor(section: Section, source: str) -> CapacitorSpec:
    tolerance = section.phrase("tolerance", phrases.read_tolerance, "-10/+50 %") or (None, None)
    spec = CapacitorSpec(
        designator=section.words("designator", 'Write designator = "C601", say.'),
        farad=section.quantity("value", "F", 1e-13, 10, "10000 µF", needed=True) or 0.0,
        rated_v=section.quantity("volts", "V", 0.5, 5000, "50 V", needed=True) or 0.0,
        source=_source(section, source),
        tolerance_low_percent=tolerance[0],
        tolerance_high_percent=tolerance[1],
        year=section.whole("year", 1940, 2100, "1977"),
    )
    section.finish()
    return spec


def _chart(section: Section, source: str) -> list[NodeVoltage]:
    tolerance = section.quantity("tolerance", "%", 0, 100, "10 %")
    named = _source(section, source)
    voltages = section.given("voltage", dict, '{ "Q601 collector" = "37.5 V" }') or {}
    if not voltages and not isinstance(section.values.get("voltage"), dict):
        section.refuse("voltage", "nothing was given.", "Put the nodes under [chart.voltage].")
    nodes = Section(section.document, (*section.path, "voltage"), voltages)
    chart = []
    for node in voltages:
        volt = nodes.quantity(node, "V", -5000, 5000, "37.5 V")
        chart.append(NodeVoltage(node, volt or 0.0, named, tolerance))
    section.finish()
    return chart

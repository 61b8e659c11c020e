"""DC offset as it was read: what each channel shows, what it is held against, what was noted."""

from __future__ import annotations

from backtospec.analysis.offset_pattern import Condition as Terminal
from backtospec.analysis.offset_pattern import Place, localise
from backtospec.check import Answers, Axis, Bar, BarsFigure, Figure, Measurement
from backtospec.check.settling import Settling, settling_figure, settlings
from backtospec.errors import BenchError
from backtospec.quantity import Measured
from backtospec.records import Channel, Condition, Limit, OffsetSpec, Topology
from backtospec.verdict import Result

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}

GOOD_V, HIGH_V, EXCESSIVE_V, FAULT_V = 0.020, 0.050, 0.100, 1.0
"""Bands in use where the manual is silent. They are convention: published ones differ."""

NEAR_RAIL = 0.5
"""Share of the rail voltage above which one half of the stage must be missing (common practice)."""

CENTRE_PERCENT = (40.0, 60.0)
"""The centre of a capacitor-coupled stage, of its supply: about half (common practice)."""

SOURCE_V = 1e-3
"""From here on a source's direct voltage is worth a thought (from memory)."""

CONVENTION = "common practice: up to 20 mV good, 20–50 mV high, 50–100 mV too high; sources differ"
LOADED = {"none": "no", "dummy": "yes", "1k": "yes", "speaker": "yes"}


def topology(answers: Answers) -> str:
    """Return the kind of amplifier: as chosen here, else from its sheet."""
    sheet = answers.spec.topology if answers.spec else None
    return answers.choice("topology") or (sheet.value if sheet else "")


def coupled(answers: Answers) -> bool:
    """Say whether a capacitor stands in the output."""
    centre = answers.choice("point") == "centre"
    return centre or topology(answers) == Topology.CAPACITOR_COUPLED.value


def stated_limit(answers: Answers) -> OffsetSpec | None:
    """Return the maker's limit: as typed here from the manual, else from the sheet."""
    sheet = answers.spec.offset if answers.spec else None
    typed = answers.number("limit")
    if typed is None:
        return sheet
    return OffsetSpec(abs(typed.value), "the manual, as typed", sheet.adjustable if sheet else None)


def adjustable(answers: Answers) -> str:
    """Return ``yes``, ``no`` or ``unknown``."""
    said, stated = answers.choice("trimmer"), stated_limit(answers)
    if said or stated is None or stated.adjustable is None:
        return said or "unknown"
    return "yes" if stated.adjustable else "no"


def supply_v(answers: Answers) -> float | None:
    """Return the larger rail, as read here or from the sheet; ``None`` where unknown."""
    read = [v for k in ("rail", "rail_plus", "rail_minus") if (v := answers.number(k)) is not None]
    if read:
        return max(abs(v.value) for v in read)
    return abs(answers.spec.rail_v) if answers.spec and answers.spec.rail_v else None


def fault_v(answers: Answers) -> float:
    """Return the offset from which on something is broken: 1 V, or half of a small rail."""
    rail = supply_v(answers)
    return min(FAULT_V, NEAR_RAIL * rail) if rail else FAULT_V


def offset_settlings(answers: Answers) -> tuple[Settling, ...]:
    """Return what the logs of both channels say."""
    return settlings(answers, {name: f"{name}_series" for name in CHANNELS}, CHANNELS)


def terminals(answers: Answers) -> dict[str, dict[Terminal, float]]:
    """Return the offsets under the four conditions, by channel."""
    found: dict[str, dict[Terminal, float]] = {name: {} for name in CHANNELS}
    for row in answers.table("conditions"):
        where = (str(row["input"]), str(row["volume"]))
        for name in CHANNELS:
            if isinstance(value := row.get(name), Measured):
                found[name][where] = value.value
    return {name: offsets for name, offsets in found.items() if offsets}


def places(answers: Answers) -> dict[str, Place]:
    """Return where each channel's offset arises, as far as the four conditions tell."""
    found = {name: localise(offsets) for name, offsets in terminals(answers).items()}
    return {name: place for name, place in found.items() if place is not Place.UNKNOWN}


def judged_values(answers: Answers) -> dict[str, Measured]:
    """Return the offset of each channel that is held against a limit.

    The number typed comes first, then where a log settles, then the worst of the four conditions.
    A capacitor-coupled output counts loaded.
    """
    logs = {one.name: one.end for one in offset_settlings(answers)}
    table = {name: max(offsets.values(), key=abs) for name, offsets in terminals(answers).items()}
    found: dict[str, Measured] = {}
    for name in CHANNELS:
        value = answers.number(name)
        if coupled(answers):
            value = answers.number(f"{name}_loaded") or value
        if value is None and name in logs:
            value = logs[name]
        elif value is None:
            value = answers.number(f"{name}_loaded")
            if value is None and name in table:
                value = _of_table(answers, name, table[name])
            value = value or answers.number(f"{name}_cold")
        if value is not None:
            found[name] = value
    return found


def only_cold(answers: Answers) -> set[str]:
    """Return the channels of which nothing was read warm."""
    warm = {n for n in CHANNELS for k in ("", "_loaded", "_series") if f"{n}{k}" in answers.texts}
    return set(CHANNELS) - warm - set(terminals(answers))


def _of_table(answers: Answers, name: str, worst: float) -> Measured:
    cells = (row.get(name) for row in answers.table("conditions"))
    return next(c for c in cells if isinstance(c, Measured) and c.value == worst)


def measure(answers: Answers) -> Measurement:
    """Return the offset of each channel, its drift, and what a load or a supply makes of it."""
    point = answers.choice("point")
    if point == "emitter-resistor":
        raise BenchError(
            "millivolts across an emitter resistor are idle current, not offset.",
            "point of measurement",
            "Enter them under idle-current, or measure between the two speaker terminals.",
        )
    settling, values = offset_settlings(answers), judged_values(answers)
    results = _Results(answers)
    for name in CHANNELS:
        value = values.get(name)
        if value is None:
            results.unsettled(name, settling)
        elif point == "centre":
            results.centre(name, value)
        else:
            results.offset(name, value, any(one.name == name for one in settling))
    if not results.found and not noted(answers):
        raise BenchError("no reading was given.", "DC offset", "Give left, right or both.")
    return Measurement(tuple(results.found), _figures(answers, settling))


def noted(answers: Answers) -> bool:
    """Say whether something but a reading was noted that leads somewhere."""
    return answers.number("source_dc") is not None or answers.choice("relay") == "trips"


class _Results:
    """Collects results under the conditions they were read in."""

    def __init__(self, answers: Answers) -> None:
        self._answers = answers
        self._conditions = _conditions(answers)
        self.found: list[Result] = []

    def _add(
        self, key: str, name: str, value: Measured | None, method: str, *inputs: str, why: str = ""
    ) -> None:
        title, unit = RESULTS[key]
        loaded = f"{name}_loaded" in inputs
        conditions = {**self._conditions, "loaded": "yes"} if loaded else self._conditions
        self.found.append(
            Result(
                key.format(name=name),
                f"{title}, {name}",
                value,
                unit,
                method,
                inputs,
                conditions,
                channel=CHANNELS[name],
                reason=why,
            )
        )

    def unsettled(self, name: str, settling: tuple[Settling, ...]) -> None:
        for one in settling:
            if one.name == name:
                method = "where it settles: two time constants fitted"
                self._add(OFFSET, name, None, method, one.key, why=one.warm_up.reason)

    def centre(self, name: str, value: Measured) -> None:
        self._add(CENTRE, name, value, "direct voltage, centre to ground", name)
        supply = self._answers.number("rail") or self._answers.number("rail_plus")
        if supply is not None and supply.value:
            self._add(
                CENTRE_SHARE, name, abs(value / supply) * 100, "centre ÷ supply", name, "rail"
            )

    def offset(self, name: str, value: Measured, logged: bool) -> None:
        answers = self._answers
        loaded, cold = answers.number(f"{name}_loaded"), answers.number(f"{name}_cold")
        method = "direct voltage, " + answers.choice("point").replace("-", " ")
        if value is loaded:
            self._add(OFFSET, name, value, f"{method}, loaded", f"{name}_loaded")
        else:
            keys = (name, f"{name}_series") if logged or name in answers.texts else ("conditions",)
            if value is cold:
                method, keys = f"{method}, cold", (f"{name}_cold",)
            self._add(OFFSET, name, value, method, *keys)
        if loaded is not None and (unloaded := answers.number(name)) is not None:
            change = loaded - unloaded
            self._add(LOAD_CHANGE, name, change, "loaded less unloaded", name, f"{name}_loaded")
        if cold is not None and cold is not value:
            self._add(DRIFT, name, value - cold, "warm less cold", name, f"{name}_cold")
        ohm = answers.number("load_ohm")
        if ohm is not None:
            self._add(INTO_LOAD, name, value / ohm, "offset ÷ load", name, "load_ohm")


OFFSET, DRIFT, LOAD_CHANGE = "offset_{name}_v", "drift_{name}_v", "load_change_{name}_v"
INTO_LOAD, CENTRE, CENTRE_SHARE = "into_load_{name}_a", "centre_{name}_v", "centre_{name}_percent"
RESULTS = {
    OFFSET: ("DC offset", "V"),
    DRIFT: ("offset drift from cold to warm", "V"),
    LOAD_CHANGE: ("offset, loaded less unloaded", "V"),
    INTO_LOAD: ("direct current into the load, carried by one half of the stage", "A"),
    CENTRE: ("centre voltage before the output capacitor", "V"),
    CENTRE_SHARE: ("centre voltage, of the supply", "%"),
}
"""Title and unit by the pattern of the key."""


def _conditions(answers: Answers) -> dict[str, float | str]:
    names = ("limiter", "input_state", "volume", "load")
    conditions: dict[str, float | str] = {name: answers.choice(name) for name in names}
    conditions["loaded"] = LOADED.get(answers.choice("load"), "")
    minutes = answers.number("minutes_since_on")
    if minutes is not None:
        conditions["minutes_since_on"] = minutes.value / 60
    return {name: value for name, value in conditions.items() if value != ""}


def _bound(answers: Answers) -> float:
    stated = stated_limit(answers)
    return stated.high_v if stated else HIGH_V


def _figures(answers: Answers, settling: tuple[Settling, ...]) -> tuple[Figure, ...]:
    if answers.choice("point") == "centre":
        return ()
    figures: list[Figure] = []
    bound = _bound(answers)
    if settling:
        figures.append(settling_figure("warm_up", "DC offset, warm-up", settling, -bound, bound))
    labels = {"{}_cold": ", cold", "{}": "", "{}_loaded": ", loaded"}
    bars = [
        Bar(name.capitalize() + label, v.value * 1000, -bound * 1000, bound * 1000, channel)
        for name, channel in CHANNELS.items()
        for key, label in labels.items()
        if (v := answers.number(key.format(name))) is not None
    ]
    bars += [
        Bar(
            f"{name.capitalize()}, {of} {volume}",
            v * 1000,
            -bound * 1000,
            bound * 1000,
            CHANNELS[name],
        )
        for name, offsets in terminals(answers).items()
        for (of, volume), v in offsets.items()
    ]
    if bars:
        figures.append(BarsFigure("offset", "DC offset", Axis("offset", "mV"), tuple(bars)))
    return tuple(figures)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the manual's limit, or the convention where the manual is silent."""
    stated = stated_limit(answers)
    conditions = [Condition("limiter", "out")]
    if stated is not None and stated.warm_minutes and answers.number("minutes_since_on"):
        conditions.append(Condition("minutes_since_on", low=stated.warm_minutes))
    if coupled(answers):
        conditions.append(Condition("loaded", "yes"))
    source, bound = stated.source if stated else CONVENTION, _bound(answers)
    low, high = CENTRE_PERCENT
    half = "about half the supply, common practice"
    return tuple(
        limit
        for name in CHANNELS
        for limit in (
            Limit(
                OFFSET.format(name=name), -bound, bound, "V", source, tuple(conditions), not stated
            ),
            Limit(CENTRE_SHARE.format(name=name), low, high, "%", half, (), True),
        )
    )

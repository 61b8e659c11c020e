"""Idle current as it was read, and what the maker, or other units, say of it."""

from __future__ import annotations

from backtospec.analysis.idle_distortion import read_experiment
from backtospec.analysis.idle_sharing import SHARE_PERCENT, Bank, Device, banks_of
from backtospec.analysis.meter_swap import Swap, separate
from backtospec.check.answers import Answers
from backtospec.check.settling import Settling, settlings
from backtospec.errors import Choice
from backtospec.quantity import Measured, with_tolerance
from backtospec.records import Channel, Condition, IdleSpec, Limit

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
RESISTORS_IN_PATH = {"one-resistor": 1, "resistor-pair": 2}
DIRECT = {"fuse": "idle", "supply-rise": "supply_rise", "mains-rise": "mains_rise"}
POINTS = (
    Choice("one-resistor", "Across one emitter resistor"),
    Choice("resistor-pair", "Across the outer ends of the emitter-resistor pair"),
    Choice("test-points", "At the manual's test points"),
    Choice("fuse", "Current in place of a fuse"),
    Choice("supply-rise", "Rise of the supply current"),
    Choice("mains-rise", "Rise of the mains current"),
    Choice("speaker-terminals", "At the speaker terminals"),
    Choice("output-to-ground", "Between output and ground"),
)

NEAR_ENOUGH = 0.10
"""Share of a single printed figure that counts as being at it (common practice, no source)."""

WARM_MINUTES = 60.0
"""Idle current is judged after an hour to an hour and a half (common practice, no source)."""

HOT_C = 55.0
"""A heatsink that hot without a signal means off, where no idle figure excuses it (from memory)."""

OTHERS_MARGIN = 1.5
"""Times the highest of other units: what a figure inferred from them allows (a working rule)."""


def stated(answers: Answers) -> IdleSpec | None:
    """Return the maker's figure: as typed here from the manual, else from the sheet."""
    sheet = answers.spec.idle if answers.spec else None
    for key, across in (("target", path_read(answers)), ("target_current", "current")):
        value, spread = answers.number(key), answers.number(f"{key}_tolerance")
        if value is None:
            continue
        off = spread.value if spread is not None else 0.0
        point = answers.choice("point")
        if key == "target_current" and point in ("supply-rise", "mains-rise"):
            across = point
        return IdleSpec(
            across or "resistor-pair",
            value.value - off,
            value.value + off,
            "the manual, as typed",
            adjustable=answers.choice("trimmer") != "no",
            warm_minutes=sheet.warm_minutes if sheet else None,
        )
    return sheet


def path_read(answers: Answers) -> str:
    """Return what lies between the probes; each device has a resistor of its own."""
    return answers.choice("point") or ("one-resistor" if answers.table("devices") else "")


def path(answers: Answers) -> str:
    """Return what lies between the probes: the manual's own test points lie as its range says."""
    point, maker = path_read(answers), stated(answers)
    return maker.across if point == "test-points" and maker is not None else point


def comparable(answers: Answers) -> IdleSpec | None:
    """Return the maker's range where it is stated across what was probed, both ends known."""
    maker = stated(answers)
    if maker is None or maker.across != path(answers) or maker.low is None or maker.high is None:
        return None
    return maker


def has_trimmer(answers: Answers) -> bool | None:
    """Say whether there is an idle trimmer; ``None`` where nobody knows."""
    said = answers.choice("trimmer")
    if said:
        return said == "yes"
    sheet = answers.spec.idle if answers.spec else None
    return sheet.adjustable if sheet else None


def heatsink(answers: Answers) -> Measured | None:
    """Return the heatsink's temperature in °C: as typed, else the last of its log."""
    typed, series = answers.number("heatsink"), answers.series("heatsink_series")
    if typed is not None or series is None or not series.readings():
        return typed
    return Measured(series.readings()[-1][1])


def idle_settlings(answers: Answers) -> tuple[Settling, ...]:
    """Return what the logged drops say, held against the manual's range where it fits."""
    maker, target, tolerance = comparable(answers), None, None
    if maker is not None and maker.low is not None and maker.high is not None:
        target, tolerance = (maker.low + maker.high) / 2, (maker.high - maker.low) / 2
    keys = {name: f"{name}_series" for name in CHANNELS}
    return settlings(answers, keys, CHANNELS, target, tolerance)


def banks(answers: Answers) -> tuple[Bank, ...]:
    """Return the devices read one by one, by channel and side."""
    rows = answers.table("devices")
    return banks_of(
        Device(str(row["device"]), drop)
        for row in rows
        if isinstance(drop := row.get("drop"), Measured)
    )


def swap(answers: Answers) -> Swap | None:
    """Return what a swap of two meters tells, or ``None`` without one."""
    keys = ("left", "right", "left_swapped", "right_swapped")
    values = [v for key in keys if (v := answers.number(key)) is not None]
    return separate(*values) if len(values) == len(keys) else None


def drops(answers: Answers) -> dict[str, Measured]:
    """Return the drop of each channel: typed, else where its log settles, else of its devices.

    Where the meters were swapped or the channel was read again after the other one, it is the
    mean of both readings.
    """
    ends = {one.name: one.end for one in idle_settlings(answers)}
    found: dict[str, Measured] = {}
    for name in CHANNELS:
        again = [
            value
            for key in (name, f"{name}_again", f"{name}_swapped")
            if (value := answers.number(key)) is not None
        ]
        value = sum(again[1:], again[0]) / len(again) if again else ends.get(name)
        if value is None and (own := [b.mean for b in banks(answers) if b.channel == name]):
            value = sum(own[1:], own[0]) / len(own)
        if value is not None:
            found[name] = value
    return found


def emitter(answers: Answers) -> Measured | None:
    """Return one emitter resistor with its tolerance, or ``None`` where nobody knows it."""
    sheet = answers.spec.idle if answers.spec else None
    value = answers.number("emitter_ohm")
    ohm = value.value if value else (sheet.emitter_ohm if sheet else None)
    if ohm is None:
        return None
    tolerance = answers.number("emitter_tolerance_percent")
    if tolerance is not None:
        return with_tolerance(ohm, tolerance.value)
    return with_tolerance(ohm, sheet.emitter_tolerance_percent if sheet else 5.0)


def parallel(answers: Answers) -> int:
    """Return the devices that share the current in each half of one stage."""
    typed = answers.number("devices_in_parallel")
    sheet = answers.spec.idle if answers.spec else None
    return round(typed.value) if typed else (sheet.devices_in_parallel if sheet else 1)


def experiment_points(answers: Answers) -> list[tuple[float, float]]:
    """Return drop in volts and distortion in percent of each step of the experiment."""
    points = []
    for row in answers.table("experiment"):
        drop, thd = row.get("drop"), row.get("thd")
        if isinstance(drop, Measured) and isinstance(thd, Measured):
            points.append((drop.value, thd.value))
    return sorted(points)


def experiment_lowest(answers: Answers) -> float | None:
    """Return the lowest drop at which distortion has stopped falling, in volts."""
    found = read_experiment(experiment_points(answers))
    return found.lowest if found else None


def current_range(answers: Answers) -> tuple[float | None, float | None]:
    """Return the manual's range in amperes per device, by the resistor's value."""
    maker = stated(answers)
    if maker is None:
        return None, None
    if maker.across == "current":
        return maker.low, maker.high
    count, ohm = RESISTORS_IN_PATH.get(maker.across), maker.emitter_ohm
    if ohm is None and (read := emitter(answers)) is not None:
        ohm = read.value
    if count is None or ohm is None:
        return None, None
    scale = 1 / (count * ohm)
    return (
        None if maker.low is None else maker.low * scale,
        None if maker.high is None else maker.high * scale,
    )


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the manual's range in the quantity and path in which it was stated.

    A range in millivolts is judged in millivolts: going through milliamperes would add the
    resistor's tolerance for nothing. What is inferred from other units bounds upward only, for
    too little endangers nothing.
    """
    bank = "±3 mV on 10 mV, service sheet dated 23/11/99"
    found = [
        Limit(f"{what}{ending}_percent", -SHARE_PERCENT, SHARE_PERCENT, "%", bank, (), True)
        for what in ("sharing", "sides")
        for ending in ("_left", "_right", "")
    ]
    maker = stated(answers)
    if maker is None or not drops(answers):
        source = "from memory: a stage that idles without a signal"
        found.append(Limit("heatsink_c", None, HOT_C, "°C", source, (), True))
    if maker is None:
        return (*_inferred(answers), *found)
    conditions = [Condition("limiter", "out")]
    if not any(f"{name}_series" in answers.series_by_key for name in CHANNELS):
        # A log shows by itself whether it has settled; a single reading needs its minutes.
        conditions.append(Condition("minutes_since_on", low=maker.warm_minutes or WARM_MINUTES))
    key, unit, low, high, source = _as_stated(maker, answers)
    if low is not None and low == high:
        low, high = low * (1 - NEAR_ENOUGH), low * (1 + NEAR_ENOUGH)
        source += "; printed without a tolerance, ±10 % taken (common practice)"
    for name in CHANNELS:
        found.append(Limit(key.format(name=name), low, high, unit, source, tuple(conditions)))
    return tuple(found)


def _as_stated(
    maker: IdleSpec, answers: Answers
) -> tuple[str, str, float | None, float | None, str]:
    if maker.across in ("supply-rise", "mains-rise"):
        key = f"{DIRECT[maker.across]}_{{name}}_a"
        return key, "A", maker.low, maker.high, maker.source
    if maker.across == "current":
        return "idle_{name}_a", "A", maker.low, maker.high, maker.source
    if maker.across == path(answers):
        return "drop_{name}_v", "V", maker.low, maker.high, maker.source
    low, high = current_range(answers)
    words = maker.across.replace("-", " ")
    return "idle_{name}_a", "A", low, high, f"{maker.source}, stated across {words}"


def others(answers: Answers) -> list[float]:
    """Return the drops of other units of the model, in volts."""
    cells = (row.get("drop") for row in answers.table("others"))
    return [cell.value for cell in cells if isinstance(cell, Measured)]


def _inferred(answers: Answers) -> tuple[Limit, ...]:
    seen = others(answers)
    if not seen:
        return ()
    source = f"inferred from {len(seen)} other readings of this model, not the maker's"
    high, out = OTHERS_MARGIN * max(seen), (Condition("limiter", "out"),)
    return tuple(Limit(f"drop_{name}_v", None, high, "V", source, out, True) for name in CHANNELS)

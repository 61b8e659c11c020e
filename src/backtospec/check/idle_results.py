"""Drop, idle current, balance and sharing, computed from what was read of idle current."""

from __future__ import annotations

from backtospec.analysis.idle_sharing import sides_percent
from backtospec.check import (
    Answers,
    Axis,
    Bar,
    BarsFigure,
    CurveFigure,
    Figure,
    Measurement,
    Trace,
)
from backtospec.check.idle_reading import (
    CHANNELS,
    DIRECT,
    POINTS,
    RESISTORS_IN_PATH,
    banks,
    comparable,
    current_range,
    drops,
    emitter,
    experiment_points,
    heatsink,
    idle_settlings,
    parallel,
    path,
    path_read,
    swap,
)
from backtospec.check.settling import Settling, settling_figure
from backtospec.errors import BenchError, Question
from backtospec.quantity import Measured, write
from backtospec.records import Channel
from backtospec.verdict import Result

MOST_LIKELY_V = 2.0
"""Above this the probes cannot be on an emitter resistor of an idling stage (common practice)."""

SWAPPED = ("left", "right", "left_swapped", "right_swapped")
_WORDS = {
    "idle": "idle current per device",
    "supply_rise": "rise of the supply current",
    "mains_rise": "rise of the mains current",
}
OBSERVED = (
    *("sound", "drops_out", "louder", "after_recap", "relay_trips", "trimmer_sweep"),
    *("output_devices", "sensor", "fine_meter"),
)
"""Choices that lead somewhere even without a reading."""


def measure(answers: Answers) -> Measurement:
    """Return drop and idle current of each channel, their balance, and how devices share."""
    _refuse_wrong_points(answers)
    results, currents = _Results(answers), dict[str, Measured]()
    read, settling = drops(answers), idle_settlings(answers)
    for name, drop in read.items():
        _refuse_wrong_size(name, drop)
    _ask_for_the_point(answers, read)
    for name in CHANNELS:
        direct = answers.number(f"{name}_current")
        if direct is not None:
            currents[name] = results.direct(name, direct)
        elif name in read:
            if (current := results.drop(name, read[name])) is not None:
                currents[name] = current
        else:
            results.unsettled(name, settling)
    results.beside(currents if len(currents) == 2 else read)
    results.shared()
    if not results.found and not _observed(answers):
        raise BenchError(
            "no reading that fits the point of measurement was given.",
            "idle current",
            "Give left and right: millivolts across resistors, or current in a fuse's place.",
        )
    return Measurement(tuple(results.found), _figures(answers, currents, settling))


def _observed(answers: Answers) -> bool:
    tables = any(answers.table(key) for key in ("experiment", "devices"))
    return (
        tables
        or answers.number("source_dc") is not None
        or any(answers.choice(key) for key in OBSERVED)
    )


def _refuse_wrong_points(answers: Answers) -> None:
    if answers.choice("point") not in ("speaker-terminals", "output-to-ground"):
        return
    shown = " and ".join(f"{n} {answers.texts[n]}" for n in CHANNELS if n in answers.texts)
    large = any(abs(v.value) >= 1 for n in CHANNELS if (v := answers.number(n)) is not None)
    danger = "Switch off, no speaker. " if large else ""
    raise BenchError(
        f"{shown or 'a reading'} at the speaker terminals is DC offset. It says nothing about "
        "idle current, and no idle trimmer is turned by it.",
        "point of measurement",
        f"{danger}Enter it under dc-offset; read idle current across the outer ends of the "
        "emitter-resistor pair.",
    )


def _refuse_wrong_size(name: str, drop: Measured) -> None:
    if drop.value < 0:
        raise BenchError(
            f"{write(drop.value, 'V')} is negative; the drop runs from the upper device to the "
            "lower one.",
            name,
            "Swap the meter's leads with the power off, and read again.",
        )
    if drop.value > MOST_LIKELY_V:
        raise BenchError(
            f"{write(drop.value, 'V')} is volts where 0…2000 mV belong: the probes are not on "
            "the emitter resistors. In a quasi-complementary stage the lower emitter sits at "
            "the negative rail.",
            name,
            "Switch off, and move to the outer ends of the resistor pair itself.",
        )


def _ask_for_the_point(answers: Answers, read: dict[str, Measured]) -> None:
    """Ask what the probes were on: millivolts alone are no idle current, except none at all."""
    if path_read(answers) or all(drop.value == 0 for drop in read.values()):
        return
    shown = tuple(answers.texts[name] for name in read if name in answers.texts)
    raise Question(
        f"{' and '.join(shown) or 'a drop'} can be idle current or offset: it depends on where "
        "the probes were.",
        "point of measurement",
        "Give point as one of the choices.",
        about="point",
        quotes=shown,
        choices=POINTS,
        option="--set point=",
    )


class _Results:
    """Collects results under the conditions they were read in."""

    def __init__(self, answers: Answers) -> None:
        self._answers = answers
        self._conditions = _conditions(answers)
        self.found: list[Result] = []
        if (heat := heatsink(answers)) is not None:
            keys = ("heatsink", "heatsink_series")
            self._add("heatsink_c", "heatsink", heat, "°C", "temperature", *keys)

    def _add(
        self,
        key: str,
        title: str,
        value: Measured | None,
        unit: str,
        method: str,
        *inputs: str,
        why: str = "",
        channel: Channel | None = None,
    ) -> None:
        conditions = self._conditions
        self.found.append(
            Result(key, title, value, unit, method, inputs, conditions, channel=channel, reason=why)
        )

    def _of(self, what: str, name: str) -> tuple[str, str]:
        return f"{what}_{name}_a", f"{_WORDS[what]}, {name}"

    def unsettled(self, name: str, settling: tuple[Settling, ...]) -> None:
        for one in settling:
            if one.name == name:
                why, method = one.warm_up.reason, "where it settles: two time constants fitted"
                key, title = f"drop_{name}_v", f"drop, {name}"
                self._add(key, title, None, "V", method, one.key, why=why, channel=one.channel)

    def direct(self, name: str, current: Measured) -> Measured:
        """Add a current that was read as such; in a fuse's place it is that of all devices."""
        point = path_read(self._answers)
        count = parallel(self._answers) if point == "fuse" else 1
        method = f"direct current, {point.replace('-', ' ') or 'as stated'}"
        if point == "fuse":
            method += ", the drivers' current included"
        value = current / count
        key, title = self._of(DIRECT.get(point, "idle"), name)
        inputs = (f"{name}_current", "devices_in_parallel")
        self._add(key, title, value, "A", method, *inputs, channel=CHANNELS[name])
        return value

    def drop(self, name: str, drop: Measured) -> Measured | None:
        """Add a drop, and the current it means where the resistor is known."""
        answers, channel = self._answers, CHANNELS[name]
        where = path(answers).replace("-", " ") or "the resistor, whichever it is"
        logged = f"{name}_series" in answers.texts and name not in answers.texts
        method = f"direct voltage across {where}" + (", where it settles" if logged else "")
        every = (name, f"{name}_again", f"{name}_swapped", f"{name}_series", "devices")
        self._add(f"drop_{name}_v", f"drop, {name}", drop, "V", method, *every, channel=channel)
        current = _current(answers, drop)
        if current is None:
            return None
        count = parallel(answers)
        total = f"{count} devices in parallel carry {write(current.value * count, 'A')}"
        pair = RESISTORS_IN_PATH[path(answers)] == 2
        method = "drop ÷ (2 × emitter resistor)" if pair else "drop ÷ emitter resistor"
        inputs = (name, f"{name}_series", "devices", "emitter_ohm")
        why = total if count > 1 else ""
        key, title = self._of("idle", name)
        self._add(key, title, current, "A", method, *inputs, why=why, channel=channel)
        return current

    def beside(self, values: dict[str, Measured]) -> None:
        """Add how the channels compare, and what a swap of the meters says of it."""
        found = swap(self._answers)
        if len(values) == 2:
            left, right = values["left"], values["right"]
            mean = (left + right) / 2
            apart = Measured(0.0) if mean.value == 0 else (right - left) / mean * 100
            method = "ratio of the two readings"
            if found is not None:
                apart = (found.channels - 1) / (found.channels + 1) * 200
                method = "geometric mean of both meters on both channels"
            title = "right minus left, of their mean"
            inputs = (*SWAPPED, "left_current", "right_current")
            self._add("balance_percent", title, apart, "%", method, *inputs)
        if found is not None:
            title, apart = "second meter over the first", (found.meters - 1) * 100
            self._add("meters_percent", title, apart, "%", "swap of the meters", *SWAPPED)

    def shared(self) -> None:
        """Add how far devices in parallel, and both sides, share alike."""
        every = banks(self._answers)
        for name in ("left", "right", ""):
            own = [bank for bank in every if bank.channel == name]
            ending, channel = (f"_{name}", CHANNELS[name]) if name else ("", None)
            spreads = [v for bank in own if (v := bank.worst_percent()) is not None]
            words = f", {name}" if name else ""
            if spreads:
                worst = max(spreads, key=lambda v: abs(v.value))
                title, method = f"farthest device from the mean{words}", "drop ÷ mean of its bank"
                key = f"sharing{ending}_percent"
                self._add(key, title, worst, "%", method, "devices", channel=channel)
            if (sides := sides_percent(own, name)) is not None:
                title, method = (
                    f"NPN side minus PNP side, of their mean{words}",
                    "mean of each side",
                )
                key = f"sides{ending}_percent"
                self._add(key, title, sides, "%", method, "devices", channel=channel)


def _conditions(answers: Answers) -> dict[str, float | str]:
    conditions: dict[str, float | str] = {
        "limiter": answers.choice("limiter"),
        "across": path(answers) or "not stated",
    }
    if answers.choice("cover"):
        conditions["cover"] = answers.choice("cover")
    minutes = answers.number("minutes_since_on")
    if minutes is not None:
        conditions["minutes_since_on"] = minutes.value / 60
    return conditions


def _figures(
    answers: Answers, currents: dict[str, Measured], settling: tuple[Settling, ...]
) -> tuple[Figure, ...]:
    figures: list[Figure] = []
    if settling:
        maker = comparable(answers)
        low, high = (maker.low, maker.high) if maker is not None else (None, None)
        figures.append(settling_figure("warm_up", "Idle current, warm-up", settling, low, high))
    if currents:
        low, high = (None if v is None else v * 1000 for v in current_range(answers))
        bars = tuple(
            Bar(name.capitalize(), current.value * 1000, low, high, CHANNELS[name])
            for name, current in currents.items()
        )
        axis = Axis("idle current", "mA")
        figures.append(BarsFigure("idle", "Idle current per device", axis, bars))
    if every := [device for bank in banks(answers) for device in bank.devices]:
        bars = tuple(
            Bar(d.name, d.drop.value * 1000, channel=CHANNELS.get(d.channel)) for d in every
        )
        figures.append(BarsFigure("devices", "Drop by device", Axis("drop", "mV"), bars))
    if points := experiment_points(answers):
        x, y = tuple(v * 1000 for v, _ in points), tuple(thd for _, thd in points)
        axes = (Axis("drop", "mV"), Axis("distortion", "%", logarithmic=True))
        trace = Trace("1 W", x, y, points=True)
        title = "Distortion against idle current"
        figures.append(CurveFigure("experiment", title, *axes, (trace,)))
    return tuple(figures)


def _current(answers: Answers, drop: Measured) -> Measured | None:
    ohm, count = emitter(answers), RESISTORS_IN_PATH.get(path(answers))
    if ohm is None or count is None:
        return None
    # The tolerances of one pair are taken as fully correlated: one variable times the count.
    return drop / (ohm * count)

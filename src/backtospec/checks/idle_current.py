"""Idle current: what flows through the output devices without a signal."""

from __future__ import annotations

from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    Bar,
    BarsFigure,
    Cause,
    Check,
    Choice,
    ChoiceInput,
    Counsel,
    Example,
    Figure,
    Findings,
    Measurement,
    NumberInput,
    ResultKey,
    SeriesInput,
    Stage,
    TextInput,
)
from backtospec.check.settling import Settling, next_turn, settling_figure, settlings, unsettled
from backtospec.errors import BenchError
from backtospec.quantity import Measured, with_tolerance, write
from backtospec.records import (
    Channel,
    Condition,
    IdleSpec,
    Limit,
    PowerState,
    SpecSheet,
    Topology,
)
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}

NEAR_ENOUGH = 0.10
"""Share of a single printed figure that counts as being at it (common practice, no source)."""

RESISTORS_IN_PATH = {"one-resistor": 1, "resistor-pair": 2}
DIRECT = ("supply-rise", "fuse")

MOST_LIKELY_V = 2.0
"""Above this the probes cannot be on an emitter resistor of an idling stage (common practice)."""

WARM_MINUTES = 60.0
"""Idle current is judged after an hour to an hour and a half (common practice, no source)."""

ALARM_RATIO = 1.5
"""Times the upper limit at which to switch off (from memory: a workable rule)."""

ALIKE = 0.10
"""Channels within 10 % of each other are left alone (old-fidelity-forum.de/thread-14818)."""


_GO_ON = "go on reading both channels; leave the cover as it is"


def measure(answers: Answers) -> Measurement:
    """Return drop and idle current of each channel and the balance between them."""
    _refuse_wrong_points(answers)
    results: list[Result] = []
    currents: dict[str, Measured] = {}
    conditions = _conditions(answers)
    point = answers.choice("point")
    settling = _settlings(answers)
    over_time = {one.name: one for one in settling}
    for name, channel in CHANNELS.items():
        drop, direct = answers.number(name), answers.number(f"{name}_current")
        if drop is None and name in over_time:
            drop = over_time[name].end
            if drop is None:
                results.append(_unsettled_result(over_time[name], conditions))
        if direct is not None and point in DIRECT:
            key = "supply_rise" if point == "supply-rise" else "idle"
            results.append(
                Result(
                    f"{key}_{name}_a",
                    f"{_WORDS[key]}, {name}",
                    direct,
                    "A",
                    f"direct current, {point.replace('-', ' ')}",
                    (f"{name}_current",),
                    conditions,
                    channel=channel,
                )
            )
            currents[name] = direct
        if drop is None or point in DIRECT:
            continue
        _refuse_wrong_size(name, drop)
        results.append(
            Result(
                f"drop_{name}_v",
                f"drop, {name}",
                drop,
                "V",
                f"direct voltage across {point.replace('-', ' ')}"
                + (", where it settles" if name in over_time else ""),
                (name, f"{name}_series"),
                conditions,
                channel=channel,
            )
        )
        current = _current(answers, drop)
        if current is not None:
            currents[name] = current
            results.append(_idle_result(answers, name, channel, current, conditions))
    if not results:
        raise BenchError(
            "no reading that fits the point of measurement was given.",
            "idle current",
            "Give left and right: millivolts across resistors, or current in a fuse's place.",
        )
    if len(currents) == 2:
        results.append(_balance(currents, conditions))
    return Measurement(tuple(results), _figures(answers, currents, settling))


def _settlings(answers: Answers) -> tuple[Settling, ...]:
    """Return what the logged drops say, held against the manual's range where it fits."""
    spec = answers.spec.idle if answers.spec else None
    target = tolerance = None
    if spec and spec.across == _path(answers) and spec.low and spec.high:
        target, tolerance = (spec.low + spec.high) / 2, (spec.high - spec.low) / 2
    keys = {name: f"{name}_series" for name in CHANNELS}
    return settlings(answers, keys, CHANNELS, target, tolerance)


def _path(answers: Answers) -> str:
    """Return what lies between the probes: the manual's own test points lie as its range says."""
    point = answers.choice("point")
    spec = answers.spec.idle if answers.spec else None
    return spec.across if point == "test-points" and spec is not None else point


def _unsettled_result(one: Settling, conditions: dict[str, float | str]) -> Result:
    return Result(
        f"drop_{one.name}_v",
        f"drop, {one.name}",
        None,
        "V",
        "where it settles: two time constants fitted",
        (one.key,),
        conditions,
        channel=one.channel,
        reason=one.warm_up.reason,
    )


_WORDS = {"idle": "idle current per device", "supply_rise": "rise of the supply current"}


def _refuse_wrong_points(answers: Answers) -> None:
    if answers.choice("point") in ("speaker-terminals", "output-to-ground"):
        shown = " and ".join(f"{n} {answers.texts[n]}" for n in CHANNELS if n in answers.texts)
        raise BenchError(
            f"{shown or 'a reading'} at the speaker terminals is DC offset. It says nothing about "
            "idle current, and no idle trimmer is turned by it.",
            "point of measurement",
            "Enter it under dc-offset; read idle current across the outer ends of the "
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


def _conditions(answers: Answers) -> dict[str, float | str]:
    conditions: dict[str, float | str] = {
        "limiter": answers.choice("limiter"),
        "across": _path(answers),
    }
    if answers.choice("cover"):
        conditions["cover"] = answers.choice("cover")
    minutes = answers.number("minutes_since_on")
    if minutes is not None:
        conditions["minutes_since_on"] = minutes.value / 60
    return conditions


def _emitter(answers: Answers) -> Measured | None:
    spec = answers.spec.idle if answers.spec else None
    value = answers.number("emitter_ohm")
    ohm = value.value if value else (spec.emitter_ohm if spec else None)
    if ohm is None:
        return None
    tolerance = answers.number("emitter_tolerance_percent")
    if tolerance is not None:
        return with_tolerance(ohm, tolerance.value)
    return with_tolerance(ohm, spec.emitter_tolerance_percent if spec else 5.0)


def _current(answers: Answers, drop: Measured) -> Measured | None:
    emitter = _emitter(answers)
    count = RESISTORS_IN_PATH.get(_path(answers))
    if emitter is None or count is None:
        return None
    # The tolerances of one pair are taken as fully correlated: one variable times the count.
    return drop / (emitter * count)


def _idle_result(
    answers: Answers,
    name: str,
    channel: Channel,
    current: Measured,
    conditions: dict[str, float | str],
) -> Result:
    devices = answers.number("devices_in_parallel")
    count = round(devices.value) if devices else 1
    shared = f"; {count} devices in parallel carry {write(current.value * count, 'A')}"
    pair = RESISTORS_IN_PATH[_path(answers)] == 2
    return Result(
        f"idle_{name}_a",
        f"idle current per device, {name}",
        current,
        "A",
        "drop ÷ (2 × emitter resistor)" if pair else "drop ÷ emitter resistor",
        (name, "emitter_ohm", "emitter_tolerance_percent"),
        conditions,
        channel=channel,
        reason=shared[2:] if count > 1 else "",
    )


def _balance(currents: dict[str, Measured], conditions: dict[str, float | str]) -> Result:
    left, right = currents["left"], currents["right"]
    mean = (left + right) / 2
    value = Measured(0.0) if mean.value == 0 else (right - left) / mean * 100
    return Result(
        "balance_percent",
        "right minus left, of their mean",
        value,
        "%",
        "ratio of the two readings",
        ("left", "right", "left_current", "right_current"),
        conditions,
    )


def _figures(
    answers: Answers, currents: dict[str, Measured], settling: tuple[Settling, ...]
) -> tuple[Figure, ...]:
    figures: list[Figure] = []
    if settling:
        spec = answers.spec.idle if answers.spec else None
        fits = spec is not None and spec.across == _path(answers)
        low, high = (spec.low, spec.high) if spec is not None and fits else (None, None)
        figures.append(settling_figure("warm_up", "Idle current, warm-up", settling, low, high))
    if not currents:
        return tuple(figures)
    low, high = _current_range(answers)
    bars = tuple(
        Bar(
            name.capitalize(),
            current.value * 1000,
            None if low is None else low * 1000,
            None if high is None else high * 1000,
            CHANNELS[name],
        )
        for name, current in currents.items()
    )
    figures.append(BarsFigure("idle", "Idle current per device", Axis("idle current", "mA"), bars))
    return tuple(figures)


def _current_range(answers: Answers) -> tuple[float | None, float | None]:
    """Return the manual's range in amperes per device, by its own resistor value."""
    spec = answers.spec.idle if answers.spec else None
    if spec is None:
        return None, None
    if spec.across == "current":
        return spec.low, spec.high
    count = RESISTORS_IN_PATH.get(spec.across)
    if count is None or spec.emitter_ohm is None:
        return None, None
    scale = 1 / (count * spec.emitter_ohm)
    return (
        None if spec.low is None else spec.low * scale,
        None if spec.high is None else spec.high * scale,
    )


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the manual's range in the quantity and path in which it was stated.

    A range in millivolts is judged in millivolts: going through milliamperes would add the
    resistor's tolerance for nothing.
    """
    spec = answers.spec.idle if answers.spec else None
    if spec is None:
        return ()
    conditions = [Condition("limiter", "out")]
    if not any(f"{name}_series" in answers.series_by_key for name in CHANNELS):
        # A log shows by itself whether it has settled; a single reading needs its minutes.
        warm = spec.warm_minutes or WARM_MINUTES
        conditions.append(Condition("minutes_since_on", low=warm))
    key, unit, low, high, source = _stated(spec, answers)
    if low is not None and low == high:
        low, high = low * (1 - NEAR_ENOUGH), low * (1 + NEAR_ENOUGH)
        source += "; printed without a tolerance, ±10 % taken (common practice)"
    return tuple(
        Limit(key.format(name=name), low, high, unit, source, tuple(conditions))
        for name in CHANNELS
    )


def _stated(spec: IdleSpec, answers: Answers) -> tuple[str, str, float | None, float | None, str]:
    if spec.across == "supply-rise":
        return "supply_rise_{name}_a", "A", spec.low, spec.high, spec.source
    if spec.across == "current":
        return "idle_{name}_a", "A", spec.low, spec.high, spec.source
    if spec.across == _path(answers):
        return "drop_{name}_v", "V", spec.low, spec.high, spec.source
    low, high = _current_range(answers)
    words = spec.across.replace("-", " ")
    return "idle_{name}_a", "A", low, high, f"{spec.source}, stated across {words}"


def advise(findings: Findings) -> Counsel:
    """Return what an experienced restorer would say of these idle currents."""
    answers = findings.answers
    alarm = _alarm(findings)
    if alarm is not None:
        return alarm
    turns = _next_turns(answers)
    if turns:
        step = "turn, wait a minute, read; then the other channel"
        return Counsel(turns, _foreseen_low(answers), step)
    moving = unsettled(_settlings(answers))
    if moving:
        words = tuple(Advice(AdviceKind(kind), reason) for kind, reason in moving)
        stop = any(word.kind is AdviceKind.STOP for word in words)
        step = "switch off and discharge before touching anything" if stop else _GO_ON
        return Counsel(words, next_step=step)
    if answers.choice("limiter") == "in":
        return Counsel.of(
            AdviceKind.REMEASURE,
            "The series lamp starves the stage: idle current counts only on full mains.",
            next_step="take the limiter out, warm up, read again",
        )
    judged = [f for f in findings.all if f.limit is not None]
    uncomparable = [f for f in judged if f.verdict is Verdict.NOT_COMPARABLE]
    if uncomparable:
        return _not_yet(answers, uncomparable[0].reason)
    low = [f.result for f in judged if f.verdict is Verdict.FAIL and _below(f.result, f.limit)]
    high = [f.result for f in judged if f.verdict is Verdict.FAIL and f.result not in low]
    if high or low:
        return _out_of_range(low, high, answers)
    if any(f.verdict is Verdict.UNDECIDED and (f.probability or 0) < 0.5 for f in judged):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "At the edge of the range, within measuring error: read it on a finer range.",
            next_step="the same reading on the meter's finest range",
        )
    if judged:
        shown = _shown([f.result for f in judged])
        return Counsel.of(
            AdviceKind.LEAVE,
            f"{shown}: inside the manual's range. Leave it alone.",
            next_step="DC offset, both channels, warm",
        )
    return _without_limit(findings)


def _below(result: Result, limit: Limit | None) -> bool:
    return bool(limit and limit.low is not None and result.value and result.value.value < limit.low)


def _shown(results: list[Result]) -> str:
    parts = [
        f"{'left' if r.channel is Channel.LEFT else 'right'} {write(r.value.value, r.unit)}"
        for r in results
        if r.value is not None
    ]
    return " and ".join(parts)


def _next_turns(answers: Answers) -> tuple[Advice, ...]:
    """Return the next turn of each channel whose log ends outside the manual's range."""
    spec = answers.spec.idle if answers.spec else None
    fits = spec is not None and spec.across == _path(answers)
    if spec is None or not fits or spec.low is None or spec.high is None:
        return ()
    if _has_trimmer(answers) is False or answers.choice("limiter") == "in":
        return ()
    found = _settlings(answers)
    if any(one.warm_up.advice in ("STOP", "REPLACE") for one in found):
        return ()
    turns = (
        next_turn(one, spec.low, spec.high, "idle", answers.texts.get(f"{one.name}_trimmer_at", ""))
        for one in found
    )
    return tuple(Advice(AdviceKind(turn[0]), turn[1]) for turn in turns if turn is not None)


def _foreseen_low(answers: Answers) -> tuple[Cause, ...]:
    """Return the cause of a channel whose log ends below the manual's range."""
    spec = answers.spec.idle if answers.spec else None
    low = spec.low if spec else None
    ends = [
        (one.name, end)
        for one in _settlings(answers)
        if (end := one.warm_up.settled_high_v) is not None and low is not None and end < low
    ]
    if not ends:
        return ()
    shown = " and ".join(f"{name} ends below {write(end, 'V')}" for name, end in ends)
    return (_under_biased(shown),)


def _under_biased(evidence: str) -> Cause:
    return Cause(
        "under-biased stage",
        (evidence,),
        (),
        "distortion at 1 W or less in that channel; the trimmer for a dirty track",
    )


def _alarm(findings: Findings) -> Counsel | None:
    """Far above the range is dangerous at any time: nothing silences this."""
    for limit in limits(findings.answers):
        for finding in findings.of(limit.key):
            value = finding.result.value
            if value is None or limit.high is None or value.value <= ALARM_RATIO * limit.high:
                continue
            return Counsel.of(
                AdviceKind.STOP,
                f"{_shown([finding.result])}: far above the range. Switch off; look at "
                "the sensor's mounting, the bias network and oscillation before power "
                "goes back on.",
                causes=(
                    Cause(
                        "runaway, oscillation or a wrong bias network",
                        (f"more than {ALARM_RATIO:g} × the upper limit",),
                        (),
                        "heatsink contact of the bias sensor, then the bias network, power off",
                    ),
                ),
                next_step="switch off and discharge before touching anything",
            )
    return None


def _not_yet(answers: Answers, reason: str) -> Counsel:
    spec = answers.spec.idle if answers.spec else None
    wanted = (spec.warm_minutes if spec else None) or WARM_MINUTES
    minutes = answers.number("minutes_since_on")
    if minutes is None:
        return Counsel.of(
            AdviceKind.REMEASURE,
            "Note the minutes since power-on with the reading: idle current creeps for "
            "an hour or more and counts only warm.",
            next_step=f"read both channels again after {wanted:g} min, cover as the manual says",
        )
    if minutes.value / 60 < wanted:
        left = wanted - minutes.value / 60
        return Counsel.of(
            AdviceKind.WAIT,
            f"Too early to judge: it is still creeping. Read again in {left:.0f} min.",
            next_step=f"read both channels again {wanted:g} min after power-on",
        )
    return Counsel.of(
        AdviceKind.REMEASURE,
        f"Not taken as the manual states it: {reason}.",
        next_step="read again under the manual's conditions",
    )


def _has_trimmer(answers: Answers) -> bool | None:
    said = answers.choice("trimmer")
    if said:
        return said == "yes"
    spec = answers.spec.idle if answers.spec else None
    return spec.adjustable if spec else None


def _out_of_range(low: list[Result], high: list[Result], answers: Answers) -> Counsel:
    shown, direction = _shown(low + high), "below" if not high else "above"
    if low and high:
        direction = "outside"
    causes = (_under_biased(f"{_shown(low)} is below the range"),) if low else ()
    if _has_trimmer(answers) is False:
        kind = AdviceKind.REPLACE if high else AdviceKind.PLAN
        reason = (
            f"{shown}: above the range with nothing to trim. Find the part in the bias network."
            if high
            else f"{shown}: low costs some distortion and no safety. Fixed resistors set it: a "
            "parallel one can raise it, on a limiter, if you want to."
        )
        return Counsel.of(kind, reason, causes=causes, next_step="compare the bias networks")
    return Counsel.of(
        AdviceKind.ADJUST,
        f"{shown}: {direction} the range. Mark the trimmer's position, turn a little, "
        "wait, read; stop if the reading jumps. Left, right, then left again.",
        causes=causes,
        next_step="after each step wait for it to settle; then check the offset",
    )


def _without_limit(findings: Findings) -> Counsel:
    """No figure in the manual: compare the channels, and never push upward."""
    values = {n: v for n in CHANNELS if (v := findings.value(f"idle_{n}_a")) is not None}
    if not values:
        drops = {n: v for n in CHANNELS if (v := findings.value(f"drop_{n}_v")) is not None}
        if not drops:
            return Counsel.of(
                AdviceKind.LEAVE,
                "There is no figure to hold it against. Record it.",
                next_step="DC offset, both channels, warm",
            )
        shown = " and ".join(f"{n} {write(v.value, 'V')}" for n, v in drops.items())
        return Counsel.of(
            AdviceKind.REMEASURE,
            f"{shown}: millivolts become a current only with the emitter resistor's "
            "value. Read it off the part or the schematic.",
            next_step="give the emitter resistor's value",
        )
    shown = " and ".join(f"{n} {write(v.value, 'A')}" for n, v in values.items())
    pair = list(values.values())
    if len(pair) == 2 and max(v.value for v in pair) > 0:
        lower = min(values, key=lambda n: values[n].value)
        spread = abs(pair[0].value - pair[1].value) / max(v.value for v in pair)
        if spread > ALIKE:
            fixed = _has_trimmer(findings.answers) is False
            how = (
                "Fixed resistors set it: a parallel one could trim it, on a limiter, if you want."
                if fixed
                else "No manual figure, so nothing is pushed up; listen and measure at 1 W first."
            )
            return Counsel.of(
                AdviceKind.LEAVE,
                f"{shown}: no danger in either. The {lower} channel is low and costs "
                f"some distortion. {how}",
                causes=(
                    Cause(
                        "under-biased stage",
                        (f"the {lower} channel idles {100 * spread:.0f} % lower",),
                        ("low idle current endangers nothing",),
                        "distortion at 1 W or less, both channels",
                    ),
                ),
                next_step="distortion at 1 W in both channels",
            )
        return Counsel.of(
            AdviceKind.LEAVE,
            f"{shown}: alike within 10 %. Record it and leave the trimmers alone.",
            next_step="DC offset, both channels, warm",
        )
    return Counsel.of(
        AdviceKind.LEAVE,
        f"{shown}: there is no manual figure. Compare with the other channel; push nothing upward.",
        next_step="the same reading in the other channel",
    )


def unfit(spec: SpecSheet) -> str:
    """Say why an amplifier without a stated figure has no idle current to be read."""
    if spec.idle is not None:
        return ""
    if spec.topology is Topology.HYBRID_MODULE:
        return "a hybrid module sets its idle current inside; no emitter resistor can be reached"
    if spec.topology is Topology.SLIDING_BIAS:
        return "a sliding bias moves with the signal; only the maker's own figure can be held to"
    return ""


def _drop(key: str, prompt: str, channel: Channel) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="mV",
        low=-100_000,
        high=100_000,
        channel=channel,
        probed_at="outer ends of the emitter-resistor pair, or one resistor",
        by_meter=True,
    )


def _series(key: str, prompt: str, channel: Channel) -> SeriesInput:
    return SeriesInput(
        key=key,
        prompt=prompt,
        unit="mV",
        low=-100_000,
        high=100_000,
        channel=channel,
        probed_at="outer ends of the emitter-resistor pair, or one resistor",
    )


def _direct(key: str, prompt: str, channel: Channel) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="mA",
        low=0,
        high=5000,
        channel=channel,
        probed_at="in place of a fuse, or in the supply",
        by_meter=True,
    )


CHECK = Check(
    id="idle-current",
    title="Idle current",
    stage=Stage.IDLE_CURRENT,
    power_states=(PowerState.MAINS, PowerState.LIMITED, PowerState.REDUCED),
    why="Too little and the halves of the output stage hand over badly: distortion at low volume. "
    "Too much and it cooks.",
    cautions=(
        "A slipped probe destroys an output stage. Clip on, and move leads, only with the unit "
        "unplugged and its rails measured below 2 V.",
        "Never measure idle current at the speaker terminals: that is DC offset.",
        "Rails carry lethal or damaging voltage. Local rules and licensed practice come first.",
    ),
    steps=(
        "Unplug, discharge, measure the rails below 2 V; clip the meter to the outer ends of the "
        "emitter-resistor pair, or across the one resistor the manual names.",
        "No signal, volume at minimum, no load. Cover on or off as the manual says.",
        "Power up on full mains, note the time; read every few minutes, for an hour or more.",
        "Adjust only when it has settled outside the range: a little, wait, read; left, right, "
        "left again.",
    ),
    inputs=(
        ChoiceInput(
            key="point",
            prompt="Where was it measured?",
            required=True,
            choices=(
                Choice("one-resistor", "Across one emitter resistor"),
                Choice("resistor-pair", "Across the outer ends of the emitter-resistor pair"),
                Choice("test-points", "At the manual's test points"),
                Choice("fuse", "Current in place of a fuse"),
                Choice("supply-rise", "Rise of the supply current"),
                Choice("speaker-terminals", "At the speaker terminals"),
                Choice("output-to-ground", "Between output and ground"),
            ),
        ),
        _drop("left", "Left, drop", Channel.LEFT),
        _drop("right", "Right, drop", Channel.RIGHT),
        _series("left_series", "Left, drop over time", Channel.LEFT),
        _series("right_series", "Right, drop over time", Channel.RIGHT),
        _direct("left_current", "Left, current", Channel.LEFT),
        _direct("right_current", "Right, current", Channel.RIGHT),
        NumberInput(key="emitter_ohm", prompt="One emitter resistor", unit="Ω", low=0.01, high=100),
        NumberInput(
            key="emitter_tolerance_percent",
            prompt="Its tolerance",
            unit="%",
            low=0,
            high=20,
        ),
        NumberInput(
            key="devices_in_parallel", prompt="Devices in parallel", unit="", low=1, high=20
        ),
        NumberInput(
            key="minutes_since_on", prompt="Minutes since power-on", unit="min", low=0, high=100_000
        ),
        ChoiceInput(
            key="cover", prompt="Cover", choices=(Choice("on", "On"), Choice("off", "Off"))
        ),
        ChoiceInput(
            key="limiter",
            prompt="Is the series lamp or other limiter in?",
            choices=(Choice("out", "Out: full mains"), Choice("in", "In")),
            default="out",
        ),
        ChoiceInput(
            key="trimmer",
            prompt="Is there an idle trimmer?",
            choices=(Choice("yes", "Yes"), Choice("no", "No: fixed resistors")),
        ),
        TextInput(key="left_trimmer_at", prompt="Left, where the trimmer stood before any turn"),
        TextInput(key="right_trimmer_at", prompt="Right, where the trimmer stood before any turn"),
        NumberInput(key="heatsink", prompt="Heatsink temperature", unit="°C", low=-20, high=200),
    ),
    results=(
        *(
            ResultKey(f"{key}_{name}_{unit.lower()}", f"{title}, {name}", unit)
            for name in CHANNELS
            for key, title, unit in (
                ("drop", "drop", "V"),
                ("idle", "idle current per device", "A"),
                ("supply_rise", "rise of the supply current", "A"),
            )
        ),
        ResultKey("balance_percent", "right minus left, of their mean", "%"),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="1 Ω resistors: 35 mV in one channel, 7 mV in the other, nothing to trim",
            source="diyaudio.com/community/threads/372693 p. 3",
            answers={
                "point": "one-resistor",
                "left": "35 mV",
                "right": "7 mV",
                "emitter_ohm": "1 Ω",
                "trimmer": "no",
            },
            values={"idle_left_a": (0.035, 1e-9), "idle_right_a": (0.007, 1e-9)},
            verdicts={"idle_left_a": Verdict.NO_LIMIT, "idle_right_a": Verdict.NO_LIMIT},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.ADJUST, AdviceKind.REPLACE),
            cause="under-biased stage",
        ),
        Example(
            title="10.0 mV across 2 × 0.22 Ω, settled",
            source="arithmetic: 10 mV ÷ 0.44 Ω = 22.7 mA",
            answers={
                "point": "resistor-pair",
                "left": "10.0",
                "right": "10.2",
                "minutes_since_on": "75",
            },
            spec='maker = "Example"\nmodel = "One"\n[idle]\nacross = "resistor pair"\n'
            'reading = "8 to 12 mV"\nemitter = "0R22"\nsource = "service manual"\n',
            values={"idle_left_a": (0.0227273, 1e-6)},
            verdicts={"drop_left_v": Verdict.PASS, "drop_right_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="At the manual's test points",
            source="arithmetic: 10 mV ÷ 0.44 Ω = 22.7 mA",
            answers={"point": "test-points", "left": "10.0", "minutes_since_on": "75"},
            spec='maker = "Example"\nmodel = "One"\n[idle]\nacross = "resistor pair"\n'
            'reading = "8 to 12 mV"\nemitter = "0R22"\nsource = "service manual"\n',
            values={"idle_left_a": (0.0227273, 1e-6)},
            verdicts={"drop_left_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Read across one resistor where the manual states the pair",
            source="vintage-radio.net showpost p=1308827 (2020-11-10): add the two before dividing",
            answers={"point": "one-resistor", "left": "5.0", "minutes_since_on": "75"},
            spec='maker = "Example"\nmodel = "One"\n[idle]\nacross = "resistor pair"\n'
            'reading = "8 to 12 mV"\nemitter = "0R22"\nsource = "service manual"\n',
            values={"idle_left_a": (0.0227273, 1e-6)},
            verdicts={"drop_left_v": Verdict.NO_LIMIT, "idle_left_a": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="The same after ten minutes",
            source="common practice, no source: it creeps about a millivolt in ten minutes",
            answers={
                "point": "resistor-pair",
                "left": "7.1",
                "right": "7.4",
                "minutes_since_on": "10",
            },
            spec='maker = "Example"\nmodel = "One"\n[idle]\nacross = "resistor pair"\n'
            'reading = "8 to 12 mV"\nemitter = "0R22"\nsource = "service manual"\n',
            verdicts={"drop_left_v": Verdict.NOT_COMPARABLE},
            advice=(AdviceKind.WAIT,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
        ),
    ),
    sources=(
        "Reading and normal values: diyaudio.com/community/threads/372693 p. 3",
        "One resistor or two: vintage-radio.net showpost p=1308827 (2020-11-10)",
        "Alike within 10 %: old-fidelity-forum.de/thread-14818-post-726807.html",
        "Idle is not offset: diyaudio.com/community/goto/post?id=7292811",
        "An hour to an hour and a half to settle: common practice, no source",
    ),
    needs=(1, 2, 3, 4, 11, 41, 46, 55),
    unfit=unfit,
    covers_off=True,
    before_closing="idle current settled inside its range, both channels, and its trimmers left",
)

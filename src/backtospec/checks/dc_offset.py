"""DC offset: the direct voltage left at the speaker terminals without a signal."""

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
)
from backtospec.check.settling import Settling, settling_figure, settlings, unsettled
from backtospec.errors import BenchError
from backtospec.quantity import Measured
from backtospec.records import Channel, Condition, Limit, PowerState, Topology
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}

GOOD_V, HIGH_V, EXCESSIVE_V, FAULT_V = 0.020, 0.050, 0.100, 1.0
"""Bands in use where the manual is silent. They are convention: published ones differ."""

NEAR_RAIL = 0.5
"""Share of the rail voltage above which one half of the stage must be missing (common practice)."""

CONVENTION = "common practice: up to 20 mV good, 20–50 mV high, 50–100 mV too high; sources differ"


_GO_ON = "go on reading both channels; leave the cover as it is"


def measure(answers: Answers) -> Measurement:
    """Return the offset of each channel, and its drift from cold to warm."""
    if answers.choice("point") == "emitter-resistor":
        raise BenchError(
            "millivolts across an emitter resistor are idle current, not offset.",
            "point of measurement",
            "Enter them under idle-current, or measure between the two speaker terminals.",
        )
    conditions = _conditions(answers)
    results: list[Result] = []
    settling = _settlings(answers)
    over_time = {one.name: one for one in settling}
    for name, channel in CHANNELS.items():
        value = answers.number(name)
        if value is None and name in over_time:
            value = over_time[name].end
            if value is None:
                results.append(_unsettled_result(over_time[name], conditions))
        if value is None:
            continue
        results.append(
            Result(
                f"offset_{name}_v",
                f"DC offset, {name}",
                value,
                "V",
                "direct voltage, " + answers.choice("point").replace("-", " "),
                (name, f"{name}_series"),
                conditions,
                channel=channel,
            )
        )
        cold = answers.number(f"{name}_cold")
        if cold is not None:
            results.append(
                Result(
                    f"drift_{name}_v",
                    f"offset drift from cold to warm, {name}",
                    value - cold,
                    "V",
                    "warm reading minus cold reading",
                    (name, f"{name}_cold"),
                    conditions,
                    channel=channel,
                )
            )
    if not results:
        raise BenchError("no reading was given.", "DC offset", "Give left, right or both.")
    figures: list[Figure] = []
    if settling:
        bound = _bound(answers)
        figures.append(settling_figure("warm_up", "DC offset, warm-up", settling, -bound, bound))
    if any(answers.number(name) for name in CHANNELS):
        figures.append(_figure(answers))
    return Measurement(tuple(results), tuple(figures))


def _settlings(answers: Answers) -> tuple[Settling, ...]:
    return settlings(answers, {name: f"{name}_series" for name in CHANNELS}, CHANNELS)


def _unsettled_result(one: Settling, conditions: dict[str, float | str]) -> Result:
    return Result(
        f"offset_{one.name}_v",
        f"DC offset, {one.name}",
        None,
        "V",
        "where it settles: two time constants fitted",
        (one.key,),
        conditions,
        channel=one.channel,
        reason=one.warm_up.reason,
    )


def _bound(answers: Answers) -> float:
    return answers.spec.offset.high_v if answers.spec and answers.spec.offset else HIGH_V


def _conditions(answers: Answers) -> dict[str, float | str]:
    conditions: dict[str, float | str] = {
        name: answers.choice(name) for name in ("limiter", "input_state", "volume", "load")
    }
    minutes = answers.number("minutes_since_on")
    if minutes is not None:
        conditions["minutes_since_on"] = minutes.value / 60
    return {name: value for name, value in conditions.items() if value != ""}


def _figure(answers: Answers) -> BarsFigure:
    bound = _bound(answers)
    bars = tuple(
        Bar(name.capitalize() + label, v.value * 1000, -bound * 1000, bound * 1000, channel)
        for name, channel in CHANNELS.items()
        for key, label in ((f"{name}_cold", ", cold"), (name, ""))
        if (v := answers.number(key)) is not None
    )
    return BarsFigure("offset", "DC offset", Axis("offset", "mV"), bars)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the manual's limit, or the convention where the manual is silent."""
    spec = answers.spec.offset if answers.spec else None
    conditions = [Condition("limiter", "out")]
    if spec is None:
        bound, source = HIGH_V, CONVENTION
    else:
        bound, source = spec.high_v, spec.source
        if spec.warm_minutes is not None and answers.number("minutes_since_on") is not None:
            conditions.append(Condition("minutes_since_on", low=spec.warm_minutes))
    return tuple(
        Limit(f"offset_{name}_v", -bound, bound, "V", source, tuple(conditions), spec is None)
        for name in CHANNELS
    )


def advise(findings: Findings) -> Counsel:
    """Return what an experienced restorer would say of these offsets."""
    answers = findings.answers
    values = {n: v for n in CHANNELS if (v := findings.value(f"offset_{n}_v")) is not None}
    faulty = [n for n, v in values.items() if abs(v.value) >= _fault_threshold(answers)]
    if faulty:
        return _fault(faulty, values, answers)
    moving = unsettled(_settlings(answers))
    if moving:
        words = tuple(Advice(AdviceKind(kind), reason) for kind, reason in moving)
        stop = any(word.kind is AdviceKind.STOP for word in words)
        step = "switch off and discharge before touching anything" if stop else _GO_ON
        return Counsel(words, next_step=step)
    if _zero_unproven(values, answers):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "A perfect zero may only mean that the protection relay is open: hear it "
            "close, or measure before it.",
            causes=(
                Cause(
                    "relay not closed", ("the reading is exactly zero",), (), "offset at the relay"
                ),
            ),
            next_step="prove that the relay has closed, then read again",
        )
    if answers.choice("limiter") == "in":
        return Counsel.of(
            AdviceKind.REMEASURE,
            "The series lamp is still in: the offset counts only on full mains.",
            next_step="take the limiter out and read the offset again",
        )
    outside = [n for n in values if findings.verdict(f"offset_{n}_v") is Verdict.FAIL]
    if any(findings.verdict(f"offset_{n}_v") is Verdict.NOT_COMPARABLE for n in values):
        return Counsel.of(
            AdviceKind.WAIT,
            "The manual's limit holds warm: let it run, then read.",
            next_step="read both channels again when it has warmed up",
        )
    if outside:
        return _outside(outside, values, answers)
    doubtful = [f for f in findings.all if f.verdict is Verdict.UNDECIDED]
    if any((f.probability or 0) < 0.5 for f in doubtful):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "At the limit, within measuring error: read it on a finer range, warm.",
            next_step="the same reading on the meter's finest range",
        )
    return _inside(values, answers)


def _fault_threshold(answers: Answers) -> float:
    rail = answers.number("rail")
    rail_v = rail.value if rail else (answers.spec.rail_v if answers.spec else None)
    return min(FAULT_V, NEAR_RAIL * abs(rail_v)) if rail_v else FAULT_V


def _fault(faulty: list[str], values: dict[str, Measured], answers: Answers) -> Counsel:
    shown = " and ".join(f"{n} {_volts(values[n])}" for n in faulty)
    if answers.spec and answers.spec.topology is Topology.CAPACITOR_COUPLED:
        return Counsel.of(
            AdviceKind.REMEASURE,
            f"{shown}: an output capacitor without a load shows its leakage. Put 1 kΩ "
            "across the terminals and read again; no speaker until then.",
            causes=(
                Cause(
                    "leaky output capacitor, or wiring",
                    (f"{shown} at the terminals",),
                    ("no load was connected",) if answers.choice("load") == "none" else (),
                    "offset with 1 kΩ across the terminals",
                ),
            ),
            next_step="read the offset with 1 kΩ across the terminals",
        )
    others = [n for n in values if n not in faulty]
    against = tuple(f"{n} is normal: compare stage by stage with it" for n in others)
    return Counsel.of(
        AdviceKind.STOP,
        f"DC fault: {shown} at the output. Switch off, no load and no speaker; find the "
        "open or shorted part with the power off, beside the good channel.",
        causes=(
            Cause(
                "DC fault: one half of the stage missing its drive, or a shorted part",
                (f"{shown} without a signal",),
                against,
                "junctions, feedback path and low-value resistors, power off and discharged",
            ),
        ),
        next_step="with the power off and discharged, compare junctions and low-value resistors",
    )


def _zero_unproven(values: dict[str, Measured], answers: Answers) -> bool:
    if answers.choice("point") == "before-relay" or answers.choice("relay") == "closed":
        return False
    return all(v.value == 0 for v in values.values())


def _adjustable(answers: Answers) -> str:
    said = answers.choice("trimmer")
    if said:
        return said
    spec = answers.spec.offset if answers.spec else None
    if spec is None or spec.adjustable is None:
        return "unknown"
    return "yes" if spec.adjustable else "no"


def _outside(outside: list[str], values: dict[str, Measured], answers: Answers) -> Counsel:
    shown = " and ".join(f"{n} {_volts(values[n])}" for n in outside)
    spec = answers.spec.offset if answers.spec else None
    both = len(values) == 2 and all(abs(v.value) > GOOD_V for v in values.values())
    cold = answers.number("minutes_since_on") is None
    if _adjustable(answers) == "yes":
        first = "Warm it up first, then trim" if cold else "Trim"
        which = "both channels" if both else f"the {outside[0]} channel"
        advice = [
            Advice(
                AdviceKind.ADJUST,
                f"{shown}: too much. {first} {which} toward zero in small steps; note the "
                "trimmer's position before you touch it, and leave the idle trimmer alone.",
            )
        ]
        if cold:
            advice.append(Advice(AdviceKind.WAIT, "Let it warm up before you trim anything."))
        return Counsel(
            tuple(advice),
            (Cause("offset trimmer out of place", (f"{shown}, and there is a trimmer",)),),
            "trim warm, then read offset and idle current again",
        )
    if both:
        cause = Cause(
            "input pair: unequal current gains, or its input resistance",
            ("both channels are off alike",),
            (),
            "volts across the base resistors of the input pair; match the pair's current gain",
        )
    else:
        cause = Cause(
            "a part in that channel: input pair, its coupling capacitor, a drifted resistor",
            ("only one channel is off",),
            (),
            "the same node voltages in both channels",
        )
    worst = max(abs(values[n].value) for n in outside)
    harmless = worst <= (EXCESSIVE_V if spec is None else HIGH_V)
    if harmless and spec is not None:
        reason = (
            f"{shown}: outside the manual's limit, and no danger to a speaker. Find the part while "
            "it is open; there is no trimmer to hide it with."
        )
    elif harmless:
        reason = (
            f"{shown}: more than most, and no danger to a speaker. Match the input pair when it is "
            "open anyway; do not redesign it."
        )
    else:
        reason = (
            f"{shown}: too much. Find the part before it drives a speaker; there is no trimmer to "
            "hide it with."
        )
    if _adjustable(answers) == "unknown" and not harmless:
        reason = f"{shown}: too much. Look for an offset trimmer; without one, find the part."
    kind = AdviceKind.PLAN if harmless else AdviceKind.REPLACE
    return Counsel.of(kind, reason, causes=(cause,), next_step=cause.next_reading)


def _inside(values: dict[str, Measured], answers: Answers) -> Counsel:
    worst = max(values.values(), key=lambda v: abs(v.value))
    shown = " and ".join(f"{n} {_volts(v)}" for n, v in values.items())
    if answers.spec and answers.spec.offset:
        reason = f"{shown}: inside the manual's limit. Record it and leave it alone."
    elif abs(worst.value) <= GOOD_V:
        reason = f"{shown}: good by any convention. Leave it alone."
    else:
        reason = f"{shown}: higher than most, and harmless. Record it and leave it alone."
    step = "idle current, then on to the signal"
    if any(v.value == 0 for v in values.values()) and answers.choice("relay") != "closed":
        step = "one channel reads exactly zero: make sure that the relay has closed on it"
    return Counsel.of(AdviceKind.LEAVE, reason, next_step=step)


def _volts(value: Measured) -> str:
    """Return an offset the way restorers say it: in millivolts, or in volts from one up."""
    volt = value.value
    return f"{volt:.3g} V" if abs(volt) >= 1 else f"{volt * 1000:.3g} mV"


def _reading(key: str, prompt: str, channel: Channel) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="mV",
        low=-100_000,
        high=100_000,
        channel=channel,
        probed_at="between the two speaker terminals",
        by_meter=True,
    )


CHECK = Check(
    id="dc-offset",
    title="DC offset",
    stage=Stage.DC_OFFSET,
    power_states=(PowerState.MAINS, PowerState.LIMITED, PowerState.REDUCED),
    why="Direct voltage at the output heats a speaker's voice coil and hints at a fault upstream. "
    "A few millivolts are normal and best left alone.",
    cautions=(
        "No speaker is connected until the offset is proven.",
        "Rails carry lethal or damaging voltage: clip the leads on with the unit unplugged and "
        "its rails measured below 2 V.",
        "In some designs the black terminal is not ground. Check before clipping to it.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Unplug, discharge, measure the rails below 2 V; clip the meter across one channel's "
        "speaker terminals, no load, volume at minimum, an unused input selected.",
        "Power up. Wait for the protection relay: an open relay reads a perfect zero.",
        "Read left, then right, cold; read both again when it is warm.",
    ),
    inputs=(
        _reading("left", "Left, warm", Channel.LEFT),
        _reading("right", "Right, warm", Channel.RIGHT),
        _reading("left_cold", "Left, cold", Channel.LEFT),
        _reading("right_cold", "Right, cold", Channel.RIGHT),
        *(
            SeriesInput(
                key=f"{name}_series",
                prompt=f"{name.capitalize()}, over time",
                unit="mV",
                low=-100_000,
                high=100_000,
                channel=channel,
                probed_at="between the two speaker terminals",
            )
            for name, channel in CHANNELS.items()
        ),
        ChoiceInput(
            key="point",
            prompt="Where was it measured?",
            choices=(
                Choice("speaker-terminals", "Between the two speaker terminals"),
                Choice("before-relay", "Before the protection relay"),
                Choice("emitter-resistor", "Across an emitter resistor"),
            ),
            default="speaker-terminals",
        ),
        NumberInput(
            key="minutes_since_on", prompt="Minutes since power-on", unit="min", low=0, high=100_000
        ),
        ChoiceInput(
            key="limiter",
            prompt="Is the series lamp or other limiter in?",
            choices=(Choice("out", "Out: full mains"), Choice("in", "In")),
            default="out",
        ),
        ChoiceInput(
            key="relay",
            prompt="Has the protection relay closed?",
            choices=(
                Choice("closed", "Yes, heard or measured"),
                Choice("unproven", "Not proven"),
                Choice("none", "There is no relay"),
            ),
        ),
        ChoiceInput(
            key="input_state",
            prompt="Input",
            choices=(
                Choice("shorted", "Shorted"),
                Choice("open", "Open"),
                Choice("source", "Source connected"),
            ),
        ),
        ChoiceInput(
            key="volume",
            prompt="Volume",
            choices=(
                Choice("minimum", "Minimum"),
                Choice("middle", "Middle"),
                Choice("maximum", "Maximum"),
            ),
        ),
        ChoiceInput(
            key="load",
            prompt="Load",
            choices=(
                Choice("none", "None"),
                Choice("dummy", "Dummy load"),
                Choice("1k", "1 kΩ"),
                Choice("speaker", "Speaker"),
            ),
        ),
        NumberInput(key="rail", prompt="Rail voltage", unit="V", low=5, high=200, by_meter=True),
        ChoiceInput(
            key="trimmer",
            prompt="Is there an offset trimmer?",
            choices=(Choice("yes", "Yes"), Choice("no", "No")),
        ),
    ),
    results=tuple(
        ResultKey(f"{what}_{name}_v", f"{title}, {name}", "V")
        for name in CHANNELS
        for what, title in (("offset", "DC offset"), ("drift", "offset drift from cold to warm"))
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="A few millivolts and about zero",
            source="common practice, no source",
            answers={"left": "5 mV", "right": "0.2 mV"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"offset_left_v": Verdict.PASS, "offset_right_v": Verdict.PASS},
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
        ),
        Example(
            title="150 mV against a manual's 10 mV, with trimmers",
            source="diyaudio.com/community/threads/345209",
            answers={"left": "150 mV", "right": "150 mV"},
            spec='maker = "Example"\nmodel = "One"\n[offset]\nlimit = "10 mV"\nadjustable = true\n'
            'source = "service manual"\n',
            advice=(AdviceKind.ADJUST, AdviceKind.WAIT),
            verdicts={"offset_left_v": Verdict.FAIL, "offset_right_v": Verdict.FAIL},
            never=(AdviceKind.STOP, AdviceKind.LEAVE),
            cause="offset trimmer out of place",
        ),
        Example(
            title="76 mV and 45 mV without a trimmer",
            source="diyaudio.com thread 40721 (2004-09)",
            answers={"left": "76 mV", "right": "45 mV", "trimmer": "no"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
            cause="input pair: unequal current gains, or its input resistance",
        ),
        Example(
            title="+40 V at the output with ±42 V rails",
            source="ameblo.jp entry 12411295586",
            answers={"left": "40 V", "right": "12 mV", "rail": "42 V"},
            advice=(AdviceKind.STOP,),
            verdicts={"offset_left_v": Verdict.FAIL},
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause="DC fault: one half of the stage missing its drive, or a shorted part",
        ),
        Example(
            title="A perfect zero on both channels",
            source="common practice, no source",
            answers={"left": "0.0 mV", "right": "0.0 mV"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE,),
            cause="relay not closed",
        ),
        Example(
            title="12 V at the terminals of a capacitor-coupled amplifier, no load",
            source="diyaudio 204026 (2012-01-08)",
            answers={"left": "12 V", "right": "12 V", "load": "none"},
            spec='maker = "Example"\nmodel = "Two"\ntopology = "capacitor-coupled"\n',
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
        ),
    ),
    sources=(
        "Bands: reference.com/technology/measure-dc-offset-9990455b88a15198; "
        "hudsonvalleyhifi.com/tutorials-and-tech-support/checking-for-dc-offset; "
        "vintagehifi.dk/forum/viewtopic.php?f=556&t=1384; diyaudio.com/community/threads/352",
        "Localising a high offset: diyaudio.com thread 40721",
        "Capacitor-coupled outputs: diyaudio 204026",
        "Half the rail means a missing half: common practice, no source",
    ),
    needs=(4, 5, 6, 7, 8, 55),
    before_closing="offset inside its limit, warm, both channels: its trimmer lies inside",
)

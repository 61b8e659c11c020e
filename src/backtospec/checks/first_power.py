"""First power on a limiter: what the lamp, the rails and the output say before full mains."""

from __future__ import annotations

from collections.abc import Callable

from backtospec.analysis import limiter
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    Check,
    Choice,
    ChoiceInput,
    Clue,
    Counsel,
    Example,
    Figure,
    Findings,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    SeriesFigure,
    SeriesInput,
    Stage,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, write
from backtospec.records import Channel, Condition, Limit, PowerState, SpecSheet, Topology
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
RAILS = ("rail_plus", "rail_minus")
COMMON = "common practice, no source"
MEMORY = "from memory"
LAMP = "antiqueradio.org/dimbulb.htm; technical note tn29a (Feb 2022)"

FAULT_V, NEAR_RAIL, SETTLED_V = 1.0, 0.5, 0.1
"""An output above the first, or above that share of its rail, is a fault in any power state; below
the last it has settled (common practice, no source)."""

UNEVEN_PERCENT, BROKEN_PERCENT = 10.0, 25.0
"""Rails further apart than this are looked into; further than the second, power goes off
(common practice, no source)."""

OVERSIZED = 5.0
"""A lamp of more than this many times the draw limits little (common practice, no source)."""

SAGGED = 0.8
"""A rail that falls below this share of its own best is being pulled down (a working rule)."""

SHORT = "a short: output device, rectifier, filter capacitor or winding"
SMALL_LAMP = "lamp too small for the draw"
CHARGING = "filter capacitors charging"
NO_CURRENT = "no current flows: fuse, switch, lead, or the lamp itself"
ONE_RAIL = "one rail missing its half: fuse, diode, winding, or a part that loads it"
DC_FAULT = "DC fault before the output stage, or a shorted output device"
PUMPING = "something pumps: protection cycling, slow oscillation, or a starved regulator"


def _unfit(spec: SpecSheet) -> str:
    if spec.topology is Topology.SWITCHING_SUPPLY:
        return "a switching supply pulls more current the lower its volts: no lamp, no slow ramp"
    return ""


def _topology(answers: Answers) -> str:
    spec = answers.spec.topology if answers.spec else None
    return answers.choice("topology") or (spec.value if spec else "")


def _readings(answers: Answers, key: str) -> tuple[tuple[float, float], ...]:
    series = answers.series(f"{key}_series")
    return series.readings() if series else ()


def _latest(answers: Answers, key: str) -> Measured | None:
    """Return the number typed, else the last one of its series."""
    number = answers.number(key)
    if number is not None:
        return number
    readings = _readings(answers, key)
    return Measured(readings[-1][1]) if readings else None


def measure(answers: Answers) -> Measurement:
    """Return the rails, how even they are, the offset, and what the lamp should be."""
    results: list[Result] = []
    conditions: dict[str, float | str] = {"limiter": "in"}

    def add(key: str, value: Measured | None, method: str, *inputs: str) -> None:
        if value is not None:
            title, unit = RESULTS[key]
            channel = next((c for n, c in CHANNELS.items() if f"_{n}_" in key), None)
            results.append(
                Result(key, title, value, unit, method, inputs, conditions, channel=channel)
            )

    plus, minus = (_latest(answers, key) for key in RAILS)
    add("rail_plus_v", plus, "direct voltage", "rail_plus", "rail_plus_series")
    add("rail_minus_v", minus, "direct voltage", "rail_minus", "rail_minus_series")
    if plus is not None and minus is not None and (plus.value or minus.value):
        apart = limiter.uneven_percent(plus, minus)
        add("rails_uneven_percent", apart, "difference ÷ the larger", *RAILS)
    if (ripple := answers.number("ripple")) is not None:
        add("ripple_v", ripple, "alternating voltage on the rail", "ripple")
    for name in CHANNELS:
        add(f"offset_{name}_v", _latest(answers, name), "direct voltage at the output", name)
    before, after = answers.number("mains"), answers.number("mains_after")
    if before is not None and after is not None:
        add("mains_share_percent", after / before * 100, "after ÷ before the lamp", "mains_after")
    if (draw := answers.number("expected_draw")) is not None:
        chosen = limiter.choose_lamp(draw.value)
        add("lamp_w", Measured(chosen), "next usual lamp at or above the draw", "expected_draw")
    seen = any(answers.choice(key) for key in ("bulb_state", "smell"))
    if not results and not seen:
        raise BenchError(
            "nothing was noted.",
            "first power",
            "Give bulb_state, rail_plus and rail_minus, or left and right.",
        )
    return Measurement(tuple(results), _figures(answers))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    found: list[Figure] = []
    for key, title, keys, unit, scale in (
        ("rails", "Rails coming up", RAILS, "V", 1.0),
        ("offset", "Output while it comes up", tuple(CHANNELS), "mV", 1000.0),
    ):
        traces = tuple(
            Trace(
                one.replace("_", " "),
                tuple(t for t, _ in readings),
                tuple(v * scale for _, v in readings),
                CHANNELS.get(one),
                points=True,
            )
            for one in keys
            if (readings := _readings(answers, one))
        )
        marks = (Mark("settled", "y", SETTLED_V * 1000), Mark("settled", "y", -SETTLED_V * 1000))
        if traces:
            x, y = Axis("time since power-on", "s"), Axis("voltage", unit)
            found.append(
                SeriesFigure(key, title, x, y, traces, (), marks if key == "offset" else ())
            )
    return tuple(found)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the limits: even rails; a fault at the output counts always, an offset never here."""
    found = [
        Limit("rails_uneven_percent", None, UNEVEN_PERCENT, "%", f"even rails, {COMMON}", (), True)
    ]
    fault = _fault_v(answers)
    for name in CHANNELS:
        value = _latest(answers, name)
        key = f"offset_{name}_v"
        if value is not None and abs(value.value) >= fault:
            found.append(Limit(key, -fault, fault, "V", f"fault, in any state, {COMMON}", (), True))
        else:
            out = (Condition("limiter", "out"),)
            source = f"settled, counts on full mains only, {COMMON}"
            found.append(Limit(key, -SETTLED_V, SETTLED_V, "V", source, out, True))
    return tuple(found)


def _fault_v(answers: Answers) -> float:
    rails = [abs(v.value) for v in (_latest(answers, key) for key in RAILS) if v is not None]
    if not rails and answers.spec and answers.spec.rail_v:
        rails = [abs(answers.spec.rail_v)]
    if not rails or max(rails) <= 0.5:
        return FAULT_V
    return min(FAULT_V, NEAR_RAIL * max(rails))


def _faulty(answers: Answers) -> list[str]:
    fault = _fault_v(answers)
    found = ((name, _latest(answers, name)) for name in CHANNELS)
    return [name for name, value in found if value is not None and abs(value.value) >= fault]


def _sagging(answers: Answers) -> list[str]:
    """Return the rails that came up and were then pulled down."""
    found = []
    for key in RAILS:
        sizes = [abs(v) for _, v in _readings(answers, key)]
        if len(sizes) > 2 and sizes[-1] < SAGGED * max(sizes):
            found.append(key.replace("_", " "))
    return found


def _unevenness(findings: Findings) -> float:
    apart = findings.value("rails_uneven_percent")
    return apart.value if apart is not None else 0.0


def _lamp_too_small(answers: Answers) -> bool:
    bulb, draw = answers.number("bulb"), answers.number("expected_draw")
    return bulb is not None and draw is not None and bulb.value < draw.value


def _in_order(findings: Findings) -> bool:
    """Return whether rails and output were read and are as they should be on a limiter."""
    answers = findings.answers
    rails = [_latest(answers, key) for key in RAILS]
    outputs = [v for v in (_latest(answers, name) for name in CHANNELS) if v is not None]
    up = all(v is not None and abs(v.value) > 2 for v in rails)
    return up and bool(outputs) and not _faulty(answers) and _unevenness(findings) <= UNEVEN_PERCENT


def advise(findings: Findings) -> Counsel:
    """Return whether to switch off, to look again, or to go on to full mains."""
    answers = findings.answers
    stops = _stops(findings)
    if stops:
        advice = tuple(Advice(AdviceKind.STOP, reason) for reason in stops)
        return Counsel(advice, (), "off, discharge, measure below 2 V; then junctions, power off")
    again = _again(findings)
    if again:
        return Counsel(tuple(again), (), _next(findings))
    state = answers.choice("bulb_state").replace("-", " ")
    seen = {"flash then dim": "Flash, then dim: the capacitors charged"}.get(state, state)
    parts = [seen.capitalize()] if seen else []
    plus, minus = (_latest(answers, key) for key in RAILS)
    if plus is not None and minus is not None:
        parts.append(f"rails {write(plus.value, 'V')} and {write(minus.value, 'V')}, even")
    shown = f"{', '.join(parts) or 'nothing wrong seen'}. "
    shown = shown[0].upper() + shown[1:]
    reason = (
        f"{shown}Go on to full mains; idle current, offset and power are not judged while the "
        "limiter is in, and no trimmer is turned."
    )
    return Counsel.of(AdviceKind.LEAVE, reason, next_step=_next(findings))


def _stops(findings: Findings) -> list[str]:
    """Return every reason to switch off at once."""
    answers = findings.answers
    found = []
    if (smell := answers.choice("smell")) in ("smoke", "smell", "hot"):
        words = {"smoke": "Smoke", "smell": "A burning smell", "hot": "A part too hot to touch"}
        found.append(f"{words[smell]}: switch off, pull the plug.")
    faulty = _faulty(answers)
    if faulty and _topology(answers) != Topology.CAPACITOR_COUPLED.value:
        values = ((n, _latest(answers, n)) for n in faulty)
        shown = " and ".join(f"{n} {write(v.value, 'V')}" for n, v in values if v is not None)
        found.append(
            f"DC fault: {shown} at the output. Switch off, no load, no speaker; nothing is to be "
            "adjusted."
        )
    if answers.choice("bulb_state") == "stays-bright" and not (
        _lamp_too_small(answers) and _in_order(findings)
    ):
        found.append(
            "The lamp stays bright: a short or a heavy draw. Switch off, do not bypass it."
        )
    if _unevenness(findings) > BROKEN_PERCENT:
        found.append(
            f"The rails differ by {_unevenness(findings):.0f} %: one lacks its half or is loaded. "
            "Switch off."
        )
    if sagging := _sagging(answers):
        found.append(f"{' and '.join(sagging).capitalize()} came up and fell again. Switch off.")
    ramp = answers.choice("limiter_kind") in ("variable-transformer", "both")
    if _topology(answers) == Topology.V_FET.value and ramp:
        found.append(
            "A V-FET stage conducts without its gate bias: no slow ramp. Switch off; prove the "
            "bias supply first, then power it at once, through a lamp."
        )
    if _topology(answers) == Topology.SWITCHING_SUPPLY.value:
        found.append(
            "A switching supply must not be starved: no lamp, no slow ramp. Use a supply with a "
            "current limit, as its manual says."
        )
    return found


def _again(findings: Findings) -> list[Advice]:
    """Return what keeps it from full mains without being a danger."""
    answers, kind = findings.answers, AdviceKind.REMEASURE
    found: list[Advice] = []
    state, rails = answers.choice("bulb_state"), [_latest(answers, key) for key in RAILS]
    if state == "stays-bright":
        found.append(
            Advice(
                kind,
                "The lamp is smaller than the draw: it lights anyway and starves the "
                "amplifier. Take a larger one and look again.",
            )
        )
    if state == "pulsing":
        found.append(
            Advice(
                kind,
                "The lamp pulses: do not go to full mains. Find what pumps; a larger lamp "
                "tells a starved supply from a fault.",
            )
        )
    if state == "dark" and not any(v is not None and abs(v.value) > 2 for v in rails):
        found.append(
            Advice(
                kind,
                "The lamp stays dark: no current flows. Check fuse, switch, lead and the "
                "lamp itself, then read the rails.",
            )
        )
    if _faulty(answers):  # only a capacitor-coupled output gets here
        found.append(
            Advice(
                kind,
                "An output capacitor without a load shows its leakage: put 1 kΩ across "
                "the terminals and read again; no speaker until then.",
            )
        )
    apart = _unevenness(findings)
    if apart > UNEVEN_PERCENT:
        found.append(
            Advice(kind, f"The rails differ by {apart:.0f} %: find out why before full mains.")
        )
    ripple, plus = answers.number("ripple"), rails[0]
    if ripple is not None and plus is not None and ripple.value > 0.1 * abs(plus.value):
        found.append(Advice(kind, "Much ripple for so little current: an open filter capacitor?"))
    for name in CHANNELS:
        value = _latest(answers, name)
        if value is not None and SETTLED_V < abs(value.value) < _fault_v(answers):
            shown = f"{name.capitalize()} {write(value.value, 'V')}"
            reason = f"{shown}: not settled yet. Watch it; it is judged on full mains only."
            found.append(Advice(AdviceKind.WAIT, reason))
    return found


def _next(findings: Findings) -> str:
    answers = findings.answers
    bulb, draw = answers.number("bulb"), answers.number("expected_draw")
    if bulb and draw and bulb.value > OVERSIZED * draw.value:
        chosen = limiter.choose_lamp(draw.value)
        return f"a lamp of {chosen:.0f} W: {write(bulb.value, 'W')} would feed a short for long"
    missing = []
    if any(_latest(answers, key) is None for key in RAILS):
        missing.append("both rails")
    if all(_latest(answers, name) is None for name in CHANNELS):
        missing.append("both outputs")
    if not answers.choice("bulb_state"):
        missing.append("the lamp")
    if missing:
        return f"not noted yet: {', '.join(missing)}"
    return "take the limiter out, full mains, no load: rails against the chart, then offset"


def _state(*states: str) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        found = findings.answers.choice("bulb_state")
        return found in states if found else None

    return seen


def _uneven_seen(findings: Findings) -> bool | None:
    if findings.value("rails_uneven_percent") is None:
        return None
    return _unevenness(findings) > UNEVEN_PERCENT


def _fault_seen(findings: Findings) -> bool | None:
    known = any(_latest(findings.answers, name) is not None for name in CHANNELS)
    return bool(_faulty(findings.answers)) if known else None


def _small_seen(findings: Findings) -> bool | None:
    answers = findings.answers
    if answers.number("bulb") is None or answers.number("expected_draw") is None:
        return None
    return _lamp_too_small(answers)


def _bright_and(condition: Callable[[Findings], bool | None]) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        bright = findings.answers.choice("bulb_state") == "stays-bright"
        return condition(findings) if bright else None

    return seen


def _relay_open(findings: Findings) -> bool | None:
    relay = findings.answers.choice("relay")
    return relay == "open" if relay else None


RULES = (
    Rule(
        SHORT,
        (
            Clue(_state("stays-bright"), "the lamp stays bright", "the lamp went dim", 2.0),
            Clue(lambda f: f.answers.choice("smell") in ("smoke", "hot") or None, "it gets hot"),
            Clue(_bright_and(_small_seen), "", "the lamp is smaller than the draw anyway"),
        ),
        "power off: junctions of the output devices and rectifier, ohms from rail to ground",
        LAMP,
    ),
    Rule(
        SMALL_LAMP,
        (
            Clue(_bright_and(_small_seen), "the lamp is rated below the expected draw", "", 1.5),
            Clue(_bright_and(_in_order), "rails and outputs are in order", "the rails are not up"),
        ),
        "a lamp of the expected draw or the next larger",
        LAMP,
    ),
    Rule(
        CHARGING,
        (Clue(_state("flash-then-dim"), "a flash, then dim", "no flash that dims"),),
        "both rails a minute later",
        LAMP,
    ),
    Rule(
        NO_CURRENT,
        (Clue(_state("dark"), "the lamp stays dark", "the lamp lights"),),
        "volts across the lamp and at the primary; the fuse in ohms, unplugged",
        COMMON,
    ),
    Rule(
        PUMPING,
        (Clue(_state("pulsing"), "the lamp pulses", ""),),
        "the rails while it pulses; the relay's clicks; a larger lamp",
        COMMON,
    ),
    Rule(
        ONE_RAIL,
        (
            Clue(_uneven_seen, "the rails are uneven", "the rails are even", 2.0),
            Clue(lambda f: bool(_sagging(f.answers)) or None, "a rail came up and fell"),
        ),
        "alternating volts of both half windings; ohms from each rail to ground, power off",
        COMMON,
    ),
    Rule(
        DC_FAULT,
        (
            Clue(_fault_seen, "an output stands off ground", "both outputs are near zero", 2.0),
            Clue(_relay_open, "the relay stays open", "the relay closed"),
        ),
        "power off: emitter resistors, bias string, then node voltages beside the good channel",
        "ameblo.jp entry 12411295586; music-electronics-forum.com thread 3746",
    ),
)


def _volts(key: str, prompt: str, unit: str, span: float, probed_at: str) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=-span,
        high=span,
        channel=CHANNELS.get(key),
        probed_at=probed_at,
        by_meter=True,
        assumed_counts=1,  # typed volts are rounded to the last digit
    )


def _over_time(key: str, prompt: str, unit: str, span: float, probed_at: str) -> SeriesInput:
    return SeriesInput(
        key=f"{key}_series",
        prompt=f"{prompt}, over time",
        unit=unit,
        low=-span,
        high=span,
        channel=CHANNELS.get(key),
        probed_at=probed_at,
    )


def _choose(key: str, prompt: str, *choices: tuple[str, str]) -> ChoiceInput:
    return ChoiceInput(key=key, prompt=prompt, choices=tuple(Choice(v, t) for v, t in choices))


RAIL_AT, OUTPUT_AT = "rail to ground, at the filter capacitor", "before the protection relay"
RESULTS = {
    "rail_plus_v": ("positive rail on the limiter", "V"),
    "rail_minus_v": ("negative rail on the limiter", "V"),
    "rails_uneven_percent": ("rails apart", "%"),
    "ripple_v": ("ripple on the rail", "V"),
    "offset_left_v": ("output, left", "V"),
    "offset_right_v": ("output, right", "V"),
    "mains_share_percent": ("mains behind the lamp", "%"),
    "lamp_w": ("lamp that suits the draw", "W"),
}
EVEN = {"rail_plus": "38 V", "rail_minus": "-37.6 V"}
QUIET = {"left": "12 mV", "right": "-8 mV"}

CHECK = Check(
    id="first-power",
    title="First power on a limiter",
    stage=Stage.FIRST_POWER,
    power_states=(PowerState.LIMITED, PowerState.REDUCED),
    why="A series lamp shows a short before it costs an output stage. What starves the amplifier "
    "also falsifies its readings, so nothing but danger is judged here.",
    cautions=(
        "Eyes protected, one hand, no load, no speaker. Leads clipped on while it was safe.",
        "A variable transformer limits volts, not current, and does not isolate.",
        "STOP counts whatever the limiter: smoke, a bright lamp, an output near a rail.",
        "V-FET stages and switching supplies must not be brought up slowly.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Lamp in series, about as many watts as the amplifier draws idle; 25 W for a first start.",
        "Clip the meter to a rail and, before the relay, to an output, discharged and unplugged.",
        "Switch on, watch the lamp: a flash that dims is normal. Note the rails every 30 s.",
        "Read both rails, then both outputs. Then take the limiter out.",
    ),
    inputs=(
        _choose(
            "bulb_state",
            "What did the lamp do?",
            ("flash-then-dim", "Flash, then dim"),
            ("dim-glow", "Dim glow"),
            ("stays-bright", "Stays bright"),
            ("dark", "Dark"),
            ("pulsing", "Pulsing"),
        ),
        NumberInput(key="bulb", prompt="Lamp", unit="W", low=5, high=2000),
        NumberInput(
            key="expected_draw", prompt="Draw to be expected, idle", unit="W", low=1, high=2000
        ),
        _choose(
            "limiter_kind",
            "What limits it?",
            ("series-lamp", "Series lamp"),
            ("variable-transformer", "Variable transformer"),
            ("both", "Both"),
        ),
        _volts("rail_plus", "Positive rail", "V", 300, RAIL_AT),
        _volts("rail_minus", "Negative rail", "V", 300, RAIL_AT),
        _over_time("rail_plus", "Positive rail", "V", 300, RAIL_AT),
        _over_time("rail_minus", "Negative rail", "V", 300, RAIL_AT),
        _volts("left", "Left output", "mV", 300_000, OUTPUT_AT),
        _volts("right", "Right output", "mV", 300_000, OUTPUT_AT),
        _over_time("left", "Left output", "mV", 300_000, OUTPUT_AT),
        _over_time("right", "Right output", "mV", 300_000, OUTPUT_AT),
        NumberInput(key="ripple", prompt="Ripple", unit="V", low=0, high=100, by_meter=True),
        NumberInput(key="mains", prompt="Mains", unit="V", low=50, high=280, by_meter=True),
        NumberInput(
            key="mains_after",
            prompt="Mains behind the lamp",
            unit="V",
            low=0,
            high=280,
            by_meter=True,
        ),
        _choose(
            "smell",
            "Smell, smoke, heat?",
            ("none", "None"),
            ("smell", "Smell"),
            ("smoke", "Smoke"),
            ("hot", "A part too hot to touch"),
        ),
        _choose("relay", "Protection relay", ("closed", "Closed"), ("open", "Stays open")),
        _choose(
            "topology",
            "Kind, where it has no spec sheet",
            *((t.value, t.value.replace("-", " ")) for t in Topology),
        ),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="A flash, then dim, even rails",
            source=LAMP,
            answers={"bulb_state": "flash then dim", "bulb": "60 W"} | EVEN | QUIET,
            advice=(AdviceKind.LEAVE,),
            verdicts={"offset_left_v": Verdict.NOT_COMPARABLE},
            never=(AdviceKind.STOP, AdviceKind.ADJUST),
            cause=CHARGING,
        ),
        Example(
            title="The lamp stays bright",
            source=LAMP,
            answers={"bulb_state": "stays bright", "bulb": "60"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=SHORT,
        ),
        Example(
            title="Bright, smaller than the draw, all else in order",
            source=LAMP,
            answers={"bulb_state": "stays bright", "bulb": "25 W", "expected_draw": "90 W"}
            | EVEN
            | QUIET,
            advice=(AdviceKind.REMEASURE,),
            values={"lamp_w": (100, 0)},
            never=(AdviceKind.STOP, AdviceKind.LEAVE),
            cause=SMALL_LAMP,
        ),
        Example(
            title="Bright and smaller than the draw, but nothing else known",
            source=COMMON,
            answers={"bulb_state": "stays bright", "bulb": "25 W", "expected_draw": "90 W"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="+40 V at the left output, rails ±42 V, relay open",
            source="ameblo.jp entry 12411295586",
            answers={"rail_plus": "42", "rail_minus": "-42", "left": "40 V", "relay": "open"},
            advice=(AdviceKind.STOP,),
            verdicts={"offset_left_v": Verdict.FAIL},
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=DC_FAULT,
        ),
        Example(
            title="−27.6 V at an output, rails ±29 V, though the lamp went dim",
            source="music-electronics-forum.com thread 3746",
            answers={"bulb_state": "flash-then-dim", "rail_plus": "29 V", "rail_minus": "-29 V"}
            | {"right": "-27.6 V"},
            advice=(AdviceKind.STOP,),
            verdicts={"offset_right_v": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=DC_FAULT,
        ),
        Example(
            title="One rail missing",
            source=COMMON,
            answers={"bulb_state": "dim-glow", "rail_plus": "35 V", "rail_minus": "-4 V"},
            advice=(AdviceKind.STOP,),
            verdicts={"rails_uneven_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=ONE_RAIL,
        ),
        Example(
            title="Rails a little uneven",
            source=COMMON,
            answers={"bulb_state": "dim-glow", "rail_plus": "35 V", "rail_minus": "-30 V"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.STOP),
            cause=ONE_RAIL,
        ),
        Example(
            title="Rails logged, rising evenly; the output still settling",
            source=COMMON,
            answers={
                "bulb_state": "flash-then-dim",
                "rail_plus_series": "10 s 18 V; 30 s 29 V; 60 s 33 V",
                "rail_minus_series": "10 s -17.8 V; 30 s -28.7 V; 60 s -32.8 V",
                "left_series": "10 s 600 mV; 30 s 320 mV; 60 s 180 mV",
                "right_series": "10 s 200 mV; 30 s 80 mV; 60 s 30 mV",
            },
            advice=(AdviceKind.WAIT,),
            never=(AdviceKind.STOP, AdviceKind.ADJUST),
        ),
        Example(
            title="A rail that came up and fell",
            source=COMMON,
            answers={
                "rail_plus_series": "10 s 18 V; 30 s 29 V; 60 s 19 V",
                "rail_minus_series": "10 s -18 V; 30 s -29 V; 60 s -20 V",
            },
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Dark, and no rails",
            source=COMMON,
            answers={"bulb_state": "dark", "rail_plus": "0 V", "rail_minus": "0 V"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.STOP),
            cause=NO_CURRENT,
        ),
        Example(
            title="Smoke, whatever else",
            source=COMMON,
            answers={"bulb_state": "dim-glow", "smell": "smoke"} | EVEN | QUIET,
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="V-FET on a variable transformer",
            source=MEMORY,
            answers={"limiter_kind": "variable-transformer", "topology": "v-fet"} | EVEN,
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="A switching supply on the lamp",
            source=MEMORY,
            spec='maker = "Example"\nmodel = "Three"\ntopology = "switching-supply"\n',
            answers={"bulb_state": "pulsing"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=PUMPING,
        ),
    ),
    sources=(
        f"What the lamp says, and its size: {LAMP}",
        "A variable transformer limits volts, not current: wattsabundant.com/id3.html",
        "An output near a rail: ameblo.jp entry 12411295586; "
        "music-electronics-forum.com thread 3746",
        f"Even rails within 10 %, faults from 1 V: {COMMON}",
    ),
    rules=RULES,
    needs=(8, 12, 45),
    unfit=_unfit,
    covers_off=True,
)

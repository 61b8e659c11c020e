"""DC offset: the direct voltage left at the speaker terminals without a signal."""

from __future__ import annotations

from backtospec.check import (
    AdviceKind,
    Check,
    Choice,
    ChoiceInput,
    Example,
    NumberInput,
    ResultKey,
    SeriesInput,
    Stage,
    TableInput,
)
from backtospec.check.offset_advice import advise
from backtospec.check.offset_causes import (
    CAPACITOR_PAGE,
    CHARGE,
    COUPLING,
    DYNAMIC,
    INPUT,
    INPUT_PAGE,
    OUTPUT_CAPACITOR,
    PAIR,
    PAIR_PAGE,
    PART,
    RAIL,
    RELAY,
    RULES,
    SOURCE,
    SOURCE_PAGE,
    TRIMMER,
    UPSTREAM,
    WIRING,
)
from backtospec.check.offset_reading import CHANNELS, RESULTS, limits, measure
from backtospec.records import Channel, PowerState, Topology
from backtospec.verdict import Verdict

AT_TERMINALS = "between the two speaker terminals"
TEN_MILLIVOLTS = """\
maker = "Example"
model = "One"
[offset]
limit = "10 mV"
adjustable = true
source = "service manual"
"""
CAPACITOR_COUPLED = 'maker = "Example"\nmodel = "Two"\ntopology = "capacitor-coupled"\n'


def _reading(key: str, prompt: str, channel: Channel | None = None, **more: float) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="mV",
        low=more.get("low", -100_000),
        high=more.get("high", 100_000),
        channel=channel,
        probed_at=AT_TERMINALS,
        by_meter=True,
    )


def _rail(key: str, prompt: str, low: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit="V", low=low, high=200, by_meter=True)


def _choose(
    key: str, prompt: str, *choices: tuple[str, str], default: str | None = None
) -> ChoiceInput:
    offered = tuple(Choice(value, text) for value, text in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


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
        "Where it is high: input open and shorted, volume at both ends. Behind an output "
        "capacitor: with 1 kΩ across the terminals.",
    ),
    inputs=(
        _reading("left", "Left, warm", Channel.LEFT),
        _reading("right", "Right, warm", Channel.RIGHT),
        _reading("left_cold", "Left, cold", Channel.LEFT),
        _reading("right_cold", "Right, cold", Channel.RIGHT),
        _reading("left_loaded", "Left, with a load", Channel.LEFT),
        _reading("right_loaded", "Right, with a load", Channel.RIGHT),
        *(
            SeriesInput(
                key=f"{name}_series",
                prompt=f"{name.capitalize()}, over time",
                unit="mV",
                low=-100_000,
                high=100_000,
                channel=channel,
                probed_at=AT_TERMINALS,
            )
            for name, channel in CHANNELS.items()
        ),
        TableInput(
            key="conditions",
            prompt="Input and volume at their ends",
            columns=(
                ChoiceInput(
                    key="input",
                    prompt="Input",
                    required=True,
                    choices=(Choice("open", "Open"), Choice("shorted", "Short")),
                ),
                ChoiceInput(
                    key="volume",
                    prompt="Volume",
                    required=True,
                    choices=(Choice("min", "Minimum"), Choice("max", "Maximum")),
                ),
                _reading("left", "Left", Channel.LEFT),
                _reading("right", "Right", Channel.RIGHT),
            ),
        ),
        _reading("limit", "The manual's limit, where there is no sheet", low=0.1, high=10_000),
        _choose(
            "point",
            "Where was it measured?",
            ("speaker-terminals", "Between the two speaker terminals"),
            ("before-relay", "Before the protection relay"),
            ("output-to-ground", "Between output and ground"),
            ("centre", "At the centre, before an output capacitor"),
            ("emitter-resistor", "Across an emitter resistor"),
            default="speaker-terminals",
        ),
        NumberInput(
            key="minutes_since_on", prompt="Minutes since power-on", unit="min", low=0, high=100_000
        ),
        _choose(
            "limiter",
            "Is the series lamp or other limiter in?",
            ("out", "Out: full mains"),
            ("in", "In"),
            default="out",
        ),
        _choose(
            "relay",
            "Has the protection relay closed?",
            ("closed", "Yes, heard or measured"),
            ("open", "No, it stays open"),
            ("trips", "Trips only with a signal"),
            ("unproven", "Not proven"),
            ("none", "There is no relay"),
        ),
        _choose(
            "input_state",
            "Input",
            ("shorted", "Shorted"),
            ("open", "Open"),
            ("source", "Source connected"),
        ),
        _choose(
            "volume",
            "Volume",
            ("minimum", "Minimum"),
            ("middle", "Middle"),
            ("maximum", "Maximum"),
        ),
        _choose(
            "load",
            "Load",
            ("none", "None"),
            ("dummy", "Dummy load"),
            ("1k", "1 kΩ"),
            ("speaker", "Speaker"),
        ),
        NumberInput(
            key="load_ohm", prompt="Load resistance", unit="Ω", low=1, high=1e5, by_meter=True
        ),
        _reading(
            "source_dc", "Direct voltage of the source or generator", low=-10_000, high=10_000
        ),
        _rail("rail", "Rail, or a single supply", 5),
        _rail("rail_plus", "Positive rail", -200),
        _rail("rail_minus", "Negative rail", -200),
        _choose(
            "output_stage",
            "Output devices, emitter resistors, bias string, read with the power off",
            ("as-expected", "As expected"),
            ("otherwise", "Not as expected"),
            ("unread", "Not read"),
        ),
        _choose("trimmer", "Is there an offset trimmer?", ("yes", "Yes"), ("no", "No")),
        _choose(
            "topology",
            "Kind, where it has no spec sheet",
            *((t.value, t.value.replace("-", " ")) for t in Topology),
        ),
    ),
    results=tuple(
        ResultKey(key.format(name=name), f"{title}, {name}", unit)
        for name in CHANNELS
        for key, (title, unit) in RESULTS.items()
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
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
            spec=TEN_MILLIVOLTS,
            advice=(AdviceKind.ADJUST, AdviceKind.WAIT),
            verdicts={"offset_left_v": Verdict.FAIL, "offset_right_v": Verdict.FAIL},
            never=(AdviceKind.STOP, AdviceKind.LEAVE),
            cause=TRIMMER,
        ),
        Example(
            title="The same without a sheet, the limit typed from the manual",
            source="diyaudio.com/community/threads/345209",
            answers={"left": "0.15 V", "limit": "10 mV", "trimmer": "yes"},
            advice=(AdviceKind.ADJUST, AdviceKind.WAIT),
            verdicts={"offset_left_v": Verdict.FAIL},
            never=(AdviceKind.STOP, AdviceKind.LEAVE),
            cause=TRIMMER,
        ),
        Example(
            title="Just at the manual's limit",
            source="common practice, no source",
            answers={"left": "9.9 mV", "limit": "10 mV", "relay": "closed"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"offset_left_v": Verdict.UNDECIDED},
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="76 mV and 45 mV without a trimmer",
            source=PAIR_PAGE,
            answers={"left": "76 mV", "right": "45 mV", "trimmer": "no"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
            cause=PAIR,
        ),
        Example(
            title="Stuck at 40 mV",
            source="diyaudio 330286",
            answers={"left": "40 mV"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"offset_left_v": Verdict.PASS},
            never=(AdviceKind.ADJUST, AdviceKind.REPLACE, AdviceKind.PLAN),
        ),
        Example(
            title="One channel at 90 mV, the other quiet",
            source="common practice, no source",
            answers={"left": "4 mV", "right": "90 mV"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
            cause=PART,
        ),
        Example(
            title="+40 V at the output with ±42 V rails",
            source="ameblo.jp entry 12411295586",
            answers={"left": "40 V", "right": "12 mV", "rail": "42 V"},
            advice=(AdviceKind.STOP,),
            verdicts={"offset_left_v": Verdict.FAIL},
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=UPSTREAM,
        ),
        Example(
            title="The same, relay open, the output stage read as expected",
            source="ameblo.jp entry 12411295586",
            answers={"left": "40 V", "rail_plus": "42 V", "rail_minus": "-42 V"}
            | {"relay": "open", "output_stage": "as expected"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=UPSTREAM,
        ),
        Example(
            title="Both outputs at the negative rail, one rail gone",
            source="music-electronics-forum.com thread 3746",
            answers={"left": "-27.6 V", "right": "-27 V", "rail_plus": "0.3", "rail_minus": "-29"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=RAIL,
        ),
        Example(
            title="A perfect zero on both channels",
            source="common practice, no source",
            answers={"left": "0.0 mV", "right": "0.0 mV"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE,),
            cause=RELAY,
        ),
        Example(
            title="12 V at the terminals of a capacitor-coupled amplifier, no load",
            source=CAPACITOR_PAGE,
            answers={"left": "12 V", "right": "12 V", "load": "none"},
            spec=CAPACITOR_COUPLED,
            advice=(AdviceKind.REMEASURE,),
            verdicts={"offset_left_v": Verdict.NOT_COMPARABLE},
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=OUTPUT_CAPACITOR,
        ),
        Example(
            title="The same with 1 kΩ: gone",
            source=CAPACITOR_PAGE,
            answers={"left": "12 V", "left_loaded": "6 mV", "topology": "capacitor-coupled"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"offset_left_v": Verdict.PASS},
            never=(AdviceKind.STOP, AdviceKind.ADJUST),
        ),
        Example(
            title="The same with 1 kΩ: it stays",
            source=CAPACITOR_PAGE,
            answers={"left": "11.6 V", "load": "1k", "topology": "capacitor coupled"},
            advice=(AdviceKind.REPLACE,),
            verdicts={"offset_left_v": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=WIRING,
        ),
        Example(
            title="Unloaded, charged through its own leakage",
            source=CAPACITOR_PAGE,
            answers={"right": "3.1 V", "topology": "capacitor-coupled"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.STOP),
            cause=CHARGE,
        ),
        Example(
            title="Centre of a capacitor-coupled stage at half its supply",
            source="common practice, no source",
            answers={"point": "centre", "left": "31.2 V", "right": "30.4 V", "rail": "62 V"},
            values={"centre_left_percent": (50.3, 0.1)},
            verdicts={"centre_left_percent": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP,),
        ),
        Example(
            title="A centre that is pulled down",
            source="common practice, no source",
            answers={"point": "centre", "left": "12 V", "rail": "62 V"},
            verdicts={"centre_left_percent": Verdict.FAIL},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
        ),
        Example(
            title="It moves with the volume, not with the input",
            source="common practice, no source",
            answers={
                "conditions": "open min 4 mV 3 mV; open max 84 mV 3 mV; "
                "short min 4 mV 3 mV; short max 82 mV 3 mV"
            },
            advice=(AdviceKind.PLAN,),
            cause=COUPLING,
        ),
        Example(
            title="It moves with the input at full volume",
            source=INPUT_PAGE,
            answers={"conditions": "open max 9 mV -; shorted max 61 mV -"},
            advice=(AdviceKind.PLAN,),
            cause=INPUT,
        ),
        Example(
            title="A generator with 5 mV, a relay that trips only with a signal",
            source="music-electronics-forum.com thread 4705",
            answers={"right": "6 mV", "source_dc": "5 mV", "relay": "trips"},
            advice=(AdviceKind.REMEASURE, AdviceKind.REMEASURE, AdviceKind.LEAVE),
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
            cause=DYNAMIC,
        ),
        Example(
            title="High with a source that brings direct voltage: nothing is trimmed",
            source=SOURCE_PAGE,
            answers={"left": "130 mV", "source_dc": "5 mV", "trimmer": "yes"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=SOURCE,
        ),
    ),
    sources=(
        "Bands: reference.com/technology/measure-dc-offset-9990455b88a15198; "
        "hudsonvalleyhifi.com/tutorials-and-tech-support/checking-for-dc-offset; "
        "vintagehifi.dk/forum/viewtopic.php?f=556&t=1384; diyaudio.com/community/threads/352. "
        "They differ: convention",
        f"Localising a high offset: {PAIR_PAGE}",
        f"Shorting an input without a coupling capacitor makes an offset of its own: {INPUT_PAGE}",
        f"A source's direct voltage is amplified: {SOURCE_PAGE}",
        f"Capacitor-coupled outputs: {CAPACITOR_PAGE}",
        "Half the rail means a missing half: common practice, no source",
    ),
    needs=(4, 5, 6, 7, 8, 55),
    before_closing="offset inside its limit, warm, both channels: its trimmer lies inside",
)

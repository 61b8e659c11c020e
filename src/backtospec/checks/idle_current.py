"""Idle current: what flows through the output devices without a signal."""

from __future__ import annotations

from backtospec.check import (
    AdviceKind,
    Check,
    Choice,
    ChoiceInput,
    Example,
    Input,
    NumberInput,
    ResultKey,
    SeriesInput,
    Stage,
    TableInput,
    TextInput,
)
from backtospec.check.idle_advice import advise
from backtospec.check.idle_causes import (
    BANK_PAGE,
    DYNAMIC,
    INTO_LOAD,
    LEAKED,
    LOW_PAGE,
    METERS,
    NETWORK,
    NETWORK_PAGE,
    NO_SUPPLY,
    OPEN_DEVICE,
    RECAP_PAGE,
    RULES,
    RUNAWAY,
    SIDES_PAGE,
    TRIMMER_PAGE,
    TWO_FAULTS,
    UNDER_BIASED,
    UNMATCHED,
    WORN_CONTROL,
    WORN_TRIMMER,
)
from backtospec.check.idle_reading import CHANNELS, POINTS, limits
from backtospec.check.idle_results import measure
from backtospec.records import Channel, PowerState, SpecSheet, Topology
from backtospec.verdict import Verdict

ON_RESISTORS = "outer ends of the emitter-resistor pair, or one resistor"
EXPERIMENT_PAGE = "diyaudio.com/community/threads/379908 p. 3"
ADD_THE_TWO = "vintage-radio.net showpost p=1308827 (2020-11-10)"
SIDE_BY_SIDE = "old-fidelity-forum.de/thread-14818-post-726807.html"
COMMON = "common practice, no source"


def unfit(spec: SpecSheet) -> str:
    """Say why an amplifier without a stated figure has no idle current to be read."""
    if spec.idle is not None:
        return ""
    if spec.topology is Topology.HYBRID_MODULE:
        return "a hybrid module sets its idle current inside; no emitter resistor can be reached"
    if spec.topology is Topology.SLIDING_BIAS:
        return "a sliding bias moves with the signal; only the maker's own figure can be held to"
    return ""


def _drop(key: str, prompt: str, channel: Channel | None = None) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="mV",
        low=-100_000,
        high=100_000,
        channel=channel,
        probed_at=ON_RESISTORS,
        by_meter=True,
    )


def _direct(key: str, prompt: str, channel: Channel) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="mA",
        low=0,
        high=5000,
        channel=channel,
        probed_at="in place of a fuse, or in the supply or mains lead",
        by_meter=True,
    )


def _plain(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _choose(
    key: str, prompt: str, *choices: tuple[str, str], default: str | None = None
) -> ChoiceInput:
    offered = tuple(Choice(value, text) for value, text in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


_CHANNEL = (("left", "Left"), ("right", "Right"), ("both", "Both"), ("no", "No"))
_INPUTS: tuple[Input, ...] = (
    ChoiceInput(key="point", prompt="Where was it measured?", choices=POINTS),
    *(_drop(name, f"{name.capitalize()}, drop", c) for name, c in CHANNELS.items()),
    *(
        SeriesInput(
            key=f"{name}_series",
            prompt=f"{name.capitalize()}, drop over time",
            unit="mV",
            low=-100_000,
            high=100_000,
            channel=channel,
            probed_at=ON_RESISTORS,
        )
        for name, channel in CHANNELS.items()
    ),
    *(
        _direct(f"{name}_current", f"{name.capitalize()}, current", c)
        for name, c in CHANNELS.items()
    ),
    _plain("emitter_ohm", "One emitter resistor", "Ω", 0.01, 100),
    _plain("emitter_tolerance_percent", "Its tolerance", "%", 0, 20),
    _plain("devices_in_parallel", "Devices in parallel", "", 1, 20),
    _plain("minutes_since_on", "Minutes since power-on", "min", 0, 100_000),
    _choose("cover", "Cover", ("on", "On"), ("off", "Off")),
    _choose(
        "limiter",
        "Is the series lamp or other limiter in?",
        ("out", "Out: full mains"),
        ("in", "In"),
        default="out",
    ),
    _choose("trimmer", "Is there an idle trimmer?", ("yes", "Yes"), ("no", "No: fixed resistors")),
    TextInput(key="left_trimmer_at", prompt="Left, where the trimmer stood before any turn"),
    TextInput(key="right_trimmer_at", prompt="Right, where the trimmer stood before any turn"),
    _choose(
        "trimmer_sweep",
        "Trimmer turned slowly with the power off",
        ("smooth", "Smooth"),
        ("jumps", "Jumps or scratches"),
        ("dead", "Dead spots, or open"),
    ),
    _plain("heatsink", "Heatsink temperature", "°C", -20, 200),
    SeriesInput(key="heatsink_series", prompt="Heatsink over time", unit="°C", low=-20, high=200),
    _plain("target", "The manual's drop, where there is no sheet", "mV", 0.1, 2000),
    _plain("target_tolerance", "Its tolerance, either way", "mV", 0, 1000),
    _plain("target_current", "The manual's current, where there is no sheet", "mA", 0.1, 5000),
    _plain("target_current_tolerance", "Its tolerance, either way", "mA", 0, 2000),
    TableInput(
        key="devices",
        prompt="Devices one by one: name with its channel and side, and its drop",
        columns=(
            TextInput(key="device", prompt="Device", required=True),
            _drop("drop", "Drop across its own resistor"),
        ),
    ),
    TableInput(
        key="others",
        prompt="Drops of other units of the model",
        columns=(_drop("drop", "Drop"),),
    ),
    TableInput(
        key="experiment",
        prompt="Idle tried, and distortion at 1 W",
        columns=(_drop("drop", "Idle"), _plain("thd", "Distortion", "%", 0.00001, 100)),
    ),
    _choose("meters", "How many meters?", ("one", "One, moved"), ("two", "Two, one a channel")),
    _drop("left_again", "Left once more, after the right", Channel.LEFT),
    _drop("left_swapped", "Left, with the other meter", Channel.LEFT),
    _drop("right_swapped", "Right, with the other meter", Channel.RIGHT),
    _choose(
        "fine_meter", "Is the meter accurate at these millivolts?", ("yes", "Yes"), ("no", "No")
    ),
    _choose("sound", "At low level it sounds", ("clean", "Clean"), ("harsh", "Harsh")),
    _choose("drops_out", "Which channel drops out at some volume positions?", *_CHANNEL),
    _choose(
        "louder", "Which channel is louder?", ("left", "Left"), ("right", "Right"), ("same", "Same")
    ),
    _choose(
        "output_devices",
        "Output devices",
        ("original", "Original"),
        ("same-type", "Replaced, same type"),
        ("other-type", "Replaced, another type"),
    ),
    _choose(
        "sensor",
        "Bias sensor or diodes",
        ("screwed", "Screwed or clamped on"),
        ("glued", "Glued on"),
        ("loose", "Loose"),
    ),
    _choose(
        "after_recap",
        "Since new capacitors, the trimmer needs",
        ("less", "Less"),
        ("same", "The same"),
        ("more", "More"),
    ),
    _plain("source_dc", "Direct voltage of the source or generator", "mV", -10_000, 10_000),
    _choose("relay_trips", "In which channel does the relay trip, only with a signal?", *_CHANNEL),
)

TEN_MILLIVOLTS = """\
maker = "Example"
model = "One"
[idle]
across = "resistor pair"
reading = "8 to 12 mV"
emitter = "0R22"
source = "service manual"
"""

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
        "With one meter: leads clipped on both channels, switched at the meter's end; left, right, "
        "left again. With two: swap them once.",
        "Adjust only when it has settled outside the range: the trimmer's ohms noted, its sweep "
        "smooth; a little, wait, read; left, right, left again.",
    ),
    inputs=_INPUTS,
    results=(
        *(
            ResultKey(f"{key}_{name}_{unit.lower()}", f"{title}, {name}", unit)
            for name in CHANNELS
            for key, title, unit in (
                ("drop", "drop", "V"),
                ("idle", "idle current per device", "A"),
                ("supply_rise", "rise of the supply current", "A"),
                ("mains_rise", "rise of the mains current", "A"),
            )
        ),
        ResultKey("balance_percent", "right minus left, of their mean", "%"),
        ResultKey("meters_percent", "second meter over the first", "%"),
        *(
            ResultKey(f"{key}{ending}_percent", title, "%")
            for ending in ("_left", "_right", "")
            for key, title in (
                ("sharing", "farthest device from the mean"),
                ("sides", "NPN side minus PNP side, of their mean"),
            )
        ),
        ResultKey("heatsink_c", "heatsink", "°C"),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="1 Ω resistors: 35 mV in one channel, 7 mV in the other, nothing to trim",
            source=LOW_PAGE,
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
            cause=UNDER_BIASED,
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
            spec=TEN_MILLIVOLTS,
            values={"idle_left_a": (0.0227273, 1e-6)},
            verdicts={"drop_left_v": Verdict.PASS, "drop_right_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="At the manual's test points",
            source="arithmetic: 10 mV ÷ 0.44 Ω = 22.7 mA",
            answers={"point": "test-points", "left": "10.0", "minutes_since_on": "75"},
            spec=TEN_MILLIVOLTS,
            values={"idle_left_a": (0.0227273, 1e-6)},
            verdicts={"drop_left_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Read across one resistor where the manual states the pair",
            source=f"{ADD_THE_TWO}: add the two before dividing",
            answers={"point": "one-resistor", "left": "5.0", "minutes_since_on": "75"},
            spec=TEN_MILLIVOLTS,
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
            spec=TEN_MILLIVOLTS,
            verdicts={"drop_left_v": Verdict.NOT_COMPARABLE},
            advice=(AdviceKind.WAIT,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
        ),
        Example(
            title="The same two beside others of the model",
            source=LOW_PAGE,
            answers={"point": "one-resistor", "left": "35 mV", "right": "7 mV"}
            | {"emitter_ohm": "1", "trimmer": "no", "others": "26 mV; 30 mV"},
            verdicts={"drop_left_v": Verdict.PASS, "drop_right_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.ADJUST, AdviceKind.REPLACE),
            cause=UNDER_BIASED,
        ),
        Example(
            title="No manual, alike, the resistors unknown",
            source=SIDE_BY_SIDE,
            answers={"point": "resistor-pair", "left": "12.1 mV", "right": "12.9 mV"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="No manual, and an ampere a device",
            source=COMMON,
            answers={"point": "one-resistor", "left": "100 mV", "right": "98 mV"}
            | {"emitter_ohm": "0.1"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
        ),
        Example(
            title="Twice the manual's figure: off",
            source="from memory: 1.5 times the range",
            answers={"point": "resistor-pair", "left": "25 mV", "right": "10 mV"},
            spec=TEN_MILLIVOLTS,
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=RUNAWAY,
        ),
        Example(
            title="Larger output devices, diodes glued on: 60 °C in 30 min at lowest volume",
            source=NETWORK_PAGE,
            answers={"heatsink": "60 °C", "minutes_since_on": "30 min"}
            | {"output_devices": "other-type", "sensor": "glued"},
            verdicts={"heatsink_c": Verdict.FAIL},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE, AdviceKind.WAIT),
            cause=NETWORK,
        ),
        Example(
            title="No drop, harsh; left-heavy, the right drops out at some volume positions",
            source=TWO_FAULTS,
            answers={"left": "0 mV", "right": "0 mV", "sound": "harsh"}
            | {"louder": "left", "drops_out": "right"},
            advice=(AdviceKind.PLAN, AdviceKind.PLAN),
            never=(AdviceKind.ADJUST, AdviceKind.STOP, AdviceKind.LEAVE),
            cause=WORN_CONTROL,
        ),
        Example(
            title="No drop in either channel",
            source=COMMON,
            answers={"point": "resistor-pair", "left": "0.0", "right": "0.0"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=NO_SUPPLY,
        ),
        Example(
            title="Distortion against idle at 0.25 Ω, no feedback",
            source=EXPERIMENT_PAGE,
            answers={"experiment": "28 mV 0.050 %; 100 mV 0.014 %", "emitter_ohm": "0.25"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST, AdviceKind.PLAN),
        ),
        Example(
            title="6 mV wanted; less trimmer since the recap, 5 mV at the source, relay trips",
            source=RECAP_PAGE,
            answers={"target": "6 mV", "after_recap": "less", "source_dc": "5 mV"}
            | {"relay_trips": "right"},
            advice=(AdviceKind.REMEASURE, AdviceKind.REMEASURE, AdviceKind.LEAVE),
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
            cause=LEAKED,
        ),
        Example(
            title="The same, set to 6 mV and warm",
            source=RECAP_PAGE,
            answers={"point": "one-resistor", "left": "6.0", "right": "6.1", "target": "6 mV"}
            | {"minutes_since_on": "75", "relay_trips": "right"},
            verdicts={"drop_left_v": Verdict.PASS},
            advice=(AdviceKind.REMEASURE, AdviceKind.LEAVE),
            never=(AdviceKind.ADJUST, AdviceKind.STOP),
            cause=DYNAMIC,
        ),
        Example(
            title="Far below the range, and the trimmer jumps",
            source=TRIMMER_PAGE,
            answers={"point": "resistor-pair", "left": "4.0", "minutes_since_on": "75"}
            | {"trimmer_sweep": "jumps"},
            spec=TEN_MILLIVOLTS,
            verdicts={"drop_left_v": Verdict.FAIL},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.ADJUST,),
            cause=WORN_TRIMMER,
        ),
        Example(
            title="A device that carries nothing",
            source=COMMON,
            answers={"devices": "L NPN1 | 10.2 mV; L NPN2 | 9.6 mV; L NPN3 | 0.1 mV"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=OPEN_DEVICE,
        ),
        Example(
            title="One device far off its bank",
            source=BANK_PAGE,
            answers={"devices": "Q1 10.0; Q2 10.4; Q3 19.0"},
            values={"sharing_percent": (44.7, 0.1)},
            verdicts={"sharing_percent": Verdict.FAIL},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=UNMATCHED,
        ),
        Example(
            title="The two sides of one channel differ",
            source=SIDES_PAGE,
            answers={"devices": "right NPN | 14.0 mV; right PNP | 8.0 mV"},
            values={"sides_right_percent": (54.5, 0.1)},
            verdicts={"sides_right_percent": Verdict.FAIL},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=INTO_LOAD,
        ),
        Example(
            title="Two meters, swapped: the meters differ, the channels do not",
            source="arithmetic: each meter reads each channel once, its gain cancels",
            answers={"point": "resistor-pair", "left": "10.0", "right": "12.0"}
            | {"left_swapped": "12.0", "right_swapped": "10.0", "emitter_ohm": "0R22"},
            values={"balance_percent": (0.0, 1e-9), "meters_percent": (20.0, 1e-9)},
            advice=(AdviceKind.PLAN, AdviceKind.LEAVE),
            never=(AdviceKind.ADJUST, AdviceKind.REMEASURE),
            cause=METERS,
        ),
        Example(
            title="In place of a rail fuse, three devices in parallel",
            source="arithmetic: 90 mA ÷ 3 = 30 mA",
            answers={"point": "fuse", "left_current": "90 mA", "devices_in_parallel": "3"}
            | {"target_current": "30 mA", "minutes_since_on": "75"},
            values={"idle_left_a": (0.030, 1e-9)},
            verdicts={"idle_left_a": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="As a rise of 4 mA in the mains current",
            source="active-speaker service manual p. 55: +4 mA at 230 V, +8 mA at 115 V",
            answers={"point": "mains-rise", "left_current": "4.1 mA", "target_current": "4 mA"}
            | {"target_current_tolerance": "1 mA", "minutes_since_on": "75"},
            verdicts={"mains_rise_left_a": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
        Example(
            title="No meter that is accurate at 50 mV",
            source="diyaudio.com/community/threads/345209",
            answers={"target": "50 mV", "fine_meter": "no"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.ADJUST,),
        ),
    ),
    sources=(
        f"Reading and normal values: {LOW_PAGE}",
        f"One resistor or two: {ADD_THE_TWO}",
        f"Alike within 10 %, left alone: {SIDE_BY_SIDE}",
        "Idle is not offset: diyaudio.com/community/goto/post?id=7292811",
        "Devices of one bank within ±3 mV of 10 mV: service sheet dated 23/11/99 (manuals.online)",
        f"NPN and PNP side agree: {SIDES_PAGE}; gains of 5 to 340 in one bank: {BANK_PAGE}",
        f"Cheap open trimmers age and kill output stages: {TRIMMER_PAGE}",
        "Rise of supply current: vintage-radio.net showpost p=1308827; of mains current: "
        "active-speaker service manual p. 55 (easymanua.ls)",
        f"More idle buys less and less, heat decides: {EXPERIMENT_PAGE}",
        f"A bias network that does not suit its devices: {NETWORK_PAGE}",
        "An hour to an hour and a half to settle: common practice, no source",
        "1.5 times the range, 55 °C at idle, 200 mA a device: from memory",
    ),
    needs=(1, 2, 3, 4, 9, 10, 11, 41, 42, 46, 51, 55),
    unfit=unfit,
    covers_off=True,
    before_closing="idle current settled inside its range, both channels, and its trimmers left",
)

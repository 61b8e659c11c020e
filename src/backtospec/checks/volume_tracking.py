"""Volume tracking: left over right at each stop of the volume control."""

from __future__ import annotations

import re
from dataclasses import dataclass

from backtospec.analysis.channel_levels import Level, LevelReader, difference_db
from backtospec.analysis.ramp import RampAnalysis
from backtospec.analysis.setup import CaptureSetup
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    Bar,
    BarsFigure,
    CaptureInput,
    Check,
    Choice,
    ChoiceInput,
    Clue,
    Counsel,
    CurveFigure,
    Example,
    Figure,
    Findings,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    Stage,
    TableInput,
    TextInput,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured
from backtospec.records import Limit, PowerState
from backtospec.verdict import Result, Verdict

CHANNELS = ("left", "right")
COMMON = "common practice, no source"
TRACKING = "oreilly.com/library/view/small-signal-audio/9780240521770 ch. 9"
DIN = "DIN 45500 as of 1977 (hifi-studio.de/hifi-klassiker/DIN_IHF-Unterschied.htm)"
STOPS = "a service shop's test policy: 9, 11, 13 and 15 o'clock"
TWO_FAULTS = "i-bbs.sijex.net/audioclub/110"
SWAP = "needs of the bench: swap the inputs to blame control, amplifier or source"

GOOD_DB, WIDEST_DB, SPAN_DB = 1.0, 3.0, 50.0
RECORDED_U_DB = 0.05
"""How alike the two inputs of a sound interface are (from memory); alike at every stop."""
LOW_IDLE_V = 0.0005

CONTROL = "worn volume control"
STAGE = "unequal gain before or behind the control"
SOURCE = "source, lead or input socket"
POWER_STAGE = "power amplifier or what follows it"
UNDER_BIASED = "under-biased stage"
DIRT = "dirty track or wiper"

_NOON = re.compile(
    r"(?<![\d.,])(12|12\s*[:.h]\s*00|50\s*%)(?![\d.,:])|noon|mid|cent", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class _Stop:
    """One position: left over right, and how far below the loudest position it lies."""

    name: str
    difference: Measured | None
    down_db: float
    silent: tuple[str, ...] = ()

    @property
    def counts(self) -> bool:
        """Whether it lies within the span that a good control is judged over."""
        return self.difference is not None and self.down_db <= SPAN_DB


def _setup(answers: Answers) -> CaptureSetup:
    hz = answers.number("nominal_hz")
    return CaptureSetup(
        full_scale_volts=(1.0,), load_ohm=(8.0,), nominal_hz=hz.value if hz else 1000.0
    )


def _stops(answers: Answers) -> tuple[_Stop, ...]:
    ramp = answers.capture("recording", RampAnalysis)
    return _recorded(ramp) if ramp is not None else _typed(answers)


def _recorded(ramp: RampAnalysis) -> tuple[_Stop, ...]:
    inputs = Measured(0.0, RECORDED_U_DB)
    rests = [
        (step.channels["L"].level_dbfs_peak, step.tracking_db_r_minus_l, step)
        for step in ramp.steps
        if step.tracking_db_r_minus_l is not None
    ]
    if rests:
        top = max(level or -200.0 for level, _, _ in rests)
        return tuple(
            _Stop(
                f"at {step.start_s:.0f} s",
                Measured(-(tracking or 0.0), step.tracking_db_r_minus_l_u or 0.0) + inputs,
                top - (level if level is not None else -200.0),
            )
            for level, tracking, step in rests
        )
    if not ramp.tracking:
        raise BenchError(
            "it does not hold both channels with a tone.",
            "recording",
            "Record both channels in one file, from −30 to −1 dB of full scale.",
        )
    top = max(point.level_dbfs_peak for point in ramp.tracking)
    return tuple(
        _Stop(
            f"at {point.time_s:.0f} s",
            -point.tracking_db_r_minus_l + inputs,
            top - point.level_dbfs_peak,
        )
        for point in ramp.tracking
    )


def _typed(answers: Answers) -> tuple[_Stop, ...]:
    reader = LevelReader(answers.meter)
    unit = answers.choice("unit") or "V"
    rows: list[tuple[str, dict[str, Level]]] = []
    for row in answers.table("positions"):
        name = str(row["position"])
        levels = {
            channel: reader.read(cell, f"{name}, {channel}", unit)
            for channel in CHANNELS
            if isinstance(cell := row.get(channel), str)
        }
        rows.append((name, levels))
    tops = [_loudest(levels) for _, levels in rows]
    top = max((level for level in tops if level is not None), default=0.0)
    return tuple(
        _Stop(
            name,
            difference_db(levels["left"], levels["right"], name) if len(levels) == 2 else None,
            top - (level if level is not None else top),
            tuple(c for c, one in levels.items() if one.db is None),
        )
        for (name, levels), level in zip(rows, tops, strict=True)
    )


def _loudest(levels: dict[str, Level]) -> float | None:
    return max((one.db.value for one in levels.values() if one.db is not None), default=None)


def _counting(answers: Answers) -> list[Measured]:
    return [s.difference for s in _stops(answers) if s.counts and s.difference is not None]


def _noon(answers: Answers) -> Measured | None:
    found = (s.difference for s in _stops(answers) if _NOON.search(s.name) and s.difference)
    return next(found, None)


def _dropped(answers: Answers) -> tuple[str, ...]:
    """Return the channels that fall silent at some position while the other plays."""
    said = answers.choice("drops_out")
    stated = CHANNELS if said == "both" else (said,) if said in CHANNELS else ()
    seen = {s.silent[0] for s in _stops(answers) if len(s.silent) == 1}
    return tuple(c for c in CHANNELS if c in stated or c in seen)


def _no_idle(answers: Answers) -> bool:
    idle = answers.number("idle")
    return idle is not None and abs(idle.value) <= LOW_IDLE_V


def measure(answers: Answers) -> Measurement:
    """Return left over right: the worst within 50 dB, at 12 o'clock, and how much it changes."""
    stops = _stops(answers)
    counting = _counting(answers)
    told = ("drops_out", "louder", "swap", "sound")
    if not stops and not any(answers.choice(key) for key in told):
        raise BenchError(
            "no level was given.",
            "volume tracking",
            'Type positions such as "9 | 0.10 V | 0.11 V; 12 | 1.00 V | 1.02 V".',
        )
    keys = ("positions", "recording")
    method = "20·log10 of left over right"
    results = []
    if counting:
        worst = max(counting, key=lambda d: abs(d.value))
        title = "left over right, worst within 50 dB"
        results.append(Result("worst_db", title, worst, "dB", method, keys))
        span = Measured(max(s.down_db for s in stops if s.difference is not None))
        results.append(Result("span_db", "span looked at", span, "dB", "loudest over least", keys))
    noon = _noon(answers)
    if noon is not None:
        title = "left over right at 12 o'clock"
        results.append(Result("noon_db", title, noon, "dB", method, ("positions",)))
    if len(counting) > 1:
        ordered = sorted(counting, key=lambda d: d.value)
        change = ordered[-1] - ordered[0]
        title = "change of left over right over the turn"
        results.append(Result("change_db", title, change, "dB", "highest less lowest", keys))
    if dropped := _dropped(answers):
        gone = Measured(len(dropped))
        title = "channels that drop out"
        method = "silent at a position"
        results.append(Result("dropouts", title, gone, "", method, ("positions", "drops_out")))
    return Measurement(tuple(results), _figures(answers))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    stops = [(s, s.difference) for s in _stops(answers) if s.difference is not None]
    axis = Axis("left over right", "dB")
    if not stops:
        return ()
    if answers.capture("recording", RampAnalysis) is None:
        bars = tuple(Bar(s.name, d.value, -GOOD_DB, GOOD_DB) for s, d in stops)
        return (BarsFigure("tracking", "Left over right by position", axis, bars),)
    ordered = sorted((-s.down_db, d.value) for s, d in stops)
    trace = Trace("Left over right", tuple(x for x, _ in ordered), tuple(y for _, y in ordered))
    marks = tuple(Mark("good control", "y", at) for at in (-GOOD_DB, GOOD_DB))
    below = Axis("level, below the loudest", "dB")
    title = "Left over right along the turn"
    return (CurveFigure("tracking", title, below, axis, (trace,), marks=marks),)


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return what a good control keeps and what DIN allowed; both are conventions."""
    return (
        Limit("worst_db", -GOOD_DB, GOOD_DB, "dB", TRACKING, (), True),
        Limit("worst_db", -WIDEST_DB, WIDEST_DB, "dB", DIN, (), True),
        Limit("noon_db", -GOOD_DB, GOOD_DB, "dB", TRACKING, (), True),
        Limit("dropouts", None, 0.0, "", COMMON, (), True),
    )


def advise(findings: Findings) -> Counsel:
    """Return whether control, amplifier or source is to blame, and what to do."""
    answers = findings.answers
    advice: list[Advice] = []
    if dropped := _dropped(answers):
        who = " and ".join(dropped).capitalize()
        verb = "drop" if len(dropped) == 2 else "drops"
        reason = f"{who} {verb} out at some positions: a worn control. Clean it, else renew it."
        advice.append(Advice(AdviceKind.REPLACE, reason))
    if _no_idle(answers):
        reason = "No idle current: a second fault. Find out why before a trimmer is touched."
        advice.append(Advice(AdviceKind.REMEASURE, reason))
    if (tracked := _tracked(findings, bool(advice))) is not None:
        advice.append(tracked)
    return Counsel(tuple(advice), next_step=_next(findings))


def _tracked(findings: Findings, known: bool) -> Advice | None:
    """Return what the differences themselves say; nothing where a worse fault is all there is."""
    answers = findings.answers
    worst = findings.value("worst_db")
    if worst is None:
        if known:
            return None
        if answers.choice("swap") == "moves":
            return Advice(AdviceKind.PLAN, "It moves with the inputs: the source or its lead.")
        return Advice(AdviceKind.REMEASURE, "Read both channels at four stops of the control.")
    shown = f"{abs(worst.value):.2g} dB"
    if findings.verdict("worst_db") is Verdict.PASS:
        if known:
            return None
        short = findings.value("span_db")
        more = "" if short and short.value >= 40 else " Look at lower settings too."
        return Advice(AdviceKind.LEAVE, f"At most {shown} apart: good tracking. Leave it.{more}")
    if answers.choice("swap") == "moves":
        reason = f"{shown} apart, and it moves with the inputs: the source or its lead."
        return Advice(AdviceKind.PLAN, reason)
    if _constant(findings):
        louder = "left" if worst.value > 0 else "right"
        reason = (
            f"{shown} apart at every stop, {louder} louder: not the control but a gain. Hold both "
            "channels against the specified gain."
        )
        return Advice(AdviceKind.REMEASURE, reason)
    if abs(worst.value) > WIDEST_DB and worst.value**2 > (WIDEST_DB + worst.u) ** 2:
        reason = (
            f"{shown} apart, changing along the turn: clean the control; if it stays, renew it."
        )
        return Advice(AdviceKind.REPLACE, reason)
    if findings.of("worst_db")[0].verdict is Verdict.UNDECIDED:
        if abs(worst.value) <= 1.5 * GOOD_DB:
            reason = f"{shown} apart: at the edge of good, within measuring error. Leave it alone."
            return Advice(AdviceKind.LEAVE, reason)
        reason = f"{shown} apart, read too coarsely to tell: read again on a finer range."
        return Advice(AdviceKind.REMEASURE, reason)
    if len(_counting(answers)) < 2:
        return Advice(AdviceKind.REMEASURE, f"{shown} apart at one stop: read at other stops too.")
    reason = (
        f"{shown} apart at worst: more than a good control, less than the 3 dB once allowed. Clean "
        "it; the balance control evens out the rest."
    )
    return Advice(AdviceKind.PLAN, reason)


def _constant(findings: Findings) -> bool | None:
    """Whether the channels differ by the same at every stop."""
    change, worst = findings.value("change_db"), findings.value("worst_db")
    if change is None or worst is None:
        return None
    return abs(worst.value) > GOOD_DB and change.value < min(GOOD_DB, abs(worst.value) / 2)


def _changes(findings: Findings) -> bool | None:
    change = findings.value("change_db")
    return None if change is None else change.value > GOOD_DB


def _next(findings: Findings) -> str:
    answers = findings.answers
    if _no_idle(answers):
        return "idle current of both channels, warm, and the bias network"
    if findings.verdict("worst_db") is Verdict.PASS:
        return "controls and contacts: one slow turn, recorded"
    if not answers.choice("swap"):
        return "swap the two inputs: what moves is the source, what stays is the amplifier (swap)"
    if answers.choice("swap") == "stays" and not answers.choice("swap_power_in"):
        return "swap left and right between preamp out and power amplifier in (swap_power_in)"
    return "the same stops again after cleaning"


def _choice_is(key: str, value: str, present: str, absent: str = "", weight: float = 1.0) -> Clue:
    """Return a clue that is there where a choice has a value, and unknown where it was left."""

    def seen(findings: Findings) -> bool | None:
        said = findings.answers.choice(key)
        return None if said == "" else said == value

    return Clue(seen, present, absent, weight)


def _drops(findings: Findings) -> bool | None:
    asked = findings.answers.choice("drops_out") or findings.answers.table("positions")
    return bool(_dropped(findings.answers)) if asked else None


def _apart(findings: Findings) -> bool | None:
    if findings.value("worst_db") is None:
        return True if findings.answers.choice("louder") in CHANNELS else None
    return findings.verdict("worst_db") is Verdict.FAIL


RULES = (
    Rule(
        CONTROL,
        (
            Clue(_drops, "a channel drops out at some positions", "no dropouts", 2),
            Clue(_changes, "the difference changes along the turn", "it is the same everywhere", 2),
            Clue(_apart, "the channels are not alike", "the channels are alike", 0.5),
            _choice_is("swap", "stays", "it stays when inputs are swapped", "it moves with them"),
            _choice_is("swap_power_in", "moves", "it comes from before the power amplifier", "", 1),
        ),
        "ohms of both tracks at the stops, power off; the same stops after cleaning",
        TRACKING,
    ),
    Rule(
        DIRT,
        (
            Clue(_drops, "a channel drops out at some positions", "no dropouts", 1.5),
            _choice_is("cleaned", "no", "it was never cleaned", "it was cleaned already"),
        ),
        "the same stops after cleaning: dirt goes, wear stays",
        COMMON,
    ),
    Rule(
        STAGE,
        (
            Clue(_constant, "the same difference at every stop", "the difference changes", 2),
            Clue(_apart, "the channels are not alike", "the channels are alike", 0.5),
        ),
        "gain of both channels against the specified one",
        COMMON,
    ),
    Rule(
        POWER_STAGE,
        (
            _choice_is("swap_power_in", "stays", "it stays behind preamp out", "it moves", 2),
            Clue(_constant, "the same difference at every stop", "the difference changes", 0.5),
        ),
        "levels before and behind the relay, loaded",
        SWAP,
    ),
    Rule(
        SOURCE,
        (
            _choice_is("swap", "moves", "it moves with the swapped inputs", "it stays", 2),
            Clue(_apart, "the channels are not alike", "the channels are alike", 0.5),
        ),
        "the source's channels swapped at the input",
        SWAP,
    ),
    Rule(
        UNDER_BIASED,
        (
            Clue(
                lambda f: None if f.answers.number("idle") is None else _no_idle(f.answers),
                "no idle current without a signal",
                "idle current is there",
                2,
            ),
            _choice_is("sound", "harsh", "harsh at low level, as crossover is", "it sounds clean"),
        ),
        "idle current of both channels, warm; distortion at 1 W against 10 W",
        TWO_FAULTS,
    ),
)


def _choose(key: str, prompt: str, *choices: str) -> ChoiceInput:
    offered = tuple(Choice(value, value.replace("-", " ").capitalize()) for value in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered)


GOOD_STOPS = "9 | 45 mV | 46 mV; 11 | 220 mV | 221 mV; 12 | 400 mV | 405 mV; 15 | 1.80 V | 1.79 V"

CHECK = Check(
    id="volume-tracking",
    title="Volume tracking",
    stage=Stage.SMALL_SIGNAL,
    power_states=(PowerState.DRIVEN,),
    why="Left over right at each stop of the volume control tells a worn control from an unequal "
    "gain and from the source.",
    cautions=(
        "No speaker until the offset is proven; dummy loads get hot at the higher stops.",
        "Stay well below clipping: turn the generator down, not the control.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "1 kHz into both channels; balance centred, tone flat, loudness off.",
        "Read both outputs at 9, 11, 12, 13 and 15 o'clock.",
        "Swap the two inputs: what moves is the source, what stays is the amplifier.",
    ),
    inputs=(
        TableInput(
            key="positions",
            prompt="Stops: position | left | right",
            columns=(
                TextInput(key="position", prompt="Position", required=True),
                TextInput(key="left", prompt="Left, V, mV or dB"),
                TextInput(key="right", prompt="Right, V, mV or dB"),
            ),
        ),
        ChoiceInput(
            key="unit",
            prompt="What bare numbers are in",
            choices=(Choice("V", "volts"), Choice("mV", "millivolts"), Choice("dB", "decibels")),
            default="V",
        ),
        _choose("swap", "Inputs swapped: the weak side", "moves", "stays"),
        _choose("swap_power_in", "Swapped behind preamp out: the weak side", "moves", "stays"),
        _choose("drops_out", "Drops out at some positions", "none", "left", "right", "both"),
        _choose("louder", "Which one is louder, where only that is known", "left", "right"),
        _choose("cleaned", "Was the control cleaned?", "yes", "no"),
        _choose("sound", "How does it sound?", "clean", "harsh"),
        NumberInput(
            key="idle",
            prompt="Idle voltage, if it was read",
            unit="mV",
            low=-2000,
            high=2000,
            by_meter=True,
        ),
        CaptureInput(
            key="recording",
            prompt="Or a recording of one slow turn with a tone",
            analysis="ramp",
            setup=_setup,
        ),
        NumberInput(
            key="nominal_hz",
            prompt="Frequency of the tone",
            unit="Hz",
            low=10,
            high=40_000,
            default="1000",
        ),
    ),
    results=(
        ResultKey("worst_db", "left over right, worst within 50 dB", "dB"),
        ResultKey("noon_db", "left over right at 12 o'clock", "dB"),
        ResultKey("change_db", "change of left over right over the turn", "dB"),
        ResultKey("span_db", "span looked at", "dB"),
        ResultKey("dropouts", "channels that drop out", ""),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="Good at four stops",
            source=STOPS,
            answers={"positions": GOOD_STOPS},
            values={"worst_db": (-0.191, 0.001), "noon_db": (-0.108, 0.001)},
            verdicts={"worst_db": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE, AdviceKind.PLAN),
        ),
        Example(
            title="Left-heavy low down, right silent at 10 o'clock, no idle current: two faults",
            source=TWO_FAULTS,
            answers={
                "positions": "9 | 50.0 mV | 30.0 mV; 10 | 110 mV | 0 mV; 12 | 400 mV | 380 mV",
                "idle": "0 mV",
                "sound": "harsh",
            },
            advice=(AdviceKind.REPLACE, AdviceKind.REPLACE, AdviceKind.REMEASURE),
            verdicts={"worst_db": Verdict.FAIL, "dropouts": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=UNDER_BIASED,
        ),
        Example(
            title="The same with only what was said of it",
            source=TWO_FAULTS,
            answers={"louder": "left", "drops_out": "right", "idle": "0 mV", "sound": "harsh"},
            advice=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=CONTROL,
        ),
        Example(
            title="2 dB apart at every stop: not the control",
            source=COMMON,
            answers={
                "positions": "9 | -40.0 | -42.0; 12 | -20.0 | -22.1; 15 | -5.0 | -7.0",
                "unit": "dB",
            },
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=STAGE,
        ),
        Example(
            title="More than 3 dB low down, and it changes",
            source=DIN,
            answers={
                "positions": "8 | 20.0 mV | 11.0 mV; 10 | 100 mV | 92 mV; 12 | 1.00 V | 0.99 V"
            },
            verdicts={"worst_db": Verdict.FAIL, "noon_db": Verdict.PASS},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=CONTROL,
        ),
        Example(
            title="1.6 dB at worst",
            source=TRACKING,
            answers={
                "positions": "9 | 100 mV | 120 mV; 12 | 500 mV | 510 mV; 15 | 2.00 V | 2.01 V"
            },
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=CONTROL,
        ),
        Example(
            title="It moves with the inputs",
            source=SWAP,
            answers={"positions": "9 | 100 mV | 141 mV; 12 | 1.00 V | 1.42 V", "swap": "moves"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=SOURCE,
        ),
        Example(
            title="Far down, below 50 dB, it does not count",
            source=TRACKING,
            answers={
                "positions": "7 | -62.0 dB | -58.0 dB; 9 | -40.0 dB | -40.2 dB; 16 | 0 dB | 0 dB"
            },
            values={"worst_db": (0.2, 0.001)},
            verdicts={"worst_db": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE,),
        ),
    ),
    sources=(
        f"±1 dB over at least 50 dB: {TRACKING}",
        f"3 dB without a balance control: {DIN}",
        f"Stops: {STOPS}",
        f"Swapping: {SWAP}",
        f"Two faults at once: {TWO_FAULTS}",
    ),
    needs=(33,),
)

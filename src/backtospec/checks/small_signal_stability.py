"""Stability at small signal: capacitors across the load, square wave, and what trips on signal."""

from __future__ import annotations

import re
from collections.abc import Callable

from backtospec import quantity
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.square import SquareAnalysis
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    CaptureInput,
    Check,
    Choice,
    ChoiceInput,
    Clue,
    Counsel,
    Example,
    Figure,
    Findings,
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    Stage,
    TableFigure,
    TableInput,
    TextInput,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, write
from backtospec.records import Channel, Condition, Limit, PowerState
from backtospec.verdict import Bound, Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
COMMON = "common practice, no source"
CAPACITOR = "audiobanter.co.uk/83198-post3.html"
DYNAMIC_CASE = "music-electronics-forum.com thread 4705"
FASTER = "from memory: faster types may oscillate"

TRIED_F = (10e-9, 100e-9, 2.2e-6)
"""Across the load through 1.5 Ω: an amplifier may stand the largest and not the smallest."""
OVERSHOOT_PERCENT = 20.0
"""Into a plain resistor (common practice, no source)."""
CYCLES = 10.0
"""Rings longer: too little margin (common practice, no source)."""
RECORDED_SHARE = 0.03
"""Standard uncertainty of a recorded overshoot, of itself (from memory)."""
SOURCE_V = 0.001
"""Direct volts of a source that matter to a DC-coupled amplifier (common practice, no source)."""

NETWORK = "output network open: its resistor, capacitor or coil"
COMPENSATION = "compensation capacitor, or faster transistors fitted"
DECOUPLING = "supply decoupling or grounding of that board"
SOURCE_DC = "direct voltage from the source"
DYNAMIC = "dynamic fault: a part that fails only when driven"
SENSE = "protection circuit trips too early"
LEAKY = "old capacitors were leaky"
BIAS = "bias network altered by the new parts"

STATES = {
    "oscillates": ("oscill", "unstable", "bursts", "burst", "parasitic", "rf"),
    "rings": ("ring", "overshoot"),
    "stable": ("stable", "clean", "ok", "good", "quiet", "none", "no "),
}


def _setup(answers: Answers) -> CaptureSetup:
    hz = answers.number("nominal_hz")
    return CaptureSetup(
        full_scale_volts=(1.0,), load_ohm=(8.0,), nominal_hz=hz.value if hz else 1000.0
    )


def _state(text: str, where: str) -> str:
    word = text.strip().lower()
    if re.match(r"(no|not|without)\b.*(oscill|unstable|ring)", word):
        return "stable"
    for state, starts in STATES.items():
        if any(re.search(rf"\b{start}", word) for start in starts):
            return state
    raise BenchError(
        f"“{text}” is none of stable, rings, oscillates.", where, "Write one of these words."
    )


def _tries(answers: Answers) -> list[tuple[float, str, str]]:
    """Return farad (0 for none), channel and state of every try."""
    found = []
    for row in answers.table("capacitors"):
        text = str(row["capacitor"])
        none = text.strip().lower() in ("none", "no", "without", "0", "resistor only")
        farad = 0.0 if none else quantity.read(text, "nF", "capacitor", 0.1, 1e5)
        for name in CHANNELS:
            if isinstance(cell := row.get(name), str):
                found.append((farad, name, _state(cell, f"{text}, {name}")))
    return found


def _oscillating(answers: Answers) -> dict[str, list[str]]:
    """Return what each oscillating channel oscillates on."""
    found: dict[str, list[str]] = {}
    for farad, name, state in _tries(answers):
        if state == "oscillates":
            found.setdefault(name, []).append(write(farad, "F") if farad else "the load alone")
    seen = answers.choice("rf_on_scope")
    for name in CHANNELS:
        if seen in (name, "both"):
            found.setdefault(name, []).append("what the scope shows")
    return found


def _square(answers: Answers, name: str) -> tuple[Measured, Bound, float | None, int] | None:
    """Return overshoot, whether that is a bound, ringing in Hz and its extremes, as recorded."""
    square = answers.capture("recording", SquareAnalysis)
    one = square.channels.get(CHANNELS[name]) if square else None
    if one is None or not one.valid:
        return None
    edges = [edge for edge in (one.rising, one.falling) if edge is not None]
    known = [e.overshoot_percent for e in edges if e.overshoot_percent is not None]
    bounds = [e.overshoot_percent_at_most for e in edges if e.overshoot_percent_at_most is not None]
    hz = next((e.ringing_hz for e in edges if e.ringing_hz is not None), None)
    peaks = max((e.ringing_peaks for e in edges), default=0)
    if len(known) == len(edges) and known:
        most = max(known)
        return Measured(most, RECORDED_SHARE * most), Bound.EQUALS, hz, peaks
    return Measured(max([*known, *bounds], default=0.0)), Bound.AT_MOST, hz, peaks


def measure(answers: Answers) -> Measurement:
    """Return overshoot and ringing, how many oscillate, and the source's direct volts."""
    results: list[Result] = []
    loaded = {"capacitor": answers.choice("capacitor")}
    recording = answers.capture("recording", SquareAnalysis)
    for name, channel in CHANNELS.items():
        recorded = _square(answers, name)
        typed = answers.number(f"overshoot_{name}")
        bound = Bound.EQUALS if typed is not None or recorded is None else recorded[1]
        overshoot = typed if typed is not None else recorded[0] if recorded else None
        if overshoot is not None:
            key, title = f"overshoot_{name}_percent", f"overshoot, {name}"
            keys = (f"overshoot_{name}", "recording")
            method = "beyond the new level, of the step"
            results.append(Result(key, title, overshoot, "%", method, keys, loaded, bound, channel))
        hertz = answers.number(f"ringing_{name}")
        rings = hertz or (Measured(recorded[2]) if recorded and recorded[2] else None)
        if rings is not None:
            key, title = f"ringing_{name}_hz", f"ringing, {name}"
            keys = (f"ringing_{name}", "recording")
            results.append(Result(key, title, rings, "Hz", "as seen", keys, channel=channel))
        cycles = answers.number(f"cycles_{name}")
        lasts = cycles or (Measured(recorded[3] / 2) if recorded and recorded[2] else None)
        if lasts is not None:
            key, title = f"cycles_{name}", f"cycles of ringing, {name}"
            keys = (f"cycles_{name}", "recording")
            results.append(Result(key, title, lasts, "", "counted", keys, channel=channel))
    if recording is not None and not results:
        raise BenchError(
            "no square wave was found in it.", "recording", "Record a square wave of about 1 kHz."
        )
    if _tries(answers) or answers.choice("rf_on_scope"):
        count = Measured(len(_oscillating(answers)))
        keys = ("capacitors", "rf_on_scope")
        title = "channels that oscillate"
        results.append(Result("oscillating", title, count, "", "as seen", keys))
    source = answers.number("source_dc")
    if source is not None:
        title = "direct voltage of the source"
        results.append(Result("source_dc_v", title, abs(source), "V", "as read", ("source_dc",)))
    told = ("trips", "warm_heatsink", "trimmer_after_recap")
    if not results and not any(answers.choice(key) for key in told):
        raise BenchError(
            "nothing was tried.",
            "stability",
            'Type tries such as "10 nF | stable | rings", or give overshoot_left.',
        )
    return Measurement(tuple(results), _figures(answers))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    by_farad: dict[float, dict[str, str]] = {}
    for farad, name, state in _tries(answers):
        by_farad.setdefault(farad, {})[name] = state
    rows = tuple(
        (write(farad, "F") if farad else "none", *(states.get(n, "–") for n in CHANNELS))
        for farad, states in sorted(by_farad.items())
    )
    heads = ("Across the load", "Left", "Right")
    return (
        (TableFigure("capacitors", "With a capacitor across the load", heads, rows),)
        if rows
        else ()
    )


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return conventions: nothing oscillates, overshoot into a resistor is modest."""
    plain = (Condition("capacitor", "none"),)
    most = OVERSHOOT_PERCENT
    return (
        Limit("oscillating", None, 0.0, "", CAPACITOR, (), True),
        *(Limit(f"overshoot_{n}_percent", None, most, "%", COMMON, plain, True) for n in CHANNELS),
        *(Limit(f"cycles_{n}", None, CYCLES, "", COMMON, (), True) for n in CHANNELS),
        Limit("source_dc_v", None, SOURCE_V, "V", COMMON, (), True),
    )


def advise(findings: Findings) -> Counsel:
    """Return the most urgent: oscillation, then what trips, then what was not tried yet."""
    answers = findings.answers
    if _oscillating(answers):
        return Counsel((_stop(answers),), next_step=_next(findings))
    advice = [*_tripping(findings), *_warm(answers), *_margin(findings), *_untried(answers)]
    if answers.choice("trimmer_after_recap") == "less":
        reason = (
            "Less trimmer than before the recap: most likely the old capacitors were leaky. Let "
            "it warm up, then read idle current and offset once more."
        )
        advice.append(Advice(AdviceKind.PLAN, reason))
    if not advice and any(f.limit is not None for f in findings.all):
        ringing = any(state == "rings" for _, _, state in _tries(answers))
        tail = " Ringing that dies away is normal with a capacitor." if ringing else ""
        advice = [Advice(AdviceKind.LEAVE, f"Nothing oscillates. Leave it alone.{tail}")]
    if not advice:
        reason = "Look for oscillation first: scope on the output, no signal, then each capacitor."
        advice = [Advice(AdviceKind.REMEASURE, reason)]
    return Counsel(tuple(advice), next_step=_next(findings))


def _stop(answers: Answers) -> Advice:
    shown = "; ".join(f"{n} on {', '.join(on)}" for n, on in _oscillating(answers).items())
    larger = any(f >= 1e-6 and state != "oscillates" for f, _, state in _tries(answers))
    small = any(0 < f <= 100e-9 and state == "oscillates" for f, _, state in _tries(answers))
    tail = " Standing 2.2 µF proves nothing for less." if larger and small else ""
    reason = f"It oscillates: {shown}. Turn down, switch off, no speaker; it burns its own network."
    return Advice(AdviceKind.STOP, reason + tail)


def _tripping(findings: Findings) -> list[Advice]:
    answers = findings.answers
    source = findings.value("source_dc_v")
    found = []
    if source is not None and findings.verdict("source_dc_v") is Verdict.FAIL:
        reason = (
            f"The source gives {source.value * 1000:.2g} mV direct: put a capacitor in line, or "
            "use another source, and try again."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    if answers.choice("trips") == "with-signal":
        side = answers.choice("trips_channel")
        who = side.capitalize() if side in CHANNELS else "It"
        reason = (
            f"{who} trips the relay only with a signal: a dynamic fault remains. No speaker; watch "
            "that output on the scope, direct-coupled, while the signal comes up."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    elif answers.choice("trips") == "always":
        reason = "The relay does not hold even without a signal: read the offset before the relay."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found


def _warm(answers: Answers) -> list[Advice]:
    if answers.choice("warm_heatsink") != "yes" or answers.choice("rf_on_scope") == "none":
        return []
    if answers.choice("idle_rise") == "yes":
        reason = "Warm, and the idle current rises: read idle current over time first."
    else:
        reason = "Warm without a rise of idle current: oscillation until the scope shows none."
    return [Advice(AdviceKind.REMEASURE, reason)]


def _margin(findings: Findings) -> list[Advice]:
    names = [
        n
        for n in CHANNELS
        if Verdict.FAIL
        in (findings.verdict(f"overshoot_{n}_percent"), findings.verdict(f"cycles_{n}"))
    ]
    if not names:
        return []
    shown = " and ".join(names)
    reason = f"Too little margin ({shown}): read the output network and the compensation."
    return [Advice(AdviceKind.PLAN, reason)]


def _missing(answers: Answers) -> list[float]:
    """Return the usual capacitors that were not tried in a channel that was tried at all."""
    tries = [(f, n) for f, n, _ in _tries(answers)]
    return [
        farad
        for farad in TRIED_F
        if tries
        and any((n, True) not in {(m, 0.5 < f / farad < 2) for f, m in tries} for _, n in tries)
    ]


def _untried(answers: Answers) -> list[Advice]:
    missing = _missing(answers)
    if not missing:
        return []
    names = ", ".join(write(farad, "F") for farad in missing)
    reason = f"Stable so far; not tried: {names}. One that stands 2.2 µF may oscillate on 10 nF."
    return [Advice(AdviceKind.REMEASURE, reason)]


def _next(findings: Findings) -> str:
    answers = findings.answers
    if _oscillating(answers):
        return "power off and discharged: resistor, capacitor and coil of the output network"
    if answers.choice("trips") == "with-signal":
        if findings.verdict("source_dc_v") is Verdict.FAIL:
            return "the same with the source's direct voltage blocked, then the channels swapped"
        if answers.number("source_dc") is None:
            return "direct voltage of the source (source_dc), then the inputs swapped"
        return "the inputs swapped: if the same channel trips, the fault is in it"
    if missing := _missing(answers):
        return f"{write(missing[0], 'F')} across the load through 1.5 Ω, at small signal"
    if not answers.choice("rf_on_scope"):
        return "scope on the output without a signal: is there any high frequency (rf_on_scope)"
    return "power into dummy loads"


def _oscillates(findings: Findings) -> bool | None:
    tried = _tries(findings.answers) or findings.answers.choice("rf_on_scope")
    return bool(_oscillating(findings.answers)) if tried else None


def _one_channel(findings: Findings) -> bool | None:
    found = _oscillating(findings.answers)
    return len(found) == 1 if found else None


def _little_margin(findings: Findings) -> bool | None:
    return bool(_margin(findings)) if findings.all else None


def _said(key: str, *values: str) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        said = findings.answers.choice(key)
        return None if said == "" else said in values

    return seen


def _source(findings: Findings) -> bool | None:
    if findings.answers.number("source_dc") is None:
        return None
    return findings.verdict("source_dc_v") is Verdict.FAIL


ON_SIGNAL = _said("trips", "with-signal")
RULES = (
    Rule(
        NETWORK,
        (
            Clue(_oscillates, "it oscillates", "nothing oscillates", 1.5),
            Clue(_one_channel, "only one channel does", "both do", 0.5),
            Clue(_little_margin, "overshoot or ringing is large", "", 1),
        ),
        "power off: resistor, capacitor and coil of the output network, beside the other channel",
        CAPACITOR,
    ),
    Rule(
        COMPENSATION,
        (
            Clue(_oscillates, "it oscillates", "nothing oscillates", 1),
            Clue(_said("parts_changed", "yes"), "transistors were replaced", "original parts", 1.5),
            Clue(_little_margin, "overshoot or ringing is large", "", 1),
        ),
        "types fitted against the maker's list; compensation capacitors out of circuit",
        FASTER,
    ),
    Rule(
        DECOUPLING,
        (
            Clue(_oscillates, "it oscillates", "nothing oscillates", 0.8),
            Clue(_said("warm_heatsink", "yes"), "warm without a signal", "", 0.3),
        ),
        "a capacitor held across the board's supply, attached with the power off",
        COMMON,
    ),
    Rule(
        DYNAMIC,
        (
            Clue(ON_SIGNAL, "it trips only with a signal", "it does not trip", 2),
            Clue(_said("trips_channel", "left", "right"), "only one channel trips", "both trip", 1),
        ),
        "that output on the scope, direct-coupled, while the signal comes up; the inputs swapped",
        DYNAMIC_CASE,
    ),
    Rule(
        SOURCE_DC,
        (
            Clue(_source, "direct voltage comes from the source", "the source is clean", 1.5),
            Clue(ON_SIGNAL, "it trips with the source connected", "", 0.5),
            Clue(_said("trips_channel", "left", "right"), "", "both trip", 0.0),
        ),
        "the same with a capacitor in line, and with the input shorted",
        DYNAMIC_CASE,
    ),
    Rule(
        SENSE,
        (
            Clue(ON_SIGNAL, "it trips with a signal", "it does not trip", 0.7),
            Clue(_said("trips", "always"), "it does not hold", "", 0.5),
        ),
        "direct volts at the protection's sensing point when it trips; its capacitors",
        COMMON,
    ),
    Rule(
        LEAKY,
        (
            Clue(
                _said("trimmer_after_recap", "less"),
                "less trimmer is needed since the recap",
                "the trimmer stands as before",
                1.5,
            ),
        ),
        "leakage of the old capacitors, if they were kept",
        DYNAMIC_CASE,
    ),
    Rule(
        BIAS,
        (
            Clue(
                _said("trimmer_after_recap", "less", "more"),
                "the trimmer stands elsewhere",
                "",
                0.5,
            ),
        ),
        "every new part around the bias network against the board print, power off",
        COMMON,
    ),
)


def _number(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=low,
        high=high,
        by_meter=True,
        assumed_percent=3,
        assumed_counts=1,
    )


def _choose(key: str, prompt: str, *choices: str, default: str | None = None) -> ChoiceInput:
    offered = tuple(Choice(value, value.replace("-", " ").capitalize()) for value in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


ALL_THREE = "10 nF | {0} | {0}; 100 nF | stable | stable; 2.2 µF | rings | rings"

CHECK = Check(
    id="small-signal-stability",
    title="Stability at small signal",
    stage=Stage.SMALL_SIGNAL,
    power_states=(PowerState.DRIVEN, PowerState.MAINS),
    why="Oscillation heats an amplifier that seems idle and falsifies every other reading, so it "
    "is looked for first. What trips only with a signal belongs here too.",
    cautions=(
        "Put 1.5 Ω or a small fuse in series with the capacitor; small signal, seconds only.",
        "If it oscillates, turn down and switch off: its output network burns first.",
        "Check that the black terminals are ground before the scope's clip goes on.",
        "No speaker during this test. Local rules and licensed practice come first.",
    ),
    steps=(
        "Scope on the output, no signal: is there any high frequency? Is the heatsink warm?",
        "A square wave of 1 kHz, about 1 V, into the load: overshoot and ringing.",
        "Then 10 nF, 100 nF and 2.2 µF across the load through 1.5 Ω, one after the other.",
    ),
    inputs=(
        TableInput(
            key="capacitors",
            prompt="Tries: capacitor | left | right (stable, rings, oscillates)",
            columns=(
                TextInput(key="capacitor", prompt="Capacitor", required=True),
                TextInput(key="left", prompt="Left"),
                TextInput(key="right", prompt="Right"),
            ),
        ),
        NumberInput(
            key="series_ohm", prompt="In series with it", unit="Ω", low=0, high=100, default="1.5"
        ),
        _choose("rf_on_scope", "High frequency on the scope", "none", "left", "right", "both"),
        *(_number(f"overshoot_{n}", f"Overshoot, {n}", "%", 0, 500) for n in CHANNELS),
        *(_number(f"ringing_{n}", f"Ringing, {n}", "kHz", 0.1, 50_000) for n in CHANNELS),
        *(
            NumberInput(
                key=f"cycles_{n}", prompt=f"Cycles it rings, {n}", unit="", low=0, high=1000
            )
            for n in CHANNELS
        ),
        ChoiceInput(
            key="capacitor",
            prompt="Across the load during the square wave",
            choices=(
                Choice("none", "Nothing"),
                Choice("10nf", "10 nF"),
                Choice("100nf", "100 nF"),
                Choice("2.2uf", "2.2 µF"),
            ),
            default="none",
        ),
        _choose("warm_heatsink", "Is a heatsink warm without a signal?", "yes", "no"),
        _choose("idle_rise", "Does the idle current rise with it?", "yes", "no"),
        _choose("trips", "The protection relay trips", "never", "with-signal", "always"),
        _choose("trips_channel", "By which channel", "left", "right", "both"),
        _number("source_dc", "Direct voltage of the source or generator", "mV", -10_000, 10_000),
        _choose("trimmer_after_recap", "Trimmer needed since the recap", "less", "same", "more"),
        _choose("parts_changed", "Were transistors replaced?", "yes", "no"),
        CaptureInput(
            key="recording",
            prompt="Or the square wave, recorded",
            analysis="square",
            setup=_setup,
        ),
        NumberInput(
            key="nominal_hz",
            prompt="Frequency of the square wave",
            unit="Hz",
            low=10,
            high=20_000,
            default="1000",
        ),
    ),
    results=(
        *(
            ResultKey(f"{key}_{name}{ending}", f"{title}, {name}", unit)
            for name in CHANNELS
            for key, ending, title, unit in (
                ("overshoot", "_percent", "overshoot", "%"),
                ("ringing", "_hz", "ringing", "Hz"),
                ("cycles", "", "cycles of ringing", ""),
            )
        ),
        ResultKey("oscillating", "channels that oscillate", ""),
        ResultKey("source_dc_v", "direct voltage of the source", "V"),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="Stands 2.2 µF, oscillates on 10 nF",
            source=CAPACITOR,
            answers={"capacitors": ALL_THREE.format("oscillates")},
            values={"oscillating": (2, 0)},
            verdicts={"oscillating": Verdict.FAIL},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=NETWORK,
        ),
        Example(
            title="Stable on all three",
            source=CAPACITOR,
            answers={"capacitors": ALL_THREE.format("stable"), "rf_on_scope": "none"},
            verdicts={"oscillating": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.REMEASURE),
        ),
        Example(
            title="Only 2.2 µF tried",
            source=CAPACITOR,
            answers={"capacitors": "2.2uF | stable | stable"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.STOP),
        ),
        Example(
            title="High frequency on one output, transistors replaced",
            source=FASTER,
            answers={"rf_on_scope": "left", "parts_changed": "yes", "warm_heatsink": "yes"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=COMPENSATION,
        ),
        Example(
            title="Warm without a rise of idle current, no scope yet",
            source="needs of the bench: find oscillation first",
            answers={"warm_heatsink": "yes", "idle_rise": "no"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
        ),
        Example(
            title="Right trips the relay only with a signal; generator 5 mV; less trimmer",
            source=DYNAMIC_CASE,
            answers={
                "trips": "with-signal",
                "trips_channel": "right",
                "source_dc": "5 mV",
                "trimmer_after_recap": "less",
            },
            verdicts={"source_dc_v": Verdict.FAIL},
            advice=(AdviceKind.REMEASURE, AdviceKind.REMEASURE, AdviceKind.PLAN),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=DYNAMIC,
        ),
        Example(
            title="Left trips with a signal, the source is clean",
            source=DYNAMIC_CASE,
            answers={"trips": "with-signal", "trips_channel": "left", "source_dc": "0.0 mV"},
            verdicts={"source_dc_v": Verdict.PASS},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=DYNAMIC,
        ),
        Example(
            title="45 % of overshoot into a resistor",
            source=COMMON,
            answers={"overshoot_left": "45 %", "overshoot_right": "8 %", "cycles_left": "14"},
            verdicts={"overshoot_left_percent": Verdict.FAIL, "cycles_left": Verdict.FAIL},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=COMPENSATION,
        ),
        Example(
            title="The same with 2.2 µF across the load",
            source=COMMON,
            answers={"overshoot_left": "45 %", "capacitor": "2.2uf", "cycles_left": "4"},
            verdicts={"overshoot_left_percent": Verdict.NOT_COMPARABLE},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN, AdviceKind.STOP),
        ),
    ),
    sources=(
        f"Stable on 2.2 µF, oscillating on 10 nF: {CAPACITOR}",
        f"Trips only with a signal, direct volts of a source: {DYNAMIC_CASE}",
        FASTER,
        f"20 % of overshoot, ten cycles, 1 mV of a source: {COMMON}",
    ),
)

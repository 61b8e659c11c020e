"""Junctions, resistors, insulation and trimmers with the power off, beside the good channel."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec import quantity
from backtospec.analysis import cold_parts
from backtospec.analysis.cold_parts import BAD, SMALL_OHM, Band, State
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Cause,
    Check,
    Choice,
    ChoiceInput,
    Counsel,
    Example,
    Findings,
    Measurement,
    NumberInput,
    ResultKey,
    Row,
    Stage,
    TableFigure,
    TableInput,
    TextInput,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, MeterRange, write
from backtospec.records import Condition, Limit, PowerState
from backtospec.verdict import Result, Verdict

COMMON = "common practice, no source"
IN_CIRCUIT = "audiokarma.org/forums threads 836859 p. 2"
OPEN_RESISTOR = "ilpuntotecnico.com topic 74626"
DRIFT = "amateur's blog entry 2025/01/04/151404"

TOLERANCE_PERCENT = 10.0
"""Where none is marked or stated (common practice, no source)."""

DRIFTED = "drifted resistor"
OVERLOADED = "overloaded by a part that it feeds"
SHORTED = "shorted junction, here or in parallel with it"
OPENED = "open junction"
UPSTREAM = "fault before the output stage"
NEIGHBOUR = "neighbour in circuit"
INSULATOR = "insulator cracked, pierced or dirty"
WORN = "worn trimmer"

RESISTORS = ("resistor", "fusible", "emitter-resistor", "string")
JUNCTIONS = ("diode", "junction")
SIDES = ("good", "bad")


@dataclass(frozen=True, slots=True)
class _Seen:
    """One reading of one part with what it says."""

    part: str
    kind: str
    side: str
    text: str
    state: State
    value: Measured | None
    band: Band | None = None

    @property
    def name(self) -> str:
        return f"{self.part} ({self.side} channel)"

    @property
    def shown(self) -> str:
        """The reading in words, with its deviation where there is a nominal."""
        if self.value is None and self.state is State.OPEN:
            return self.part
        if self.value is None or self.kind in JUNCTIONS:
            return f"{self.part} {self.text}"
        read = write(self.value.value, "Ω")
        if self.band is None:
            return f"{self.part} {read}"
        off = (self.value.value / self.band.nominal - 1) * 100
        return f"{self.part} {read} of {write(self.band.nominal, 'Ω')} ({off:+.1f} %)"


def _text(row: Row, key: str) -> str:
    cell = row.get(key, "")
    return cell if isinstance(cell, str) else ""


def _ohm(text: str, where: str) -> float:
    if cold_parts.is_open(text):
        return math.inf
    return 0.0 if cold_parts.is_short(text) else quantity.read(text, "Ω", where, 0, 1e12)


def _measured(text: str, value: float, unit: str, answers: Answers) -> Measured:
    """Return a reading with the meter's uncertainty; typed readings are rounded to a count."""
    percent, counts = (answers.meter.percent, answers.meter.counts) if answers.meter else (0.5, 1)
    step = 0.0 if cold_parts.is_short(text) else quantity.resolution(text, unit)
    return MeterRange(percent, counts, step).measured(value)


def _seen(answers: Answers) -> list[_Seen]:
    found = []
    for row in answers.table("parts"):
        for side in SIDES:
            if text := _text(row, side):
                found.append(_judge(row, side, text, answers))
    return found


def _judge(row: Row, side: str, text: str, answers: Answers) -> _Seen:
    part = _text(row, "part")
    # a part without a kind: with a nominal it is a resistor, without one a junction
    kind = _text(row, "kind") or ("resistor" if _text(row, "nominal") else "junction")
    where = f"{part}, {side}"
    usual = "out" if kind == "insulation" else answers.choice("in_circuit")
    in_circuit = (_text(row, "in_circuit") or usual) == "in"
    if kind in JUNCTIONS:
        return _junction(row, side, text, answers, kind, in_circuit)
    if kind == "trimmer" and (moved := _sweep(text)) is not None:
        return _Seen(part, kind, side, text, moved, None)
    ohm = _ohm(text, where)
    value = _measured(text, ohm, "Ω", answers) if math.isfinite(ohm) else None
    if kind == "insulation":
        return _Seen(
            part, kind, side, text, cold_parts.judge_insulation(ohm, in_circuit=in_circuit), value
        )
    nominal = _text(row, "nominal")
    if not nominal:
        raise BenchError(f"{part} has no nominal value.", "parts", "Give what is marked on it.")
    stated = row.get("tolerance")
    usual_percent = 20.0 if kind == "trimmer" else TOLERANCE_PERCENT
    tolerance = stated.value if isinstance(stated, Measured) else usual_percent
    band = Band(quantity.read(nominal, "Ω", f"{part}, nominal", 1e-3, 1e9), tolerance)
    leads = answers.number("lead_ohm")
    if leads is not None and value is not None:
        value = value - leads
    if value is None:
        return _Seen(part, kind, side, text, State.OPEN, None, band)
    state = cold_parts.judge_resistor(
        value.value, value.u, band, in_circuit=in_circuit, leads_known=leads is not None
    )
    return _Seen(part, kind, side, text, state, value, band)


def _junction(
    row: Row, side: str, text: str, answers: Answers, kind: str, in_circuit: bool
) -> _Seen:
    part = _text(row, "part")

    def volts(of: str, typed: str) -> float:
        if cold_parts.is_open(typed):
            return math.inf
        if cold_parts.is_short(typed):
            return 0.0
        # some meters show millivolts on the diode range, without saying so
        volt = quantity.read(typed, "V", f"{part}, {of}", 0, 3000)
        return volt / 1000 if volt > 10 else volt

    value = volts(side, text)
    other_text = _text(row, SIDES[1 - SIDES.index(side)])
    other = volts("other channel", other_text) if other_text else None
    nominal = _text(row, "nominal")
    expected = quantity.read(nominal, "V", f"{part}, nominal", 0.1, 10) if nominal else None
    if other is not None and math.isinf(value) and math.isinf(other):
        state = State.INCONCLUSIVE  # both open: the probes are the wrong way round
    else:
        state = cold_parts.judge_junction(value, other, expected, in_circuit=in_circuit)
        if state is State.UNLIKE and side == "good":
            state = State.GOOD
    volt = _measured(text, value, "V", answers) if math.isfinite(value) else None
    return _Seen(part, kind, side, text, state, volt)


def _sweep(text: str) -> State | None:
    """Return what a trimmer's sweep says, or ``None`` where a resistance was read."""
    word = text.strip().lower()
    if word in ("smooth", "ok", "even", "clean"):
        return State.GOOD
    if cold_parts.is_open(word):
        return State.OPEN
    if any(w in word for w in ("jump", "scratch", "erratic", "noisy", "rough", "dropout")):
        return State.JUMPS
    return None


def measure(answers: Answers) -> Measurement:
    """Return each deviation and junction, and how many parts are bad or not proven."""
    seen = _seen(answers)
    if not seen:
        raise BenchError("no reading was given.", "parts", "Give a reading in good or bad.")
    results = [
        Result("bad_count", RESULTS["bad_count"][0], _count(seen, *BAD), "", "counted", ("parts",)),
        Result(
            "unproven_count",
            RESULTS["unproven_count"][0],
            _count(seen, State.INCONCLUSIVE, State.UNLIKE),
            "",
            "counted",
            ("parts",),
        ),
    ]
    leads_known = "lead_ohm" in answers.texts
    for one in seen:
        results += _results(one, leads_known)
    return Measurement(tuple(results), (_figure(seen),))


def _results(one: _Seen, leads_known: bool) -> list[Result]:
    """Return the figures of one reading; what proves nothing carries that as a condition."""
    if one.value is None:
        return []
    proves = "low in circuit" if one.state is State.INCONCLUSIVE else "yes"
    if one.kind in JUNCTIONS:
        figures = [("junction_v", one.value, "diode test, forward")]
    elif one.band is None:
        figures = [("insulation_ohm", one.value, "collector to heatsink")]
    else:
        if not leads_known and one.band.nominal <= SMALL_OHM and one.state is State.GOOD:
            proves = "leads included"
        off = (one.value / one.band.nominal - 1) * 100
        method = "read, less the leads, ÷ nominal" if leads_known else "read ÷ nominal"
        share = off / one.band.tolerance_percent * 100
        figures = [
            ("resistor_percent", off, method),
            ("resistor_share_percent", share, f"tolerance ±{one.band.tolerance_percent:g} %"),
        ]
    return [
        Result(
            key,
            f"{one.name}: {RESULTS[key][0]}",
            value,
            RESULTS[key][1],
            method,
            ("parts",),
            {"conclusive": proves},
        )
        for key, value, method in figures
    ]


def _count(seen: list[_Seen], *states: State) -> Measured:
    return Measured(sum(one.state in states for one in seen))


def _figure(seen: list[_Seen]) -> TableFigure:
    rows = tuple(
        (
            one.part,
            one.kind.replace("-", " "),
            write(one.band.nominal, "Ω") if one.band else "–",
            one.side,
            one.text,
            one.state.value,
        )
        for one in seen
    )
    return TableFigure(
        "parts",
        "Read with the power off",
        ("Part", "Kind", "Nominal", "Channel", "Read", "Says"),
        rows,
    )


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the limits: no bad part; a junction's usual volts, where the reading is conclusive."""
    yes = (Condition("conclusive", "yes"),)
    low_v, high_v = cold_parts.JUNCTION_V
    least = cold_parts.INSULATION_OHM[0]
    return (
        Limit("bad_count", None, 0.0, "", "every part as it should be", (), True),
        Limit("resistor_share_percent", -100.0, 100.0, "%", "tolerance of the part", yes, True),
        Limit("junction_v", low_v, high_v, "V", f"silicon, 0.5–0.7 V, {COMMON}", yes, True),
        Limit("insulation_ohm", least, None, "Ω", COMMON, yes, True),
    )


def advise(findings: Findings) -> Counsel:
    """Return which parts go, which must be read again, and what to look for first."""
    answers = findings.answers
    seen = _seen(answers)
    advice: list[Advice] = []
    if bad := [one for one in seen if one.state in BAD]:
        advice.append(Advice(AdviceKind.REPLACE, _replace(bad, answers)))
    if doubtful := [one for one in seen if one.state in (State.INCONCLUSIVE, State.UNLIKE)]:
        shown = ", ".join(one.shown for one in doubtful)
        wrong_way = any(cold_parts.is_open(one.text) for one in doubtful)
        how = "swap the probes and read again" if wrong_way else "lift one leg and read again"
        reason = f"{shown}: not proven in circuit; {how}."
        advice.append(Advice(AdviceKind.REMEASURE, reason))
    if edge := [one for one in seen if one.state is State.EDGE]:
        shown = ", ".join(one.shown for one in edge)
        reason = f"{shown}: at the edge of its tolerance. Usable; renew it while the board is out."
        advice.append(Advice(AdviceKind.PLAN, reason))
    causes = _causes(seen, answers)
    if not advice:
        advice.append(Advice(AdviceKind.LEAVE, _sound(seen, answers)))
    return Counsel(tuple(advice), causes, _next(seen, answers))


def _replace(bad: list[_Seen], answers: Answers) -> str:
    shown = ", ".join(
        f"{one.shown} {one.state.value}" if one.state is not State.HIGH else one.shown
        for one in bad
    )
    if any(one.kind == "trimmer" for one in bad):
        return f"{shown}: replace the trimmer before adjusting anything; note its ohms first."
    if _overloaded(bad, answers):
        it = "it" if len(bad) == 1 else "them"
        if answers.choice("visible") == "bulging":
            first = f"the bulging capacitor overloaded {it}. Replace the capacitor first"
            return f"{shown}: {first}, then {it}."
        return f"{shown}: find what overloaded {it} first, then replace {it}."
    if any(one.kind == "insulation" for one in bad):
        return f"{shown}: no insulation to the heatsink. Renew the washer before any power."
    if any(one.kind in JUNCTIONS for one in bad):
        return f"{shown}: replace it, and treat its partners as suspect."
    return f"{shown}: replace. In circuit nothing else makes a resistor read high."


def _overloaded(bad: list[_Seen], answers: Answers) -> list[_Seen]:
    """Return the low-value resistors that failed: something made them."""
    if answers.choice("visible") == "bulging":
        return [one for one in bad if one.band is not None]
    return [
        one
        for one in bad
        if one.band is not None
        and one.kind != "trimmer"
        and (one.kind in ("fusible", "emitter-resistor") or one.band.nominal <= 100)
    ]


def _causes(seen: list[_Seen], answers: Answers) -> tuple[Cause, ...]:
    bad = [one for one in seen if one.state in BAD]
    found: list[Cause] = []
    if failed := _overloaded(bad, answers):
        signs = tuple(f"{one.shown} {one.state.value}" for one in failed)
        if answers.choice("visible") == "bulging":
            signs += ("a capacitor near it bulges",)
        next_reading = "the capacitors and transistors it feeds, for a short or leakage"
        found.append(Cause(OVERLOADED, signs, (), next_reading, OPEN_RESISTOR))
    drifted = [
        o for o in bad if o.band and o.kind != "trimmer" and o.state in (State.HIGH, State.LOW)
    ]
    if drifted:
        signs = tuple(one.shown for one in drifted)
        found.append(Cause(DRIFTED, signs, (), "the same resistor with one leg lifted", DRIFT))
    for states, name, next_reading in (
        ((State.SHORT,), SHORTED, "each device of the bank out of circuit; its emitter resistor"),
        ((State.OPEN,), OPENED, "the same junction out of circuit, probes both ways"),
    ):
        signs = tuple(
            f"{o.name} {o.text}" for o in bad if o.kind in JUNCTIONS and o.state in states
        )
        if signs:
            found.append(Cause(name, signs, (), next_reading, COMMON))
    for kind, name, next_reading in (
        ("insulation", INSULATOR, "the device unscrewed from its heatsink"),
        ("trimmer", WORN, "its ohms from wiper to each end while it is turned"),
    ):
        if signs := tuple(f"{o.name} {o.text}" for o in bad if o.kind == kind):
            found.append(Cause(name, signs, (), next_reading, COMMON))
    if low := tuple(one.shown for one in seen if one.state is State.INCONCLUSIVE):
        found.append(Cause(NEIGHBOUR, low, (), "the part with one leg lifted", IN_CIRCUIT))
    if not bad and answers.choice("symptom") == "dc-at-output":
        signs = ("DC at the output", *(f"{o.shown}: fine" for o in seen if o.state is State.GOOD))
        next_reading = "collector voltages of the stages before it, beside the good channel"
        found.append(Cause(UPSTREAM, signs, (), next_reading, "ameblo.jp entry 12411295586"))
    return tuple(found)


def _sound(seen: list[_Seen], answers: Answers) -> str:
    small = [o for o in seen if o.band and o.band.nominal <= SMALL_OHM]
    leads = ""
    if small and answers.number("lead_ohm") is None:
        leads = " The leads account for what the small ones read more."
    if answers.choice("symptom") == "dc-at-output":
        return f"All {len(seen)} readings are fine: the fault lies before these parts.{leads}"
    count = "It reads as it should" if len(seen) == 1 else f"All {len(seen)} readings are fine"
    return f"{count}. Leave it alone.{leads}"


def _next(seen: list[_Seen], answers: Answers) -> str:
    if any(one.state is State.INCONCLUSIVE for one in seen):
        return "one leg lifted, the same reading again"
    if any(one.kind in JUNCTIONS and one.state in BAD for one in seen):
        return "its partners, drivers and emitter resistors, then what drove it to fail"
    if _overloaded([one for one in seen if one.state in BAD], answers):
        return "what it feeds, for a short or leakage, before a new resistor goes in"
    if (
        any(o.band and o.band.nominal <= SMALL_OHM for o in seen)
        and "lead_ohm" not in answers.texts
    ):
        return "short the leads and read them alone (lead_ohm)"
    if answers.choice("symptom") == "dc-at-output":
        return "node voltages of the driver and input stages, beside the good channel"
    return "a good junction does not prove gain: on to the capacitors, then first power"


RESULTS = {
    "bad_count": ("readings that condemn a part", ""),
    "unproven_count": ("readings that prove nothing yet", ""),
    "resistor_percent": ("off its nominal", "%"),
    "resistor_share_percent": ("of its tolerance", "%"),
    "junction_v": ("junction", "V"),
    "insulation_ohm": ("insulation", "Ω"),
}
CIRCUIT = (Choice("in", "In circuit"), Choice("out", "Out of circuit, or one leg lifted"))
RE_PAIR = "left Re | emitter-resistor | 0R44 | - | 0.7"

CHECK = Check(
    id="junctions-and-resistors",
    title="Junctions and resistors",
    stage=Stage.UNPOWERED,
    power_states=(PowerState.SAFE,),
    why="Most faults show with the power off, beside the good channel. In circuit a resistor that "
    "reads high is bad; one that reads low may only have a neighbour.",
    cautions=(
        "Unplugged, discharged, measured below 2 V, and again a minute later: residual voltage "
        "falsifies every reading and can destroy the meter.",
        "Diode test only; no resistance range that pushes more than a few milliamperes.",
        "If one output device failed, its partners are suspect.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Short the leads and read them alone.",
        "The same part in both channels, one after the other: good, then bad.",
        "Junctions forward and reverse; emitter and fusible resistors; collector to heatsink.",
        "Turn trimmers end to end on the ohm range, their position marked first.",
    ),
    inputs=(
        TableInput(
            key="parts",
            prompt="Parts: part | kind | nominal | good channel | bad channel | tolerance",
            required=True,
            columns=(
                TextInput(key="part", prompt="Part", required=True),
                ChoiceInput(
                    key="kind",
                    prompt="Kind",
                    choices=(
                        Choice("resistor", "Resistor"),
                        Choice("fusible", "Fusible resistor"),
                        Choice("emitter-resistor", "Emitter resistor"),
                        Choice("string", "Bias string"),
                        Choice("diode", "Diode"),
                        Choice("junction", "Transistor junction"),
                        Choice("insulation", "Collector to heatsink"),
                        Choice("trimmer", "Trimmer"),
                    ),
                ),
                TextInput(key="nominal", prompt="Nominal"),
                TextInput(key="good", prompt="Good channel, or left (OL where open)"),
                TextInput(key="bad", prompt="Bad channel, or right"),
                NumberInput(key="tolerance", prompt="Tolerance", unit="%", low=0.01, high=100),
                ChoiceInput(key="in_circuit", prompt="In or out of circuit", choices=CIRCUIT),
            ),
        ),
        NumberInput(
            key="lead_ohm",
            prompt="Leads alone, shorted",
            unit="Ω",
            low=0,
            high=10,
            by_meter=True,
            assumed_counts=1,
        ),
        ChoiceInput(
            key="in_circuit", prompt="In or out of circuit?", choices=CIRCUIT, default="in"
        ),
        ChoiceInput(
            key="symptom",
            prompt="What is wrong with it?",
            choices=(
                Choice("none", "Nothing known"),
                Choice("dc-at-output", "DC at the output"),
                Choice("blown-fuse", "Blown fuse"),
                Choice("distortion", "Distortion"),
            ),
        ),
        ChoiceInput(
            key="visible",
            prompt="What is to be seen near it?",
            choices=(
                Choice("none", "Nothing"),
                Choice("bulging", "A bulging capacitor"),
                Choice("burnt", "A burnt place"),
            ),
        ),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="470 kΩ ±5 % reads 544 kΩ and 498 kΩ",
            source=DRIFT,
            answers={
                "parts": "R1 | resistor | 470k | 544k | - | 5 %\n"
                "R2 | resistor | 470k | 498k | - | 5 %"
            },
            advice=(AdviceKind.REPLACE,),
            values={"bad_count": (2, 0), "resistor_percent": (5.957, 0.01)},
            verdicts={"bad_count": Verdict.FAIL, "resistor_share_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.REMEASURE),
            cause=DRIFTED,
        ),
        Example(
            title="0.44 Ω reads 0.7 Ω with the leads, bias string as expected",
            source="ameblo.jp entry 12411295586",
            answers={
                "parts": f"{RE_PAIR}\nbias string | string | 229 | - | 229.4",
                "symptom": "dc-at-output",
            },
            advice=(AdviceKind.LEAVE,),
            values={"bad_count": (0, 0)},
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
            cause=UPSTREAM,
        ),
        Example(
            title="The same with the leads read alone",
            source="ameblo.jp entry 12411295586",
            answers={"parts": "Re | emitter resistor | 0.44 | - | 0.70", "lead_ohm": "0.25"},
            advice=(AdviceKind.LEAVE,),
            values={"resistor_percent": (2.27, 0.01)},
            never=(AdviceKind.REPLACE,),
        ),
        Example(
            title="A 10 Ω resistor open, a 330 µF/50 V capacitor bulging, output devices perfect",
            source=OPEN_RESISTOR,
            answers={
                "parts": "Q1 B-E | junction | - | 0.55 V | 0.56 V\nR15 | resistor | 10 | 10.1 | OL",
                "symptom": "dc-at-output",
                "visible": "bulging",
            },
            advice=(AdviceKind.REPLACE,),
            values={"bad_count": (1, 0)},
            never=(AdviceKind.LEAVE,),
            cause=OVERLOADED,
        ),
        Example(
            title="Low in circuit proves nothing",
            source=IN_CIRCUIT,
            answers={"parts": "R7 | resistor | 47k | 31k | 31k | 5 %"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={"bad_count": Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=NEIGHBOUR,
        ),
        Example(
            title="Low with a leg lifted is bad",
            source=COMMON,
            answers={"parts": "R7 | resistor | 47k | 31k | - | 5 %", "in_circuit": "out"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.REMEASURE, AdviceKind.LEAVE),
            cause=DRIFTED,
        ),
        Example(
            title="A shorted output device beside a good one",
            source=COMMON,
            answers={
                "parts": "Q5 B-E | junction | - | 0.561 V | 0.003 V\n"
                "Q5 B-C | junction | - | 0.57 | short"
            },
            advice=(AdviceKind.REPLACE,),
            verdicts={"bad_count": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=SHORTED,
        ),
        Example(
            title="An open junction",
            source=COMMON,
            answers={"parts": "D3 | diode | - | 0.60 V | OL"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE, AdviceKind.REMEASURE),
            cause=OPENED,
        ),
        Example(
            title="Open in both channels: the probes the wrong way round",
            source=COMMON,
            answers={"parts": "D3 | diode | - | OL | OL"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.REPLACE,),
        ),
        Example(
            title="All junctions alike",
            source=COMMON,
            answers={"parts": "Q1 | junction | - | 0.62 V | 615 mV; D1 | diode | - | 0.58 | 0.57"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"junction_v": Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
        ),
        Example(
            title="Collector to heatsink",
            source=COMMON,
            answers={"parts": "Q5 | insulation | - | OL | 12k"},
            advice=(AdviceKind.REPLACE,),
            verdicts={"insulation_ohm": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=INSULATOR,
        ),
        Example(
            title="A trimmer that jumps",
            source="tnt-audio.com/clinica/bias_e.html",
            answers={"parts": "VR1 | trimmer | 1k | smooth | jumps"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.ADJUST, AdviceKind.LEAVE),
            cause=WORN,
        ),
    ),
    sources=(
        f"High in circuit is bad, low proves nothing: {IN_CIRCUIT}",
        f"Drifted resistors: {DRIFT}; rssing.com chan-54301106/article337",
        f"Fix what overloaded it first: {OPEN_RESISTOR}",
        "Leads in a small reading: ameblo.jp entry 12411295586",
        "Trimmers: tnt-audio.com/clinica/bias_e.html",
        f"Junctions 0.5–0.7 V, insulation, tolerance where none is marked: {COMMON}",
    ),
    needs=(8, 9, 21),
    covers_off=True,
    before_closing="emitter and fusible resistors, output junctions and heatsink insulation read",
)

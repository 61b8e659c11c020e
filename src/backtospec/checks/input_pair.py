"""Input pair: what offset its gains, resistors and junctions make, and whether that explains it."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.analysis import input_pair
from backtospec.analysis.input_pair import InputPair
from backtospec.check import (
    AdviceKind,
    Answers,
    Axis,
    Bar,
    BarsFigure,
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
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, rectangular, write
from backtospec.records import Channel, Limit, PowerState
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
METHOD = "diyaudio.com thread 40721 (2004-09)"
MATCHING = "gatech.edu amplifier construction notes, part 2"
COMMON = "common practice, no source"
MEMORY = "from memory"

UNREAD_VBE_V = 5e-3
"""Junctions of one type that nobody compared lie within this of each other (from memory)."""

HIGH_V = 0.050
"""Above this an offset is worth matching for; published bands differ (convention)."""

MATCHED_PERCENT = 10.0
"""Gains this close count as matched (common practice, no source)."""

WORN_RATIO = 2.0
"""A device with less than half its partner's gain is worn (from memory)."""

USUAL_BASE_A = (4e-6, 20e-6)
"""Base currents to be expected (gatech.edu amplifier construction notes, part 2)."""

UNMATCHED = "unequal current gains of the input pair"
WORN = "worn device: low gain at a normal base-emitter voltage"
UNEVEN = "unequal resistances at the two bases"
ELSEWHERE = "something outside the pair: leaky capacitor or drifted resistor"


@dataclass(frozen=True, slots=True)
class _Known:
    """What was answered, with what follows from it."""

    pair: InputPair | None
    missing: tuple[str, ...]
    ohm: Measured | None
    offsets: dict[str, Measured]


def _known(answers: Answers) -> _Known:
    number = answers.number
    ohm_1 = number("r1")
    source = number("source_ohm")
    if ohm_1 is not None and source is not None:
        ohm_1 = ohm_1 + source
    needed = {
        "tail": number("tail"),
        "hfe1": number("hfe1"),
        "hfe2": number("hfe2"),
        "r1": ohm_1,
        "r2": number("r2"),
    }
    vbe = number("vbe_difference") or rectangular(0.0, UNREAD_VBE_V)
    gain = number("dc_gain") or Measured(1.0)
    given = [value for value in needed.values() if value is not None]
    pair = None
    if len(given) == len(needed):
        tail, hfe_1, hfe_2, one, two = given
        pair = InputPair(tail, hfe_1, hfe_2, one, two, vbe, gain)
    offsets = {n: v for n in CHANNELS if (v := number(n)) is not None}
    missing = tuple(key for key, value in needed.items() if value is None)
    return _Known(pair, missing, ohm_1, offsets)


def measure(answers: Answers) -> Measurement:
    """Return the predicted offset and its parts, the mismatch, and what a measured one needs."""
    known, results = _known(answers), list[Result]()

    def add(key: str, value: Measured | None, method: str, *inputs: str, name: str = "") -> None:
        if value is not None:
            title, unit = RESULTS[key]
            results.append(
                Result(key, title, value, unit, method, inputs, channel=CHANNELS.get(name))
            )

    pair, every = known.pair, ("tail", "hfe1", "hfe2", "r1", "r2", "source_ohm", "vbe_difference")
    if pair is not None:
        sign = -1 if answers.choice("polarity") == "pnp" else 1
        method = "base-current drops and junction difference"
        add("predicted_v", pair.offset_v() * sign, method, *every)
        add("drop_1_v", pair.drop_1_v, "tail ÷ 2 ÷ gain × resistance", "tail", "hfe1", "r1")
        add("drop_2_v", pair.drop_2_v, "tail ÷ 2 ÷ gain × resistance", "tail", "hfe2", "r2")
        add("r2_for_zero_ohm", pair.ohm_2_for_zero(), "where both drops cancel", *every)
    one, two = answers.number("hfe1"), answers.number("hfe2")
    if one is not None and two is not None:
        apart = input_pair.mismatch_percent(one, two)
        add("mismatch_percent", apart, "difference ÷ mean", "hfe1", "hfe2")
    for name, offset in known.offsets.items():
        if known.ohm is not None:
            need = abs(offset) / known.ohm
            add(f"needed_{name}_a", need, "offset ÷ input resistance", name, "r1", name=name)
    if not results:
        raise BenchError(
            "nothing follows from this yet.",
            "input pair",
            "Give tail, hfe1, hfe2, r1 and r2; or r1 with the offset in left or right.",
        )
    return Measurement(tuple(results), _figures(known))


def _figures(known: _Known) -> tuple[Figure, ...]:
    bars = [
        Bar(f"{name.capitalize()}, read", value.value * 1000, channel=CHANNELS[name])
        for name, value in known.offsets.items()
    ]
    if known.pair is not None:
        bars.append(Bar("Predicted", known.pair.offset_v().value * 1000))
    if not bars:
        return ()
    return (BarsFigure("offset", "Offset", Axis("offset", "mV"), tuple(bars)),)


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the conventions: a predicted offset worth no work, and gains that count as matched."""
    bands = "convention; published bands differ"
    return (
        Limit("predicted_v", -HIGH_V, HIGH_V, "V", bands, (), True),
        Limit("mismatch_percent", None, MATCHED_PERCENT, "%", f"matched, {COMMON}", (), True),
    )


def _explained(known: _Known) -> bool | None:
    """Say whether the prediction accounts for the largest offset read, its sign left open."""
    if known.pair is None or not known.offsets:
        return None
    worst = max((abs(v) for v in known.offsets.values()), key=lambda v: v.value)
    predicted = abs(known.pair.offset_v())
    return worst.value <= predicted.value + 2 * (worst - predicted).u


def _ratio(answers: Answers) -> float | None:
    one, two = answers.number("hfe1"), answers.number("hfe2")
    if one is None or two is None:
        return None
    return max(one.value, two.value) / min(one.value, two.value)


def advise(findings: Findings) -> Counsel:
    """Return whether to match, to look elsewhere, or to leave it."""
    answers, known = findings.answers, _known(findings.answers)
    shown = " and ".join(f"{n} {write(v.value, 'V')}" for n, v in known.offsets.items())
    worst = max((abs(v.value) for v in known.offsets.values()), default=0.0)
    ratio = _ratio(answers)
    if ratio is not None and ratio > WORN_RATIO:
        reason = (
            f"One device has {ratio:.2g} times the gain of the other: renew the pair as a matched "
            "one. A diode test does not show lost gain."
        )
        step = "match at the current they run at, supply held constant, and warm"
        return Counsel.of(AdviceKind.REPLACE, reason, next_step=step)
    if known.pair is None:
        return _without_prediction(findings, known, shown, worst)
    predicted = known.pair.offset_v()
    says = f"The pair accounts for {write(abs(predicted.value), 'V')} ± "
    says += write(predicted.expanded(), "V", 2)
    if _explained(known) is False:
        reason = f"{says}, and {shown} was read: look outside the pair before matching anything."
        step = "leakage of the feedback and coupling capacitors; resistors at both bases"
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step=step)
    if max(worst, abs(predicted.value)) <= HIGH_V:
        reason = f"{says}: harmless either way. Change nothing for it."
        return Counsel.of(AdviceKind.LEAVE, reason, next_step="record it")
    matched = findings.verdict("mismatch_percent") is Verdict.PASS
    how = (
        "The gains are alike already: even out the resistances at the two bases."
        if matched
        else "Match the gains of the input pair first; do not redesign the stage."
    )
    return Counsel.of(AdviceKind.PLAN, f"{says}. {how}", next_step="read the offset again, warm")


def _without_prediction(findings: Findings, known: _Known, shown: str, worst: float) -> Counsel:
    missing = ", ".join(known.missing)
    needs = [v for n in CHANNELS if (v := findings.value(f"needed_{n}_a")) is not None]
    step = f"for a prediction give {missing} too"
    if not needs:
        apart = findings.value("mismatch_percent")
        assert apart is not None
        if findings.verdict("mismatch_percent") is Verdict.FAIL:
            reason = f"The gains differ by {apart.value:.2g} %: match them when it is open anyway."
            return Counsel.of(AdviceKind.PLAN, reason, next_step=step)
        reason = f"The gains differ by {apart.value:.2g} %: matched. Leave the pair alone."
        return Counsel.of(AdviceKind.LEAVE, reason, next_step=step)
    need = max(v.value for v in needs)
    if worst <= HIGH_V:
        reason = f"{shown}: harmless. Change nothing for it."
        return Counsel.of(AdviceKind.LEAVE, reason, next_step=step)
    if need > USUAL_BASE_A[1]:
        reason = (
            f"{shown} would need {write(need, 'A', 2)} through the input resistance: more than "
            "base currents are. Look for a leaky capacitor or a drifted resistor first."
        )
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step="leakage of those capacitors")
    reason = (
        f"{shown}: {write(need, 'A', 2)} through the input resistance makes that, as base currents "
        "do. Match the current gains of the input pair, renew the feedback electrolytic; do not "
        "redesign the stage."
    )
    return Counsel.of(AdviceKind.PLAN, reason, next_step=step)


def _mismatched(findings: Findings) -> bool | None:
    if findings.value("mismatch_percent") is None:
        return None
    return findings.verdict("mismatch_percent") is Verdict.FAIL


def _worn(findings: Findings) -> bool | None:
    ratio = _ratio(findings.answers)
    return None if ratio is None else ratio > WORN_RATIO


def _uneven(findings: Findings) -> bool | None:
    pair = _known(findings.answers).pair
    if pair is None:
        return None
    larger = max(pair.ohm_1.value, pair.ohm_2.value)
    return abs(pair.ohm_1.value - pair.ohm_2.value) > 0.1 * larger


def _usual_need(findings: Findings) -> bool | None:
    needs = [v.value for n in CHANNELS if (v := findings.value(f"needed_{n}_a")) is not None]
    return max(needs) <= USUAL_BASE_A[1] if needs else None


def _high(findings: Findings) -> bool | None:
    offsets = _known(findings.answers).offsets
    return max(abs(v.value) for v in offsets.values()) > HIGH_V if offsets else None


def _unexplained(findings: Findings) -> bool | None:
    explained = _explained(_known(findings.answers))
    return None if explained is None else not explained


def _low_need(findings: Findings) -> bool | None:
    usual = _usual_need(findings)
    return None if usual is None else not usual


RULES = (
    Rule(
        UNMATCHED,
        (
            Clue(_mismatched, "the gains differ", "the gains are alike", 2.0),
            Clue(_usual_need, "the offset is of the size base currents make", "it is too large"),
        ),
        "current gain of both, at the current they run at",
        METHOD,
    ),
    Rule(
        WORN,
        (
            Clue(_worn, "one has less than half the gain of the other", "no gain is that low", 2.0),
            Clue(_mismatched, "the gains differ", ""),
        ),
        "current gain of the low one against a new one of its type",
        MATCHING,
    ),
    Rule(
        UNEVEN,
        (
            Clue(_uneven, "the resistances differ by more than 10 %", "they are alike"),
            Clue(_usual_need, "the offset is of the size base currents make", ""),
        ),
        "ohms from each base to where its current comes from, the source connected",
        MEMORY,
    ),
    Rule(
        ELSEWHERE,
        (
            Clue(_unexplained, "the pair accounts for less", "the pair accounts for it", 2.0),
            Clue(_low_need, "more current than a base takes", ""),
            Clue(_high, "the offset is high", "", 0.5),
        ),
        "leakage of the feedback and coupling capacitors; the resistors, one leg lifted",
        METHOD,
    ),
)

RESULTS = {
    "predicted_v": ("offset predicted from the pair", "V"),
    "drop_1_v": ("drop of the first base current", "V"),
    "drop_2_v": ("drop of the second base current", "V"),
    "r2_for_zero_ohm": ("feedback-side resistance for no offset", "Ω"),
    "mismatch_percent": ("current gains apart", "%"),
    "needed_left_a": ("current through the input resistance that makes it, left", "A"),
    "needed_right_a": ("current through the input resistance that makes it, right", "A"),
}


def _gain(key: str, prompt: str) -> NumberInput:
    return NumberInput(
        key=key, prompt=prompt, unit="", low=1, high=5000, by_meter=True, assumed_percent=3.0
    )


def _ohm(key: str, prompt: str, low: float = 1.0) -> NumberInput:
    return NumberInput(
        key=key, prompt=prompt, unit="Ω", low=low, high=10e6, tolerance_percent=5.0, by_meter=False
    )


EVEN = {"tail": "1 mA", "hfe1": "200", "hfe2": "205", "r1": "9k4", "r2": "9k4"}

CHECK = Check(
    id="input-pair",
    title="Input pair",
    stage=Stage.UNPOWERED,
    on_demand=True,
    power_states=(PowerState.SAFE, PowerState.OFF, PowerState.MAINS),
    why="Base currents through unequal resistances, or of unequal gains, are what most offsets are "
    "made of. The sum tells whether matching helps before anything is changed.",
    cautions=(
        "Unplug, discharge, measure the rails below 2 V before a part is lifted.",
        "An offset of tens of millivolts harms nothing: no redesign for it.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Tail current: volts across the tail resistor over its ohms, from the powered stage.",
        "Gains: both devices in a jig at the current they run at, supply held constant; slow "
        "thermal drift is ignored.",
        "Resistances from each base to where its current comes from, the source included.",
        "Enter the offset that was read: the prediction is held against it.",
    ),
    inputs=(
        NumberInput(
            key="tail", prompt="Tail current", unit="mA", low=0.01, high=100, by_meter=True
        ),
        _gain("hfe1", "Current gain, device at the input"),
        _gain("hfe2", "Current gain, device at the feedback"),
        _ohm("r1", "Resistance at the input base"),
        _ohm("r2", "Resistance at the feedback base"),
        _ohm("source_ohm", "Source's own resistance, where no capacitor blocks it", 0.0),
        NumberInput(
            key="vbe_difference",
            prompt="Base-emitter voltage, first less second",
            unit="mV",
            low=-100,
            high=100,
            by_meter=True,
        ),
        NumberInput(key="dc_gain", prompt="Gain for direct voltage", unit="", low=1, high=1000),
        *(
            NumberInput(
                key=name,
                prompt=f"{name.capitalize()}, offset read",
                unit="mV",
                low=-1000,
                high=1000,
                channel=channel,
                probed_at="between the two speaker terminals",
                by_meter=True,
            )
            for name, channel in CHANNELS.items()
        ),
        ChoiceInput(
            key="polarity",
            prompt="Pair",
            choices=(Choice("npn", "NPN"), Choice("pnp", "PNP")),
            default="npn",
        ),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="76 and 45 mV, 9.4 kΩ at the input",
            source=METHOD,
            answers={"left": "76 mV", "right": "45 mV", "r1": "9.4 kΩ"},
            values={"needed_left_a": (8.09e-6, 1e-8), "needed_right_a": (4.79e-6, 1e-8)},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.ADJUST, AdviceKind.STOP, AdviceKind.REPLACE),
            cause=UNMATCHED,
        ),
        Example(
            title="Stuck at 40 mV: a resistor could be changed, and need not be",
            source="diyaudio 330286",
            answers={"tail": "2 mA", "hfe1": "300", "hfe2": "300", "r1": "22k", "r2": "10k"}
            | {"left": "40 mV"},
            values={"predicted_v": (-0.040, 1e-9), "r2_for_zero_ohm": (22_000, 1)},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE, AdviceKind.ADJUST),
            cause=UNEVEN,
        ),
        Example(
            title="An even pair cannot make 90 mV",
            source=COMMON,
            answers=EVEN | {"right": "90 mV"},
            verdicts={"mismatch_percent": Verdict.PASS},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=ELSEWHERE,
        ),
        Example(
            title="One device has lost its gain",
            source=METHOD,
            answers=EVEN | {"hfe2": "62"},
            verdicts={"mismatch_percent": Verdict.FAIL},
            advice=(AdviceKind.REPLACE,),
            cause=WORN,
        ),
        Example(
            title="Two gains and nothing else",
            source=MATCHING,
            answers={"hfe1": "210", "hfe2": "215"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE,),
        ),
    ),
    sources=(
        f"Half the tail over the gain, times the resistance: {METHOD}",
        f"Base currents of 4–20 µA, matching at about 1.6 mA: {MATCHING}",
        "With equal resistances only the imbalance counts: from memory",
        "Changing one resistor for 40 mV is not worth it: diyaudio 330286",
    ),
    needs=(7,),
    covers_off=True,
)

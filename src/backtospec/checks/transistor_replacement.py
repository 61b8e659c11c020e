"""Replacement transistors: gain, match, pinout, ratings and insulation, old against new."""

from __future__ import annotations

from collections.abc import Callable

from backtospec.analysis.cold_parts import INSULATION_OHM
from backtospec.analysis.input_pair import mismatch_percent
from backtospec.check import (
    Advice,
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
    TextInput,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, write
from backtospec.records import Condition, Limit, PowerState
from backtospec.verdict import Result, Verdict

PINOUT = "diybanter.com/1581508-post38.html"
WRONG_TYPES = "rssing.com chan-54301106/article337"
NETWORK = "forum.allaboutcircuits.com/threads/145097"
MATCHING = "gatech.edu amplifier construction notes, part 2"
COMMON = "common practice, no source"
MEMORY = "from memory"

MATCH_PERCENT = {"input": 10.0, "output": 30.0, "driver": 30.0}
"""Gains apart that still count as matched, by place (common practice, no source)."""

RATINGS = {"v": ("collector-emitter rating", "V"), "a": ("collector current rating", "A")}
RATINGS["w"] = ("power rating", "W")

UNMATCHED = "gains not matched"
WRONG_PINOUT = "pinout differs"
WEAKER = "new type rated below the old one"
INSULATOR = "insulator cracked, pierced or dirty"
BRIDGED = "metal or flux across the insulator"
NETWORK_UNSUITED = "bias network does not suit the devices"
TOO_FAST = "faster type: oscillation"
PARTNERS = "partners of a failed device damaged too"


def measure(answers: Answers) -> Measurement:
    """Return gains against the old one and against the partner, ratings, and insulation."""
    number, results = answers.number, list[Result]()

    def add(key: str, value: Measured | None, method: str, *inputs: str) -> None:
        if value is not None:
            title, unit = RESULTS[key]
            wanted = {"insulated": answers.choice("insulated") or "unknown"}
            results.append(Result(key, title, value, unit, method, inputs, wanted))

    old, new, partner = number("old_hfe"), number("new_hfe"), number("partner_hfe")
    if old is not None and new is not None:
        add("gain_change_percent", (new / old - 1) * 100, "new ÷ old", "old_hfe", "new_hfe")
    if partner is not None and new is not None:
        apart = mismatch_percent(new, partner)
        add("match_percent", apart, "difference ÷ mean", "new_hfe", "partner_hfe")
    for ending in RATINGS:
        before, after = number(f"old_{ending}"), number(f"new_{ending}")
        if before is not None and after is not None:
            ratio = after / before * 100
            add(f"rating_{ending}_percent", ratio, "new ÷ old", f"old_{ending}", f"new_{ending}")
    add("insulation_ohm", number("insulation"), "collector to heatsink", "insulation")
    if not results and not any(answers.choice(item) for item in NOTED):
        raise BenchError(
            "nothing was noted.",
            "transistor replacement",
            "Give old_hfe and new_hfe, the pinout, or the insulation.",
        )
    return Measurement(tuple(results), _figures(answers))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    bars = tuple(
        Bar(title, value.value)
        for key, title in (("old_hfe", "Old"), ("new_hfe", "New"), ("partner_hfe", "Partner"))
        if (value := answers.number(key)) is not None
    )
    return (BarsFigure("gain", "Current gain", Axis("gain", ""), bars),) if bars else ()


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the conventions: matched gains, no rating below the old one, insulation."""
    apart = MATCH_PERCENT.get(answers.choice("place"), MATCH_PERCENT["output"])
    needed = (Condition("insulated", "yes"),)
    return (
        Limit("match_percent", None, apart, "%", f"matched, {COMMON}", (), True),
        *(
            Limit(f"rating_{ending}_percent", 100.0, None, "%", f"not below, {COMMON}", (), True)
            for ending in RATINGS
        ),
        Limit("insulation_ohm", INSULATION_OHM[0], None, "Ω", COMMON, needed, True),
    )


def _weaker(findings: Findings) -> bool | None:
    verdicts = [findings.verdict(f"rating_{ending}_percent") for ending in RATINGS]
    if all(verdict is Verdict.NO_LIMIT for verdict in verdicts):
        return None
    return Verdict.FAIL in verdicts


def advise(findings: Findings) -> Counsel:
    """Return what must be put right before power, and the test that is due in any case."""
    answers = findings.answers
    advice = [*_stops(findings), *_matters(findings)]
    if not advice:
        if answers.choice("pinout") in ("", "unread"):
            reason = "Check the pinout against both data sheets before it is fitted: E-C-B is not "
            advice.append(Advice(AdviceKind.REMEASURE, f"{reason}E-B-C."))
        else:
            reason = f"{_named(answers)} suits, as far as it was read. Fit it and note it."
            advice.append(Advice(AdviceKind.LEAVE, reason))
    tests = "first power on a limiter, idle current logged from cold"
    if answers.choice("place") in ("output", "bias", "driver"):
        tests += "; a fresh runaway test, an hour on full mains"
    return Counsel(tuple(advice), next_step=tests)


def _named(answers: Answers) -> str:
    new, old = answers.texts.get("new_type"), answers.texts.get("old_type")
    return f"{new or 'The new one'} for {old}" if old else new or "The new one"


def _stops(findings: Findings) -> list[Advice]:
    """Return what would destroy something at power-on."""
    answers, found = findings.answers, []
    if answers.choice("pinout") == "differs":
        reason = "The pinout differs: cross the leads as both data sheets say; no power before."
        found.append(Advice(AdviceKind.STOP, reason))
    if findings.verdict("insulation_ohm") is Verdict.FAIL:
        value = findings.value("insulation_ohm")
        assert value is not None
        reason = f"{write(value.value, 'Ω')} from collector to heatsink: no power before it is "
        found.append(Advice(AdviceKind.STOP, f"{reason}insulated. Renew the washer."))
    if answers.choice("place") == "output" and answers.choice("kind") == "larger":
        reason = (
            "Larger output devices than the design had: its bias network may not suit them. No "
            "idling unattended: stop at 60 °C, or when the idle current does not stop rising."
        )
        found.append(Advice(AdviceKind.PLAN, reason))
    return found


def _matters(findings: Findings) -> list[Advice]:
    answers, found = findings.answers, []
    if _weaker(findings):
        reason = "A rating lies below the old one's: choose another type."
        found.append(Advice(AdviceKind.REPLACE, reason))
    if findings.verdict("match_percent") is Verdict.FAIL:
        apart = findings.value("match_percent")
        assert apart is not None
        reason = f"Gain {apart.value:.2g} % apart from its partner: choose a matched pair."
        found.append(Advice(AdviceKind.REPLACE, reason))
    if answers.choice("failed") == "yes":
        reason = "It failed: its partners and its driver are suspect. Read or renew them too."
        found.append(Advice(AdviceKind.PLAN, reason))
    if answers.choice("kind") == "faster":
        reason = "A faster type may oscillate: look with a scope, warm, before a load is connected."
        found.append(Advice(AdviceKind.PLAN, reason))
    if (
        answers.choice("insulated") == "yes"
        and findings.value("insulation_ohm") is None
        and not found
    ):
        reason = "Read the insulation, collector to heatsink, before power."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found


def _is(key: str, *values: str) -> Callable[[Findings], bool | None]:
    """Return what says whether a choice is one of some; ``None`` where it was not made."""

    def seen(findings: Findings) -> bool | None:
        chosen = findings.answers.choice(key)
        return chosen in values if chosen else None

    return seen


def _fails(key: str) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        if findings.value(key) is None:
            return None
        return findings.verdict(key) is Verdict.FAIL

    return seen


RULES = (
    Rule(
        UNMATCHED,
        (Clue(_fails("match_percent"), "the gains differ too much", "the gains match", 2.0),),
        "gain of both, at the current they run at, supply held constant",
        MATCHING,
    ),
    Rule(
        PARTNERS,
        (
            Clue(_is("failed", "yes"), "one device failed", "nothing failed", 2.0),
            Clue(_fails("match_percent"), "the partner's gain is another one", "", 0.5),
        ),
        "junctions and gain of the partners and the driver, power off",
        MEMORY,
    ),
    Rule(
        WRONG_PINOUT,
        (Clue(_is("pinout", "differs"), "E-C-B against E-B-C", "the pinout is the same", 2.0),),
        "diode test of the old one and the new one, lead by lead",
        PINOUT,
    ),
    Rule(
        "wrong type fitted by an earlier repair",
        (
            Clue(_is("pinout", "differs"), "the old one may not be the original", "", 0.5),
            Clue(_is("kind", "larger", "faster"), "it is not the type of the design", "", 0.5),
            Clue(_weaker, "rated below what stood there", "", 0.5),
        ),
        "the type in the parts list, and in the other channel",
        WRONG_TYPES,
    ),
    Rule(
        WEAKER,
        (Clue(_weaker, "a rating lies below the old one's", "no rating is lower", 2.0),),
        "both data sheets: volts, current, power, safe area",
        COMMON,
    ),
    Rule(
        INSULATOR,
        (Clue(_fails("insulation_ohm"), "low ohms to the heatsink", "it is insulated", 2.0),),
        "ohms with the device lifted and the washer alone",
        COMMON,
    ),
    Rule(
        BRIDGED,
        (Clue(_fails("insulation_ohm"), "low ohms to the heatsink", "", 1.0),),
        "ohms again after cleaning the edge and the screw's bush",
        COMMON,
    ),
    Rule(
        NETWORK_UNSUITED,
        (Clue(_is("kind", "larger"), "larger devices than the design had", "", 2.0),),
        "idle current over time from cold, on a limiter",
        NETWORK,
    ),
    Rule(
        TOO_FAST,
        (Clue(_is("kind", "faster"), "the new type is faster", "", 2.0),),
        "a scope at the output, warm, without signal and load",
        MEMORY,
    ),
)

RESULTS = {
    "gain_change_percent": ("current gain, new against old", "%"),
    "match_percent": ("current gains apart, new and partner", "%"),
    **{
        f"rating_{key}_percent": (f"{words}, new of old", "%")
        for key, (words, _) in RATINGS.items()
    },
    "insulation_ohm": ("insulation, collector to heatsink", "Ω"),
}
NOTED = ("pinout", "failed", "kind", "insulated")


def _gain(key: str, prompt: str) -> NumberInput:
    return NumberInput(
        key=key, prompt=prompt, unit="", low=1, high=20_000, by_meter=True, assumed_percent=3.0
    )


def _choose(key: str, prompt: str, *choices: tuple[str, str]) -> ChoiceInput:
    return ChoiceInput(key=key, prompt=prompt, choices=tuple(Choice(v, t) for v, t in choices))


CHECK = Check(
    id="transistor-replacement",
    title="Transistor replacement",
    stage=Stage.UNPOWERED,
    on_demand=True,
    power_states=(PowerState.SAFE,),
    why="A type that is only nearly the same costs an output stage at power-on, or drifts later. "
    "What was fitted for what is kept for the next owner.",
    cautions=(
        "Unplug, discharge, measure the rails below 2 V before soldering.",
        "A case on the heatsink can carry the rail: insulation is read before power.",
        "First power after a change: on a limiter, no load, idle current watched from cold.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Note old and new type; compare pinout and ratings by both data sheets.",
        "Read the gain of the old one where it lives, of the new one and of its partner.",
        "Fit it with a fresh washer; read collector to heatsink.",
        "Trimmer to minimum conduction, its ohms noted; then a limiter, and a runaway test.",
    ),
    inputs=(
        TextInput(key="designator", prompt="Part"),
        _choose(
            "place",
            "Where does it work?",
            ("input", "Input pair"),
            ("amplifier", "Voltage-amplifier stage"),
            ("bias", "Bias sensor or multiplier"),
            ("driver", "Driver"),
            ("output", "Output"),
        ),
        TextInput(key="old_type", prompt="Old type"),
        TextInput(key="new_type", prompt="New type"),
        _gain("old_hfe", "Old, current gain"),
        _gain("new_hfe", "New, current gain"),
        _gain("partner_hfe", "Its partner, current gain"),
        _choose(
            "pinout",
            "Pinout by both data sheets",
            ("same", "Same"),
            ("crossed", "Differs, leads crossed to suit"),
            ("differs", "Differs"),
            ("unread", "Not looked up"),
        ),
        *(
            NumberInput(
                key=f"{age}_{ending}",
                prompt=f"{age.capitalize()}, {words}",
                unit=unit,
                low=0.01,
                high=2000,
            )
            for ending, (words, unit) in RATINGS.items()
            for age in ("old", "new")
        ),
        _choose(
            "kind",
            "The new one beside the old",
            ("same", "Same type, or its listed successor"),
            ("larger", "Larger"),
            ("faster", "Faster"),
        ),
        _choose("insulated", "Must its case be insulated?", ("yes", "Yes"), ("no", "No")),
        NumberInput(
            key="insulation",
            prompt="Collector to heatsink",
            unit="MΩ",
            low=0,
            high=1e6,
            probed_at="collector to heatsink, power off",
            by_meter=True,
        ),
        _choose("failed", "Had it failed?", ("yes", "Yes"), ("no", "No")),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="Same type, matched, insulated",
            source=COMMON,
            answers={"place": "output", "old_type": "OLD-1", "new_type": "NEW-1"}
            | {"new_hfe": "92", "partner_hfe": "88", "pinout": "same"}
            | {"insulated": "yes", "insulation": "200 MΩ"},
            verdicts={"match_percent": Verdict.PASS, "insulation_ohm": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.REPLACE),
        ),
        Example(
            title="E-C-B for E-B-C",
            source=PINOUT,
            answers={"place": "driver", "pinout": "differs"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=WRONG_PINOUT,
        ),
        Example(
            title="Gains of 5 and 340 in one bank",
            source=WRONG_TYPES,
            answers={"place": "output", "new_hfe": "340", "partner_hfe": "5", "pinout": "same"},
            verdicts={"match_percent": Verdict.FAIL},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=UNMATCHED,
        ),
        Example(
            title="No insulation",
            source=COMMON,
            answers={"place": "output", "insulated": "yes", "insulation": "0.02 MΩ"},
            verdicts={"insulation_ohm": Verdict.FAIL},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=INSULATOR,
        ),
        Example(
            title="Case at the rail on purpose: no insulation wanted",
            source=COMMON,
            answers={"insulated": "no", "insulation": "0 MΩ", "pinout": "same"},
            verdicts={"insulation_ohm": Verdict.NOT_COMPARABLE},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP,),
        ),
        Example(
            title="Larger output devices than the design had",
            source=NETWORK,
            answers={"place": "output", "kind": "larger", "pinout": "same"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=NETWORK_UNSUITED,
        ),
        Example(
            title="Rated for fewer volts",
            source=COMMON,
            answers={"old_v": "120 V", "new_v": "80 V", "pinout": "same"},
            verdicts={"rating_v_percent": Verdict.FAIL},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=WEAKER,
        ),
    ),
    sources=(
        f"E-C-B against E-B-C: {PINOUT}",
        f"Wrong types by earlier repairers, gains of 5 to 340 in one bank: {WRONG_TYPES}",
        f"Larger devices on an unsuited bias network: {NETWORK}",
        "Faster types may oscillate; partners of a failed device are suspect: from memory",
        "Gains within 10 % in a pair, 30 % in a bank: common practice, no source",
    ),
    needs=(23,),
    covers_off=True,
)

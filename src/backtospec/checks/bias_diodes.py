"""Bias diodes, old against new: what the difference does to the idle current."""

from __future__ import annotations

from backtospec.analysis.bias_string import idle_after
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
    CurveFigure,
    Example,
    Figure,
    Findings,
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    Stage,
    TextInput,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, with_tolerance, write
from backtospec.records import Condition, Limit, PowerState
from backtospec.verdict import Result, Verdict

TWO_WILL_DO = "timerider.net/post/suicide-varistor-diode"
MATCH = "eevblog.com/forum/beginners/identification-of-diode-in-a-form-ive-never-seen-before"
MULTIPLIER = "newbedev.com, bias-diode replacement question"
ARITHMETIC = "arithmetic: 2·Re·ΔI + 2·26 mV·ln(I/I₀) makes up the difference"
COMMON = "common practice, no source"

CURRENTS = {"1ma": 1.0, "5ma": 5.0, "10ma": 10.0}
"""Test currents in milliamperes, by the ending of the input key."""

WARN_V = 0.010
"""Without a trimmer, more than this across the whole string is too much (a working rule)."""

TRACK_V = 0.010
"""A difference that itself changes by more than this from 1 to 10 mA is no match (from memory)."""

DOUBLED = 2.0
"""Times the idle current at which power stays off without a trimmer."""

USUAL_IDLE_A, USUAL_OHM = 0.025, 0.22
"""Taken where nothing was given, and said so: the pair the published figure stands for."""

HIGHER = "new diodes stand higher than the old ones"
OTHER_KIND = "another kind of diode: its slope differs"
JUNCTIONS = "other number of junctions: it does not track with heat"
UNCOUPLED = "no thermal contact to the heatsink"
OLD_DRIFTED = "the old string had drifted"


def _differences(answers: Answers) -> dict[float, Measured]:
    """Return new less old across the whole string, by test current in milliamperes."""
    number, count = answers.number, (answers.number("diodes") or Measured(1.0)).value
    scale = count if answers.choice("read_across") == "one" else 1.0
    found = {}
    for ending, current in CURRENTS.items():
        old, new = number(f"old_{ending}"), number(f"new_{ending}")
        if old is not None and new is not None:
            found[current] = (new - old) * scale
    return found


def _difference(answers: Answers) -> Measured | None:
    """Return the largest difference, the one stated before any that was read."""
    stated = answers.number("difference")
    found = _differences(answers)
    return stated or max(found.values(), key=lambda v: v.value, default=None)


def _idle(answers: Answers) -> tuple[Measured, Measured, bool]:
    """Return idle current, emitter resistor, and whether both were given."""
    idle, ohm = answers.number("idle"), answers.number("emitter_ohm")
    spec = answers.spec.idle if answers.spec else None
    if ohm is None and spec is not None and spec.emitter_ohm is not None:
        ohm = with_tolerance(spec.emitter_ohm, spec.emitter_tolerance_percent)
    known = idle is not None and ohm is not None
    return idle or Measured(USUAL_IDLE_A), ohm or Measured(USUAL_OHM), known


def measure(answers: Answers) -> Measurement:
    """Return the difference, how it changes with current, and the idle current it leads to."""
    results: list[Result] = []
    differences, difference = _differences(answers), _difference(answers)
    keys = tuple(f"{age}_{ending}" for age in ("old", "new") for ending in CURRENTS)
    trimmer = answers.choice("trimmer") or "unknown"

    def add(key: str, value: Measured, method: str, *inputs: str) -> None:
        title, unit = RESULTS[key]
        results.append(Result(key, title, value, unit, method, inputs, {"trimmer": trimmer}))

    if difference is not None:
        add("difference_v", difference, "new − old, whole string", "difference", *keys)
        idle, ohm, known = _idle(answers)
        after = idle_after(idle, difference, ohm)
        how = "from the readings" if known else "for 25 mA and 0.22 Ω where nothing was given"
        add("idle_after_a", after, how, "idle", "emitter_ohm", "difference", *keys)
        add("idle_ratio", after / idle, how, "idle", "emitter_ohm", "difference", *keys)
    if len(differences) > 1:
        low, high = min(differences), max(differences)
        tracking = differences[high] - differences[low]
        add("tracking_v", tracking, f"difference at {high:g} mA less that at {low:g} mA", *keys)
    if not results and not _seen(answers):
        raise BenchError(
            "no pair of readings was given.",
            "bias diodes",
            "Give old_5ma and new_5ma, or the difference across the string.",
        )
    return Measurement(tuple(results), _figures(answers))


def _seen(answers: Answers) -> bool:
    return any(answers.choice(key) for key in ("coupled", "kind"))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    traces = []
    for age in ("old", "new"):
        points = [(c, v) for e, c in CURRENTS.items() if (v := answers.number(f"{age}_{e}"))]
        if points:
            x, y = tuple(c for c, _ in points), tuple(v.value for _, v in points)
            traces.append(Trace(age.capitalize(), x, y, points=True))
    if not traces:
        return ()
    axes = (Axis("current", "mA", logarithmic=True), Axis("forward voltage", "V"))
    return (CurveFigure("forward", "Forward voltage", *axes, tuple(traces)),)


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the conventions; a difference counts where no trimmer can take it up."""
    fixed = (Condition("trimmer", "no"),)
    return (
        Limit("difference_v", None, WARN_V, "V", f"no trimmer, {COMMON}", fixed, True),
        Limit("tracking_v", -TRACK_V, TRACK_V, "V", "from memory", (), True),
    )


def _junctions_differ(answers: Answers) -> bool | None:
    old, new = answers.number("old_count"), answers.number("diodes")
    return None if old is None or new is None else old.value != new.value


def advise(findings: Findings) -> Counsel:
    """Return whether they may be fitted, and the runaway test that is due in any case."""
    answers = findings.answers
    difference, ratio = findings.value("difference_v"), findings.value("idle_ratio")
    advice: list[Advice] = []
    if difference is not None and ratio is not None:
        advice.append(_of_difference(answers, difference, ratio))
    if answers.choice("coupled") == "no":
        reason = "They hang free: fix them to the heatsink before any power, or it runs away."
        advice.append(Advice(AdviceKind.STOP, reason))
    if _junctions_differ(answers):
        reason = (
            "Another number of junctions does not follow the heat as the old ones did: fit as many."
        )
        advice.append(Advice(AdviceKind.REPLACE, reason))
    elif findings.verdict("tracking_v") is Verdict.FAIL or answers.choice("kind") == "other":
        reason = (
            "Another kind of diode: small-signal and power diodes do not track. Match at the "
            "string's own current, or fit a multiplier transistor with a trimmer on the heatsink."
        )
        advice.append(Advice(AdviceKind.PLAN, reason))
    if not advice:
        reason = "Not told yet by how much the string differs: read old and new at one current."
        advice.append(Advice(AdviceKind.REMEASURE, reason))
    step = (
        "a fresh runaway test in any case: idle current logged from cold, on a limiter first, then "
        "an hour on full mains with the cover as it will be"
    )
    return Counsel(tuple(advice), next_step=step)


def _of_difference(answers: Answers, difference: Measured, ratio: Measured) -> Advice:
    idle, _, known = _idle(answers)
    assumed = "" if known else ", taking 25 mA and 0.22 Ω"
    more = "more" if difference.value >= 0 else "less"
    says = (
        f"{write(abs(difference.value), 'V')} {more} across the string takes "
        f"{write(idle.value, 'A')} to about {write(idle.value * ratio.value, 'A', 2)}{assumed}"
    )
    trimmer = answers.choice("trimmer")
    if difference.value <= -WARN_V:
        reason = f"{says}: safe, and some distortion. Nothing is pushed up to make up for it."
        return Advice(AdviceKind.PLAN, reason)
    if difference.value < WARN_V:
        return Advice(AdviceKind.LEAVE, f"{says}: a match. Fit them, thermally coupled.")
    if trimmer == "yes":
        reason = (
            f"{says}. Note the trimmer's ohms, set it to minimum conduction, power up on a limiter."
        )
        return Advice(AdviceKind.PLAN, reason)
    if ratio.value >= DOUBLED:
        reason = f"{says}, and no trimmer is known to take it back: no power with these."
        return Advice(AdviceKind.STOP, reason)
    return Advice(AdviceKind.REPLACE, f"{says}, with no trimmer known: choose a closer match.")


def _higher(findings: Findings) -> bool | None:
    difference = findings.value("difference_v")
    return None if difference is None else difference.value >= WARN_V


def _changes(findings: Findings) -> bool | None:
    if findings.answers.choice("kind"):
        return findings.answers.choice("kind") == "other"
    if findings.value("tracking_v") is None:
        return None
    return findings.verdict("tracking_v") is Verdict.FAIL


def _uncoupled(findings: Findings) -> bool | None:
    coupled = findings.answers.choice("coupled")
    return coupled == "no" if coupled else None


RULES = (
    Rule(
        HIGHER,
        (Clue(_higher, "the new string stands higher", "it stands no higher", 2.0),),
        "both strings at the same current and the same temperature",
        MATCH,
    ),
    Rule(
        OLD_DRIFTED,
        (Clue(_higher, "the new string stands higher than the old one", "", 0.5),),
        "the string of the other channel, or of another unit, at the same current",
        COMMON,
    ),
    Rule(
        OTHER_KIND,
        (
            Clue(_changes, "the difference changes with the current", "it stays the same", 2.0),
            Clue(_higher, "the new string stands higher", "", 0.5),
        ),
        "forward voltage at 1, 5 and 10 mA, old and new",
        MATCH,
    ),
    Rule(
        JUNCTIONS,
        (
            Clue(lambda f: _junctions_differ(f.answers), "the count changed", "the count is kept"),
            Clue(_changes, "the slope changed", "", 0.5),
        ),
        "millivolts per degree of the whole string, old and new",
        MULTIPLIER,
    ),
    Rule(
        UNCOUPLED,
        (
            Clue(_uncoupled, "they hang free of the heatsink", "they are coupled", 2.0),
            Clue(_changes, "another package rarely sits as the old one did", "", 0.5),
        ),
        "idle current over time from cold, on a limiter",
        MATCH,
    ),
)

RESULTS = {
    "difference_v": ("new string above the old one", "V"),
    "tracking_v": ("change of that difference with current", "V"),
    "idle_after_a": ("idle current to be expected", "A"),
    "idle_ratio": ("idle current, after over before", ""),
}


def _forward(age: str, ending: str) -> NumberInput:
    return NumberInput(
        key=f"{age}_{ending}",
        prompt=f"{age.capitalize()}, forward voltage at {CURRENTS[ending]:g} mA",
        unit="V",
        low=0.1,
        high=6,
        probed_at="across the bias string, or one of its diodes, out of circuit",
        by_meter=True,
    )


CHECK = Check(
    id="bias-diodes",
    title="Bias diodes",
    stage=Stage.UNPOWERED,
    on_demand=True,
    power_states=(PowerState.SAFE,),
    why="The string's forward voltage sets the idle current: 50 mV more doubles it at 0.22 Ω.",
    cautions=(
        "Unplug, discharge, measure the rails below 2 V before soldering.",
        "An open or loose bias string turns the output stage fully on.",
        "First power after a change: on a limiter, no load, idle current watched from cold.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Read the old string at 1, 5 and 10 mA, out of circuit, at room temperature.",
        "Read the new one the same way; let it cool from the fingers first.",
        "Fit as many junctions as there were, in thermal contact with the heatsink.",
        "Log the idle current from cold on a limiter, then an hour on full mains.",
    ),
    inputs=(
        TextInput(key="designator", prompt="Part"),
        *(_forward(age, ending) for ending in CURRENTS for age in ("old", "new")),
        ChoiceInput(
            key="read_across",
            prompt="Read across",
            choices=(Choice("string", "The whole string"), Choice("one", "One diode of it")),
            default="string",
        ),
        NumberInput(key="diodes", prompt="Diodes in the new string", unit="", low=1, high=10),
        NumberInput(key="old_count", prompt="Diodes in the old string", unit="", low=1, high=10),
        NumberInput(
            key="difference",
            prompt="New string above the old one, where only that is known",
            unit="mV",
            low=-2000,
            high=2000,
        ),
        NumberInput(key="idle", prompt="Idle current before", unit="mA", low=0.1, high=2000),
        NumberInput(
            key="emitter_ohm",
            prompt="One emitter resistor",
            unit="Ω",
            low=0.01,
            high=100,
            tolerance_percent=5,
        ),
        ChoiceInput(
            key="trimmer",
            prompt="Is there an idle trimmer?",
            choices=(Choice("yes", "Yes"), Choice("no", "No: fixed resistors")),
        ),
        ChoiceInput(
            key="kind",
            prompt="New ones of the same kind?",
            choices=(
                Choice("same", "Same kind"),
                Choice("other", "Other kind: small-signal for power diodes, or a varistor diode"),
            ),
        ),
        ChoiceInput(
            key="coupled",
            prompt="In thermal contact with the heatsink?",
            choices=(Choice("yes", "Yes"), Choice("no", "No")),
        ),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="50 mV more at 0.22 Ω doubles 25 mA",
            source=ARITHMETIC,
            answers={"difference": "50 mV", "idle": "25 mA", "emitter_ohm": "0R22"}
            | {"trimmer": "no"},
            values={"idle_after_a": (0.052, 5e-4), "idle_ratio": (2.08, 0.01)},
            verdicts={"difference_v": Verdict.FAIL},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=HIGHER,
        ),
        Example(
            title="A trimmer can take 30 mV back",
            source=MULTIPLIER,
            answers={"old_5ma": "1.20 V", "new_5ma": "1.23 V", "trimmer": "yes"},
            values={"difference_v": (0.03, 1e-9)},
            verdicts={"difference_v": Verdict.NOT_COMPARABLE},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.STOP, AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=HIGHER,
        ),
        Example(
            title="15 mV without a trimmer",
            source=COMMON,
            answers={"old_1ma": "0.600 V", "new_1ma": "0.615 V", "trimmer": "no"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="A match at all three currents",
            source=MATCH,
            answers={"old_1ma": "1.1500", "new_1ma": "1.1520", "old_5ma": "1.2300"}
            | {"new_5ma": "1.2330", "old_10ma": "1.2700", "new_10ma": "1.2740"}
            | {"coupled": "yes"},
            verdicts={"tracking_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.REPLACE),
        ),
        Example(
            title="Small-signal diodes in place of power diodes",
            source=MATCH,
            answers={"old_1ma": "1.10", "new_1ma": "1.10", "old_10ma": "1.21", "new_10ma": "1.34"}
            | {"trimmer": "yes", "kind": "other"},
            verdicts={"tracking_v": Verdict.FAIL},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=OTHER_KIND,
        ),
        Example(
            title="Not coupled to the heatsink",
            source=MATCH,
            answers={"difference": "2 mV", "coupled": "no"},
            advice=(AdviceKind.STOP,),
            cause=UNCOUPLED,
        ),
    ),
    sources=(
        f"Two small-signal diodes in series will do: {TWO_WILL_DO}; they do not track, match "
        f"within 50 mV at 1, 5 and 10 mA and couple thermally: {MATCH}; a multiplier transistor "
        f"with a trimmer on the heatsink: {MULTIPLIER}. The pages disagree",
        ARITHMETIC,
        "Warning from 10 mV without a trimmer: a working rule, from memory",
    ),
    needs=(22,),
    covers_off=True,
)

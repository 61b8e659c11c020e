"""The language in which a check is written.

One file in :mod:`backtospec.checks` declares one :class:`Check`. From that declaration alone it
appears on the command line, in the report, in the documentation and in the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import IntEnum, StrEnum

from backtospec.check import power_path
from backtospec.check.answers import Analysed, Answers, Row, Series, read_answers
from backtospec.check.figures import (
    Axis,
    Band,
    Bar,
    BarsFigure,
    CurveFigure,
    CycleFigure,
    Figure,
    Mark,
    SeriesFigure,
    TableFigure,
    Trace,
)
from backtospec.check.inputs import (
    CaptureInput,
    ChoiceInput,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    TableInput,
    TextInput,
)
from backtospec.errors import BenchError, Choice
from backtospec.quantity import Measured
from backtospec.records import Limit, PowerState, SpecSheet
from backtospec.verdict import Finding, Result, Verdict, judge

__all__ = [
    "Advice",
    "AdviceKind",
    "Analysed",
    "Answers",
    "Axis",
    "Band",
    "Bar",
    "BarsFigure",
    "CaptureInput",
    "Cause",
    "Check",
    "Choice",
    "ChoiceInput",
    "Clue",
    "Conclusion",
    "Counsel",
    "CurveFigure",
    "CycleFigure",
    "Example",
    "Figure",
    "Findings",
    "Input",
    "Mark",
    "Measurement",
    "NumberInput",
    "PhotoInput",
    "ResultKey",
    "Row",
    "Rule",
    "Series",
    "SeriesFigure",
    "SeriesInput",
    "Stage",
    "TableFigure",
    "TableInput",
    "TextInput",
    "Trace",
    "conclude",
    "rank_causes",
    "read_answers",
]


class Stage(IntEnum):
    """The stages of the job, in the order the work is done."""

    INTAKE = 1
    UNPOWERED = 2
    CAPACITORS = 3
    FIRST_POWER = 4
    SUPPLY = 5
    IDLE_CURRENT = 6
    DC_OFFSET = 7
    SMALL_SIGNAL = 8
    POWER = 9
    DISTORTION = 10
    STABILITY = 11
    PHONO = 12
    SOAK = 13
    RECHECK = 14
    SAFETY = 15
    HAND_BACK = 16

    @property
    def title(self) -> str:
        """Words for people."""
        special = {
            Stage.FIRST_POWER: "First power",
            Stage.IDLE_CURRENT: "Idle current",
            Stage.DC_OFFSET: "DC offset",
            Stage.SMALL_SIGNAL: "Small signal",
            Stage.HAND_BACK: "Hand back",
        }
        return special.get(self, self.name.capitalize())


class AdviceKind(StrEnum):
    """What to do next, in one word. The order is that of urgency."""

    STOP = "STOP"
    REPLACE = "REPLACE"
    ADJUST = "ADJUST"
    REMEASURE = "REMEASURE"
    WAIT = "WAIT"
    PLAN = "PLAN"
    LEAVE = "LEAVE"


@dataclass(frozen=True, slots=True)
class Advice:
    """One word and one sentence."""

    kind: AdviceKind
    reason: str


@dataclass(frozen=True, slots=True)
class Cause:
    """A possible cause with the evidence on both sides, and the reading that would tell.

    ``weight`` ranks it among others: evidence for less evidence against, in no unit.
    """

    name: str
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...] = ()
    next_reading: str = ""
    source: str = ""
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Counsel:
    """What a check advises: at least one piece of advice, possible causes, the next step."""

    advice: tuple[Advice, ...]
    causes: tuple[Cause, ...] = ()
    next_step: str = ""

    @classmethod
    def of(
        cls, kind: AdviceKind, reason: str, causes: tuple[Cause, ...] = (), next_step: str = ""
    ) -> Counsel:
        """Return counsel with a single piece of advice."""
        return cls((Advice(kind, reason),), causes, next_step)


@dataclass(frozen=True, slots=True)
class Measurement:
    """What a check computed: results, and what there is to see."""

    results: tuple[Result, ...]
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True, slots=True)
class Findings:
    """The judged results of one check, handed to its advice together with the answers."""

    all: tuple[Finding, ...]
    answers: Answers

    def of(self, key: str) -> tuple[Finding, ...]:
        """Return the findings of one result key."""
        return tuple(f for f in self.all if f.result.key == key)

    def verdict(self, key: str) -> Verdict:
        """Return the worst verdict of one result key; NO_LIMIT where there is none."""
        verdicts = {f.verdict for f in self.of(key)}
        for verdict in (
            Verdict.FAIL,
            Verdict.UNDECIDED,
            Verdict.NOT_COMPARABLE,
            Verdict.PASS,
        ):
            if verdict in verdicts:
                return verdict
        return Verdict.NO_LIMIT

    def value(self, key: str) -> Measured | None:
        """Return the value of one result key, or ``None``."""
        return next((f.result.value for f in self.all if f.result.key == key), None)


@dataclass(frozen=True, slots=True)
class ResultKey:
    """The stable name, words and SI unit of one result a check can give."""

    key: str
    title: str
    unit: str


@dataclass(frozen=True, slots=True)
class Example:
    """A worked example with its source: what is entered, and what must be concluded.

    Parameters
    ----------
    answers
        Text by input key, as a person would type it.
    spec
        Spec sheet text in the project's own TOML, where the example needs one.
    values
        Expected value and allowed difference by result key, in SI units.
    verdicts
        Expected verdict by result key.
    advice
        The kinds of advice that must be given, the first one first.
    never
        The kinds of advice that must not be given.
    cause
        Name of the cause that must be named.
    """

    title: str
    source: str
    answers: Mapping[str, str]
    advice: tuple[AdviceKind, ...]
    spec: str = ""
    values: Mapping[str, tuple[float, float]] | None = None
    verdicts: Mapping[str, Verdict] | None = None
    never: tuple[AdviceKind, ...] = ()
    cause: str = ""


@dataclass(frozen=True, slots=True)
class Clue:
    """One sign that speaks for a cause or against it.

    Parameters
    ----------
    seen
        Findings to true (the sign is there), false (it was looked for and is not there), or
        ``None`` (not known).
    present, absent
        What is said of it in either case; an empty text says nothing and counts nothing.
    weight
        How strongly it speaks, 1 being an ordinary sign.
    """

    seen: Callable[[Findings], bool | None]
    present: str
    absent: str = ""
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Rule:
    """What points to one cause, with the reading that would tell it from the others."""

    cause: str
    clues: tuple[Clue, ...]
    next_reading: str
    source: str


def rank_causes(rules: tuple[Rule, ...], findings: Findings) -> tuple[Cause, ...]:
    """Return every cause for which something speaks, the best supported first."""
    causes = []
    for rule in rules:
        known = [(clue, clue.seen(findings)) for clue in rule.clues]
        speaks = [c for c, seen in known if seen is True and c.present]
        denies = [c for c, seen in known if seen is False and c.absent]
        if speaks:
            weight = sum(c.weight for c in speaks) - sum(c.weight for c in denies)
            causes.append(
                Cause(
                    rule.cause,
                    tuple(c.present for c in speaks),
                    tuple(c.absent for c in denies),
                    rule.next_reading,
                    rule.source,
                    weight,
                )
            )
    return tuple(sorted(causes, key=lambda cause: -cause.weight))


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check, declared whole in one file.

    Parameters
    ----------
    id
        Stable name on the command line, such as ``dc-offset``.
    power_states
        The states in which its readings count.
    why
        What it is for, in one or two sentences.
    cautions, steps
        Shown before anything is touched; every check has both.
    measure
        Answers to results and figures, pure.
    limits
        The limits that apply: the maker's first, conventions labelled as such.
    advise
        Findings to advice, pure.
    examples, sources
        Worked examples that are run as tests, and what the check rests on.
    rules
        Signs and the causes they point to; the causes are ranked where the advice names none.
    needs
        The needs of the bench it answers, by their numbers in ``backtospec.check.needs``.
    unfit
        Why it does not apply to an amplifier, from its spec sheet; empty where it does.
    covers_off
        True where its readings need the case open.
    before_closing
        What it proves that must be proven before the case is closed; empty for nothing.
    on_demand
        True where only another finding calls for it: it is never next by itself.
    """

    id: str
    title: str
    stage: Stage
    power_states: tuple[PowerState, ...]
    why: str
    cautions: tuple[str, ...]
    steps: tuple[str, ...]
    inputs: tuple[Input, ...]
    results: tuple[ResultKey, ...]
    measure: Callable[[Answers], Measurement]
    limits: Callable[[Answers], tuple[Limit, ...]]
    advise: Callable[[Findings], Counsel]
    examples: tuple[Example, ...]
    sources: tuple[str, ...]
    rules: tuple[Rule, ...] = ()
    needs: tuple[int, ...] = ()
    unfit: Callable[[SpecSheet], str] = field(default=lambda _: "")
    covers_off: bool = False
    before_closing: str = ""
    on_demand: bool = False


@dataclass(frozen=True, slots=True)
class Conclusion:
    """All that follows from one sitting of one check."""

    check: Check
    answers: Answers
    findings: tuple[Finding, ...]
    figures: tuple[Figure, ...]
    counsel: Counsel

    @property
    def word(self) -> AdviceKind:
        """The one word."""
        return self.counsel.advice[0].kind

    @property
    def stops_or_fails(self) -> bool:
        """True where a STOP was given or a limit was clearly broken."""
        return any(a.kind is AdviceKind.STOP for a in self.counsel.advice) or any(
            f.verdict is Verdict.FAIL for f in self.findings
        )


def _with_limiter(check: Check, answers: Answers) -> Answers:
    """Say the limiter in where the power state tells so: what it starves is not judged."""
    asked = any(item.key == "limiter" for item in check.inputs)
    meant = check.power_states[0] in power_path.FULL_MAINS
    starved = answers.power_state in power_path.STARVED
    if not (asked and meant and starved) or answers.choice("limiter") == "in":
        return answers
    return replace(answers, choices={**answers.choices, "limiter": "in"})


def conclude(check: Check, answers: Answers) -> Conclusion:
    """Return what follows from the answers: results, verdicts, figures and advice.

    Parameters
    ----------
    check
        The check.
    answers
        What was read, complete.

    Raises
    ------
    BenchError
        Where the amplifier is in a power state in which these readings do not count, or where its
        limiter is said to be out in a state that has one. A STOP is given in every state.
    """
    state = answers.power_state
    elsewhere = state is not None and state not in check.power_states
    limited = _with_limiter(check, answers)
    contradicted = limited is not answers and answers.texts.get("limiter", "") != ""
    answers = limited
    measurement = check.measure(answers)
    declared = {r.key for r in check.results}
    undeclared = {r.key for r in measurement.results} - declared
    if undeclared:
        raise LookupError(f"{check.id} gives undeclared results: {sorted(undeclared)}")
    results = (
        replace(result, inputs=answers.answered(*result.inputs)) for result in measurement.results
    )
    findings = judge(results, check.limits(answers))
    judged = Findings(findings, answers)
    counsel = check.advise(judged)
    if elsewhere and not any(a.kind is AdviceKind.STOP for a in counsel.advice):
        accepted = " or ".join(check.power_states)
        way = power_path.path(state or PowerState.OFF, check.power_states[0])
        raise BenchError(
            f"the amplifier is {state}; these readings count only when {accepted}.",
            check.title,
            f"First {power_path.in_words(way)}.",
        )
    if contradicted and not any(a.kind is AdviceKind.STOP for a in counsel.advice):
        raise BenchError(
            f"the limiter is said to be out, and the amplifier is {state}.",
            check.title,
            "Correct the one that is wrong.",
        )
    order = list(AdviceKind)
    advice = tuple(sorted(counsel.advice, key=lambda a: order.index(a.kind)))
    return Conclusion(
        check,
        answers,
        findings,
        measurement.figures,
        Counsel(advice, counsel.causes or rank_causes(check.rules, judged), counsel.next_step),
    )

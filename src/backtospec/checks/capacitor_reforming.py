"""Re-forming a capacitor: whether its leakage comes down to the limit, and when."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.analysis import capacitor, reforming
from backtospec.analysis.reforming import LONGEST_S, SHORTEST_S, Course, Reforming
from backtospec.check import (
    AdviceKind,
    Answers,
    Axis,
    Cause,
    Check,
    Choice,
    ChoiceInput,
    Counsel,
    Example,
    Findings,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    SeriesFigure,
    SeriesInput,
    Stage,
    TextInput,
    Trace,
)
from backtospec.check.capacitor_part import span
from backtospec.errors import BenchError
from backtospec.quantity import Measured, MeterRange, write
from backtospec.records import Condition, Limit, PowerState
from backtospec.verdict import Result, Verdict

COMMON = "common practice, no source"
DATA_SHEET = "a new part's limit: 0.01·C·V and the like (a maker's data sheet)"
DISCARD = "discard limit of the 1950s to 70s, puck.nether.net boatanchors 1999-May/005362"
REFORMING = "oxide thinned by standing, building up again"
LEAKY = "oxide that does not build up again"
PATH = "a second path for the current: a bleeder, dirt, the meter"
HEATING = "the part heats itself"
INFLATED = "leakage inflated the capacitance reading"
TOO_HIGH_PERCENT = 120.0
"""Above this a reading before re-forming is to be read again (modern parts are within 20 %)."""

RESULTS = {
    "leakage_a": ("leakage at the last reading", "A"),
    "leakage_limit_a": ("limit it is held against", "A"),
    "leakage_in_limit_s": ("time at voltage until it kept the limit", "s"),
    "time_to_limit_s": ("time still to go, likely", "s"),
    "decay_exponent": ("falls as this power of time", ""),
    "heat_w": ("heat in the part at the last reading", "W"),
    "capacitance_ratio_percent": ("capacitance, of its mark", "%"),
}


@dataclass(frozen=True, slots=True)
class _Log:
    """The leakage series with its limit and what it says."""

    readings: tuple[tuple[float, float], ...]
    high_a: float | None
    source: str
    stated: bool
    found: Reforming

    @property
    def last(self) -> str:
        seconds, ampere = self.readings[-1]
        return f"{write(ampere, 'A')} after {span(seconds)}"


def _value(answers: Answers, key: str) -> float | None:
    number = answers.number(key)
    return number.value if number else None


def _marked(answers: Answers) -> tuple[float | None, float | None]:
    """Return marked capacitance and volts, from the form or the spec sheet's parts list."""
    name = answers.texts.get("designator", "").strip().casefold()
    listed = next(
        (
            c
            for c in (answers.spec.capacitors if answers.spec else ())
            if c.designator.casefold() == name
        ),
        None,
    )
    nominal = _value(answers, "nominal") or (listed.farad if listed else None)
    return nominal, _value(answers, "rated_v") or (listed.rated_v if listed else None)


def _log(answers: Answers) -> _Log:
    series = answers.series("leakage")
    readings = series.readings() if series else ()
    if not readings:
        raise BenchError(
            "no leakage reading was given.",
            "leakage",
            'Give times and currents: "20 s 4.5 mA; 15 min 1 mA".',
        )
    stated, (farad, volt) = _value(answers, "leakage_limit"), _marked(answers)
    high, source = stated, "limit as stated"
    if high is None and farad and volt:
        rules = {"new": capacitor.new_part_leakage, "old": capacitor.discard_leakage}
        rule = answers.choice("rule")
        high, source = rules[rule](farad, volt), DATA_SHEET if rule == "new" else DISCARD
    found = reforming.judge_reforming(readings, high) if high else Reforming(Course.UNKNOWN)
    return _Log(readings, high, source, stated is not None, found)


def measure(answers: Answers) -> Measurement:
    """Return the leakage, its limit, when it is or will be kept, and the capacitance."""
    log = _log(answers)
    results: list[Result] = []
    conditions: dict[str, float | str] = {}
    if (volt := _value(answers, "leakage_v")) is not None:
        conditions["test_v"] = volt

    def add(key: str, value: Measured, method: str, *inputs: str) -> None:
        title, unit = RESULTS[key]
        results.append(Result(key, title, value, unit, method, inputs, conditions))

    series = answers.series("leakage")
    percent, counts = (answers.meter.percent, answers.meter.counts) if answers.meter else (0.5, 3)
    meter = MeterRange(percent, counts, series.step if series else 0.0)
    last = meter.measured(log.readings[-1][1])
    add("leakage_a", last, f"direct current after {span(log.readings[-1][0])}", "leakage")
    if log.high_a is not None:
        add("leakage_limit_a", Measured(log.high_a), log.source, "leakage_limit", "nominal")
    since = capacitor.time_in_limit(log.readings, log.high_a) if log.high_a else None
    if since is not None:
        add("leakage_in_limit_s", Measured(since), "interpolated, logarithmic", "leakage")
    elif (likely := log.found.passes_s) is not None:
        ahead = likely - log.readings[-1][0]
        low, high = log.found.earliest_s or likely, log.found.latest_s or likely
        method = "between an exponential and a power of time through the last readings"
        spread = min((high - low) / math.sqrt(12), 1e9)
        add("time_to_limit_s", Measured(ahead, spread), method, "leakage")
    if log.found.exponent is not None:
        add("decay_exponent", Measured(log.found.exponent), "I ~ t^-n, all readings", "leakage")
    if (at := answers.number("leakage_v")) is not None:
        add("heat_w", at * last, "volts × leakage", "leakage_v", "leakage")
    farad = answers.number("capacitance_after") or answers.number("capacitance")
    nominal, _ = _marked(answers)
    if farad and nominal:
        key = "capacitance_after" if answers.number("capacitance_after") else "capacitance"
        add("capacitance_ratio_percent", farad / nominal * 100, "read ÷ marked", key, "nominal")
    drawn = sum(t > 0 and a > 0 for t, a in log.readings) > 1
    return Measurement(tuple(results), (_figure(log),) if drawn else ())


def _figure(log: _Log) -> SeriesFigure:
    points = [(t / 60, a * 1e6) for t, a in log.readings if t > 0 and a > 0]
    traces = [
        Trace("leakage", tuple(x for x, _ in points), tuple(y for _, y in points), points=True)
    ]
    power = log.found.exponent
    if power is not None:
        middle = math.exp(sum(math.log(y * x**power) for x, y in points) / len(points))
        first, last = points[0][0], points[-1][0]
        if log.found.course is Course.SETTLING and log.found.passes_s:
            last = max(last, log.found.passes_s / 60)
        times = tuple(first * (last / first) ** (i / 39) for i in range(40))
        fitted = tuple(middle * t**-power for t in times)
        traces.append(Trace(f"fitted, t to the power −{power:.2g}", times, fitted))
    marks = (Mark("limit", "y", log.high_a * 1e6),) if log.high_a else ()
    x, y = Axis("time at voltage", "min", True), Axis("leakage", "µA", True)
    return SeriesFigure("leakage", "Leakage while re-forming", x, y, tuple(traces), (), marks)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the leakage limit; a reading that keeps it counts only at working volts."""
    log = _log(answers)
    if log.high_a is None:
        return ()
    working, at = _value(answers, "working_v"), _value(answers, "leakage_v")
    kept = log.readings[-1][1] <= log.high_a
    low = 0.95 * abs(working) if working else None
    conditions = (Condition("test_v", low=low),) if kept and low and at is not None else ()
    return (
        Limit(
            "leakage_a", None, log.high_a, "A", log.source, conditions, convention=not log.stated
        ),
    )


def advise(findings: Findings) -> Counsel:
    """Return whether to wait, to stop, to replace, or that it is done."""
    answers = findings.answers
    log = _log(answers)
    name = answers.texts.get("designator", "").strip()
    start = f"{name}: " if name else ""
    if log.found.course is Course.RISING and answers.choice("voltage") != "raised":
        reason = (
            f"{start}{log.last}, and rising at the same volts: it heats itself. Switch off, let "
            "it cool, discharge it."
        )
        signs = (f"{log.last}, after less before",)
        cause = Cause(
            HEATING, signs, (), "case temperature; leakage again, cold, at half the volts"
        )
        return Counsel.of(AdviceKind.STOP, reason, (cause, _leaky(log)), "let it cool, discharge")
    if log.high_a is None:
        return Counsel.of(
            AdviceKind.REMEASURE,
            f"{start}{log.last}: nothing to judge it by. Give the marked capacitance and volts.",
            next_step="the marked capacitance and rated volts, or the limit",
        )
    verdict = findings.verdict("leakage_a")
    if verdict is Verdict.NOT_COMPARABLE:
        reason = f"{start}{log.last}, below the volts it works at. Bring the supply up to those."
        return Counsel.of(AdviceKind.WAIT, reason, next_step="leakage at the volts it works at")
    if verdict is Verdict.PASS or log.found.course is Course.REACHED:
        return _reached(findings, log, start)
    return _not_yet(findings, log, start)


def _reached(findings: Findings, log: _Log, start: str) -> Counsel:
    limit = write(log.high_a or 0.0, "A")
    ratio = findings.value("capacitance_ratio_percent")
    cause = Cause(REFORMING, (f"it came down to {log.last}, limit {limit}",), (), "leakage again")
    after = findings.answers.number("capacitance_after")
    if ratio is not None and ratio.value > TOO_HIGH_PERCENT and after is None:
        reason = (
            f"{start}{log.last}: the limit of {limit} is reached. The capacitance was read while "
            "it leaked: discharge, then read it again."
        )
        signs = (f"it read {ratio.value:.0f} % of its mark", f"leakage came down to {log.last}")
        inflated = Cause(INFLATED, signs, (), "capacitance, now re-formed")
        return Counsel.of(
            AdviceKind.REMEASURE, reason, (inflated, cause), "capacitance, now re-formed"
        )
    true = f" and it reads {ratio.value:.0f} % of its mark" if ratio else ""
    reason = f"{start}{log.last}: reached, the limit is {limit}{true}. Leave it alone."
    return Counsel.of(AdviceKind.LEAVE, reason, (cause,), "discharge, then capacitance and ESR")


def _not_yet(findings: Findings, log: _Log, start: str) -> Counsel:
    last_s, last_a = log.readings[-1]
    limit = write(log.high_a or 0.0, "A")
    leaky = _leaky(log)
    if log.found.course is Course.SETTLING and log.found.passes_s:
        low, high = log.found.earliest_s or 0.0, log.found.latest_s or 0.0
        ahead = span(log.found.passes_s - last_s)
        between = f" ({span(low - last_s)} to {span(high - last_s)})" if high > 1.1 * low else ""
        reason = (
            f"{start}{log.last}, still settling: about {ahead} more{between} to {limit}. Stay "
            "with it."
        )
        falling = Cause(REFORMING, (f"it falls, {log.last}",), (), f"leakage in {ahead}")
        return Counsel.of(AdviceKind.WAIT, reason, (falling,), f"leakage again in {ahead}")
    if last_s < SHORTEST_S:
        reason = (
            f"{start}{log.last}: too early to condemn it. Keep it at voltage through its "
            "resistor for an hour, and log."
        )
        return Counsel.of(AdviceKind.WAIT, reason, (leaky,), "leakage every ten minutes")
    nominal, rated = _marked(findings.answers)
    discard = capacitor.discard_leakage(nominal, rated) if nominal and rated else None
    how = "it falls too slowly" if log.found.course is Course.TOO_SLOW else "it no longer falls"
    if not log.stated and discard is not None and last_a <= discard:
        reason = (
            f"{start}{log.last}: {how} to reach a new part's {limit}, and is below the old "
            f"discard limit of {write(discard, 'A')}. Usable now, on the order list."
        )
        return Counsel.of(AdviceKind.PLAN, reason, (leaky,), "order a new part")
    day = span(LONGEST_S)
    reason = f"{start}{log.last}: {how} and will not reach {limit} within {day}. Replace it."
    if findings.verdict("leakage_a") is Verdict.UNDECIDED:
        reason = f"{start}{log.last}: at its limit of {limit}, within measuring error. Usable now."
        return Counsel.of(AdviceKind.PLAN, reason, (leaky,), "leakage again on a finer range")
    path = Cause(
        PATH,
        (f"it stays at {log.last}",),
        (),
        "the current with the part disconnected, all else in place",
        COMMON,
    )
    return Counsel.of(AdviceKind.REPLACE, reason, (leaky, path), path.next_reading)


def _leaky(log: _Log) -> Cause:
    limit = f", limit {write(log.high_a, 'A')}" if log.high_a else ""
    signs = (f"{log.last}{limit}",)
    return Cause(LEAKY, signs, (), "leakage after another hour, at half the volts", COMMON)


def _marking(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _reading(key: str, prompt: str) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="µF",
        low=0,
        high=1e6,
        by_meter=True,
        assumed_percent=2,
        probed_at="across the part's own terminals",
    )


PART = {"nominal": "20 µF", "rated_v": "450 V"}
LOG = "20 s 4.5 mA; 15 min 1 mA; 1 h 120 µA; 3 h 50 µA"
RETRONICS = "retronics.no/2023/02/28 (part 5)"

CHECK = Check(
    id="capacitor-reforming",
    title="Re-forming a capacitor",
    stage=Stage.CAPACITORS,
    power_states=(PowerState.SAFE,),
    why="A capacitor that stood for years leaks until its oxide has built up again; leakage also "
    "makes its capacitance read too high. A log says whether it is worth waiting.",
    cautions=(
        "The part carries its full working voltage: closed box or insulated clips, one hand, eyes "
        "protected. A leaky electrolytic can burst.",
        "From a current-limited supply through a series resistor, right polarity, never "
        "unattended; stop when it gets warm.",
        "Afterwards discharge through a resistor; measure below 2 V, and again a minute later.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Out of circuit, one leg lifted. Discharge, measure below 2 V.",
        "Supply, series resistor, meter and part in series; check the polarity twice.",
        "Raise to the volts it works at. Note the current at 20 s, 15 min, 1 h, 3 h.",
        "Reached: discharge, measure below 2 V, then read its capacitance and ESR.",
    ),
    inputs=(
        TextInput(key="designator", prompt="Which part (C901)"),
        _marking("nominal", "Marked capacitance", "µF", 0.1, 1e6),
        _marking("rated_v", "Rated voltage", "V", 1, 1000),
        SeriesInput(
            key="leakage",
            prompt="Leakage over time at voltage",
            unit="µA",
            low=0,
            high=1e6,
            probed_at="in series with the part",
            required=True,
        ),
        _marking("leakage_limit", "Leakage limit, where one is stated", "µA", 0.01, 1e6),
        ChoiceInput(
            key="rule",
            prompt="Limit where none is stated",
            choices=(
                Choice("new", "A new part's: 0.01·C·V and the like"),
                Choice("old", "The old discard limit"),
            ),
            default="new",
        ),
        _marking("leakage_v", "Volts during the readings", "V", 0.1, 1000),
        _marking("working_v", "Volts across it in use", "V", 0.1, 1000),
        ChoiceInput(
            key="voltage",
            prompt="Was the voltage raised on the way?",
            choices=(Choice("constant", "Constant"), Choice("raised", "Raised in steps")),
            default="constant",
        ),
        _reading("capacitance", "Capacitance, before"),
        _reading("capacitance_after", "Capacitance, once re-formed"),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="20 µF/450 V over three hours, limit 500 µA",
            source=RETRONICS,
            answers=PART | {"leakage": LOG, "leakage_limit": "500 µA"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"leakage_a": Verdict.PASS},
            values={"leakage_a": (50e-6, 1e-9), "leakage_in_limit_s": (1420, 60)},
            never=(AdviceKind.REPLACE, AdviceKind.WAIT, AdviceKind.STOP),
            cause=REFORMING,
        ),
        Example(
            title="The same, with the reading taken while it leaked",
            source=RETRONICS,
            answers=PART | {"leakage": LOG, "leakage_limit": "500 µA", "capacitance": "30 µF"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=INFLATED,
        ),
        Example(
            title="The same, then it reads true",
            source=RETRONICS,
            answers=PART | {"leakage": LOG, "capacitance": "30 µF", "capacitance_after": "20.5 µF"},
            advice=(AdviceKind.LEAVE,),
            values={"leakage_limit_a": (205e-6, 1e-9)},
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
        ),
        Example(
            title="The same after 15 min: still settling",
            source=RETRONICS,
            answers=PART | {"leakage": "20 s 4.5 mA; 15 min 1 mA", "leakage_limit": "500 µA"},
            advice=(AdviceKind.WAIT,),
            verdicts={"leakage_a": Verdict.FAIL},
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
        ),
        Example(
            title="Two hours, and it no longer falls",
            source=COMMON,
            answers=PART | {"leakage": "10 min 6.1 mA; 1 h 6.0 mA; 2 h 6.0 mA"},
            advice=(AdviceKind.REPLACE,),
            verdicts={"leakage_a": Verdict.FAIL},
            never=(AdviceKind.WAIT, AdviceKind.LEAVE),
            cause=LEAKY,
        ),
        Example(
            title="Stays above a new part's limit, below the old one",
            source=COMMON,
            answers=PART | {"leakage": "10 min 0.42 mA; 1 h 0.40 mA; 3 h 0.40 mA"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE, AdviceKind.WAIT),
        ),
        Example(
            title="Rising at the same volts",
            source=COMMON,
            answers=PART | {"leakage": "1 min 2 mA; 5 min 2.6 mA; 10 min 4 mA"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.WAIT, AdviceKind.LEAVE),
            cause=HEATING,
        ),
        Example(
            title="Low, but not at the volts it works at",
            source=COMMON,
            answers=PART
            | {"leakage": "20 min 90 µA; 1 h 30 µA", "leakage_v": "100 V", "working_v": "400 V"},
            advice=(AdviceKind.WAIT,),
            verdicts={"leakage_a": Verdict.NOT_COMPARABLE},
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
        ),
        Example(
            title="Nothing marked",
            source=COMMON,
            answers={"leakage": "20 s 4.5 mA; 15 min 1 mA"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
        ),
    ),
    sources=(
        f"Leakage inflates, re-forming mends: {RETRONICS}",
        f"Limits: {DATA_SHEET}; {DISCARD}",
        f"An hour before anything is condemned, a day at most, heat: {COMMON}",
    ),
    needs=(19,),
    covers_off=True,
)

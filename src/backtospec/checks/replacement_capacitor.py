"""A replacement capacitor held against the one it takes the place of, before it is bought."""

from __future__ import annotations

import re
from dataclasses import dataclass

from backtospec import quantity
from backtospec.analysis import discharge, reservoir
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
    Stage,
    TableFigure,
    TextInput,
)
from backtospec.check.capacitor_part import INRUSH_PERCENT
from backtospec.errors import BenchError
from backtospec.quantity import Measured, write
from backtospec.records import Limit, PowerState
from backtospec.verdict import Result, Verdict

COMMON = "common practice, no source"
MEMORY = "from memory"
EQUAL_OR_HIGHER = "equal or higher voltage, ag-forum.herokuapp.com/posts/2029411"
FUSE = "audiocircle.com topic 181812 (2022-05-13)"
LEAST_PERCENT = -20.0
"""Capacitance below this share less than the mark makes noticeably more ripple (a part at its lower
tolerance was always allowed; common practice, no source)."""

TOO_LARGE = "more inrush than rectifier, transformer and fuse were chosen for"
TOO_LOW = "rating below the volts it must stand"
WRONG_FUSE = "fast fuse where a time-lag one belongs"

RESULTS = {
    "replacement_c_percent": ("new part's capacitance above the mark", "%"),
    "replacement_v_percent": ("new part's rating above the old one's", "%"),
    "voltage_margin_percent": ("new part's rating above the volts in use", "%"),
    "replacement_ripple_percent": ("new part's ripple current above the old one's", "%"),
    "replacement_esr_ratio": ("new part's ESR over the old one's", ""),
    "replacement_diameter_mm": ("new part's diameter above the old one's, mm", ""),
    "energy_ratio": ("stored energy, new over old", ""),
    "stored_energy_j": ("energy the new part stores in use", "J"),
    "inrush_ratio": ("stress at switch-on (I²t), new over old", ""),
    "ripple_ratio": ("ripple, new over old", ""),
}


@dataclass(frozen=True, slots=True)
class _Pair:
    """Old and new, as marked; ``None`` where not given."""

    name: str
    farad: float | None
    volt: float | None
    new_farad: float | None
    new_volt: float | None
    working_v: float | None


def _value(answers: Answers, key: str) -> float | None:
    number = answers.number(key)
    return number.value if number else None


def _pair(answers: Answers) -> _Pair:
    name = answers.texts.get("designator", "").strip()
    listed = next(
        (
            c
            for c in (answers.spec.capacitors if answers.spec else ())
            if c.designator.casefold() == name.casefold()
        ),
        None,
    )
    rail = answers.spec.rail_v if answers.spec else None
    return _Pair(
        name,
        _value(answers, "nominal") or (listed.farad if listed else None),
        _value(answers, "rated_v") or (listed.rated_v if listed else None),
        _value(answers, "new_capacitance"),
        _value(answers, "new_rated_v"),
        _value(answers, "working_v") or (rail if answers.choice("place") != "signal" else None),
    )


def _millimetres(answers: Answers, key: str) -> float | None:
    """Return a length typed as "35", "35 mm", "3.5 cm" or "1.4 in"."""
    text = answers.texts.get(key, "").strip()
    if not text:
        return None
    parts = re.fullmatch(r"(?:ø|⌀)?\s*([\d.,]+)\s*(mm|cm|in|inch|\"|″)?\.?", text, re.I)
    where = key.replace("_", " ")
    if parts is None:
        raise BenchError(f"“{text}” is not a length.", where, 'Type it as "35 mm".')
    factor = {"cm": 10.0, "mm": 1.0, "": 1.0}.get((parts[2] or "").lower(), 25.4)
    return factor * quantity.read(parts[1], "", where, 0.1, 500)


def measure(answers: Answers) -> Measurement:
    """Return what the new part has more or less of than the old one."""
    pair = _pair(answers)
    results: list[Result] = []

    def add(key: str, value: float | None, method: str, *inputs: str) -> None:
        if value is not None:
            title, unit = RESULTS[key]
            results.append(Result(key, title, Measured(value), unit, method, inputs))

    old_c, new_c = pair.farad, pair.new_farad
    old_v, new_v, use_v = pair.volt, pair.new_volt, pair.working_v
    both = ("new_capacitance", "nominal")
    if old_c and new_c:
        add("replacement_c_percent", (new_c / old_c - 1) * 100, "new ÷ marked", *both)
        add("inrush_ratio", reservoir.inrush_ratio(old_c, new_c), "C·V² ÷ (2·R), same R", *both)
        add("ripple_ratio", old_c / new_c, "I ÷ (f·C), same current", *both)
        volts = abs(use_v) if use_v else None
        ratio = reservoir.energy_ratio(old_c, new_c, volts or 1.0, volts or 1.0)
        add("energy_ratio", ratio, "½·C·V² at the volts in use", *both)
    if new_c and use_v:
        stored = discharge.stored_energy(Measured(new_c), Measured(abs(use_v))).value
        add("stored_energy_j", stored, "½·C·V²", "new_capacitance", "working_v")
    if old_v and new_v:
        add("replacement_v_percent", (new_v / old_v - 1) * 100, "new ÷ old", "new_rated_v")
    if use_v and new_v:
        margin = (new_v / abs(use_v) - 1) * 100
        add("voltage_margin_percent", margin, "rated ÷ in use", "new_rated_v", "working_v")
    ripple, new_ripple = _value(answers, "ripple_current"), _value(answers, "new_ripple_current")
    if ripple and new_ripple is not None:
        more = (new_ripple / ripple - 1) * 100
        add("replacement_ripple_percent", more, "new ÷ old", "new_ripple_current")
    esr, new_esr = _value(answers, "esr"), _value(answers, "new_esr")
    if esr and new_esr is not None:
        add("replacement_esr_ratio", new_esr / esr, "new ÷ old", "new_esr", "esr")
    wide, new_wide = _millimetres(answers, "diameter"), _millimetres(answers, "new_diameter")
    if wide and new_wide:
        add("replacement_diameter_mm", new_wide - wide, "new − old", "new_diameter", "diameter")
    if not results and answers.choice("fuse") == "":
        raise BenchError(
            "there is nothing to compare.",
            "replacement capacitor",
            "Give nominal and new_capacitance, or rated_v and new_rated_v.",
        )
    return Measurement(tuple(results), (_table(pair, answers),))


def _table(pair: _Pair, answers: Answers) -> TableFigure:
    def shown(value: float | None, unit: str) -> str:
        return "–" if value is None else write(value, unit)

    def typed(key: str) -> str:
        return answers.texts.get(key, "–")

    rows = (
        ("capacitance", shown(pair.farad, "F"), shown(pair.new_farad, "F")),
        ("rated volts", shown(pair.volt, "V"), shown(pair.new_volt, "V")),
        ("ripple current", typed("ripple_current"), typed("new_ripple_current")),
        ("ESR", typed("esr"), typed("new_esr")),
        ("diameter", typed("diameter"), typed("new_diameter")),
    )
    return TableFigure("old_new", "Old and new", ("", "old", "new"), rows)


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the rules of substitution: all convention, since the maker chose the old part."""
    more = f"above +50 %: inrush ({MEMORY}); below −20 %: ripple ({COMMON})"
    same = f"not less than the old part ({COMMON})"
    return (
        Limit("replacement_c_percent", LEAST_PERCENT, INRUSH_PERCENT, "%", more, (), True),
        Limit("replacement_v_percent", 0.0, None, "%", EQUAL_OR_HIGHER, (), True),
        Limit("voltage_margin_percent", 0.0, None, "%", "a rating is a maximum", (), True),
        Limit("replacement_ripple_percent", 0.0, None, "%", same, (), True),
        Limit(
            "replacement_esr_ratio",
            None,
            1.0,
            "",
            f"not more than the old part ({COMMON})",
            (),
            True,
        ),
    )


def advise(findings: Findings) -> Counsel:
    """Return whether the new part may go in, and what to choose instead."""
    answers = findings.answers
    pair = _pair(answers)
    name = f"{pair.name}: " if pair.name else ""
    advice = [*_volts(findings, pair, name), *_farads(findings, pair, name)]
    advice += _others(findings, answers, name)
    causes: list[Cause] = []
    if any(a.kind is AdviceKind.STOP for a in advice):
        signs = (f"new part {_written(pair.new_volt, 'V')}",)
        causes.append(Cause(TOO_LOW, signs, (), "volts across it at the highest mains", MEMORY))
    more = findings.value("replacement_c_percent")
    if more and more.value > INRUSH_PERCENT:
        signs = (f"{more.value:+.0f} % capacitance",)
        causes.append(Cause(TOO_LARGE, signs, (), "fuse type and value against the plate", FUSE))
    if answers.choice("fuse") == "fast":
        signs = ("the fuse fitted is a fast one",)
        causes.append(Cause(WRONG_FUSE, signs, (), "the fuse printed on the plate or board", FUSE))
    if not advice:
        advice.append(_suits(findings, pair, name))
    begun = (Advice(a.kind, a.reason[0].upper() + a.reason[1:]) for a in advice)
    return Counsel(tuple(begun), tuple(causes), _next(answers))


def _volts(findings: Findings, pair: _Pair, name: str) -> list[Advice]:
    low = findings.verdict("replacement_v_percent") is Verdict.FAIL
    if findings.verdict("voltage_margin_percent") is Verdict.FAIL or (low and not pair.working_v):
        stand = abs(pair.working_v) if pair.working_v else pair.volt
        return [
            Advice(
                AdviceKind.STOP,
                f"{name}do not fit it: {_written(pair.new_volt, 'V')} is below the "
                f"{_written(stand, 'V')} it must stand. Equal or higher volts, always.",
            )
        ]
    if low:
        margin = findings.value("voltage_margin_percent")
        spare = f" ({margin.value:.0f} % above the volts in use)" if margin else ""
        return [
            Advice(
                AdviceKind.PLAN,
                f"{name}{_written(pair.new_volt, 'V')} is less than the old "
                f"{_written(pair.volt, 'V')}{spare}: choose equal or higher before you order.",
            )
        ]
    return []


def _farads(findings: Findings, pair: _Pair, name: str) -> list[Advice]:
    more = findings.value("replacement_c_percent")
    if more is None or findings.verdict("replacement_c_percent") is not Verdict.FAIL:
        return []
    shown = f"{_written(pair.new_farad, 'F')} for {_written(pair.farad, 'F')}"
    if more.value > 0:
        reason = (
            f"{name}{shown} is {more.value:.0f} % more: that much more inrush through rectifier, "
            "transformer and fuse. Choose one nearer the original, and keep the time-lag fuse."
        )
    else:
        reason = f"{name}{shown} is {-more.value:.0f} % less, so more ripple: choose the old value."
    return [Advice(AdviceKind.PLAN, reason)]


def _others(findings: Findings, answers: Answers, name: str) -> list[Advice]:
    advice = []
    if findings.verdict("replacement_ripple_percent") is Verdict.FAIL:
        reason = f"{name}its ripple current rating is less than the old one's: it would run hot."
        advice.append(Advice(AdviceKind.PLAN, f"{reason} Choose a better one."))
    if findings.verdict("replacement_esr_ratio") is Verdict.FAIL:
        advice.append(Advice(AdviceKind.PLAN, f"{name}its ESR is higher than the old one's."))
    wider = findings.value("replacement_diameter_mm")
    if wider and wider.value > 0.5:
        reason = f"{name}it is {wider.value:.3g} mm wider than the old one: it may not fit."
        advice.append(Advice(AdviceKind.PLAN, reason))
    if answers.choice("both_rails") == "one":
        reason = f"{name}renew both rails alike, or the supply sags unevenly."
        advice.append(Advice(AdviceKind.PLAN, reason))
    if answers.choice("fuse") == "fast":
        reason = (
            f"{name}a fast fuse dies of the charging current after a few starts. Fit the "
            "time-lag type and value printed on the amplifier, nothing larger."
        )
        advice.append(Advice(AdviceKind.REPLACE, reason))
    return advice


def _suits(findings: Findings, pair: _Pair, name: str) -> Advice:
    missing = []
    if findings.value("replacement_c_percent") is None:
        missing.append("both capacitances")
    if findings.value("replacement_v_percent") is None and not pair.working_v:
        missing.append("both voltages")
    if missing:
        reason = f"{name}not enough to judge it by. Give {' and '.join(missing)}."
        return Advice(AdviceKind.REMEASURE, reason)
    more = findings.value("replacement_c_percent")
    shown = f"{more.value:+.0f} % capacitance, {_written(pair.new_volt, 'V')}" if more else ""
    small = findings.value("replacement_diameter_mm")
    ring = " It is thinner: a ring holds it in the clamp." if small and small.value < -0.5 else ""
    return Advice(AdviceKind.LEAVE, f"{name}it suits: {shown}. Fit it as it is.{ring}")


def _written(value: float | None, unit: str) -> str:
    return "not given" if value is None else write(value, unit)


def _next(answers: Answers) -> str:
    fuse = "" if answers.choice("fuse") else "; the fuse: time-lag, of the value printed"
    both = "" if answers.choice("both_rails") == "both" else "; renew both rails alike"
    return f"polarity against the board print{fuse}{both}; first power on the limiter"


def _marking(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


S71 = "ag-forum.herokuapp.com/posts/2029411"

CHECK = Check(
    id="replacement-capacitor",
    title="Replacement capacitor",
    stage=Stage.CAPACITORS,
    power_states=(PowerState.SAFE,),
    why="Volts may always be higher. More capacitance means more inrush, and buys little: the "
    "ripple was right when the amplifier was new.",
    cautions=(
        "Discharge and measure below 2 V, and again a minute later, before unsoldering.",
        "Wrong way round, a large electrolytic bursts: compare with the board print twice.",
        "Never fit a larger fuse to hold the inrush.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Write down what is marked on the old part, and measure diameter and lead spacing.",
        "Take the volts it works at from the chart, at the highest mains of your place.",
        "Compare with the data sheet of the new part before ordering.",
    ),
    inputs=(
        TextInput(key="designator", prompt="Which part (C901)"),
        _marking("nominal", "Old part, capacitance", "µF", 1e-3, 1e6),
        _marking("rated_v", "Old part, rated voltage", "V", 1, 1000),
        _marking("working_v", "Volts across it in use", "V", -1000, 1000),
        _marking("new_capacitance", "New part, capacitance", "µF", 1e-3, 1e6),
        _marking("new_rated_v", "New part, rated voltage", "V", 1, 1000),
        _marking("ripple_current", "Old part, ripple current", "A", 1e-3, 200),
        _marking("new_ripple_current", "New part, ripple current", "A", 1e-3, 200),
        _marking("esr", "Old part, ESR when new", "Ω", 1e-4, 1e4),
        _marking("new_esr", "New part, ESR", "Ω", 1e-4, 1e4),
        TextInput(key="diameter", prompt="Old part, diameter (35 mm)"),
        TextInput(key="new_diameter", prompt="New part, diameter (30 mm)"),
        ChoiceInput(
            key="place",
            prompt="Where does it sit?",
            choices=(Choice("supply", "Supply filter"), Choice("signal", "Signal path")),
            default="supply",
        ),
        ChoiceInput(
            key="fuse",
            prompt="Fuse fitted",
            choices=(
                Choice("time-lag", "Time-lag, value as printed"),
                Choice("fast", "Fast"),
            ),
        ),
        ChoiceInput(
            key="both_rails",
            prompt="Are both rails renewed alike?",
            choices=(Choice("both", "Both alike"), Choice("one", "Only one")),
        ),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="Same capacitance, higher volts",
            source=S71,
            answers={
                "nominal": "10000uF",
                "rated_v": "50 V",
                "new_capacitance": "10000 mfd",
                "new_rated_v": "63V",
            },
            advice=(AdviceKind.LEAVE,),
            values={"replacement_c_percent": (0, 1e-9), "replacement_v_percent": (26, 1e-9)},
            verdicts={"replacement_c_percent": Verdict.PASS},
            never=(AdviceKind.STOP, AdviceKind.PLAN),
        ),
        Example(
            title="Twice the capacitance",
            source=f"{S71}; +50 %: {MEMORY}",
            answers={
                "nominal": "4700 µF",
                "rated_v": "63 V",
                "new_capacitance": "10000 µF",
                "new_rated_v": "63 V",
                "working_v": "50 V",
            },
            advice=(AdviceKind.PLAN,),
            values={
                "replacement_c_percent": (112.77, 0.01),
                "energy_ratio": (2.1277, 1e-4),
                "stored_energy_j": (12.5, 1e-9),
            },
            verdicts={"replacement_c_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.STOP),
            cause=TOO_LARGE,
        ),
        Example(
            title="Just under half more",
            source=MEMORY,
            answers={
                "nominal": "6800 µF",
                "rated_v": "63 V",
                "new_capacitance": "10000 µF",
                "new_rated_v": "80 V",
                "fuse": "time-lag",
            },
            advice=(AdviceKind.LEAVE,),
            values={"replacement_c_percent": (47.06, 0.01)},
            never=(AdviceKind.PLAN,),
        ),
        Example(
            title="A rating below the rail",
            source=S71,
            answers={
                "nominal": "4700 µF",
                "rated_v": "63 V",
                "new_capacitance": "4700 µF",
                "new_rated_v": "50 V",
                "working_v": "56 V",
            },
            advice=(AdviceKind.STOP,),
            verdicts={"voltage_margin_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=TOO_LOW,
        ),
        Example(
            title="Below the old rating, above the rail",
            source=S71,
            answers={"rated_v": "63 V", "new_rated_v": "50 V", "working_v": "35 V"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.STOP, AdviceKind.LEAVE),
        ),
        Example(
            title="A fast fuse",
            source=FUSE,
            answers={
                "nominal": "10000 µF",
                "rated_v": "63 V",
                "new_capacitance": "15000 µF",
                "new_rated_v": "63 V",
                "fuse": "fast",
            },
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=WRONG_FUSE,
        ),
        Example(
            title="Less ripple current, and too wide",
            source=COMMON,
            answers={
                "nominal": "10000 µF",
                "rated_v": "63 V",
                "new_capacitance": "10000 µF",
                "new_rated_v": "63 V",
                "ripple_current": "5 A",
                "new_ripple_current": "3.2 A",
                "diameter": "35 mm",
                "new_diameter": "4 cm",
            },
            advice=(AdviceKind.PLAN, AdviceKind.PLAN),
            values={"replacement_diameter_mm": (5, 1e-9)},
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Only volts given",
            source=COMMON,
            answers={"rated_v": "50 V", "new_rated_v": "63 V"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.STOP,),
        ),
    ),
    sources=(
        f"Equal or higher voltage; larger capacitance raises inrush: {S71}",
        f"A fast fuse in place of time-lag died after about ten starts: {FUSE}",
        f"Warning above about +50 %: {MEMORY}; below −20 %, ripple current, size: {COMMON}",
    ),
    needs=(16,),
    covers_off=True,
    before_closing="new reservoir capacitors: polarity, and the fuse as printed",
)

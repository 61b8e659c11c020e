"""Filter capacitor: good, to be planned, to be replaced, or not validly measured.

Longer than most: three axes, discharge and the new part stand together, since one check is one
file. Its maths and limits are in :mod:`backtospec.analysis`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from backtospec.analysis import capacitor, capacitor_limits, discharge
from backtospec.analysis.capacitor import Tolerance
from backtospec.analysis.capacitor_limits import (
    FEWEST_STEPS,
    HIGHEST_PERCENT,
    LOSS_WATCH_PERCENT,
    LOWEST_PERCENT,
    RATIO,
    READS_HIGH_PERCENT,
    TWICE,
    Part,
)
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    Cause,
    Check,
    Choice,
    ChoiceInput,
    Counsel,
    Example,
    Figure,
    Findings,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    SeriesFigure,
    SeriesInput,
    Stage,
    TableFigure,
    TextInput,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, MeterRange, resolution, write
from backtospec.records import Limit, PowerState
from backtospec.verdict import Bound, Finding, Result, Verdict, against

OLD_BEFORE_YEAR, OLD_AGE_YEARS = 1990, 30.0
"""Old enough for the order list on age alone (common practice, no source)."""

INRUSH_PERCENT = 50.0
"""More capacitance than this above the original strains rectifier and fuse (from memory)."""

LONGEST_REFORM_S = 24 * 3600.0
"""Re-forming that would take longer is given up (common practice, no source)."""

SHORTEST_REFORM_S = 3600.0
"""No leakage reading earlier than this condemns a part (common practice, no source)."""

FREQUENCIES = {"100-hz": 100.0, "120-hz": 120.0, "1-khz": 1e3, "100-khz": 1e5}
LIFT = "a neighbour in circuit may be helping. Lift one leg and read it again"
DRIED = "dried-out electrolyte"
LEAKY = "leakage inflates the reading"
AGEING = "chemical ageing"
NEIGHBOUR = "neighbour in circuit"
COARSE = "meter too coarse for this part"


@dataclass(frozen=True, slots=True)
class _Leakage:
    """The leakage series with its limit, judged."""

    readings: tuple[tuple[float, float], ...]
    result: Result
    limit: Limit | None
    verdict: Verdict

    @property
    def state(self) -> str:
        """Condition under which the capacitance was read."""
        names = {Verdict.PASS: "within its limit", Verdict.FAIL: "above its limit"}
        return names.get(self.verdict, "not settled")

    @property
    def reformed(self) -> bool:
        """True where it began above its limit and ended within."""
        high = self.limit.high if self.limit else None
        return self.verdict is Verdict.PASS and high is not None and self.readings[0][1] > high


def _part(answers: Answers) -> Part:
    name = answers.texts.get("designator", "").strip()
    sheet = answers.spec
    listed = next(
        (c for c in (sheet.capacitors if sheet else ()) if c.designator.lower() == name.lower()),
        None,
    )
    nominal = _value(answers, "nominal") or (listed.farad if listed else None)
    parallel = _value(answers, "parallel")
    if nominal and parallel and parallel < nominal * (1 - 1e-9):
        raise BenchError(
            f"{write(parallel, 'F')} in all is less than the part's own {write(nominal, 'F')}.",
            "parallel",
            "Give the total on the schematic, this part included.",
        )
    stated = _value(answers, "year")
    year = round(stated) if stated else (listed.year if listed else None)
    year = year or (sheet.year if sheet else None)
    age = _value(answers, "age")
    old = age >= OLD_AGE_YEARS if age is not None else bool(year and year < OLD_BEFORE_YEAR)
    tolerance, marked = _tolerance(answers, capacitor.MODERN_YEAR if age and not old else year)
    if not marked and listed and listed.tolerance_high_percent is not None:
        low = listed.tolerance_low_percent
        high = listed.tolerance_high_percent
        tolerance, marked = Tolerance(-high if low is None else low, high, listed.source), True
    in_circuit = answers.choice("in_circuit") == "in"
    return Part(
        name=name,
        nominal=nominal,
        reference=parallel or nominal,
        rated_v=_value(answers, "rated_v") or (listed.rated_v if listed else None),
        working_v=_value(answers, "working_v"),
        tolerance=tolerance,
        marked=marked,
        old=old,
        age=f"Now {age:g} years old" if age is not None else f"Made about {year}",
        in_circuit=in_circuit,
        alone=not in_circuit or parallel is not None,
        frequency_hz=FREQUENCIES.get(answers.choice("frequency")),
    )


def _value(answers: Answers, key: str) -> float | None:
    number = answers.number(key)
    return number.value if number else None


def _tolerance(answers: Answers, year: int | None) -> tuple[Tolerance, bool]:
    """Return the tolerance of the part, and whether it is marked on it."""
    mark = answers.choice("tolerance_mark").upper()
    low, high = _value(answers, "tolerance_low"), _value(answers, "tolerance_high")
    if low is None and high is None:
        if not mark:
            return capacitor.usual_tolerance(year), False
        return Tolerance(*capacitor.MARKS[mark], f"letter {mark} on the part"), True
    high = abs(low or 0.0) if high is None else abs(high)
    return Tolerance(-abs(high if low is None else low), high, "marked on the part"), True


def _leakage(answers: Answers, part: Part) -> _Leakage | None:
    series = answers.series("leakage")
    readings = series.readings() if series else ()
    if series is None or not readings:
        return None
    stated, test_v = _value(answers, "leakage_limit"), _value(answers, "leakage_v")
    limit = capacitor_limits.leakage_limit(part, readings[-1][1], stated, test_v)
    meter = MeterRange(
        answers.meter.percent if answers.meter else 0.5,
        answers.meter.counts if answers.meter else 3.0,
        series.step,
    )
    result = Result(
        "leakage_a",
        "leakage at the last reading",
        meter.measured(readings[-1][1]),
        "A",
        f"direct current, {_span(readings[-1][0])} after the voltage was applied",
        ("leakage",),
        _conditions(answers, part),
    )
    return _Leakage(readings, result, limit, against(result, limit).verdict)


def _conditions(answers: Answers, part: Part) -> dict[str, float | str]:
    found: dict[str, float | str] = {
        "circuit": "in" if part.in_circuit else "out",
        "neighbours": "excluded" if part.alone else "possible",
    }
    numbers = {
        "frequency_hz": part.frequency_hz,
        "temperature_c": _value(answers, "temperature"),
        "test_v": _value(answers, "leakage_v"),
    }
    found.update({key: value for key, value in numbers.items() if value is not None})
    return found


def measure(answers: Answers) -> Measurement:
    """Return capacitance, ESR, losses, leakage, stored energy and what discharges it."""
    part = _part(answers)
    leakage = _leakage(answers, part)
    conditions = _conditions(answers, part)
    conditions["leakage"] = leakage.state if leakage else "not measured"
    results: list[Result] = []

    def add(
        key: str, value: Measured, method: str, *inputs: str, bound: Bound = Bound.EQUALS
    ) -> None:
        title, unit = RESULTS[key]
        results.append(Result(key, title, value, unit, method, inputs, conditions, bound))

    _add_capacitance(answers, part, add)
    _add_esr(answers, part, conditions, add)
    for key, title in (("tan_delta", "loss factor"), ("voltage_loss", "voltage loss")):
        if (loss := answers.number(key)) is not None:
            add(key + ("_percent" if key == "voltage_loss" else ""), loss, f"{title} as read", key)
    if leakage:
        results.append(leakage.result)
        high = leakage.limit.high if leakage.limit else None
        since = capacitor.time_in_limit(leakage.readings, high) if high else None
        if since is not None:
            add("leakage_in_limit_s", Measured(since), "interpolated, logarithmic", "leakage")
    working = answers.number("working_v")
    if working and part.rated_v:
        margin = (part.rated_v / abs(working) - 1) * 100
        add("voltage_margin_percent", margin, "rated ÷ working volts", "rated_v", "working_v")
    _add_discharge(answers, part, add)
    _add_replacement(answers, part, add)
    if not results and answers.choice("visible") in ("", "none", "glue"):
        raise BenchError(
            "no reading was given.", "filter capacitor", "Give capacitance, ESR or leakage."
        )
    return Measurement(tuple(results), _figures(part, leakage))


_Add = Callable[..., None]


def _add_capacitance(answers: Answers, part: Part, add: _Add) -> None:
    again = answers.number("capacitance_after")
    farad = again or answers.number("capacitance")
    if farad is None:
        return
    key = "capacitance_after" if again else "capacitance"
    add("capacitance_f", farad, "as read", key)
    if part.reference:
        add(RATIO, farad / part.reference * 100, "read ÷ marked", key, "nominal", "parallel")


def _add_esr(answers: Answers, part: Part, conditions: dict[str, float | str], add: _Add) -> None:
    esr, leads, tan = (answers.number(key) for key in ("esr", "lead_ohm", "tan_delta"))
    farad = answers.number("capacitance_after") or answers.number("capacitance")
    if esr is None:
        if tan is not None and farad is not None and farad.value > 0 and part.frequency_hz:
            ohm = tan / (2 * math.pi * part.frequency_hz * farad)
            add("esr_ohm", ohm, "tan δ ÷ (2π·f·C)", "tan_delta", "capacitance", "frequency")
        return
    step = resolution(answers.texts["esr"], "Ω")
    conditions["meter_step_ohm"] = step
    ohm = esr - leads if leads else esr
    if ohm.value < -2 * ohm.u - step:
        raise BenchError(
            f"the leads read {write(-ohm.value, 'Ω')} more than the part.",
            "esr",
            "Short the leads, zero the meter, and read both again.",
        )
    method = "as read, less the leads" if leads else "as read"
    if ohm.value < step / 2:
        most = Measured(max(ohm.value, 0.0) + max(2 * ohm.u, step))
        add("esr_ohm", most, method, "esr", "lead_ohm", bound=Bound.AT_MOST)
    else:
        add("esr_ohm", ohm, method, "esr", "lead_ohm")


def _add_discharge(answers: Answers, part: Part, add: _Add) -> None:
    for key in ("residual_v", "residual_later_v"):
        if (volt := answers.number(key)) is not None:
            add(key, volt, "direct voltage across the part", key)
    charged = answers.number("charged_v")
    farads = [Measured(c) for c in (part.reference,) if c]
    farads += [c for c in (answers.number("capacitance"),) if c]
    if charged is None or not farads:
        return
    farad = max(farads, key=lambda c: c.value)
    add("stored_energy_j", discharge.stored_energy(farad, charged), "½·C·V²", "charged_v")
    if abs(charged.value) <= discharge.SAFE_V:
        return
    chosen = discharge.choose_discharger(farad.value, abs(charged.value))
    method = f"to {discharge.SAFE_V:g} V within {discharge.WANTED_S:g} s, next lower E6 value"
    add("discharge_ohm", Measured(chosen.ohm), method, "charged_v", "nominal")
    add("discharge_peak_w", Measured(chosen.peak_w), "V² ÷ R at the first instant", "charged_v")
    add("discharge_rating_w", Measured(chosen.rating_w), "a fifth of that or more, wire-wound")
    ohm = _value(answers, "discharge_resistor") or chosen.ohm
    seconds = discharge.discharge_time(farad.value, ohm, abs(charged.value), discharge.SAFE_V)
    add("discharge_s", Measured(seconds), f"R·C·ln(V ÷ 2 V) with {write(ohm, 'Ω')}", "charged_v")


def _add_replacement(answers: Answers, part: Part, add: _Add) -> None:
    new, new_v = _value(answers, "new_capacitance"), _value(answers, "new_rated_v")
    if new and part.nominal:
        more = Measured((new / part.nominal - 1) * 100)
        add("replacement_c_percent", more, "new ÷ marked", "new_capacitance", "nominal")
    needed = abs(part.working_v) if part.working_v else part.rated_v
    if new_v and needed:
        margin = Measured((new_v / needed - 1) * 100)
        add("replacement_v_percent", margin, "new rating ÷ volts it must stand", "new_rated_v")


def _figures(part: Part, leakage: _Leakage | None) -> tuple[Figure, ...]:
    figures: list[Figure] = []
    points = [(t, a) for t, a in (leakage.readings if leakage else ()) if t > 0 and a > 0]
    if leakage and len(points) > 1:
        trace = Trace("leakage", *_columns([(t / 60, a * 1e6) for t, a in points]), points=True)
        high = leakage.limit.high if leakage.limit else None
        marks = (Mark("limit", "y", high * 1e6),) if high else ()
        x, y = Axis("time at voltage", "min", True), Axis("leakage", "µA", True)
        title = "Leakage while re-forming"
        figures.append(SeriesFigure("leakage", title, x, y, (trace,), (), marks))
    if (band := part.esr_band) and part.rated_v:
        rows = tuple((s.source, write(s.ohm, "Ω")) for s in band.sources)
        columns = ("Source", "Highest ESR of a new part")
        figures.append(TableFigure("esr_band", "ESR: the sources disagree", columns, rows))
    return tuple(figures)


def _columns(points: list[tuple[float, float]]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return tuple(x for x, _ in points), tuple(y for _, y in points)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return what each axis must keep, and when a reading that keeps it counts."""
    part = _part(answers)
    found: list[Limit] = capacitor_limits.loss_limits(part)
    leakage = _leakage(answers, part)
    if leakage and leakage.limit:
        found.append(leakage.limit)
    values = {r.key: r for r in measure(answers).results}
    if (ratio := values.get(RATIO)) and ratio.value:
        found += capacitor_limits.ratio_limits(part, ratio.value.value)
    if (esr := values.get("esr_ohm")) and esr.value:
        known = answers.number("temperature") is not None
        step = _step_at_floor(answers, esr)
        found += capacitor_limits.esr_limits(part, esr.value.value, step, temperature_known=known)
    safe = "below 2 V, twice a minute apart (from memory)"
    more = "rectifier and fuse strain (from memory)"
    least = "equal or higher voltage, ag-forum.herokuapp.com/posts/2029411"
    volt = discharge.SAFE_V
    return (
        *found,
        Limit("voltage_margin_percent", 0.0, None, "%", "a rating is a maximum", (), True),
        Limit("residual_v", -volt, volt, "V", safe, (), True),
        Limit("residual_later_v", -volt, volt, "V", safe, (), True),
        Limit("replacement_c_percent", None, INRUSH_PERCENT, "%", more, (), True),
        Limit("replacement_v_percent", 0.0, None, "%", least, (), True),
    )


def _step_at_floor(answers: Answers, esr: Result) -> float | None:
    """Return the meter's step where the reading is only a few of them, else ``None``."""
    if esr.value is None or "esr" not in answers.numbers:
        return None
    step = resolution(answers.texts["esr"], "Ω")
    few = esr.bound is Bound.AT_MOST or esr.value.value < (FEWEST_STEPS - 0.5) * step
    return step if few else None


@dataclass(frozen=True, slots=True)
class _View:
    """What one axis says: a kind of advice, the reading in words, and why."""

    kind: AdviceKind
    shown: str
    why: str = ""
    cause: Cause | None = None


def _capacitance_view(findings: Findings, part: Part, leakage: _Leakage | None) -> _View | None:
    ratio, farad = findings.value(RATIO), findings.value("capacitance_f")
    if ratio is None or farad is None or part.reference is None:
        return None
    answers = findings.answers
    shown = f"{write(farad.value, 'F')} of {write(part.reference, 'F')}"
    failed = [f.limit for f in findings.of(RATIO) if f.verdict is Verdict.FAIL and f.limit]
    if ratio.value < LOWEST_PERCENT and any(limit.low == LOWEST_PERCENT for limit in failed):
        cause = Cause(DRIED, (shown,), (), "ESR, out of circuit")
        many = " together: read each with a leg lifted" if part.reference != part.nominal else ""
        return _View(AdviceKind.REPLACE, shown, f"far too little{many}", cause)
    if part.reads_high(ratio.value) or not part.alone:
        return _high_view(findings, part, leakage, ratio, shown)
    if answers.choice("behaviour") == "climbing":
        cause = Cause("high ESR", ("the reading climbs steadily",), (), "ESR at 100 or 120 Hz")
        why = "a climbing reading hints at high ESR. Read that too"
        return _View(AdviceKind.REMEASURE, shown, why, cause)
    if findings.verdict(RATIO) in (Verdict.FAIL, Verdict.UNDECIDED):
        return _View(AdviceKind.PLAN, shown, "at the edge of its tolerance, usable now")
    return _View(AdviceKind.LEAVE, shown)


def _high_view(
    findings: Findings, part: Part, leakage: _Leakage | None, ratio: Measured, shown: str
) -> _View:
    """Judge a reading that something other than a good part may have made high."""
    kind, high = AdviceKind.REMEASURE, part.reads_high(ratio.value)
    if not part.alone:
        known = ("read in circuit",) + (("it reads high",) if high else ())
        next_reading = "one leg lifted, or the total that stands in parallel"
        return _View(kind, shown, LIFT, Cause(NEIGHBOUR, known, (), next_reading))
    if leakage is None or leakage.verdict is not Verdict.PASS:
        known = (f"it reads {shown}",)
        if leakage and leakage.verdict is Verdict.FAIL:
            known += (f"leakage {_last(leakage)}",)
        wide = () if part.tolerance.high_percent < 50 else ("parts of its age ran as high",)
        why = "reads high, and leaky parts do. Bring its leakage down first, then read it again"
        return _View(kind, shown, why, Cause(LEAKY, known, wide, "leakage at working volts"))
    again = "capacitance_after" in findings.answers.numbers
    if leakage.reformed and not again:
        known = (f"it read {shown}", f"leakage fell to {_last(leakage)}")
        why = f"leakage inflated it. Re-formed now ({_last(leakage)}): read the capacitance again"
        return _View(kind, shown, why, Cause(LEAKY, known, (), "capacitance, now re-formed"))
    tolerated = ratio.value <= 100 + part.tolerance.high_percent
    if ratio.value > HIGHEST_PERCENT and not (part.marked and tolerated):
        known = (f"it reads {shown} with its leakage in order",)
        why = "reads absurdly high. Read it at 120 Hz with another meter, and its loss"
        return _View(kind, shown, why, Cause(AGEING, known, (), "tan δ at 120 Hz"))
    cause = Cause("wide tolerance when new", (f"it reads {shown}, leakage in order",))
    why = "" if tolerated else "above its tolerance, usable now"
    return _View(AdviceKind.LEAVE if tolerated else AdviceKind.PLAN, shown, why, cause)


def _esr_view(findings: Findings, part: Part) -> _View | None:
    found, band = findings.of("esr_ohm"), part.esr_band
    if not found or found[0].result.value is None or band is None or found[0].limit is None:
        return None
    value, result = found[0].result.value, found[0].result
    most = "≤ " if result.bound is Bound.AT_MOST else ""
    ohm = value.value
    # on the bench a tenth of an ohm is 0.1 Ω, not 100 mΩ
    shown = f"ESR {most}" + (f"{ohm:.2g} Ω" if 0.01 <= ohm < 1 else write(ohm, "Ω", 2))
    match found[0].verdict:
        case Verdict.FAIL:
            ratio = findings.value(RATIO)
            held = ratio is not None and ratio.value >= LOWEST_PERCENT
            against_it = ("its capacitance has held",) if held else ()
            cause = Cause(DRIED, (shown,), against_it, "capacitance, out of circuit")
            why = "more than twice what any source allows a new part"
            return _View(AdviceKind.REPLACE, shown, why, cause)
        case Verdict.NOT_COMPARABLE if "temperature" in found[0].reason:
            why = "the cold raises ESR. Read it at room temperature"
            return _View(AdviceKind.REMEASURE, shown, why)
        case Verdict.NOT_COMPARABLE if not part.alone:
            known = ("ESR read in circuit, and not high",)
            cause = Cause(NEIGHBOUR, known, (), "ESR with one leg lifted")
            return _View(AdviceKind.REMEASURE, shown, LIFT, cause)
        case Verdict.UNDECIDED if "esr" not in findings.answers.numbers:
            return None  # computed from tan δ, which speaks for itself
        case Verdict.NOT_COMPARABLE | Verdict.UNDECIDED:
            cause = Cause(COARSE, (found[0].reason,), (), "a finer meter, or the ripple under load")
            why = "too close for this meter's step. Use a finer one, or judge by the ripple"
            return _View(AdviceKind.REMEASURE, shown, why, cause)
        case _:
            above = value.value > band.high_ohm
            why = "above what charts give a new part, usable now" if above else ""
            return _View(AdviceKind.PLAN if above else AdviceKind.LEAVE, shown, why)


def _loss_views(findings: Findings, part: Part) -> list[_View]:
    views: list[_View] = []
    for key, words in (("voltage_loss_percent", "voltage loss"), ("tan_delta", "tan δ")):
        found = findings.of(key)
        if not found or found[0].limit is None or found[0].result.value is None:
            continue
        value = found[0].result.value.value
        shown = f"{words} {write(value, '%' if key.endswith('percent') else '', 2)}"
        watched = value > (LOSS_WATCH_PERCENT if key.endswith("percent") else _high(found) / TWICE)
        match found[0].verdict:
            case Verdict.FAIL:
                cause = Cause(DRIED, (shown,), (), "ESR, out of circuit")
                views.append(_View(AdviceKind.REPLACE, shown, "far too lossy", cause))
            case Verdict.NOT_COMPARABLE if part.in_circuit:
                views.append(_View(AdviceKind.REMEASURE, shown, LIFT))
            case Verdict.NOT_COMPARABLE:
                why = "its limits hold at 100 or 120 Hz. Read it there"
                views.append(_View(AdviceKind.REMEASURE, shown, why))
            case Verdict.UNDECIDED:
                views.append(_View(AdviceKind.PLAN, shown, "near the limit, usable now"))
            case _:
                why = "more than a new part has, usable now" if watched else ""
                views.append(_View(AdviceKind.PLAN if watched else AdviceKind.LEAVE, shown, why))
    return views


def _high(found: tuple[Finding, ...]) -> float:
    limit = found[0].limit
    return limit.high if limit and limit.high is not None else math.inf


def _leakage_view(leakage: _Leakage | None, part: Part) -> _View | None:
    if leakage is None or leakage.limit is None or leakage.limit.high is None:
        return None
    shown, high = f"leakage {_last(leakage)}", leakage.limit.high
    if leakage.verdict is Verdict.NOT_COMPARABLE:
        if part.in_circuit:
            why = "in circuit other parts draw current too. Lift one leg and read it again"
            return _View(AdviceKind.REMEASURE, shown, why)
        why = "read below the volts it works at. Bring the supply up to those"
        return _View(AdviceKind.REMEASURE, shown, why)
    if leakage.verdict is Verdict.PASS:
        if leakage.limit.convention and part.nominal and part.rated_v:
            new = capacitor.new_part_leakage(part.nominal, part.rated_v)
            if leakage.readings[-1][1] > new:
                return _View(AdviceKind.PLAN, shown, "more than a new part has, usable now")
        return _View(AdviceKind.LEAVE, shown)
    last_s = leakage.readings[-1][0]
    ready = capacitor.time_to_limit(leakage.readings, high)
    cause = Cause("leaky oxide", (f"{shown}, limit {write(high, 'A')}",), (), "leakage in an hour")
    if ready is not None and last_s < ready <= LONGEST_REFORM_S:
        why = f"still re-forming. Leave it on the supply, about {_span(ready - last_s)} more"
        return _View(AdviceKind.WAIT, shown, why, cause)
    if last_s < SHORTEST_REFORM_S:
        why = "too early to condemn it. Re-form it through a resistor for an hour, and log"
        return _View(AdviceKind.WAIT, shown, why, cause)
    if leakage.verdict is Verdict.UNDECIDED:
        return _View(AdviceKind.PLAN, shown, "near its limit, usable now", cause)
    return _View(AdviceKind.REPLACE, shown, "it does not re-form", cause)


def _last(leakage: _Leakage) -> str:
    seconds, ampere = leakage.readings[-1]
    return f"{write(ampere, 'A')} after {_span(seconds)}"


def _span(seconds: float) -> str:
    """Return a time as a person says it."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 3600 else f"{seconds / 3600:.3g} h"


def _margin_view(findings: Findings, part: Part) -> _View | None:
    if findings.verdict("voltage_margin_percent") is not Verdict.FAIL or part.working_v is None:
        return None
    shown = f"{write(abs(part.working_v), 'V')} across a {write(part.rated_v or 0, 'V')} part"
    cause = Cause("rating too low for its place", (shown,), (), "mains volts against the plate")
    return _View(AdviceKind.REPLACE, shown, "above its rating", cause)


def advise(findings: Findings) -> Counsel:
    """Return what an experienced restorer would say of this part."""
    answers = findings.answers
    part = _part(answers)
    leakage = _leakage(answers, part)
    advice = _safety(findings) + _replacement(findings)
    axes = (
        _capacitance_view(findings, part, leakage),
        _esr_view(findings, part),
        *_loss_views(findings, part),
        _leakage_view(leakage, part),
        _margin_view(findings, part),
    )
    views = [view for view in axes if view is not None]
    causes = _gathered([v.cause for v in views if v.cause])
    if AGEING not in causes and (ageing := _ageing(findings)):
        causes[AGEING] = ageing
    glued = answers.choice("visible") == "glue"
    advice += _visible(answers, part) or _joined(views, part, glued)
    if not advice:
        advice.append(_nothing_judged(findings, part))
    return Counsel(tuple(advice), tuple(causes.values()), _next(advice, views, part, findings))


def _gathered(causes: list[Cause]) -> dict[str, Cause]:
    """Return the causes by name, each with the evidence of every axis that named it."""
    found: dict[str, Cause] = {}
    for cause in causes:
        known = found.get(cause.name, Cause(cause.name, (), (), cause.next_reading))
        found[cause.name] = Cause(
            cause.name,
            known.evidence_for + cause.evidence_for,
            known.evidence_against + cause.evidence_against,
            known.next_reading,
        )
    return found


def _safety(findings: Findings) -> list[Advice]:
    """Volts that are left, or that nobody measured, come before everything."""
    stop, answers = AdviceKind.STOP, findings.answers
    now, later = (answers.number(key) for key in ("residual_v", "residual_later_v"))
    resistor = findings.value("discharge_ohm")
    watt = findings.value("discharge_rating_w")
    by = f" through {write(resistor.value, 'Ω')}/{watt.value:g} W" if resistor and watt else ""
    unsafe = (Verdict.FAIL, Verdict.UNDECIDED)
    if later is not None and findings.verdict("residual_later_v") in unsafe:
        return [
            Advice(
                stop,
                f"{write(later.value, 'V')} a minute later: the charge came back (dielectric "
                f"absorption). Discharge again{by}, then measure twice.",
            )
        ]
    if now is not None and findings.verdict("residual_v") in unsafe:
        left = f"{write(now.value, 'V')} is left. Hands off: discharge{by}, then measure twice."
        return [Advice(stop, left)]
    charged = answers.number("charged_v")
    if now is None and later is None and charged and abs(charged.value) >= discharge.SAFE_V:
        return [
            Advice(
                stop,
                f"{write(charged.value, 'V')} and not measured since. Hands off: discharge{by}, "
                "then measure below 2 V, and again a minute later.",
            )
        ]
    if now is not None and later is None:
        again = f"{write(now.value, 'V')}: low now. Measure again in a minute; charge comes back."
        return [Advice(AdviceKind.REMEASURE, again)]
    return []


def _replacement(findings: Findings) -> list[Advice]:
    """What is wrong with the part that is to go in."""
    advice: list[Advice] = []
    if findings.verdict("replacement_v_percent") is Verdict.FAIL:
        advice.append(
            Advice(
                AdviceKind.STOP,
                "Do not fit the new part: its rating is below the volts it must stand.",
            )
        )
    more = findings.value("replacement_c_percent")
    if more and findings.verdict("replacement_c_percent") is Verdict.FAIL:
        advice.append(
            Advice(
                AdviceKind.PLAN,
                f"The new part is {more.value:.0f} % larger: more inrush through rectifier and "
                "transformer. Choose one nearer the original, and keep the time-lag fuse.",
            )
        )
    return advice


def _visible(answers: Answers, part: Part) -> list[Advice]:
    words = {"bulging": "is bulging", "leaking": "leaks electrolyte"}
    seen = words.get(answers.choice("visible"))
    reason = f"{part.name or 'It'} {seen}: replace it, whatever it reads."
    return [Advice(AdviceKind.REPLACE, reason)] if seen else []


def _joined(views: list[_View], part: Part, glued: bool) -> list[Advice]:
    """Put the axes together: one bad axis decides, then one that is not validly measured."""
    start = f"{part.name}: " if part.name else ""
    bad = [v for v in views if v.kind is AdviceKind.REPLACE]
    if bad:
        shown = ", ".join(v.shown for v in bad)
        count = {2: "both", 3: "all three"}.get(len(bad), f"all {len(bad)}")
        why = bad[0].why if len(bad) == 1 else f"bad on {count}"
        return [Advice(AdviceKind.REPLACE, f"{start}{shown}: {why}. Replace it.")]
    glue = " Glue is not leakage." if glued else ""
    sure = any(v.kind in (AdviceKind.LEAVE, AdviceKind.PLAN) for v in views)
    advice: list[Advice] = []
    grouped: dict[tuple[AdviceKind, str], list[str]] = {}
    for view in views:
        coarse = view.cause is not None and view.cause.name == COARSE
        if view.kind is not AdviceKind.LEAVE and not (coarse and sure):
            grouped.setdefault((view.kind, view.why), []).append(view.shown)
    for (kind, why), shown_all in grouped.items():
        advice.append(Advice(kind, f"{start}{' and '.join(shown_all)}: {why}."))
    good = ", ".join(v.shown for v in views if v.kind is AdviceKind.LEAVE)
    if part.old and views:
        usable = f"{good}: usable now. " if good and not advice else ""
        aged = f"{start}{usable}{part.age}: on the order list for its age, no hurry."
        advice.append(Advice(AdviceKind.PLAN, aged + glue))
    if not advice and good:
        advice.append(Advice(AdviceKind.LEAVE, f"{start}{good}: good. Leave it alone.{glue}"))
    return advice


def _ageing(findings: Findings) -> Cause | None:
    """Capacitance that rises with a large loss is the oxide itself giving way."""
    ratio = findings.value(RATIO)
    lossy = [
        f.result.title
        for f in findings.all
        if f.verdict is Verdict.FAIL
        and f.result.key in ("esr_ohm", "tan_delta", "voltage_loss_percent")
    ]
    if ratio is None or ratio.value <= READS_HIGH_PERCENT or not lossy:
        return None
    known = (f"it reads {ratio.value:.0f} % of its mark", f"too high: {', '.join(lossy)}")
    return Cause(AGEING, known, (), "leakage at working volts")


def _nothing_judged(findings: Findings, part: Part) -> Advice:
    later = findings.answers.number("residual_later_v")
    if later is not None:
        shown = f"{write(later.value, 'V')} a minute later"
        return Advice(AdviceKind.LEAVE, f"{shown}: discharged. Measure it again after any break.")
    if findings.value("replacement_c_percent") or findings.value("replacement_v_percent"):
        return Advice(AdviceKind.LEAVE, "The new part suits: its figures are close enough.")
    missing = "marked capacitance" if part.nominal is None else "rated volts"
    return Advice(AdviceKind.REMEASURE, f"Nothing to judge it by yet: give the {missing}.")


def _next(advice: list[Advice], views: list[_View], part: Part, findings: Findings) -> str:
    kinds = {a.kind for a in advice}
    if any(a.kind is AdviceKind.STOP for a in _safety(findings)):
        return "discharge, measure below 2 V, and again a minute later"
    if kinds & {AdviceKind.REPLACE, AdviceKind.STOP}:
        return "check the new part before it goes in: capacitance, ESR, polarity against the board"
    doubtful = [v.cause for v in views if v.cause and v.kind is AdviceKind.REMEASURE]
    if doubtful:
        return doubtful[0].next_reading
    if findings.value("esr_ohm") and part.rated_v is None:
        return "the rated volts, to judge the ESR by"
    keys = {"capacitance_f": "capacitance", "esr_ohm": "ESR", "leakage_a": "leakage"}
    missing = [words for key, words in keys.items() if findings.value(key) is None]
    return f"not read yet: {', '.join(missing)}" if missing else "on to the next part"


RESULTS = {
    "capacitance_f": ("capacitance", "F"),
    RATIO: ("capacitance, of its mark", "%"),
    "esr_ohm": ("equivalent series resistance", "Ω"),
    "tan_delta": ("loss factor tan δ", ""),
    "voltage_loss_percent": ("voltage loss", "%"),
    "leakage_a": ("leakage at the last reading", "A"),
    "leakage_in_limit_s": ("time until the leakage was within its limit", "s"),
    "voltage_margin_percent": ("rating above the volts in use", "%"),
    "stored_energy_j": ("stored energy", "J"),
    "discharge_ohm": ("discharge resistor", "Ω"),
    "discharge_peak_w": ("its power at the first instant", "W"),
    "discharge_rating_w": ("its rating", "W"),
    "discharge_s": ("time to 2 V", "s"),
    "residual_v": ("volts left", "V"),
    "residual_later_v": ("volts left a minute later", "V"),
    "replacement_c_percent": ("new part's capacitance above the mark", "%"),
    "replacement_v_percent": ("new part's rating above the volts it must stand", "%"),
}


def _marking(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _reading(
    key: str,
    prompt: str,
    unit: str,
    high: float,
    *,
    low: float = 0,
    percent: float = 0.5,
    counts: float = 3,
) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=low,
        high=high,
        probed_at="across the part's own terminals",
        by_meter=True,
        assumed_percent=percent,
        assumed_counts=counts,
    )


def _choose(key: str, prompt: str, default: str | None = None, **choices: str) -> ChoiceInput:
    """Return a choice; a leading underscore and underscores in names only serve Python."""
    offered = tuple(
        Choice(name.strip("_").replace("_", "-").lower(), words) for name, words in choices.items()
    )
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


COMMON = "common practice, no source"
PAIR = {"nominal": "2200 µF", "capacitance": "943 µF", "esr": "2.2 Ω", "voltage_loss": "34 %"}
REFORMED = {
    "nominal": "20 µF",
    "rated_v": "450 V",
    "leakage": "20 s 4.5 mA; 15 min 1 mA; 1 h 120 µA; 3 h 50 µA",
    "leakage_limit": "500 µA",
}
LARGE_1977 = {
    "nominal": "10000 µF",
    "rated_v": "63 V",
    "capacitance": "11500 µF",
    "esr": "0.03 Ω",
    "year": "1977",
}

CHECK = Check(
    id="filter-capacitor",
    title="Filter capacitor",
    stage=Stage.CAPACITORS,
    power_states=(PowerState.SAFE,),
    why="Capacitance, ESR and leakage each tell something the others do not. A part that reads "
    "high is not proven good, and an old one is not proven bad by its age.",
    cautions=(
        "Touch nothing until the capacitor is measured below 2 V, and again a minute later: the "
        "charge comes back (dielectric absorption).",
        "Discharge through a computed resistor, not a screwdriver. Unplugged, one hand.",
        "Re-form through a series resistor, right polarity, eyes protected, never unattended.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Unplug. Measure the volts across it; discharge through the resistor this check computes.",
        "Measure below 2 V, wait a minute, measure again.",
        "Look: bulging, or electrolyte at the seal? Factory glue on the board is not leakage.",
        "Lift one leg. Read capacitance and ESR at 100 or 120 Hz; read the shorted leads too.",
        "If it reads high or has stood for years, log its leakage at the volts it works at.",
    ),
    inputs=(
        TextInput(key="designator", prompt="Which part (C901)"),
        _marking("nominal", "Marked capacitance", "µF", 0.1, 1e6),
        _marking("rated_v", "Rated voltage", "V", 1, 1000),
        _marking("year", "Year of make", "year", 1920, 2100),
        _marking("age", "Or its age", "year", 0, 120),
        _marking("tolerance_low", "Marked tolerance, below", "%", -100, 100),
        _marking("tolerance_high", "Marked tolerance, above", "%", 0, 200),
        _choose(
            "tolerance_mark",
            "Or its tolerance letter",
            **{k: f"{k}: {low:+g}/{high:+g} %" for k, (low, high) in capacitor.MARKS.items()},
        ),
        _choose(
            "in_circuit",
            "In or out of circuit?",
            "out",
            out="Out of circuit, or one leg lifted",
            _in="In circuit",
        ),
        _marking("parallel", "Total in parallel with it, itself included", "µF", 0.1, 1e6),
        _reading("capacitance", "Capacitance", "µF", 1e6, percent=2),
        _reading("capacitance_after", "Capacitance, once re-formed", "µF", 1e6, percent=2),
        _choose("behaviour", "How does it read?", steady="Steady", climbing="Climbs steadily"),
        _choose(
            "frequency",
            "Meter's frequency",
            _100_Hz="100 Hz",
            _120_Hz="120 Hz",
            _1_kHz="1 kHz",
            _100_kHz="100 kHz",
        ),
        _reading("esr", "ESR", "Ω", 1e5, percent=2, counts=2),
        _reading("lead_ohm", "Leads alone, shorted", "Ω", 10, percent=2, counts=2),
        _reading("tan_delta", "tan δ (D)", "", 100, percent=2),
        _reading("voltage_loss", "Voltage loss", "%", 100, percent=2),
        SeriesInput(
            key="leakage",
            prompt="Leakage over time at voltage",
            unit="µA",
            low=0,
            high=1e6,
            probed_at="in series with the part",
        ),
        _marking("leakage_limit", "Leakage limit", "µA", 0.01, 1e6),
        _marking("leakage_v", "Volts during the leakage reading", "V", 0.1, 1000),
        _reading("working_v", "Volts across it in use", "V", 1000, low=-1000),
        _marking("temperature", "Room temperature", "°C", -20, 60),
        _choose(
            "visible",
            "What is to be seen?",
            none="Nothing",
            bulging="Bulging",
            leaking="Leaking electrolyte",
            glue="Glue only",
        ),
        _reading("charged_v", "Volts on it before discharge", "V", 1000, low=-1000),
        _marking("discharge_resistor", "Resistor you discharge with", "Ω", 0.1, 1e7),
        _reading("residual_v", "Volts before you touch it", "V", 1000, low=-1000),
        _reading("residual_later_v", "Volts a minute later", "V", 1000, low=-1000),
        _marking("new_capacitance", "New part, capacitance", "µF", 0.1, 1e6),
        _marking("new_rated_v", "New part, rated voltage", "V", 1, 1000),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="Low, lossy and resistive",
            source="wotarticle.com, November 2023",
            answers=PAIR,
            advice=(AdviceKind.REPLACE,),
            values={RATIO: (42.86, 0.05)},
            verdicts={RATIO: Verdict.FAIL, "esr_ohm": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.PLAN),
            cause=DRIED,
        ),
        Example(
            title="Leakage inflated the reading; re-formed, to be read again",
            source="retronics.no/2023/02/28 (part 5)",
            answers=REFORMED | {"capacitance": "31 µF", "year": "1955"},
            advice=(AdviceKind.REMEASURE, AdviceKind.PLAN),
            values={"leakage_a": (50e-6, 1e-9), "leakage_in_limit_s": (1420, 60)},
            verdicts={"leakage_a": Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=LEAKY,
        ),
        Example(
            title="The same part, read again once re-formed",
            source="retronics.no/2023/02/28 (part 5)",
            answers=REFORMED | {"capacitance": "31 µF", "capacitance_after": "20.6 µF"},
            advice=(AdviceKind.LEAVE,),
            verdicts={RATIO: Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
        ),
        *(
            Example(
                title=f"100 µF/500 V reads {micro}",
                source="amateur's blog entry 2025/01/04/151404",
                answers={"nominal": "100 µF", "rated_v": "500 V", "capacitance": f"{micro} µF"},
                advice=(AdviceKind.LEAVE,),
                verdicts={RATIO: Verdict.PASS},
                never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
            )
            for micro in (123, 104)
        ),
        Example(
            title="From 1977, 15 % high, ESR in range: usable, on the order list",
            source=COMMON,
            answers=LARGE_1977,
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE, AdviceKind.LEAVE),
        ),
        Example(
            title="Leaking, with good readings",
            source=COMMON,
            answers=LARGE_1977 | {"visible": "leaking"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE, AdviceKind.PLAN),
        ),
        Example(
            title="High in circuit proves nothing",
            source="glodark.com/audio/capinfo.htm",
            answers={"nominal": "1000 µF", "capacitance": "1450 µF", "in_circuit": "in"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={RATIO: Verdict.NOT_COMPARABLE},
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=NEIGHBOUR,
        ),
        Example(
            title="Two cans in parallel against their sum",
            source="glodark.com/audio/capinfo.htm",
            answers={
                "nominal": "4700 µF",
                "parallel": "9400 µF",
                "capacitance": "9900 µF",
                "in_circuit": "in",
            },
            advice=(AdviceKind.LEAVE,),
            values={RATIO: (105.3, 0.1)},
        ),
        Example(
            title="Charged and not measured since",
            source="from memory",
            answers={"nominal": "10000 µF", "charged_v": "63 V"},
            advice=(AdviceKind.STOP,),
            values={"stored_energy_j": (19.845, 0.001), "discharge_ohm": (100, 0)},
            never=(AdviceKind.LEAVE,),
        ),
    ),
    sources=(
        f"ESR: {capacitor.CHART_ONE}; {capacitor.CHART_TWO}; their disagreement "
        "forum.allaboutcircuits.com/threads/150884. Charts are convention, not limits.",
        "Capacitance: forum.allaboutcircuits.com/threads/133285; "
        "old-fidelity-forum.de/thread-23961-post-948135.html (2017-04-03)",
        "High is not proven bad: hifiwigwam.com/forum/topic/132089; a capacitor maker's page",
        "Leakage inflates, re-forming mends: retronics.no/2023/02/28 (part 5)",
        "ESR and loss each: music-electronics-forum.com thread 34603; chemical ageing: "
        "hardwareluxx.de/community/goto/post?id=30347401",
        "In circuit: glodark.com/audio/capinfo.htm",
        "Replacement: ag-forum.herokuapp.com/posts/2029411",
        "Age, voltage loss, discharge below 2 V: common practice, no source",
    ),
    needs=(16, 17, 18, 19, 20),
    covers_off=True,
    before_closing="each filter capacitor judged out of circuit, or against its neighbours",
)

"""One capacitor's answers as results and limits, alike in every check that judges one.

The answers are those of the keys ``nominal``, ``capacitance``, ``esr``, ``leakage`` and so on; a
list of parts makes one set of answers of each row.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from backtospec.analysis import capacitor, capacitor_limits, discharge
from backtospec.analysis.capacitor import Tolerance
from backtospec.analysis.capacitor_limits import FEWEST_STEPS, RATIO, Part
from backtospec.check import (
    Answers,
    Axis,
    Figure,
    Mark,
    Measurement,
    SeriesFigure,
    TableFigure,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, MeterRange, resolution, write
from backtospec.records import Limit
from backtospec.verdict import Bound, Result, Verdict, against

OLD_BEFORE_YEAR, OLD_AGE_YEARS = 1990, 30.0
"""Old enough for the order list on age alone (common practice, no source)."""

INRUSH_PERCENT = 50.0
"""More capacitance than this above the original strains rectifier and fuse (from memory)."""

FREQUENCIES = {"100-hz": 100.0, "120-hz": 120.0, "1-khz": 1e3, "100-khz": 1e5}

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


@dataclass(frozen=True, slots=True)
class Leakage:
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


def part_of(answers: Answers) -> Part:
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


def leakage_of(answers: Answers, part: Part) -> Leakage | None:
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
        f"direct current, {span(readings[-1][0])} after the voltage was applied"
        if readings[-1][0]
        else "direct current, time at voltage not stated",
        ("leakage",),
        _conditions(answers, part),
    )
    return Leakage(readings, result, limit, against(result, limit).verdict)


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


def measure_part(answers: Answers) -> Measurement:
    """Return capacitance, ESR, losses, leakage, stored energy and what discharges it."""
    part = part_of(answers)
    leakage = leakage_of(answers, part)
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


def _figures(part: Part, leakage: Leakage | None) -> tuple[Figure, ...]:
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


def part_limits(answers: Answers) -> tuple[Limit, ...]:
    """Return what each axis must keep, and when a reading that keeps it counts."""
    part = part_of(answers)
    found: list[Limit] = capacitor_limits.loss_limits(part)
    leakage = leakage_of(answers, part)
    if leakage and leakage.limit:
        found.append(leakage.limit)
    values = {r.key: r for r in measure_part(answers).results}
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


def span(seconds: float) -> str:
    """Return a time as a person says it."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 3600 else f"{seconds / 3600:.3g} h"

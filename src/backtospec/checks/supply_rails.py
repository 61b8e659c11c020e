"""Rails and supplies on full mains, held against the chart at today's mains voltage.

Longer than most: mains, chart, ripple and relay are read in one sitting and judged together.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from backtospec.analysis import mains, reservoir
from backtospec.analysis.limiter import uneven_percent
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Check,
    Choice,
    ChoiceInput,
    Clue,
    Counsel,
    Example,
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
from backtospec.quantity import Measured, rectangular, write
from backtospec.records import Condition, Limit, NodeVoltage, PowerState, Topology
from backtospec.verdict import Finding, Result, Verdict

COMMON = "common practice, no source"
MEMORY = "from memory"
SELECTOR = "blog.analogbo.dk/2021/03/15/230-v-eller-220-v/"
WINDING = "1.414·V less 1 to 2 V, ssguitar.com, post of 2021-01-17; ±10 % from memory"
SIDES = {"plus": "positive", "minus": "negative"}

TOLERANCE_PERCENT = 10.0
"""Where a chart states none (from memory)."""

UNEVEN_PERCENT, BROKEN_PERCENT = 5.0, 25.0
"""Rails further apart than this are looked into; further than the second, one has lost its half
(common practice, no source)."""

LOWEST_C_PERCENT = 80.0
"""Capacitance implied by the ripple, below which a reservoir counts as worn (as when read)."""

SAG_PERCENT = 20.0
"""Sag from idle to rated power above which the supply is looked into (from memory)."""

RELAY_S = (3.0, 8.0)
"""Usual delay of a protection relay (from memory)."""

HALF = "one diode or half a winding missing"
WORN = "worn reservoir capacitor"
MAINS = "the mains, not the amplifier"
LOADED = "one rail loaded or missing its half: fuse, diode, winding, a leaky part"
TIMING = "timing capacitor or resistor of the protection circuit"


@dataclass(frozen=True, slots=True)
class _Node:
    """One node of the chart: nominal at the plate's mains, tolerance and reading."""

    name: str
    nominal: float
    tolerance: float
    source: str
    reading: Measured
    regulated: bool


def _value(answers: Answers, key: str) -> float | None:
    number = answers.number(key)
    return number.value if number else None


def _set_v(answers: Answers) -> float | None:
    """Return the mains the amplifier is set to: its selector, its plate, its spec sheet."""
    sheet = answers.spec.mains_v if answers.spec else None
    return _value(answers, "selector") or _value(answers, "nameplate") or sheet


def _ratio(answers: Answers) -> Measured | None:
    measured, set_v = answers.number("mains"), _set_v(answers)
    return mains.mains_ratio(measured, set_v) if measured and set_v else None


def _mains_hz(answers: Answers) -> float | None:
    stated = _value(answers, "mains_hz") or (answers.spec.mains_hz if answers.spec else None)
    volts = _value(answers, "mains")
    if stated or volts is None:
        return stated or _told_by_ripple(answers)
    return 50.0 if volts > 160 else 60.0 if volts > 110 else None


def _told_by_ripple(answers: Answers) -> float | None:
    """Return the mains frequency where only the ripple tells it: once or twice 50 or 60 Hz."""
    ripple = _value(answers, "ripple_hz")
    if ripple is None:
        return None
    return next(
        (hz for hz in (50.0, 60.0) for n in (1, 2) if abs(ripple / (n * hz) - 1) < 0.06), None
    )


def _nodes(answers: Answers) -> list[_Node]:
    listed = {n.node.casefold(): n for n in (answers.spec.chart if answers.spec else ())}
    found = []
    for row in answers.table("chart"):
        name, reading = row["node"], row["measured"]
        assert isinstance(name, str)
        assert isinstance(reading, Measured)
        found.append(_node(answers, name, reading, listed.get(name.casefold())))
    return found


def _node(answers: Answers, name: str, reading: Measured, known: NodeVoltage | None) -> _Node:
    row = next(r for r in answers.table("chart") if r["node"] == name)
    nominal, tolerance = row.get("nominal"), row.get("tolerance")
    volt = nominal.value if isinstance(nominal, Measured) else (known.volt if known else None)
    if volt is None:
        raise BenchError(
            f"{name} has no nominal voltage.", "chart", "Give what the chart says beside it."
        )
    share = tolerance.value if isinstance(tolerance, Measured) else None
    share = share or (known.tolerance_percent if known else None)
    source = known.source if known and not isinstance(nominal, Measured) else "chart as typed"
    return _Node(
        name,
        volt,
        share or TOLERANCE_PERCENT,
        source,
        reading,
        row.get("follows") == "regulated",
    )


def _rails(answers: Answers) -> dict[str, Measured]:
    found = {side: answers.number(f"rail_{side}") for side in SIDES}
    return {side: value for side, value in found.items() if value is not None}


def _nominal_rail(answers: Answers) -> float | None:
    sheet = answers.spec.rail_v if answers.spec else None
    nominal = _value(answers, "rail") or sheet
    return abs(nominal) if nominal else None


_Add = Callable[..., None]


def measure(answers: Answers) -> Measurement:
    """Return mains, rails against the scaled chart, ripple, sag, margin and relay delay."""
    results: list[Result] = []
    ratio = _ratio(answers)
    conditions: dict[str, float | str] = {
        "mains": "measured" if ratio else "not measured",
        "limiter": answers.choice("limiter"),
    }

    def add(key: str, value: Measured | None, method: str, *inputs: str, of: str = "") -> None:
        if value is not None:
            title, unit = RESULTS[key]
            title = f"{of}: {title}" if of else title
            results.append(Result(key, title, value, unit, method, inputs, conditions))

    if ratio is not None:
        add("mains_percent", mains.voltage_percent(ratio), "measured ÷ set", "mains", "selector")
        add("power_percent", mains.power_percent(ratio), "(measured ÷ set)²", "mains", "selector")
    _add_rails(answers, ratio, add)
    for node in _nodes(answers):
        if node.nominal:
            scale = Measured(1.0) if node.regulated or ratio is None else ratio
            off = (node.reading / (node.nominal * scale) - 1) * 100
            method = f"{node.source}, " + ("not scaled" if node.regulated else "scaled by mains")
            add("node_percent", off, method, "chart", "mains", of=node.name)
            share = off / node.tolerance * 100
            add(
                "node_share_percent",
                share,
                f"tolerance ±{node.tolerance:g} %",
                "chart",
                of=node.name,
            )
    _add_ripple(answers, add)
    add("relay_delay_s", answers.number("relay_delay"), "by watch", "relay_delay")
    if not results:
        raise BenchError(
            "no reading was given.",
            "supply and rails",
            "Give mains with selector or nameplate, rail_plus and rail_minus, or chart.",
        )
    return Measurement(tuple(results), (_figure(answers, ratio),) if answers.table("chart") else ())


def _add_rails(answers: Answers, ratio: Measured | None, add: _Add) -> None:
    rails, nominal = _rails(answers), _nominal_rail(answers)
    for side, volt in rails.items():
        add(f"rail_{side}_v", volt, "direct voltage", f"rail_{side}")
        if nominal:
            size = volt if volt.value >= 0 else -1 * volt
            off = (size / (nominal * (ratio if ratio is not None else 1.0)) - 1) * 100
            add(f"rail_{side}_percent", off, "against the chart, scaled by mains", "rail", "mains")
        loaded = answers.number(f"rail_{side}_loaded")
        if loaded is not None and volt.value:
            sag = (1 - loaded / volt) * 100
            add(f"sag_{side}_percent", sag, "idle to rated power", f"rail_{side}_loaded")
    if len(rails) == 2 and any(v.value for v in rails.values()):
        apart = uneven_percent(rails["plus"], rails["minus"])
        add("rails_uneven_percent", apart, "difference ÷ the larger", "rail_plus", "rail_minus")
    if (alternating := answers.number("secondary")) is not None:
        peak = alternating * math.sqrt(2) - rectangular(1.5, 0.5)
        add("rectified_v", peak, "1.414·V − 1 to 2 V", "secondary")
        for side, volt in rails.items():
            size = volt if volt.value >= 0 else -1 * volt
            off = (size / peak - 1) * 100
            add(f"winding_{side}_percent", off, "rail ÷ rectified winding", "secondary")
    sizes = [abs(v.value) for v in rails.values()]
    if not sizes and nominal and ratio is not None:
        sizes = [nominal * ratio.value]
    rated = _value(answers, "rated_v")
    if rated and sizes:
        margin = Measured((rated / max(sizes) - 1) * 100)
        add("voltage_margin_percent", margin, "rated ÷ rail", "rated_v", "rail_plus")
    measured = _value(answers, "mains")
    highest = mains.highest_mains(measured) if measured else None
    if sizes and highest and measured:
        add("highest_rail_v", Measured(max(sizes) * highest / measured), f"at {highest:g} V mains")


def _add_ripple(answers: Answers, add: _Add) -> None:
    frequency, hertz = answers.number("ripple_hz"), _mains_hz(answers)
    if frequency is not None and hertz:
        add("ripple_hz_ratio", frequency / hertz, "ripple ÷ mains frequency", "ripple_hz")
    pulses = 1 if answers.choice("rectifier") == "half-wave" else 2
    if frequency is None and hertz:
        frequency = Measured(pulses * hertz)
    ampere, nominal = answers.number("current"), answers.number("nominal")
    for side in SIDES:
        ripple = answers.number(f"ripple_{side}")
        if ripple is None and side == "plus":
            ripple = answers.number("ripple")
        if ripple is None:
            continue
        if answers.choice("ripple_as") == "rms":
            ripple = ripple * math.sqrt(12)
        add(f"ripple_{side}_vpp", ripple, "peak to peak", f"ripple_{side}", "ripple")
        if ampere and frequency is not None and ripple.value > 0:
            rule = Measured(1.0, 0.1)  # the simple form errs by so much
            implied = reservoir.effective_capacitance(ampere, frequency, ripple) * rule
            add(f"effective_{side}_f", implied, "I ÷ (f·V)", f"ripple_{side}", "current")
            if nominal:
                share = implied / nominal * 100
                add(f"effective_{side}_percent", share, "implied ÷ marked", f"ripple_{side}")
    if ampere and nominal and frequency is not None:
        expected = reservoir.expected_ripple(ampere, frequency, nominal)
        add("expected_ripple_vpp", expected, "I ÷ (f·C)", "current", "nominal")


def _figure(answers: Answers, ratio: Measured | None) -> TableFigure:
    rows = []
    for node in _nodes(answers):
        scale = 1.0 if node.regulated or ratio is None else ratio.value
        rows.append(
            (
                node.name,
                write(node.nominal, "V", 4),
                write(node.nominal * scale, "V", 4),
                f"±{node.tolerance:g} %",
                write(node.reading.value, "V", 4),
            )
        )
    columns = ("Node", "Chart", "At today's mains", "Tolerance", "Measured")
    return TableFigure("chart", "The chart, scaled", columns, tuple(rows))


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the limits; what follows the mains is compared only with the mains measured."""
    measured = (Condition("mains", "measured"), Condition("limiter", "out"))
    tolerance = _value(answers, "tolerance") or TOLERANCE_PERCENT
    sheet = answers.spec is not None and answers.spec.rail_v is not None
    source = f"{'spec sheet' if sheet else 'nominal as stated'}, ±{tolerance:g} % ({MEMORY})"
    half = 0.0 if answers.choice("rectifier") == "half-wave" else 1.5
    same = f"even rails, {COMMON}"
    found = [
        Limit("rails_uneven_percent", None, UNEVEN_PERCENT, "%", same, (), True),
        Limit("node_share_percent", -100.0, 100.0, "%", "tolerance of the chart", measured),
        Limit("voltage_margin_percent", 0.0, None, "%", "a rating is a maximum", (), True),
        Limit("ripple_hz_ratio", half, None, "", "full wave: twice the mains", (), True),
        Limit("relay_delay_s", *RELAY_S, "s", f"usual delay, {MEMORY}", (), True),
    ]
    worn = f"as a capacitor read at its terminals, {COMMON}"
    for side in SIDES:
        key = f"rail_{side}_percent"
        found.append(Limit(key, -tolerance, tolerance, "%", source, measured, True))
        found.append(
            Limit(f"effective_{side}_percent", LOWEST_C_PERCENT, None, "%", worn, (), True)
        )
        short = Limit(f"winding_{side}_percent", -TOLERANCE_PERCENT, None, "%", WINDING, (), True)
        found.append(short)
        found.append(Limit(f"sag_{side}_percent", None, SAG_PERCENT, "%", MEMORY, (), True))
    return tuple(found)


def advise(findings: Findings) -> Counsel:
    """Return what an experienced restorer would say of this supply."""
    answers = findings.answers
    advice = [*_mains_advice(findings), *_rail_advice(findings)]
    if answers.choice("limiter") == "in" and not any(a.kind is AdviceKind.STOP for a in advice):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "The limiter is still in and starves the supply: rails count only on full mains.",
            next_step="take the limiter out and read mains and rails again",
        )
    advice += [
        *_ripple_advice(findings),
        *_relay_advice(findings),
    ]
    if not advice:
        advice.append(Advice(AdviceKind.LEAVE, _in_order(findings)))
    return Counsel(tuple(advice), (), _next(findings, answers))


def _higher_position(answers: Answers) -> float | None:
    """Return where the selector belongs, if it stands too low for the mains."""
    measured, selector = _value(answers, "mains"), _value(answers, "selector")
    if selector is None and answers.choice("hum") == "transformer":
        selector = _set_v(answers)  # whether there is a selector at all is said in the advice
    if measured is None or selector is None:
        return None
    positions = mains.read_positions(answers.texts.get("positions", ""))
    return mains.best_position(measured, selector, positions)


def _mains_advice(findings: Findings) -> list[Advice]:
    answers = findings.answers
    above, power = findings.value("mains_percent"), findings.value("power_percent")
    measured, set_v = _value(answers, "mains"), _set_v(answers)
    if above is None or power is None or measured is None or set_v is None:
        return []
    shown = f"{measured:.4g} V mains on a {set_v:.3g} V setting"
    more = f"{above.value:+.1f} % volts, {power.value:+.1f} % power"
    position = _higher_position(answers)
    if above.value > mains.DANGER_PERCENT:
        to = f" and set the selector to {position:.3g} V" if position else ""
        return [Advice(AdviceKind.STOP, f"{shown} ({more}): switch off, unplug{to}.")]
    if position:
        buzz = " The transformer hums less, too." if answers.choice("hum") == "transformer" else ""
        selector = "selector" if "selector" in answers.texts else "selector, if it has one,"
        return [
            Advice(
                AdviceKind.ADJUST,
                f"{shown} ({more}): unplug and set the {selector} to {position:.3g} V; the rails "
                f"go down with it.{buzz}",
            )
        ]
    return []


def _rail_advice(findings: Findings) -> list[Advice]:
    answers = findings.answers
    found: list[Advice] = []
    apart = findings.value("rails_uneven_percent")
    if findings.verdict("voltage_margin_percent") is Verdict.FAIL:
        rated = write(_value(answers, "rated_v") or 0.0, "V")
        reason = f"The rail is above the {rated} its capacitors are rated for. Switch off."
        found.append(Advice(AdviceKind.STOP, reason))
    elif reason := _no_margin(findings):
        found.append(Advice(AdviceKind.PLAN, reason))
    single = answers.spec is not None and answers.spec.topology is Topology.CAPACITOR_COUPLED
    if apart and apart.value > BROKEN_PERCENT and not single:
        reason = f"The rails differ by {apart.value:.0f} %: one has lost its half. Switch off."
        found.append(Advice(AdviceKind.STOP, reason))
    elif apart and findings.verdict("rails_uneven_percent") is Verdict.FAIL:
        reason = (
            f"The rails differ by {apart.value:.0f} %: read the alternating volts of both half "
            "windings and the ripple of both rails."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    found += _chart_advice(findings)
    if starved := _below_winding(findings):
        names = " and ".join(SIDES[s] for s in starved)
        reason = (
            f"The {names} rail is far below what its winding gives: read the ripple and its "
            "frequency; a diode or a reservoir capacitor is missing."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    sagging = [s for s in SIDES if findings.verdict(f"sag_{s}_percent") is Verdict.FAIL]
    if sagging:
        names = " and ".join(SIDES[s] for s in sagging)
        reason = (
            f"The {names} rail sags by more than {SAG_PERCENT:g} %: ripple at rated power next."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found


def _below_winding(findings: Findings) -> list[str]:
    return [s for s in SIDES if findings.verdict(f"winding_{s}_percent") is Verdict.FAIL]


def _no_margin(findings: Findings) -> str:
    """Return what is to be said where the highest mains would exceed the capacitors' rating."""
    highest, rated = findings.value("highest_rail_v"), _value(findings.answers, "rated_v")
    if highest is None or rated is None or highest.value <= rated:
        return ""
    shown = f"{write(highest.value, 'V')} at the highest mains, rated {write(rated, 'V')}"
    return f"{shown}: no margin. Plan capacitors of higher volts."


def _chart_advice(findings: Findings) -> list[Advice]:
    """Return what is said of rails and nodes against the chart."""
    keys = ("rail_plus_percent", "rail_minus_percent", "node_share_percent")
    judged = [f for key in keys for f in findings.of(key)]
    if any(f.verdict is Verdict.NOT_COMPARABLE for f in judged):
        reason = (
            "Rails follow the mains: read the mains at the same moment, and give the volts on "
            "the plate; then the chart can be scaled."
        )
        return [Advice(AdviceKind.REMEASURE, reason)]
    outside = [f for f in judged if f.verdict is Verdict.FAIL]
    if not outside and any(_near(f) for f in judged):
        reason = "At the edge of the chart, within measuring error: read it on a finer range."
        return [Advice(AdviceKind.REMEASURE, reason)]
    if not outside:
        return []
    shown = ", ".join(_shown(f.result.title, f.result.key, findings) for f in outside)
    reason = f"Outside the chart at today's mains: {shown}. Trace it back to where it still fits."
    return [Advice(AdviceKind.REMEASURE, reason)]


def _near(finding: Finding) -> bool:
    """Return whether a reading more likely misses its limit than not."""
    return finding.verdict is Verdict.UNDECIDED and (finding.probability or 0.0) < 0.5


def _shown(title: str, key: str, findings: Findings) -> str:
    if key == "node_share_percent":
        name = title.partition(":")[0]
        percent = next(
            f.result.value
            for f in findings.of("node_percent")
            if f.result.title.startswith(f"{name}:")
        )
    else:
        name, percent = title.partition(",")[0], findings.value(key)
    return f"{name} {percent.value:+.0f} %" if percent else name


def _ripple_advice(findings: Findings) -> list[Advice]:
    found: list[Advice] = []
    if findings.verdict("ripple_hz_ratio") is Verdict.FAIL:
        hertz = write(_value(findings.answers, "ripple_hz") or 0.0, "Hz")
        reason = (
            f"Ripple at {hertz}, once the mains frequency: one diode or half a winding is "
            "missing. Off, discharge, measure the diodes; replace the bad one."
        )
        found.append(Advice(AdviceKind.REPLACE, reason))
    for side, words in SIDES.items():
        key = f"effective_{side}_percent"
        share, farad = findings.value(key), findings.value(f"effective_{side}_f")
        if share is None or farad is None or findings.verdict(key) is not Verdict.FAIL:
            continue
        shown = f"about {write(farad.value, 'F', 2)}, {share.value:.0f} % of the mark"
        reason = f"Ripple on the {words} rail implies {shown}: worn. Read it out of circuit."
        found.append(Advice(AdviceKind.PLAN, reason))
    return found


def _relay_advice(findings: Findings) -> list[Advice]:
    delay = findings.value("relay_delay_s")
    if delay is None or findings.verdict("relay_delay_s") is not Verdict.FAIL:
        return []
    early = delay.value < RELAY_S[0]
    why = "too early to hide the thump" if early else "late"
    reason = f"The relay closes after {write(delay.value, 's')}: {why}. Check its timing capacitor."
    return [Advice(AdviceKind.PLAN, reason)]


def _in_order(findings: Findings) -> str:
    above, power = findings.value("mains_percent"), findings.value("power_percent")
    parts = []
    if above is not None and power is not None and abs(above.value) >= 1:
        parts.append(
            f"{above.value:+.1f} % mains gives {power.value:+.1f} % power: the mains, not the "
            "amplifier"
        )
    rails = " and ".join(write(v.value, "V") for v in _rails(findings.answers).values())
    if rails:
        parts.append(f"rails {rails} in order")
    if findings.answers.table("chart"):
        parts.append("the chart is kept")
    shown = "; ".join(parts) or "in order"
    return f"{shown[0].upper()}{shown[1:]}. Leave it alone."


def _next(findings: Findings, answers: Answers) -> str:
    if findings.verdict("ripple_hz_ratio") is Verdict.FAIL:
        return (
            "power off and discharged: the rectifier diodes one by one, both half windings in ohms"
        )
    if answers.number("mains") is None:
        return "the mains, at the same moment as the rails"
    if _set_v(answers) is None:
        return "the mains on the plate, or where the selector stands"
    if len(_rails(answers)) < 2:
        return "both rails"
    if not any(answers.number(k) for k in ("ripple", "ripple_plus", "ripple_minus")):
        return "ripple of both rails, then idle current"
    return "idle current, then offset"


def _verdict_is(key: str, wanted: Verdict) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        known = [f for f in findings.of(key) if f.verdict is not Verdict.NOT_COMPARABLE]
        return findings.verdict(key) is wanted if known else None

    return seen


def _any_worn(findings: Findings) -> bool | None:
    keys = [f"effective_{side}_percent" for side in SIDES]
    known = [key for key in keys if findings.of(key)]
    return any(findings.verdict(key) is Verdict.FAIL for key in known) if known else None


def _starved(findings: Findings) -> bool | None:
    known = any(findings.of(f"winding_{side}_percent") for side in SIDES)
    return bool(_below_winding(findings)) if known else None


def _high_mains(findings: Findings) -> bool | None:
    above = findings.value("mains_percent")
    return above.value >= 2 if above is not None else None


RULES = (
    Rule(
        HALF,
        (
            Clue(
                _verdict_is("ripple_hz_ratio", Verdict.FAIL),
                "ripple at the mains frequency",
                "ripple at twice the mains frequency",
                2.0,
            ),
            Clue(_verdict_is("rails_uneven_percent", Verdict.FAIL), "the rails are uneven"),
            Clue(_any_worn, "more ripple than the capacitors should leave"),
            Clue(_starved, "a rail is far below what its winding gives"),
        ),
        "power off: each diode both ways, each half winding in ohms",
        "textbook: full wave gives twice the mains frequency; amfone.net/Amforum topic 22916",
    ),
    Rule(
        WORN,
        (
            Clue(_any_worn, "ripple implies too little capacitance", "ripple fits the mark", 1.5),
            Clue(_starved, "a rail is far below what its winding gives"),
            Clue(
                _verdict_is("ripple_hz_ratio", Verdict.FAIL),
                "",
                "ripple at the mains frequency: the rectifier first",
            ),
        ),
        "capacitance and ESR, one leg lifted",
        COMMON,
    ),
    Rule(
        LOADED,
        (
            Clue(
                _verdict_is("rails_uneven_percent", Verdict.FAIL),
                "the rails are uneven",
                "the rails are even",
                1.5,
            ),
        ),
        "alternating volts of both half windings; ohms from each rail to ground, power off",
        COMMON,
    ),
    Rule(
        MAINS,
        (
            Clue(_high_mains, "the mains are above the setting", "the mains are as set"),
            Clue(
                lambda f: f.answers.choice("hum") == "transformer" or None, "the transformer hums"
            ),
        ),
        "the mains at another time of day; the selector's position",
        SELECTOR,
    ),
    Rule(
        TIMING,
        (Clue(_verdict_is("relay_delay_s", Verdict.FAIL), "the delay is not the usual 3 to 8 s"),),
        "the timing capacitor, out of circuit",
        MEMORY,
    ),
)


def _number(
    key: str, prompt: str, unit: str, low: float, high: float, probed_at: str = ""
) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=low,
        high=high,
        probed_at=probed_at,
        by_meter=bool(probed_at),
        assumed_counts=1.0,  # typed volts are rounded to the last digit
    )


def _choose(
    key: str, prompt: str, *choices: tuple[str, str], default: str | None = None
) -> ChoiceInput:
    offered = tuple(Choice(value, text) for value, text in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


RESULTS = {
    "mains_percent": ("mains above the setting", "%"),
    "power_percent": ("power above the plate's, from the mains alone", "%"),
    "rail_plus_v": ("positive rail", "V"),
    "rail_minus_v": ("negative rail", "V"),
    "rail_plus_percent": ("positive rail, off the scaled chart", "%"),
    "rail_minus_percent": ("negative rail, off the scaled chart", "%"),
    "rails_uneven_percent": ("rails apart", "%"),
    "sag_plus_percent": ("sag of the positive rail", "%"),
    "sag_minus_percent": ("sag of the negative rail", "%"),
    "rectified_v": ("rail to be expected from the winding", "V"),
    "winding_plus_percent": ("positive rail, off what the winding gives", "%"),
    "winding_minus_percent": ("negative rail, off what the winding gives", "%"),
    "highest_rail_v": ("rail at the highest mains", "V"),
    "voltage_margin_percent": ("capacitor rating above the rail", "%"),
    "node_percent": ("off the scaled chart", "%"),
    "node_share_percent": ("of its tolerance", "%"),
    "ripple_hz_ratio": ("ripple frequency over mains frequency", ""),
    "ripple_plus_vpp": ("ripple, positive rail", "V"),
    "ripple_minus_vpp": ("ripple, negative rail", "V"),
    "effective_plus_f": ("capacitance its ripple implies, positive rail", "F"),
    "effective_minus_f": ("capacitance its ripple implies, negative rail", "F"),
    "effective_plus_percent": ("implied of marked, positive rail", "%"),
    "effective_minus_percent": ("implied of marked, negative rail", "%"),
    "expected_ripple_vpp": ("ripple to be expected", "V"),
    "relay_delay_s": ("relay delay", "s"),
}
RAIL_AT = "rail to ground, at the filter capacitor"
RAILS = {"rail_plus": "42.1 V", "rail_minus": "-41.9 V"}
GOOD_MAINS = {"mains": "230 V", "nameplate": "230 V"}

CHECK = Check(
    id="supply-rails",
    title="Supply and rails",
    stage=Stage.SUPPLY,
    power_states=(PowerState.MAINS, PowerState.DRIVEN),
    why="Every voltage on the chart holds at the mains on the plate. Today's mains are often "
    "higher, so the chart is scaled before anything is called wrong.",
    cautions=(
        "Rails are dangerous to touch: leads clipped on while unplugged and measured below 2 V.",
        "The mains are measured at a socket with insulated probes, not inside the amplifier.",
        "The selector is turned only with the plug pulled.",
        "Limiter out, no load, no speaker. Local rules and licensed practice come first.",
    ),
    steps=(
        "Read the mains at the socket, and the selector or the plate.",
        "Read both rails without a signal, then the nodes of the chart.",
        "Read the ripple of both rails with its frequency: 100 or 120 Hz is right.",
        "Count the seconds until the relay closes.",
    ),
    inputs=(
        _number("mains", "Mains, measured", "V", 50, 300, "at the socket"),
        _number("nameplate", "Mains on the plate", "V", 90, 260),
        _number("selector", "Where the selector stands", "V", 90, 260),
        TextInput(key="positions", prompt="Positions it offers (110/120/220/240)"),
        _number("mains_hz", "Mains frequency", "Hz", 40, 70),
        _number("rail", "Nominal rail", "V", -300, 300),
        _number("tolerance", "Its tolerance", "%", 0.1, 50),
        _number("rail_plus", "Positive rail", "V", -300, 300, RAIL_AT),
        _number("rail_minus", "Negative rail", "V", -300, 300, RAIL_AT),
        _number("rail_plus_loaded", "Positive rail at rated power", "V", -300, 300, RAIL_AT),
        _number("rail_minus_loaded", "Negative rail at rated power", "V", -300, 300, RAIL_AT),
        _number("secondary", "Half winding, alternating", "V", 1, 250, "at the rectifier"),
        TableInput(
            key="chart",
            prompt="Chart: node | nominal | tolerance | measured | follows",
            columns=(
                TextInput(key="node", prompt="Node", required=True),
                _number("nominal", "Nominal", "V", -400, 400),
                _number("tolerance", "Tolerance", "%", 0.1, 100),
                NumberInput(
                    key="measured",
                    prompt="Measured",
                    unit="V",
                    low=-400,
                    high=400,
                    by_meter=True,
                    assumed_counts=1.0,
                    required=True,
                ),
                _choose(
                    "follows",
                    "Follows the mains?",
                    ("mains", "Follows the mains"),
                    ("regulated", "Regulated"),
                ),
            ),
        ),
        _number("ripple", "Ripple", "V", 0, 100, RAIL_AT),
        _number("ripple_plus", "Ripple, positive rail", "V", 0, 100, RAIL_AT),
        _number("ripple_minus", "Ripple, negative rail", "V", 0, 100, RAIL_AT),
        _choose(
            "ripple_as",
            "Ripple read as",
            ("peak-to-peak", "Peak to peak"),
            ("rms", "RMS"),
            default="peak-to-peak",
        ),
        _number("ripple_hz", "Ripple frequency", "Hz", 10, 1000),
        _choose(
            "rectifier",
            "Rectifier",
            ("full-wave", "Full wave"),
            ("half-wave", "Half wave"),
            default="full-wave",
        ),
        _number("current", "Current drawn from that rail", "A", 1e-4, 50),
        _number("nominal", "Filter capacitor, marked", "µF", 1, 1e6),
        _number("rated_v", "Filter capacitor, rated volts", "V", 1, 1000),
        _number("relay_delay", "Relay closes after", "s", 0, 120),
        _choose(
            "limiter",
            "Is the series lamp or other limiter in?",
            ("out", "Out: full mains"),
            ("in", "In"),
            default="out",
        ),
        _choose(
            "hum",
            "Mechanical hum",
            ("none", "None"),
            ("transformer", "Transformer hum"),
        ),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="Set to 220 V on a 230 V supply, transformer hum",
            source=SELECTOR,
            answers={"mains": "230 V", "selector": "220 V", "hum": "transformer"},
            advice=(AdviceKind.ADJUST,),
            values={"mains_percent": (4.545, 0.01), "power_percent": (9.298, 0.01)},
            never=(AdviceKind.STOP, AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=MAINS,
        ),
        Example(
            title="Plate of 117 V, mains of 122 V, no selector: only the mains",
            source="ielogical.com/Audio/BuckTrans.php",
            answers={"mains": "122 V", "nameplate": "117 V", "rail": "40 V"}
            | {"rail_plus": "41.7 V", "rail_minus": "-41.8 V"},
            advice=(AdviceKind.LEAVE,),
            values={"mains_percent": (4.274, 0.01), "power_percent": (8.73, 0.01)},
            verdicts={"rail_plus_percent": Verdict.PASS},
            never=(AdviceKind.ADJUST, AdviceKind.REMEASURE),
        ),
        Example(
            title="220 V amplifier at 253 V, near its capacitors' rating",
            source=SELECTOR,
            answers={"mains": "253", "nameplate": "220", "rail": "42 V", "rated_v": "50 V"},
            advice=(AdviceKind.LEAVE,),
            values={
                "mains_percent": (15, 0.01),
                "power_percent": (32.25, 0.01),
                "voltage_margin_percent": (3.52, 0.01),
            },
            never=(AdviceKind.STOP,),
        ),
        Example(
            title="The same with a rail of 45 V on the plate: above the rating",
            source=SELECTOR,
            answers={"mains": "253", "nameplate": "220", "rail": "45 V", "rated_v": "50 V"},
            advice=(AdviceKind.STOP,),
            verdicts={"voltage_margin_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Set to 110 V on 230 V",
            source=COMMON,
            answers={"mains": "230 V", "selector": "110 V"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Rails against the chart, nothing said of the mains",
            source=COMMON,
            answers={"rail": "40 V"} | RAILS,
            advice=(AdviceKind.REMEASURE,),
            verdicts={"rail_plus_percent": Verdict.NOT_COMPARABLE},
            never=(AdviceKind.STOP, AdviceKind.REPLACE),
        ),
        Example(
            title="Even rails and nothing else",
            source=COMMON,
            answers=RAILS,
            advice=(AdviceKind.LEAVE,),
            verdicts={"rails_uneven_percent": Verdict.PASS},
            never=(AdviceKind.STOP, AdviceKind.ADJUST),
        ),
        Example(
            title="Ripple at 50 Hz: half of the rectifier is missing",
            source="amfone.net/Amforum topic 22916 (2010-02-04)",
            answers=RAILS | {"ripple": "1.2 V", "ripple_hz": "50 Hz"},
            advice=(AdviceKind.REPLACE,),
            verdicts={"ripple_hz_ratio": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=HALF,
        ),
        Example(
            title="Twice the ripple the capacitor should leave",
            source="issuhub.com/view/index/4134?pageIndex=207",
            answers=GOOD_MAINS
            | RAILS
            | {"current": "0.2 A", "nominal": "10000 µF", "ripple_plus": "0.42 V"}
            | {"ripple_hz": "100 Hz"},
            advice=(AdviceKind.PLAN,),
            values={"effective_plus_f": (4762e-6, 1e-6), "expected_ripple_vpp": (0.2, 1e-9)},
            verdicts={"effective_plus_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.STOP),
            cause=WORN,
        ),
        Example(
            title="A chart of three nodes, one of them regulated",
            source=COMMON,
            answers={
                "mains": "236 V",
                "nameplate": "220 V",
                "chart": "Q1 collector | 38 V | 10 % | 40.6 V\n"
                "Q7 base | 12 V | 5 % | 12.1 V | regulated\nQ9 emitter | -38 V | - | -40.9 V",
            },
            advice=(AdviceKind.LEAVE,),
            verdicts={"node_share_percent": Verdict.PASS},
            never=(AdviceKind.REMEASURE,),
        ),
        Example(
            title="Rails and a node against the spec sheet, at 233 V for 220 V",
            source=COMMON,
            spec='maker = "Example"\nmodel = "One"\nmains = "220 V 50 Hz"\nrail = "38 V"\n'
            '[[chart]]\nsource = "schematic"\ntolerance = "5 %"\n'
            '[chart.voltage]\n"Q601 collector" = "37.5 V"\n',
            answers={
                "mains": "233.0 V",
                "rail_plus": "40.3 V",
                "rail_minus": "-40.1 V",
                "chart": "q601 collector | - | - | 39.6 V",
            },
            advice=(AdviceKind.LEAVE,),
            values={"rail_plus_percent": (0.136, 0.01), "node_percent": (-0.29, 0.01)},
            verdicts={"rail_plus_percent": Verdict.PASS, "node_share_percent": Verdict.PASS},
            never=(AdviceKind.REMEASURE, AdviceKind.ADJUST),
        ),
        Example(
            title="A node outside the chart",
            source=COMMON,
            answers=GOOD_MAINS | {"chart": "Q1 collector | 38 V | 10 % | 31 V"},
            advice=(AdviceKind.REMEASURE,),
            values={"node_percent": (-18.42, 0.01)},
            verdicts={"node_share_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Uneven rails",
            source=COMMON,
            answers=GOOD_MAINS | {"rail_plus": "42 V", "rail_minus": "-37 V"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={"rails_uneven_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=LOADED,
        ),
        Example(
            title="36 V from the winding and only 30 V on the rail",
            source="ssguitar.com, post of 2021-01-17",
            answers={"secondary": "36.0 V", "rail_plus": "30.0 V"},
            advice=(AdviceKind.REMEASURE,),
            values={"rectified_v": (49.41, 0.01)},
            verdicts={"winding_plus_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=WORN,
        ),
        Example(
            title="The limiter is still in",
            source=COMMON,
            answers={"mains": "230", "nameplate": "230", "rail": "42 V", "limiter": "in"}
            | {"rail_plus": "30 V", "rail_minus": "-30 V"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={"rail_plus_percent": Verdict.NOT_COMPARABLE},
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
        ),
        Example(
            title="The relay closes too early",
            source=MEMORY,
            answers=GOOD_MAINS | RAILS | {"relay_delay": "0.8 s"},
            advice=(AdviceKind.PLAN,),
            verdicts={"relay_delay_s": Verdict.FAIL},
            never=(AdviceKind.STOP,),
            cause=TIMING,
        ),
    ),
    sources=(
        f"Mains then and now, and the selector: ielogical.com/Audio/BuckTrans.php; {SELECTOR}",
        "Rail from the winding: ssguitar.com, post of 2021-01-17",
        "Ripple: issuhub.com/view/index/4134?pageIndex=207; I/(f·C) from memory",
        f"Tolerance where the chart has none, relay delay, sag: {MEMORY}; even rails: {COMMON}",
    ),
    rules=RULES,
    needs=(13, 14),
    covers_off=True,
)

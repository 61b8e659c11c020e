"""What an experienced restorer says of one capacitor, alike in every check that judges one."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.analysis import capacitor, discharge
from backtospec.analysis.capacitor_limits import (
    HIGHEST_PERCENT,
    LOSS_WATCH_PERCENT,
    LOWEST_PERCENT,
    RATIO,
    READS_HIGH_PERCENT,
    TWICE,
    Part,
)
from backtospec.check import Advice, AdviceKind, Answers, Cause, Counsel, Findings
from backtospec.check.capacitor_part import (
    Leakage,
    leakage_of,
    measure_part,
    part_limits,
    part_of,
    span,
)
from backtospec.quantity import Measured, write
from backtospec.verdict import Bound, Finding, Verdict, judge

LONGEST_REFORM_S = 24 * 3600.0
"""Re-forming that would take longer is given up (common practice, no source)."""

SHORTEST_REFORM_S = 3600.0
"""No leakage reading earlier than this condemns a part (common practice, no source)."""

LIFT = "a neighbour in circuit may be helping. Lift one leg and read it again"
DRIED = "dried-out electrolyte"
LEAKY = "leakage inflates the reading"
AGEING = "chemical ageing"
NEIGHBOUR = "neighbour in circuit"
COARSE = "meter too coarse for this part"


@dataclass(frozen=True, slots=True)
class _View:
    """What one axis says: a kind of advice, the reading in words, and why."""

    kind: AdviceKind
    shown: str
    why: str = ""
    cause: Cause | None = None


def _capacitance_view(findings: Findings, part: Part, leakage: Leakage | None) -> _View | None:
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
    findings: Findings, part: Part, leakage: Leakage | None, ratio: Measured, shown: str
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


def _leakage_view(leakage: Leakage | None, part: Part) -> _View | None:
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
        why = f"still re-forming. Leave it on the supply, about {span(ready - last_s)} more"
        return _View(AdviceKind.WAIT, shown, why, cause)
    if last_s < SHORTEST_REFORM_S:
        why = "too early to condemn it. Re-form it through a resistor for an hour, and log"
        return _View(AdviceKind.WAIT, shown, why, cause)
    if leakage.verdict is Verdict.UNDECIDED:
        return _View(AdviceKind.PLAN, shown, "near its limit, usable now", cause)
    return _View(AdviceKind.REPLACE, shown, "it does not re-form", cause)


def _last(leakage: Leakage) -> str:
    seconds, ampere = leakage.readings[-1]
    shown = write(ampere, "A")
    return f"{shown} after {span(seconds)}" if seconds else shown


def _margin_view(findings: Findings, part: Part) -> _View | None:
    if findings.verdict("voltage_margin_percent") is not Verdict.FAIL or part.working_v is None:
        return None
    shown = f"{write(abs(part.working_v), 'V')} across a {write(part.rated_v or 0, 'V')} part"
    cause = Cause("rating too low for its place", (shown,), (), "mains volts against the plate")
    return _View(AdviceKind.REPLACE, shown, "above its rating", cause)


def judge_part(answers: Answers) -> tuple[tuple[Finding, ...], Counsel]:
    """Return what follows from one part's answers, the most urgent advice first."""
    findings = judge(measure_part(answers).results, part_limits(answers))
    counsel = advise_part(Findings(findings, answers))
    order = list(AdviceKind)
    advice = tuple(sorted(counsel.advice, key=lambda a: order.index(a.kind)))
    return findings, Counsel(advice, counsel.causes, counsel.next_step)


def advise_part(findings: Findings) -> Counsel:
    """Return what an experienced restorer would say of this part."""
    answers = findings.answers
    part = part_of(answers)
    leakage = leakage_of(answers, part)
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
    words = {"bulging": "is bulging", "leaking": "leaks electrolyte", "cracked": "is cracked"}
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

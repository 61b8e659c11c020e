"""What an experienced restorer says of a DC offset."""

from __future__ import annotations

from backtospec.analysis.offset_pattern import moves
from backtospec.check import Advice, AdviceKind, Answers, Counsel, Findings
from backtospec.check.offset_reading import (
    CHANNELS,
    EXCESSIVE_V,
    GOOD_V,
    HIGH_V,
    SOURCE_V,
    adjustable,
    coupled,
    fault_v,
    judged_values,
    offset_settlings,
    only_cold,
    places,
    stated_limit,
    supply_v,
)
from backtospec.check.settling import unsettled
from backtospec.quantity import Measured, write
from backtospec.verdict import Finding, Verdict

TRIMMABLE_V = 0.3
"""An offset trimmer takes up less than this; more is a fault, never trimmed away (from memory)."""

_OFF = "switch off and discharge before touching anything"
_GO_ON = "go on reading both channels; leave the cover as it is"
_ONE_K = "read the offset with 1 kΩ across the terminals"
_BESIDE = (
    "with the power off and discharged: feedback path and low-value resistors, junctions, beside "
    "the good channel"
)


def faulty(answers: Answers) -> list[str]:
    """Return the channels whose output stands so far off that something is broken."""
    if answers.choice("point") == "centre" or coupled(answers):
        return []
    threshold = fault_v(answers)
    return [n for n in CHANNELS if any(abs(v) >= threshold for v in _every(answers, n))]


def _every(answers: Answers, name: str) -> list[float]:
    """Return everything read of a channel's output, loaded or not; cold where nothing is warm."""
    found = [v.value for k in ("", "_loaded") if (v := answers.number(name + k))]
    cells = (row.get(name) for row in answers.table("conditions"))
    found += [cell.value for cell in cells if isinstance(cell, Measured)]
    series = answers.series(f"{name}_series")
    found += [v for _, v in series.readings()[-1:]] if series else []
    cold = answers.number(f"{name}_cold")
    return found or ([cold.value] if cold is not None else [])


def advise(findings: Findings) -> Counsel:
    """Return the advice: danger first, then what makes the reading count, then its verdict."""
    answers = findings.answers
    if broken := faulty(answers):
        return _fault(broken, answers)
    main = _main(findings)
    if main is not None and any(a.kind is AdviceKind.STOP for a in main.advice):
        return main
    extra = _observed(answers)
    if main is None:
        return Counsel(tuple(extra), next_step="read the offset of both channels")
    advice = main.advice
    if _source_dc(answers):
        # a source's own voltage must not be trimmed away
        advice = tuple(a for a in advice if a.kind is not AdviceKind.ADJUST)
    return Counsel((*advice, *extra), next_step=main.next_step)


def _main(findings: Findings) -> Counsel | None:
    """Return what follows from the readings; ``None`` where there are none."""
    answers = findings.answers
    values = judged_values(answers)
    if answers.choice("point") == "centre":
        return _centre(findings)
    if moving := unsettled(offset_settlings(answers)):
        words = tuple(Advice(AdviceKind(kind), reason) for kind, reason in moving)
        stop = any(word.kind is AdviceKind.STOP for word in words)
        return Counsel(words, next_step=_OFF if stop else _GO_ON)
    if not values:
        return None
    if coupled(answers) and (said := _through_capacitor(answers, values)):
        return said
    if _zero_unproven(values, answers):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "A perfect zero may only mean that the protection relay is open: hear it "
            "close, or measure before it.",
            next_step="prove that the relay has closed, then read again",
        )
    if answers.choice("limiter") == "in":
        return Counsel.of(
            AdviceKind.REMEASURE,
            "The series lamp is still in: the offset counts only on full mains.",
            next_step="take the limiter out and read the offset again",
        )
    if set(values) <= only_cold(answers):
        reason = f"{_shown(values)}, read cold: it counts warm. Let it run, then read again."
        return Counsel.of(AdviceKind.WAIT, reason, next_step="read both channels again, warm")
    judged = {n: f for n in values for f in findings.of(f"offset_{n}_v")}
    if any(f.verdict is Verdict.NOT_COMPARABLE for f in judged.values()):
        return Counsel.of(
            AdviceKind.WAIT,
            "The manual's limit holds warm: let it run, then read.",
            next_step="read both channels again when it has warmed up",
        )
    outside = [n for n, f in judged.items() if f.verdict is Verdict.FAIL]
    if outside:
        return _outside(outside, values, answers)
    doubtful = [f for f in judged.values() if f.verdict is Verdict.UNDECIDED]
    if any((f.probability or 0) < 0.5 for f in doubtful):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "At the limit, within measuring error: read it on a finer range, warm.",
            next_step="the same reading on the meter's finest range",
        )
    return _inside(values, answers, doubtful)


def _shown(values: dict[str, Measured]) -> str:
    return " and ".join(f"{name} {_volts(value)}" for name, value in values.items())


def _volts(value: Measured) -> str:
    """Return an offset the way restorers say it: in millivolts, or in volts from one up."""
    volt = value.value
    return f"{volt:.3g} V" if abs(volt) >= 1 else f"{volt * 1000:.3g} mV"


def _fault(broken: list[str], answers: Answers) -> Counsel:
    worst = {n: Measured(max(_every(answers, n), key=abs)) for n in broken}
    rail = supply_v(answers)
    near = f", of a {write(rail, 'V')} rail" if rail else ""
    reason = (
        f"DC fault: {_shown(worst)} at the output{near}. Switch off, no load and no speaker; find "
        "the open or shorted part with the power off, beside the good channel."
    )
    return Counsel.of(AdviceKind.STOP, reason, next_step=_BESIDE)


def _centre(findings: Findings) -> Counsel:
    values = judged_values(findings.answers)
    shown = _shown(values)
    verdicts = {findings.verdict(f"centre_{n}_percent") for n in values}
    if verdicts & {Verdict.FAIL, Verdict.UNDECIDED}:
        reason = (
            f"{shown} at the centre, which belongs near half the supply: find the part that "
            "pulls it. It is no offset; the output capacitor keeps it from the speaker."
        )
        step = "volts along the divider that sets the centre, beside the other channel"
        return Counsel.of(AdviceKind.REPLACE, reason, next_step=step)
    if Verdict.PASS in verdicts:
        reason = f"{shown} at the centre: about half the supply, as it should be. It is no offset."
        return Counsel.of(AdviceKind.LEAVE, reason, next_step="volts at the terminals, with 1 kΩ")
    reason = f"{shown} at the centre: it belongs near half the supply. Read the supply too."
    return Counsel.of(AdviceKind.REMEASURE, reason, next_step="give rail, the supply's volts")


def _through_capacitor(answers: Answers, values: dict[str, Measured]) -> Counsel | None:
    """Return what volts behind an output capacitor mean; ``None`` where a load proves them low."""
    shown, rail = _shown(values), supply_v(answers)
    worst = max(abs(v.value) for v in values.values())
    loads = any(f"{n}_loaded" in answers.texts for n in values)
    loaded = loads or answers.choice("load") in ("1k", "dummy")
    if answers.choice("load") == "speaker" and worst >= EXCESSIVE_V:
        reason = f"{shown} on a speaker behind an output capacitor: switch off, speaker off."
        return Counsel.of(AdviceKind.STOP, reason, next_step=_ONE_K)
    if loaded and worst > HIGH_V:
        reason = (
            f"{shown} with a load: the output capacitor leaks, or it is wired past. No speaker; "
            "check the wiring, then renew the capacitor."
        )
        step = "follow the wire from the capacitor to the terminal, power off and discharged"
        return Counsel.of(AdviceKind.REPLACE, reason, next_step=step)
    if loaded or worst <= HIGH_V:
        return None
    half = rail is not None and 0.4 * rail <= worst <= 0.6 * rail
    if half:
        reason = (
            f"{shown} is about half the supply: the centre voltage, which is no offset, or an "
            "output capacitor that is wired past. "
        )
    else:
        reason = f"{shown}: an output capacitor without a load shows its leakage. "
    reason += "Put 1 kΩ across the terminals and read again; no speaker until then."
    return Counsel.of(AdviceKind.REMEASURE, reason, next_step=_ONE_K)


def _zero_unproven(values: dict[str, Measured], answers: Answers) -> bool:
    if answers.choice("point") == "before-relay" or answers.choice("relay") == "closed":
        return False
    return all(v.value == 0 for v in values.values())


def _outside(outside: list[str], values: dict[str, Measured], answers: Answers) -> Counsel:
    stated = stated_limit(answers)
    both = len(values) == 2 and all(abs(v.value) > GOOD_V for v in values.values())
    shown = _shown(values if both else {n: values[n] for n in outside})
    if adjustable(answers) == "yes" and max(abs(values[n].value) for n in outside) <= TRIMMABLE_V:
        return _trim(shown, "both channels" if both else f"the {outside[0]} channel", answers)
    worst = max(abs(values[n].value) for n in outside)
    harmless = worst <= (EXCESSIVE_V if stated is None else HIGH_V)
    if harmless and stated is not None:
        reason = (
            f"{shown}: outside the manual's limit, and no danger to a speaker. Find the part while "
            "it is open; there is no trimmer to hide it with."
        )
    elif harmless:
        reason = (
            f"{shown}: more than most (the bands are convention), and no danger to a speaker. "
            "Match the current gains of the input pair and renew its electrolytics when it is open "
            "anyway; do not redesign it."
        )
    elif adjustable(answers) == "unknown":
        reason = (
            f"{shown}: too much; no speaker. Look for an offset trimmer; if none, find the part."
        )
    elif adjustable(answers) == "yes":
        reason = f"{shown}: more than a trimmer is for; no speaker. Find the part, do not trim it."
    else:
        reason = (
            f"{shown}: too much. Find the part before it drives a speaker; there is no trimmer to "
            "hide it with."
        )
    return Counsel.of(
        AdviceKind.PLAN if harmless else AdviceKind.REPLACE,
        reason,
        next_step=_localise(answers, both),
    )


def _trim(shown: str, which: str, answers: Answers) -> Counsel:
    cold = answers.number("minutes_since_on") is None
    first = "Warm it up first, then trim" if cold else "Trim"
    reason = (
        f"{shown}: too much. {first} {which} toward zero in small steps; note the trimmer's "
        "position before you touch it, and leave the idle trimmer alone unless a meter is "
        "accurate at its millivolts."
    )
    advice = [Advice(AdviceKind.ADJUST, reason)]
    if cold:
        advice.append(Advice(AdviceKind.WAIT, "Let it warm up before you trim anything."))
    return Counsel(tuple(advice), next_step="trim warm, then read offset and idle current again")


def _localise(answers: Answers, both: bool) -> str:
    """Return the next reading: the four conditions first, then where they point."""
    if found := places(answers):
        return "; ".join(f"{n}: look {place.value}" for n, place in found.items())
    if both:
        return (
            "offset with the input open and shorted, volume at both ends; then the input pair: "
            "gains, base resistors"
        )
    return (
        "offset with the input open and shorted, volume at both ends; then the same node "
        "voltages in both channels"
    )


def _inside(values: dict[str, Measured], answers: Answers, doubtful: list[Finding]) -> Counsel:
    worst = max(abs(v.value) for v in values.values())
    shown = _shown(values)
    if stated_limit(answers):
        edge = ", within measuring error" if doubtful else ""
        reason = f"{shown}: inside the manual's limit{edge}. Record it and leave it alone."
    elif worst <= GOOD_V:
        reason = f"{shown}: good by any convention. Leave it alone."
    else:
        reason = f"{shown}: higher than most, and harmless. Record it and leave it alone."
    step = "idle current, then on to the signal"
    if any(v.value == 0 for v in values.values()) and answers.choice("relay") != "closed":
        step = "one channel reads exactly zero: make sure that the relay has closed on it"
    return Counsel.of(AdviceKind.LEAVE, reason, next_step=step)


def _source_dc(answers: Answers) -> Measured | None:
    volts = answers.number("source_dc")
    return volts if volts is not None and abs(volts.value) >= SOURCE_V else None


def load_moves(answers: Answers) -> list[str]:
    """Return the channels whose offset moves with the load."""
    pairs = {n: (answers.number(n), answers.number(f"{n}_loaded")) for n in CHANNELS}
    return [n for n, (a, b) in pairs.items() if a and b and moves(a.value, b.value)]


def _observed(answers: Answers) -> list[Advice]:
    """Return what else was noted and leads to a further reading."""
    found = []
    if volts := _source_dc(answers):
        reason = (
            f"The source itself brings {_volts(volts)} of direct voltage, which a stage without "
            "a coupling capacitor amplifies: read again with it off and the input shorted, before "
            "anything is trimmed."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    if answers.choice("relay") == "trips":
        reason = (
            "The relay trips only with a signal: the offset at rest cannot show that fault. No "
            "speaker; watch the output before the relay with a signal into a dummy load."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    if not coupled(answers) and (names := load_moves(answers)):
        reason = (
            f"The offset moves with the load ({' and '.join(names)}), which feedback should "
            "prevent: look for oscillation and for resistance in the ground lead."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found

"""What an experienced restorer says of idle currents: danger first, the trimmers last."""

from __future__ import annotations

from backtospec.check import Advice, AdviceKind, Answers, Counsel, Findings
from backtospec.check.idle_observed import (
    heat,
    heats_on,
    jittering,
    nothing_read,
    observed,
    of_experiment,
    trimmer_bad,
)
from backtospec.check.idle_reading import (
    CHANNELS,
    HOT_C,
    WARM_MINUTES,
    comparable,
    drops,
    has_trimmer,
    idle_settlings,
    others,
    stated,
    swap,
)
from backtospec.check.settling import Settling, next_turn, unsettled
from backtospec.quantity import Measured, write
from backtospec.records import Channel, Limit
from backtospec.verdict import Finding, Result, Verdict

ALARM_RATIO = 1.5
"""Times the upper limit at which to switch off (from memory: a workable rule)."""

SETTLED_RATIO = 3.0
"""Where a log proves that it has settled, it is turned down at once up to here (a working rule)."""

ALIKE = 0.10
"""Channels within 10 % of each other are left alone (old-fidelity-forum.de/thread-14818)."""

MUCH_A = 0.2
"""More than most stages idle at; without a figure it is watched before it is left (from memory)."""

HOT_UNSUITED_C = 45.0
"""The same as HOT_C where the output devices are not those of the design (from memory)."""

_OFF = "switch off and discharge before touching anything"
_GO_ON = "go on reading both channels; leave the cover as it is"
_THEN_OFFSET = "DC offset, both channels, warm"
_RANGES = tuple(f"{what}_" for what in ("drop", "idle", "supply_rise", "mains_rise"))


def advise(findings: Findings) -> Counsel:
    """Return the advice: what is dangerous, what was read, and what else was noted."""
    answers = findings.answers
    if (stop := _danger(findings)) is not None:
        return stop
    main, extra = _main(findings), observed(findings)
    if main is None:
        return Counsel(
            tuple(extra) or (nothing_read(answers),),
            next_step="read the drop across the emitter resistors, warm",
        )
    advice = main.advice
    if trimmer_bad(answers) or jittering(answers):
        advice = tuple(a for a in advice if a.kind is not AdviceKind.ADJUST)
    if jittering(answers) and unsettled(idle_settlings(answers)):
        advice = ()  # what looks like moving air is the contact
    if answers.choice("fine_meter") == "no" and any(a.kind is AdviceKind.ADJUST for a in advice):
        advice = (Advice(AdviceKind.LEAVE, _NO_METER),)
    return Counsel((*advice, *extra), next_step=main.next_step)


_NO_METER = (
    "Leave the idle trimmers: no setting is better than the old one without a meter that is "
    "accurate at these millivolts."
)


def _danger(findings: Findings) -> Counsel | None:
    """Return what nothing silences: far above the range, running away, or too hot."""
    answers = findings.answers
    if (alarm := _alarm(findings)) is not None:
        return alarm
    running = [reason for kind, reason in unsettled(idle_settlings(answers)) if kind == "STOP"]
    if running:
        advice = tuple(Advice(AdviceKind.STOP, reason) for reason in running)
        return Counsel(advice, next_step=_OFF)
    if answers.choice("sensor") == "loose":
        reason = "The bias sensor hangs loose: no power before it sits on the heatsink again."
        return Counsel.of(AdviceKind.STOP, reason, next_step=_OFF)
    return _too_hot(findings)


def _too_hot(findings: Findings) -> Counsel | None:
    answers, temperature = findings.answers, heat(findings.answers)
    if temperature is None:
        return None
    unsuited = answers.choice("output_devices") == "other-type"
    judged = bool(findings.of("heatsink_c")) and findings.of("heatsink_c")[0].limit is not None
    threshold = HOT_UNSUITED_C if unsuited else HOT_C
    threshold = min(threshold, HOT_UNSUITED_C) if heats_on(answers) else threshold
    if temperature < threshold or not (judged or unsuited or heats_on(answers)):
        return None
    minutes = answers.number("minutes_since_on")
    after = f" after {minutes.value / 60:g} min" if minutes is not None else ""
    reason = f"{temperature:g} °C{after} without a signal: switch off. "
    reason += (
        "The bias network does not suit these output devices: it needs a multiplier transistor on "
        "the heatsink, or emitter resistors, before power goes back on."
        if unsuited
        else "Look at the sensor's mounting, the bias network and oscillation before power goes "
        "back on."
    )
    step = "power off and discharged: bias network against the devices fitted, sensor's contact"
    return Counsel.of(AdviceKind.STOP, reason, next_step=step)


def _alarm(findings: Findings) -> Counsel | None:
    """Far above the range is dangerous, unless a log proves that it has stopped rising."""
    steady = {one.name for one in idle_settlings(findings.answers) if one.end is not None}
    for finding in findings.all:
        value, limit = finding.result.value, finding.limit
        if value is None or limit is None or limit.high is None:
            continue
        if not finding.result.key.startswith(_RANGES):
            continue
        logged = any(f"_{name}_" in finding.result.key for name in steady)
        if value.value > (SETTLED_RATIO if logged else ALARM_RATIO) * limit.high:
            reason = (
                f"{_shown([finding.result])}: far above the range. Switch off; look at "
                "the sensor's mounting, the bias network and oscillation before power "
                "goes back on."
            )
            return Counsel.of(AdviceKind.STOP, reason, next_step=_OFF)
    return None


def _main(findings: Findings) -> Counsel | None:
    """Return what follows from the readings; ``None`` where there are none."""
    answers = findings.answers
    turns = _next_turns(answers)
    if turns:
        return Counsel(turns, next_step="turn, wait a minute, read; then the other channel")
    moving = unsettled(idle_settlings(answers))
    if moving:
        words = tuple(Advice(AdviceKind(kind), reason) for kind, reason in moving)
        return Counsel(words, next_step=_GO_ON)
    ranged = [f for f in findings.all if f.result.key.startswith(_RANGES)]
    if not ranged:
        if answers.choice("fine_meter") == "no":
            return Counsel.of(AdviceKind.LEAVE, _NO_METER, next_step=_THEN_OFFSET)
        return of_experiment(answers)
    if answers.choice("limiter") == "in":
        return Counsel.of(
            AdviceKind.REMEASURE,
            "The series lamp starves the stage: idle current counts only on full mains.",
            next_step="take the limiter out, warm up, read again",
        )
    if (nothing := _no_drop(answers)) is not None:
        return nothing
    judged = [f for f in ranged if f.limit is not None and not f.limit.convention]
    if (early := [f for f in judged if f.verdict is Verdict.NOT_COMPARABLE]) != []:
        return _not_yet(answers, early[0].reason)
    if judged:
        return _against_range(judged, answers)
    return _without_limit(findings)


def _against_range(judged: list[Finding], answers: Answers) -> Counsel:
    low = [f.result for f in judged if f.verdict is Verdict.FAIL and _below(f.result, f.limit)]
    high = [f.result for f in judged if f.verdict is Verdict.FAIL and f.result not in low]
    if high or low:
        return _out_of_range(low, high, answers, _ratio(high, judged))
    doubtful = [f for f in judged if f.verdict is Verdict.UNDECIDED]
    if any((f.probability or 0) < 0.5 for f in doubtful):
        return Counsel.of(
            AdviceKind.REMEASURE,
            "At the edge of the range, within measuring error: read it on a finer range.",
            next_step="the same reading on the meter's finest range",
        )
    shown = _shown([f.result for f in judged])
    edge = ", within measuring error" if doubtful else ""
    reason = f"{shown}: inside the manual's range{edge}. Leave it alone."
    return Counsel.of(AdviceKind.LEAVE, reason, next_step=_THEN_OFFSET)


def _ratio(high: list[Result], judged: list[Finding]) -> float:
    """Return how many times its upper limit the highest reading is."""
    limits = {f.result.key: f.limit for f in judged}
    return max(
        (
            r.value.value / limit.high
            for r in high
            if r.value is not None and (limit := limits[r.key]) is not None and limit.high
        ),
        default=1.0,
    )


def _below(result: Result, limit: Limit | None) -> bool:
    if limit is None or limit.low is None or result.value is None:
        return False
    return result.value.value < limit.low


def _shown(results: list[Result]) -> str:
    parts = [
        f"{'left' if r.channel is Channel.LEFT else 'right'} {write(r.value.value, r.unit)}"
        for r in results
        if r.value is not None
    ]
    return " and ".join(parts)


def _next_turns(answers: Answers) -> tuple[Advice, ...]:
    """Return the next turn of each channel whose log ends outside the manual's range."""
    maker = comparable(answers)
    if maker is None or maker.low is None or maker.high is None:
        return ()
    low, high = maker.low, maker.high
    if has_trimmer(answers) is False or answers.choice("limiter") == "in":
        return ()
    found = idle_settlings(answers)
    if any(one.warm_up.advice in ("STOP", "REPLACE") for one in found):
        return ()

    def turn(one: Settling) -> tuple[str, str] | None:
        position = answers.texts.get(f"{one.name}_trimmer_at", "")
        return next_turn(one, low, high, "idle", position)

    turns = (turn(one) for one in found)
    return tuple(Advice(AdviceKind(one[0]), one[1]) for one in turns if one is not None)


def _no_drop(answers: Answers) -> Counsel | None:
    """Return what no drop at all means, in every channel read or in one."""
    read = drops(answers)
    silent = [name for name, drop in read.items() if drop.value == 0]
    if not silent:
        return None
    where = "both channels" if len(silent) == 2 else f"the {silent[0]} channel"
    if answers.choice("sound") == "harsh" and len(silent) == len(read):
        reason = (
            f"0 mV in {where}, and harsh at low level: the stage is under-biased. That costs "
            "distortion and no safety. Look for what takes the bias away, and for the manual's "
            "figure; nothing is pushed up without one."
        )
        step = "bias network and trimmer, power off; then distortion at 1 W or less"
        return Counsel.of(AdviceKind.PLAN, reason, next_step=step)
    reason = (
        f"0 mV in {where}: the stage may be under-biased, without a rail, or the probes are not "
        "on the resistor. Prove probes and both rails before any trimmer is touched."
    )
    step = "both rails at the stage; the meter on its finest range; the resistor, power off"
    return Counsel.of(AdviceKind.REMEASURE, reason, next_step=step)


def _not_yet(answers: Answers, reason: str) -> Counsel:
    maker = stated(answers)
    wanted = (maker.warm_minutes if maker else None) or WARM_MINUTES
    minutes = answers.number("minutes_since_on")
    if minutes is None:
        return Counsel.of(
            AdviceKind.REMEASURE,
            "Note the minutes since power-on with the reading: idle current creeps for "
            "an hour or more and counts only warm.",
            next_step=f"read both channels again after {wanted:g} min, cover as the manual says",
        )
    if minutes.value / 60 < wanted:
        left = wanted - minutes.value / 60
        return Counsel.of(
            AdviceKind.WAIT,
            f"Too early to judge: it is still creeping. Read again in {left:.0f} min.",
            next_step=f"read both channels again {wanted:g} min after power-on",
        )
    return Counsel.of(
        AdviceKind.REMEASURE,
        f"Not taken as the manual states it: {reason}.",
        next_step="read again under the manual's conditions",
    )


def _out_of_range(low: list[Result], high: list[Result], answers: Answers, ratio: float) -> Counsel:
    shown, direction = _shown(low + high), "below" if not high else "above"
    if low and high:
        direction = "outside"
    if has_trimmer(answers) is False:
        return _fixed(low, high, ratio)
    return Counsel.of(
        AdviceKind.ADJUST,
        f"{shown}: {direction} the range. Mark the trimmer's position, turn a little, "
        "wait, read; stop if the reading jumps. Left, right, then left again.",
        next_step="after each step wait for it to settle; then check the offset",
    )


def _fixed(low: list[Result], high: list[Result], ratio: float) -> Counsel:
    """Return what to do where fixed resistors set the current."""
    parts = []
    if high and ratio > 1.25:
        parts.append(
            f"{_shown(high)}: above the range with nothing to trim. Find the part in the bias "
            "network."
        )
    elif high:
        parts.append(f"{_shown(high)}: a little above the range, no danger while it stays cool.")
    if low:
        parts.append(
            f"{_shown(low)}: low costs some distortion and no safety. Fixed resistors set it: a "
            "parallel one can raise it, on a limiter, if you want to."
        )
    kind = AdviceKind.REPLACE if high and ratio > 1.25 else AdviceKind.PLAN
    return Counsel.of(kind, " ".join(parts), next_step="compare the bias networks")


def _without_limit(findings: Findings) -> Counsel:
    """No figure in the manual: compare the channels, and never push upward."""
    answers = findings.answers
    above = [f.result for f in findings.all if f.limit and f.limit.convention and _too_high(f)]
    if above:
        reason = f"{_shown(above)}: well above other units of this model. Log it and the heatsink."
        step = "readings over time with the heatsink's temperature, hand at the switch"
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step=step)
    for what, unit in (("idle", "A"), ("supply_rise", "A"), ("mains_rise", "A"), ("drop", "V")):
        values = {
            n: v
            for n in CHANNELS
            for ending in ("a", "v")
            if (v := findings.value(f"{what}_{n}_{ending}")) is not None
        }
        if values:
            return _side_by_side(values, unit, answers)
    return Counsel.of(AdviceKind.LEAVE, "There is no figure to hold it against. Record it.")


def _too_high(finding: Finding) -> bool:
    return finding.result.key.startswith("drop_") and finding.verdict is Verdict.FAIL


def _side_by_side(values: dict[str, Measured], unit: str, answers: Answers) -> Counsel:
    shown = " and ".join(f"{n} {write(v.value, unit)}" for n, v in values.items())
    if seen := others(answers):
        span = " to ".join(write(v, "V") for v in dict.fromkeys((min(seen), max(seen))))
        shown += f" (others of the model {span}: inferred, not the maker's figure)"
    if unit == "A" and max(v.value for v in values.values()) > MUCH_A and heat(answers) is None:
        reason = (
            f"{shown}: more than most stages idle at. Log it with the heatsink's temperature "
            "before it is left."
        )
        step = "an hour of readings with the heatsink's temperature"
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step=step)
    pair = [v.value for v in values.values()]
    if len(pair) == 1:
        if unit == "V":
            return _no_resistor(shown)
        reason = f"{shown}: there is no manual figure. Compare with the other channel; push "
        step = "the same reading in the other channel"
        return Counsel.of(AdviceKind.LEAVE, f"{reason}nothing upward.", next_step=step)
    if (found := swap(answers)) is not None:
        pair = [1.0, found.channels.value]
    if abs(pair[0] - pair[1]) <= ALIKE * max(pair):
        reason = f"{shown}: alike within 10 %. Record it and leave the trimmers alone."
        return Counsel.of(AdviceKind.LEAVE, reason, next_step=_THEN_OFFSET)
    if answers.choice("meters") == "two" and found is None:
        reason = (
            f"{shown}: with two meters, the difference can be theirs. Swap them and read again."
        )
        step = "left_swapped and right_swapped: the same channels, the meters swapped"
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step=step)
    return _no_resistor(shown) if unit == "V" else _one_is_low(values, shown, answers)


def _no_resistor(shown: str) -> Counsel:
    reason = (
        f"{shown}: millivolts become a current only with the emitter resistor's value. Read it off "
        "the part or the schematic."
    )
    return Counsel.of(AdviceKind.REMEASURE, reason, next_step="give the emitter resistor's value")


def _one_is_low(values: dict[str, Measured], shown: str, answers: Answers) -> Counsel:
    lower = min(values, key=lambda n: values[n].value)
    how = (
        "Fixed resistors set it: a parallel one could trim it, on a limiter, if you want."
        if has_trimmer(answers) is False
        else "No manual figure, so nothing is pushed up; listen and measure at 1 W first."
    )
    reason = f"{shown}: no danger in either. The {lower} channel is low and costs some distortion. "
    step = "distortion at 1 W in both channels"
    return Counsel.of(AdviceKind.LEAVE, reason + how, next_step=step)

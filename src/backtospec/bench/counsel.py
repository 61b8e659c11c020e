"""What to do next in a job, and what may be behind all of its findings together."""

from __future__ import annotations

from dataclasses import dataclass, replace

from backtospec import catalogue
from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.check import AdviceKind, Cause, Check, Conclusion, Stage
from backtospec.check.power_path import (
    FULL_MAINS,
    STARVED,
    SafetyStep,
    charge_of,
    current_state,
    path,
    refuses,
    with_known_cautions_short,
)
from backtospec.records import PowerState, PowerStep, Visit
from backtospec.verdict import Verdict

STATE_WORDS = {
    PowerState.SAFE: "unplugged and measured discharged",
    PowerState.OFF: "switched off, still dangerous",
    PowerState.LIMITED: "on the series lamp",
    PowerState.REDUCED: "on the variable transformer",
    PowerState.MAINS: "on full mains",
    PowerState.DRIVEN: "driven into dummy loads",
}

_DONE_WITH = (AdviceKind.LEAVE, AdviceKind.PLAN)


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing to know about one check."""

    check: Check
    words: str


@dataclass(frozen=True, slots=True)
class NextSteps:
    """Where a job stands, and the one thing to do now.

    Parameters
    ----------
    sentence
        The next safe step.
    check
        The check it belongs to; ``None`` when all is done.
    state, path
        The power state it needs, and the safe steps to it; no steps where it is there already.
    stop
        Whether a STOP stands: then nothing is powered.
    blocked
        What cannot be done or judged now, and why.
    unfit
        What does not apply to this amplifier, and why.
    alone
        What can be left alone.
    unproven
        What has not been shown yet.
    covers_off
        What must still be read with the covers off.
    before_closing
        What must still be proven before the case is closed.
    """

    sentence: str
    check: Check | None
    state: PowerState | None
    path: tuple[SafetyStep, ...]
    stop: bool
    blocked: tuple[Remark, ...]
    unfit: tuple[Remark, ...]
    alone: tuple[Remark, ...]
    unproven: tuple[Remark, ...]
    covers_off: tuple[Remark, ...]
    before_closing: tuple[Remark, ...]


@dataclass(frozen=True, slots=True)
class _Standing:
    """One check with its newest sittings: of each part it was run for, the last one.

    ``fresh`` holds those of the newest visit: work on the amplifier makes older ones stale.
    """

    check: Check
    newest: tuple[JudgedSitting, ...]
    fresh: tuple[JudgedSitting, ...]

    @property
    def asked_for(self) -> bool:
        """Whether it belongs to the route: what is read on demand does once it was read."""
        return bool(self.newest) or not self.check.on_demand

    def stopped(self) -> JudgedSitting | None:
        return next((s for s in self.newest if _stops(_concluded(s))), None)

    def pending(self) -> JudgedSitting | None:
        """Return the most urgent sitting that asks for something to be done."""
        order = list(AdviceKind)
        asking = [s for s in self.fresh if _concluded(s).word not in _DONE_WITH]
        return min(asking, key=lambda s: order.index(_concluded(s).word), default=None)

    @property
    def proven(self) -> bool:
        return bool(self.fresh) and self.pending() is None and self.stopped() is None


def what_next(
    view: JobView,
    power_steps: tuple[PowerStep, ...] = (),
    checks: tuple[Check, ...] | None = None,
) -> NextSteps:
    """Return the next safe step of a job, and what stands around it.

    Parameters
    ----------
    view
        The job, judged today.
    power_steps
        The states it went through, oldest first. Without any it is taken as off: dangerous.
    checks
        In the order the work is done; the whole catalogue where not given.
    """
    chosen = catalogue.all_checks() if checks is None else checks
    unfit = [Remark(c, reason) for c in chosen if (reason := c.unfit(view.spec))]
    without = {remark.check.id for remark in unfit}
    # A STOP stands even where its check no longer applies: the sheet may be what is wrong.
    every = tuple(_standing(view, c) for c in chosen)
    fit = tuple(s for s in every if s.check.id not in without)
    asked = tuple(s for s in fit if s.asked_for)
    stopped = next((s for s in every if s.stopped()), None)
    state = current_state(power_steps)
    if stopped is not None:
        sentence, check, wanted = _after_stop(view, stopped, state)
    else:
        sentence, check, wanted = _along_the_route(view, asked, state)
    steps: tuple[SafetyStep, ...] = ()
    if wanted is not None:
        way = path(state or PowerState.OFF, wanted, charge=charge_of(view.spec))
        steps = with_known_cautions_short(way, power_steps)
    open_still = [s for s in asked if not s.proven]
    return NextSteps(
        sentence,
        check,
        wanted,
        steps,
        stopped is not None,
        _blocked(view, fit, stopped, state),
        tuple(unfit),
        _alone(asked),
        _unproven(asked),
        tuple(_covers_off(s.check) for s in open_still if s.check.covers_off),
        tuple(Remark(s.check, w) for s in open_still if (w := s.check.before_closing)),
    )


def likely_causes(view: JobView, checks: tuple[Check, ...] | None = None) -> tuple[Cause, ...]:
    """Return what may be behind the findings of a job, the best supported first.

    A cause that several checks point to is named once, with the evidence of all and the sum of
    their weights. Where a check sees only one, what else its rules know is named beside it with
    no weight: one sign never proves one cause.

    Parameters
    ----------
    view
        The job, judged today.
    checks
        The whole catalogue where not given.
    """
    chosen = catalogue.all_checks() if checks is None else checks
    merged: dict[str, Cause] = {}
    for check in chosen:
        for sitting in _standing(view, check).newest:
            for cause in _with_rivals(_concluded(sitting)):
                known = merged.get(cause.name)
                merged[cause.name] = cause if known is None else _merged(known, cause)
    return tuple(sorted(merged.values(), key=lambda cause: -cause.weight))


def offset_proven(view: JobView, checks: tuple[Check, ...] | None = None) -> bool:
    """Return whether a job's own readings show that nothing harmful stands at the output."""
    chosen = catalogue.all_checks() if checks is None else checks
    of_offset = [_standing(view, c) for c in chosen if c.stage is Stage.DC_OFFSET]
    return any(s.newest for s in of_offset) and all(s.proven for s in of_offset if s.newest)


def _with_rivals(conclusion: Conclusion) -> tuple[Cause, ...]:
    causes = conclusion.counsel.causes
    if len(causes) != 1:
        return causes
    rivals = (
        Cause(rule.cause, (), (), rule.next_reading, rule.source, 0.0)
        for rule in conclusion.check.rules
        if rule.cause != causes[0].name
    )
    return (causes[0], *rivals)


def _merged(one: Cause, other: Cause) -> Cause:
    """Put the evidence of both together; the reading to take is that of the heavier."""
    heavier = one if one.weight >= other.weight else other
    return replace(
        heavier,
        evidence_for=tuple(dict.fromkeys(one.evidence_for + other.evidence_for)),
        evidence_against=tuple(dict.fromkeys(one.evidence_against + other.evidence_against)),
        weight=one.weight + other.weight,
    )


def _standing(view: JobView, check: Check) -> _Standing:
    visits = {s.sitting.visit for s in view.sittings}
    visit = Visit.AFTER if Visit.AFTER in visits else Visit.BEFORE
    of_part: dict[str, JudgedSitting] = {}
    for judged in view.sittings:
        if judged.sitting.check_id == check.id and judged.conclusion is not None:
            texts = judged.conclusion.answers.texts
            of_part[texts.get("designator", "").strip().casefold()] = judged
    newest = tuple(of_part.values())
    return _Standing(check, newest, tuple(s for s in newest if s.sitting.visit is visit))


def _concluded(judged: JudgedSitting) -> Conclusion:
    assert judged.conclusion is not None
    return judged.conclusion


def _stops(conclusion: Conclusion) -> bool:
    return any(advice.kind is AdviceKind.STOP for advice in conclusion.counsel.advice)


def _mended(view: JobView, judged: JudgedSitting) -> bool:
    """Whether a part was replaced after these readings were taken."""
    return any(part.fitted_at > judged.sitting.taken_at for part in view.replacements)


_Step = tuple[str, Check | None, PowerState | None]


def _after_stop(view: JobView, stopped: _Standing, state: PowerState | None) -> _Step:
    check, judged = stopped.check, stopped.stopped()
    assert judged is not None
    if _mended(view, judged):
        first = PowerState.LIMITED
        limited = first in check.power_states and not refuses(view.spec, first)
        wanted = first if limited else _wanted(view, check, state)
        words = STATE_WORDS[wanted] if wanted is not None else "where it applies"
        said = f"{check.title} said STOP and a part was replaced since: read it again, {words}."
        return said, check, wanted
    if state is not PowerState.SAFE:
        said = f"{check.title} says STOP: make it safe before anything else."
        return said, check, PowerState.SAFE
    counsel = _concluded(judged).counsel
    what = counsel.next_step or counsel.advice[0].reason
    return f"{check.title} says STOP: {what.rstrip('.')}.", check, PowerState.SAFE


def _along_the_route(view: JobView, fit: tuple[_Standing, ...], state: PowerState | None) -> _Step:
    for standing in fit:
        check = standing.check
        wanted = _wanted(view, check, state)
        if standing.proven or wanted is None or _answered_otherwise(standing, fit):
            continue
        judged = standing.pending()
        if judged is None:
            return f"{check.title} comes next, {STATE_WORDS[wanted]}.", check, wanted
        conclusion = _concluded(judged)
        if conclusion.word is AdviceKind.REPLACE and _mended(view, judged):
            said = (
                f"{check.title}: a part was replaced since; read it again, {STATE_WORDS[wanted]}."
            )
            return said, check, wanted
        what = conclusion.counsel.next_step or conclusion.counsel.advice[0].reason
        return f"{check.title}, {conclusion.word.lower()}: {what.rstrip('.')}.", check, wanted
    return "Nothing is left to be read: hand it back with its report.", None, None


def _answered_otherwise(standing: _Standing, fit: tuple[_Standing, ...]) -> bool:
    """Whether other checks of the stage have shown all that one not yet read could show."""
    stage = standing.check.stage
    shown = {n for s in fit if s.check.stage is stage and s.proven for n in s.check.needs}
    return not standing.newest and bool(standing.check.needs) and shown >= {*standing.check.needs}


def _wanted(view: JobView, check: Check, state: PowerState | None) -> PowerState | None:
    """Return the state a check is to be read in: the present one where that will do."""
    allowed = [s for s in check.power_states if not refuses(view.spec, s)]
    if state in allowed and (state not in STARVED or check.power_states[0] in STARVED):
        return state
    return allowed[0] if allowed else None


def _blocked(
    view: JobView,
    fit: tuple[_Standing, ...],
    stopped: _Standing | None,
    state: PowerState | None,
) -> tuple[Remark, ...]:
    offset = [s for s in fit if s.check.stage is Stage.DC_OFFSET and not s.proven]
    found = []
    for standing in fit:
        check = standing.check
        reason = ""
        if stopped is not None and PowerState.SAFE not in check.power_states:
            reason = f"{stopped.check.title} says STOP: nothing is powered until it is cleared"
        elif all(reasons := [refuses(view.spec, s) for s in check.power_states]):
            reason = reasons[0]
        elif state in STARVED and check.power_states[0] in FULL_MAINS:
            reason = f"it is {STATE_WORDS[state]}: its verdicts count only on full mains"
        elif offset and check.power_states == (PowerState.DRIVEN,):
            reason = "the DC offset is not proven: no load and no signal before it is"
        if reason:
            found.append(Remark(check, reason))
    return tuple(found)


def _alone(fit: tuple[_Standing, ...]) -> tuple[Remark, ...]:
    return tuple(
        Remark(standing.check, conclusion.counsel.advice[0].reason)
        for standing in fit
        for judged in standing.fresh
        if (conclusion := _concluded(judged)).word is AdviceKind.LEAVE
    )


def _unproven(fit: tuple[_Standing, ...]) -> tuple[Remark, ...]:
    found: list[Remark] = []
    for standing in fit:
        if not standing.fresh:
            since = "not read since the work" if standing.newest else "not read yet"
            found.append(Remark(standing.check, since))
        for judged in standing.fresh:
            found += [Remark(standing.check, w) for w in _not_shown(_concluded(judged))]
    return tuple(found)


def _not_shown(conclusion: Conclusion) -> list[str]:
    open_verdicts = (Verdict.UNDECIDED, Verdict.NOT_COMPARABLE)
    lines = [
        f"{f.result.title}: {f.reason if f.verdict in open_verdicts else f.result.reason}"
        for f in conclusion.findings
        if f.verdict in open_verdicts or f.result.value is None
    ]
    return list(dict.fromkeys(lines))


def _covers_off(check: Check) -> Remark:
    points = dict.fromkeys(p for i in check.inputs if (p := getattr(i, "probed_at", "")))
    return Remark(check, "; ".join(points) or "with the covers off")

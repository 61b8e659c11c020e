"""What comes next in a job, and what may be behind it, from made-up checks and from real ones."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from backtospec.bench.counsel import NextSteps, Remark, likely_causes, offset_proven, what_next
from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.catalogue import all_checks, check_of
from backtospec.check import (
    AdviceKind,
    Answers,
    Cause,
    Check,
    Clue,
    Counsel,
    Example,
    Findings,
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    Stage,
    TextInput,
    conclude,
    read_answers,
)
from backtospec.records import (
    Amplifier,
    Job,
    Limit,
    PowerState,
    PowerStep,
    Replacement,
    Sitting,
    SpecSheet,
    Topology,
    Visit,
)
from backtospec.verdict import Result

START = datetime(2025, 3, 7, 20, 0, tzinfo=UTC)
SHEET = SpecSheet("Lindqvist", "A-30")
KINDS = tuple(AdviceKind)


def made_up(id_: str, stage: Stage, state: PowerState, **more: object) -> Check:
    """Return a check whose one number is the advice to give, and whose limit is 4.5."""
    title = id_.replace("-", " ").capitalize()

    def measure(answers: Answers) -> Measurement:
        value = answers.number("word")
        return Measurement((Result("word", title, value, "", "as read", ("word",)),))

    def advise(findings: Findings) -> Counsel:
        value = findings.value("word")
        assert value is not None
        kind = KINDS[round(value.value)]
        return Counsel.of(kind, f"{title} reads so.", next_step=f"see to the {id_}")

    check = Check(
        id=id_,
        title=title,
        stage=stage,
        power_states=(state,),
        why="To be asked.",
        cautions=("Mind it.",),
        steps=("Do it.",),
        inputs=(
            NumberInput(key="word", prompt="Word", unit="", low=0, high=9),
            TextInput(key="designator", prompt="Part"),
        ),
        results=(ResultKey("word", title, ""),),
        measure=measure,
        limits=lambda _: (Limit("word", None, 4.5, "", "made up"),),
        advise=advise,
        examples=(Example("one", "made up", {"word": "6"}, (AdviceKind.LEAVE,)),),
        sources=("made up",),
    )
    return replace(check, **more)  # type: ignore[arg-type]


CAPACITORS = made_up(
    "capacitors", Stage.CAPACITORS, PowerState.SAFE, covers_off=True, before_closing="all judged"
)
FIRST = made_up("first-power", Stage.FIRST_POWER, PowerState.LIMITED)
IDLE = made_up("idle", Stage.IDLE_CURRENT, PowerState.MAINS, covers_off=True)
OFFSET = made_up("offset", Stage.DC_OFFSET, PowerState.MAINS, before_closing="offset small")
POWER = made_up("power", Stage.POWER, PowerState.DRIVEN)
CHECKS = (CAPACITORS, FIRST, IDLE, OFFSET, POWER)


def sat(
    check: Check,
    word: AdviceKind,
    minute: int = 0,
    visit: Visit = Visit.BEFORE,
    designator: str = "",
) -> JudgedSitting:
    texts = {"word": str(KINDS.index(word)), "designator": designator}
    return judged(check, texts, minute, visit)


def judged(
    check: Check, texts: dict[str, str], minute: int = 0, visit: Visit = Visit.BEFORE
) -> JudgedSitting:
    at = START + timedelta(minutes=minute)
    sitting = Sitting(f"s-{minute:05d}", "j-00001", check.id, visit, None, at)
    return JudgedSitting(sitting, (), conclude(check, read_answers(check.inputs, texts)))


def view_of(
    *sittings: JudgedSitting, fitted_at_min: int | None = None, spec: SpecSheet = SHEET
) -> JobView:
    parts: tuple[Replacement, ...] = ()
    if fitted_at_min is not None:
        at = START + timedelta(minutes=fitted_at_min)
        parts = (Replacement("p-00001", "j-00001", "Q1", "a", "b", "shorted", at),)
    amplifier = Amplifier("a-00001", spec.maker, spec.model, "7", "", START)
    return JobView(Job("j-00001", amplifier.id, "", START), amplifier, spec, tuple(sittings), parts)


def now(state: PowerState) -> tuple[PowerStep, ...]:
    return (PowerStep("j-00001", state, START),)


def next_of(view: JobView, state: PowerState | None = PowerState.SAFE) -> NextSteps:
    return what_next(view, () if state is None else now(state), CHECKS)


def ids(remarks: tuple[Remark, ...]) -> list[str]:
    return [remark.check.id for remark in remarks]


def all_left(*but: Check) -> list[JudgedSitting]:
    return [sat(check, AdviceKind.LEAVE) for check in CHECKS if check not in but]


# --- the route ---------------------------------------------------------------------------------


def test_a_new_job_begins_at_the_beginning_and_is_taken_as_dangerous() -> None:
    steps = next_of(view_of(), None)
    assert steps.check is CAPACITORS
    assert steps.state is PowerState.SAFE
    assert [s.state for s in steps.path][-1] is PowerState.SAFE
    assert ids(steps.unproven) == [c.id for c in CHECKS]
    assert {r.words for r in steps.unproven} == {"not read yet"}
    assert ids(steps.covers_off) == ["capacitors", "idle"]
    assert [r.words for r in steps.before_closing] == ["all judged", "offset small"]


def test_no_path_where_it_is_there_already() -> None:
    assert next_of(view_of()).path == ()


@pytest.mark.parametrize("word", [AdviceKind.LEAVE, AdviceKind.PLAN])
def test_what_is_done_with_is_passed(word: AdviceKind) -> None:
    steps = next_of(view_of(sat(CAPACITORS, word)))
    assert steps.check is FIRST
    assert steps.state is PowerState.LIMITED
    assert "capacitors" not in ids(steps.covers_off + steps.before_closing)
    assert ids(steps.alone) == (["capacitors"] if word is AdviceKind.LEAVE else [])


@pytest.mark.parametrize(
    "word", [AdviceKind.REPLACE, AdviceKind.ADJUST, AdviceKind.REMEASURE, AdviceKind.WAIT]
)
def test_what_asks_for_something_holds_the_route(word: AdviceKind) -> None:
    steps = next_of(view_of(sat(CAPACITORS, word)))
    assert steps.check is CAPACITORS
    assert steps.sentence == f"Capacitors, {word.lower()}: see to the capacitors."
    assert "capacitors" in ids(steps.before_closing)


def test_a_replaced_part_is_read_again() -> None:
    taken = sat(CAPACITORS, AdviceKind.REPLACE, minute=5)
    assert "read it again" in next_of(view_of(taken, fitted_at_min=9)).sentence
    assert "read it again" not in next_of(view_of(taken, fitted_at_min=1)).sentence


def test_each_part_counts_by_its_own_last_reading() -> None:
    bad = sat(CAPACITORS, AdviceKind.REPLACE, 1, designator="C1")
    good = sat(CAPACITORS, AdviceKind.LEAVE, 2, designator="C2")
    assert next_of(view_of(bad, good)).check is CAPACITORS
    again = sat(CAPACITORS, AdviceKind.LEAVE, 3, designator="c1 ")
    assert next_of(view_of(bad, good, again)).check is FIRST


def test_work_makes_old_readings_stale() -> None:
    steps = next_of(view_of(*all_left(), sat(CAPACITORS, AdviceKind.LEAVE, 9, Visit.AFTER)))
    assert steps.check is FIRST
    assert Remark(IDLE, "not read since the work") in steps.unproven


def test_all_done_is_handed_back() -> None:
    steps = next_of(view_of(*all_left()), PowerState.DRIVEN)
    assert steps.check is None
    assert steps.path == ()
    assert "hand it back" in steps.sentence
    assert steps.unproven == steps.blocked == steps.before_closing == steps.covers_off == ()
    assert len(steps.alone) == len(CHECKS)


def test_a_second_check_of_the_same_needs_is_not_asked_for() -> None:
    one = replace(CAPACITORS, needs=(17, 18))
    other = made_up("capacitor-list", Stage.CAPACITORS, PowerState.SAFE, needs=(17, 18, 50))
    checks = (one, other, FIRST)
    listed = view_of(sat(other, AdviceKind.LEAVE))
    assert what_next(listed, now(PowerState.SAFE), checks).check is FIRST
    single = view_of(sat(one, AdviceKind.LEAVE))
    assert what_next(single, now(PowerState.SAFE), checks).check is other


def test_what_is_read_on_demand_is_never_next_by_itself() -> None:
    special = made_up("reforming", Stage.CAPACITORS, PowerState.SAFE, on_demand=True)
    checks = (special, IDLE)
    fresh = what_next(view_of(), now(PowerState.SAFE), checks)
    assert fresh.check is IDLE
    assert ids(fresh.unproven) == ["idle"]
    assert what_next(view_of(sat(special, AdviceKind.WAIT)), (), checks).check is special


# --- STOP --------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", [None, *(s for s in PowerState if s is not PowerState.SAFE)])
def test_a_stop_makes_it_safe_first(state: PowerState | None) -> None:
    steps = next_of(view_of(*all_left(OFFSET), sat(OFFSET, AdviceKind.STOP)), state)
    assert steps.stop
    assert steps.check is OFFSET
    assert steps.state is PowerState.SAFE
    assert steps.path[-1].state is PowerState.SAFE


def test_a_stop_blocks_everything_powered_and_nothing_else() -> None:
    steps = next_of(view_of(sat(OFFSET, AdviceKind.STOP)))
    assert ids(steps.blocked) == ["first-power", "idle", "offset", "power"]
    assert all("Offset says STOP" in remark.words for remark in steps.blocked)
    assert steps.sentence == "Offset says STOP: see to the offset."
    assert steps.path == ()


def test_a_stop_stands_before_anything_earlier_on_the_route() -> None:
    first = sat(CAPACITORS, AdviceKind.REPLACE)
    assert next_of(view_of(first, sat(POWER, AdviceKind.STOP))).check is POWER


@pytest.mark.parametrize("visit", list(Visit))
def test_a_stop_is_cleared_only_by_reading_again(visit: Visit) -> None:
    stop = sat(OFFSET, AdviceKind.STOP, 1)
    assert next_of(view_of(stop, *all_left(OFFSET))).stop
    assert not next_of(view_of(stop, sat(OFFSET, AdviceKind.LEAVE, 2, visit))).stop
    assert next_of(view_of(sat(OFFSET, AdviceKind.LEAVE, 1), sat(OFFSET, AdviceKind.STOP, 2))).stop


def test_a_mended_fault_is_read_again_on_the_lamp() -> None:
    either = replace(OFFSET, power_states=(PowerState.MAINS, PowerState.LIMITED))
    view = view_of(sat(either, AdviceKind.STOP, 1), fitted_at_min=2)
    steps = what_next(view, now(PowerState.SAFE), (either,))
    assert steps.stop
    assert steps.state is PowerState.LIMITED
    assert "read it again, on the series lamp" in steps.sentence
    only_mains = what_next(view_of(sat(OFFSET, AdviceKind.STOP, 1), fitted_at_min=2), (), (OFFSET,))
    assert only_mains.state is PowerState.MAINS


def test_a_stop_stands_where_its_check_does_not_apply() -> None:
    unfit = replace(OFFSET, unfit=lambda _: "not this one")
    steps = what_next(view_of(sat(unfit, AdviceKind.STOP)), now(PowerState.MAINS), (unfit, IDLE))
    assert steps.stop
    assert ids(steps.blocked) == ["idle"]


@pytest.mark.parametrize("state", [PowerState.LIMITED, PowerState.REDUCED])
def test_a_limiter_never_hides_a_stop(state: PowerState) -> None:
    steps = next_of(view_of(sat(OFFSET, AdviceKind.STOP)), state)
    assert steps.stop
    assert all("STOP" in remark.words for remark in steps.blocked)


# --- what is in the way ------------------------------------------------------------------------


@pytest.mark.parametrize("state", [PowerState.LIMITED, PowerState.REDUCED])
def test_a_limiter_blocks_what_counts_on_full_mains(state: PowerState) -> None:
    steps = next_of(view_of(sat(CAPACITORS, AdviceKind.LEAVE)), state)
    assert ids(steps.blocked) == ["idle", "offset", "power"]
    assert all("full mains" in remark.words for remark in steps.blocked)
    assert steps.check is FIRST


def test_no_signal_before_the_offset_is_proven() -> None:
    steps = next_of(view_of(*all_left(OFFSET, POWER), sat(OFFSET, AdviceKind.REMEASURE)))
    assert ids(steps.blocked) == ["power"]
    proven = next_of(view_of(*all_left(POWER)))
    assert proven.blocked == ()
    assert proven.check is POWER
    assert proven.path[-1].state is PowerState.DRIVEN


def test_what_does_not_apply_is_listed_and_not_asked_for() -> None:
    unfit = replace(
        CAPACITORS, unfit=lambda spec: "none in it" if spec.topology is Topology.V_FET else ""
    )
    v_fet = SpecSheet("Example", "One", topology=Topology.V_FET)
    steps = what_next(view_of(spec=v_fet), now(PowerState.SAFE), (unfit, FIRST))
    assert steps.unfit == (Remark(unfit, "none in it"),)
    assert steps.check is FIRST
    assert ids(steps.unproven + steps.covers_off + steps.before_closing) == ["first-power"]
    assert what_next(view_of(), now(PowerState.SAFE), (unfit, FIRST)).check is unfit


def test_a_switching_supply_is_not_put_on_the_lamp() -> None:
    switching = SpecSheet("Example", "One", topology=Topology.SWITCHING_SUPPLY)
    steps = what_next(view_of(spec=switching), now(PowerState.SAFE), (FIRST, IDLE))
    assert ids(steps.blocked) == ["first-power"]
    assert steps.check is IDLE


def test_a_limit_that_is_not_shown_to_be_kept_is_unproven() -> None:
    loose = replace(OFFSET, inputs=(replace(OFFSET.inputs[0], tolerance_percent=10.0),))  # type: ignore[arg-type]
    near = judged(loose, {"word": "4.5"})
    steps = what_next(view_of(near), now(PowerState.MAINS), (loose,))
    assert [r.check.id for r in steps.unproven] == ["offset"]
    assert "within measuring error" in steps.unproven[0].words


# --- causes ------------------------------------------------------------------------------------


def with_causes(id_: str, *causes: Cause, rules: tuple[Rule, ...] = ()) -> Check:
    check = made_up(id_, Stage.DC_OFFSET, PowerState.MAINS, rules=rules)
    counsel = Counsel.of(AdviceKind.REMEASURE, "Look.", causes)
    return replace(check, advise=lambda _: counsel)


LEAKY = Cause("leaky capacitor", ("reads high",), ("no trimmer moved",), "leakage", weight=1.0)
LEAKY_TOO = Cause("leaky capacitor", ("reads high", "warm"), (), "offset, hot", weight=2.0)
WORN = Cause("worn trimmer", ("it jumps",), weight=2.5)
SEEN = Clue(lambda _: True, "it hums")
RULES = (
    Rule("worn trimmer", (SEEN,), "turn it", "made up"),
    Rule("bad joint", (SEEN,), "tap it", "made up"),
)


def test_causes_of_all_checks_are_merged_and_ranked() -> None:
    one, other = with_causes("one", LEAKY, WORN), with_causes("other", LEAKY_TOO)
    view = view_of(sat(one, AdviceKind.LEAVE), sat(other, AdviceKind.LEAVE))
    first, second = likely_causes(view, (one, other))
    assert (first.name, first.weight) == ("leaky capacitor", 3.0)
    assert first.evidence_for == ("reads high", "warm")
    assert first.evidence_against == ("no trimmer moved",)
    assert first.next_reading == "offset, hot"
    assert second == WORN


def test_only_the_newest_reading_of_a_check_points_anywhere() -> None:
    pointing = with_causes("one", LEAKY, WORN)
    silent = with_causes("one")
    view = view_of(sat(pointing, AdviceKind.LEAVE, 1), sat(silent, AdviceKind.LEAVE, 2))
    assert likely_causes(view, (pointing,)) == ()


def test_one_sign_is_not_taken_for_one_cause() -> None:
    check = with_causes("one", WORN, rules=RULES)
    found = likely_causes(view_of(sat(check, AdviceKind.LEAVE)), (check,))
    assert [(c.name, c.weight, c.evidence_for) for c in found] == [
        ("worn trimmer", 2.5, ("it jumps",)),
        ("bad joint", 0.0, ()),
    ]
    assert found[1].next_reading == "tap it"


def test_rules_rank_where_the_advice_names_none() -> None:
    check = with_causes("one", rules=RULES)
    found = likely_causes(view_of(sat(check, AdviceKind.LEAVE)), (check,))
    assert {c.name for c in found} == {"worn trimmer", "bad joint"}


# --- with the real ones ------------------------------------------------------------------------


def test_a_real_stop_and_its_causes() -> None:
    offset = check_of("dc-offset")
    view = view_of(judged(offset, {"left": "40 V", "right": "12 mV", "rail": "42 V"}))
    steps = what_next(view, now(PowerState.MAINS))
    assert steps.stop
    assert steps.check is offset
    assert steps.path[-1].state is PowerState.SAFE
    powered = {c.id for c in all_checks() if PowerState.SAFE not in c.power_states}
    powered -= set(ids(steps.unfit))
    assert powered == set(ids(steps.blocked))
    assert any(c.name.startswith("DC fault") for c in likely_causes(view))
    assert not offset_proven(view)


def test_a_good_offset_is_left_alone_and_proves_the_output() -> None:
    offset = check_of("dc-offset")
    view = view_of(judged(offset, {"left": "5 mV", "right": "0.3 mV"}))
    steps = what_next(view)
    assert "dc-offset" in ids(steps.alone)
    assert steps.check is all_checks()[0]
    assert offset_proven(view)
    assert not offset_proven(view_of())


def test_a_sliding_bias_has_no_idle_figure_of_its_own() -> None:
    sliding = SpecSheet("Example", "One", topology=Topology.SLIDING_BIAS)
    steps = what_next(view_of(spec=sliding))
    assert "idle-current" in ids(steps.unfit)
    assert "idle-current" not in ids(steps.unproven)

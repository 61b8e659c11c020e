"""One sign never proves one cause: every check that has rules names rivals for each sign."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from backtospec.bench.counsel import likely_causes
from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.bench.specs import spec_of
from backtospec.catalogue import all_checks, check_of
from backtospec.check import (
    Check,
    ChoiceInput,
    Clue,
    Conclusion,
    Findings,
    Rule,
    conclude,
    read_answers,
)
from backtospec.check.power_path import FULL_MAINS, STARVED
from backtospec.records import Amplifier, Job, Sitting, SpecSheet, Topology, Visit

NOW = datetime(2025, 3, 7, 20, 0, tzinfo=UTC)


def concluded(check: Check) -> list[Conclusion]:
    return [
        conclude(
            check,
            read_answers(
                check.inputs,
                example.answers,
                spec=spec_of(example.spec, "example") if example.spec else None,
            ),
        )
        for example in check.examples
    ]


def fired(check: Check, conclusion: Conclusion) -> dict[str, set[str]]:
    """Return the signs that speak for each cause, by its name."""
    findings = Findings(conclusion.findings, conclusion.answers)

    def speaks(clue: Clue) -> bool:
        return clue.seen(findings) is True and clue.present != ""

    found = {rule.cause: {c.present for c in rule.clues if speaks(c)} for rule in check.rules}
    return {cause: signs for cause, signs in found.items() if signs}


def compete(check: Check) -> bool:
    """Say whether in some example of a check two of its rules fire and point apart."""
    return any(len(fired(check, conclusion)) >= 2 for conclusion in concluded(check))


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: check.id)
def test_rules_come_with_rivals(check: Check) -> None:
    assert not check.rules or compete(check)


def test_a_lonely_rule_is_noticed() -> None:
    seen, unseen = Clue(lambda _: True, "it hums"), Clue(lambda _: None, "it smells")
    one = Rule("worn trimmer", (seen,), "turn it", "made up")
    rival = Rule("bad joint", (unseen, seen), "tap it", "made up")
    lonely = Rule("bad joint", (unseen,), "tap it", "made up")
    check = check_of("dc-offset")
    assert compete(replace(check, rules=(one, rival)))
    assert not compete(replace(check, rules=(one, lonely)))
    assert not compete(replace(check, rules=(one, replace(one, next_reading="tap it"))))


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: check.id)
def test_one_sign_is_never_taken_for_one_cause(check: Check) -> None:
    if not check.rules:
        return
    for conclusion in concluded(check):
        sitting = Sitting("s-00001", "j-00001", check.id, Visit.BEFORE, None, NOW)
        shelf = Amplifier("a-00001", "Example", "One", "7", "", NOW)
        job = Job("j-00001", shelf.id, "", NOW)
        judged = JudgedSitting(sitting, (), conclusion)
        view = JobView(job, shelf, SpecSheet("Example", "One"), (judged,), ())
        named = [cause.name for cause in likely_causes(view, (check,))]
        assert len(named) != 1, named
        assert len(named) == len(set(named))
        assert set(fired(check, conclusion)) <= set(named) or conclusion.counsel.causes


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: check.id)
def test_every_rule_can_be_told_from_the_others(check: Check) -> None:
    for rule in check.rules:
        assert rule.next_reading, rule.cause
        assert rule.source, rule.cause
        assert any(clue.present for clue in rule.clues), rule.cause


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: check.id)
def test_a_check_applies_to_some_amplifiers_and_says_why_not_to_others(check: Check) -> None:
    reasons = [check.unfit(SpecSheet("Example", "One", topology=kind)) for kind in Topology]
    assert "" in reasons
    assert all(reason == reason.strip() for reason in reasons)


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: check.id)
def test_what_counts_on_full_mains_asks_for_the_limiter(check: Check) -> None:
    """A check that may be read through a lamp, and counts without, must know which it was."""
    may_be_starved = any(state in STARVED for state in check.power_states)
    if check.power_states[0] in FULL_MAINS and may_be_starved:
        [item] = [item for item in check.inputs if item.key == "limiter"]
        assert isinstance(item, ChoiceInput)
        assert {"in", "out"} <= {choice.value for choice in item.choices}

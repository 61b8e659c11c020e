"""One sign never proves one cause: every check that has rules names rivals for each sign."""

from __future__ import annotations

from dataclasses import replace

import pytest

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
from backtospec.records import SpecSheet, Topology


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


def without_rivals(check: Check) -> list[str]:
    """Say where a check takes one sign for one cause, or never lets two rules compete."""
    faults = []
    together = 0
    for conclusion in concluded(check):
        causes = fired(check, conclusion)
        signs = set().union(*causes.values()) if causes else set()
        if len(signs) == 1 and len(causes) < 2:
            faults.append(f"{signs} is taken for {set(causes)} alone")
        together += len(causes) >= 2
    if check.rules and not together:
        faults.append("no example shows two rules that compete")
    return faults


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: check.id)
def test_a_single_sign_leaves_at_least_two_causes(check: Check) -> None:
    assert without_rivals(check) == []


def test_a_lonely_cause_is_noticed() -> None:
    seen, unseen = Clue(lambda _: True, "it hums"), Clue(lambda _: None, "it smells")
    one = Rule("worn trimmer", (seen,), "turn it", "made up")
    rival = Rule("bad joint", (unseen, seen), "tap it", "made up")
    lonely = Rule("bad joint", (unseen,), "tap it", "made up")
    check = check_of("dc-offset")
    assert without_rivals(replace(check, rules=(one, rival))) == []
    faults = without_rivals(replace(check, rules=(one, lonely)))
    assert len(faults) == len(check.examples) + 1
    assert "{'it hums'} is taken for {'worn trimmer'} alone" in faults
    assert without_rivals(replace(check, rules=(lonely, lonely)))[-1].startswith("no example")


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

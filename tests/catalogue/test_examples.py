"""Every check declares all it must, and concludes what its worked examples say."""

from __future__ import annotations

import pytest

from backtospec.bench.specs import spec_of
from backtospec.catalogue import all_checks
from backtospec.check import Check, Example, conclude, read_answers

EXAMPLES = [(check, example) for check in all_checks() for example in check.examples]


def _id(value: object) -> str:
    return value.id if isinstance(value, Check) else getattr(value, "title", str(value))


@pytest.mark.parametrize(("check", "example"), EXAMPLES, ids=_id)
def test_example_concludes_as_stated(check: Check, example: Example) -> None:
    spec = spec_of(example.spec, "example") if example.spec else None
    conclusion = conclude(check, read_answers(check.inputs, example.answers, spec=spec))
    given = [advice.kind for advice in conclusion.counsel.advice]
    assert given[: len(example.advice)] == list(example.advice)
    assert not set(given) & set(example.never)
    by_key = {f.result.key: f for f in conclusion.findings}
    for key, verdict in (example.verdicts or {}).items():
        assert by_key[key].verdict is verdict, by_key[key]
    for key, (value, allowed) in (example.values or {}).items():
        result = by_key[key].result
        assert result.value is not None
        assert result.value.value == pytest.approx(value, abs=allowed)
    if example.cause:
        assert example.cause in [cause.name for cause in conclusion.counsel.causes]


@pytest.mark.parametrize("check", all_checks(), ids=_id)
def test_check_declares_what_a_person_needs(check: Check) -> None:
    assert check.cautions
    assert check.steps
    assert check.sources
    assert all(example.source for example in check.examples)
    assert check.why.endswith(".")
    for item in check.inputs:
        assert item.prompt
        assert item.key.isidentifier()
    for advice in (a for e in check.examples for a in e.advice):
        assert advice not in {n for e in check.examples if advice in e.advice for n in e.never}

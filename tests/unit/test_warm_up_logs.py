"""Fourteen synthetic warm-ups of known truth: class, end value, trust and alarm."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from backtospec.analysis.warm_up import WarmUp, analyse_warm_up, as_document

CASES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "reference/data/warm_up_series.json").read_text()
)
KEYS = {
    "class",
    "trusted",
    "settled_v",
    "settled_low_v",
    "settled_high_v",
    "minutes_to_wait",
    "time_constants_min",
    "slope_v_per_min",
    "jumps_s",
    "alarm",
    "advice",
}
by_name = pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])


def _analyse(case: dict[str, Any]) -> WarmUp:
    values = [None if count is None else count * case["step_v"] for count in case["counts"]]
    return analyse_warm_up(case["time_s"], values, step_v=case["step_v"])


@by_name
def test_class_trust_and_alarm(case: dict[str, Any]) -> None:
    found = _analyse(case)
    assert found.course == case["cls"]
    assert found.trusted == case["trusted"]
    assert found.alarm == case["alarm"]


@by_name
def test_end_value(case: dict[str, Any]) -> None:
    found = _analyse(case)
    if case["settled_v"] is None:
        assert found.settled_v is None
    elif found.settled_v is not None:
        assert found.settled_low_v is not None
        assert found.settled_high_v is not None
        assert found.settled_low_v <= case["settled_v"] <= found.settled_high_v
        if case["trusted"]:
            assert abs(found.settled_v - case["settled_v"]) <= case["settled_tolerance_v"]
    else:
        assert len(case["time_s"]) < 6


@by_name
def test_what_the_class_brings(case: dict[str, Any]) -> None:
    found = _analyse(case)
    if case["cls"] == "jumping":
        assert len(found.jumps_s) == len(case["jumps_s"])
        for seen, true in zip(found.jumps_s, case["jumps_s"], strict=True):
            assert abs(seen - true) <= case["jump_tolerance_s"]
    if case["cls"] == "drifting":
        assert found.slope_v_per_min == pytest.approx(
            case["slope_v_per_min"], abs=case["slope_tolerance_v_per_min"]
        )
    if case["cls"] == "wobble":
        start, end = case["wobble_s"]
        assert found.excluded_s[-1] == pytest.approx((start, end), abs=60)


@by_name
def test_document_holds_every_key(case: dict[str, Any]) -> None:
    document = json.loads(json.dumps(as_document({"L": _analyse(case)})))
    assert document["schema"] == "backtospec/warm-up/1"
    entry = document["channels"]["L"]
    assert entry["class"] == case["cls"]
    assert entry.keys() >= KEYS
    assert entry["advice"]["reason"].endswith(".")

"""The probability of conformity against the guide's examples, and the verdict it leads to."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backtospec.quantity import Measured, MeterRange, with_tolerance
from backtospec.records import Limit
from backtospec.verdict import Result, Verdict, against, conformity

DATA = Path(__file__).parent / "data"
GUIDE: dict[str, Any] = json.loads((DATA / "conformity_examples.json").read_text(encoding="utf-8"))


def judged(value: Measured, low: float | None, high: float | None) -> Verdict:
    result = Result("key", "Title", value, "V", "read", ())
    return against(result, Limit("key", low, high, "V", "leaflet")).verdict


@pytest.mark.parametrize("example", GUIDE["examples"], ids=lambda example: example["name"])
def test_printed_examples(example: dict[str, Any]) -> None:
    probability = conformity(Measured(example["y"], example["u"]), example["low"], example["high"])
    assert probability == pytest.approx(example["printed"], abs=0.005)
    assert probability == pytest.approx(example["computed"], abs=1e-12)


@pytest.mark.parametrize(("probability", "z"), GUIDE["one_sided_z"].items())
def test_one_sided_table(probability: str, z: float) -> None:
    assert conformity(Measured(-z, 1.0), None, 0.0) == pytest.approx(float(probability), abs=1e-12)
    assert conformity(Measured(z, 1.0), 0.0, None) == pytest.approx(float(probability), abs=1e-12)


def test_speed_guard_band() -> None:
    given = GUIDE["speed_guard_band"]
    relative = given["relative_u"]
    fastest = given["limit"] / (1 - given["z"] * relative)
    assert fastest == pytest.approx(given["computed_limit"], rel=1e-12)
    at_edge = conformity(Measured(fastest, relative * fastest), given["limit"], None)
    assert at_edge == pytest.approx(given["probability"], abs=2e-6)


@pytest.mark.parametrize("u", [1e-6, 0.1, 3.0, 1e4])
def test_a_guard_band_of_twice_u_passes(u: float) -> None:
    edge = GUIDE["edge_when_guard_band_is_2u"]
    assert conformity(Measured(-2 * u, u), None, 0.0) == pytest.approx(edge, abs=1e-12)
    assert judged(Measured(-2 * u, u), None, 0.0) is Verdict.PASS


@pytest.mark.parametrize("u", [1e-6, 0.01, 1.0, 250.0])
@pytest.mark.parametrize("limit", [0.0, 1.0, -3.7, 50.0])
def test_thresholds_lie_at_two_and_a_half_percent(u: float, limit: float) -> None:
    z = GUIDE["one_sided_z"]["0.975"]
    nearer, farther = (z - 1e-4) * u, (z + 1e-4) * u
    assert judged(Measured(limit + farther, u), limit, None) is Verdict.PASS
    assert judged(Measured(limit + nearer, u), limit, None) is Verdict.UNDECIDED
    assert judged(Measured(limit - nearer, u), limit, None) is Verdict.UNDECIDED
    assert judged(Measured(limit - farther, u), limit, None) is Verdict.FAIL
    assert judged(Measured(limit - farther, u), None, limit) is Verdict.PASS
    assert judged(Measured(limit + farther, u), None, limit) is Verdict.FAIL


def test_exactly_two_and_a_half_percent_is_decided_on_both_sides() -> None:
    z = GUIDE["one_sided_z"]["0.975"]
    for low, high, passing in ((0.0, None, z), (None, 0.0, -z)):
        assert judged(Measured(passing, 1.0), low, high) is Verdict.PASS
        assert judged(Measured(-passing, 1.0), low, high) is Verdict.FAIL


def test_false_passes_stay_within_two_and_a_half_percent() -> None:
    """A true value just beyond the limit, measured many times: at most 2.5 % pass."""
    rng = np.random.default_rng(5)
    passes = sum(
        judged(Measured(float(y), 0.4), 50.0, None) is Verdict.PASS
        for y in rng.normal(50.0, 0.4, 20_000)
    )
    assert passes / 20_000 == pytest.approx(0.025, abs=0.004)  # 3.6 standard errors


def test_idle_current_near_its_limit() -> None:
    """9.7 mV over 0.47 Ω 5 % with a ±(0.5 % + 3 digits) meter, allowed 20 to 40 mA: computed."""
    ampere = MeterRange(0.5, 3, 1e-4).measured(9.7e-3) / with_tolerance(0.47, 5.0)
    assert ampere.value == pytest.approx(0.02064, abs=5e-6)
    assert ampere.u == pytest.approx(0.0007336, abs=5e-8)
    assert conformity(ampere, 0.020, 0.040) == pytest.approx(0.8079, abs=5e-5)


def test_conformity_agrees_with_simulation() -> None:
    rng = np.random.default_rng(8)
    drawn = rng.normal(13.6, 1.8, 2_000_000)
    simulated = float(np.mean((drawn >= 12.5) & (drawn <= 16.3)))
    assert conformity(Measured(13.6, 1.8), 12.5, 16.3) == pytest.approx(simulated, abs=1e-3)

"""A result beside the floor: vectors, not differences."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backtospec.analysis.measuring_floor import combine, combine_db, combine_percent
from backtospec.errors import BenchError


@pytest.mark.parametrize("seed", range(20))
def test_the_range_holds_the_amplifier_whatever_the_angles(seed: int) -> None:
    chance = np.random.default_rng(seed)
    own = chance.normal(size=9) + 1j * chance.normal(size=9)
    chain = (chance.normal(size=9) + 1j * chance.normal(size=9)) * 10 ** chance.uniform(-2, 1)
    if seed % 4 == 0:
        chain = -own * float(chance.uniform(0.2, 1.5))
    truth, floor = float(np.linalg.norm(own)), float(np.linalg.norm(chain))
    found = combine(float(np.linalg.norm(own + chain)), floor)
    assert found.low <= truth * (1 + 1e-12)
    assert truth <= found.high * (1 + 1e-12)
    assert found.near_floor == (floor > 0.01 * found.reading)


def test_a_reading_below_the_floor_is_still_only_a_bound() -> None:
    found = combine_percent(0.002, 0.005)
    assert found.at_most == pytest.approx(7e-5)
    assert found.low == pytest.approx(3e-5)
    assert found.text.startswith("≤ 0.007 %")


def test_equal_to_the_floor_is_not_nothing() -> None:
    found = combine(1e-4, 1e-4)
    assert found.low == 0
    assert found.at_most == pytest.approx(2e-4)


def test_far_above_the_floor_the_reading_stands() -> None:
    found = combine_db(-40.0, -81.0)
    assert found.at_most is None
    assert not found.near_floor
    assert "≤" not in found.text
    assert combine_db(-40.0, -79.0).near_floor
    assert combine(0.01, 0.0).at_most is None


@pytest.mark.parametrize(("reading", "floor"), [(-1.0, 0.1), (0.1, math.nan), (math.inf, 0.1)])
def test_what_is_no_ratio_is_refused(reading: float, floor: float) -> None:
    with pytest.raises(BenchError, match="is not a ratio of 0 or more"):
        combine(reading, floor)


def test_both_faults_are_shown_at_once() -> None:
    with pytest.raises(BenchError) as caught:
        combine(-1.0, -2.0)
    assert [fault.where for fault in caught.value.faults] == ["reading", "floor"]

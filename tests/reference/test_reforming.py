"""Re-forming, held against a published log of a 20 µF/450 V part (retronics.no/2023/02/28, part 5).

The log was read off four times; what comes after a cut is foreseen from what stands before it.
"""

from __future__ import annotations

import pytest

from backtospec.analysis import capacitor
from backtospec.analysis.reforming import Course, judge_reforming

LOG = [(20.0, 4.5e-3), (900.0, 1e-3), (3600.0, 120e-6), (10800.0, 50e-6)]


def test_the_log_reaches_its_limit_between_15_min_and_an_hour() -> None:
    found = judge_reforming(LOG, 500e-6)
    assert found.course is Course.REACHED
    assert (found.earliest_s, found.latest_s) == (900.0, 3600.0)


def test_three_hours_are_foreseen_from_the_first_one() -> None:
    found = judge_reforming(LOG[:3], 50e-6)
    assert found.course is Course.SETTLING
    assert found.earliest_s is not None
    assert found.latest_s is not None
    assert found.earliest_s <= 10800.0 <= found.latest_s


@pytest.mark.parametrize(
    ("rows", "course"),
    [
        ([(60, 2e-3), (600, 4e-3)], Course.RISING),
        ([(60, 2e-3), (600, 2e-3), (7200, 2e-3)], Course.STALLED),
        ([(60, 2e-3), (600, 1.9e-3), (7200, 1.85e-3)], Course.TOO_SLOW),
        ([(60, 2e-3)], Course.UNKNOWN),
        ([(60, 2e-3), (600, 0.0)], Course.REACHED),
        ([(0, 2e-3), (600, 1e-3)], Course.UNKNOWN),
    ],
)
def test_every_course_is_told(rows: list[tuple[float, float]], course: Course) -> None:
    assert judge_reforming(rows, 100e-6).course is course


def test_new_part_limits() -> None:
    """0.01·C·V up to 100 V; 0.02·C·V + 25 µA above, with C·V over 1000 µC (a data sheet)."""
    assert capacitor.new_part_leakage(10000e-6, 63) == pytest.approx(6.3e-3)
    assert capacitor.new_part_leakage(20e-6, 450) == pytest.approx(205e-6)

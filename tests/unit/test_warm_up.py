"""Warm-up of one channel: interruptions, slips, short logs, limits, words and errors."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.warm_up import Pause, analyse_warm_up
from backtospec.errors import BenchError

Array = NDArray[np.float64]
STEP_V = 1e-4


def _shown(true_v: Array, seed: int = 1) -> Array:
    noise = np.random.default_rng(seed).normal(0, 0.06e-3, true_v.size)
    return np.asarray(np.round((true_v + noise) / STEP_V) * STEP_V)


def _heat(time_s: Array, end_v: float = 12e-3, tau_s: float = 280.0, part: float = 0.35) -> Array:
    return np.asarray(end_v * (1 - part * np.exp(-time_s / tau_s)))


def _interrupted(off_rows: bool) -> tuple[Array, Array]:
    """Return 15 min of warming, 3 min with the power off, and 50 min of warming again."""
    before = np.arange(0.0, 900.0, 15.0)
    off = np.arange(900.0, 1080.0, 15.0)
    after = np.arange(1080.0, 4080.0, 15.0)
    cooled = 1 - (1 - float(np.exp(-900 / 280))) * float(np.exp(-180 / 280))
    values = [_heat(before), np.zeros(off.size), _heat(after - 1080, part=0.35 * cooled)]
    times = [before, off, after]
    if not off_rows:
        del values[1], times[1]
    shown = _shown(np.concatenate(values))
    shown[np.concatenate(values) == 0] = 0.0
    return np.concatenate(times), shown


@pytest.mark.parametrize("off_rows", [False, True])
@pytest.mark.parametrize("told", [False, True])
def test_power_off_to_move_leads_is_two_clocks_not_a_fault(off_rows: bool, told: bool) -> None:
    time_s, value = _interrupted(off_rows)
    pauses = [Pause(890.0, 1079.0)] if told else []
    found = analyse_warm_up(time_s, value, step_v=STEP_V, pauses=pauses)
    assert found.course == "settled"
    assert found.trusted
    assert not found.alarm
    assert len(found.pauses) == 1
    assert found.settled_v == pytest.approx(12e-3, abs=0.1e-3)


def test_the_clock_starts_anew_after_an_interruption() -> None:
    time_s, value = _interrupted(False)
    soon = time_s < 1080 + 240
    found = analyse_warm_up(time_s[soon], value[soon], step_v=STEP_V)
    assert not found.trusted


def test_a_gap_of_the_logger_alone_is_no_interruption() -> None:
    time_s = np.concatenate([np.arange(0, 300, 15.0), np.arange(600, 2700, 15.0)])
    found = analyse_warm_up(time_s, _shown(_heat(time_s)), step_v=STEP_V)
    assert found.pauses == ()
    assert found.course == "settled"


def test_recovery_from_a_soak_falls_to_its_end() -> None:
    time_s = np.arange(0, 2700, 15.0)
    found = analyse_warm_up(time_s, _shown(_heat(time_s, 11e-3, 350, -0.3)), step_v=STEP_V)
    assert (found.course, found.trusted) == ("settled", True)
    assert found.settled_v == pytest.approx(11e-3, abs=0.1e-3)


def test_driven_hard_in_a_gap_then_back_from_above() -> None:
    cold, hot = np.arange(0, 1200, 15.0), np.arange(1800, 4000, 15.0)
    value = np.concatenate([_heat(cold, 11e-3), _heat(np.asarray(hot - 1800.0), 11e-3, 350, -0.27)])
    found = analyse_warm_up(np.concatenate([cold, hot]), _shown(value), step_v=STEP_V)
    assert found.course == "settled"
    assert [pause.on_s for pause in found.pauses] == [1800.0]


@pytest.mark.parametrize("end_v", [3e-3, 0.2e-3, -5e-3])
def test_an_offset_may_end_near_zero_or_below(end_v: float) -> None:
    time_s = np.arange(0, 3600, 15.0)
    found = analyse_warm_up(time_s, _shown(end_v + 30e-3 * np.exp(-time_s / 300)), step_v=STEP_V)
    assert (found.course, found.trusted, found.alarm) == ("settled", True, False)
    assert found.settled_v == pytest.approx(end_v, abs=0.15e-3)


def test_a_single_slip_of_the_probe_is_left_out() -> None:
    time_s = np.arange(0, 3600, 15.0)
    value = _shown(_heat(time_s))
    value[60] = 20e-3
    found = analyse_warm_up(time_s, value, step_v=STEP_V)
    assert (found.course, found.jumps_s, found.alarm) == ("settled", (), False)


def test_a_draught_that_has_passed_is_left_out() -> None:
    time_s = np.arange(0, 5400, 15.0)
    value = _heat(time_s)
    windy = (time_s > 1200) & (time_s < 1700)
    value[windy] -= 0.5e-3 * (1 + np.sin(2 * np.pi * time_s[windy] / 73))
    found = analyse_warm_up(time_s, _shown(value), step_v=STEP_V)
    assert found.course == "settled"
    assert found.excluded_s[0] == pytest.approx((1200, 1700), abs=60)
    assert found.settled_low_v is not None
    assert found.settled_high_v is not None
    assert found.settled_low_v <= 12e-3 <= found.settled_high_v


def test_overload_rows_are_left_out() -> None:
    time_s = np.arange(0, 3600, 15.0)
    value: list[float | None] = _shown(_heat(time_s)).tolist()
    value[0] = value[40] = None
    found = analyse_warm_up(time_s, value, step_v=STEP_V)
    assert found.course == "settled"


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_too_few_readings_give_no_end_value(count: int) -> None:
    time_s = np.arange(0, 120.0 * count, 120.0)
    found = analyse_warm_up(time_s, _shown(_heat(time_s)), step_v=STEP_V)
    assert (found.course, found.trusted, found.settled_v) == ("settling", False, None)
    assert found.advice == "WAIT"
    assert "Too few" in found.reason


def test_hand_typed_jump_and_runaway() -> None:
    times = [0, 60, 120, 240, 360, 480, 600, 720, 900]
    jump = [6.0, 7.5, 8.5, 9.5, 13.2, 13.4, 13.5, 13.6, 13.6]
    found = analyse_warm_up(times, np.array(jump) / 1000, step_v=STEP_V)
    assert (found.course, found.jumps_s, found.advice) == ("jumping", (360.0,), "REPLACE")
    rise = [10.0, 10.2, 10.5, 11.0, 11.7, 12.8, 14.4, 16.7, 20.1]
    found = analyse_warm_up(np.arange(9) * 60, np.array(rise) / 1000, step_v=STEP_V)
    assert (found.course, found.alarm, found.advice) == ("runaway", True, "STOP")


def test_five_readings_far_above_the_target_and_rising_faster_are_an_alarm() -> None:
    value = np.array([10.0, 10.4, 11.0, 11.9, 19.3]) / 1000
    found = analyse_warm_up(np.arange(5) * 60, value, step_v=STEP_V, target_v=10e-3)
    assert (found.alarm, found.advice) == (True, "STOP")
    quiet = analyse_warm_up(np.arange(5) * 60, value, step_v=STEP_V, target_v=20e-3)
    assert not quiet.alarm


@pytest.mark.parametrize(
    ("target_mv", "advice"), [(12.0, "LEAVE"), (12.4, "LEAVE"), (14.0, "ADJUST"), (None, "LEAVE")]
)
def test_near_enough_is_left_alone(target_mv: float | None, advice: str) -> None:
    time_s = np.arange(0, 3600, 15.0)
    target = None if target_mv is None else target_mv / 1000
    found = analyse_warm_up(
        time_s, _shown(_heat(time_s)), step_v=STEP_V, target_v=target, tolerance_v=0.5e-3
    )
    assert found.advice == advice


def test_predicted_course_has_a_band_that_widens() -> None:
    time_s = np.arange(0, 900, 15.0)
    found = analyse_warm_up(time_s, _shown(_heat(time_s)), step_v=STEP_V)
    course = found.predict(np.array([0.0, 600.0, 3600.0]))
    assert course is not None
    middle, low, high = course
    assert np.all(low <= middle)
    assert np.all(middle <= high)
    assert high[2] - low[2] > 3 * (high[1] - low[1])
    assert middle[1] == pytest.approx(_heat(np.array([600.0]))[0], abs=0.1e-3)


def test_minutes_before_the_log_count_for_trust() -> None:
    time_s = np.arange(0, 1500, 15.0)
    value = _shown(_heat(np.asarray(time_s + 3000.0)))
    fresh = analyse_warm_up(time_s, value, step_v=STEP_V)
    known = analyse_warm_up(time_s, value, step_v=STEP_V, minutes_since_on=50)
    assert known.trusted or not fresh.trusted
    assert known.settled_v == fresh.settled_v


@pytest.mark.parametrize(
    ("time_s", "value_v", "quoted"),
    [
        ([0.0, 60.0], [0.01], "2 times and 1 values"),
        ([0.0, 60.0, 30.0], [0.01, 0.011, 0.012], "backwards after 60 s"),
        ([0.0, 60.0], [None, None], "no reading"),
        ([], [], "no reading"),
    ],
)
def test_unusable_series_say_what_where_and_how(
    time_s: list[float], value_v: list[float | None], quoted: str
) -> None:
    with pytest.raises(BenchError) as caught:
        analyse_warm_up(time_s, value_v)
    (fault,) = caught.value.faults
    assert quoted in fault.what
    assert fault.where == "warm-up series"
    assert fault.fix

"""Guided adjustment: set it now so that it lands on the target when hot."""

from __future__ import annotations

import numpy as np
import pytest

from backtospec.analysis.adjustment import Setting, Turn, choose_next, guide_adjustment
from backtospec.analysis.warm_up import WarmUp, analyse_warm_up
from backtospec.errors import BenchError


def _log(end_v: float = 12e-3, minutes: float = 12.0, cold: float = 0.35) -> WarmUp:
    time_s = np.arange(0, 60 * minutes, 15.0)
    true = end_v * (1 - cold * np.exp(-time_s / 280))
    shown = true + np.random.default_rng(5).normal(0, 0.05e-3, time_s.size)
    return analyse_warm_up(time_s, np.round(shown, 4), step_v=1e-4)


def _guide(log: WarmUp, reading_v: float, time_s: float = 700.0, **more: object) -> Setting:
    options: dict[str, object] = {
        "target_v": 10e-3,
        "tolerance_v": 0.5e-3,
        "original_position": "half past one",
        **more,
    }
    return guide_adjustment(log, time_s=time_s, reading_v=reading_v, **options)  # type: ignore[arg-type]


def test_the_right_value_now_is_not_the_right_value_hot() -> None:
    share = 1 - 0.35 * np.exp(-700 / 280)
    step = _guide(_log(), 12e-3 * share)
    assert step.kind == "ADJUST"
    assert step.set_now_v == pytest.approx(10e-3 * share, abs=0.25e-3)
    assert step.set_now_v is not None
    assert step.set_now_v < 9.95e-3
    assert step.lands_at_v == pytest.approx(12e-3, abs=0.3e-3)
    assert step.lands_low_v is not None
    assert step.lands_high_v is not None
    assert step.lands_low_v <= 12e-3 <= step.lands_high_v
    assert step.last_step


def test_setting_what_was_advised_ends_the_adjustment() -> None:
    log = _log()
    step = _guide(log, 11.6e-3)
    assert step.set_now_v is not None
    assert _guide(log, step.set_now_v).kind == "LEAVE"


def test_no_guard_band_near_enough_is_done() -> None:
    log = _log()
    lands = _guide(log, 9e-3).lands_at_v
    assert lands is not None
    reading = 9e-3 * (10.49e-3 / lands)
    assert _guide(log, reading).kind == "LEAVE"
    assert _guide(log, reading, tolerance_v=0.4e-3).kind == "ADJUST"


def test_far_away_takes_one_small_step_at_a_time() -> None:
    log, reading, turns = _log(end_v=25e-3), 24e-3, 0
    while True:
        step = _guide(log, reading)
        if step.kind == "LEAVE":
            break
        assert step.set_now_v is not None
        assert abs(step.set_now_v - reading) <= 2.5e-3 * 1.001
        reading, turns = step.set_now_v, turns + 1
    assert 4 <= turns <= 8


def test_an_offset_shifts_and_does_not_scale() -> None:
    time_s = np.arange(0, 720, 15.0)
    value = 20e-3 + 15e-3 * np.exp(-time_s / 250)
    log = analyse_warm_up(time_s, np.round(value, 4), step_v=1e-4)
    now = 20e-3 + 15e-3 * float(np.exp(-700 / 250))
    step = _guide(log, now, target_v=0.0, tolerance_v=2e-3, quantity="offset")
    assert step.kind == "ADJUST"
    assert step.lands_at_v == pytest.approx(20e-3, abs=0.5e-3)


def test_a_trimmer_that_jumps_stops_the_adjustment() -> None:
    log = _log()
    smooth = Turn(11.6e-3, 10.5e-3, 10.3e-3)
    overshot = Turn(11.6e-3, 11.0e-3, 7.0e-3)
    backwards = Turn(11.6e-3, 10.6e-3, 14.0e-3)
    assert _guide(log, 10.3e-3, turn=smooth).kind in ("LEAVE", "ADJUST")
    assert _guide(log, 7.0e-3, turn=overshot).kind == "REPLACE"
    assert _guide(log, 14.0e-3, turn=backwards).kind == "REPLACE"


def test_nothing_is_turned_on_a_course_without_an_end() -> None:
    time_s = np.arange(0, 900, 15.0)
    rise = analyse_warm_up(time_s, np.round(0.01 + 1e-3 * np.exp(time_s / 270), 4), step_v=1e-4)
    assert _guide(rise, 30e-3).kind == "STOP"
    few = analyse_warm_up(time_s[:4], np.round(0.01 + 0 * time_s[:4], 4), step_v=1e-4)
    assert _guide(few, 10e-3).kind == "WAIT"


def test_idle_then_offset_then_idle_again() -> None:
    done, turn = Setting("LEAVE", ""), Setting("ADJUST", "")
    assert choose_next(turn, turn, None) == "idle"
    assert choose_next(done, turn, "idle") == "offset"
    assert choose_next(done, done, "offset") == "idle"
    assert choose_next(done, done, "idle") == "done"
    assert choose_next(done, None, "idle") == "done"


def test_the_original_position_must_be_noted_first() -> None:
    with pytest.raises(BenchError) as caught:
        _guide(_log(), 11e-3, original_position="  ")
    (fault,) = caught.value.faults
    assert fault.where == "original position"
    assert "before the first turn" in fault.fix

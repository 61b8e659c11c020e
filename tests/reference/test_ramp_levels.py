"""A turned volume against closed forms: plateaus, tracking, power at a stated THD."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.document import as_document
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.ramp import RampAnalysis, analyse_ramp
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import (
    as_recorded,
    bent_cosine_harmonics,
    clipped_cosine_harmonics,
    clipped_wave,
    level_plan_db,
    phase_cycles,
    white_noise,
)

Array = NDArray[np.float64]
UP_DB = (-40.0, -30.0, -20.0, -12.0, -8.0, -6.0, -4.0, -3.0, -2.0)


def analyse(samples: Array, rate_hz: int, nominal_hz: float, **more: float) -> RampAnalysis:
    setup = CaptureSetup(
        full_scale_volts=(40.0,),
        load_ohm=(8.0,),
        nominal_hz=nominal_hz,
        rated_thd_percent=more.get("rated"),
    )
    return analyse_ramp(samples, FileFacts(len(samples), rate_hz, 24), setup)


def hard_clipped_ramp(
    rate_hz: int, hz: float, levels_db: tuple[float, ...], upper: float, lower: float
) -> tuple[Array, int]:
    plan = level_plan_db(levels_db, 0.6, 0.3, rate_hz)
    most = min(int(0.499 * rate_hz / hz), 60)
    wave = clipped_wave(
        phase_cycles(len(plan), rate_hz, hz, 0.13), 10 ** (plan / 20), upper, lower, most
    )
    return np.stack([wave, 0.9 * wave], axis=1) + white_noise((len(wave), 2), 3e-6, 1), most


def level_at_thd(upper: float, lower: float, thd: float, most: int) -> float:
    """Level of the fundamental in dB at which a clipped cosine has a THD, by bisection."""
    low, high = max(upper, lower) * 0.5, 4 * max(upper, lower)
    for _ in range(80):
        drive = (low + high) / 2
        _, lines = clipped_cosine_harmonics(upper / drive, lower / drive, range(1, most + 1))
        found = math.sqrt(float(np.sum(lines[1:] ** 2))) / float(lines[0])
        low, high = (low, drive) if found > thd else (drive, high)
    return 20 * math.log10(float(lines[0]) * drive)


@pytest.mark.parametrize(
    ("rate_hz", "hz", "levels_db", "upper", "lower", "side"),
    [
        (48_000, 1000.06, UP_DB, 0.55, 0.55, "symmetric"),
        (48_000, 1000.06, UP_DB[::-1], 0.55, 0.55, "symmetric"),
        (96_000, 996.7, UP_DB, 0.55, 0.65, "positive"),
        (44_100, 1000.5, UP_DB, 0.65, 0.55, "negative"),
    ],
)
def test_power_at_one_percent_inside_a_turn(
    rate_hz: int, hz: float, levels_db: tuple[float, ...], upper: float, lower: float, side: str
) -> None:
    samples, most = hard_clipped_ramp(rate_hz, hz, levels_db, upper, lower)
    found = analyse(samples, rate_hz, round(hz))
    assert len(found.steps) == len(levels_db)
    for count, (step, level_db) in enumerate(zip(found.steps, levels_db, strict=True)):
        assert step.start_s == pytest.approx(count * 0.9, abs=0.06)
        assert step.end_s == pytest.approx(count * 0.9 + 0.6, abs=0.06)
        drive = 10 ** (level_db / 20)
        _, lines = clipped_cosine_harmonics(upper / drive, lower / drive, range(1, most + 1))
        level = 20 * math.log10(float(lines[0]) * drive)
        assert step.channels["L"].level_dbfs_peak == pytest.approx(level, abs=1e-3)
        assert step.tracking_db_r_minus_l == pytest.approx(20 * math.log10(0.9), abs=1e-3)
    wanted = level_at_thd(upper, lower, 0.01, most)
    at_one = found.power_at_thd["1"]
    for name, share in (("L", 1.0), ("R", 0.9)):
        level_db = wanted + 20 * math.log10(share)
        assert at_one[name].level_dbfs_peak == pytest.approx(level_db, abs=0.003)
        assert at_one[name].power_w == pytest.approx(10 ** (level_db / 10) * 100, rel=1e-3)
    assert found.channels["L"].first_clipping == side
    codes = {note.code for note in found.notes}
    assert codes == {"amplifier-clipping"} | ({"asymmetric"} if upper != lower else set())


def test_a_bent_curve_reaches_one_percent_inside_a_turn_of_one_channel() -> None:
    rate_hz, hz = 48_000, 1000.058
    bends = ((0.0, 1.0, 4e-4, -0.16, 0.0, 0.02), (0.0, 1.0, 1e-4, -0.05))
    levels_db = (-36.0, -25.0, -17.5, -12.0, -8.5, -6.2, -4.6)
    plan = level_plan_db(levels_db, 1.1, 0.5, rate_hz)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), rate_hz, hz, 0.4))
    bent = [np.polynomial.polynomial.polyval(wave, bend) for bend in bends]
    samples = np.stack(bent, axis=1) + white_noise((len(wave), 2), 3e-6, 11)
    found = analyse(samples, rate_hz, 1000.0)
    assert len(found.steps) == len(levels_db)
    low, high = 0.05, 1.0
    for _ in range(60):
        drive = (low + high) / 2
        lines = bent_cosine_harmonics(bends[0], drive)
        thd = math.sqrt(float(np.sum(lines[2:] ** 2))) / float(lines[1])
        low, high = (low, drive) if thd > 0.01 else (drive, high)
    wanted = 20 * math.log10(float(lines[1]))
    left, right = found.power_at_thd["1"]["L"], found.power_at_thd["1"]["R"]
    assert left.level_dbfs_peak == pytest.approx(wanted, abs=0.004)
    assert left.power_w == pytest.approx(10 ** (wanted / 10) * 100, rel=1e-3)
    assert not right.reached
    assert right.power_w is None
    top = bent_cosine_harmonics(bends[1], 10 ** (levels_db[-1] / 20))[1]
    assert right.at_least_w == pytest.approx(top**2 * 100, rel=1e-4)
    for step, level_db in zip(found.steps[2:], levels_db[2:], strict=True):
        lines = bent_cosine_harmonics(bends[0], 10 ** (level_db / 20))
        thd_db = 10 * math.log10(float(np.sum(lines[2:] ** 2) / lines[1] ** 2))
        distortion = step.channels["L"].distortion
        assert distortion is not None
        assert distortion.thd_db == pytest.approx(thd_db, abs=0.06)
    json.dumps(as_document(found), allow_nan=False)


def test_sixty_one_levels_over_sixty_decibels_are_all_found_and_none_more() -> None:
    levels_db = tuple(np.linspace(-65, -5, 61))
    plan = level_plan_db(levels_db, 0.5, 0.15, 48_000)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), 48_000, 997.01))
    samples = np.stack([wave, 0.97 * wave], axis=1) + white_noise((len(wave), 2), 3e-6, 3)
    found = analyse(samples, 48_000, 997.0)
    assert len(found.steps) == 61
    for step, level_db in zip(found.steps, levels_db, strict=True):
        assert step.channels["L"].level_dbfs_peak == pytest.approx(level_db, abs=1e-3)
        assert step.tracking_db_r_minus_l == pytest.approx(20 * math.log10(0.97), abs=1e-3)


@pytest.mark.parametrize(("rate_hz", "hz", "seed"), [(44_100, 997.2, 1), (96_000, 1000.05, 2)])
def test_levels_in_any_order_are_all_found_and_none_more(
    rate_hz: int, hz: float, seed: int
) -> None:
    random = np.random.default_rng(seed)
    levels_db = tuple(random.permutation(np.linspace(-65, -5, 25)))
    pause_s, turn_s = 0.4, 0.2
    plan = level_plan_db(levels_db, pause_s, turn_s, rate_hz)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), rate_hz, hz))
    bent = wave + 1e-3 * wave**2 - 2e-3 * wave**3
    pair = np.stack([bent, 1.02 * bent], axis=1) + white_noise((len(wave), 2), 2e-6, seed)
    found = analyse(as_recorded(pair, 24), rate_hz, 1000.0)
    assert len(found.steps) == len(levels_db)
    for count, (step, level_db) in enumerate(zip(found.steps, levels_db, strict=True)):
        drive = 10 ** (level_db / 20)
        level = 20 * math.log10(drive - 2e-3 * 0.75 * drive**3)
        assert step.start_s == pytest.approx(count * (pause_s + turn_s), abs=0.06)
        assert step.channels["L"].level_dbfs_peak == pytest.approx(level, abs=1e-3)
        assert step.tracking_db_r_minus_l == pytest.approx(20 * math.log10(1.02), abs=1e-3)


@pytest.mark.parametrize("db_per_s", [1.0, 4.0, 40.0])
def test_a_level_that_never_rests_has_no_plateau(db_per_s: float) -> None:
    rate_hz, length_s = 48_000, 8.0
    time_s = np.arange(int(length_s * rate_hz)) / rate_hz
    # Up and down, so that it turns round in places without resting.
    swing = np.abs((db_per_s * time_s + 15) % 60 - 30)
    wave = 10 ** ((swing - 35) / 20) * np.cos(2 * np.pi * 997.01 * time_s)
    found = analyse(wave[:, None] + white_noise((len(wave), 1), 3e-6, 8), rate_hz, 997.0)
    assert found.steps == ()
    assert len(found.channels["M"].curve) > 100


def test_a_long_rest_tells_its_noise_from_some_of_its_frames() -> None:
    rate_hz, rms = 48_000, 2e-4
    plan = level_plan_db((-30.0, -12.0, -20.0), 15.0, 0.5, rate_hz)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), rate_hz, 997.01))
    found = analyse(wave[:, None] + white_noise((len(wave), 1), rms, 9), rate_hz, 997.0)
    for step in found.steps:
        tone = step.channels["M"]
        assert tone.distortion is not None
        assert tone.fundamental_vrms is not None
        in_band = 40 * rms * math.sqrt(20_000 / (rate_hz / 2))
        wanted_db = 20 * math.log10(in_band / tone.fundamental_vrms)
        assert tone.distortion.thdn_db["20-20000"] == pytest.approx(wanted_db, abs=0.15)
        assert found.step_at(step.start_s + 1) is step
    assert found.step_at(15.25) is None


def test_a_turn_into_hard_clipping_is_no_plateau() -> None:
    plan = level_plan_db((-20.0, -10.0, 0.0), 1.0, 4.0, 48_000)
    wave = clipped_wave(phase_cycles(len(plan), 48_000, 1000.0), 10 ** (plan / 20), 0.3, 0.3, 23)
    found = analyse((wave + white_noise(len(wave), 3e-6, 4))[:, None], 48_000, 1000.0)
    assert [round(step.start_s) for step in found.steps] == [0, 5, 10]


def test_an_overloaded_recorder_refuses_the_channel_of_a_ramp() -> None:
    plan = level_plan_db((-20.0, -10.0, 1.0), 0.6, 0.3, 48_000)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), 48_000, 997.0))
    pair = as_recorded(
        np.stack([0.5 * wave, wave], axis=1) + white_noise((len(wave), 2), 3e-6, 5), 24
    )
    found = analyse(pair, 48_000, 997.0)
    assert (found.channels["R"].valid, found.channels["R"].reason) == (False, "adc-overload")
    assert "R" not in found.power_at_thd["1"]
    assert all(set(step.channels) == {"L"} for step in found.steps)
    assert len(found.steps) == 3

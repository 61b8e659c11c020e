"""What a recorded ramp says about itself: gaps, lost samples, thump, DC, dither, hum."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.ramp import RampAnalysis, analyse_ramp
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import (
    as_recorded,
    harmonic_wave,
    level_plan_db,
    phase_cycles,
    white_noise,
)

Array = NDArray[np.float64]
RATE_HZ = 48_000
LEVELS_DB = (-40.0, -25.0, -12.0, -6.0, -20.0)


def turned(hz: float = 997.03, seed: int = 1) -> Array:
    plan = level_plan_db(LEVELS_DB, 1.0, 0.4, RATE_HZ)
    cycles = phase_cycles(len(plan), RATE_HZ, hz, 0.2)
    wave = 10 ** (plan / 20) * harmonic_wave(cycles, {1: 1.0, 2: 3e-4, 3: 1e-4j})
    return np.stack([wave, 0.9 * wave], axis=1) + white_noise((len(wave), 2), 3e-6, seed)


def analyse(samples: Array) -> RampAnalysis:
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)
    return analyse_ramp(samples, FileFacts(len(samples), RATE_HZ, 24), setup)


def codes(found: RampAnalysis) -> set[tuple[str, str | None]]:
    return {(note.code, note.channel) for note in found.notes}


@pytest.mark.parametrize("hz", [997.03, 1000.0, 996.6])
def test_a_clean_ramp_says_nothing(hz: float) -> None:
    found = analyse(turned(hz))
    assert found.notes == ()
    assert len(found.steps) == len(LEVELS_DB)


@pytest.mark.parametrize(("first", "length"), [(30_000, 1128), (90_000, 120), (100_000, 4000)])
def test_a_gap_of_zeros_is_found_and_parts_no_plateau(first: int, length: int) -> None:
    samples = turned()
    samples[first : first + length] = 0.0
    found = analyse(samples)
    (note,) = found.notes
    assert note.code == "dropout"
    assert note.at_s == pytest.approx(first / RATE_HZ, abs=1e-3)
    assert f"{length / RATE_HZ * 1e3:.1f} ms" in note.text
    assert len(found.steps) == len(LEVELS_DB)
    for step, level_db in zip(found.steps, LEVELS_DB, strict=True):
        assert step.channels["L"].level_dbfs_peak == pytest.approx(level_db, abs=0.002)
        start, end = step.clean
        assert step.start_s * RATE_HZ < start < end < step.end_s * RATE_HZ
        assert not start < first < end


@pytest.mark.parametrize(
    ("at", "lost"), [(20_000, 947), (87_312, 13), (90_112, 100), (152_000, 1000), (220_001, 5)]
)
def test_lost_samples_are_found(at: int, lost: int) -> None:
    found = analyse(np.delete(turned(), slice(at, at + lost), axis=0))
    (note,) = found.notes
    assert note.code == "lost-samples"
    assert note.at_s == pytest.approx(at / RATE_HZ, abs=1e-3)
    jump = (360 * lost * 997.03 / RATE_HZ + 180) % 360 - 180
    assert note.phase_jump_deg == pytest.approx(jump, abs=0.5)
    assert len(found.steps) == len(LEVELS_DB)


def test_a_thump_at_the_start_is_said() -> None:
    samples = turned()
    samples[:, 0] += 0.02 * np.exp(-np.arange(len(samples)) / (0.02 * RATE_HZ))
    found = analyse(samples)
    assert codes(found) == {("thump", None)}
    assert found.steps[0].channels["L"].level_dbfs_peak == pytest.approx(-40, abs=0.002)


def test_a_steady_voltage_is_said() -> None:
    samples = turned()
    samples[:, 1] += 4e-3
    found = analyse(samples)
    assert codes(found) == {("dc", "R")}
    assert found.channels["R"].dc_v == pytest.approx(0.16, abs=1e-4)


def test_sixteen_bits_with_and_without_dither() -> None:
    clean = turned()
    assert codes(analyse(as_recorded(clean, 16))) >= {("undithered", "L"), ("undithered", "R")}
    dithered = codes(analyse(as_recorded(clean, 16, 5)))
    assert ("undithered", "L") not in dithered


@pytest.mark.parametrize("mains_hz", [49.97, 60.02])
def test_hum_on_every_plateau(mains_hz: float) -> None:
    samples = turned()
    time_s = np.arange(len(samples)) / RATE_HZ
    for order, amplitude in ((1, 1e-3), (2, 3e-3)):
        samples[:, 1] += amplitude * np.cos(2 * np.pi * order * mains_hz * time_s + order)
    found = analyse(samples)
    assert codes(found) == {("hum", "R")}
    nominal = round(mains_hz / 10) * 10
    for step, level_db in zip(found.steps, LEVELS_DB, strict=True):
        distortion = step.channels["R"].distortion
        assert distortion is not None
        level = level_db + 20 * math.log10(0.9)
        for order, amplitude in ((1, 1e-3), (2, 3e-3)):
            wanted = 20 * math.log10(amplitude) - level
            assert distortion.hum_db[str(order * nominal)] == pytest.approx(wanted, abs=0.05)
        left = step.channels["L"].distortion
        assert left is not None
        assert not left.hum_db

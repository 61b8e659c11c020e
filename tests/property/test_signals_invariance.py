"""Captures: the same result however a recording is cut; scale, polarity and phase do not matter."""

from __future__ import annotations

import math
from functools import reduce
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.analysis import ramp
from backtospec.analysis.document import as_document
from backtospec.analysis.line_fit import Family, fit_lines
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import analyse_tone
from backtospec.analysis.waveforms import (
    clipped_wave,
    harmonic_wave,
    level_plan_db,
    phase_cycles,
    white_noise,
)
from backtospec.bench import captures

RATE_HZ = 48_000
SETUP = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)


def turned_volume() -> np.ndarray:
    plan = level_plan_db((-30.0, -12.0, -6.0, -3.0), 3.0, 1.0, RATE_HZ)
    cycles = phase_cycles(len(plan), RATE_HZ, 997.03)
    wave = clipped_wave(cycles, 10 ** (plan / 20), 0.55, 0.6, 23)
    return np.stack([wave, 0.9 * wave], axis=1) + white_noise((len(wave), 2), 3e-6, 1)


def test_blocks_and_parts_of_any_size_give_the_same_ramp() -> None:
    samples = turned_volume()
    file = FileFacts(len(samples), RATE_HZ, 24)
    whole = as_document(ramp.analyse_ramp(samples, file, SETUP))
    excerpts = ramp.excerpts(samples, RATE_HZ)
    grid = ramp.grid_for(RATE_HZ, ramp.find_frequency(excerpts, RATE_HZ, 997.0), SETUP)
    for length in (997, 16_384, 70_001):
        state = ramp.start(grid, 2)
        for at in range(0, len(samples), length):
            state = ramp.feed(state, samples[at : at + length])
        assert as_document(ramp.finish(state, file, SETUP)) == whole
    edges = [*range(0, len(samples), grid.batch), len(samples)]
    parts = [ramp.feed(ramp.start(grid, 2, a), samples[a:b]) for a, b in pairwise(edges)]
    assert as_document(ramp.finish(reduce(ramp.merge, parts), file, SETUP)) == whole


def test_parts_that_are_not_neighbours_are_a_bug() -> None:
    grid = ramp.grid_for(RATE_HZ, 997.0, SETUP)
    with pytest.raises(ValueError, match="neighbours"):
        ramp.merge(ramp.start(grid, 2), ramp.start(grid, 2, grid.batch))


def test_two_processes_give_the_same_ramp_as_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(captures, "_WORTH_A_PROCESS", 1000)
    path = tmp_path / "turned.flac"
    soundfile.write(path, turned_volume(), RATE_HZ, subtype="PCM_24")
    one, two = (captures.analyse_ramp_file(path, SETUP, processes=n) for n in (1, 2))
    assert as_document(one) == as_document(two)


@pytest.mark.parametrize("start_cycles", [0.0, 0.3, 0.77])
@pytest.mark.parametrize("clock_ppm", [-500.0, 0.0, 500.0])
def test_phase_and_clock_do_not_matter(start_cycles: float, clock_ppm: float) -> None:
    cycles = phase_cycles(RATE_HZ, RATE_HZ, 997.0 * (1 + clock_ppm * 1e-6), start_cycles)
    samples = 0.5 * harmonic_wave(cycles, {1: 1.0, 2: 1e-3}) + white_noise(RATE_HZ, 3e-6, 2)
    found = analyse_tone(samples[:, None], FileFacts(RATE_HZ, RATE_HZ, 24), SETUP)
    assert found.clock_ppm == pytest.approx(clock_ppm, abs=1e-3)
    channel = found.channels["M"]
    assert channel.level_dbfs_peak == pytest.approx(20 * math.log10(0.5), abs=3e-5)
    assert channel.distortion is not None
    assert channel.distortion.thd_db == pytest.approx(-60, abs=0.005)
    assert found.notes == ()


def test_spread_of_the_fit_meets_the_bound() -> None:
    """Standard deviation over the Cramér-Rao bound (Rife and Boorstyn 1974; from memory)."""
    count, hz, amplitude, noise, runs = 2048, 1000.37, 0.5, 1e-3, 300
    clean = amplitude * harmonic_wave(phase_cycles(count, RATE_HZ, hz, 0.2), {1: 1.0})
    positions = np.arange(count, dtype=float)
    found = []
    for seed in range(runs):
        samples = (clean + white_noise(count, noise, seed))[:, None]
        fit = fit_lines(samples, positions, RATE_HZ, (Family(hz + 1.0, tuple(range(1, 11))),))
        line = fit.amplitudes[0][0, 0]
        found.append((fit.families[0].hz, abs(line), float(np.angle(line)), fit.frequency_u[0]))
    spread = np.std(np.array(found), axis=0)
    hz_bound = math.sqrt(24 * noise**2 / (amplitude**2 * count**3)) * RATE_HZ / (2 * math.pi)
    line_bound = math.sqrt(2 * noise**2 / count)
    # 300 runs scatter the ratio itself by 4 %.
    assert spread[0] / hz_bound < 1.10
    assert spread[1] / line_bound < 1.10
    assert spread[2] / (line_bound / amplitude) < 1.10
    assert np.mean([u for *_, u in found]) == pytest.approx(hz_bound, rel=0.05)


@pytest.mark.parametrize(
    ("hz", "rate_hz", "seconds"),
    [
        (997.0, 44_100, 0.02),
        (997.0, 96_000, 0.5),
        (1000.37, 192_000, 0.2),
        (20.03, 48_000, 0.11),
        (20.03, 44_100, 1.0),
    ],
)
def test_floor_of_distortion_without_noise(hz: float, rate_hz: int, seconds: float) -> None:
    cycles = phase_cycles(round(seconds * rate_hz), rate_hz, hz, 0.123)
    samples = (0.9 * harmonic_wave(cycles, {1: 1.0}))[:, None]
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=hz)
    found = analyse_tone(samples, FileFacts(len(samples), rate_hz, 53), setup)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    floor = distortion.thd_db if distortion.thd_db is not None else distortion.thd_db_at_most
    assert floor is not None
    assert floor < -290


def test_a_harmonic_at_minus_two_hundred_decibels() -> None:
    cycles = phase_cycles(RATE_HZ, RATE_HZ, 997.0, 0.1)
    samples = (0.9 * harmonic_wave(cycles, {1: 1.0, 3: 1e-10}))[:, None]
    found = analyse_tone(samples, FileFacts(RATE_HZ, RATE_HZ, 53), SETUP)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    assert distortion.harmonics_db["3"] == pytest.approx(-200, abs=1e-4)


def test_floor_of_distortion_while_the_level_moves() -> None:
    time_s = np.arange(RATE_HZ) / RATE_HZ
    cycles = phase_cycles(RATE_HZ, RATE_HZ, 997.02)
    samples = (0.25 * 10 ** (time_s / 20) * harmonic_wave(cycles, {1: 1.0}))[:, None]
    found = analyse_tone(samples, FileFacts(RATE_HZ, RATE_HZ, 53), SETUP)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    floor = distortion.thd_db if distortion.thd_db is not None else distortion.thd_db_at_most
    assert floor is not None
    assert floor < -150
    assert [note.code for note in found.notes if note.code == "drift"] == ["drift"]


def wavering(wow_hz: float, seconds: float, noise: float) -> np.ndarray:
    """A tone with 0.1 % of wow, and harmonics at −60 and −70 dB that waver with it."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    swing = 0.001 * 997.0 / wow_hz / (2 * math.pi)
    cycles = 997.0 * time_s + swing * np.sin(2 * math.pi * wow_hz * time_s + 0.4)
    lines = {1: 1.0} if noise == 0 else {1: 1.0, 2: 1e-3, 3: 10**-3.5}
    return 0.5 * harmonic_wave(cycles, lines) + noise * white_noise(len(time_s), 1.0, 6)


@pytest.mark.parametrize("wow_hz", [0.55, 2.0, 4.0])
def test_floor_of_distortion_while_the_pitch_wavers(wow_hz: float) -> None:
    samples = wavering(wow_hz, 2.0, 0.0)[:, None]
    found = analyse_tone(samples, FileFacts(len(samples), RATE_HZ, 53), SETUP)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    floor = distortion.thd_db if distortion.thd_db is not None else distortion.thd_db_at_most
    assert floor is not None
    assert floor < -150
    assert "drift" in {note.code for note in found.notes}


@pytest.mark.parametrize("wow_hz", [0.55, 3.0])
def test_harmonics_while_the_pitch_wavers(wow_hz: float) -> None:
    samples = wavering(wow_hz, 2.0, 3e-6)
    pair = np.stack([samples, -0.8 * samples + white_noise(len(samples), 3e-6, 9)], axis=1)
    found = analyse_tone(pair, FileFacts(len(pair), RATE_HZ, 24), SETUP)
    for name, level in (("L", 0.5), ("R", 0.4)):
        channel = found.channels[name]
        assert channel.level_dbfs_peak == pytest.approx(20 * math.log10(level), abs=5e-4)
        assert channel.distortion is not None
        assert channel.distortion.harmonics_db["2"] == pytest.approx(-60, abs=0.01)
        assert channel.distortion.harmonics_db["3"] == pytest.approx(-70, abs=0.02)
        assert channel.distortion.thdn_db["20-20000"] == pytest.approx(-59.58, abs=0.05)
    assert {note.code for note in found.notes} == {"drift", "inverted"}

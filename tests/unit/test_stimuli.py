"""The signals to play hold what their descriptions say, and both survive being written."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from backtospec.analysis import stimuli
from backtospec.analysis.stimulus_playing import PLAIN, PlayedSignal, Playing
from backtospec.analysis.sweep_signal import Stimulus
from backtospec.errors import BenchError
from backtospec.sources.stimulus_files import read_description, read_stimulus, write_stimulus

Array = NDArray[np.float64]

LOUD = Playing(level_dbfs_peak=-1.0, rate_hz=48_000)
SWEEP = stimuli.synchronised(14.0, 20_800.0, 2.0, drive_fs=0.5)
MADE: dict[str, Callable[[Playing], PlayedSignal]] = {
    "tone": lambda p: stimuli.tone(997.0, 1.0, p),
    "stepped-level": lambda p: stimuli.stepped_level(997.0, (-20, -10, 0), 0.5, 0.1, p),
    "swept-level": lambda p: stimuli.swept_level(997.0, -60.0, 2.0, p),
    "stepped-tones": lambda p: stimuli.stepped_tones((400.0, 1000.0, 9000.0), 0.4, p),
    "sweep": lambda p: stimuli.sweep(SWEEP, p),
    "two-tone": lambda p: stimuli.two_tone(60.0, 7000.0, 4.0, 1.0, p),
    "burst": lambda p: stimuli.burst(1000.0, 3, p),
    "square": lambda p: stimuli.square(1000.0, 0.5, p),
    "pink-noise": lambda p: stimuli.pink_noise(2.0, p),
}


def middle(played: PlayedSignal, start_s: float, end_s: float) -> Array:
    """Samples by time after the lead-in."""
    lead_s = played.description["lead_in_s"]
    rate_hz = played.rate_hz
    return played.samples[round((lead_s + start_s) * rate_hz) : round((lead_s + end_s) * rate_hz)]


def amplitude(samples: Array, rate_hz: int, hz: float) -> float:
    """Peak amplitude of one line, over whole cycles."""
    turn = np.exp(-2j * np.pi * hz * np.arange(len(samples)) / rate_hz)
    return float(2 * abs(np.mean(samples * turn)))


@pytest.mark.parametrize("kind", MADE)
def test_level_silence_and_description(kind: str) -> None:
    played = MADE[kind](LOUD)
    assert played.kind == kind
    description = played.description
    assert description["schema"] == "backtospec/stimulus/1"
    assert description["kind"] == kind
    assert description["sample_rate_hz"] == 48_000
    assert json.loads(json.dumps(description, allow_nan=False)) == description
    peak_db = 20 * math.log10(np.abs(played.samples).max())
    assert peak_db == pytest.approx(description["level_dbfs_peak"], abs=0.05)
    assert peak_db <= description["level_dbfs_peak"] + 1e-9
    lead = round(description["lead_in_s"] * 48_000)
    assert lead >= 24_000
    assert not played.samples[:lead].any()
    assert not played.samples[-20_000:].any()
    assert abs(played.samples[lead]) < 1e-3


@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize("bits", [16, 24])
def test_dither_is_triangular_and_repeats(kind: str, bits: int) -> None:
    dithered = Playing(dither_bits=bits, seed=3)
    plain, one, two = MADE[kind](Playing(seed=3)), MADE[kind](dithered), MADE[kind](dithered)
    np.testing.assert_array_equal(one.samples, two.samples)
    steps = (one.samples - plain.samples) * 2.0 ** (bits - 1)
    assert 0.9 < np.abs(steps).max() <= 1.0
    assert float(np.std(steps)) == pytest.approx(1 / math.sqrt(6), rel=0.02)


def test_a_tone_is_a_tone() -> None:
    played = stimuli.tone(1000.0, 1.0, Playing(level_dbfs_peak=-20.0))
    heard = middle(played, 0.1, 0.9)
    line = amplitude(heard, 48_000, 1000.0)
    assert line == pytest.approx(0.1, abs=1e-12)
    assert float(np.std(heard)) == pytest.approx(line / math.sqrt(2), rel=1e-12)


def test_steps_rest_at_their_levels() -> None:
    played = MADE["stepped-level"](LOUD)
    for place, db in enumerate((-20, -10, 0)):
        start_s = place * 0.6 + 0.1
        line = amplitude(middle(played, start_s, start_s + 0.3), 48_000, 997.0)
        assert 20 * math.log10(line) == pytest.approx(db - 1.0, abs=0.02)
    assert played.description["levels_db"] == [-20.0, -10.0, 0.0]


def test_a_swept_level_is_even_in_decibels() -> None:
    played = stimuli.swept_level(1000.0, -60.0, 3.0, LOUD)
    levels = [
        20 * math.log10(amplitude(middle(played, t, t + 0.01), 48_000, 1000.0))
        for t in (0.495, 1.495, 2.495)
    ]
    assert np.diff(levels) == pytest.approx([20.0, 20.0], abs=0.01)
    assert levels[1] == pytest.approx(-31.0, abs=0.02)


@pytest.mark.parametrize(("low_hz", "high_hz", "ratio"), [(60, 7000, 4.0), (19_000, 20_000, 1.0)])
def test_two_tones_keep_their_ratio(low_hz: float, high_hz: float, ratio: float) -> None:
    heard = middle(stimuli.two_tone(low_hz, high_hz, ratio, 1.0, LOUD), 0.2, 0.8)
    low, high = (amplitude(heard, 48_000, hz) for hz in (low_hz, high_hz))
    assert low / high == pytest.approx(ratio, rel=1e-9)
    assert low + high == pytest.approx(LOUD.peak, rel=1e-9)


def test_bursts_come_after_rests() -> None:
    played = stimuli.burst(1000.0, 3, LOUD)
    assert played.description["duration_s"] == pytest.approx(1.98)
    for place in range(3):
        start_s = place * 0.5 + 0.48
        loud = amplitude(middle(played, start_s, start_s + 0.02), 48_000, 1000.0)
        before = amplitude(middle(played, start_s - 0.1, start_s), 48_000, 1000.0)
        after = amplitude(middle(played, start_s + 0.02, start_s + 0.12), 48_000, 1000.0)
        assert loud == pytest.approx(LOUD.peak, rel=1e-9)
        assert before / loud == pytest.approx(0.1, rel=1e-9)
        assert after / loud == pytest.approx(0.1, rel=1e-9)


def test_a_square_has_odd_harmonics_and_a_flat_top() -> None:
    played = stimuli.square(1000.0, 0.5, LOUD)
    heard, top = middle(played, 0.1, 0.4), played.description["top_fs"]
    for order in (1, 3, 21):
        line = amplitude(heard, 48_000, order * 1000.0)
        assert line == pytest.approx(4 / math.pi / order * top, rel=1e-9)
    assert amplitude(heard, 48_000, 23_000.0) < 1e-12
    assert amplitude(heard, 48_000, 2000.0) < 1e-12
    assert played.description["highest_order"] == 21


def test_pink_noise_has_equal_power_per_octave() -> None:
    played = stimuli.pink_noise(20.0, Playing(seed=2, level_dbfs_peak=0.0))
    heard = middle(played, 0.0, 20.0)
    power = np.abs(np.fft.rfft(heard)) ** 2
    bins_hz = np.fft.rfftfreq(len(heard), 1 / 48_000)
    octaves = [
        10 * math.log10(power[(bins_hz >= low) & (bins_hz < 2 * low)].sum())
        for low in (160, 640, 2560, 10_000)
    ]
    assert max(octaves) - min(octaves) < 0.4
    assert power[bins_hz > 20_100].sum() < 1e-4 * power.sum()
    rms_db = 20 * math.log10(float(np.std(heard)))
    assert rms_db == pytest.approx(played.description["rms_dbfs"], abs=0.01)
    other = stimuli.pink_noise(20.0, Playing(seed=3, level_dbfs_peak=0.0))
    assert not np.array_equal(other.samples, played.samples)


def test_long_pink_noise_repeats_its_first_minute_without_a_seam() -> None:
    played = stimuli.pink_noise(130.0, Playing(rate_hz=8000), high_hz=3500.0)
    heard = middle(played, 0.0, 130.0)
    period = round(played.description["period_s"] * 8000)
    assert period == 480_000
    np.testing.assert_array_equal(heard[1000:400_000], heard[period + 1000 : period + 400_000])
    steps = np.abs(np.diff(heard))
    assert steps[period - 2 : period + 2].max() < steps.max()


def test_the_sweep_is_synchronised() -> None:
    assert SWEEP.f1 * SWEEP.L_s == pytest.approx(round(SWEEP.f1 * SWEEP.L_s), abs=1e-12)
    assert SWEEP.Td_s == pytest.approx(SWEEP.L_s * math.log(SWEEP.f2 / SWEEP.f1))
    assert SWEEP.gap_s == pytest.approx(0.25)


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "level": (lambda: Playing(level_dbfs_peak=0.1), "level"),
    "rate": (lambda: Playing(rate_hz=100), "sampling rate"),
    "lead-in": (lambda: Playing(lead_in_s=math.nan), "lead-in"),
    "dither": (lambda: Playing(dither_bits=20), "dither"),
    "tone above the band": (lambda: stimuli.tone(24_000.0, 1.0), "frequency"),
    "no duration": (lambda: stimuli.tone(1000.0, 0.0), "duration"),
    "no steps": (lambda: stimuli.stepped_level(1000.0, (), 1.0), "levels"),
    "step above": (lambda: stimuli.stepped_level(1000.0, (3.0,), 1.0), "levels"),
    "upwards": (lambda: stimuli.swept_level(1000.0, 10.0, 1.0), "start level"),
    "one tone of several": (lambda: stimuli.stepped_tones((997.0,), 1.0), "frequencies"),
    "a tone twice": (lambda: stimuli.stepped_tones((997.0, 997.0), 1.0), "frequencies"),
    "tones too short": (lambda: stimuli.stepped_tones((50.0, 997.0), 0.1), "duration of each tone"),
    "too much for memory": (
        lambda: stimuli.pink_noise(3600.0, Playing(rate_hz=192_000)),
        "duration",
    ),
    "ratio": (lambda: stimuli.two_tone(60.0, 7000.0, 0.0, 1.0), "ratio"),
    "no burst": (lambda: stimuli.burst(1000.0, 0), "bursts"),
    "sweep above the band": (
        lambda: stimuli.sweep(stimuli.synchronised(20.0, 30_000.0, 2.0)),
        "frequency",
    ),
    "sweep backwards": (lambda: stimuli.synchronised(2000.0, 20.0, 2.0), "L_s"),
    "sweep from nothing": (lambda: stimuli.synchronised(0.0, 20_000.0, 2.0), "f1"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_played_is_refused(case: str) -> None:
    make, where = REFUSED[case]
    with pytest.raises(BenchError) as caught:
        make()
    assert where in [fault.where for fault in caught.value.faults]
    assert all(fault.what and fault.fix for fault in caught.value.faults)


@pytest.mark.parametrize("kind", MADE)
def test_sound_and_description_survive(kind: str, tmp_path: Path) -> None:
    played = MADE[kind](PLAIN)
    sidecar = write_stimulus(tmp_path / "played.wav", played)
    assert sidecar == tmp_path / "played.json"
    assert read_description(sidecar) == played.description
    samples, rate_hz = soundfile.read(tmp_path / "played.wav")
    assert rate_hz == played.rate_hz
    assert soundfile.info(tmp_path / "played.wav").subtype == "PCM_24"
    np.testing.assert_allclose(samples, played.samples, atol=2.0**-23)


def test_the_sweep_survives(tmp_path: Path) -> None:
    sidecar = write_stimulus(tmp_path / "s.wav", stimuli.sweep(SWEEP))
    assert read_stimulus(sidecar) == SWEEP


BARE: dict[str, Any] = {
    "test": "sweep",
    "volts_per_fs": [40.0, 40.0],
    "f1": 14.0,
    "f2": 20_800.0,
    "L_s": 0.7142857142857143,
    "Td_s": 5.216893525767251,
    "pilot_hz": 1000,
    "pilot_start_s": 0.15,
    "pilot_len_s": 0.5,
    "sweep_start_s": 0.9,
    "drive_fs": 0.46,
}


def test_bare_keys_are_enough(tmp_path: Path) -> None:
    path = tmp_path / "given.json"
    path.write_text(json.dumps(BARE), encoding="utf-8-sig")
    found = read_stimulus(path)
    assert (found.f1, found.pilot_hz, found.drive_fs) == (14.0, 1000.0, 0.46)
    assert isinstance(found, Stimulus)


def changed(**change: Any) -> str:
    return json.dumps({**BARE, **change})


FAULTY: dict[str, tuple[str, str, str]] = {
    "empty": ("", "x.json, line 1", "not JSON"),
    "sound": ("RIFF\x00\x00", "x.json, line 1", "not JSON"),
    "list": ("[1, 2]", "x.json", "no keys and values"),
    "deep": ("[" * 100_000, "x.json", "not JSON"),
    "schema": (changed(schema="other/1"), "x.json", "'other/1'"),
    "kind": (changed(schema="backtospec/stimulus/1", kind="burst"), "x.json", "a burst"),
    "text": (changed(f1="14 Hz"), "x.json, f1", '"14 Hz" is not a number'),
    "truth": (changed(f1=True), "x.json, f1", "true is not a number"),
    "missing": (changed(pilot_hz=None), "x.json, pilot_hz", "missing"),
    "not a number": (changed(L_s=math.nan), "x.json, L_s", "nan s is outside"),
    "far too long": (changed(Td_s=10**400), "x.json, Td_s", "inf s is outside"),
    "downwards": (changed(f2=10.0), "x.json, f2", "less than an octave"),
    "mixed": (changed(Td_s=4.0), "x.json, Td_s", "5.21689 s"),
    "overlap": (changed(pilot_len_s=0.8), "x.json, sweep_start_s", "the pilot ends at 0.95 s"),
    "fades": (changed(fade_in_s=0.6), "x.json, fade_in_s", "outside 0…0.5 s"),
    "drive": (changed(drive_fs=1.5), "x.json, drive_fs", "outside 1e-06…1"),
}


@pytest.mark.parametrize("case", FAULTY)
def test_a_faulty_description_is_refused(case: str, tmp_path: Path) -> None:
    text, where, what = FAULTY[case]
    path = tmp_path / "x.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BenchError) as caught:
        read_stimulus(path)
    fault = caught.value.faults[0]
    assert fault.where == where
    assert what in fault.what
    assert fault.fix


def test_all_missing_figures_are_named_at_once(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    path.write_text("{}", encoding="utf-8")
    with pytest.raises(BenchError) as caught:
        read_stimulus(path)
    assert len(caught.value.faults) == 8


def test_bytes_that_are_no_text_and_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(BenchError, match="not JSON"):
        read_stimulus(path)
    with pytest.raises(BenchError, match="no such file"):
        read_stimulus(tmp_path / "none.json")
    path.write_bytes(b" " * 1_000_001)
    with pytest.raises(BenchError, match="too many"):
        read_stimulus(path)


def test_what_cannot_be_written_is_refused(tmp_path: Path) -> None:
    played = stimuli.tone(1000.0, 0.1)
    with pytest.raises(BenchError, match="does not end in"):
        write_stimulus(tmp_path / "tone.flac", played)
    with pytest.raises(BenchError, match="cannot be written"):
        write_stimulus(tmp_path / "nowhere" / "tone.wav", played)
    full = stimuli.tone(1000.0, 0.1, Playing(level_dbfs_peak=0.0, dither_bits=16))
    with pytest.raises(BenchError, match="does not fit"):
        write_stimulus(tmp_path / "tone.wav", full)

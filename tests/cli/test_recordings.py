"""Recordings through the command line: what can be used, and what cannot."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from backtospec.analysis.waveforms import (
    as_recorded,
    clipped_wave,
    harmonic_wave,
    level_plan_db,
    phase_cycles,
    white_noise,
)
from tests.cli.conftest import Command
from tests.cli.test_job import readings_in
from tests.cli.test_published_cases import kinds, settings, values

RATE_HZ = 48_000
VOLTS = 36.0
LOAD = ("load_left=8.00 Ω", "load_right=8.00 Ω")
CALIBRATION = [w for s in (f"full_scale_left={VOLTS} V", *LOAD) for w in ("--set", s)]
Array = NDArray[np.float64]


def ramp_samples(clip_fs: float = 0.66) -> Array:
    """Return a 997 Hz tone turned up in eight steps into clipping, right 0.1 dB below left."""
    level = level_plan_db((-38, -30, -22, -14, -9, -6, -4.2, -2.5), 0.9, 0.5, RATE_HZ)
    cycles = phase_cycles(len(level), RATE_HZ, 997.03)
    channels = []
    for seed, gain_db in ((1, 0.0), (2, -0.1)):
        amplitude = 10 ** ((level + gain_db) / 20)
        wave = clipped_wave(cycles, amplitude, clip_fs, clip_fs, 21)
        wave += 3e-4 * amplitude * harmonic_wave(cycles, {3: 1.0})
        channels.append(wave + white_noise(len(level), 3e-6, seed))
    return as_recorded(np.column_stack(channels), 24)


@pytest.fixture(scope="module")
def ramp_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("recordings") / "ramp.flac"
    soundfile.write(path, ramp_samples(), RATE_HZ, subtype="PCM_24")
    return path


def test_a_ramp_meets_its_rating(command: Command, job: str, ramp_file: Path) -> None:
    ran = command(
        *("run", "volume-ramp", "--job", job, "--file", f"recording={ramp_file}"),
        *CALIBRATION,
        *settings(nominal_hz="997 Hz"),
    )
    assert (ran.status, kinds(ran)) == (0, ["LEAVE"])
    found = values(ran)
    # Symmetric hard clipping: 1 % THD comes 0.20 dB of power above the onset (Fourier integral).
    onset_w = (0.66 * VOLTS) ** 2 / 2 / 8
    assert found["power_at_1_percent_left_w"] == pytest.approx(onset_w * 10**0.02, rel=0.012)
    assert found["tracking_db"] == pytest.approx(-0.1, abs=0.005)
    verdicts = {f["key"]: f["verdict"] for f in ran.document["findings"]}
    assert verdicts["power_at_rated_thd_left_w"] == "PASS"
    assert verdicts["power_at_rated_thd_right_w"] == "PASS"
    status = command("status", job).document["sittings"][0]
    assert status["conclusion"]["results"] == ran.document["results"]


def test_into_another_load_the_rating_is_not_comparable(
    command: Command, job: str, ramp_file: Path
) -> None:
    ran = command(
        *("run", "volume-ramp", "--job", job, "--file", f"recording={ramp_file}"),
        *settings(full_scale_left="36 V", load_left="4.00 Ω", nominal_hz="997"),
    )
    verdicts = {f["key"]: f["verdict"] for f in ran.document["findings"]}
    assert verdicts["power_at_rated_thd_left_w"] == "NOT_COMPARABLE"
    assert kinds(ran) == ["REMEASURE"]
    assert ran.status == 0


def test_one_channel_driven_is_not_both(command: Command, job: str, ramp_file: Path) -> None:
    ran = command(
        *("run", "volume-ramp", "--job", job, "--file", f"recording={ramp_file}"),
        *CALIBRATION,
        *settings(nominal_hz="997", channels_driven="one"),
    )
    verdicts = {f["key"]: f["verdict"] for f in ran.document["findings"]}
    assert verdicts["power_at_rated_thd_right_w"] == "NOT_COMPARABLE"


def test_a_weak_channel_fails_its_rating(command: Command, job: str, tmp_path: Path) -> None:
    samples = ramp_samples()
    samples[:, 1] = np.clip(samples[:, 1], -0.45, 0.45)
    path = tmp_path / "weak.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    ran = command(
        *("run", "volume-ramp", "--job", job, "--file", f"recording={path}"),
        *CALIBRATION,
        *settings(nominal_hz="997"),
    )
    assert ran.status == 1
    verdicts = {f["key"]: f["verdict"] for f in ran.document["findings"]}
    assert verdicts["power_at_rated_thd_left_w"] == "PASS"
    assert verdicts["power_at_rated_thd_right_w"] == "FAIL"
    assert "LEAVE" not in kinds(ran)
    assert "right" in ran.document["advice"][0]["reason"]


def _tone(shape: int, amplitude: float = 0.5) -> Array:
    wave = amplitude * harmonic_wave(phase_cycles(shape, RATE_HZ, 997.0), {1: 1.0})
    return np.column_stack([wave, wave * 0.99]) + white_noise((shape, 2), 3e-6, 3)


def _garbage(path: Path) -> None:
    path.write_bytes(np.random.default_rng(4).bytes(5000))


def _truncated(path: Path) -> None:
    soundfile.write(path, _tone(48_000), RATE_HZ, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[:150_000])


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _no_frames(path: Path) -> None:
    soundfile.write(path, np.zeros((0, 2)), RATE_HZ, subtype="PCM_24")


def _silent(path: Path) -> None:
    soundfile.write(path, np.zeros((96_000, 2)), RATE_HZ, subtype="PCM_24")


def _other_tone(path: Path) -> None:
    wave = 0.5 * np.sin(2 * np.pi * 3000 * np.arange(96_000) / RATE_HZ)
    soundfile.write(path, np.column_stack([wave, wave]), RATE_HZ, subtype="PCM_24")


def _not_a_number(path: Path) -> None:
    samples = _tone(48_000)
    samples[100, 0] = np.nan
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")


@pytest.mark.parametrize(
    "spoil", [_garbage, _truncated, _empty, _no_frames, _silent, _other_tone, _not_a_number]
)
def test_a_bad_recording_changes_nothing(
    command: Command, job: str, tmp_path: Path, spoil: object
) -> None:
    path = tmp_path / "bad.wav"
    assert callable(spoil)
    spoil(path)
    ran = command(
        *("run", "volume-ramp", "--job", job, "--file", f"recording={path}"),
        *CALIBRATION,
        *settings(nominal_hz="997"),
    )
    assert ran.status == 2
    fault = ran.document["error"][0]
    assert fault["what"]
    assert fault["where"]
    assert fault["fix"]
    assert readings_in(tmp_path) == 0
    assert not [p for p in (tmp_path / "data" / "files").rglob("*") if p.is_file()]


def test_mono_gives_one_channel_and_says_so(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "mono.wav"
    soundfile.write(path, ramp_samples()[:, 0], RATE_HZ, subtype="PCM_24")
    words = ("--full-scale-volts", "36", "--load-ohm", "8", "--nominal-hz", "997")
    ran = command("analyse", str(path), "--kind", "ramp", *words)
    assert ran.status == 0
    assert list(ran.document["channels"]) == ["M"]
    asked = command(
        *("run", "volume-ramp", "--file", f"recording={path}"),
        *CALIBRATION,
        *settings(nominal_hz="997"),
    )
    assert asked.status == 2
    assert "one channel" in asked.document["error"][0]["what"]


@pytest.mark.parametrize(
    ("setting", "where"),
    [
        ("load_left=-8", "Load as measured, left"),
        ("load_left=0", "Load as measured, left"),
        ("load_left=8 V", "Load as measured, left"),
        ("full_scale_left=-36", "Peak volts at digital full scale, left"),
        ("nominal_hz=nan", "Frequency of the tone"),
    ],
)
def test_a_wrong_load_or_calibration_is_refused(
    command: Command, job: str, tmp_path: Path, ramp_file: Path, setting: str, where: str
) -> None:
    given = {"full_scale_left": "36 V", "load_left": "8 Ω", "nominal_hz": "997"}
    key, value = setting.split("=")
    ran = command(
        *("run", "volume-ramp", "--job", job, "--file", f"recording={ramp_file}"),
        *settings(**{**given, key: value}),
    )
    assert ran.status == 2
    assert ran.document["error"][0]["where"] == where
    assert readings_in(tmp_path) == 0


@pytest.mark.parametrize("option", ["--full-scale-volts", "--load-ohm", "--nominal-hz"])
@pytest.mark.parametrize("value", ["-8", "0", "nan", "", "eight"])
def test_analyse_refuses_a_wrong_setup(
    command: Command, ramp_file: Path, option: str, value: str
) -> None:
    given = {"--full-scale-volts": "36", "--load-ohm": "8", "--nominal-hz": "997"}
    words = [w for k, v in {**given, option: value}.items() for w in (f"{k}={v}",)]
    ran = command("analyse", str(ramp_file), "--kind", "ramp", *words)
    assert ran.status == 2
    assert ran.document["error"][0]["fix"]


def test_a_decimal_comma_between_channels_is_asked_about(command: Command, ramp_file: Path) -> None:
    words = ("--full-scale-volts", "36,2", "--load-ohm", "8", "--nominal-hz", "997")
    ran = command("analyse", str(ramp_file), "--kind", "ramp", *words)
    assert ran.status == 2
    assert ran.document["question"]["about"] == "decimal_mark"
    chosen = ran.document["question"]["choices"][0]["value"]
    answered = command(
        "analyse", str(ramp_file), "--kind", "ramp", "--full-scale-volts", chosen, *words[2:]
    )
    assert answered.status == 0


def test_all_channels_refused_is_unusable_and_one_of_two_is_not(
    command: Command, tmp_path: Path
) -> None:
    hot = np.clip(_tone(96_000, 1.3), -1.0, 1.0 - 2**-23)
    words = ("--kind", "tone", "--full-scale-volts", "36", "--load-ohm", "8", "--nominal-hz", "997")
    for name, samples, status in (
        ("both", hot, 2),
        ("right", np.column_stack([_tone(96_000)[:, 0], hot[:, 1]]), 0),
    ):
        path = tmp_path / f"{name}.wav"
        soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
        ran = command("analyse", str(path), *words)
        assert ran.status == status
        right = ran.document["channels"]["R"]
        assert (right["valid"], right["reason"]) == (False, "adc-overload")
        assert "power_w" not in right


def test_words_for_people_show_plateaus_and_powers(command: Command, ramp_file: Path) -> None:
    words = ("--full-scale-volts", "36", "--load-ohm", "8", "--nominal-hz", "997")
    ran = command("analyse", str(ramp_file), "--kind", "ramp", *words, as_json=False)
    assert ran.status == 0
    assert "1 % THD" in ran.out
    assert ran.out.count("\n") > 10

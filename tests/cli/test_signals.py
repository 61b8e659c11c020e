"""Signals made to be played, recorded without an amplifier in between, and analysed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.cli.conftest import Command

CALIBRATED = ("--full-scale-volts", "40", "--load-ohm", "8")


def made(command: Command, folder: Path, kind: str, *words: str) -> Path:
    path = folder / f"{kind}.wav"
    ran = command("signal", kind, "--out", str(path), *words)
    assert ran.status == 0
    assert json.loads(Path(ran.document["description"]).read_text(encoding="utf-8"))
    return path


def analysed(command: Command, path: Path, kind: str, *words: str) -> dict[str, Any]:
    ran = command("analyse", str(path), "--kind", kind, *CALIBRATED, *words)
    assert ran.status == 0, ran.err
    assert ran.document["schema"] == "backtospec/analyse/1"
    return ran.document


def test_two_tones_show_no_intermodulation(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "two-tone", "--hz", "60,7000", "--seconds", "3")
    found = analysed(command, path, "two-tone", "--nominal-hz", "60,7000")
    assert found["frequencies_hz"] == pytest.approx([60, 7000], abs=1e-3)
    channel = found["channels"]["M"]
    least = channel.get("imd_pairs_percent", channel.get("imd_pairs_percent_at_most"))
    assert least < 0.001


def test_a_sweep_through_nothing_is_flat(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "sweep", "--seconds", "5")
    found = analysed(command, path, "sweep", "--stimulus", str(path.with_suffix(".json")))
    response = found["channels"]["M"]["response_db"]
    assert max(abs(v) for hz, v in response.items() if 25 <= float(hz) <= 18_000) < 0.005


def test_bursts_are_found_and_measured(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "burst", "--seconds", "3", "--level-dbfs", "-6")
    found = analysed(command, path, "burst", "--nominal-hz", "997", "--rated-power-w", "20")
    assert len(found["bursts"]) == 6
    for burst in found["bursts"]:
        assert burst["channels"]["M"]["level_dbfs_peak"] == pytest.approx(-6, abs=0.005)


def test_steps_are_a_ramp(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "steps", "--seconds", "8", "--dither-bits", "24")
    found = analysed(command, path, "ramp", "--nominal-hz", "997")
    levels = [step["channels"]["M"]["level_dbfs_peak"] for step in found["steps"]]
    assert levels == pytest.approx([-3 - 6 * k for k in range(9, -1, -1)], abs=0.002)


def test_a_square_wave_through_nothing_is_as_fast_as_the_recorder(
    command: Command, tmp_path: Path
) -> None:
    path = made(command, tmp_path, "square", "--hz", "1000", "--seconds", "2")
    found = analysed(command, path, "square", "--nominal-hz", "1000")
    edge = found["channels"]["M"]["rising"]
    assert "time_s" not in edge
    assert edge["time_s_at_most"] < 1e-4


def _bent(path: Path, third: float) -> Path:
    time_s = np.arange(96_000) / 48_000
    wave = 0.5 * np.sin(2 * np.pi * 997 * time_s)
    wave += 0.5 * third * np.sin(2 * np.pi * 3 * 997 * time_s)
    noise = np.random.default_rng(9).standard_normal((len(wave), 2)) * 1e-6
    soundfile.write(path, np.column_stack([wave, wave]) + noise, 48_000, subtype="PCM_24")
    return path


def test_near_the_floor_only_a_bound_is_stated(command: Command, tmp_path: Path) -> None:
    """The chain's distortion and the amplifier's add as vectors: |a − b| … a + b."""
    reading = _bent(tmp_path / "amplifier.wav", 1e-4)
    floor = _bent(tmp_path / "loop.wav", 6e-5)
    words = ("--nominal-hz", "997", "--floor", str(floor))
    channel = analysed(command, reading, "tone", *words)["channels"]["L"]
    assert "thd_percent" not in channel
    assert channel["thd_percent_at_most"] == pytest.approx(0.016, rel=0.01)
    assert channel["thd_percent_range"] == pytest.approx([0.004, 0.016], rel=0.01)
    far = _bent(tmp_path / "bad.wav", 1e-2)
    channel = analysed(command, far, "tone", *words)["channels"]["L"]
    assert channel["thd_percent"] == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "words", "where"),
    [
        ("two-tone", ("--nominal-hz", "60"), "--nominal-hz"),
        ("sweep", (), "--stimulus"),
        ("dance", (), "--kind"),
        ("ramp", ("--floor", "loop.wav"), "--floor"),
    ],
)
def test_what_must_be_told_first_is_named(
    command: Command, tmp_path: Path, kind: str, words: tuple[str, ...], where: str
) -> None:
    path = made(command, tmp_path, "tone", "--seconds", "1")
    ran = command("analyse", str(path), "--kind", kind, *CALIBRATED, *words)
    assert ran.status == 2
    assert ran.document["error"][0]["where"] == where


@pytest.mark.parametrize(
    "words",
    [
        ("waltz", "--out", "x.wav"),
        ("tone", "--out", "x.mp3"),
        ("tone", "--out", "x.wav", "--hz", "40000"),
        ("tone", "--out", "x.wav", "--seconds", "nan"),
        ("tone", "--out", "x.wav", "--level-dbfs", "3"),
        ("two-tone", "--out", "x.wav", "--hz", "60"),
    ],
)
def test_a_signal_that_cannot_be_made_is_refused(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = command("signal", *words)
    assert ran.status == 2
    assert ran.document["error"][0]["fix"]
    assert not list(tmp_path.glob("x.*"))


def test_words_for_people_tell_a_sweep(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "sweep", "--seconds", "5")
    words = ("--kind", "sweep", *CALIBRATED, "--stimulus", str(path.with_suffix(".json")))
    ran = command("analyse", str(path), *words, as_json=False)
    assert "dB at 100 Hz" in ran.out
    assert "°)" in ran.out


def test_stepped_tones_tell_power_at_every_frequency(command: Command, tmp_path: Path) -> None:
    words = ("--hz", "100,1000,5000", "--seconds", "1.8", "--dither-bits", "24")
    path = made(command, tmp_path, "stepped-tones", *words, "--lead-in", "0.8 s")
    plan = str(path.with_suffix(".json"))
    for more in ((), ("--stimulus", plan)):
        found = analysed(command, path, "stepped", *more, "--against", "flat")
        assert [round(step["frequency_hz"]) for step in found["steps"]] == [100, 1000, 5000]
        channel = found["channels"]["M"]
        assert channel["power_bandwidth"]["reference_power_w"] == pytest.approx(50.119, abs=0.01)
        assert channel["against"]["spread_db"] < 0.001
    told = command(
        "analyse", str(path), "--kind", "stepped", *CALIBRATED, "--stimulus", plan, as_json=False
    )
    assert "power bandwidth: 100 Hz or below … 5000 Hz or above" in told.out


def test_a_description_gives_the_frequencies(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "two-tone", "--hz", "250,8000", "--seconds", "1")
    plan = str(path.with_suffix(".json"))
    found = analysed(command, path, "two-tone", "--stimulus", plan)
    assert found["frequencies_hz"] == pytest.approx([250, 8000], abs=1e-3)
    rise = made(command, tmp_path, "rise", "--hz", "400", "--seconds", "4", "--dither-bits", "24")
    found = analysed(command, rise, "ramp", "--stimulus", str(rise.with_suffix(".json")))
    assert found["channels"]["M"]["frequency_hz"] == pytest.approx(400, abs=0.01)


@pytest.mark.parametrize(
    ("played", "kind", "words", "where"),
    [
        ("tone", "tone", ("--nominal-hz", "500"), "--nominal-hz"),
        ("tone", "two-tone", (), "tone.json"),
        ("tone", "noise", (), "--stimulus"),
        ("tone", "tone", ("--against", "flat"), "--against"),
        ("tone", "tone", ("--points", "100 Hz 1 dB"), "--points"),
        ("pink", "tone", (), "pink.json"),
    ],
)
def test_another_signal_than_described_is_said(
    command: Command, tmp_path: Path, played: str, kind: str, words: tuple[str, ...], where: str
) -> None:
    path = made(command, tmp_path, played, "--seconds", "1")
    plan = ("--stimulus", str(path.with_suffix(".json")))
    ran = command("analyse", str(path), "--kind", kind, *CALIBRATED, *plan, *words)
    assert ran.status == 2
    assert ran.document["error"][0]["where"] == where


def test_a_sweep_is_held_against_what_is_named(command: Command, tmp_path: Path) -> None:
    path = made(command, tmp_path, "sweep", "--seconds", "4")
    plan = ("--stimulus", str(path.with_suffix(".json")))
    loud = ("--against", "loudness", "--points", "100 Hz +6 dB, 10 kHz +4 dB")
    errors = analysed(command, path, "sweep", *plan, *loud)["channels"]["M"]["against"]["error_db"]
    assert errors == pytest.approx({"100": -6, "10000": -4}, abs=0.005)
    for words, where in (
        (("--against", "loudness"), "--points"),
        (("--against", "x"), "--against"),
    ):
        ran = command("analyse", str(path), "--kind", "sweep", *CALIBRATED, *plan, *words)
        assert ran.document["error"][0]["where"] == where

"""Signals made to be played, recorded without an amplifier in between, and analysed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

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


@pytest.mark.parametrize(
    ("kind", "words", "where"),
    [
        ("two-tone", ("--nominal-hz", "60"), "--nominal-hz"),
        ("sweep", (), "--stimulus"),
        ("dance", (), "--kind"),
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

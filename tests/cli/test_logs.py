"""Meter logs through the command line."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.cli.conftest import Command


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Return a log of both channels, still settling: left to 13.0 mV, right to 10.0 mV."""
    path = tmp_path / "idle.csv"
    rows = ["minutes;L mV;R mV"]
    for half in range(50):
        minute = half / 2
        rest = math.exp(-minute / 9)
        rows.append(f"{minute:.1f};{13 - 4 * rest:.1f};{10 - 3 * rest:.1f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_readings_are_read_in_si_units(command: Command, log: Path) -> None:
    ran = command("readings", str(log))
    assert (ran.status, ran.document["action"]) == (0, "read")
    left, right = ran.document["series"]
    assert (left["channel"], left["unit"], left["quantum"]) == ("L", "V", pytest.approx(1e-4))
    assert left["value"][0] == pytest.approx(0.009, rel=1e-9)
    assert right["elapsed_s"][-1] == pytest.approx(24.5 * 60)


def test_a_question_is_one_document_and_status_two(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "hand.csv"
    path.write_text("s;mV\n0;1,234\n", encoding="utf-8")
    ran = command("readings", str(path))
    assert (ran.status, ran.document["action"]) == (2, "ask")
    question = ran.document["question"]
    assert question["about"] == "decimal_mark"
    answered = command("readings", str(path), question["option"], question["choices"][0]["value"])
    assert (answered.status, answered.document["action"]) == (0, "read")


def test_warm_up_foresees_the_end_of_both_channels(command: Command, log: Path) -> None:
    ran = command("warm-up", str(log), "--target", "10 mV", "--tolerance", "1 mV")
    assert ran.status == 0
    for name, end_v in (("L", 0.013), ("R", 0.010)):
        channel = ran.document["channels"][name]
        assert channel["settled_low_v"] <= end_v <= channel["settled_high_v"]
        assert channel["class"] in ("settling", "settled")


def test_adjust_names_one_reading_and_leaves_the_good_channel(command: Command, log: Path) -> None:
    words = ("--target", "10 mV", "--tolerance", "1 mV", "--position", "2 o'clock")
    ran = command("adjust", str(log), *words)
    left, right = ran.document["channels"]["L"], ran.document["channels"]["R"]
    assert left["advice"]["kind"] == "ADJUST"
    assert 0.009 < left["set_now_v"] < 0.0125
    assert right["advice"]["kind"] == "LEAVE"


def test_adjust_stops_where_the_trimmer_jumps(command: Command, log: Path) -> None:
    words = ("--target", "10 mV", "--position", "2 o'clock", "--turned", "12.7 10.2 15.9")
    ran = command("adjust", str(log), *words)
    assert ran.document["channels"]["L"]["advice"]["kind"] == "REPLACE"


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (("--target", "10 kΩ", "--position", "x"), "target"),
        (("--target", "10 mV", "--position", " "), "original position"),
        (("--target", "10 mV", "--position", "x", "--quantity", "hum"), "quantity"),
        (("--target", "10 mV", "--position", "x", "--turned", "1 2"), "turned"),
    ],
)
def test_adjust_refuses_what_it_cannot_use(
    command: Command, log: Path, words: tuple[str, ...], where: str
) -> None:
    ran = command("adjust", str(log), *words)
    assert ran.status == 2
    assert ran.document["error"][0]["where"] == where


def test_a_log_feeds_the_idle_check_and_is_kept(command: Command, job: str, log: Path) -> None:
    files = ("--file", f"left_series={log}", "--file", f"right_series={log}")
    ran = command("run", "idle-current", "--job", job, "--set", "point=resistor-pair", *files)
    assert ran.status == 0
    kept = command("status", job).document["sittings"][0]["readings"]
    hashes = {r["file_sha256"] for r in kept if r["key"].endswith("_series")}
    assert len(hashes) == 1
    assert None not in hashes

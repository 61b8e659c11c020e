"""From the shelf to the status of a job, in a stranger's words."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tests.cli.conftest import SHEET, Command


def readings_in(tmp_path: Path) -> int:
    with sqlite3.connect(tmp_path / "data" / "backtospec.db") as connection:
        return int(connection.execute("select count(*) from readings").fetchone()[0])


def test_five_answers_make_an_amplifier(command: Command) -> None:
    added = command(
        "add",
        *("--what", "Lindqvist, A-30, 1979"),
        *("--topology", "complementary"),
        *("--claim", "2 x 33 W into 8 ohm, 0.1 %"),
        *("--mains", "220 V 50 Hz"),
        *("--meter", "bench, 0.5 % + 3"),
    )
    assert added.status == 0
    assert "33 W" in added.document["spec"]
    listed = command("status").document["jobs"]
    assert [row["job"] for row in listed] == [added.document["job"]]


def test_a_run_is_kept_and_judged_from_what_was_kept(command: Command, job: str) -> None:
    ran = command("run", "dc-offset", "--job", job, "--set", "left=5mV", "--set", "right=0,4 mV")
    assert ran.status == 0
    assert ran.document["advice"][0]["kind"] == "LEAVE"
    status = command("status", job).document
    sitting = status["sittings"][0]
    assert {r["key"]: r["text"] for r in sitting["readings"]} == {"left": "5mV", "right": "0,4 mV"}
    assert {r["key"]: r["id"] for r in sitting["readings"]} == ran.document["readings"]
    assert sitting["conclusion"]["findings"] == ran.document["findings"]


def test_a_correction_supersedes_and_is_judged_anew(command: Command, job: str) -> None:
    first = command("run", "dc-offset", "--job", job, "--set", "left=58mV", "--set", "right=5mV")
    assert first.status == 1
    corrected = command("correct", first.document["readings"]["left"], "5.8 mV")
    assert corrected.document["supersedes"] == first.document["readings"]["left"]
    sitting = command("status", job).document["sittings"][0]
    assert sitting["conclusion"]["advice"][0]["kind"] == "LEAVE"
    assert "5.8 mV" in [r["text"] for r in sitting["readings"]]


def test_a_corrected_limit_judges_old_readings_anew(
    command: Command, job: str, tmp_path: Path
) -> None:
    command("run", "dc-offset", "--job", job, "--set", "left=30mV", "--set", "right=5mV")
    before = command("status", job).document
    assert before["sittings"][0]["conclusion"]["findings"][0]["verdict"] == "FAIL"
    sheet = tmp_path / "corrected.toml"
    sheet.write_text(SHEET.replace('limit = "20 mV"', 'limit = "50 mV"'), encoding="utf-8")
    assert command("spec", before["amplifier"]["id"], str(sheet)).status == 0
    after = command("status", job).document
    assert after["sittings"][0]["conclusion"]["findings"][0]["verdict"] == "PASS"
    assert after["sittings"][0]["readings"] == before["sittings"][0]["readings"]


def test_a_quick_reading_is_attached_later(command: Command, job: str) -> None:
    kept = command("read", "links", "9,6mV", "across the pair").document
    assert (kept["channel"], kept["value"]) == ("L", pytest.approx(0.0096))
    assert [r["id"] for r in command("status").document["loose_readings"]] == [kept["id"]]
    assert command("attach", kept["id"], job).status == 0
    assert command("status").document["loose_readings"] == []
    assert kept["id"] in [r["id"] for s in _sittings(command, job) for r in s["readings"]]


def _sittings(command: Command, job: str) -> list[dict[str, list[dict[str, str]]]]:
    return list(command("status", job).document["sittings"])


@pytest.mark.parametrize(
    ("settings", "where"),
    [
        (["left=nan"], "Left, warm"),
        (["left=4k7 Ω"], "Left, warm"),
        (["left=999999 mV"], "Left, warm"),
        (["left="], "DC offset"),
        (["middle=5 mV"], "middle"),
        (["left=5 mV", "point=emitter-resistor"], "point of measurement"),
        (["left=5 mV", "limiter=perhaps"], "limiter"),
    ],
)
def test_what_cannot_be_used_leaves_the_store_unchanged(
    command: Command, job: str, tmp_path: Path, settings: list[str], where: str
) -> None:
    words = [word for setting in settings for word in ("--set", setting)]
    ran = command("run", "dc-offset", "--job", job, *words)
    assert ran.status == 2
    fault = ran.document["error"][0]
    assert fault["where"] == where
    assert fault["what"]
    assert fault["fix"].endswith(".")
    assert readings_in(tmp_path) == 0


def test_all_faults_of_a_form_come_at_once(command: Command) -> None:
    ran = command("run", "dc-offset", "--set", "left=nan", "--set", "right=1 kΩ")
    assert [fault["where"] for fault in ran.document["error"]] == ["Left, warm", "Right, warm"]


def test_readings_count_only_in_the_power_state_they_need(command: Command) -> None:
    ran = command("run", "dc-offset", "--set", "left=5 mV", "--state", "safe")
    assert ran.status == 2
    assert "safe" in ran.document["error"][0]["what"]
    assert "leads" in ran.document["error"][0]["fix"]


def test_negative_idle_drop_means_swapped_leads(command: Command) -> None:
    ran = command(
        *("run", "idle-current", "--set", "point=resistor-pair"),
        *("--set", "left=-9.8 mV", "--set", "right=10 mV"),
    )
    assert ran.status == 2
    assert "negative" in ran.document["error"][0]["what"]


def test_ambiguous_number_is_asked_about(command: Command) -> None:
    ran = command("read", "10,000", "--unit", "mV")
    assert ran.status == 2
    question = ran.document["question"]
    assert question["about"] == "decimal_mark"
    assert question["quotes"] == ["10,000"]
    assert len(question["choices"]) == 2


def test_words_for_people_end_with_what_to_do(command: Command) -> None:
    ran = command("run", "dc-offset", "--set", "left=nan", as_json=False)
    assert ran.status == 2
    assert ran.out == ""
    assert "→" in ran.err


def test_unknown_command_and_option_exit_with_two(command: Command) -> None:
    for words in (["dance"], ["run"], ["run", "no-such-check"], ["status", "j-none0"]):
        ran = command(*words)
        assert ran.status == 2, words
        assert ran.document["error"][0]["fix"]


def test_a_kept_file_that_was_changed_is_noticed(
    command: Command, job: str, tmp_path: Path
) -> None:
    log = tmp_path / "idle.csv"
    log.write_text("min;L mV\n" + "".join(f"{m};{9 + m / 10:.1f}\n" for m in range(9)))
    words = ("--set", "point=resistor-pair", "--file", f"left_series={log}")
    ran = command("run", "idle-current", "--job", job, *words)
    assert ran.status == 0
    kept = next(p for p in (tmp_path / "data" / "files").rglob("*") if p.is_file())
    kept.chmod(0o644)
    kept.write_text("min;L mV\n0;9.9\n")
    spoiled = command("status", job)
    assert spoiled.status == 2
    assert spoiled.document["error"][0]["fix"]


def test_a_hand_meters_counts_do_not_spoil_a_distortion_meters_dials(command: Command) -> None:
    words = ("--set", "spots=L 35.1 W 0.05 %; R 35.2 W 0.05 %", "--set", "load_left=8.00")
    ran = command("run", "volume-ramp", *words, "--meter", "0.5 % + 3")
    power = next(r for r in ran.document["results"] if r["key"] == "power_at_1_percent_left_w")
    assert power["u"] < 0.05 * 35.1

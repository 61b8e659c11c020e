"""The demonstration and its report, whole."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from backtospec.cli.app import run_command_line
from tests.cli.conftest import Command


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "bench"
    assert run_command_line(["demo", "--no-serve", "--json", "--out", str(folder)]) == 0
    return folder


def _report(told: Path) -> dict[str, object]:
    found = json.loads((told / "report" / "report.json").read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found


def test_the_demo_goes_from_faults_to_a_report(
    told: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = ["--json", "--data-dir", str(told / "data")]
    run_command_line(["status", *data])
    job = json.loads(capsys.readouterr().out)["jobs"][0]["job"]
    run_command_line(["status", job, *data])
    sittings = json.loads(capsys.readouterr().out)["sittings"]
    words = {
        visit: [s["conclusion"]["advice"][0]["kind"] for s in sittings if s["visit"] == visit]
        for visit in ("before", "after")
    }
    assert {"REPLACE", "ADJUST"} <= set(words["before"])
    assert set(words["after"]) == {"LEAVE"}
    causes = [c["name"] for s in sittings for c in s["conclusion"]["causes"]]
    assert "under-biased stage" in causes
    assert "dried-out electrolyte" in causes
    assert "crossover distortion: under-biased stage" in causes
    ramps = [s["conclusion"] for s in sittings if s["check"] == "volume-ramp"]
    verdicts = [
        {f["key"]: f["verdict"] for f in ramp["findings"]}["power_at_rated_thd_left_w"]
        for ramp in ramps
    ]
    assert verdicts == ["FAIL", "PASS"]
    assert (told / "report" / "report.pdf").read_bytes().startswith(b"%PDF")


def test_every_number_of_the_report_names_a_kept_reading(told: Path) -> None:
    text = (told / "report" / "report.json").read_text(encoding="utf-8")
    with_ids = json.loads(text)
    known = {r["id"] for group in with_ids["evidence"] for r in group["readings"]}
    rows = [row for section in with_ids["sections"] for row in section["rows"]]
    cells = [row[side] for row in rows for side in ("left", "right", "both") if row[side]]
    assert len(cells) > 20
    for cell in cells:
        assert cell["readings"], cell
        assert set(cell["readings"]) <= known


def test_the_same_time_gives_the_same_bytes(told: Path, tmp_path: Path) -> None:
    data = ["--data-dir", str(told / "data")]
    job = str(_report(told)["job_id"])
    written = []
    for name in ("one", "two"):
        out = tmp_path / name
        words = ["report", job, "--out", str(out), "--timestamp", "2026-03-01T20:15:00Z"]
        assert run_command_line([*words, *data]) == 0
        written.append((out / "report.pdf").read_bytes())
    assert written[0] == written[1]


def test_the_demo_spares_a_folder_with_other_files(command: Command, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("keep me")
    ran = command("demo", "--out", str(tmp_path / "mine"))
    assert ran.status == 2
    assert (tmp_path / "mine" / "letter.txt").read_text() == "keep me"


def test_a_report_into_a_file_is_refused(command: Command, job: str, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    ran = command("report", job, "--out", str(tmp_path / "taken"))
    assert ran.status == 2
    assert "taken" in ran.document["error"][0]["where"]


def test_a_report_of_an_empty_job_says_that_nothing_was_shown(
    command: Command, job: str, tmp_path: Path
) -> None:
    ran = command("report", job, "--out", str(tmp_path / "out"))
    assert ran.status == 0
    assert (tmp_path / "out" / "report.pdf").stat().st_size > 1000
    assert "not" in ran.document["verdict"].lower()


def test_a_time_that_is_none_is_refused(command: Command, job: str, tmp_path: Path) -> None:
    ran = command("report", job, "--out", str(tmp_path / "out"), "--timestamp", "yesterday")
    assert ran.status == 2

"""One new file is all a check takes: it appears everywhere without another edit."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from backtospec import catalogue
from backtospec.bench import captures
from backtospec.check import CaptureInput
from backtospec.cli.app import run_command_line
from backtospec.errors import BenchError

NEW_CHECK = """
from backtospec.check import *
from backtospec.check import Advice, AdviceKind, Check, Counsel, Example, Measurement
from backtospec.check import NumberInput, ResultKey, Stage
from backtospec.records import Limit, PowerState
from backtospec.verdict import Result


def measure(answers):
    value = answers.number("delay")
    return Measurement((Result("delay_s", "relay delay", value, "s", "by ear", ("delay",)),))


CHECK = Check(
    id="relay-delay",
    title="Relay delay",
    stage=Stage.SUPPLY,
    power_states=(PowerState.MAINS,),
    why="The relay keeps the thump from the speakers.",
    cautions=("No speaker yet.",),
    steps=("Power up and count.",),
    inputs=(NumberInput(key="delay", prompt="Delay", unit="s", low=0, high=60, required=True),),
    results=(ResultKey("delay_s", "relay delay", "s"),),
    measure=measure,
    limits=lambda answers: (Limit("delay_s", 3, 8, "s", "from memory", convention=True),),
    advise=lambda findings: Counsel((Advice(AdviceKind.LEAVE, "It closes in time."),)),
    examples=(Example("five seconds", "from memory", {"delay": "5 s"}, (AdviceKind.LEAVE,)),),
    sources=("3 to 8 s: from memory",),
)
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv(catalogue.EXTRA_FOLDER, str(tmp_path))
    catalogue.all_checks.cache_clear()
    yield tmp_path
    catalogue.all_checks.cache_clear()


def test_a_dropped_file_is_listed_and_runs(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "relay_delay.py").write_text(NEW_CHECK)
    assert run_command_line(["checks", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["checks"]
    assert "relay-delay" in [check["id"] for check in listed]
    data = ["--data-dir", str(folder / "data"), "--json"]
    run_command_line(["add", "--what", "Lindqvist, A-30, 1979", *_BLANK, *data])
    job = json.loads(capsys.readouterr().out)["job"]
    assert run_command_line(["run", "relay-delay", "--job", job, "--set", "delay=5", *data]) == 0
    ran = json.loads(capsys.readouterr().out)
    assert ran["findings"][0]["verdict"] == "PASS"
    out = folder / "out"
    assert run_command_line(["report", job, "--out", str(out), *data]) == 0
    report = json.loads(capsys.readouterr().out)
    assert "relay delay" in Path(report["files"]["json"]).read_text(encoding="utf-8")


_BLANK = [w for q in ("topology", "claim", "mains", "meter") for w in (f"--{q}", "")]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("x = 1\n", "defines no CHECK."),
        (
            NEW_CHECK.replace('cautions=("No speaker yet.",)', "cautions=()"),
            "declares no cautions.",
        ),
        (NEW_CHECK.replace('id="relay-delay"', 'id="dc-offset"'), "is taken"),
    ],
)
def test_a_broken_file_fails_loudly(folder: Path, text: str, what: str) -> None:
    (folder / "broken.py").write_text(text)
    with pytest.raises(BenchError, match=what):
        catalogue.all_checks()


def test_every_recording_a_check_asks_for_can_be_analysed() -> None:
    wanted = {
        item.analysis
        for check in catalogue.all_checks()
        for item in check.inputs
        if isinstance(item, CaptureInput)
    }
    assert wanted
    assert wanted <= set(captures.kinds())

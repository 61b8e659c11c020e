"""Published cases, entered through the command line with only what each one states.

Each names its page. What must be concluded and what must not be advised are both asserted.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Command, Ran

SHEET_10_MV = """\
maker = "Lindqvist"
model = "A-30"
[offset]
limit = "10 mV"
adjustable = true
source = "service manual"
"""


def settings(**answers: str) -> list[str]:
    return [word for key, text in answers.items() for word in ("--set", f"{key}={text}")]


def kinds(ran: Ran) -> list[str]:
    return [advice["kind"] for advice in ran.document["advice"]]


def causes(ran: Ran) -> list[str]:
    return [cause["name"] for cause in ran.document["causes"]]


def values(ran: Ran) -> dict[str, float]:
    return {r["key"]: r["value"] for r in ran.document["results"] if r["value"] is not None}


def test_one_ohm_resistors_35_and_7_mv(command: Command) -> None:
    """diyaudio.com/community/threads/372693 p. 3."""
    ran = command(
        *("run", "idle-current"),
        *settings(point="one-resistor", left="35 mV", right="7 mV", emitter_ohm="1", trimmer="no"),
    )
    assert ran.status == 0
    assert values(ran)["idle_left_a"] == pytest.approx(0.035)
    assert values(ran)["idle_right_a"] == pytest.approx(0.007)
    assert kinds(ran) == ["LEAVE"]
    assert "no danger" in ran.document["advice"][0]["reason"]
    assert "parallel" in ran.document["advice"][0]["reason"]
    assert causes(ran)[0] == "under-biased stage"
    assert len(causes(ran)) > 1
    assert "right" in ran.document["causes"][0]["for"][0]


def test_58_and_64_mv_at_the_speaker_terminals_are_no_bias(command: Command) -> None:
    """diyaudio.com thread 26347 (2004-01-19)."""
    words = settings(point="speaker-terminals", left="58 mV", right="64 mV", emitter_ohm="0.22")
    ran = command("run", "idle-current", *words)
    assert ran.status == 2
    fault = ran.document["error"][0]
    assert "DC offset" in fault["what"]
    assert "nothing about" in fault["what"]
    assert "dc-offset" in fault["fix"]
    as_offset = command("run", "dc-offset", *settings(left="58 mV", right="64 mV"))
    assert not {"STOP", "ADJUST"} & set(kinds(as_offset))


def test_150_mv_against_10_mv_with_trimmers(command: Command, tmp_path: Path) -> None:
    """diyaudio.com/community/threads/345209."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET_10_MV, encoding="utf-8")
    words = settings(left="150 mV", right="150 mV")
    ran = command("run", "dc-offset", "--spec", str(sheet), *words)
    assert ran.status == 1
    assert {f["verdict"] for f in ran.document["findings"]} == {"FAIL"}
    assert kinds(ran) == ["ADJUST", "WAIT"]
    reason = ran.document["advice"][0]["reason"]
    assert "Warm it up first" in reason
    assert "both channels" in reason
    assert "leave the idle trimmer alone" in reason


def test_leaky_20_uf_reads_over_30_and_is_re_formed(command: Command) -> None:
    """retronics.no/2023/02/28, part 5."""
    log = "20 s 4.5 mA; 15 min 1 mA; 1 h 120 µA; 3 h 50 µA"
    words = settings(
        nominal="20 µF", rated_v="450 V", capacitance="30 µF", leakage=log, leakage_limit="500 µA"
    )
    ran = command("run", "filter-capacitor", *words)
    assert ran.status == 0
    assert kinds(ran)[0] == "REMEASURE"
    assert not {"REPLACE", "LEAVE", "STOP"} & set(kinds(ran))
    assert "leakage inflates the reading" in causes(ran)
    leakage = next(f for f in ran.document["findings"] if f["key"] == "leakage_a")
    assert leakage["verdict"] == "PASS"


def test_2200_uf_bad_on_all_three(command: Command) -> None:
    """wotarticle.com …1700642117 (Nov 2023)."""
    words = settings(nominal="2200 µF", capacitance="943 µF", esr="2.2 Ω", voltage_loss="34 %")
    ran = command("run", "filter-capacitor", *words)
    assert ran.status == 1
    assert kinds(ran)[0] == "REPLACE"
    assert not {"LEAVE", "PLAN", "REMEASURE"} & set(kinds(ran))
    failed = {f["key"] for f in ran.document["findings"] if f["verdict"] == "FAIL"}
    assert len(failed) >= 3

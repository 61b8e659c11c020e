"""The safe path at the command line, and what a job says of itself and of what comes next."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Command

PROVEN = ("--set", "residual_v=0,4V", "--set", "residual_later_v=700 mV")


def make_safe(command: Command, job: str) -> None:
    assert command("power", job, "safe", *PROVEN).status == 0


def test_safe_is_kept_with_what_was_measured(command: Command, job: str) -> None:
    ran = command("power", job, "safe", *PROVEN)
    assert ran.status == 0
    assert (ran.document["from"], ran.document["state"]) == ("off", "safe")
    asked = [s["measure"]["key"] for s in ran.document["path"] if s["measure"]]
    assert asked == ["residual_v", "residual_later_v"]
    status = command("status", job).document
    assert status["power"]["state"] == "safe"
    kept = {r["id"]: r["value"] for s in status["sittings"] for r in s["readings"]}
    assert kept == {
        ran.document["readings"]["residual_v"]: pytest.approx(0.4),
        ran.document["readings"]["residual_later_v"]: pytest.approx(0.7),
    }


@pytest.mark.parametrize(
    ("given", "what"),
    [
        ((), "residual_v and residual_later_v not given"),
        (("--set", "residual_v=0.4V"), "residual_later_v not given"),
        (("--set", "residual_v=14V", "--set", "residual_later_v=1V"), "14 V is not below 2 V"),
        (("--set", "residual_v=-14V", "--skipped", "in a hurry"), "−14 V is not below 2 V"),
        (("--set", "rail=1V"), "is to be measured on the way"),
        (("--set", "residual_v=dunno"), "dunno"),
    ],
)
def test_safe_is_not_believed(
    command: Command, job: str, given: tuple[str, ...], what: str
) -> None:
    ran = command("power", job, "safe", *given)
    assert ran.status == 2
    [fault] = ran.document["error"]
    assert what.replace("−", "-") in fault["what"].replace("−", "-")
    assert fault["where"]
    assert fault["fix"]
    status = command("status", job).document
    assert status["power"]["state"] is None
    assert status["sittings"] == []


def test_the_reason_for_a_skipped_step_stays_on_record(command: Command, job: str) -> None:
    reason = "bleeders fitted, rails read by the owner"
    assert command("power", job, "safe", "--skipped", reason).status == 0
    assert command("status", job).document["power"]["steps"][0]["skipped"] == reason


def test_no_signal_before_the_offset_is_shown(command: Command, job: str) -> None:
    make_safe(command, job)
    refused = command("power", job, "driven")
    assert refused.status == 2
    assert "offset_v" in refused.document["error"][0]["fix"]
    assert command("power", job, "driven", "--set", "offset_v=150mV").status == 2
    assert command("power", job, "driven", "--set", "offset_v=-12mV").status == 0


def test_an_offset_read_in_the_job_is_shown_already(command: Command, job: str) -> None:
    make_safe(command, job)
    command("power", job, "mains")
    command("run", "dc-offset", "--job", job, "--set", "left=5mV", "--set", "right=3mV")
    ran = command("power", job, "driven", "--leads-stay")
    assert ran.status == 0
    assert [s["state"] for s in ran.document["path"]] == ["mains", "driven"]


def test_cautions_in_full_once_then_in_a_line(command: Command, job: str) -> None:
    make_safe(command, job)
    first = command("power", job, "mains").document["path"][-1]
    command("power", job, "off")
    again = command("power", job, "mains", "--leads-stay").document["path"][-1]
    assert len(first["cautions"]) > 1
    assert len(again["cautions"]) == 1


def test_people_read_the_path_before_a_refusal(command: Command, job: str) -> None:
    ran = command("power", job, "safe", as_json=False)
    assert ran.status == 2
    assert "Pull the plug" in ran.out
    assert "6800 µF" not in ran.out  # the sheet lists no capacitor: the resistor is an example
    assert "for example" in ran.out
    assert "--skipped" in ran.err
    kept = command("power", job, "safe", *PROVEN, as_json=False)
    assert "Kept: safe, unplugged and measured discharged." in kept.out


def test_a_switching_supply_refuses_the_lamp(command: Command) -> None:
    added = command("add", "--what", "Example, One, 1979", *BLANK)
    job = added.document["job"]
    ran = command("power", job, "limited")
    assert ran.status == 2
    assert "switching supply" in ran.document["error"][0]["what"]
    assert command("power", job, "limited", "--skipped", "only to see the lamp").status == 0


BLANK = ("--topology", "switching-supply", "--claim", "", "--mains", "", "--meter", "")


def test_an_unknown_state_is_told_with_those_there_are(command: Command, job: str) -> None:
    ran = command("power", job, "hot")
    assert ran.status == 2
    assert "safe, off, limited, reduced, mains, driven" in ran.document["error"][0]["what"]


# --- a run takes the state of its job ----------------------------------------------------------

OFFSET = ("--set", "left=5mV", "--set", "right=3mV")


def test_a_run_takes_the_state_of_its_job(command: Command, job: str) -> None:
    make_safe(command, job)
    refused = command("run", "dc-offset", "--job", job, *OFFSET)
    assert refused.status == 2
    assert "the amplifier is safe" in refused.document["error"][0]["what"]
    assert "attach the leads" in refused.document["error"][0]["fix"]
    assert command("run", "dc-offset", "--job", job, *OFFSET, "--state", "mains").status == 0
    command("power", job, "mains")
    assert command("run", "dc-offset", "--job", job, *OFFSET).status == 0


def test_a_limiter_told_by_the_state_blocks_the_verdict_and_no_stop(
    command: Command, job: str
) -> None:
    make_safe(command, job)
    command("power", job, "limited")
    ran = command("run", "dc-offset", "--job", job, *OFFSET)
    assert {f["verdict"] for f in ran.document["findings"]} == {"NOT_COMPARABLE"}
    assert ran.document["advice"][0]["kind"] == "REMEASURE"
    out = command("run", "dc-offset", "--job", job, *OFFSET, "--set", "limiter=out")
    assert out.status == 2
    assert "said to be out" in out.document["error"][0]["what"]
    fault = ("--set", "left=40V", "--set", "right=3mV")
    for more in ((), ("--set", "limiter=out")):
        stop = command("run", "dc-offset", "--job", job, *fault, *more)
        assert (stop.status, stop.document["advice"][0]["kind"]) == (1, "STOP")


# --- status ------------------------------------------------------------------------------------


def test_status_says_what_comes_next(command: Command, job: str) -> None:
    fresh = command("status", job).document
    assert fresh["next"] == fresh["next_steps"]["check"]
    assert fresh["next_steps"]["path"][-1]["state"] == fresh["next_steps"]["state"]
    assert fresh["causes"] == []
    command("power", job, "mains")
    command("run", "dc-offset", "--job", job, "--set", "left=40V", "--set", "right=3mV")
    stopped = command("status", job).document
    assert stopped["next_steps"]["stop"]
    assert stopped["next_steps"]["state"] == "safe"
    assert stopped["causes"][0]["for"]


def test_status_in_words(command: Command, job: str) -> None:
    assert "taken as off, which is dangerous" in command("status", job, as_json=False).out
    command("power", job, "mains")
    command("run", "dc-offset", "--job", job, "--set", "left=40V", "--set", "right=3mV")
    told = command("status", job, as_json=False).out
    assert "power: mains, on full mains, for 0 min" in told
    assert "next: DC offset says STOP: make it safe before anything else." in told
    assert "blocked:" in told
    assert "perhaps:" in told

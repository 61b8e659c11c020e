"""Idle current and offset logged over time, through their checks."""

from __future__ import annotations

import math

import pytest

from backtospec.bench.specs import spec_of
from backtospec.catalogue import check_of
from backtospec.check import AdviceKind, Conclusion, Series, SeriesFigure, conclude, read_answers
from backtospec.verdict import Verdict

SPEC = """\
maker = "Lindqvist"
model = "A-30"
[idle]
across = "resistor pair"
reading = "9 to 11 mV"
emitter = "0R22"
source = "service manual"
[offset]
limit = "20 mV"
source = "service manual"
"""


def series(end_mv: float, amplitude_mv: float, minutes: float, tau_min: float = 6.0) -> Series:
    """Return a log of one reading every 30 s, rounded to 0.1 mV, settling to an end."""
    times = [30.0 * i for i in range(int(minutes * 2) + 1)]
    values = [end_mv - amplitude_mv * math.exp(-t / 60 / tau_min) for t in times]
    rounded = tuple(round(v, 1) / 1000 for v in values)
    return Series(tuple(times), rounded, 1e-4, "V", since_on=True)


def judged(check_id: str, logs: dict[str, Series], **texts: str) -> Conclusion:
    check = check_of(check_id)
    given = {**{key: f"{key}.csv" for key in logs}, **texts}
    answers = read_answers(check.inputs, given, series=logs, spec=spec_of(SPEC, "sheet"))
    return conclude(check, answers)


def kinds(conclusion: Conclusion) -> list[AdviceKind]:
    return [advice.kind for advice in conclusion.counsel.advice]


def test_a_settled_log_is_judged_where_it_settles() -> None:
    logs = {"left_series": series(10.1, 4, 75), "right_series": series(9.8, 4, 75)}
    found = judged("idle-current", logs, point="resistor-pair")
    assert kinds(found) == [AdviceKind.LEAVE]
    drops = [f for f in found.findings if f.result.key == "drop_left_v"]
    assert drops[0].verdict is Verdict.PASS
    assert drops[0].result.value is not None
    assert drops[0].result.value.value == pytest.approx(0.0101, abs=5e-5)


def test_an_early_log_waits_and_gives_no_verdict() -> None:
    found = judged("idle-current", {"left_series": series(10, 4, 8)}, point="resistor-pair")
    assert kinds(found)[0] is AdviceKind.WAIT
    assert {f.verdict for f in found.findings} == {Verdict.UNDECIDED}


def test_a_foreseen_end_outside_asks_for_the_trimmers_position_then_names_the_reading() -> None:
    logs = {"left_series": series(14.0, 4, 30)}
    asked = judged("idle-current", logs, point="resistor-pair")
    assert kinds(asked) == [AdviceKind.ADJUST]
    assert "Mark or measure" in asked.counsel.advice[0].reason
    told = judged("idle-current", logs, point="resistor-pair", left_trimmer_at="2 o'clock")
    assert kinds(told) == [AdviceKind.ADJUST]
    assert "mV and stop" in told.counsel.advice[0].reason


def test_fixed_resistors_are_never_turned() -> None:
    logs = {"left_series": series(14.0, 4, 75)}
    found = judged("idle-current", logs, point="resistor-pair", trimmer="no")
    assert AdviceKind.ADJUST not in kinds(found)


def test_runaway_stops_whatever_else_is_said() -> None:
    times = tuple(30.0 * i for i in range(30))
    rising = tuple(round(9 + 0.5 * math.exp(t / 200), 1) / 1000 for t in times)
    log = Series(times, rising, 1e-4, "V", since_on=True)
    found = judged("idle-current", {"left_series": log}, point="resistor-pair", limiter="in")
    assert kinds(found)[0] is AdviceKind.STOP
    assert "switch off" in found.counsel.next_step


def test_an_offset_that_settles_inside_is_left_alone() -> None:
    logs = {"left_series": series(8, -6, 60), "right_series": series(-5, 4, 60)}
    found = judged("dc-offset", logs)
    assert kinds(found) == [AdviceKind.LEAVE]


def test_the_figure_shows_what_was_foreseen_and_what_came() -> None:
    found = judged("idle-current", {"left_series": series(10.1, 4, 75)}, point="resistor-pair")
    figure = next(f for f in found.figures if isinstance(f, SeriesFigure))
    titles = [trace.title for trace in figure.traces]
    assert "Left" in titles
    assert "Left, fitted" in titles
    foreseen = next(t for t in figure.traces if "foreseen" in t.title)
    assert foreseen.y[-1] == pytest.approx(10.1, abs=0.4)
    assert {mark.at for mark in figure.marks} == {9.0, 11.0}

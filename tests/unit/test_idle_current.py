"""Idle current and offset: courses over time, several faults at once, and what silences what."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest

from backtospec.bench.specs import spec_of
from backtospec.catalogue import check_of
from backtospec.check import AdviceKind, Conclusion, Series, conclude, read_answers
from backtospec.errors import BenchError
from backtospec.verdict import Verdict

SPEC = """\
maker = "Lindqvist"
model = "A-30"
[idle]
across = "resistor pair"
reading = "9 to 11 mV"
emitter = "0R22"
source = "service manual"
"""


def series(end_mv: float, minutes: float = 75, jitter_mv: float = 0.0) -> Series:
    """Return a log every 30 s that settles to an end, with unrest from reading to reading."""
    rng = random.Random(11)
    times = [30.0 * i for i in range(int(minutes * 2) + 1)]
    values = [end_mv * (1 - 0.3 * math.exp(-t / 400)) + rng.gauss(0, jitter_mv) for t in times]
    rounded = tuple(round(max(v, 0), 1) / 1000 for v in values)
    return Series(tuple(times), rounded, 1e-4, "V", since_on=True)


def judged(spec: str = SPEC, log: Series | None = None, **texts: str) -> Conclusion:
    check = check_of("idle-current")
    logs = {} if log is None else {"left_series": log}
    given = {**dict.fromkeys(logs, "log.csv"), "point": "resistor-pair", **texts}
    sheet = spec_of(spec, "sheet") if spec else None
    return conclude(check, read_answers(check.inputs, given, series=logs, spec=sheet))


def kinds(conclusion: Conclusion) -> list[AdviceKind]:
    return [advice.kind for advice in conclusion.counsel.advice]


def words(conclusion: Conclusion) -> str:
    return " ".join(advice.reason for advice in conclusion.counsel.advice)


def test_a_single_reading_far_above_stops() -> None:
    for limiter in ("in", "out"):
        assert kinds(judged(left="17.5 mV", limiter=limiter)) == [AdviceKind.STOP]


def test_a_log_that_has_settled_above_is_turned_down_instead() -> None:
    assert kinds(judged(log=series(19.0), left_trimmer_at="noon")) == [AdviceKind.ADJUST]
    assert kinds(judged(log=series(40.0))) == [AdviceKind.STOP]


def test_a_log_that_jitters_wants_a_trimmer_first() -> None:
    restless = judged(log=series(10.0, jitter_mv=0.8))
    assert "before adjusting" in words(restless)
    assert "worn trimmer" in [cause.name for cause in restless.counsel.causes]
    assert kinds(restless) == [AdviceKind.REPLACE]
    assert AdviceKind.REPLACE in kinds(judged(log=series(10.0, jitter_mv=0.4)))
    assert AdviceKind.REPLACE not in kinds(judged(log=series(10.0)))
    assert AdviceKind.REPLACE not in kinds(judged(log=series(10.0, jitter_mv=0.1)))


@pytest.mark.parametrize("sweep", ["jumps", "dead"])
@pytest.mark.parametrize("left", ["4.0 mV", "13.0 mV"])
def test_no_bad_trimmer_is_ever_turned(sweep: str, left: str) -> None:
    found = judged(left=left, minutes_since_on="75", trimmer_sweep=sweep)
    assert kinds(found) == [AdviceKind.REPLACE]


def test_heat_counts_where_no_figure_excuses_it() -> None:
    bare: dict[str, Any] = {"left": "10.0 mV", "minutes_since_on": "75", "heatsink": "62 °C"}
    assert kinds(judged(**bare)) == [AdviceKind.LEAVE]
    assert kinds(judged(spec="", **bare)) == [AdviceKind.STOP]
    assert kinds(judged(**bare, output_devices="other-type")) == [AdviceKind.STOP]


def test_a_loose_sensor_is_no_powering_on() -> None:
    assert kinds(judged(left="10.0 mV", minutes_since_on="75", sensor="loose")) == [AdviceKind.STOP]


def test_two_meters_are_swapped_before_a_channel_is_blamed() -> None:
    apart: dict[str, Any] = {
        "left": "10.0 mV",
        "right": "13.0 mV",
        "emitter_ohm": "0R22",
        "meters": "two",
    }
    first = judged(spec="", **apart)
    assert kinds(first) == [AdviceKind.REMEASURE]
    assert "Swap" in words(first)
    channels = judged(spec="", **apart, left_swapped="10.1 mV", right_swapped="12.9 mV")
    assert kinds(channels)[0] is AdviceKind.LEAVE
    assert "left channel is low" in words(channels)


def test_left_once_more_cancels_a_steady_creep() -> None:
    found = judged(spec="", left="9.0 mV", right="10.0 mV", left_again="11.0 mV")
    balance = next(f.result.value for f in found.findings if f.result.key == "balance_percent")
    assert balance is not None
    assert balance.value == pytest.approx(0.0)


def test_devices_of_both_channels_make_their_idle_currents() -> None:
    rows = "L NPN | 5.0 mV; L PNP | 5.4 mV; R NPN | 5.1 mV; R PNP | 4.9 mV"
    found = judged(point="", devices=rows, minutes_since_on="75", emitter_tolerance_percent="1")
    by_key = {f.result.key: f for f in found.findings}
    left = by_key["idle_left_a"]
    assert left.result.value is not None
    assert left.result.value.value == pytest.approx(0.0052 / 0.22)
    assert left.verdict is Verdict.PASS
    assert set(kinds(found)) == {AdviceKind.LEAVE}


def test_milliamperes_of_a_manual_are_held_against_a_drop() -> None:
    given: dict[str, Any] = {"left": "10.0 mV", "emitter_ohm": "0R22", "minutes_since_on": "75"}
    aim: dict[str, Any] = {"target_current": "23 mA", "target_current_tolerance": "5 mA"}
    found = judged(spec="", **given, **aim)
    verdicts = {f.result.key: f.verdict for f in found.findings}
    assert verdicts["idle_left_a"] is Verdict.PASS
    assert kinds(found) == [AdviceKind.LEAVE]


def test_a_rise_of_the_supply_current_is_judged_as_such() -> None:
    aim: dict[str, Any] = {
        "target_current": "3 mA",
        "target_current_tolerance": "0.5 mA",
        "trimmer": "yes",
    }
    given: dict[str, Any] = {"point": "supply-rise", "minutes_since_on": "75"}
    right = judged(spec="", **aim, **given, right_current="3.1 mA")
    assert kinds(right) == [AdviceKind.LEAVE]
    low = judged(spec="", **aim, **given, right_current="1.2 mA")
    assert kinds(low) == [AdviceKind.ADJUST]


def test_nothing_is_pushed_up_without_a_figure() -> None:
    for left, right in (("1 mV", "9 mV"), ("0.4 mV", "0.5 mV"), ("3 mV", "")):
        texts: dict[str, Any] = {
            "left": left,
            "right": right,
            "emitter_ohm": "0R22",
            "trimmer": "yes",
        }
        found = judged(spec="", **{k: v for k, v in texts.items() if v})
        assert AdviceKind.ADJUST not in kinds(found)


def test_nothing_noted_is_refused() -> None:
    with pytest.raises(BenchError, match="no reading"):
        judged(spec="")

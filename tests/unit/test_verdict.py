"""What the judge says, in every case it knows."""

from __future__ import annotations

import pytest

from backtospec.quantity import Measured
from backtospec.records import Channel, Condition, Limit
from backtospec.verdict import Bound, Result, Verdict, against, conformity, judge, unmet


def result(
    value: float | None,
    u: float = 0.0,
    *,
    bound: Bound = Bound.EQUALS,
    conditions: dict[str, float | str] | None = None,
    unit: str = "W",
    key: str = "power_w",
    reason: str = "",
) -> Result:
    measured = None if value is None else Measured(value, u)
    return Result(
        key,
        "Power",
        measured,
        unit,
        "U²/R",
        ("capture",),
        conditions=conditions or {},
        bound=bound,
        channel=Channel.LEFT,
        reason=reason,
    )


def limit(
    low: float | None = None, high: float | None = None, *conditions: Condition, unit: str = "W"
) -> Limit:
    return Limit("power_w", low, high, unit, "leaflet", conditions)


def test_plain_words_when_undecided() -> None:
    meets = against(result(50.6, 0.5), limit(50.0))
    assert meets.verdict is Verdict.UNDECIDED
    assert meets.reason == "meets it, within measuring error (88 % likely inside)"
    misses = against(result(49.4, 0.5), limit(50.0))
    assert misses.verdict is Verdict.UNDECIDED
    assert misses.reason == "misses it, within measuring error (12 % likely inside)"


@pytest.mark.parametrize(
    ("value", "verdict", "probability"),
    [(50.0, Verdict.PASS, 1.0), (49.999, Verdict.FAIL, 0.0), (60.0, Verdict.PASS, 1.0)],
)
def test_an_exact_value_is_inside_up_to_the_limit(
    value: float, verdict: Verdict, probability: float
) -> None:
    finding = against(result(value), limit(50.0, 60.0))
    assert (finding.verdict, finding.probability) == (verdict, probability)


def test_a_value_too_uncertain_for_a_narrow_window_fails_nothing() -> None:
    finding = against(result(50.0, 10.0), limit(49.0, 51.0))
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.probability == pytest.approx(0.0797, abs=1e-4)


def test_two_tails_count_together() -> None:
    # 2 u from both edges: 2.28 % on each side
    assert against(result(0.0, 1.0), limit(-2.0, 2.0)).verdict is Verdict.UNDECIDED
    assert against(result(0.0, 1.0), limit(-2.3, 2.3)).verdict is Verdict.PASS


def test_no_limit() -> None:
    finding = against(result(50.0, 0.1), None)
    assert (finding.verdict, finding.limit, finding.probability) == (Verdict.NO_LIMIT, None, None)
    assert finding.reason == "nobody stated a limit"


def test_a_limit_without_bounds_passes_nothing() -> None:
    assert against(result(50.0, 0.1), limit()).verdict is Verdict.NO_LIMIT


def test_no_value_says_why() -> None:
    finding = against(result(None, reason="the recorder was overloaded"), limit(50.0))
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.reason == "the recorder was overloaded"
    assert finding.probability is None


def test_units_that_differ_are_not_comparable() -> None:
    finding = against(result(0.1, unit="%"), limit(None, 0.5, unit="dB"))
    assert finding.verdict is Verdict.NOT_COMPARABLE
    assert finding.reason == "taken in %, stated in dB"


LOAD = Condition("load_ohm", 8.0, tolerance_percent=5.0)
DRIVEN = Condition("channels_driven", "both")
BAND = Condition("frequency_hz", low=20.0, high=20_000.0)


@pytest.mark.parametrize(
    ("condition", "taken", "reason"),
    [
        (LOAD, {"load_ohm": 8.0}, None),
        (LOAD, {"load_ohm": 8.4}, None),
        (LOAD, {"load_ohm": 7.6}, None),
        (LOAD, {"load_ohm": 8.41}, "load ohm: taken with 8.41, stated for 8"),
        (LOAD, {"load_ohm": 4.0}, "load ohm: taken with 4, stated for 8"),
        (LOAD, {}, "load ohm was not stated"),
        (LOAD, {"load_ohm": "speaker"}, "load ohm: taken with speaker, stated for 8"),
        (DRIVEN, {"channels_driven": "both"}, None),
        (DRIVEN, {"channels_driven": "one"}, "channels driven: taken with one, stated for both"),
        (DRIVEN, {"channels_driven": 2.0}, "channels driven: taken with 2.0, stated for both"),
        (BAND, {"frequency_hz": 20.0}, None),
        (BAND, {"frequency_hz": 20_000.0}, None),
        (BAND, {"frequency_hz": 19.0}, "frequency hz: 19 lies below 20"),
        (BAND, {"frequency_hz": 20_001.0}, "frequency hz: 20001 lies above 20000"),
        (BAND, {"frequency_hz": "noise"}, "frequency hz: taken with noise, stated for 20…20000"),
    ],
)
def test_conditions(
    condition: Condition, taken: dict[str, float | str], reason: str | None
) -> None:
    assert unmet(condition, taken) == reason
    verdict = against(result(60.0, 0.1, conditions=taken), limit(50.0, None, condition)).verdict
    assert verdict is (Verdict.PASS if reason is None else Verdict.NOT_COMPARABLE)


def test_every_unmet_condition_is_named() -> None:
    taken: dict[str, float | str] = {"load_ohm": 4.0, "channels_driven": "one"}
    finding = against(result(10.0, 0.1, conditions=taken), limit(50.0, None, LOAD, DRIVEN))
    assert finding.reason == (
        "load ohm: taken with 4, stated for 8; channels driven: taken with one, stated for both"
    )
    assert finding.probability is None


@pytest.mark.parametrize(
    ("bound", "value", "low", "high", "verdict"),
    [
        # at most 40: keeps "no more than 50", whatever it really is
        (Bound.AT_MOST, 40.0, None, 50.0, Verdict.PASS),
        (Bound.AT_MOST, 60.0, None, 50.0, Verdict.UNDECIDED),
        (Bound.AT_MOST, 40.0, 50.0, None, Verdict.FAIL),
        (Bound.AT_MOST, 60.0, 50.0, None, Verdict.UNDECIDED),
        (Bound.AT_MOST, 40.0, 30.0, 50.0, Verdict.UNDECIDED),
        (Bound.AT_MOST, 20.0, 30.0, 50.0, Verdict.FAIL),
        (Bound.AT_MOST, 60.0, 30.0, 50.0, Verdict.UNDECIDED),
        (Bound.AT_LEAST, 60.0, 50.0, None, Verdict.PASS),
        (Bound.AT_LEAST, 40.0, 50.0, None, Verdict.UNDECIDED),
        (Bound.AT_LEAST, 60.0, None, 50.0, Verdict.FAIL),
        (Bound.AT_LEAST, 40.0, None, 50.0, Verdict.UNDECIDED),
        (Bound.AT_LEAST, 40.0, 30.0, 50.0, Verdict.UNDECIDED),
        (Bound.AT_LEAST, 60.0, 30.0, 50.0, Verdict.FAIL),
        (Bound.AT_LEAST, 20.0, 30.0, 50.0, Verdict.UNDECIDED),
    ],
)
def test_a_bound_settles_only_what_it_can(
    bound: Bound, value: float, low: float | None, high: float | None, verdict: Verdict
) -> None:
    finding = against(result(value, 1.0, bound=bound), limit(low, high))
    assert finding.verdict is verdict
    assert (finding.probability is None) == (verdict is Verdict.UNDECIDED)
    if verdict is Verdict.PASS:
        assert finding.probability is not None
        assert finding.probability > 0.975
    if verdict is Verdict.FAIL:
        assert finding.probability is not None
        assert finding.probability < 0.025


@pytest.mark.parametrize(("bound", "value"), [(Bound.AT_MOST, 49.0), (Bound.AT_LEAST, 51.0)])
def test_a_bound_has_measuring_error_too(bound: Bound, value: float) -> None:
    limits = (None, 50.0) if bound is Bound.AT_MOST else (50.0, None)
    assert against(result(value, 1.0, bound=bound), limit(*limits)).verdict is Verdict.UNDECIDED
    assert against(result(value, 0.4, bound=bound), limit(*limits)).verdict is Verdict.PASS


def test_judging_many_keeps_their_order_and_leaves_none_out() -> None:
    results = (result(60.0, 0.1), result(1.0, key="thd_percent"), result(40.0, 0.1))
    findings = judge(results, (limit(50.0), limit(None, 100.0)))
    assert [(f.result.key, f.verdict) for f in findings] == [
        ("power_w", Verdict.PASS),
        ("power_w", Verdict.PASS),
        ("thd_percent", Verdict.NO_LIMIT),
        ("power_w", Verdict.FAIL),
        ("power_w", Verdict.PASS),
    ]


def test_without_limits_everything_conforms() -> None:
    assert conformity(Measured(1.0, 5.0), None, None) == 1.0

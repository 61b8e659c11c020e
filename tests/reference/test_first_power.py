"""First power: a STOP is given in every power state; nothing else is judged through a limiter."""

from __future__ import annotations

import pytest

from backtospec.check import AdviceKind, conclude, read_answers
from backtospec.checks.first_power import CHECK
from backtospec.errors import BenchError
from backtospec.records import PowerState
from backtospec.verdict import Verdict

NEAR_A_RAIL = {"rail_plus": "42 V", "rail_minus": "-42 V", "left": "40 V"}


@pytest.mark.parametrize("state", list(PowerState))
def test_an_output_near_a_rail_stops_in_every_state(state: PowerState) -> None:
    """+40 V with rails of ±42 V (ameblo.jp entry 12411295586)."""
    answers = read_answers(CHECK.inputs, NEAR_A_RAIL, power_state=state)
    assert conclude(CHECK, answers).word is AdviceKind.STOP


@pytest.mark.parametrize("state", [PowerState.MAINS, PowerState.SAFE, PowerState.DRIVEN])
def test_good_readings_count_only_on_a_limiter(state: PowerState) -> None:
    given = {"bulb_state": "dim glow", "rail_plus": "42 V", "rail_minus": "-42 V"}
    with pytest.raises(BenchError, match="limited or reduced"):
        conclude(CHECK, read_answers(CHECK.inputs, given, power_state=state))


@pytest.mark.parametrize("millivolt", [1, 40, 99, 101, 400, 999])
def test_an_offset_is_never_passed_or_failed_on_a_limiter(millivolt: int) -> None:
    given = {"left": f"{millivolt} mV", "rail_plus": "38 V", "rail_minus": "-38 V"}
    conclusion = conclude(CHECK, read_answers(CHECK.inputs, given))
    verdicts = {f.verdict for f in conclusion.findings if f.result.key == "offset_left_v"}
    assert verdicts == {Verdict.NOT_COMPARABLE}
    assert conclusion.word is (AdviceKind.LEAVE if millivolt < 100 else AdviceKind.WAIT)


@pytest.mark.parametrize("minus", ["30 V", "-30 V"])
def test_the_sign_of_the_negative_rail_may_be_left_out(minus: str) -> None:
    given = {"rail_plus": "30 V", "rail_minus": minus}
    conclusion = conclude(CHECK, read_answers(CHECK.inputs, given))
    apart = next(f for f in conclusion.findings if f.result.key == "rails_uneven_percent")
    assert apart.result.value is not None
    assert apart.result.value.value == 0


def test_half_a_low_rail_is_a_fault_below_a_volt() -> None:
    given = {"rail_plus": "1.6 V", "rail_minus": "-1.6 V", "right": "0.9 V"}
    assert conclude(CHECK, read_answers(CHECK.inputs, given)).word is AdviceKind.STOP

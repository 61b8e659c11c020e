"""Parts read with the power off, against published bench cases and the rule of what is proven."""

from __future__ import annotations

import pytest

from backtospec.analysis.cold_parts import Band, State, judge_junction, judge_resistor
from backtospec.check import AdviceKind, Conclusion, conclude, read_answers
from backtospec.checks.junctions_and_resistors import CHECK


def concluded(parts: str, **others: str) -> Conclusion:
    return conclude(CHECK, read_answers(CHECK.inputs, {"parts": parts, **others}))


def word(parts: str, **others: str) -> AdviceKind:
    return concluded(parts, **others).word


@pytest.mark.parametrize(
    ("read", "percent"),
    [("544k", 15.7), ("498k", 6.0), ("544 kΩ", 15.7), ("0.498 MΩ", 6.0)],
)
def test_drift_of_470_k(read: str, percent: float) -> None:
    """470 kΩ ±5 % read 544 k and 498 k (amateur's blog entry 2025/01/04/151404)."""
    conclusion = concluded(f"R1 | resistor | 470k | - | {read} | 5")
    off = next(f for f in conclusion.findings if f.result.key == "resistor_percent")
    assert off.result.value is not None
    assert off.result.value.value == pytest.approx(percent, abs=0.06)
    assert conclusion.word is AdviceKind.REPLACE


@pytest.mark.parametrize("ohm", [480e3, 490e3, 470e3, 447e3])
def test_inside_its_tolerance_it_is_left(ohm: float) -> None:
    assert word(f"R1 | resistor | 470k | {ohm:.0f} | - | 5 %") is AdviceKind.LEAVE


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.85])
def test_low_never_condemns_in_circuit_and_high_always_does(share: float) -> None:
    band = Band(1000.0, 5.0)
    low = judge_resistor(1000 * share, 0.5, band, in_circuit=True, leads_known=True)
    assert low is State.INCONCLUSIVE
    assert judge_resistor(1000 * share, 0.5, band, in_circuit=False, leads_known=True) is State.LOW
    for in_circuit in (True, False):
        high = judge_resistor(1000 / share, 0.5, band, in_circuit=in_circuit, leads_known=True)
        assert high is State.HIGH


@pytest.mark.parametrize(
    ("read", "leads", "expected"),
    [
        ("0.7", "", AdviceKind.LEAVE),  # ameblo.jp entry 12411295586
        ("0.7", "0.25", AdviceKind.LEAVE),
        ("0.7", "0.05", AdviceKind.REPLACE),
        ("1.8", "", AdviceKind.REPLACE),
        ("OL", "", AdviceKind.REPLACE),
    ],
)
def test_an_emitter_resistor_of_0_44_ohm(read: str, leads: str, expected: AdviceKind) -> None:
    given = {"lead_ohm": leads} if leads else {}
    assert word(f"Re | emitter-resistor | 0R44 | - | {read}", **given) is expected


@pytest.mark.parametrize("text", ["OL", "O.L", "open", "∞", "> 20 MΩ", "OVERLOAD"])
def test_every_way_a_meter_says_open(text: str) -> None:
    assert word(f"R15 | fusible | 10 | 10.2 | {text}") is AdviceKind.REPLACE


def test_a_junction_is_judged_beside_the_other_channel() -> None:
    assert judge_junction(0.58, 0.60, None, in_circuit=True) is State.GOOD
    assert judge_junction(0.30, 0.31, None, in_circuit=True) is State.GOOD  # both have a neighbour
    assert judge_junction(0.30, 0.60, None, in_circuit=True) is State.INCONCLUSIVE
    assert judge_junction(0.005, 0.60, None, in_circuit=True) is State.SHORT
    assert judge_junction(float("inf"), 0.60, None, in_circuit=True) is State.OPEN
    assert judge_junction(1.9, 1.85, None, in_circuit=True) is State.GOOD  # a string of three
    assert judge_junction(1.9, None, 1.8, in_circuit=True) is State.GOOD


def test_the_other_channel_may_be_the_bad_one() -> None:
    assert word("Q1 | junction | - | OL | 0.6 V") is AdviceKind.REPLACE
    assert word("Q1 | junction | - | 0.01 V | 0.6 V") is AdviceKind.REPLACE

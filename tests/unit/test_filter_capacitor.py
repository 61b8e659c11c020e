"""What a restorer would say of a filter capacitor, axis by axis."""

from __future__ import annotations

import pytest

from backtospec.check import AdviceKind, Conclusion, conclude, read_answers
from backtospec.check.capacitor_advice import AGEING, COARSE, DRIED, LEAKY, NEIGHBOUR
from backtospec.checks.filter_capacitor import CHECK
from backtospec.errors import BenchError
from backtospec.records import CapacitorSpec, PowerState, SpecSheet
from backtospec.verdict import Verdict

LEAVE, PLAN, WAIT = AdviceKind.LEAVE, AdviceKind.PLAN, AdviceKind.WAIT
REMEASURE, REPLACE, STOP = AdviceKind.REMEASURE, AdviceKind.REPLACE, AdviceKind.STOP

GOOD = {"nominal": "1000 µF", "rated_v": "63 V", "capacitance": "1010 µF", "esr": "0.05 Ω"}
YOUNG = GOOD | {"year": "2005"}
SMALL = {"nominal": "20 µF", "rated_v": "450 V", "leakage_limit": "500 µA"}


def concluded(**answers: str) -> Conclusion:
    return conclude(CHECK, read_answers(CHECK.inputs, answers))


def kinds(**answers: str) -> list[AdviceKind]:
    return [advice.kind for advice in concluded(**answers).counsel.advice]


def causes(conclusion: Conclusion) -> list[str]:
    return [cause.name for cause in conclusion.counsel.causes]


def verdict(conclusion: Conclusion, key: str) -> Verdict:
    return next(f.verdict for f in conclusion.findings if f.result.key == key)


def value(conclusion: Conclusion, key: str) -> float:
    found = next(f.result.value for f in conclusion.findings if f.result.key == key)
    assert found is not None
    return found.value


def test_a_young_part_in_tolerance_is_left_alone() -> None:
    assert kinds(**YOUNG) == [LEAVE]


@pytest.mark.parametrize("age", [{"year": "1977"}, {"age": "45"}])
def test_age_alone_puts_it_on_the_order_list(age: dict[str, str]) -> None:
    assert kinds(**GOOD, **age) == [PLAN]


@pytest.mark.parametrize("seen", ["bulging", "leaking", "Leaking electrolyte"])
def test_what_is_seen_overrides_what_is_read(seen: str) -> None:
    assert kinds(**YOUNG, visible=seen) == [REPLACE]


def test_glue_is_not_leakage() -> None:
    conclusion = concluded(**YOUNG, visible="glue")
    assert conclusion.word is LEAVE
    assert "Glue is not leakage" in conclusion.counsel.advice[0].reason


@pytest.mark.parametrize("circuit", ["in", "out"])
def test_low_capacitance_is_bad_wherever_it_is_read(circuit: str) -> None:
    conclusion = concluded(nominal="1000 µF", capacitance="690 µF", in_circuit=circuit)
    assert conclusion.word is REPLACE
    assert DRIED in causes(conclusion)


def test_a_cause_gathers_the_evidence_of_every_axis() -> None:
    conclusion = concluded(
        nominal="2200 µF", capacitance="943 µF", esr="2.2 Ω", voltage_loss="34 %"
    )
    (cause,) = conclusion.counsel.causes
    assert cause.name == DRIED
    assert len(cause.evidence_for) == 3
    assert "all three" in conclusion.counsel.advice[0].reason


@pytest.mark.parametrize("circuit", ["in", "out"])
def test_high_esr_is_bad_wherever_it_is_read(circuit: str) -> None:
    answers = GOOD | {"esr": "0.90 Ω", "in_circuit": circuit}
    conclusion = concluded(**answers)
    assert [a.kind for a in conclusion.counsel.advice] == [REPLACE]
    assert verdict(conclusion, "esr_ohm") is Verdict.FAIL


@pytest.mark.parametrize(
    "answers", [{"capacitance": "1450 µF"}, {"esr": "0.03 Ω"}, {"capacitance": "1010 µF"}]
)
def test_good_news_in_circuit_is_inconclusive(answers: dict[str, str]) -> None:
    conclusion = concluded(nominal="1000 µF", rated_v="63 V", in_circuit="in", **answers)
    assert [a.kind for a in conclusion.counsel.advice] == [REMEASURE]
    assert NEIGHBOUR in causes(conclusion)


def test_two_in_parallel_are_judged_against_their_sum() -> None:
    pair = {"nominal": "4700 µF", "parallel": "9400 µF", "in_circuit": "in"}
    assert kinds(**pair, capacitance="9300 µF") == [LEAVE]
    assert kinds(**pair, capacitance="5000 µF") == [REPLACE]
    with pytest.raises(BenchError, match="this part included") as refused:
        concluded(**pair | {"parallel": "2200 µF"}, capacitance="5000 µF")
    assert refused.value.faults[0].where == "parallel"


def test_high_without_leakage_reading_is_never_good() -> None:
    conclusion = concluded(nominal="20 µF", rated_v="450 V", capacitance="32 µF", year="1977")
    assert [a.kind for a in conclusion.counsel.advice] == [REMEASURE, PLAN]
    assert LEAKY in causes(conclusion)


def test_high_with_leakage_in_order_is_within_an_old_tolerance() -> None:
    answers = {"capacitance": "30.0 µF", "leakage": "1 h 40 µA"}
    assert kinds(**SMALL, **answers) == [LEAVE]
    assert kinds(**SMALL, **answers, year="2005") == [PLAN]


def test_absurdly_high_and_lossy_is_chemical_ageing() -> None:
    answers = {"nominal": "100 µF", "rated_v": "63 V", "capacitance": "210 µF"}
    answers |= {"leakage": "1 h 40 µA", "frequency": "120 Hz"}
    assert kinds(**answers) == [REMEASURE]
    conclusion = concluded(**answers, tan_delta="0.60")
    assert conclusion.word is REPLACE
    assert AGEING in causes(conclusion)


@pytest.mark.parametrize(
    ("leakage", "kind"),
    [
        ("20 s 4.5 mA", WAIT),
        ("20 s 4.5 mA; 15 min 1 mA", WAIT),
        ("20 s 4.5 mA; 15 min 1 mA; 1 h 120 µA", LEAVE),
        ("20 s 4.5 mA; 3 h 4.5 mA", REPLACE),
        ("20 s 1.0 mA; 2 h 2.0 mA", REPLACE),
    ],
)
def test_re_forming(leakage: str, kind: AdviceKind) -> None:
    assert kinds(**SMALL, leakage=leakage) == [kind]


def test_leakage_read_too_low_or_in_circuit_does_not_count() -> None:
    low = {"leakage": "1 h 40 µA", "leakage_v": "100 V", "working_v": "400 V"}
    assert kinds(**SMALL, **low) == [REMEASURE]
    assert kinds(**SMALL, **low | {"leakage_v": "400 V"}) == [LEAVE]
    assert kinds(**SMALL, leakage="1 h 40 µA", in_circuit="in") == [REMEASURE]


def test_a_coarse_meter_cannot_judge_a_part_of_ten_milliohms() -> None:
    answers = {"nominal": "10000 µF", "rated_v": "63 V", "esr": "0.01 Ω"}
    conclusion = concluded(**answers)
    assert conclusion.word is REMEASURE
    assert verdict(conclusion, "esr_ohm") is Verdict.NOT_COMPARABLE
    # a valid axis decides, and the sentence does not claim the ESR
    both = concluded(**answers, capacitance="10100 µF")
    assert both.word is LEAVE
    assert COARSE in causes(both)
    assert "ESR" not in both.counsel.advice[0].reason


def test_leads_are_subtracted() -> None:
    conclusion = concluded(nominal="100 µF", rated_v="25 V", esr="1.10 Ω", lead_ohm="0.25 Ω")
    assert value(conclusion, "esr_ohm") == pytest.approx(0.85)
    with pytest.raises(BenchError, match="zero the meter"):
        concluded(nominal="100 µF", rated_v="25 V", esr="0.10 Ω", lead_ohm="0.85 Ω")


def test_esr_comes_from_tan_delta_where_it_was_not_read() -> None:
    answers = {"nominal": "1000 µF", "rated_v": "63 V", "capacitance": "1000 µF"}
    conclusion = concluded(**answers, tan_delta="0.090", frequency="120 Hz")
    assert value(conclusion, "esr_ohm") == pytest.approx(0.119366, rel=1e-4)
    assert conclusion.word is LEAVE


def test_tan_delta_counts_only_at_its_frequency() -> None:
    answers = {"nominal": "100 µF", "rated_v": "63 V", "tan_delta": "0.60"}
    assert kinds(**answers, frequency="1 kHz") == [REMEASURE]
    assert kinds(**answers, frequency="100 Hz") == [REPLACE]


def test_without_rated_volts_only_what_no_rating_excuses_is_judged() -> None:
    bad = {"nominal": "2200 µF", "esr": "2.2 Ω"}
    assert kinds(**bad) == [REPLACE]
    assert kinds(**bad | {"esr": "0.12 Ω"}) == [REMEASURE]


def test_voltage_loss() -> None:
    answers = {"nominal": "2200 µF", "capacitance": "2300 µF"}
    assert kinds(**answers, voltage_loss="1.5 %") == [LEAVE]
    assert kinds(**answers, voltage_loss="7.0 %") == [PLAN]
    assert kinds(**answers, voltage_loss="34 %") == [REPLACE]


def test_the_cold_raises_esr() -> None:
    assert kinds(**GOOD | {"esr": "0.90 Ω", "temperature": "2 °C"}) == [REMEASURE]


def test_marked_tolerance_below_is_planned_until_eighty_percent() -> None:
    marked = {"nominal": "1000 µF", "tolerance_low": "-10 %", "tolerance_high": "50 %"}
    below = concluded(**marked, capacitance="850 µF")
    assert below.word is PLAN
    assert verdict(below, "capacitance_ratio_percent") is Verdict.FAIL
    assert kinds(**marked, capacitance="700 µF") == [REPLACE]


def test_too_many_volts_for_its_rating() -> None:
    assert kinds(nominal="100 µF", rated_v="50 V", working_v="-58.0 V") == [REPLACE]


@pytest.mark.parametrize(
    ("answers", "kind"),
    [
        ({}, STOP),
        ({"residual_v": "14.0 V"}, STOP),
        ({"residual_v": "-14.0 V"}, STOP),
        ({"residual_v": "2.00 V"}, STOP),
        ({"residual_v": "0.60 V"}, REMEASURE),
        ({"residual_v": "0.60 V", "residual_later_v": "2.90 V"}, STOP),
        ({"residual_v": "0.60 V", "residual_later_v": "0.90 V"}, LEAVE),
    ],
)
def test_discharge_is_proven_twice(answers: dict[str, str], kind: AdviceKind) -> None:
    conclusion = concluded(nominal="10000 µF", charged_v="63.0 V", **answers)
    assert conclusion.word is kind
    assert value(conclusion, "stored_energy_j") == pytest.approx(19.845, rel=1e-6)
    assert value(conclusion, "discharge_ohm") == 100
    assert value(conclusion, "discharge_rating_w") == 10


def test_stop_is_not_suppressed_by_a_good_or_bad_part() -> None:
    assert kinds(**YOUNG, residual_v="14.0 V")[0] is STOP
    assert kinds(**YOUNG, residual_v="14.0 V", visible="bulging") == [STOP, REPLACE]


def test_a_discharge_resistor_of_ten_kilohms_is_slow() -> None:
    conclusion = concluded(nominal="10000 µF", charged_v="63 V", discharge_resistor="10k")
    assert value(conclusion, "discharge_s") == pytest.approx(345, abs=1)


def test_the_new_part() -> None:
    old = {"nominal": "4700 µF", "rated_v": "50 V"}
    assert kinds(**old, new_capacitance="4700 µF", new_rated_v="63 V") == [LEAVE]
    assert kinds(**old, new_capacitance="10000 µF", new_rated_v="63 V") == [PLAN]
    assert kinds(**old, new_capacitance="4700 µF", new_rated_v="35 V") == [STOP]


def test_the_parts_list_fills_in_what_is_not_typed() -> None:
    listed = CapacitorSpec("C901", 1000e-6, 63.0, "parts list", -10.0, 50.0, 1977)
    sheet = SpecSheet("Example", "One", capacitors=(listed,))
    typed = {"designator": "c901", "capacitance": "1010 µF"}
    conclusion = conclude(CHECK, read_answers(CHECK.inputs, typed, spec=sheet))
    assert conclusion.word is PLAN
    assert value(conclusion, "capacitance_ratio_percent") == pytest.approx(101)


def test_nothing_given_is_refused_and_an_unproven_unit_too() -> None:
    with pytest.raises(BenchError, match="no reading was given"):
        concluded(nominal="100 µF")
    answers = read_answers(CHECK.inputs, YOUNG, power_state=PowerState.OFF)
    with pytest.raises(BenchError, match="measure below 2 V"):
        conclude(CHECK, answers)

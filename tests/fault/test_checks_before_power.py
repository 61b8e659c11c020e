"""Input that the checks before and at the first power cannot use: what, where, and one fix."""

from __future__ import annotations

import pytest

from backtospec.check import Check, conclude, read_answers
from backtospec.checks import (
    capacitor_list,
    capacitor_reforming,
    first_power,
    intake,
    junctions_and_resistors,
    replacement_capacitor,
    supply_rails,
)
from backtospec.errors import BenchError

CASES = [
    (
        capacitor_list.CHECK,
        {"parts": "C1 | 100 | 50 | 99; c1 | 47 | 50 | 46"},
        "“c1” stands in two rows.",
        "parts",
        "Keep one row per part.",
    ),
    (
        capacitor_list.CHECK,
        {"parts": "C1 | 100 | 50 | ninety"},
        "“ninety” is not a number",
        "parts, row 1",
        "Give one number",
    ),
    (
        capacitor_reforming.CHECK,
        {"leakage": "soon 5 mA"},
        "is not a time and a reading",
        "leakage, reading 1",
        "Type it as",
    ),
    (
        replacement_capacitor.CHECK,
        {"nominal": "100 µF"},
        "there is nothing to compare.",
        "replacement capacitor",
        "Give nominal and new_capacitance",
    ),
    (
        replacement_capacitor.CHECK,
        {"diameter": "wide", "new_diameter": "30 mm"},
        "“wide” is not a length.",
        "diameter",
        'Type it as "35 mm".',
    ),
    (first_power.CHECK, {"bulb": "60 W"}, "nothing was noted.", "first power", "Give bulb_state"),
    (
        first_power.CHECK,
        {"bulb_state": "blinking"},
        '"blinking" is not one of',
        "bulb_state",
        "Choose one of them.",
    ),
    (
        supply_rails.CHECK,
        {"nameplate": "220"},
        "no reading was given.",
        "supply and rails",
        "Give mains",
    ),
    (
        supply_rails.CHECK,
        {"chart": "Q1 | - | - | 38 V"},
        "Q1 has no nominal voltage.",
        "chart",
        "Give what the chart says",
    ),
    (
        supply_rails.CHECK,
        {"mains": "2300 V"},
        "2300 V is outside 50…300 V.",
        "Mains, measured",
        "Check the unit.",
    ),
    (
        junctions_and_resistors.CHECK,
        {"parts": "R1 | resistor | - | 10"},
        "R1 has no nominal value.",
        "parts",
        "Give what is marked on it.",
    ),
    (
        junctions_and_resistors.CHECK,
        {"parts": "R1 | resistor | 470k"},
        "no reading was given.",
        "parts",
        "Give a reading",
    ),
    (
        junctions_and_resistors.CHECK,
        {"parts": "R1 | resistor | 470k | fine"},
        "“fine” is not a number",
        "R1, good",
        "Give one number",
    ),
    (intake.CHECK, {}, "nothing was noted.", "intake", "Give at least what it is."),
    (
        intake.CHECK,
        {"fuses": "mains | unknown | 2 A"},
        "“unknown” is not a fuse.",
        "mains, fitted",
        "Write it as",
    ),
    (
        intake.CHECK,
        {"insulation": "a lot"},
        "“a lot” is not a number",
        "insulation",
        "Give one number",
    ),
]


@pytest.mark.parametrize(("check", "given", "what", "where", "fix"), CASES)
def test_unusable_input_is_refused(
    check: Check, given: dict[str, str], what: str, where: str, fix: str
) -> None:
    with pytest.raises(BenchError) as refused:
        conclude(check, read_answers(check.inputs, given))
    fault = refused.value.faults[0]
    assert what in fault.what
    assert fault.where == where
    assert fix in fault.fix

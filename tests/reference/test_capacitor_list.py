"""A list of parts is judged as its parts are, one by one."""

from __future__ import annotations

import pytest

from backtospec.check import AdviceKind, TableFigure, conclude, read_answers
from backtospec.checks import capacitor_list, filter_capacitor

PARTS = [
    # nominal, rated, capacitance, ESR, loss, in or out, year
    ("2200 µF", "63 V", "943 µF", "2.2 Ω", "34 %", "out", "1978"),
    ("100 µF", "500 V", "123 µF", "-", "-", "out", "-"),
    ("1000 µF", "50 V", "1450 µF", "-", "-", "in", "1979"),
    ("10000 µF", "63 V", "11500 µF", "0.03 Ω", "-", "out", "1977"),
    ("4700 µF", "50 V", "4600 µF", "0.4 Ω", "-", "out", "2015"),
    ("20 µF", "450 V", "31 µF", "-", "-", "out", "1955"),
]


@pytest.mark.parametrize("part", PARTS, ids=lambda p: p[2])
def test_a_row_gets_the_word_of_a_single_part(part: tuple[str, ...]) -> None:
    nominal, rated, farad, esr, loss, circuit, year = part
    single = {
        "nominal": nominal,
        "rated_v": rated,
        "capacitance": farad,
        "esr": esr,
        "voltage_loss": loss,
        "in_circuit": circuit,
        "year": year,
    }
    given = {key: text for key, text in single.items() if text != "-"}
    one = conclude(
        filter_capacitor.CHECK, read_answers(filter_capacitor.CHECK.inputs, given)
    ).counsel.advice[0]
    row = f"C1 | {nominal} | {rated} | {farad} | {esr} | {loss} | - | {circuit} | {year}"
    listed = conclude(
        capacitor_list.CHECK, read_answers(capacitor_list.CHECK.inputs, {"parts": row})
    ).counsel.advice[0]
    assert listed.kind is one.kind


def test_what_must_be_bought_is_a_table_for_the_order_list() -> None:
    rows = (
        "C1 | 2200uf | 63 | 943 | 2.2\nC2 | 100 | 500 | 104\nC3 | 47 | 25 | - | - | - | - | - | - "
    )
    rows += "| 47uF 35V"
    answers = read_answers(capacitor_list.CHECK.inputs, {"parts": rows})
    figures = {f.key: f for f in conclude(capacitor_list.CHECK, answers).figures}
    order = figures["order"]
    assert isinstance(order, TableFigure)
    assert order.columns == ("designator", "old", "new", "why")
    assert [row[:3] for row in order.rows] == [
        ("C1", "2200 µF 63 V", "2200 µF, 63 V or more"),
        ("C3", "47 µF 25 V", "47uF 35V"),
    ]


def test_nothing_to_buy_makes_no_order_list() -> None:
    answers = read_answers(capacitor_list.CHECK.inputs, {"parts": "C2 | 100 | 500 | 104"})
    conclusion = conclude(capacitor_list.CHECK, answers)
    assert conclusion.word is AdviceKind.LEAVE
    assert "order" not in {f.key for f in conclusion.figures}

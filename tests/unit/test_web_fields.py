"""A form is what the check declares; what was sent is what the bench is given."""

from __future__ import annotations

from pathlib import Path

import pytest

from backtospec import catalogue
from backtospec.bench.jobs import open_bench
from backtospec.check import Choice, ChoiceInput, NumberInput, SeriesInput, TableInput, TextInput
from backtospec.errors import BenchError
from backtospec.records import Meter, PowerState, SpecSheet
from backtospec.web.fields import (
    Sent,
    blank_fields,
    concerns,
    echo_of,
    given_of,
    groups_of,
    homeless,
    sent_fields,
)

MV = NumberInput(key="left", prompt="Left, drop", unit="mV", low=-1000, high=1000, by_meter=True)
CHECK = catalogue.check_of("volume-ramp")


@pytest.mark.parametrize("check", catalogue.all_checks(), ids=lambda c: c.id)
def test_every_input_is_in_exactly_one_group(check: object) -> None:
    from backtospec.check import Check

    assert isinstance(check, Check)
    groups = groups_of(blank_fields(check, {}))
    keys = [f.item.key for group in groups for row in group.pairs for f in row]
    assert sorted(keys) == sorted(item.key for item in check.inputs)
    assert not all(group.folded for group in groups)
    for group in groups:
        assert not any(group.folded and f.item.required for f in group.fields)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("9,6", "9.60 ± 0.40 mV"),
        ("0.0096 V", "9.60 ± 0.40 mV"),
        ("9.6 mV", "9.60 ± 0.40 mV"),
    ],
)
def test_a_number_is_echoed_in_full(text: str, shown: str) -> None:
    echo = echo_of(MV, text, Meter("bench", 0.5, 3))
    assert echo.text.startswith(shown) or "9.6" in echo.text
    assert "0.5 %" in echo.text


def test_what_cannot_be_read_is_said_before_it_is_sent() -> None:
    wrong = echo_of(MV, "5 Hz", None)
    assert wrong.fault is not None
    assert "5 Hz" in wrong.fault.what
    several = echo_of(MV, "1,000", None)
    assert {c.value for c in several.choices} == {"1.000", "1000"}
    assert echo_of(MV, "  ", None).text == ""
    assert echo_of(TextInput(key="t", prompt="Words"), "anything", None).text == ""


def test_a_series_is_echoed_by_its_last_reading() -> None:
    item = SeriesInput(key="s", prompt="Drop", unit="mV", low=-100, high=100)
    echo = echo_of(item, "5 min 7.1; 15 min 8.9", None)
    assert echo.text == "2 readings, the last 8.9 mV at 15 min"


def test_a_table_is_sent_row_by_row() -> None:
    item = next(i for i in CHECK.inputs if isinstance(i, TableInput))
    first = item.columns[0].key
    sent = Sent({f"cell:{item.key}:{n}:{first}": value for n, value in ((0, "L"), (2, "R"))})
    assert [row[0] for row in sent.cells(item)] == ["L", "R"]
    field = next(f for f in sent_fields(CHECK, sent, None) if f.item.key == item.key)
    assert field.cells[1][0] == "R"
    assert not any(field.cells[-1])  # a row to spare


def test_what_was_sent_is_what_the_bench_is_given(tmp_path: Path) -> None:
    check = catalogue.check_of("idle-current")
    with open_bench(tmp_path / "data") as bench:
        path = tmp_path / "log.csv"
        path.write_text("a\n")
        sha256 = bench.keep_upload(path, "log.csv")
        sent = Sent(
            {
                "point": "resistor-pair",
                "left": " 9.6 ",
                "right": "",
                "file:left_series": sha256,
                "name:left_series": "log.csv",
                "told:left_series:decimal_mark": "comma",
                "form_token": "x",
            }
        )
        state = PowerState.MAINS
        given = given_of(check, sent, bench, SpecSheet("A", "B"), None, state)
        assert given.texts == {"point": "resistor-pair", "left": "9.6"}
        assert given.files["left_series"].read_text() == "a\n"
        assert given.file_names == {"left_series": "log.csv"}
        assert given.told == {"left_series": {"decimal_mark": "comma"}}


def test_the_same_form_sent_again_has_the_same_token_and_another_has_not() -> None:
    sent = Sent({"token": "t", "left": "9.6", "form_token": "a", "ago": "0"})
    again = Sent({"token": "t", "left": "9.6", "form_token": "b", "ago": "40"})
    other = Sent({"token": "t", "left": "9.7", "form_token": "a", "ago": "0"})
    assert sent.token == again.token
    assert sent.token != other.token
    assert Sent({"left": "9.6"}).token == ""


def test_a_fault_stands_beside_its_field_or_above_the_form() -> None:
    check = catalogue.check_of("idle-current")
    error = BenchError.of(
        [
            BenchError("is wrong.", "left", "Mend it."),
            BenchError("is wrong.", "left_series, reading 3", "Mend it."),
            BenchError("is wrong.", "Heatsink temperature", "Mend it."),
            BenchError("is off.", "Idle current", "Switch it on."),
        ]
    )
    named = {i.key for i in check.inputs for f in error.faults if concerns(f, i)}
    assert named == {"left", "left_series", "heatsink"}
    assert [f.what for f in homeless(check, error)] == ["is off."]


def test_conditions_are_taken_over_and_readings_are_not() -> None:
    check = catalogue.check_of("idle-current")
    fields = {f.item.key: f.value for f in blank_fields(check, {"cover": "on", "left": "9.6"})}
    assert fields["cover"] == "on"
    assert fields["left"] == ""
    assert fields["limiter"] == "out"  # its default


def test_a_choice_is_not_echoed() -> None:
    item = ChoiceInput(key="c", prompt="Cover", choices=(Choice("on", "On"),))
    assert echo_of(item, "on", None).text == ""

"""Readings noted by hand, in several languages and habits."""

from __future__ import annotations

import pytest

from backtospec.errors import BenchError, Question
from backtospec.sources.log_files import LogOptions, LogReading, Series, parse_log


def noted(text: str, options: LogOptions | None = None) -> LogReading:
    return parse_log("notes.txt", text.encode(), options)


def by_channel(reading: LogReading) -> dict[str | None, Series]:
    return {series.channel: series for series in reading.series}


def test_irregular_table_with_glued_units_and_one_comma() -> None:
    reading = noted(
        "idle current, across both 0R22, lid on, started cold\n\n"
        "at start     5.1mV  L\nat start     4.9mV  R\nafter 3 min  6.1 mV  L     5.7 mV R\n"
        "after 6 min  7.3mV L\n  6 min      6.8mV  R\nafter 12 min  8,4mV  R\n"
        "1/4 h        0.0093V  L\nafter 15 min 8.6mV  R   (2nd fuse still warm)\n"
    )
    found = by_channel(reading)
    assert found["L"].elapsed_s == (0.0, 180.0, 360.0, 900.0)
    assert found["L"].value == (0.0051, 0.0061, 0.0073, 0.0093)
    assert found["R"].elapsed_s == (0.0, 180.0, 360.0, 720.0, 900.0)
    assert found["R"].value == (0.0049, 0.0057, 0.0068, 0.0084, 0.0086)
    assert found["L"].quantum == found["R"].quantum == 0.0001
    assert reading.gaps == ()


@pytest.mark.parametrize(
    "text",
    [
        "after 5 min 8.3 mV left 7.8 mV right\nafter 10 min 9.3 mV left 8.8 mV right",
        "nach 5 Minuten 8,3 mV links, 7,8 mV rechts\nnach 10 Min. 9,3 mV links, 8,8 mV rechts",
        "après 5 minutes 8,3 mV gauche 7,8 mV droite\naprès 10 min 9,3 mV gauche 8,8 mV droite",
        "dopo 5 minuti 8,3 mV sinistra 7,8 mV destra\ndopo 10 min 9,3 mV sinistra 8,8 mV destra",
        "na 5 minuten 8,3 mV links 7,8 mV rechts\nna 10 min 9,3 mV links 8,8 mV rechts",
        "через 5 мин 8,3 мВ лев 7,8 мВ прав\nчерез 10 мин 9,3 мВ лев 8,8 мВ прав",
        "5分 左 8.3mV 右 7.8mV\n10分 左 9.3mV 右 8.8mV",
        "5分後 Lch 8.3mV Rch 7.8mV\n10分後 Lch 9.3mV Rch 8.8mV",
        "５分　左　８．３ｍＶ　右　７．８ｍＶ\n１０分　左　９．３ｍＶ　右　８．８ｍＶ",
        "5 min: L 8.3 R 7.8 mV\n10 min: L 9.3 R 8.8 mV",
        "5 min\n  L 8.3 mV\n  R 7.8 mV\n10 min\n  L 9.3 mV\n  R 8.8 mV",
        "left channel\n5 min 8.3 mV\n10 min 9.3 mV\nright channel\n5 min 7.8 mV\n10 min 8.8 mV",
        "5 min; 8,3 mV; L\n5 min; 7,8 mV; R\n10 min; 9,3 mV; L\n10 min; 8,8 mV; R",
        "Zeit (min)\tLinks (mV)\tRechts (mV)\n5\t8,3\t7,8\n10\t9,3\t8,8",
    ],
)
def test_languages_and_habits(text: str) -> None:
    found = by_channel(noted(text))
    assert found["L"].value == (0.0083, 0.0093)
    assert found["R"].value == (0.0078, 0.0088)
    assert found["L"].elapsed_s == found["R"].elapsed_s == (0.0, 300.0)
    assert found["L"].t0_s == found["R"].t0_s == 300.0


@pytest.mark.parametrize(
    ("time", "seconds"),
    [
        ("90 s", 90.0),
        ("1/4 h", 900.0),
        ("½ h", 1800.0),
        ("half an hour", 1800.0),
        ("eine halbe Stunde", 1800.0),
        ("1 1/2 h", 5400.0),
        ("1 h 30 min", 5400.0),
        ("2,5 min", 150.0),
        ("2 Std", 7200.0),
    ],
)
def test_forms_of_a_time(time: str, seconds: float) -> None:
    series = noted(f"cold 6.0 mV L\n{time} 9.6 mV L\n").series[0]
    assert series.elapsed_s == (0.0, seconds)
    assert series.t0_s is None


def test_times_of_day_over_midnight() -> None:
    found = by_channel(noted("23:50 left 9.8 mV, right 10.4 mV\n0:10 left 10.1 mV, right 10.6 mV"))
    assert found["L"].clock_first == "23:50:00"
    assert found["L"].elapsed_s == (0.0, 1200.0)
    assert found["R"].value == (0.0104, 0.0106)


def test_overload_and_temperature_beside_readings() -> None:
    reading = noted("at start OL L 21°C\nafter 10 min 9.0mV L 38 °C\nafter 20 min 9.2mV L 104°F\n")
    found = by_channel(reading)
    assert found["L"].value == (None, 0.009, 0.0092)
    assert found["L"].status == {0: "overload"}
    assert found["temperature"].value == (21.0, 38.0, 40.0)
    assert found["temperature"].unit == "degC"


def test_resistor_beside_the_reading_is_no_reading() -> None:
    reading = noted("5 min 8.3 mV across 0.22 Ω, left\n10 min 9.3 mV across 0.22 Ω, left")
    assert [(s.channel, s.unit) for s in reading.series] == [("L", "V")]


def test_missing_unit_is_taken_from_the_others_and_said() -> None:
    reading = noted("5 min 8.3 mV L\n10 min 9.3 L\n")
    assert reading.series[0].value == (0.0083, 0.0093)
    assert any(each.line == 2 and "no unit" in each.text for each in reading.assumptions)


@pytest.mark.parametrize(
    ("text", "about", "quote"),
    [
        ("5 min 8.3 L\n10 min 9.3 L", "unit", "8.3"),
        ("5 min 1,234 mV L\n10 min 1,240 mV L", "decimal_mark", "1,234"),
    ],
)
def test_open_notes_are_asked(text: str, about: str, quote: str) -> None:
    with pytest.raises(Question) as caught:
        noted(text)
    assert caught.value.about == about
    assert caught.value.quotes == (quote,)


def test_answers_to_open_notes() -> None:
    unit = noted("5 min 8.3 L\n10 min 9.3 L", LogOptions(unit="mV"))
    assert unit.series[0].value == (0.0083, 0.0093)
    for decimal, value in (("comma", 0.001234), ("point", 1.234)):
        reading = noted("5 min 1,234 mV L", LogOptions(decimal=decimal))
        assert reading.series[0].value == (value,)


def test_numbers_that_cannot_be_told_apart_are_refused() -> None:
    with pytest.raises(BenchError, match=r"8\.3, 9\.1"):
        noted("5 min 8.3 mV L\n10 min 8.3 9.1 L\n20 min 9.5 mV L")

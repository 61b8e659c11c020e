"""Logs as meters, oscilloscopes and spreadsheets write them, built by our own seeded code."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pytest

from backtospec.errors import Question
from backtospec.sources.log_files import (
    LogOptions,
    LogReading,
    Series,
    as_document,
    parse_log,
    parse_logs,
    read_logs,
)

START = dt.datetime(2019, 6, 3, 21, 4, 50)  # noqa: DTZ001 a log's local time


def tenths(seed: int, rows: int, end: int = 124, rise: int = 50) -> list[int]:
    """A warm-up in tenths of a millivolt, as whole counts."""
    rng = np.random.default_rng(seed)
    curve = end - rise * np.exp(-np.arange(rows) / 20) + rng.normal(0, 0.6, rows)
    counts: list[int] = np.round(curve).astype(int).tolist()
    return counts


def volts(counts: list[int]) -> tuple[float, ...]:
    return tuple(count / 10_000 for count in counts)


def one(reading: LogReading) -> Series:
    assert len(reading.series) == 1
    return reading.series[0]


def texts(reading: LogReading) -> str:
    return "; ".join(each.text for each in reading.assumptions)


def asked(data: bytes, options: LogOptions | None = None) -> Question:
    with pytest.raises(Question) as caught:
        parse_log("log.csv", data, options)
    return caught.value


def test_comment_block_names_unit_and_channel() -> None:
    counts = tenths(1, 60)
    lines = ["# bench log", "# across 0.33 Ω, right channel", "# unit: mV", "time,reading"]
    for row, count in enumerate(counts):
        lines.append(f"{(START + dt.timedelta(seconds=20 * row)).isoformat()},{count / 10:.1f}")
    reading = parse_log("log.csv", ("\ufeff" + "\r\n".join(lines) + "\r\n").encode())
    series = one(reading)
    assert (series.channel, series.unit, series.quantum) == ("R", "V", 0.0001)
    assert series.first_time == "2019-06-03T21:04:50"
    assert series.value == volts(counts)
    assert series.elapsed_s == tuple(20.0 * row for row in range(60))
    assert "unit from header: mV" in texts(reading)
    assert reading.gaps == ()
    assert reading.duplicates == ()


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8", "utf-8-sig", "utf-16", "utf-16-be"])
def test_two_channels_and_heatsink_in_columns(encoding: str) -> None:
    left, right = tenths(2, 30), tenths(3, 30, 118)
    lines = ["Ruhestrom, Auflösung 100 µV", "", "Datum;Zeit;Links [mV];Rechts [mV];Kühlkörper [°C]"]
    for row in range(30):
        moment = START + dt.timedelta(seconds=30 * row)
        cells = [f"{moment:%d.%m.%Y}", f"{moment:%H:%M:%S}", f"{left[row] / 10:.1f}"]
        cells += [f"{right[row] / 10:.1f}", f"{20 + row / 2:.1f}"]
        lines.append(";".join(cells[:2] + [cell.replace(".", ",") for cell in cells[2:]]))
    # June 3 is open between day and month, but a dotted date is day first
    reading = parse_log("log.csv", "\r\n".join(lines).encode(encoding))
    assert [(s.channel, s.unit) for s in reading.series] == [
        ("L", "V"),
        ("R", "V"),
        ("heatsink", "degC"),
    ]
    assert reading.series[0].value == volts(left)
    assert reading.series[1].value == volts(right)
    assert reading.series[2].value == tuple(20 + row / 2 for row in range(30))
    assert reading.series[2].first_time == "2019-06-03T21:04:50"


def test_unit_per_row_with_range_change_and_overload() -> None:
    rows = ["0.0\tOL\tV", "5.0\t0.612\tV", "10.0\t0.604\tV", "15.0\tO.L\tmV", "20.0\t598.7\tmV"]
    series = one(parse_log("log.txt", "\n".join(rows).encode(), LogOptions(channels=("L",))))
    assert series.channel == "L"
    assert series.value == (None, 0.612, 0.604, None, 0.5987)
    assert series.status == {0: "overload", 3: "overload"}
    assert series.quantum == 0.0001
    assert series.first_time is None
    assert series.clock_first is None


@pytest.mark.parametrize("mark", ["OL", "O.L", "-OL", "0L", "-----", "9999", "-9999", "9.9E37"])
def test_marks_of_overload(mark: str) -> None:
    series = one(parse_log("log.csv", f"s,mV\n0,9.6\n10,{mark}\n20,9.7\n30,9.7".encode()))
    assert series.value == (0.0096, None, 0.0097, 0.0097)
    assert series.status == {1: "overload"}


def test_all_nines_among_their_like_are_readings() -> None:
    series = one(parse_log("log.csv", b"s,mV\n0,9998\n10,9999\n20,10001"))
    assert series.value == (9.998, 9.999, 10.001)


@pytest.mark.parametrize("mark", ["", "nan", "n/a", "--"])
def test_marks_of_no_reading(mark: str) -> None:
    series = one(parse_log("log.csv", f"s,mV\n0,9.6\n10,{mark}\n20,9.7".encode()))
    assert series.value == (0.0096, None, 0.0097)
    assert series.status == {1: "no reading"}


def test_scaled_time_units_and_a_trigger() -> None:
    ticks = range(-40, 80)
    rng = np.random.default_rng(5)
    steps = rng.integers(-100, 100, len(ticks)).tolist()
    lines = ["Time,CH2"]
    for tick, step in zip(ticks, steps, strict=True):
        shown = f"{25 * tick:.1f}us" if abs(25 * tick) < 1000 else f"{0.025 * tick:.4f}ms"
        lines.append(f"{shown},{step * 0.04:.2f}V")
    series = one(parse_log("scope.csv", "\n".join(lines).encode()))
    assert (series.channel, series.t0_s, series.quantum) == ("CH2", -0.001, 0.04)
    assert series.value == tuple(step * 4 / 100 for step in steps)
    assert max(abs(t - 25e-6 * i) for i, t in enumerate(series.elapsed_s)) < 1e-12


def test_divisions_of_a_screen_with_a_sample_interval() -> None:
    rng = np.random.default_rng(6)
    steps = rng.integers(-100, 100, 80).tolist()
    head = "Source,CH1\nVolts/Div,0.2\nProbe,10\nSample Interval,5.00E-05\nVertical Units,div\n\n"
    rows = "\n".join(f"{i},{step * 0.04:.2f}" for i, step in enumerate(steps))
    reading = parse_log("scope.csv", f"{head}index,div\n{rows}\n".encode())
    series = one(reading)
    assert series.channel == "CH1"
    assert series.value == tuple(step * 8 / 1000 for step in steps)
    assert series.quantum == 0.008
    assert series.elapsed_s[-1] == pytest.approx(79 * 5e-5, abs=1e-12)
    assert "interval" in texts(reading)


def test_volts_per_division_in_millivolts_and_a_short_record() -> None:
    head = "Vertical scale: 500 mV/div\nSample rate: 50 kHz\nindex,div\n"
    series = one(parse_log("scope.csv", f"{head}0,1.96\n1,2.08\n2,-1.20".encode()))
    assert series.value == (0.98, 1.04, -0.6)
    assert series.elapsed_s == (0.0, 2e-5, 4e-5)
    assert series.quantum == 0.005


def test_titles_with_a_row_of_units() -> None:
    data = b"x-axis,1,2\nsecond,mV,Volt\n-1.0E-03,120,3.4\n-0.5E-03,130,3.5\n0.0E-03,140,3.6"
    reading = parse_log("scope.csv", data)
    assert [(s.channel, s.t0_s) for s in reading.series] == [("CH1", -0.001), ("CH2", -0.001)]
    assert reading.series[0].value == (0.12, 0.13, 0.14)


def test_american_stamps_over_midnight() -> None:
    counts = tenths(7, 40)
    lines = ["Sample,Date/Time,Reading (mV)"]
    start = dt.datetime(2021, 5, 19, 23, 55)  # noqa: DTZ001 a log's local time
    for row, count in enumerate(counts):
        at = start + dt.timedelta(seconds=15 * row)
        half = "PM" if at.hour > 11 else "AM"
        stamp = f"{at.month}/{at.day}/{at.year} {at.hour % 12 or 12}:{at:%M:%S} {half}"
        lines.append(f"{row + 1},{stamp},{count / 10:.1f}")
    series = one(parse_log("log.csv", "\n".join(lines).encode()))
    assert series.first_time == "2021-05-19T23:55:00"
    assert series.elapsed_s == tuple(15.0 * row for row in range(40))
    assert series.value == volts(counts)


def test_time_of_day_over_midnight() -> None:
    data = "Zeit\tU/mV\r\n23:59:40\t9,8\r\n23:59:50\t9,9\r\n00:00:00\t10,0\r\n00:00:10\t10,1\r\n"
    reading = parse_log("log.txt", data.encode("utf-16"))
    series = one(reading)
    assert series.clock_first == "23:59:40"
    assert series.first_time is None
    assert series.elapsed_s == (0.0, 10.0, 20.0, 30.0)
    assert "midnight" in texts(reading)


def test_underscored_stamps_with_a_duplicate_and_a_gap() -> None:
    times = [12.5 * i for i in range(60)]
    times[20] = times[19]
    del times[40:45]
    lines = ["; series 1", "; unit = mV, left", "stamp,value"]
    for at in times:
        moment = START + dt.timedelta(seconds=at)
        lines.append(f"{moment:%Y-%m-%d_%H-%M-%S}-{moment.microsecond // 1000:03d},9.6")
    reading = parse_log("log.csv", "\n".join(lines).encode())
    series = one(reading)
    assert series.channel == "L"
    assert series.elapsed_s == tuple(times)
    assert [(d.elapsed_s, d.channels) for d in reading.duplicates] == [(237.5, ("L",))]
    # the stamp that was overwritten by the duplicate leaves a hole of its own
    assert [(g.start_s, g.end_s) for g in reading.gaps] == [(237.5, 262.5), (487.5, 562.5)]


def test_milliseconds_behind_a_third_dot() -> None:
    data = b"24.12.2007 11.10.25.500;9,6;mV\n24.12.2007 11.10.38.000;9,7;mV"
    series = one(parse_log("log.csv", data))
    assert series.first_time == "2007-12-24T11:10:25.500"
    assert series.elapsed_s == (0.0, 12.5)


@pytest.mark.parametrize(
    ("stamp", "first"),
    [
        ("2023-11-04T19:02:10Z", "2023-11-04T19:02:10+00:00"),
        ("2023-11-04 19:02:10+01:00", "2023-11-04T19:02:10+01:00"),
        ("20231104T190210", "2023-11-04T19:02:10"),
        ("2023/11/04 19:02:10", "2023-11-04T19:02:10"),
        ("4 Nov 2023 19:02:10", "2023-11-04T19:02:10"),
        ("4. Dezember 2023 19:02:10", "2023-12-04T19:02:10"),
        ("2023年11月4日 19時02分10秒", "2023-11-04T19:02:10"),
        ("11/14/2023 7:02:10 p.m.", "2023-11-14T19:02:10"),
        ("14.11.23 19:02:10", None),
    ],
)
def test_forms_of_a_stamp(stamp: str, first: str | None) -> None:
    data = f"time;mV\n{stamp};9.6\n{stamp};9.7\n".encode()
    if first is None:
        # 14 may be the day or, in two digits, the year
        assert asked(data).about == "date_order"
    else:
        assert one(parse_log("log.csv", data)).first_time == first


def test_spring_clock_change_is_no_gap() -> None:
    lines = ["# timezone: Europe/Amsterdam", "time;channel;value;unit"]
    start = dt.datetime(2023, 3, 26, 0, 35, tzinfo=dt.UTC)
    for row in range(61):
        moment = start + dt.timedelta(seconds=30 * row)
        local = moment + dt.timedelta(hours=1 if moment.hour < 1 else 2)
        for channel in "LR":
            lines.append(f"{local:%Y-%m-%d %H:%M:%S};{channel};0,0099;V")
    reading = parse_log("log.csv", "\n".join(lines).encode())
    assert [s.channel for s in reading.series] == ["L", "R"]
    for series in reading.series:
        assert series.first_time == "2023-03-26T01:35:00+01:00"
        assert series.elapsed_s == tuple(30.0 * row for row in range(61))
    assert reading.gaps == ()
    assert reading.duplicates == ()
    assert "clock change in Europe/Amsterdam, no gap" in texts(reading)


def test_autumn_hour_stands_twice() -> None:
    times = ["02:30:00", "02:45:00", "02:00:00", "02:15:00", "02:45:00", "03:00:00"]
    data = "\n".join(f"2023-10-29 {time},9.6 mV" for time in times).encode()
    series = one(parse_log("log.csv", data, LogOptions(time_zone="Europe/Berlin")))
    assert series.elapsed_s == (0.0, 900.0, 1800.0, 2700.0, 4500.0, 5400.0)
    assert series.first_time == "2023-10-29T02:30:00+02:00"


def test_autumn_second_pass_follows_from_the_rows_after() -> None:
    data = b"2023-10-29 02:40:00,9.6 mV\n2023-10-29 02:50:00,9.6 mV\n2023-10-29 03:00:00,9.6 mV"
    series = one(parse_log("log.csv", data, LogOptions(time_zone="Europe/Berlin")))
    assert series.elapsed_s == (0.0, 600.0, 1200.0)
    assert series.first_time == "2023-10-29T02:40:00+01:00"


def test_scientific_readings_between_spaces() -> None:
    data = (
        b"elapsed     volts\n00:00:00    1.3400E-02\n00:00:20    1.3800E-02\n00:00:40    1.41E-02"
    )
    series = one(parse_log("log.txt", data))
    assert series.value == (0.0134, 0.0138, 0.0141)
    assert series.quantum == 0.0001
    assert series.clock_first is None
    assert series.t0_s is None


def test_two_files_with_two_forms_of_date() -> None:
    left = b"time\tV\n2021-08-30T16:20:00\t0.0119\n2021-08-30T16:20:20\t0.0128\n"
    right = b"time\tV\n08/30/2021 16:20:10\t0.0105\n08/30/2021 16:20:30\t0.0113\n"
    reading = parse_logs([("idle_l.txt", left), ("idle_r.txt", right)])
    assert [s.channel for s in reading.series] == ["L", "R"]
    assert [s.first_time for s in reading.series] == ["2021-08-30T16:20:00", "2021-08-30T16:20:10"]
    since = LogOptions(channels=("L", "R"), minutes_since_on=2)
    timed = parse_logs([("a.txt", left), ("b.txt", right)], since)
    assert [s.t0_s for s in timed.series] == [120.0, 130.0]


def test_files_from_disk(tmp_path: Path) -> None:
    path = tmp_path / "links.csv"
    path.write_bytes(b"min;mV\n0;6,0\n5;8,5\n")
    series = one(read_logs([path]))
    assert (series.channel, series.elapsed_s) == ("L", (0.0, 300.0))


@pytest.mark.parametrize("slash", ["/", "-"])
def test_open_date_is_asked(slash: str) -> None:
    date = slash.join(("07", "08", "09"))
    data = f"date,time,mV\n{date},20:10:00,6.7\n{date},20:11:00,7.2\n".encode()
    question = asked(data)
    assert question.about == "date_order"
    assert question.quotes == (date,)
    assert question.option == "--date-order"
    assert [choice.value for choice in question.choices] == ["dmy", "mdy", "ymd"]
    for choice in question.choices:
        series = one(parse_log("log.csv", data, LogOptions(date_order=choice.value)))
        assert series.first_time == choice.text.split(" ")[0] + "T20:10:00"
        assert series.value == (0.0067, 0.0072)


def test_full_year_leaves_two_orders() -> None:
    question = asked(b"date,time,mV\n03/04/2005,20:10:00,6.7\n03/04/2005,20:11:00,7.2\n")
    assert [choice.value for choice in question.choices] == ["dmy", "mdy"]


@pytest.mark.parametrize(
    "rows",
    [
        ["03/04/05,23:59:30,9.6", "04/04/05,00:00:00,9.7"],  # only day first runs on
        ["04/04/2005,20:10:00,9.6", "04/04/2005,20:11:00,9.7"],  # the same either way
    ],
)
def test_date_that_the_log_itself_decides(rows: list[str]) -> None:
    series = one(parse_log("log.csv", "\n".join(["date,time,mV", *rows]).encode()))
    assert series.first_time is not None
    assert series.first_time.startswith("2005-04-0")


def test_comma_before_three_digits_is_asked() -> None:
    data = b"  s     mV\n  0  2,345\n 30  2,351\n 60  2,360\n"
    question = asked(data)
    assert question.about == "decimal_mark"
    assert question.quotes == ("2,345",)
    comma = one(parse_log("log.txt", data, LogOptions(decimal="comma")))
    point = one(parse_log("log.txt", data, LogOptions(decimal="point")))
    assert comma.value == (0.002345, 0.002351, 0.00236)
    assert comma.quantum == 1e-06
    assert point.value == (2.345, 2.351, 2.36)
    assert point.quantum == 0.001


@pytest.mark.parametrize(
    ("data", "values"),
    [
        (b"s;V\n0;0,994\n60;1,002\n", (0.994, 1.002)),  # no group starts with a zero
        (b"s;mV\n0;995\n60;1,002\n", (0.995, 1.002)),  # else 995 would fall to 1.002
        (b"s;mV;\xb0C\n0;1,234;24,5\n60;1,240;24,7", (0.001234, 0.00124)),  # 24,5 beside it
        (b"s;A\n0;1,234\n60;1,240", (1.234, 1.24)),  # no 1234 A on a bench
        (b"s\tmV\n0\t1,234.5\n60\t1,240.5", (1.2345, 1.2405)),
        (b"s\tmV\n0\t1.234,5\n60\t1.240,5", (1.2345, 1.2405)),
        (b"s;mV\n0;1'234.5\n60;1'240.5", (1.2345, 1.2405)),
    ],
)
def test_decimal_mark_that_the_file_decides(data: bytes, values: tuple[float, ...]) -> None:
    assert parse_log("log.csv", data).series[0].value == values


def test_range_change_without_a_unit_is_asked() -> None:
    data = b"sec;reading\n0;0.511\n15;0.506\n30;0.502\n45;499.1\n60;0.498\n75;495.2\n"
    question = asked(data)
    assert question.about == "unit"
    assert set(question.quotes) == {"0.502", "499.1"}
    assert [choice.value for choice in question.choices] == ["V/mV", "V", "mV"]
    series = one(parse_log("log.csv", data, LogOptions(unit="V/mV")))
    assert series.value == (0.511, 0.506, 0.502, 0.4991, 0.498, 0.4952)
    jumps = one(parse_log("log.csv", data, LogOptions(unit="mV")))
    assert jumps.value[3] == 0.4991
    assert jumps.value[0] == 0.000511


def test_range_change_under_a_title_from_the_first_row_is_asked() -> None:
    question = asked(b"sec;V\n0;0.511\n15;0.506\n30;499.1\n45;498.2\n")
    assert [choice.value for choice in question.choices] == ["V/mV", "V"]


def test_missing_unit_is_asked_and_answered() -> None:
    data = b"sec,reading\n0,9.6\n15,9.7\n"
    question = asked(data)
    assert question.about == "unit"
    assert question.quotes == ("9.6",)
    assert one(parse_log("log.csv", data, LogOptions(unit="mV"))).value == (0.0096, 0.0097)


@pytest.mark.parametrize(
    ("title", "cell", "expected"),
    [
        ("T [°F]", "104", 40.0),
        ("heatsink (F)", "98.6", 37.0),
        ("T/K", "310.15", 37.0),
        ("Temp °C", "37.0", 37.0),
    ],
)
def test_temperatures(title: str, cell: str, expected: float) -> None:
    series = one(parse_log("log.csv", f"s;{title}\n0;{cell}\n60;{cell}\n".encode()))
    assert series.unit == "degC"
    assert series.value[0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("nV", 1e-9), ("µV", 1e-6), ("uV", 1e-6), ("mV", 1e-3), ("V", 1.0), ("kV", 1e3)],
)
def test_prefixes(unit: str, factor: float) -> None:
    series = one(parse_log("log.csv", f"s,value,unit\n0,0.5,{unit}\n1,0.5,{unit}\n".encode()))
    assert series.value[0] == pytest.approx(0.5 * factor, rel=1e-12)


def test_quality_mark_takes_a_reading_out() -> None:
    data = b"date,time,label,value,units,quality\n" + b"".join(
        f"02/28/2017,12:4{i}:00,Batt,13.{i},V,{'B' if i == 2 else 'G'}\n".encode() for i in range(4)
    )
    series = one(parse_log("log.csv", data))
    assert series.channel == "Batt"
    assert series.value == (13.0, 13.1, None, 13.3)


def test_index_elapsed_value_unit_mode() -> None:
    data = b"no,elapsed s,value,unit,mode\n1,2.0,9.6,mV,DC\n2,4.0,9.7,mV,DC\n"
    series = one(parse_log("log.csv", data))
    assert (series.elapsed_s, series.t0_s, series.value) == ((0.0, 2.0), 2.0, (0.0096, 0.0097))


def test_one_reading_per_line_with_an_interval() -> None:
    series = one(parse_log("log.csv", b"# interval 10 s\n# unit: mV, left\n9.6\n9.7\n9.8\n"))
    assert series.channel == "L"
    assert series.elapsed_s == (0.0, 10.0, 20.0)


def test_irregular_series_has_no_gap() -> None:
    data = "min;mV\n" + "\n".join(
        f"{t};9,{i}" for i, t in enumerate((0, 1, 2, 3, 5, 8, 13, 21, 60))
    )
    assert parse_log("log.csv", data.encode()).gaps == ()


def test_whole_second_stamps_of_a_faster_clock_are_no_gaps() -> None:
    rows = [f"{int(1.5 * i)},9.{i % 10}" for i in range(60)]
    assert parse_log("log.csv", "\n".join(["s,mV", *rows]).encode()).gaps == ()


def test_truncated_last_line_is_left_out_and_said() -> None:
    reading = parse_log(
        "log.csv", b"2023-11-04T19:02:10,9.6 mV\n2023-11-04T19:02:20,9.7 mV\n2023-11-04T19:0"
    )
    assert len(one(reading).value) == 2
    assert any(each.line == 3 and "left out" in each.text for each in reading.assumptions)


def test_document_of_a_reading() -> None:
    document = as_document(parse_log("log.csv", b"s,Left mV\n0,OL\n10,9.6\n20,9.7\n"))
    assert list(document) == [
        "schema", "action", "series", "gaps", "duplicates", "assumptions", "question",
    ]  # fmt: skip
    assert document["schema"] == "backtospec/readings/1"
    assert document["action"] == "read"
    assert document["question"] is None
    series = document["series"][0]
    assert series["channel"] == "L"
    assert series["value"] == [None, 0.0096, 0.0097]
    assert series["status"] == {"0": "overload"}
    assert series["quantum"] == 0.0001
    assert json.loads(json.dumps(document)) == document


def test_document_of_a_question() -> None:
    question = asked(b"s;mV\n0;1,234\n10;1,235\n")
    document = as_document(question)
    assert document["action"] == "ask"
    assert document["series"] == []
    assert document["question"]["about"] == "decimal_mark"
    assert document["question"]["option"] == "--decimal"
    assert [choice["value"] for choice in document["question"]["choices"]] == ["comma", "point"]
    assert json.loads(json.dumps(document)) == document


def test_days_of_a_spreadsheet() -> None:
    series = one(parse_log("log.csv", b"Date,mV\n45234.5,9.6\n45234.50012,9.7\n"))
    assert series.first_time == "2023-11-04T12:00:00"
    assert series.elapsed_s[1] == pytest.approx(10.368, abs=0.001)


def test_seconds_since_1970() -> None:
    series = one(parse_log("log.csv", b"timestamp,V\n1700000000,0.0096\n1700000010.5,0.0097\n"))
    assert series.first_time == "2023-11-14T22:13:20+00:00"
    assert series.elapsed_s == (0.0, 10.5)


def test_column_titled_v_is_not_in_volts() -> None:
    series = one(parse_log("log.csv", b"# channel: R\n# unit: mV\ns,v\n0,9.6\n1,9.7\n"))
    assert (series.channel, series.value) == ("R", (0.0096, 0.0097))


@pytest.mark.parametrize(
    ("title", "channel"),
    [
        ("Lch [mV]", "L"),
        ("U_right mV", "R"),
        ("gauche (mV)", "L"),
        ("destra/mV", "R"),
        ("右(mV)", "R"),
        ("Левый мВ", "L"),
        ("Kanal 2 [mV]", "CH2"),
        ("CH1 mV", "CH1"),
        ("reading [mV]", None),
    ],
)
def test_channel_in_a_title(title: str, channel: str | None) -> None:
    series = one(parse_log("log.csv", f"s;{title}\n0;9,6\n60;9,7\n".encode()))
    assert (series.channel, series.value) == (channel, (0.0096, 0.0097))


@pytest.mark.parametrize("encoding", ["cp1251", "cp932", "utf-8"])
def test_old_code_pages(encoding: str) -> None:
    title = {"cp1251": "Время, с;Левый, мВ", "cp932": "時間 秒;左 mV", "utf-8": "t/s;L µV"}[
        encoding
    ]
    data = f"{title}\n0;9,6\n60;9,7\n".encode(encoding)
    series = one(parse_log("log.csv", data))
    assert (series.channel, series.elapsed_s) == ("L", (0.0, 60.0))


def test_stated_time_since_switch_on() -> None:
    options = LogOptions(minutes_since_on=12.5)
    assert one(parse_log("log.csv", b"s,mV\n0,9.6\n10,9.7\n", options)).t0_s == 750.0


def test_probe_factor_is_said_not_applied() -> None:
    data = b"Volts/Div,0.5\nProbe,10\nSample Interval,1E-3\nindex,div\n0,2.00\n1,2.04\n"
    reading = parse_log("scope.csv", data)
    assert one(reading).value == (1.0, 1.02)
    assert "probe factor 10 is not applied again" in texts(reading)

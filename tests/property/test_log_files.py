"""Whatever is fed in, a log is read, asked about or refused; what was written comes back exact."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backtospec.errors import BenchError, Question
from backtospec.sources.log_files import LogOptions, as_document, parse_log

SEEDS = [
    b"# unit: mV, left\ntime,reading\n2023-11-04T19:02:10,7.4\n2023-11-04T19:02:30,7.6\n",
    b"Datum;Zeit;Links [mV];Rechts [mV];T [\xb0C]\n14.02.2022;21:07:00;9,0;7,8;24,0\n"
    b"14.02.2022;21:07:30;9,5;8,4;24,7\n",
    b"0.0\tOL\tV\n10.0\t0.441\tV\n20.0\t385.2\tmV\n",
    b"at start 6.0mV L\nafter 2 min 7.1 mV L 6.7 mV R\n1/4 h 0.0101V L\n10:30 3.2 mV R\n",
    b"Time,CH1\n-500.0us,-1.36V\n-475.0us,-2.12V\n1.0250ms,-76mV\n",
    b"Sample,Date/Time,Reading (mV)\n1,7/18/2023 11:41:00 PM,10.4\n2,7/19/2023 12:00:15 AM,9\n",
    "Zeit\tU/mV\r\n23:52:40\t9.8\r\n00:00:10\t9.9\r\n".encode("utf-16"),
    b"date,time,mV\n03/04/05,20:10:00,6.7\n03/04/05,20:11:00,7.2\n",
    b"  s  mV\n  0  1,234\n 30  1,241\n",
    b"; unit = mV\nstamp,value\n2007-12-24_11-10-25-500,12.2\n2007-12-24_11-10-38-000,12.4\n",
    b"Source,CH2\nVolts/Div,0.5\nProbe,10\nSample Interval,2.00E-05\n\nindex,div\n0,1.96\n1,2.08\n",
    b"# timezone: Europe/Amsterdam\ntime;channel;value;unit\n2023-03-26 01:59:30;L;0,0066;V\n"
    b"2023-03-26 03:00:00;L;0,0069;V\n",
    b"sec;reading\n0;0.411\n15;399.1\n30;0.402\n45;0.4\n",
    "5分 左 8.3mV 右 7.8mV\n10分 左 9.3mV 右 8.8mV\n".encode(),
]
PIECES = [
    *(text.encode() for text in (
        "OL", ",", ";", "\t", "  ", "1,234", "9.6mV", "1e99", "1e-99", "-", "9" * 20, "\0", '"',
        "03/04/05", "24:61:99", "\n", "\r", "1/0 h", "0/0 h", "after 5 min", " L ", "unit: ", "V",
        "Ω", "左", "²", "٣", "9999-99-99", "0001-01-01 00:00:00", "2200-12-31T23:59:59+23:59",
        "Z", "+99:99", "interval 0", "Sample Rate,0", "#", "12:00", "13 PM", "E37", "div",
        "Volts/Div,1e30", "1.2.3.4", "1,2,3", " K", "°F", "Europe/Berlin", "1e50 K", "9999",
    )),
    b"\xff",
    b"\xff\xfe",
]  # fmt: skip
OPTIONS = [
    LogOptions(),
    LogOptions(unit="mV"),
    LogOptions(unit="V/mV", decimal="comma"),
    LogOptions(decimal="point", date_order="dmy", time_zone="Europe/Berlin"),
    LogOptions(date_order="ymd", channels=("L",), minutes_since_on=5.0),
    LogOptions(date_order="mdy", time_zone="America/New_York"),
]


def check(data: bytes, options: LogOptions) -> str:
    """Read a log; anything but a sound reading, a question or a refusal fails."""
    raised: BenchError | None = None
    try:
        reading = parse_log("log.csv", data, options)
    except BenchError as error:
        raised = error
    if isinstance(raised, Question):
        assert raised.quotes
        assert raised.choices
        assert raised.option.startswith("--")
        json.dumps(as_document(raised))
        return "asked"
    if raised is not None:
        assert all(fault.what and fault.where and fault.fix for fault in raised.faults)
        return "refused"
    assert reading.series
    for series in reading.series:
        assert len(series.elapsed_s) == len(series.value) > 0
        assert series.elapsed_s[0] == 0
        assert all(a <= b for a, b in itertools.pairwise(series.elapsed_s))
        assert series.quantum is not None
        assert series.quantum > 0
        for row, value in enumerate(series.value):
            assert (value is None) == (row in series.status)
            assert value is None or abs(value) < 1e200
    json.dumps(as_document(reading), allow_nan=False)
    return "read"


def damaged(rng: random.Random) -> bytes:
    """A log with a few bytes inserted, removed, or taken from another log."""
    data = bytearray(rng.choice(SEEDS))
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(data) + 1)
        length = rng.randint(0, 8)
        other = rng.choice(SEEDS)
        start = rng.randrange(len(other))
        data[at : at + length] = rng.choice(
            [rng.choice(PIECES), rng.randbytes(1), b"", other[start : start + rng.randint(1, 40)]]
        )
    return bytes(data)


def test_seeds_are_read_or_asked() -> None:
    outcomes = [check(seed, LogOptions()) for seed in SEEDS if b"10:30" not in seed]
    assert outcomes.count("asked") == 3
    assert outcomes.count("refused") == 0


@given(st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_bytes(data: bytes) -> None:
    check(data, LogOptions())


@given(st.text(alphabet='0123456789.,:;-/ \t\n"eEmVLROhin#µ°', max_size=200))
@settings(max_examples=300, deadline=None)
def test_any_text_of_log_signs(text: str) -> None:
    check(text.encode(), LogOptions(unit="mV"))


def test_damaged_logs() -> None:
    rng = random.Random(11)
    outcomes = {check(damaged(rng), rng.choice(OPTIONS)) for _ in range(3000)}
    assert outcomes == {"read", "asked", "refused"}


@pytest.mark.campaign
def test_hundred_thousand_damaged_logs() -> None:
    rng = random.Random(12)
    for _ in range(100_000):
        check(damaged(rng), rng.choice(OPTIONS))


@given(
    counts=st.lists(st.integers(-9998, 9998), min_size=9, max_size=60),
    decimals=st.integers(1, 4),
    unit=st.sampled_from([("mV", 3), ("V", 0), ("µV", 6), ("mA", 3), ("°C", 0)]),
    layout=st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ","), ("  ", ",")]),
    clock=st.sampled_from(["iso", "dots", "elapsed", "american", "underscore"]),
)
@settings(max_examples=150, deadline=None)
def test_what_was_written_comes_back_exact(
    counts: list[int],
    decimals: int,
    unit: tuple[str, int],
    layout: tuple[str, str],
    clock: str,
) -> None:
    separator, mark = layout
    symbol, power = unit
    # one reading that leaves no doubt about the decimal mark, and no unit but one
    counts = [*counts, 5]
    start = dt.datetime(2021, 12, 31, 23, 58, 30)  # noqa: DTZ001 a log's local time
    lines = [f"time{separator}reading [{symbol}]"]
    for row, count in enumerate(counts):
        at = start + dt.timedelta(seconds=7 * row)
        stamp = {
            "iso": at.isoformat(),
            "dots": f"{at:%d.%m.%Y %H:%M:%S}",
            "elapsed": f"{7 * row}",
            "american": f"{at.month}/{at.day}/{at.year} {at:%I:%M:%S %p}",
            "underscore": f"{at:%Y-%m-%d_%H-%M-%S}-000",
        }[clock]
        sign, digits = "-" if count < 0 else "", f"{abs(count):0{decimals + 1}d}"
        lines.append(f"{stamp}{separator}{sign}{digits[:-decimals]}{mark}{digits[-decimals:]}")
    data = "\n".join(lines).encode()
    # numbers jump at random here, which for a title in volts looks like a change of range;
    # the answer to that question is one unit
    options = LogOptions(unit=symbol, decimal="comma" if mark == "," else "point")
    series = parse_log("log.csv", data, options).series[0]
    assert series.value == tuple(count / 10 ** (decimals + power) for count in counts)
    assert series.elapsed_s == tuple(7.0 * row for row in range(len(counts)))
    if clock != "elapsed":
        assert series.first_time == "2021-12-31T23:58:30"


@given(hours=st.integers(0, 5000), step_s=st.sampled_from([60, 600, 1800]))
@settings(max_examples=60, deadline=None)
def test_local_times_of_a_zone_come_back_as_real_time(hours: int, step_s: int) -> None:
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/New_York")
    start = dt.datetime(2023, 10, 1, tzinfo=dt.UTC) + dt.timedelta(hours=hours)
    moments = [start + dt.timedelta(seconds=step_s * row) for row in range(12)]
    lines = ["time,mV"]
    lines += [f"{moment.astimezone(zone):%Y-%m-%d %H:%M:%S},9.6" for moment in moments]
    options = LogOptions(time_zone="America/New_York")
    series = parse_log("log.csv", "\n".join(lines).encode(), options).series[0]
    assert series.elapsed_s == tuple(float(step_s * row) for row in range(12))

"""Logs and options that cannot be used: each refusal says what, where, and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from backtospec.errors import BenchError, Question
from backtospec.sources.log_files import LogOptions, parse_log, parse_logs, read_logs

GOOD = b"s,mV\n0,9.6\n10,9.7\n20,9.8\n"


def refused(data: bytes, options: LogOptions | None = None) -> BenchError:
    with pytest.raises(BenchError) as caught:
        parse_log("log.csv", data, options)
    error = caught.value
    assert not isinstance(error, Question)
    for fault in error.faults:
        assert fault.what.endswith(".")
        assert fault.where
        assert fault.fix.endswith(".")
    return error


FILES: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "empty"),
    "blank": (b" \r\n\t\n", "empty"),
    "zero bytes": (b"\0" * 40, "not text"),
    "binary": (bytes(range(256)) * 4, "not text"),
    "compressed": (b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x02\x03\xcb\x48\xcd\xc9\x07\x00", "not text"),
    "prose": (b"the amplifier hums\nand smells of phenol\n", "the amplifier hums"),
    "one huge line": (b"9," * 80_000, "160000 characters"),
    "no numbers": (b"time,mV\nsoon,high\nlater,higher\n", "time,mV"),
    "no times": (b"mV\n9.6\n9.7\n", "mV"),
    "only overload": (b"s,mV\n0,OL\n10,OL\n20,OL\n", "overload"),
    "only overload, noted": (b"after 2 min OL L\nafter 4 min OL L\n", "overload"),
    "backwards": (b"s,mV\n0,9.6\n20,9.7\n10,9.8\n", "runs backwards, from '20' to '10'"),
    "clock put back": (
        b"time,mV\n2023-10-29 02:50:00,9.6\n2023-10-29 02:00:00,9.7\n",
        "runs backwards",
    ),
    "impossible date": (b"date,time,mV\n31/31/2023,20:00:00,9.6\n", "'31/31/2023' is no date"),
    "minutes or hours": (b"time,mV\n0:00,9.6\n0:30,9.8\n1:00,9.9\n", "'0:00' may be"),
    "divisions without worth": (
        b"Sample Interval,2e-5\nindex,div\n0,1.96\n1,2.08\n",
        "no volts per division",
    ),
    "mixed quantities": (b"0\t9.6\tmV\n10\t21.0\tmA\n20\t9.7\tmV", "mixes A and V"),
    "times too large": (b"s,mV\n0,9.6\n1e30,9.7\n", "too large"),
    "endless volts per division": (
        b"Volts/Div,0.99999999999999999999\nSample Interval,2e-5\nindex,div\n0,1.96\n1,2.08\n",
        "too many digits",
    ),
    "commas for all": (b"s,mV\n0,9,6\n1,9,7\n2,9,8\n", "separator and decimal mark"),
    "megavolts": (b"s,MV\n0,9.6\n1,9.7\n", "9.7e+06 V"),
    "a hundred thousand cells": (b",".join([b"9"] * 49_000) + b"\n", "No rows"),
    "half the table damaged": (
        b"time;channel;value;unit\n"
        + b"2023-03-26 01:35:00;L;0,0066;V\n2023-03-26 01:35OLR;0,0071\n" * 6,
        "does not fit",
    ),
    "noted time that is none": (b"at 25:99 9.6 mV left\nat 26:99 9.7 mV left\n", "'25:99'"),
    "ragged": (b"s,mV\n" + b"0,9.6\n1,2,3,4\n" * 10, "does not fit"),
}


@pytest.mark.parametrize("name", FILES)
def test_files_that_cannot_be_read(name: str) -> None:
    data, quoted = FILES[name]
    assert quoted in str(refused(data))


def test_clock_put_back_names_the_option() -> None:
    assert "--time-zone" in str(refused(FILES["clock put back"][0]))


OPTIONS: dict[str, tuple[LogOptions, str]] = {
    "unit": (LogOptions(unit="parsec"), "'parsec'"),
    "unit pair of two kinds": (LogOptions(unit="V/mA"), "'V/mA'"),
    "unit against the file": (LogOptions(unit="V"), "states mV, not V"),
    "decimal": (LogOptions(decimal="dot"), "'dot'"),
    "decimal against the file": (LogOptions(decimal="comma"), "'9.6'"),
    "date order": (LogOptions(date_order="ydm"), "'ydm'"),
    "time zone": (LogOptions(time_zone="Cellar/Bench"), "'Cellar/Bench'"),
    "channel": (LogOptions(channels=("S",)), "'S'"),
    "too many channels": (LogOptions(channels=("L", "R")), "2 channels for 1 files"),
    "minutes": (LogOptions(minutes_since_on=-1.0), "-1.0 min"),
    "minutes not a number": (LogOptions(minutes_since_on=float("nan")), "nan min"),
}


@pytest.mark.parametrize("name", OPTIONS)
def test_options_that_are_wrong(name: str) -> None:
    options, quoted = OPTIONS[name]
    assert quoted in str(refused(GOOD, options))


def test_date_order_against_the_file() -> None:
    data = b"date,time,mV\n07/18/2005,23:50:00,9.6\n07/18/2005,23:51:00,9.6\n"
    assert "07/18/2005" in str(refused(data, LogOptions(date_order="dmy")))
    assert "07/18/2005" in str(refused(data, LogOptions(date_order="ymd")))


def test_hour_that_the_zone_skips() -> None:
    data = b"time,mV\n2023-03-26 02:30:00,9.6\n2023-03-26 02:31:00,9.6\n"
    text = str(refused(data, LogOptions(time_zone="Europe/Berlin")))
    assert "2023-03-26 02:30:00 does not exist in Europe/Berlin" in text


def test_channel_against_the_file() -> None:
    assert "names the channel L" in str(
        refused(b"# left channel\n" + GOOD, LogOptions(channels=("R",)))
    )


def test_two_files_without_channels() -> None:
    with pytest.raises(BenchError, match="no channel") as caught:
        parse_logs([("a.csv", GOOD), ("b.csv", GOOD)])
    assert "--channel" in caught.value.faults[0].fix


def test_no_files() -> None:
    with pytest.raises(BenchError, match="No file"):
        parse_logs([])


def test_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="cannot be opened"):
        read_logs([tmp_path / "none.csv"])


def test_folder_instead_of_a_file(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="cannot be opened"):
        read_logs([tmp_path])

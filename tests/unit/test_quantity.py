"""Numbers as people write them, and writing them back."""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest

from backtospec.errors import BenchError, Question
from backtospec.quantity import (
    Measured,
    MeterRange,
    decibel_ratio,
    exp,
    in_unit,
    log10,
    read,
    rectangular,
    resolution,
    sqrt,
    to_si,
    with_tolerance,
    write,
)

SPELLINGS = {
    ("mV", 0.0096): (
        "9.6",
        "9,6",
        "9.6 mV",
        "9,6mV",
        "9.6 mv",
        "9.6MV",
        "+9.6 mV",
        "0.0096 V",
        "0,0096v",
        "9600 µV",
        "9600 uV",
        "9.6e-3 V",
        "9.6E-3 volts",
        "９．６ｍＶ",
        " 9.6\u202fmV ",
        "9.6 millivolts",
        "9·6 mV",
        "9.6 ㎷",
    ),
    ("mV", -0.0096): ("-9.6", "−9.6 mV", "–9,6mV", "- 9.6 mV", "－9.6", "-0.0096 Volt"),
    ("V", 0.058): ("58mv", "58 mV", "0.058", "0,058 V", ".058", "58m"),
    ("A", 0.035): ("35 mA", "35ma", "35 milliamps", "0.035", "35000 µA"),
    ("Ω", 0.22): ("0R22", "R22", ".22", "0.22", "0,22", ",22", "0.22R", "0.22 Ω", "220 mΩ", "220m"),
    ("Ω", 4700.0): ("4k7", "4K7", "4.7k", "4,7 kΩ", "4.7 kohm", "4700 Ohms", "4k7Ω", "4k7 ohm"),
    ("Ω", 10_000.0): (
        "10k",
        "10 k",
        "10 kΩ",
        "10 k\u2126",
        "10kohm",
        "10 kilohms",
        "10 000",
        "10\u00a0000",
        "10\u202f000 Ω",
        "10'000",
        "10’000",
        "1e4",
        "10 ㏀",
    ),
    ("Ω", 4.7e6): ("4M7", "4.7 M", "4.7 MΩ", "4.7 meg", "4.7 megohm", "4,700,000", "4.700.000"),
    ("Ω", 0.01): ("10m", "10 mΩ", "10 mohm", "0.01"),
    ("µF", 0.0033): (
        "3300",
        "3300uf",
        "3300 mfd",
        "3300 MFD",
        "3300 m.f.d.",
        "3300µF",
        "3300μF",
        "3300 UF",
        "3300 microfarads",
        "3300u",
        "0.0033 F",
        "3 300 µF",
        "3.3 millifarad",
    ),
    ("F", 2.2e-6): ("2u2", "2µ2", "2μ2", "2.2 µF", "2u2F", "2200 nF", "2200n"),
    ("F", 1e-10): ("100 pF", "100p", "100 mmf", "100 mmfd", "100 µµF", "n10", "0.1n"),
    ("°C", 20.0): (
        "20",
        "20 °C",
        "20C",
        "20 deg C",
        "20 degrees C",
        "68 °F",
        "68F",
        "68 ℉",
        "20 ℃",
    ),
    ("°C", -40.0): ("-40", "-40 °F", "−40 º", "-40°"),
    ("min", 1200.0): (
        "20",
        "20 min",
        "20 minutes",
        "20 mins",
        "20m",
        "after 20 min",
        "1200 s",
        "1200 sec",
        "0.333333333333333333333333333333333 h",
    ),
    ("s", 3600.0): ("3600", "1 h", "1 hr", "1 hour", "60 min", "3600 seconds"),
    ("s", 0.02): ("20 ms", "20 msec", "20000 µs"),
    ("Hz", 1000.0): ("1000", "1 kHz", "1khz", "1k", "1 000 Hz", "1 kc/s", "1000 cps", "0.001 mhz"),
    ("%", 0.5): ("0.5", "0,5 %", "0.5%", "０．５％", "0.5 percent"),
    ("dB", -87.3): ("-87.3", "−87,3 dB", "-87.3db"),
    ("W", 50.0): ("50", "50 W", "50 watts", "0.05 kW", "50000 mW"),
    ("J", 1.5): ("1.5", "1500 mJ", "1,5 joules", "1.5 Ws"),
    ("H", 0.002): ("2 mH", "2mh", "2m", "2m0"),
    ("V/µs", 5e6): ("5", "5 V/µs", "5 V/us", "5 v/usec", "5000 V/ms", "5e6 V/s"),
    ("mV/min", 1e-4): ("6", "6 mV/min", "0.1 mV/s"),
    ("year", 1978.0): ("1978",),
    ("", 2.5): ("2.5", "2,5", "+2.5"),
    ("V", 1000.5): ("1.000,5", "1,000.5", "1 000,5", "1000.5"),
    ("V", 1_000_000.0): ("1,000,000", "1.000.000", "1 000 000"),
    ("V", 1.234): ("1.234", "01,234", "1 234 mV"),
}


@pytest.mark.parametrize(
    ("unit", "value", "text"),
    [(unit, value, text) for (unit, value), texts in SPELLINGS.items() for text in texts],
)
def test_spellings_of_one_value(unit: str, value: float, text: str) -> None:
    got = read(text, unit, "field")
    assert got == (pytest.approx(value, rel=1e-15) if "333" in text else value)


@pytest.mark.parametrize(
    ("text", "unit", "low", "high", "value"),
    [
        ("10,000", "V", 0, 20, 10.0),
        ("10,000", "V", 100, 20_000, 10_000.0),
        ("10,000 mV", "V", 0, 0.5, 0.01),
        ("0,220", "Ω", 0, 1000, 0.22),
        ("3300 mF", "µF", 1, 100_000, 3300e-6),
        ("0.5 mF", "µF", 100, 100_000, 500e-6),
        ("0E22", "Ω", 0.05, 10, 0.22),
        ("0E22Ω", "Ω", 0.05, 10, 0.22),
        ("1e3", "Ω", 0.1, 10_000, 1000.0),
        ("5 MV", "V", 1000, 1e9, 5e6),
        ("5 MV", "V", 0, 0.2, 0.005),
        ("10 mhz", "Hz", 0, 1, 0.01),
        ("200 mV", "mV", -200, 200, 0.2),
        ("0.2", "V", -0.2, 0.2, 0.2),
        ("-0.2 V", "mV", -200, 200, -0.2),
        ("392 °F", "°C", -20, 200, 200.0),
    ],
)
def test_the_plausible_range_decides(
    text: str, unit: str, low: float, high: float, value: float
) -> None:
    assert read(text, unit, "field", low, high) == value


@pytest.mark.parametrize(
    ("text", "unit", "low", "high", "about", "choices"),
    [
        ("10,000", "Ω", None, None, "decimal_mark", ("10.000", "10000")),
        ("10,000 V", "V", 0, 20_000, "decimal_mark", ("10.000 V", "10000 V")),
        ("-1,234mV", "mV", -5000, 5000, "decimal_mark", ("-1.234 mV", "-1234 mV")),
        ("10 mF", "µF", 1, 100_000, "unit", ("10 µF", "10000 µF")),
        ("10m", "F", None, None, "unit", ("10 µF", "10000 µF")),
        ("4E7", "Ω", None, None, "decimal_mark", ("4.7 Ω", "4e7 Ω")),
        ("1,000 mF", "µF", 1, 2e6, "unit", ("1 µF", "1000 µF", "1000000 µF")),
    ],
)
def test_questions(
    text: str,
    unit: str,
    low: float | None,
    high: float | None,
    about: str,
    choices: tuple[str, ...],
) -> None:
    with pytest.raises(Question) as asked:
        read(text, unit, "filter capacitor", low, high)
    question = asked.value
    assert question.about == about
    assert question.quotes == (text,)
    assert question.faults[0].where == "filter capacitor"
    assert tuple(choice.value for choice in question.choices) == choices
    answers = [read(choice.value, unit, "field", low, high) for choice in question.choices]
    assert len(set(answers)) == len(choices)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("9.6 mV", "mV", 1e-4),
        ("35 mV", "mV", 1e-3),
        ("35", "mV", 1e-3),
        ("0.035 V", "mV", 1e-3),
        ("1.20", "V", 0.01),
        ("4k7", "Ω", 100.0),
        ("0R22", "Ω", 0.01),
        ("R22", "Ω", 0.01),
        ("10 000", "Ω", 1.0),
        ("1.2e3", "Ω", 100.0),
        ("1,000.50", "V", 0.01),
        ("3300 µF", "µF", 1e-6),
        ("9 °F", "°C", 5 / 9),
        ("20.0 min", "min", 6.0),
        ("-12.5", "V", 0.1),
    ],
)
def test_resolution(text: str, unit: str, value: float) -> None:
    assert resolution(text, unit) == pytest.approx(value, rel=1e-15)


def test_resolution_of_a_text_the_range_decides() -> None:
    assert resolution("10,000", "V", 0, 20) == 0.001
    assert resolution("10,000", "V", 100, 20_000) == 1.0
    with pytest.raises(Question):
        resolution("10,000", "V")


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (0.0096, "V", 3, "9.6 mV"),
        (0.0096, "mV", 3, "9.6 mV"),
        (-0.0096, "µV", 3, "-9.6 mV"),
        (4700.0, "Ω", 3, "4.7 kΩ"),
        (0.22, "Ω", 3, "220 mΩ"),
        (4.7e6, "Ω", 3, "4.7 MΩ"),
        (3.3e-3, "F", 3, "3300 µF"),
        (0.1, "F", 3, "100000 µF"),
        (0.12, "F", 3, "0.12 F"),
        (2.2, "F", 3, "2.2 F"),
        (4.7e-9, "µF", 3, "4.7 nF"),
        (3.3e-13, "F", 3, "0.33 pF"),
        (999.96, "V", 3, "1 kV"),
        (999.96, "V", 5, "999.96 V"),
        (49.7018, "W", 4, "49.7 W"),
        (49.7018, "W", 1, "50 W"),
        (1000.37, "Hz", 6, "1.00037 kHz"),
        (0.0, "mV", 3, "0 mV"),
        (-0.0, "°C", 3, "0 °C"),
        (-87.34, "dB", 3, "-87.3 dB"),
        (0.0213, "%", 2, "0.021 %"),
        (1200.0, "°C", 3, "1200 °C"),
        (1200.0, "min", 3, "20 min"),
        (1200.0, "s", 3, "1200 s"),
        (5400.0, "h", 3, "1.5 h"),
        (0.02, "s", 3, "20 ms"),
        (1978.0, "year", 3, "1978 year"),
        (5e6, "V/µs", 3, "5 V/µs"),
        (0.00012345, "", 3, "0.000123"),
        (1.5e12, "V", 3, "1500000000 kV"),
        (1.5e15, "V", 3, "1.5e12 kV"),
        (1.5e-20, "V", 3, "1.5e-11 nV"),
    ],
)
def test_write(value: float, unit: str, digits: int, text: str) -> None:
    assert write(value, unit, digits) == text


def test_mega_is_never_written_where_it_is_read_as_milli() -> None:
    for unit in ("V", "A", "W", "J", "H", "s", "F", "VA"):
        assert "M" not in write(5e6, unit)


@pytest.mark.parametrize(
    ("number", "unit", "si"),
    [
        (9.6, "mV", 0.0096),
        (3300.0, "µF", 0.0033),
        (3300.0, "μF", 0.0033),
        (1.0, "k\u2126", 1000.0),
        (2.0, "min", 120.0),
        (2.0, "h", 7200.0),
        (212.0, "°F", 100.0),
        (5.0, "V/µs", 5e6),
        (6.0, "mV/min", 1e-4),
        (7.5, "%", 7.5),
        (1.25, "K/W", 1.25),
        (100.0, "ppm/K", 100.0),
        (0.3, "", 0.3),
    ],
)
def test_conversion_is_exact_both_ways(number: float, unit: str, si: float) -> None:
    assert to_si(number, unit) == si
    assert in_unit(si, unit) == number


def test_numpy_numbers_are_numbers() -> None:
    assert to_si(float(np.float64(9.6)), "mV") == 0.0096
    product = np.float64(2.0) * Measured(3.0, 0.1)
    assert isinstance(product, Measured)
    assert product.u == pytest.approx(0.2)


@pytest.mark.parametrize("unit", ["volt", "xV", "mdB", "k%", "V/", "/s", "mm", "V/fortnight"])
def test_a_unit_the_program_invents_is_a_bug(unit: str) -> None:
    with pytest.raises(ValueError, match="no unit of measure"):
        to_si(1.0, unit)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("unit", ["V", "dB", "F"])
def test_what_is_not_finite_is_not_written(value: float, unit: str) -> None:
    with pytest.raises(ValueError, match="not finite"):
        write(value, unit)


def test_measured_parts() -> None:
    volt = Measured(20.0, 0.1)
    assert (volt.value, volt.u, volt.relative, volt.expanded()) == (20.0, 0.1, 0.005, 0.2)
    assert volt.expanded(3) == pytest.approx(0.3)
    assert (Measured(3).value, Measured(3).u, Measured(3).relative) == (3.0, 0.0, 0.0)
    assert Measured(0.0, 1.0).relative == math.inf
    assert Measured(-4.0, 1.0).relative == 0.25


@pytest.mark.parametrize(
    ("measured", "value", "u"),
    [
        (Measured(3.0, 0.3) + Measured(4.0, 0.4), 7.0, 0.5),
        (Measured(3.0, 0.3) - Measured(4.0, 0.4), -1.0, 0.5),
        (Measured(3.0, 0.3) * Measured(4.0, 0.4), 12.0, 12 * math.sqrt(0.02)),
        (Measured(3.0, 0.3) / Measured(4.0, 0.4), 0.75, 0.75 * math.sqrt(0.02)),
        (Measured(3.0, 0.3) ** 2, 9.0, 1.8),
        (2 ** Measured(3.0, 0.3), 8.0, 8 * math.log(2) * 0.3),
        (1 + Measured(3.0, 0.3), 4.0, 0.3),
        (1 - Measured(3.0, 0.3), -2.0, 0.3),
        (2 * Measured(3.0, 0.3), 6.0, 0.6),
        (6 / Measured(3.0, 0.3), 2.0, 0.2),
        (-Measured(3.0, 0.3), -3.0, 0.3),
        (abs(Measured(-3.0, 0.3)), 3.0, 0.3),
        (abs(Measured(3.0, 0.3)), 3.0, 0.3),
        (Measured(3.0) / 2, 1.5, 0.0),
        (sqrt(Measured(16.0, 0.8)), 4.0, 0.1),
        (log10(Measured(100.0, 1.0)), 2.0, 0.01 / math.log(10)),
        (exp(Measured(0.0, 0.1)), 1.0, 0.1),
        (decibel_ratio(Measured(10.0, 0.1), 1.0), 20.0, 20 / math.log(10) * 0.01),
        (rectangular(5.0, 0.3), 5.0, 0.3 / math.sqrt(3)),
        (with_tolerance(-8.0, 1.0), -8.0, 0.08 / math.sqrt(3)),
    ],
)
def test_arithmetic(measured: Measured, value: float, u: float) -> None:
    assert measured.value == pytest.approx(value, rel=1e-14)
    assert measured.u == pytest.approx(u, rel=1e-12)


def test_what_is_shared_cancels() -> None:
    x, y = Measured(5.0, 0.5), Measured(5.0, 0.5)
    assert (x - x).u == 0.0
    assert (x / x).u == 0.0
    assert (x - abs(-x)).u == 0.0
    assert (x - y).u == pytest.approx(0.5 * math.sqrt(2))
    assert (x + x).u == 1.0


def test_a_copy_is_the_same_variable() -> None:
    x = Measured(5.0, 0.5)
    assert (x - copy.deepcopy(x)).u == 0.0
    assert (x - copy.copy(x)).u == 0.0


@pytest.mark.parametrize(
    ("value", "u"),
    [(math.nan, 0.0), (math.inf, 0.0), (1.0, math.nan), (1.0, math.inf), (1.0, -0.1)],
)
def test_only_finite_values_exist(value: float, u: float) -> None:
    with pytest.raises(ValueError, match="neither is usable"):
        Measured(value, u)


def test_results_stay_finite_and_real() -> None:
    with pytest.raises(ValueError, match="finite real"):
        Measured(1e200) * Measured(1e200)
    with pytest.raises(ValueError, match="finite real"):
        Measured(-1.0) ** 0.5
    with pytest.raises(ValueError, match=r"domain|finite"):
        sqrt(Measured(-1.0, 0.1))
    with pytest.raises(ZeroDivisionError):
        Measured(1.0, 0.1) / 0.0


@pytest.mark.parametrize(
    ("measured", "text"),
    [
        (Measured(22.7272, 0.8012), "22.73 (u 0.80)"),
        (Measured(1234.0, 56.0), "1234 (u 56)"),
        (Measured(0.0096, 0.00021), "0.00960 (u 0.00021)"),
        (Measured(8.0), "8"),
    ],
)
def test_measured_as_text(measured: Measured, text: str) -> None:
    assert str(measured) == text
    assert repr(measured) == f"Measured({measured.value}, {measured.u})"


def test_meter_without_percent_or_without_counts() -> None:
    counts = MeterRange(0.0, 3, 0.01)
    assert counts.measured(20.0).u == pytest.approx(0.03 / math.sqrt(3), rel=1e-15)
    percent = MeterRange(0.5, 0, 0.01)
    assert percent.measured(-20.0).u == pytest.approx(0.1 / math.sqrt(3), rel=1e-15)
    assert percent.measured(-20.0).value == -20.0
    assert MeterRange(0.0, 0.0, 0.0).measured(1.0).u == 0.0
    assert MeterRange(0.5, 3, 0.01).measured(0.0).u == pytest.approx(0.03 / math.sqrt(3))


def test_gain_error_turns_with_the_sign() -> None:
    """A meter that reads 1 % high reads +5 V and −5 V both too large: it cancels in their sum."""
    meter = MeterRange(1.0, 0, 0.01)
    assert (meter.measured(5.0) + meter.measured(-5.0)).u < 1e-15


@pytest.mark.parametrize(
    ("percent", "counts", "step"), [(-1, 3, 0.1), (1, -3, 0.1), (1, 3, -0.1), (math.nan, 3, 0.1)]
)
def test_a_meter_is_never_better_than_perfect(percent: float, counts: float, step: float) -> None:
    with pytest.raises(ValueError, match="meter range"):
        MeterRange(percent, counts, step)


def test_the_plain_refusal() -> None:
    with pytest.raises(BenchError) as refused:
        read("1200", "°C", "heatsink", -20, 200)
    assert str(refused.value) == "heatsink: 1200 °C is outside -20…200 °C. Check the unit."

"""What holds for every number: it survives writing and reading, and nothing crashes."""

from __future__ import annotations

import math

from hypothesis import example, given, settings
from hypothesis import strategies as st

from backtospec.errors import BenchError, Question
from backtospec.quantity import (
    Measured,
    MeterRange,
    decibel_ratio,
    in_unit,
    read,
    resolution,
    to_si,
    write,
)

UNITS = (
    "mV", "V", "µV", "mA", "A", "µA", "Ω", "mΩ", "kΩ", "µF", "nF", "F", "W", "mW", "Hz", "kHz", "s",
    "min", "h", "°C", "%", "dB", "J", "year", "", "V/µs", "H", "mV/min",
)  # fmt: skip
units = st.sampled_from(UNITS)
values = st.one_of(
    st.floats(1e-12, 1e12), st.floats(-1e12, -1e-12), st.just(0.0), st.floats(0.001, 1000.0)
)
texts = st.one_of(
    st.text(max_size=80),
    st.text("0123456789.,' -+−eEkKmMuµnpRVAFΩH°C%/½²١inf\u202f", max_size=14),
    st.from_regex(r"\s?[-+−]?[0-9]{0,4}[.,kRMmuE ]?[0-9]{0,4} ?[a-zA-ZµΩ°%]{0,4}", fullmatch=True),
)
bounds = st.one_of(st.none(), st.floats(-1e6, 1e6))


@given(values, units)
def test_what_is_written_in_full_reads_back(value: float, unit: str) -> None:
    back = read(write(value, unit, digits=17), unit, "field")
    assert math.isclose(back, value, rel_tol=1e-14, abs_tol=1e-11 if unit == "°C" else 0.0)


@given(st.floats(1e-12, 1e9), units, st.integers(1, 8))
def test_what_is_written_short_reads_back_rounded(value: float, unit: str, digits: int) -> None:
    text = write(value, unit, digits)
    back = read(text, unit, "field")
    assert math.isclose(back, value, rel_tol=0.5001 * 10.0 ** (1 - digits))
    assert write(back, unit, digits) == text


@given(st.floats(-1e9, 1e9), units)
def test_conversion_there_and_back(number: float, unit: str) -> None:
    assert math.isclose(in_unit(to_si(number, unit), unit), number, rel_tol=1e-15, abs_tol=1e-300)


@given(
    st.integers(0, 999_999),
    st.integers(0, 5),
    st.sampled_from(["", "-", "−", "+"]),
    st.sampled_from([" mV", "mV", "mv", " MV", " millivolt", "㎷", ""]),
)
def test_spellings_agree(count: int, places: int, sign: str, unit: str) -> None:
    """Point or comma, half or full width, tight or spaced: one number, one value, one step."""
    digits = f"{count:0{places + 1}d}"
    point = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    expected = (-1 if sign in ("-", "−") else 1) * count / 10**places * 1e-3
    wide = str.maketrans("0123456789.", "０１２３４５６７８９．")
    for spelling in (
        f"{sign}{point}{unit}",
        f" {sign} {point} {unit} ",
        f"{sign}{point.translate(wide)}{unit}",
    ):
        assert math.isclose(read(spelling, "mV", "field"), expected, rel_tol=1e-14)
        assert math.isclose(resolution(spelling, "mV"), 10.0 ** (-places - 3), rel_tol=1e-14)
    if places != 3:
        comma = f"{sign}{point.replace('.', ',')}{unit}"
        assert math.isclose(read(comma, "mV", "field"), expected, rel_tol=1e-14)


@given(st.integers(0, 999), st.integers(0, 99), st.sampled_from("RkKM"))
def test_a_letter_is_a_decimal_mark(whole: int, tenths: int, letter: str) -> None:
    factor = {"R": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}[letter]
    expected = float(f"{whole}.{tenths}") * factor
    assert math.isclose(read(f"{whole}{letter}{tenths}", "Ω", "R1"), expected, rel_tol=1e-15)


def attempt(
    text: str, unit: str, low: float | None, high: float | None
) -> tuple[float, BenchError | None]:
    """Read, and return the error if there is one; any other exception is a failed test."""
    try:
        return read(text, unit, "field", low, high), None
    except BenchError as error:
        return math.nan, error


@given(texts, units, bounds, bounds)
@example("10,000", "V", 0.0, 20_000.0)
@example("1,000 mF", "µF", None, None)
@example("0E22", "Ω", None, None)
@example("1e999", "V", None, None)
@example("0E99", "mV", None, None)
@settings(max_examples=800, deadline=None)
def test_any_text_is_read_refused_or_asked_about(
    text: str, unit: str, low: float | None, high: float | None
) -> None:
    got, error = attempt(text, unit, low, high)
    if isinstance(error, Question):
        answers = [read(choice.value, unit, "field", low, high) for choice in error.choices]
        assert len(set(answers)) == len(answers) > 1
        assert error.quotes == (text,)
    elif error is not None:
        (fault,) = error.faults
        assert fault.where == "field"
        assert fault.what.endswith(".")
        assert fault.fix.endswith(".")
        assert str(error).isprintable()
    else:
        assert math.isfinite(got)
        assert low is None or got >= to_si(low, unit)
        assert high is None or got <= to_si(high, unit)
        assert resolution(text, unit, low, high) > 0


@given(st.floats(0.0, 10.0), st.floats(0.0, 50.0), st.floats(1e-6, 1.0), st.floats(-1000.0, 1000.0))
def test_meter_uncertainty_is_the_whole_rectangle(
    percent: float, counts: float, step: float, reading: float
) -> None:
    measured = MeterRange(percent, counts, step).measured(reading)
    half_width = percent / 100 * abs(reading) + counts * step
    assert math.isclose(measured.u, half_width / math.sqrt(3), rel_tol=1e-9, abs_tol=1e-150)
    assert measured.value == reading


@given(st.floats(0.1, 1000.0), st.floats(0.1, 1000.0), st.floats(0.0, 10.0))
def test_a_ratio_never_depends_on_gain(a: float, b: float, percent: float) -> None:
    meter = MeterRange(percent, 0.0, 0.01)
    assert decibel_ratio(meter.measured(a), meter.measured(b)).u < 1e-9


@given(st.floats(0.1, 100.0), st.floats(1e-9, 1.0), st.floats(1e-3, 1e3))
def test_scale_changes_nothing_relative(value: float, u: float, scale: float) -> None:
    measured = Measured(value, u)
    assert math.isclose((scale * measured).relative, measured.relative, rel_tol=1e-12)
    assert math.isclose((measured / scale).relative, measured.relative, rel_tol=1e-12)
    assert math.isclose((measured**2).relative, 2 * measured.relative, rel_tol=1e-12)

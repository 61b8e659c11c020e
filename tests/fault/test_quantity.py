"""Broken numbers: each is refused with what was received, where, and one thing to do."""

from __future__ import annotations

import pytest

from backtospec.errors import BenchError, Question
from backtospec.quantity import read, resolution

OUTSIDE = "Check the unit."

FAULTS = [
    # text, unit, low, high, what, fix
    ("1200", "°C", -20, 200, "1200 °C is outside -20…200 °C.", OUTSIDE),
    ("1200 °C", "°C", -20, 200, "1200 °C is outside -20…200 °C.", OUTSIDE),
    ("1.2 V", "mV", -200, 200, "“1.2 V” (1200 mV) is outside -200…200 mV.", OUTSIDE),
    ("-1", "Ω", 0, None, "-1 Ω is not accepted, only 0 Ω or more.", OUTSIDE),
    ("−4k7", "kΩ", 0, None, "“−4k7” (-4.7 kΩ) is not accepted, only 0 kΩ or more.", OUTSIDE),
    ("9", "%", None, 5, "9 % is not accepted, only 5 % or less.", OUTSIDE),
    ("10,000", "V", 0, 5, "“10,000” (10 V) is outside 0…5 V.", OUTSIDE),
    ("7", "", 1, 6, "7 is outside 1…6.", OUTSIDE),
    ("5 V", "Ω", 0, 10, "“5 V” is not in Ω.", "Give one number, 0…10 Ω."),
    ("5 Ω", "mV", None, None, "“5 Ω” is not in mV.", "Give one number in mV."),
    ("2A5", "V", None, None, "“2A5” is not in V.", "Give one number in V."),
    ("1h30", "min", None, None, "“1h30” is not in min.", "Give one number in min."),
    ("20 K", "°C", None, None, "“20 K” is not in °C.", "Give one number in °C."),
    ("50 %", "", None, None, "“50 %” is not a plain number.", "Give one plain number."),
    ("5 dBV", "dB", None, None, "“5 dBV” is not in dB.", "Give one number in dB."),
    ("5 Vpp", "V", None, None, "“5 Vpp” is not in V.", "Give one number in V."),
    ("5 V/kg", "V/µs", None, None, "“5 V/kg” is not in V/µs.", "Give one number in V/µs."),
    ("5 V", "V/µs", None, None, "“5 V” is not in V/µs.", "Give one number in V/µs."),
    ("5 qΩ", "Ω", None, None, "“5 qΩ” is not in Ω.", "Give one number in Ω."),
    ("", "V", 0, 50, "nothing was given.", "Give one number, 0…50 V."),
    (" \u00a0\t", "V", None, None, "nothing was given.", "Give one number in V."),
    ("nan", "V", 0, 50, "“nan” is not a number.", "Give one number, 0…50 V."),
    ("inf", "V", None, None, "“inf” is not a number.", "Give one number in V."),
    ("-Infinity", "V", None, None, "“-Infinity” is not a number.", "Give one number in V."),
    ("OL", "V", None, None, "“OL” is not a number.", "Give one number in V."),
    ("mV", "mV", None, None, "“mV” is not a number.", "Give one number in mV."),
    (".", "V", None, None, "“.” is not a number.", "Give one number in V."),
    ("1.2.3", "V", None, None, "“1.2.3” is not a number.", "Give one number in V."),
    ("1,00,000", "V", None, None, "“1,00,000” is not a number.", "Give one number in V."),
    ("1.000.5", "V", None, None, "“1.000.5” is not a number.", "Give one number in V."),
    ("--5", "V", None, None, "“--5” is not a number.", "Give one number in V."),
    ("≈5", "V", None, None, "“≈5” is not a number.", "Give one number in V."),
    ("±5", "V", None, None, "“±5” is not a number.", "Give one number in V."),
    ("<5 mV", "mV", None, None, "“<5 mV” is not a number.", "Give one number in mV."),
    (
        "9.6 9.8",
        "mV",
        None,
        None,
        "“9.6 9.8” holds more than one number.",
        "Give one number in mV.",
    ),
    (
        "9.6/9.8 mV",
        "mV",
        0,
        20,
        "“9.6/9.8 mV” holds more than one number.",
        "Give one number, 0…20 mV.",
    ),
    ("9-10", "mV", None, None, "“9-10” holds more than one number.", "Give one number in mV."),
    ("0 123", "mV", None, None, "“0 123” holds more than one number.", "Give one number in mV."),
    (
        "9.6 mV 5 %",
        "mV",
        None,
        None,
        "“9.6 mV 5 %” holds more than one number.",
        "Give one number in mV.",
    ),
    ("10²", "V", None, None, "“10²” holds “²”, which is not read.", "Give one number in V."),
    ("5½", "V", None, None, "“5½” holds “½”, which is not read.", "Give one number in V."),
    ("1e999", "V", None, None, "“1e999” has an exponent beyond ±99.", "Give one number in V."),
    (
        "-1E-999",
        "V",
        0,
        None,
        "“-1E-999” has an exponent beyond ±99.",
        "Give one number, 0 V or more.",
    ),
    ("5\x00V", "V", None, None, "“5\ufffdV” is not in V.", "Give one number in V."),
    ("1\n2", "V", None, None, "“1 2” holds more than one number.", "Give one number in V."),
    ("7" * 200, "V", None, None, f"“{'7' * 59}…” is too long.", "Give one number in V."),
]


@pytest.mark.parametrize(("text", "unit", "low", "high", "what", "fix"), FAULTS)
def test_refused(
    text: str, unit: str, low: float | None, high: float | None, what: str, fix: str
) -> None:
    with pytest.raises(BenchError) as refused:
        read(text, unit, "idle voltage L", low, high)
    (fault,) = refused.value.faults
    assert not isinstance(refused.value, Question)
    assert (fault.what, fault.where, fault.fix) == (what, "idle voltage L", fix)


def test_asked_with_both_readings() -> None:
    with pytest.raises(Question) as asked:
        read("10,000", "Ω", "dummy load", 1, 100_000)
    (fault,) = asked.value.faults
    assert fault.what == (
        "“10,000” can be read as 10.000 (decimal comma) or as 10000 (comma between thousands)."
    )
    assert fault.fix == "Write 10.000 or 10000."
    assert asked.value.option == "--set"


def test_asked_for_the_unit() -> None:
    with pytest.raises(Question) as asked:
        read("22 MF", "µF", "C401", 1, 100_000)
    (fault,) = asked.value.faults
    assert fault.what == "“22 MF” can be read as 22 µF or as 22000 µF."
    assert (fault.where, fault.fix) == ("C401", "Write it in µF.")


def test_resolution_refuses_alike() -> None:
    with pytest.raises(
        BenchError, match=r"^reading: “OL” is not a number\. Give one number in V\.$"
    ):
        resolution("OL", "V")

"""Drop and idle current against a circuit simulator's operating points and handbook arithmetic."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from backtospec.catalogue import check_of
from backtospec.check import Conclusion, conclude, read_answers

DATA = Path(__file__).parent / "data" / "class_ab_idle.csv"


def table() -> list[dict[str, float]]:
    lines = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
    return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(lines)]


def judged(**answers: str) -> Conclusion:
    check = check_of("idle-current")
    return conclude(check, read_answers(check.inputs, answers))


def value(conclusion: Conclusion, key: str) -> float:
    found = next(f.result.value for f in conclusion.findings if f.result.key == key)
    assert found is not None
    return found.value


@pytest.mark.parametrize("row", table(), ids=lambda row: f"{row['Iq_mA']:.1f} mA")
def test_one_resistor_gives_its_own_half(row: dict[str, float]) -> None:
    upper = judged(point="one-resistor", left=f"{row['Ve1_mV']!r} mV", emitter_ohm="0R22")
    assert value(upper, "idle_left_a") == pytest.approx(row["Iq_mA"] / 1000, rel=1e-6)


@pytest.mark.parametrize("row", table(), ids=lambda row: f"{row['Iq_mA']:.1f} mA")
def test_the_pair_gives_the_mean_of_both_halves(row: dict[str, float]) -> None:
    pair = judged(point="resistor-pair", left=f"{row['Vboth_mV']!r} mV", emitter_ohm="0R22")
    mean_a = (row["Ve1_mV"] + row["Ve2_mV"]) / 2 / 0.22 / 1000
    assert value(pair, "idle_left_a") == pytest.approx(mean_a, rel=1e-6)


def test_ten_millivolts_across_the_pair_with_five_percent_resistors() -> None:
    """From memory: 10.0 mV, 0.5 % + 3 counts, 2 × 0.22 Ω 5 % give 22.73 mA ± 7.05 %."""
    found = judged(point="resistor-pair", left="10.0 mV", emitter_ohm="0R22")
    measured = next(f.result.value for f in found.findings if f.result.key == "idle_left_a")
    assert measured is not None
    assert 1000 * measured.value == pytest.approx(22.727, abs=0.001)
    assert 100 * measured.expanded() / measured.value == pytest.approx(7.05, abs=0.02)


def test_a_shared_meter_and_nominal_cancel_in_the_balance() -> None:
    """GUM 5.2: what two readings share drops out of their ratio."""
    found = judged(
        point="resistor-pair",
        left="10.00 mV",
        right="10.00 mV",
        emitter_ohm="0R22",
        emitter_tolerance_percent="0",
    )
    balance = next(f.result.value for f in found.findings if f.result.key == "balance_percent")
    assert balance is not None
    percent, counts = 0.5 / 100, 3 * 0.01 / 10
    private = ((percent + counts) ** 2 - percent**2) ** 0.5 / 3**0.5
    assert balance.u == pytest.approx(100 * private * 2**0.5, rel=1e-3)

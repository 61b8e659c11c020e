"""Capacitor maths against published tables and worked examples."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from backtospec.analysis import capacitor, discharge
from backtospec.analysis.capacitor import CHART_ONE, CHART_TWO, TAN_LEGACY, TAN_MODERN, SourcedEsr
from backtospec.quantity import Measured

DATA = Path(__file__).parent / "data"


def _rows(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", _rows("tan_delta_limits.csv"), ids=lambda r: r["rated_V"])
def test_tan_delta_of_a_new_part(row: dict[str, str]) -> None:
    rated_v = float(row["rated_V"])
    modern = capacitor.largest_tan_delta(100e-6, rated_v)
    legacy = capacitor.largest_tan_delta(100e-6, rated_v, legacy=True)
    assert modern == pytest.approx(float(row["tand_105C_general"]))
    assert legacy == pytest.approx(float(row["tand_85C_legacy"]))


@pytest.mark.parametrize("row", _rows("largest_esr.csv"), ids=lambda r: r["C_uF"])
def test_largest_esr_from_tan_delta(row: dict[str, str]) -> None:
    farad, rated_v = float(row["C_uF"]) * 1e-6, float(row["rated_V"])
    tan = capacitor.largest_tan_delta(farad, rated_v)
    assert tan == pytest.approx(float(row["tand_max_prorata"]), abs=1e-9)
    assert tan is not None
    for frequency_hz in (120, 100):
        ohm = capacitor.esr_from_tan_delta(tan, farad, frequency_hz)
        assert ohm == pytest.approx(float(row[f"ESR_max_{frequency_hz}Hz_ohm"]), rel=2e-5)
    band = capacitor.esr_band(farad, rated_v, 120)
    assert band is not None
    assert SourcedEsr(TAN_MODERN, capacitor.esr_from_tan_delta(tan, farad, 120)) in band.sources
    assert band.low_ohm <= float(row["ESR_max_120Hz_ohm"]) * 1.00002 <= band.high_ohm * 1.00004


@pytest.mark.parametrize(
    ("micro", "rated_v", "one", "two"),
    [
        (1000, 63, 0.05, 0.09),
        (4700, 63, 0.04, 0.02),
        (10000, 35, 0.04, 0.01),
        (100, 25, 0.32, 1.4),
    ],
)
def test_charts_are_read_and_disagree(micro: float, rated_v: float, one: float, two: float) -> None:
    """Published charts: glodark.com/design/esrchart.htm and circuitsgallery.com."""
    band = capacitor.esr_band(micro * 1e-6, rated_v, 100e3)
    assert band is not None
    assert {s.source: s.ohm for s in band.sources} == {
        CHART_ONE: pytest.approx(one),
        CHART_TWO: pytest.approx(two),
    }


def test_the_misprint_of_one_chart_is_left_out() -> None:
    band = capacitor.esr_band(100e-6, 63, 100e3)
    assert band is not None
    two = next(s.ohm for s in band.sources if s.source == CHART_TWO)
    assert 0.77 < two < 1.1


def test_nothing_is_claimed_outside_a_chart() -> None:
    band = capacitor.esr_band(100e-6, 450, 100e3)
    assert band is not None
    assert {s.source for s in band.sources} == {TAN_MODERN, TAN_LEGACY}
    assert capacitor.esr_band(100e-6, 4.0) is None


@pytest.mark.parametrize("row", _rows("electrolytic_tolerances.csv"), ids=lambda r: r["part"])
def test_usual_tolerance_holds_every_tolerance_sold_then(row: dict[str, str]) -> None:
    year = {"pre-1965": 1960, "1980-": 1990}.get(row["era"], 1972)
    usual = capacitor.usual_tolerance(year)
    assert usual.low_percent <= float(row["lower_pct"])
    assert usual.high_percent >= float(row["upper_pct"])


def test_tolerance_letters() -> None:
    """T, P and Z on a television service manual's code chart, M on a maker's data sheet."""
    assert capacitor.MARKS["T"] == (-10, 50)
    assert capacitor.MARKS["P"] == (0, 100)
    assert capacitor.MARKS["Z"] == (-20, 80)
    assert capacitor.MARKS["M"] == (-20, 20)


def test_leakage_worked_examples() -> None:
    """A maker's data sheet for new parts; puck.nether.net boatanchors 1999-May/005362 for old."""
    assert capacitor.new_part_leakage(4700e-6, 63) == pytest.approx(2961e-6)
    assert capacitor.new_part_leakage(47e-6, 40) == pytest.approx(18.8e-6)
    assert capacitor.new_part_leakage(1e-6, 10) == pytest.approx(3e-6)
    assert capacitor.new_part_leakage(2.2e-6, 450) == pytest.approx((0.03 * 990 + 15) * 1e-6)
    assert capacitor.new_part_leakage(20e-6, 450) == pytest.approx(205e-6)
    assert capacitor.discard_leakage(560e-6, 400) == pytest.approx(22.7e-3)
    assert capacitor.discard_leakage(560e-6, 600) is None


@pytest.mark.parametrize("row", _rows("discharge_examples.csv"), ids=lambda r: r["C_uF"])
def test_discharge_examples(row: dict[str, str]) -> None:
    farad, from_v = float(row["C_uF"]) * 1e-6, float(row["V0"])
    to_v, seconds = float(row["Vs"]), float(row["t_s"])
    ohm = discharge.largest_resistor(farad, from_v, to_v, seconds)
    assert ohm == pytest.approx(float(row["R_max_ohm"]), rel=1e-5)
    energy = discharge.stored_energy(Measured(farad), Measured(from_v)).value
    assert energy == pytest.approx(float(row["energy_J"]), rel=1e-3)
    assert from_v**2 / ohm == pytest.approx(float(row["P0_W"]), rel=1e-4)
    assert discharge.discharge_time(farad, ohm, from_v, to_v) == pytest.approx(seconds)
    assert discharge.volts_left(farad, ohm, from_v, seconds) == pytest.approx(to_v)


@pytest.mark.parametrize("micro", [0.1, 47, 1000, 10_000, 100_000])
@pytest.mark.parametrize("volt", [2.5, 18, 63, 450])
def test_chosen_resistor_is_in_time_and_not_needlessly_small(micro: float, volt: float) -> None:
    chosen = discharge.choose_discharger(micro * 1e-6, volt)
    largest = discharge.largest_resistor(micro * 1e-6, volt, 2.0, discharge.WANTED_S)
    assert chosen.time_s <= discharge.WANTED_S * (1 + 1e-9)
    assert largest / 1.6 < chosen.ohm <= largest * (1 + 1e-9)
    assert chosen.rating_w * discharge.SHORT_OVERLOAD >= chosen.peak_w


def test_no_discharge_is_no_resistor() -> None:
    with pytest.raises(ValueError, match="no discharge"):
        discharge.largest_resistor(1e-3, 1.0, 2.0, 5.0)


def test_re_forming_is_timed() -> None:
    """20 µF/450 V, retronics.no/2023/02/28 (part 5): within 500 µA between 15 min and 1 h."""
    series = [(20.0, 4.5e-3), (900.0, 1e-3), (3600.0, 120e-6), (10800.0, 50e-6)]
    within = capacitor.time_in_limit(series, 500e-6)
    assert within is not None
    assert 900 < within < 3600
    assert capacitor.time_in_limit(series[:2], 500e-6) is None
    ahead = capacitor.time_to_limit(series[:2], 500e-6)
    assert ahead is not None
    assert 900 < ahead < 3 * 3600
    assert capacitor.time_to_limit([(60.0, 1e-3), (120.0, 1.1e-3)], 500e-6) is None
    assert capacitor.time_to_limit(series[:1], 500e-6) is None

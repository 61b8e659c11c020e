"""Propagated uncertainty against the guide's printed examples and against simulation."""

from __future__ import annotations

import csv
import json
import math
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backtospec.quantity import (
    Measured,
    MeterRange,
    decibel_ratio,
    exp,
    log10,
    rectangular,
    sqrt,
    with_tolerance,
)

DATA = Path(__file__).parent / "data"
GUM: dict[str, Any] = json.loads((DATA / "gum_examples.json").read_text(encoding="utf-8"))


def rows(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def correlation(a: Measured, b: Measured) -> float:
    return ((a + b).u ** 2 - a.u**2 - b.u**2) / (2 * a.u * b.u)


def test_end_gauge_of_h1() -> None:
    given = GUM["H1_end_gauge"]
    standard = Measured(*given["standard_length_nm"])
    difference = Measured(given["difference_nm"])
    for component in given["difference_components_nm"]:
        difference += Measured(0.0, component)
    expansion = rectangular(given["expansion_per_kelvin"], given["expansion_half_width"])
    expansion_difference = rectangular(0.0, given["expansion_difference_half_width"])
    temperature_difference = rectangular(0.0, given["temperature_difference_half_width_kelvin"])
    # the cyclic part is arcsine-distributed: u = half width / √2 (H.1.3.4)
    cyclic = Measured(0.0, given["cyclic_half_width_kelvin"] / math.sqrt(2))
    mean = Measured(given["mean_temperature_kelvin"], given["mean_temperature_u_kelvin"])
    theta = mean + cyclic
    length = (
        standard
        + difference
        - standard * (expansion_difference * theta + expansion * temperature_difference)
    )
    assert length.value == pytest.approx(given["printed_length_nm"], abs=0.5)
    assert length.u == pytest.approx(given["printed_u_nm"], abs=0.5)
    assert length.u == pytest.approx(given["recomputed_u_nm"], rel=1e-6)


@pytest.fixture
def impedance() -> dict[str, Measured]:
    """R, X and Z of H.2, from the means of five simultaneous readings and their covariance."""
    given = GUM["H2_impedance"]
    readings = np.array(
        [given["volt"], [1e-3 * i for i in given["milliampere"]], given["phase_rad"]]
    )
    covariance = np.cov(readings) / readings.shape[1]
    volt, ampere, phase = Measured.correlated(
        [float(mean) for mean in readings.mean(axis=1)],
        [[float(c) for c in row] for row in covariance],
    )
    # cosine and sine by their tangent lines: the guide, too, is first order
    cosine = math.cos(phase.value) - math.sin(phase.value) * (phase - phase.value)
    sine = math.sin(phase.value) + math.cos(phase.value) * (phase - phase.value)
    impedance = volt / ampere
    return {"R": impedance * cosine, "X": impedance * sine, "Z": impedance}


@pytest.mark.parametrize("name", ["R", "X", "Z"])
def test_correlated_impedance_of_h2(impedance: dict[str, Measured], name: str) -> None:
    printed, printed_u = GUM["H2_impedance"]["printed"][name]
    recomputed, recomputed_u = GUM["H2_impedance"]["recomputed"][name]
    assert impedance[name].value == pytest.approx(printed, abs=6e-4)
    assert impedance[name].u == pytest.approx(printed_u, abs=6e-4)
    assert impedance[name].value == pytest.approx(recomputed, rel=1e-12)
    assert impedance[name].u == pytest.approx(recomputed_u, rel=1e-9)


@pytest.mark.parametrize(("a", "b"), list(combinations("RXZ", 2)))
def test_results_of_h2_are_correlated_as_printed(
    impedance: dict[str, Measured], a: str, b: str
) -> None:
    given = GUM["H2_impedance"]
    r = correlation(impedance[a], impedance[b])
    assert r == pytest.approx(given["printed_correlation"][a + b], abs=6e-4)
    assert r == pytest.approx(given["recomputed_correlation"][a + b], abs=1e-8)


def test_voltmeter_of_4_3_7() -> None:
    given = GUM["4.3.7_voltmeter"]
    # the manufacturer's "2e-6 × range" is one count of that size
    meter = MeterRange(given["percent"], 1, given["range_part_v"])
    specification = meter.measured(given["reading_v"])
    total = specification + Measured(0.0, given["repeat_u_v"])
    assert specification.u == pytest.approx(given["printed_specification_u_v"], abs=0.05e-6)
    assert specification.u == pytest.approx(given["recomputed_specification_u_v"], rel=1e-9)
    assert total.u == pytest.approx(given["printed_u_v"], abs=0.5e-6)
    assert total.u == pytest.approx(given["recomputed_u_v"], rel=1e-9)


def test_ten_resistors_of_5_2_2() -> None:
    given = GUM["5.2.2_ten_resistors"]
    ohm, u = given["each_ohm"], given["u_each_ohm"]
    standard = Measured(0.0, u)
    compared = sum((ohm + standard for _ in range(10)), Measured(0.0))
    apart = sum((Measured(ohm, u) for _ in range(10)), Measured(0.0))
    assert compared.u == pytest.approx(given["series_u_fully_correlated_ohm"], rel=1e-12)
    assert apart.u == pytest.approx(given["series_u_independent_ohm"], rel=1e-12)


def test_digital_resolution_of_f_2_2_1() -> None:
    assert rectangular(0.0, 0.5).u == pytest.approx(
        GUM["F.2.2.1_resolution"]["u_over_step"], rel=1e-14
    )


@pytest.mark.parametrize("row", rows("meter_specifications.csv"), ids=lambda row: row["case"])
def test_meter_specification(row: dict[str, str]) -> None:
    meter = MeterRange(float(row["percent"]), float(row["counts"]), float(row["step_v"]))
    measured = meter.measured(float(row["reading_v"]))
    assert measured.value == pytest.approx(float(row["reading_v"]), rel=1e-15)
    assert measured.u == pytest.approx(float(row["u_v"]), rel=1e-5)
    assert measured.u == pytest.approx(float(row["half_width_v"]) / math.sqrt(3), rel=1e-12)


def power_into_load() -> Measured:
    """20 V on a meter of ±(0.5 % + 3 digits) into 8 Ω 1 %, 100 ppm/K, 60 ± 20 K warmer."""
    volt = MeterRange(0.5, 3, 0.01).measured(20.0)
    ohm = with_tolerance(8.0, 1.0) * (1 + 100e-6 * rectangular(60.0, 20.0))
    ratio = with_tolerance(1.0, 0.2)
    flatness_db = rectangular(0.0, 0.02)
    return (volt * ratio) ** 2 / ohm * exp(flatness_db * (math.log(10) / 10))


def test_power_worked_example() -> None:
    watt = power_into_load()
    assert round(watt.value, 2) == 49.70
    assert round(100 * watt.expanded() / watt.value, 2) == 2.03


def test_idle_current_worked_example() -> None:
    """10.0 mV across 2 × 0.22 Ω 5 % of one batch: their tolerance does not average out."""
    volt = MeterRange(0.5, 3, 1e-4).measured(10.0e-3)
    ampere = volt / (2 * with_tolerance(0.22, 5.0))
    assert round(1000 * ampere.value, 2) == 22.73
    assert round(100 * ampere.expanded() / ampere.value, 2) == 7.05


def test_power_agrees_with_simulation() -> None:
    """The half-percent goal, on the worked example with every input drawn from its rectangle."""
    rng = np.random.default_rng(20240607)
    n = 1_000_000

    def draw(half_width: float) -> Any:
        return rng.uniform(-half_width, half_width, n)

    volt = 20.0 + draw(0.005 * 20.0 + 0.03)
    ohm = 8.0 * (1 + draw(0.01)) * (1 + 100e-6 * (60 + draw(20.0)))
    simulated = (volt * (1 + draw(0.002))) ** 2 / ohm * 10 ** (draw(0.02) / 10)
    watt = power_into_load()
    assert watt.value == pytest.approx(float(simulated.mean()), rel=5e-4)
    assert watt.u == pytest.approx(float(simulated.std()), rel=5e-3)


def test_a_function_of_shared_inputs_agrees_with_simulation() -> None:
    """Every operation at once, with inputs that occur more than once."""
    rng = np.random.default_rng(11)
    a_drawn = rng.normal(3.0, 0.01, 1_000_000)
    b_drawn = rng.normal(2.0, 0.008, 1_000_000)
    a, b = Measured(3.0, 0.01), Measured(2.0, 0.008)
    propagated = sqrt(a * b) - 2 / (a - b) ** 2 + abs(-a) * log10(b) + exp(b / a) + b**a
    simulated = (
        np.sqrt(a_drawn * b_drawn)
        - 2 / (a_drawn - b_drawn) ** 2
        + a_drawn * np.log10(b_drawn)
        + np.exp(b_drawn / a_drawn)
        + b_drawn**a_drawn
    )
    assert propagated.u == pytest.approx(float(simulated.std()), rel=5e-3)


def test_a_ratio_does_not_inherit_the_gain_error() -> None:
    """5 % of gain error, one range: the tracking of two channels rests on the counts alone."""
    meter = MeterRange(percent=5.0, counts=0.0, step=0.01)
    assert decibel_ratio(meter.measured(10.0), meter.measured(9.0)).u < 1e-12
    apart = decibel_ratio(
        MeterRange(5.0, 0.0, 0.01).measured(10.0), MeterRange(5.0, 0.0, 0.01).measured(9.0)
    )
    # two independent rectangles of 5 %: 20/ln 10 · √2 · 0.05/√3
    assert apart.u == pytest.approx(20 / math.log(10) * math.sqrt(2) * 0.05 / math.sqrt(3))


def test_a_ratio_keeps_what_is_private() -> None:
    meter = MeterRange(percent=0.5, counts=3.0, step=0.01)
    private = math.sqrt((0.13**2 - 0.1**2) / 3) / 20.0
    ratio = meter.measured(20.0) / meter.measured(20.0)
    assert ratio.u == pytest.approx(math.sqrt(2) * private, rel=1e-12)


@pytest.mark.parametrize("row", rows("power_table.csv"), ids=lambda row: f"{row['P_W']} W")
@pytest.mark.parametrize("load_ohm", [2, 4, 8, 16])
def test_power_table(row: dict[str, str], load_ohm: int) -> None:
    watt = Measured(float(row["P_W"]))
    assert sqrt(watt * load_ohm).value == pytest.approx(float(row[f"V_{load_ohm}ohm"]), abs=6e-7)
    volt = Measured(float(row[f"V_{load_ohm}ohm"]), 0.01)
    again = volt**2 / load_ohm
    assert again.value == pytest.approx(watt.value, rel=2e-6)
    assert again.u == pytest.approx(2 * volt.value * 0.01 / load_ohm, rel=1e-12)
    assert (10 * log10(watt)).value == pytest.approx(float(row["dBW"]), abs=6e-5)

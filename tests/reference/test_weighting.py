"""The weightings against the printed tables, the closed forms and white noise."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest

from backtospec.analysis.weighting import Weighting, power_gain, weighting_db

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


SOUND_LEVEL = rows("weighting_a_c.csv")
NOISE_468 = rows("weighting_itu_r_468.csv")
NETWORK = json.loads((DATA / "weighting_itu_r_468_network.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", SOUND_LEVEL, ids=lambda row: row["f_nominal_Hz"])
@pytest.mark.parametrize("weighting", ["A", "C"])
def test_sound_level_weightings(row: dict[str, str], weighting: Weighting) -> None:
    steps = round(10 * math.log10(float(row["f_exact_Hz"]) / 1000))
    exact_hz = 1000 * 10 ** (steps / 10)
    gain = float(weighting_db(weighting, exact_hz))
    assert gain == pytest.approx(float(row[f"{weighting}_computed_dB"]), abs=6e-6)
    assert round(gain, 1) == float(row[f"{weighting}_nominal_dB"])
    nominal = float(weighting_db(weighting, float(row["f_nominal_Hz"])))
    assert nominal == pytest.approx(float(row[f"{weighting}_at_nominal_dB"]), abs=6e-6)
    above, below = float(row["class1_tol_plus_dB_2013"]), float(row["class1_tol_minus_dB_2013"])
    assert -below <= gain - float(row[f"{weighting}_nominal_dB"]) <= above


@pytest.mark.parametrize("row", NOISE_468, ids=lambda row: row["f_Hz"])
def test_itu_r_468(row: dict[str, str]) -> None:
    gain = float(weighting_db("468", float(row["f_Hz"])))
    assert gain == pytest.approx(float(row["network_dB"]), abs=6e-6)
    # Two rows have no tolerance at all: the printed figure is rounded to 0.1 dB.
    error = gain - float(row["response_dB"])
    rounding = 0.0503
    assert -float(row["tol_minus_dB"]) - rounding <= error
    assert error <= float(row["tol_plus_dB"]) + rounding
    assert abs(error) <= rounding


def test_itu_r_468_has_the_poles_of_its_network() -> None:
    hz = np.geomspace(10, 40_000, 200)
    poles = [complex(*pole) for pole in NETWORK["poles_Hz"]]
    closed = np.abs(hz / np.prod([1j * hz - pole for pole in poles], axis=0)) ** 2
    at_1_khz = np.abs(1000 / np.prod([1000j - pole for pole in poles])) ** 2
    expected = 10 * np.log10(closed / at_1_khz)
    assert np.max(np.abs(weighting_db("468", hz) - expected)) < 1e-9
    fine = np.linspace(6000, 6500, 100_001)
    peak = int(np.argmax(power_gain("468", fine)))
    assert fine[peak] == pytest.approx(NETWORK["peak"]["f_Hz"], abs=0.01)
    assert weighting_db("468", fine[peak]) == pytest.approx(NETWORK["peak"]["gain_dB"], abs=1e-9)


@pytest.mark.parametrize(
    ("weighting", "key"), [("A", "A_20Hz_20kHz_dB"), ("468", "468_20Hz_20kHz_dB")]
)
def test_white_noise_from_20_hz_to_20_khz(weighting: Weighting, key: str) -> None:
    hz = np.linspace(20, 20_000, 400_001)
    mean = np.trapezoid(power_gain(weighting, hz), hz) / (20_000 - 20)
    gain = 10 * math.log10(float(mean))
    assert gain == pytest.approx(NETWORK["white_noise_power_gain"][key], abs=1e-6)


def test_nothing_passes_at_0_hz_and_all_pass_unweighted() -> None:
    for weighting in ("A", "C", "468"):
        assert float(weighting_db(weighting, 0.0)) == -math.inf
        assert float(power_gain(weighting, 0.0)) == 0.0
    assert np.all(weighting_db("unweighted", [0.0, 20.0, 1e5]) == 0)

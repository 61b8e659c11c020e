"""The replay curve against the published table and constants; comparison of a response with it."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from backtospec.analysis.equalisation import (
    BASS_POLE_S,
    LOW_CUT_S,
    MIDDLE_ZERO_S,
    TREBLE_POLE_S,
    compare,
    riaa_recording_db,
    riaa_replay,
    riaa_replay_db,
)
from backtospec.errors import BenchError

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    text = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in text if not line.startswith("#")))


TABLE = rows("riaa_replay.csv")
CONSTANTS = {row["name"]: float(row["value"]) for row in rows("riaa_constants.csv")}


def test_the_table_is_whole() -> None:
    assert len(TABLE) == 59
    assert sum(row["published_1dec_dB"] != "" for row in TABLE) == 29


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['f_Hz']} Hz")
def test_every_row_of_the_table(row: dict[str, str]) -> None:
    hz = float(row["f_Hz"])
    assert riaa_replay_db(hz) == pytest.approx(float(row["RIAA_dB"]), abs=5.1e-5)
    assert riaa_replay_db(hz, low_cut=True) == pytest.approx(
        float(row["RIAA_IEC7950_dB"]), abs=5.1e-5
    )
    assert riaa_recording_db(hz) == pytest.approx(float(row["recording_dB"]), abs=5.1e-5)
    if row["agrees"] == "yes":
        assert riaa_replay_db(hz) == pytest.approx(float(row["published_1dec_dB"]), abs=0.0501)


def test_corners_and_gains() -> None:
    for name, constant_s in (
        ("corner_3180_us_hz", BASS_POLE_S),
        ("corner_318_us_hz", MIDDLE_ZERO_S),
        ("corner_75_us_hz", TREBLE_POLE_S),
        ("corner_7950_us_hz", LOW_CUT_S),
    ):
        assert 1 / (2 * math.pi * constant_s) == pytest.approx(CONSTANTS[name], rel=1e-12)
    assert -riaa_replay_db(1e-6) == pytest.approx(CONSTANTS["gain_1khz_re_dc_db"], abs=1e-9)
    span = riaa_replay_db(20.0) - riaa_replay_db(20_000.0)
    assert span == pytest.approx(CONSTANTS["span_20_hz_to_20_khz_db"], abs=1e-9)
    cut_20_hz = riaa_replay_db(20.0, low_cut=True) - riaa_replay_db(20.0)
    expected = CONSTANTS["low_cut_at_20_hz_db"] - CONSTANTS["low_cut_at_1_khz_db"]
    assert cut_20_hz == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("low_cut", [False, True])
def test_transfer_and_decibels_agree(low_cut: bool) -> None:
    hz = np.geomspace(5.0, 50_000.0, 200)
    from_transfer = 20 * np.log10(np.abs(riaa_replay(hz, low_cut=low_cut)))
    np.testing.assert_allclose(from_transfer, riaa_replay_db(hz, low_cut=low_cut), atol=1e-11)


def test_inverse_and_replay_make_a_straight_line() -> None:
    hz = np.geomspace(10.0, 20_000.0, 50)
    np.testing.assert_array_equal(riaa_replay_db(hz) + riaa_recording_db(hz), 0.0)


def test_a_response_is_held_to_the_curve_whatever_its_gain() -> None:
    bumps = {20.0: -0.4, 1000.0: 0.0, 5000.0: 0.3, 20_000.0: -0.1}
    response = {hz: riaa_replay_db(hz) + bump + 34.0 for hz, bump in bumps.items()}
    found = compare(response, riaa_replay_db)
    assert found.error_db == pytest.approx(bumps, abs=1e-12)
    assert (found.most_at_hz, found.least_at_hz) == (5000.0, 20.0)
    assert found.spread_db == pytest.approx(0.35)
    assert compare(response, riaa_replay_db, low_hz=500.0).least_at_hz == 20_000.0


@pytest.mark.parametrize(
    ("response", "band_hz", "where"),
    [({100.0: 1.0}, (0.0, 1e9), "response"), ({1000.0: 0.0}, (2000.0, 3000.0), "band")],
)
def test_nothing_to_compare_is_said(
    response: dict[float, float], band_hz: tuple[float, float], where: str
) -> None:
    with pytest.raises(BenchError) as caught:
        compare(response, riaa_replay_db, low_hz=band_hz[0], high_hz=band_hz[1])
    assert caught.value.faults[0].where == where
    assert caught.value.faults[0].fix

"""Responses of networks in closed form: tone controls, filters, contours, −3 dB points."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.equalisation import riaa_replay_db
from backtospec.analysis.loudness import equal_loudness_db, loudness_compensation_db
from backtospec.analysis.response_against import AGAINST, against_document, points_from_text
from backtospec.analysis.response_curves import (
    HALF_POWER_DB,
    Response,
    find_crossing,
    find_departure,
    read_cutoff,
    read_shelf,
    response_of,
)
from backtospec.analysis.sweep_figures import grid_hz
from backtospec.errors import BenchError

Array = NDArray[np.float64]

GRID = np.array(grid_hz(10.0, 40_000.0))


def measured(db: Array, noise: float = 0.0, seed: int = 1) -> Response:
    """A response on the grid of a sweep, relative to 1 kHz, with noise."""
    level = db + noise * np.random.default_rng(seed).standard_normal(len(db))
    level -= level[GRID == 1000.0]
    return Response(GRID, level, np.full(len(db), max(noise, 1e-6)))


def butterworth(corner_hz: float, order: int, *, upward: bool) -> Array:
    ratio = GRID / corner_hz if upward else corner_hz / GRID
    return np.asarray(-10 * np.log10(1 + ratio ** (2 * order)))


def shelf(zero_hz: float, pole_hz: float) -> Array:
    """Bass lift of the first order: flat above the zero, flat again below the pole."""
    return np.asarray(10 * np.log10((1 + (zero_hz / GRID) ** 2) / (1 + (pole_hz / GRID) ** 2)))


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize(("corner_hz", "upward"), [(63.3, False), (7100.0, True)])
def test_corner_and_slope_of_a_filter(order: int, corner_hz: float, upward: bool) -> None:
    found = read_cutoff(measured(butterworth(corner_hz, order, upward=upward)), upward=upward)
    # Three decibels below 1 kHz, where the filter takes a little already.
    at_1_khz = (1000 / corner_hz if upward else corner_hz / 1000) ** (2 * order)
    beyond = (1 + 2 * at_1_khz) ** (1 / (2 * order))
    truth_hz = corner_hz * beyond if upward else corner_hz / beyond
    assert found.corner.hz == pytest.approx(truth_hz, rel=5e-4)
    assert found.slope_db_per_octave == pytest.approx(
        20 * math.log10(2) * order, rel=0.02 if order == 1 else 2e-3
    )


def test_uncertainty_of_corner_and_slope_covers_the_noise() -> None:
    truth = butterworth(70.0, 2, upward=False)
    corners, slopes, corner_u, slope_u = [], [], [], []
    for seed in range(60):
        found = read_cutoff(measured(truth, 0.02, seed), upward=False)
        assert found.corner.hz is not None
        assert found.corner.hz_u is not None
        assert found.slope_db_per_octave is not None
        assert found.slope_db_per_octave_u is not None
        corners.append(found.corner.hz)
        slopes.append(found.slope_db_per_octave)
        corner_u.append(found.corner.hz_u)
        slope_u.append(found.slope_db_per_octave_u)
    # The reference at 1 kHz has noise of its own, common to all points.
    assert 0.6 < float(np.std(corners)) / float(np.mean(corner_u)) < 1.7
    assert 0.6 < float(np.std(slopes)) / float(np.mean(slope_u)) < 1.7
    assert abs(float(np.mean(corners)) - 70.0) < 3 * float(np.mean(corner_u))


def test_another_shape_of_filter_widens_the_uncertainty() -> None:
    ratio = GRID / 7000.0
    resonant = -10 * np.log10((1 - ratio**2) ** 2 + (ratio / 2.0) ** 2)
    found = read_cutoff(measured(resonant), upward=True)
    flat = read_cutoff(measured(butterworth(7000.0, 2, upward=True)), upward=True)
    assert found.slope_db_per_octave_u is not None
    assert flat.slope_db_per_octave_u is not None
    assert found.slope_db_per_octave_u > 10 * flat.slope_db_per_octave_u


def test_a_filter_that_is_out_gives_bounds() -> None:
    found = against_document(dict.fromkeys(GRID.tolist(), 0.0), {}, "filter")
    assert found["low"] == {"corner_hz_at_most": 10.0}
    assert found["high"] == {"corner_hz_at_least": 40_000.0}


@pytest.mark.parametrize("sign", [1, -1])
def test_lift_and_turnover_of_a_tone_control(sign: int) -> None:
    zero_hz, pole_hz = 300.0, 30.0
    found = read_shelf(measured(sign * shelf(zero_hz, pole_hz)), upward=False)
    at_1_khz = 10 * math.log10((1 + 0.3**2) / (1 + 0.03**2))

    def truth_db(hz: float) -> float:
        return 10 * math.log10((1 + (zero_hz / hz) ** 2) / (1 + (pole_hz / hz) ** 2)) - at_1_khz

    assert found.extreme_at_hz == 10.0
    assert found.extreme_db == pytest.approx(sign * truth_db(10.0), abs=1e-9)
    assert found.turnover_hz is not None
    assert found.shelf_hz is not None
    assert truth_db(found.turnover_hz) == pytest.approx(3.0, abs=0.01)
    assert truth_db(found.shelf_hz) == pytest.approx(truth_db(10.0) - 3.0, abs=0.01)
    treble = read_shelf(measured(sign * shelf(zero_hz, pole_hz)), upward=True)
    assert treble.turnover_hz is None
    assert abs(treble.extreme_db) < 0.4


def test_a_control_in_its_middle_is_held_against_flat() -> None:
    bump = np.where(GRID == 63.0, 0.4, 0.0) - np.where(GRID == 12_500.0, 0.7, 0.0)
    far = np.where(GRID > 30_000.0, -9.0, 0.0)
    found = find_departure(measured(bump + far), lambda _: 0.0)
    assert (found.most_at_hz, found.least_at_hz) == (63.0, 12_500.0)
    assert found.spread_db == pytest.approx(0.55)
    assert max(found.error_db) == 20_000.0


@pytest.mark.parametrize(("against", "low_cut"), [("riaa", False), ("riaa-iec", True)])
def test_replay_curves_with_and_without_the_low_cut(against: str, low_cut: bool) -> None:
    db = {hz: riaa_replay_db(hz, low_cut=low_cut) + 31.0 for hz in GRID.tolist()}
    db[10_000.0] += 0.25
    found = against_document(db, dict.fromkeys(GRID.tolist(), 0.01), against)
    assert found["most_db"] == pytest.approx(0.25, abs=1e-9)
    assert found["spread_db_u"] == pytest.approx(0.01 / math.sqrt(2))
    other = against_document(db, {}, "riaa" if low_cut else "riaa-iec")
    cut_20_hz = riaa_replay_db(20.0, low_cut=True) - riaa_replay_db(20.0)
    assert other["error_db"]["20"] == pytest.approx(cut_20_hz if low_cut else -cut_20_hz, abs=1e-9)


def test_between_coarse_points_the_uncertainty_grows() -> None:
    hz = np.array([1000.0, 4000.0, 10_000.0, 20_000.0])
    coarse = Response(hz, -10 * np.log10(1 + (hz / 12_000) ** 2), np.full(4, 1e-4))
    found = find_crossing(coarse, HALF_POWER_DB, upward=True)
    assert found.hz is not None
    assert found.hz_u is not None
    assert abs(found.hz - 12_000) < 3 * found.hz_u
    assert found.hz_u > 50


def test_contours_of_equal_loudness() -> None:
    """Spot values of the printed table, which is rounded to 0.1 dB; from memory."""
    for phon, hz, level in ((40, 100.0, 64.4), (60, 31.5, 99.1), (60, 100.0, 78.7)):
        assert equal_loudness_db(phon)[hz] == pytest.approx(level, abs=0.06)
    for phon in (20, 40, 60, 80):
        assert equal_loudness_db(phon)[1000.0] == pytest.approx(phon, abs=0.05)
    assert loudness_compensation_db(70, 70) == pytest.approx(
        dict.fromkeys(equal_loudness_db(70), 0)
    )
    added = loudness_compensation_db(40, 80)
    assert added[50.0] > added[100.0] > added[200.0] > added[1000.0] == 0
    for outside in (10.0, 95.0, math.nan):
        with pytest.raises(BenchError, match="outside 20…90 phon"):
            equal_loudness_db(outside)


def test_a_loudness_contour_is_held_to_stated_points() -> None:
    response = measured(shelf(200.0, 60.0))
    db = dict(zip(response.hz.tolist(), response.db.tolist(), strict=True))
    points = {110.0: 4.0, 9999.0: 0.0, 1e5: 9.0}
    found = against_document(db, {}, "loudness", points)
    assert set(found["error_db"]) == {"110", "9999"}
    level = 10 * math.log10((1 + 0.2**2) / (1 + 0.06**2))
    truth = 10 * math.log10((1 + (200 / 110) ** 2) / (1 + (60 / 110) ** 2)) - level
    assert found["error_db"]["110"] == pytest.approx(truth - 4.0, abs=0.005)
    with pytest.raises(BenchError, match="none of the points"):
        against_document(db, {}, "loudness", {1e5: 1.0})


@pytest.mark.parametrize(
    ("text", "points"),
    [
        ("100 Hz +6 dB, 10 kHz +4 dB", {100.0: 6.0, 10_000.0: 4.0}),
        ("100Hz:+6dB;10kHz:+4dB", {100.0: 6.0, 10_000.0: 4.0}),
        ("31,5 Hz −1,5 dB", {31.5: -1.5}),
        ("50 hz - 3 db", {50.0: -3.0}),
    ],
)
def test_points_as_people_write_them(text: str, points: dict[float, float]) -> None:
    assert points_from_text(text) == points


@pytest.mark.parametrize(
    "text", ["", "6 dB at 100 Hz", "100 Hz +6 dB, rubbish", "100 Hz ±6 dB", "0 Hz 1 dB", "1/2 phon"]
)
def test_points_that_cannot_be_read_are_refused(text: str) -> None:
    with pytest.raises(BenchError) as caught:
        points_from_text(text)
    assert caught.value.faults[0].fix


def test_too_few_points_and_unknown_names_are_refused() -> None:
    with pytest.raises(BenchError, match="too few"):
        response_of({100.0: 0.0, 1000.0: 0.0}, {})
    with pytest.raises(BenchError, match="none of them at 1 kHz"):
        response_of({100.0: 0.0, 400.0: 0.0, 5000.0: 0.0}, {})
    with pytest.raises(BenchError, match="none of riaa"):
        against_document({1.0: 0.0}, {}, "square")
    with pytest.raises(BenchError, match="outside"):
        measured(0 * GRID).at(5.0)
    assert set(AGAINST) == {"riaa", "riaa-iec", "flat", "tone-control", "filter", "loudness"}

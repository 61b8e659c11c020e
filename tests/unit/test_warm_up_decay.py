"""Sums of decays, and the leakage of a re-forming capacitor."""

from __future__ import annotations

import numpy as np
import pytest

from backtospec.analysis.decay import fit_decays, fit_leakage
from backtospec.analysis.least_squares import fit_least_squares
from backtospec.errors import BenchError


def test_a_heatsink_warms_with_one_time_constant() -> None:
    time_s = np.arange(0, 3600, 60.0)
    noise = np.random.default_rng(2).normal(0, 0.05, time_s.size)
    fit = fit_decays(time_s, 41 - 18 * np.exp(-time_s / 720) + noise, 1)
    assert fit.end_value_sd is not None
    assert abs(fit.end_value - 41) < 4 * fit.end_value_sd
    assert fit.time_constants_s[0] == pytest.approx(720, rel=0.02)
    assert fit.predict([0.0])[0] == pytest.approx(23, abs=0.2)


def test_two_decays_of_one_sign() -> None:
    time_s = np.arange(0, 3600, 15.0)
    fit = fit_decays(time_s, 14 - 2.6 * np.exp(-time_s / 126) - 2.7 * np.exp(-time_s / 960), 2)
    assert fit.time_constants_s == pytest.approx((960, 126), rel=1e-6)
    assert fit.amplitudes == pytest.approx((-2.7, -2.6), rel=1e-6)


def test_a_peak_needs_free_signs() -> None:
    time_s = np.arange(0, 3600, 15.0)
    value = 5 - 4 * np.exp(-time_s / 100) + 2 * np.exp(-time_s / 800)
    assert fit_decays(time_s, value, 2, sign="free").residual_sum_of_squares < 1e-20
    assert fit_decays(time_s, value, 2).residual_sum_of_squares > 1


@pytest.mark.parametrize(
    ("count", "readings", "quoted"),
    [(4, 40, "4 exponentials are outside 1…3"), (2, 6, "6 readings are too few")],
)
def test_a_fit_that_cannot_be_done_says_so(count: int, readings: int, quoted: str) -> None:
    with pytest.raises(BenchError, match=quoted):
        fit_decays(np.arange(readings), np.arange(readings), count)


def test_fewer_readings_than_parameters_are_refused() -> None:
    with pytest.raises(BenchError, match="1 readings cannot fix 2 parameters"):
        fit_least_squares(lambda x, p: p[0] + p[1] * x, [0, 0], [1.0], [1.0])


def test_a_re_formed_capacitor_has_passed_its_limit() -> None:
    """20 µF: 4.5 mA at 20 s … 50 µA at 3 h, limit 500 µA (retronics.no/2023/02/28, part 5)."""
    found = fit_leakage([20, 900, 3600, 10800], [4.5e-3, 1e-3, 120e-6, 50e-6], 500e-6)
    assert found.passed
    assert found.earliest_s is not None
    assert found.latest_s is not None
    assert found.passes_s is not None
    assert 900 <= found.earliest_s < found.passes_s < found.latest_s <= 3600


@pytest.mark.parametrize("law", ["exponential", "power"])
def test_the_passing_ahead_lies_between_the_two_laws(law: str) -> None:
    time_s = np.array([60.0, 120, 300, 600, 900])
    if law == "exponential":
        current, true = 4e-3 * np.exp(-time_s / 800), 800 * np.log(8)
    else:
        current, true = 4e-3 * (time_s / 60) ** -0.5, 60 * 64.0
    found = fit_leakage(time_s, current, 0.5e-3)
    assert not found.passed
    assert found.earliest_s is not None
    assert found.latest_s is not None
    assert found.earliest_s * 0.999 <= true <= found.latest_s * 1.001


def test_a_current_that_no_longer_falls_promises_nothing() -> None:
    found = fit_leakage([60, 600, 1200, 1800], [2e-3, 2e-3, 2.1e-3, 2.1e-3], 0.5e-3)
    assert (found.passed, found.passes_s, found.latest_s) == (False, None, None)


def test_inside_the_limit_from_the_start() -> None:
    found = fit_leakage([60, 600, 1200], [2e-4, 1e-4, 5e-5], 0.5e-3)
    assert (found.passed, found.earliest_s, found.latest_s) == (True, 0.0, 60.0)


@pytest.mark.parametrize(
    ("time_s", "current_a", "limit_a", "quoted"),
    [
        ([1, 2], [1e-3, 1e-3], 1e-3, "2 times and 2 currents"),
        ([1, 2, 3], [1e-3, -1e-3, 1e-3], 1e-3, "current of -0.001"),
        ([1, 2, 3], [1e-3, 1e-3, 1e-3], 0.0, "limit of 0"),
        ([1, 3, 2], [1e-3, 1e-3, 1e-3], 1e-3, "do not rise"),
    ],
)
def test_unusable_leakage_readings_are_refused(
    time_s: list[float], current_a: list[float], limit_a: float, quoted: str
) -> None:
    with pytest.raises(BenchError, match=quoted) as caught:
        fit_leakage(time_s, current_a, limit_a)
    assert caught.value.faults[0].where == "leakage readings"

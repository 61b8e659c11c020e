"""The 95 % interval of the settled value holds the truth as often as it says."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.end_value import bound_end_value
from backtospec.analysis.warm_up_log import Stretch

Array = NDArray[np.float64]
STEP_V = 1e-4
POINTS = (8, 15, 40, 120, 360)
MINUTES = (10, 20, 30, 45, 60)


def _make(
    random: np.random.Generator, points: int, minutes: int, constants: int
) -> tuple[Array, Array, float]:
    """Return times, readings and the true end of one warm-up with meter noise."""
    time_s = np.linspace(0, 60.0 * minutes, points)
    end = random.uniform(8e-3, 25e-3)
    if constants == 1:
        parts = [(random.uniform(0.25, 0.5), random.uniform(200, 900))]
    else:
        parts = [
            (random.uniform(0.15, 0.25), random.uniform(90, 200)),
            (random.uniform(0.12, 0.25), random.uniform(500, 1300)),
        ]
    sign = -1 if random.random() < 0.8 else 1
    true = end + sum((sign * a * end * np.exp(-time_s / tau) for a, tau in parts), 0 * time_s)
    wander = np.zeros(points)
    kept = float(np.exp(-(time_s[1] - time_s[0]) / 60))
    wander[0] = random.normal()
    for k in range(1, points):
        wander[k] = kept * wander[k - 1] + np.sqrt(1 - kept**2) * random.normal()
    shown = true + random.normal(0, 0.05e-3, points) + 0.03e-3 * wander
    return time_s, np.round(shown / STEP_V) * STEP_V, end


def _cover(seed: int, rounds: int) -> tuple[int, dict[tuple[int, int, int], float]]:
    """Return how many series were tried, and the share of covered ends in each setting."""
    share: dict[tuple[int, int, int], float] = {}
    for constants in (1, 2):
        for points in POINTS:
            for minutes in MINUTES:
                hits = 0
                for number in range(rounds):
                    random = np.random.default_rng([seed, constants, points, minutes, number])
                    time_s, value, end = _make(random, points, minutes, constants)
                    found = bound_end_value([Stretch(0.0, time_s, value)], STEP_V)
                    hits += found.low <= end <= found.high
                share[constants, points, minutes] = hits / rounds
    return rounds * len(share), share


def test_a_slice_of_settings_is_covered() -> None:
    tried, share = _cover(seed=31, rounds=4)
    assert tried == 200
    mean = float(np.mean(list(share.values())))
    # 200 draws of 95 % spread by 1.5 %
    assert 0.91 <= mean <= 0.995


@pytest.mark.campaign
def test_every_setting_is_covered(capsys: pytest.CaptureFixture[str]) -> None:
    tried, share = _cover(seed=32, rounds=60)
    with capsys.disabled():
        print(f"\n95 % interval, {tried} series: {100 * np.mean(list(share.values())):.1f} % cover")
        for constants in (1, 2):
            for points in POINTS:
                row = "  ".join(f"{100 * share[constants, points, m]:5.1f}" for m in MINUTES)
                print(f"{constants} time constants, {points:3d} points, 10…60 min: {row}")
    assert 0.93 <= np.mean(list(share.values())) <= 0.99
    assert min(share.values()) >= 0.82


def test_one_time_constant_alone_would_not_do() -> None:
    """The trap that two profiled time constants avoid: a narrow interval beside the truth."""
    from backtospec.analysis.decay import fit_decays

    hits = {"one": 0, "profile": 0}
    for number in range(20):
        random = np.random.default_rng([33, number])
        time_s, value, end = _make(random, 120, 20, 2)
        alone = fit_decays(time_s, value, 1)
        assert alone.end_value_sd is not None
        hits["one"] += abs(alone.end_value - end) <= 1.96 * alone.end_value_sd
        found = bound_end_value([Stretch(0.0, time_s, value)], STEP_V)
        hits["profile"] += found.low <= end <= found.high
    assert hits["one"] <= 5
    assert hits["profile"] >= 17


SCALES: list[Callable[[Array], Array]] = [lambda v: 30 * v, lambda v: v - 0.02]


@pytest.mark.parametrize("change", SCALES)
def test_the_interval_follows_the_unit_and_the_zero(change: Callable[[Array], Array]) -> None:
    random = np.random.default_rng(34)
    time_s, value, _ = _make(random, 60, 30, 2)
    scale = float(change(np.ones(1))[0] - change(np.zeros(1))[0])
    plain = bound_end_value([Stretch(0.0, time_s, value)], STEP_V)
    moved = bound_end_value([Stretch(0.0, time_s, change(value))], STEP_V * scale)
    ends = change(np.array([plain.low, plain.value, plain.high]))
    assert [moved.low, moved.value, moved.high] == pytest.approx(ends.tolist(), rel=1e-6)

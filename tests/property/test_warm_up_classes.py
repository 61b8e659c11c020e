"""Seeded warm-ups of every class: each is told for what it is, and none is trusted too early."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.warm_up import analyse_warm_up

Array = NDArray[np.float64]
Random = np.random.Generator
STEP_V = 1e-4


@dataclass(frozen=True)
class Case:
    """A made-up log and what is true of it."""

    time_s: Array
    value_v: Array
    settled_v: float | None = None
    may_trust: bool = False
    jumps_s: tuple[float, ...] = field(default=())


def _read(random: Random, time_s: Array, true_v: Array, *, large: bool = False) -> Array:
    """Return what a meter of 0.1 mV steps shows: white noise and a slow part of 60 s memory."""
    white, slow = (0.12e-3, 0.1e-3) if large else (0.05e-3, 0.03e-3)
    wander = np.zeros(time_s.size)
    wander[0] = random.normal()
    for k in range(1, time_s.size):
        kept = np.exp(-(time_s[k] - time_s[k - 1]) / 60)
        wander[k] = kept * wander[k - 1] + np.sqrt(1 - kept**2) * random.normal()
    shown = true_v + random.normal(0, white, time_s.size) + slow * wander
    return np.asarray(np.round(shown / STEP_V) * STEP_V)


def _times(random: Random, low_s: float, high_s: float) -> Array:
    spacing = random.choice([10.0, 12.5, 15.0, 20.0, 30.0])
    return np.arange(0, random.uniform(low_s, high_s), spacing)


def _decay(time_s: Array, settled_v: float, parts: list[tuple[float, float]]) -> Case:
    """Return the true course in place of readings, with what may be said of its end."""
    left = [a * np.exp(-time_s[-1] / tau) for a, tau in parts]
    rest = max(0.02 * settled_v, 0.3e-3)
    slowest = max(tau for _, tau in parts)
    may_trust = abs(sum(left)) <= rest and time_s[-1] >= 2 * slowest
    course = settled_v + sum((a * np.exp(-time_s / tau) for a, tau in parts), np.zeros(time_s.size))
    return Case(time_s, course, settled_v, bool(may_trust))


def _noisy(random: Random, case: Case, *, large: bool = False) -> Case:
    shown = _read(random, case.time_s, case.value_v, large=large)
    return Case(case.time_s, shown, case.settled_v, case.may_trust, case.jumps_s)


def settled(random: Random) -> Case:
    tau = random.uniform(200, 420)
    time_s = np.arange(0, random.uniform(6.5, 9) * tau, random.choice([10.0, 15.0, 20.0, 30.0]))
    end = random.uniform(8e-3, 25e-3)
    sign = random.choice([-1, -1, -1, 1])
    return _noisy(random, _decay(time_s, end, [(sign * random.uniform(0.25, 0.5) * end, tau)]))


def settled_large(random: Random) -> Case:
    time_s = np.arange(0, random.uniform(1400, 2400), 10.0)
    parts = [(random.uniform(0.08, 0.16), random.uniform(200, 260))]
    return _noisy(random, _decay(time_s, random.uniform(0.25, 0.35), parts), large=True)


def settling(random: Random) -> Case:
    slow = random.uniform(650, 1300)
    time_s = np.arange(0, random.uniform(0.9, 1.4) * slow, random.choice([10.0, 20.0, 30.0]))
    end = random.uniform(10e-3, 22e-3)
    sign = random.choice([-1, -1, -1, 1])
    parts = [
        (sign * random.uniform(0.15, 0.25) * end, random.uniform(90, 150)),
        (sign * random.uniform(0.16, 0.24) * end, slow),
    ]
    return _noisy(random, _decay(time_s, end, parts))


def settling_typed(random: Random) -> Case:
    count = int(random.integers(5, 9))
    time_s = np.cumsum(np.concatenate([[0.0], random.choice([60.0, 120.0, 180.0], count - 1)]))
    end = random.uniform(8e-3, 20e-3)
    tau = random.uniform(0.4, 0.7) * time_s[-1]
    return _noisy(random, _decay(time_s, end, [(-random.uniform(0.35, 0.5) * end, tau)]))


def jumping(random: Random) -> Case:
    time_s = _times(random, 1200, 2600)
    end = random.uniform(10e-3, 18e-3)
    course = end - random.uniform(0.15, 0.4) * end * np.exp(-time_s / random.uniform(120, 300))
    rows = np.sort(random.choice(np.arange(6, time_s.size - 6), random.integers(1, 6), False))
    for row in rows:
        size = random.uniform(0.07, 0.4) * end * random.choice([-1, 1])
        course[row:] += size
    return _noisy(random, Case(time_s, course, jumps_s=tuple(time_s[rows].tolist())))


def runaway(random: Random) -> Case:
    growth = random.uniform(150, 450)
    time_s = np.arange(0, random.uniform(2, 3.5) * growth, random.choice([5.0, 10.0, 15.0, 20.0]))
    start = random.uniform(8e-3, 16e-3)
    return _noisy(
        random, Case(time_s, start + random.uniform(0.5e-3, 2e-3) * np.exp(time_s / growth))
    )


def drifting(random: Random) -> Case:
    time_s = _times(random, 2400, 3600)
    end = random.uniform(10e-3, 20e-3)
    course = end - random.uniform(0.1, 0.25) * end * np.exp(-time_s / random.uniform(60, 200))
    slope = random.choice([-1, 1]) * random.uniform(30e-6, 80e-6) / 60
    return _noisy(random, Case(time_s, course + slope * time_s))


def wobble(random: Random) -> Case:
    time_s = _times(random, 1900, 3000)
    end = random.uniform(12e-3, 22e-3)
    parts = [(-random.uniform(0.2, 0.4) * end, random.uniform(200, 350))]
    case = _decay(time_s, end, parts)
    windy = time_s > random.uniform(0.45, 0.75) * time_s[-1]
    pace = 2 * np.pi / random.uniform(40, 120, time_s.size)
    phase = np.cumsum(pace * np.gradient(time_s))
    swing = random.uniform(0.03, 0.06) * end * (np.sin(phase) - 0.8)
    return _noisy(random, Case(time_s, case.value_v + np.where(windy, swing, 0), end, False))


FAMILIES: dict[str, tuple[Callable[[Random], Case], set[str]]] = {
    "settled": (settled, {"settled"}),
    "settled, 300 mV": (settled_large, {"settled"}),
    "settling": (settling, {"settling"}),
    "settling, typed": (settling_typed, {"settling"}),
    "jumping": (jumping, {"jumping"}),
    "runaway": (runaway, {"runaway"}),
    "drifting": (drifting, {"drifting"}),
    "wobble": (wobble, {"wobble"}),
}


EACH = 40


@pytest.mark.parametrize("name", FAMILIES)
def test_each_class_is_told_and_none_trusted_too_early(name: str) -> None:
    make, accepted = FAMILIES[name]
    told, in_band, banded = 0, 0, 0
    for number in range(EACH):
        case = make(np.random.default_rng([20, number]))
        found = analyse_warm_up(case.time_s, case.value_v, step_v=STEP_V)
        told += found.course in accepted
        assert case.may_trust or not found.trusted, f"log {number} trusted too early"
        assert found.alarm == (found.course in {"jumping", "runaway"})
        if found.trusted:
            assert found.settled_v is not None
            assert case.settled_v is not None
            allowed = max(0.015 * case.settled_v, 0.15e-3)
            assert abs(found.settled_v - case.settled_v) <= allowed
        if case.settled_v and found.settled_low_v and found.settled_high_v:
            banded += 1
            in_band += found.settled_low_v <= case.settled_v <= found.settled_high_v
    assert told >= 0.9 * EACH
    assert in_band >= 0.85 * banded


@pytest.mark.parametrize("name", ["settled, 300 mV"])
def test_a_warm_up_long_over_is_trusted(name: str) -> None:
    make, _ = FAMILIES[name]
    cases = [make(np.random.default_rng([21, number])) for number in range(20)]
    over = [case for case in cases if case.may_trust]
    trusted = sum(analyse_warm_up(c.time_s, c.value_v, step_v=STEP_V).trusted for c in over)
    assert trusted >= 0.8 * len(over)


def test_alarms_are_never_missed() -> None:
    for number in range(20):
        for make in (runaway, jumping):
            case = make(np.random.default_rng([22, number]))
            assert analyse_warm_up(case.time_s, case.value_v, step_v=STEP_V).alarm


def test_jumps_are_placed() -> None:
    for number in range(20):
        case = jumping(np.random.default_rng([23, number]))
        found = analyse_warm_up(case.time_s, case.value_v, step_v=STEP_V)
        for seen in found.jumps_s:
            assert min(abs(seen - true) for true in case.jumps_s) <= case.time_s[1]


def test_volts_scale_and_time_shifts_change_nothing_else() -> None:
    for number in range(10):
        case = settling(np.random.default_rng([24, number]))
        one = analyse_warm_up(case.time_s, case.value_v, step_v=STEP_V)
        turned = analyse_warm_up(case.time_s, -case.value_v, step_v=STEP_V)
        assert (one.course, one.trusted) == (turned.course, turned.trusted)
        assert one.settled_v is not None
        assert turned.settled_v == pytest.approx(-one.settled_v, rel=1e-6)
        assert turned.settled_low_v == pytest.approx(-(one.settled_high_v or 0), rel=1e-6)

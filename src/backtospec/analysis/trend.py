"""Courses that have no end: a steady drift, and a rise that feeds itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.warm_up_log import Stretch

Array = NDArray[np.float64]
Whitening = Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class Trend:
    """A fitted course: its whitened misfit, the slope at its end, and that slope's spread.

    ``growth`` is what the self-feeding part has added by the end, 0 for a straight drift.
    """

    misfit: float
    slope_per_s: float
    slope_sd_per_s: float
    growth: float = 0.0
    growth_sd: float = 0.0


def fit_drift(stretch: Stretch, whiten: Whitening) -> Trend:
    """Return the best straight line with one transient before it.

    Parameters
    ----------
    stretch
        At least 6 readings.
    whiten
        Turns columns, one row per reading, so that their noise is white.
    """
    since, length = _clock(stretch)
    constants = np.geomspace(max(10.0, length / 60), max(20.0, length / 2.5), 12)
    shapes = [np.ones(since.size), since, *np.exp(-since / constants[:, None])]
    white = whiten(np.column_stack([*shapes, stretch.value - stretch.value[-1]]))
    choices = [[0, 1], *([0, 1, 2 + k] for k in range(constants.size))]
    chosen = _choose(white, choices)
    misfit, weights, spread = _solve(white, chosen)
    return Trend(misfit, float(weights[1]), float(spread[1]))


def fit_growth(stretch: Stretch, whiten: Whitening) -> Trend:
    """Return the best self-feeding rise, exp(t / time constant), with one transient before it.

    Parameters
    ----------
    stretch
        At least 6 readings.
    whiten
        Turns columns, one row per reading, so that their noise is white.
    """
    since, length = _clock(stretch)
    transients = np.geomspace(max(10.0, length / 30), max(20.0, length / 3), 5)
    rises = np.geomspace(length / 12, 1.5 * length, 12)
    shapes = [
        np.ones(since.size),
        *np.exp((since - since[-1]) / rises[:, None]),
        *np.exp(-since / transients[:, None]),
    ]
    white = whiten(np.column_stack([*shapes, stretch.value - stretch.value[-1]]))
    choices = [
        [0, 1 + k, *more]
        for k in range(rises.size)
        for more in [[], *([1 + rises.size + m] for m in range(transients.size))]
    ]
    chosen = _choose(white, choices)
    misfit, weights, spread = _solve(white, chosen)
    constant = float(rises[chosen[1] - 1])
    added = 1 - float(np.exp(-length / constant))
    return Trend(
        misfit,
        float(weights[1]) / constant,
        float(spread[1]) / constant,
        float(weights[1]) * added,
        float(spread[1]) * added,
    )


def _clock(stretch: Stretch) -> tuple[Array, float]:
    since = stretch.time_s - stretch.start_s
    return since, float(since[-1] - since[0])


def _choose(white: Array, choices: list[list[int]]) -> list[int]:
    """Return the columns that leave the least misfit."""
    products = white.T @ white
    gains = []
    for columns in choices:
        block, pull = products[np.ix_(columns, columns)], products[columns, -1]
        # columns may be nearly alike: a trace of ridge keeps the solution finite
        ridge = 1e-12 * np.diag(np.diag(block))
        gains.append(float(pull @ np.linalg.solve(block + ridge, pull)))
    return choices[int(np.argmax(gains))]


def _solve(white: Array, columns: list[int]) -> tuple[float, Array, Array]:
    """Return misfit, weights and their standard deviations of a linear fit."""
    inverse = np.linalg.pinv(white[:, columns])
    weights = inverse @ white[:, -1]
    left = white[:, -1] - white[:, columns] @ weights
    misfit = float(left @ left)
    freedom = max(left.size - len(columns), 1)
    return misfit, weights, np.linalg.norm(inverse, axis=1) * np.sqrt(misfit / freedom)

"""Nonlinear least squares, good to the certified digits of published test sets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backtospec.errors import BenchError

Array = NDArray[np.float64]
Model = Callable[[Array, Array], Array]

MOST_ITERATIONS = 3000


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """A least-squares fit: parameters, their standard deviations, and what is left over."""

    parameters: tuple[float, ...]
    standard_deviations: tuple[float, ...]
    residual_sum_of_squares: float
    degrees_of_freedom: int
    iterations: int


def fit_least_squares(
    model: Model,
    start: ArrayLike,
    x: ArrayLike,
    y: ArrayLike,
    *,
    jacobian: Model | None = None,
) -> LeastSquares:
    """Return the parameters for which the sum of (y - model(x, parameters))² is least.

    Parameters
    ----------
    model
        Function of (x, parameters) that gives the fitted values, shape of ``y``.
    start
        Starting values of the p parameters.
    x, y
        Data, at least as many values of y as there are parameters.
    jacobian
        Function of (x, parameters) that gives the (n, p) derivatives. Without it they are
        taken by a complex step where the model is analytic, else by central differences.

    Raises
    ------
    BenchError
        When there are fewer readings than parameters, or the fit does not converge.

    Notes
    -----
    Levenberg-Marquardt with scaled columns and a gain-ratio step control. Standard deviations
    are the asymptotic ones, scaled by the residuals; they say little far from the linear case.

    References
    ----------
    J. J. Moré, "The Levenberg-Marquardt algorithm", 1978. Checked against the NIST
    Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.arange(6.0)
    >>> fit = fit_least_squares(lambda x, p: p[0] * np.exp(-p[1] * x), [1, 1], x, 3 * 0.5**x)
    >>> [round(value, 6) for value in fit.parameters]
    [3.0, 0.693147]
    """
    x = np.asarray(x, dtype=float)
    y = np.asarray(y, dtype=float)
    p = np.array(start, dtype=float)
    if y.size < p.size:
        raise BenchError(
            f"{y.size} readings cannot fix {p.size} parameters.", "readings", "Take more readings."
        )
    derive = jacobian or (lambda x, p: _differentiate(model, x, p))
    p, iterations = _descend(model, derive, p, x, y)
    p = _polish(model, derive, p, x, y)
    residual = y - model(x, p)
    rss = float(residual @ residual)
    freedom = y.size - p.size
    # through the triangular factor: forming J'J would halve the digits
    triangle = np.linalg.qr(derive(x, p), mode="r")
    spread = np.linalg.norm(np.linalg.pinv(triangle), axis=1)
    scale = np.sqrt(rss / freedom) if freedom else np.nan
    return LeastSquares(
        tuple(p.tolist()), tuple((spread * scale).tolist()), rss, freedom, iterations
    )


def _descend(model: Model, derive: Model, p: Array, x: Array, y: Array) -> tuple[Array, int]:
    """Walk downhill from p until nothing more can be gained; the place and the steps taken."""
    residual = y - model(x, p)
    rss = float(residual @ residual)
    scale = np.zeros(p.size)
    damping, growth, stalls = 1.0, 2.0, 0
    for iteration in range(1, MOST_ITERATIONS + 1):
        slopes = derive(x, p)
        scale = np.maximum(scale, np.linalg.norm(slopes, axis=0))
        scale[scale == 0] = 1.0
        step = _solve_damped(slopes / scale, residual, damping) / scale
        foreseen = float(np.sum(residual**2) - np.sum((residual - slopes @ step) ** 2))
        trial = p + step
        with np.errstate(all="ignore"):
            trial_residual = y - model(x, trial)
            trial_rss = float(trial_residual @ trial_residual)
        gained = rss - trial_rss
        if np.isfinite(trial_rss) and gained >= 0:
            small = np.all(np.abs(step) <= 1e-13 * np.abs(trial) + 1e-300)
            p, residual, rss = trial, trial_residual, trial_rss
            ratio = gained / foreseen if foreseen > 0 else 1.0
            damping = max(damping * max(1 / 3, 1 - (2 * ratio - 1) ** 3), 1e-18)
            growth = 2.0
            stalls = stalls + 1 if gained <= 1e-15 * rss else 0
            if small or stalls >= 3 or rss == 0:
                return p, iteration
        else:
            if damping > 1e14:
                # rounding alone forbids a further step: this is the bottom
                return p, iteration
            damping *= growth
            growth *= 2
    raise BenchError(
        f"The fit did not converge in {MOST_ITERATIONS} steps.",
        "fit",
        "Give other starting values.",
    )


def _polish(model: Model, derive: Model, p: Array, x: Array, y: Array) -> Array:
    """Return p after undamped steps: at the bottom the sum of squares no longer tells digits."""
    residual = y - model(x, p)
    for _ in range(3):
        trial = p + _solve_damped(derive(x, p), residual, 0.0)
        with np.errstate(all="ignore"):
            trial_residual = y - model(x, trial)
        if not np.sum(trial_residual**2) <= np.sum(residual**2) * (1 + 1e-12):
            break
        p, residual = trial, trial_residual
    return p


def _solve_damped(slopes: Array, residual: Array, damping: float) -> Array:
    count = slopes.shape[1]
    stacked = np.vstack([slopes, np.sqrt(damping) * np.eye(count)])
    padded = np.concatenate([residual, np.zeros(count)])
    step: Array = np.linalg.lstsq(stacked, padded, rcond=None)[0]
    return step


def _differentiate(model: Model, x: Array, p: Array) -> Array:
    """Return the (n, p) derivatives of the model, by complex step where the model allows it."""
    columns = []
    for k in range(p.size):
        size = abs(p[k]) or 1.0
        moved = p.astype(complex)
        moved[k] += 1j * 1e-30 * size
        try:
            with np.errstate(all="ignore"):
                answer = model(x, moved)
        except TypeError:
            answer = np.zeros(1)
        if np.iscomplexobj(answer) and np.all(np.isfinite(answer)):
            columns.append(np.imag(answer) / (1e-30 * size))
            continue
        high, low = p.copy(), p.copy()
        high[k] += 6e-6 * size
        low[k] -= 6e-6 * size
        columns.append((model(x, high) - model(x, low)) / (high[k] - low[k]))
    return np.column_stack(columns)

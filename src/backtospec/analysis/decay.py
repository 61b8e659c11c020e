"""Sums of exponentials: how things warm up, cool down and re-form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backtospec.analysis.least_squares import Model, fit_least_squares
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Sign = Literal["same", "free"]


@dataclass(frozen=True, slots=True)
class Decays:
    """y(t) = end_value + sum of amplitude × exp(-t / time_constant), slowest first.

    Standard deviations are None where the sign constraint or a bound holds a parameter.
    """

    end_value: float
    amplitudes: tuple[float, ...]
    time_constants_s: tuple[float, ...]
    end_value_sd: float | None
    amplitudes_sd: tuple[float, ...] | None
    time_constants_sd_s: tuple[float, ...] | None
    residual_sum_of_squares: float
    degrees_of_freedom: int

    def predict(self, time_s: ArrayLike) -> Array:
        """Return the fitted value at each time, same shape as ``time_s``."""
        time_s = np.asarray(time_s, dtype=float)
        total = np.full(time_s.shape, self.end_value)
        for amplitude, constant in zip(self.amplitudes, self.time_constants_s, strict=True):
            total = total + amplitude * np.exp(-time_s / constant)
        return total


def fit_decays(
    time_s: ArrayLike,
    value: ArrayLike,
    count: int,
    *,
    sign: Sign = "same",
    end_value: bool = True,
    fastest_s: float | None = None,
    slowest_s: float | None = None,
) -> Decays:
    """Return the sum of ``count`` exponentials that fits the readings best.

    Parameters
    ----------
    time_s, value
        Readings, at least two more than there are parameters to find; times in seconds.
    count
        How many exponentials, 1 to 3.
    sign
        ``same``: all amplitudes have one sign, as in a body that only warms or only cools;
        ``free``: opposite signs are allowed (a curve with a peak).
    end_value
        False when the curve is known to end at zero.
    fastest_s, slowest_s
        Bounds of the time constants; from a third of the mean spacing to three times the
        length of the record when not given.

    Raises
    ------
    BenchError
        When there are too few readings, or count is outside 1…3.

    Notes
    -----
    Variable projection: the amplitudes are linear, so only the time constants are searched,
    first on a logarithmic grid, then by closing in, then by undamped steps on all parameters.
    With ``same`` an amplitude may end at zero and then drops out of the answer.

    References
    ----------
    G. H. Golub and V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least
    squares problems whose variables separate", 1973 (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(0, 1800, 30)
    >>> fit = fit_decays(time_s, 12 - 5 * np.exp(-time_s / 300), 1)
    >>> round(fit.end_value, 6), round(fit.time_constants_s[0], 3)
    (12.0, 300.0)
    """
    t = np.asarray(time_s, dtype=float)
    y = np.asarray(value, dtype=float)
    unknowns = 2 * count + end_value
    if not 1 <= count <= 3:
        raise BenchError(
            f"{count} exponentials are outside 1…3.", "exponentials", "Ask for 1 to 3."
        )
    if t.size < unknowns + 2:
        raise BenchError(
            f"{t.size} readings are too few for {count} time constants; {unknowns + 2} are needed.",
            "readings",
            "Take more readings.",
        )
    length = float(t[-1] - t[0])
    fastest = fastest_s or length / (3 * t.size)
    slowest = slowest_s or 3 * length
    chosen = _search(t, y, count, sign, end_value, np.log(fastest), np.log(slowest))
    return _finish(t, y, chosen, sign, end_value, fastest, slowest)


def _search(
    t: Array, y: Array, count: int, sign: Sign, end_value: bool, low: float, high: float
) -> Array:
    """Return the logarithms of the best time constants, by a grid that closes in."""
    points = {1: 60, 2: 40, 3: 22}[count]
    grid = np.linspace(low, high, points)
    tries = np.array(list(combinations(grid, count)))
    spacing = grid[1] - grid[0]
    best: Array = tries[np.argmin(_leftovers(t, y, np.exp(tries), sign, end_value))]
    offsets = np.array(np.meshgrid(*[np.linspace(-1, 1, 5)] * count)).reshape(count, -1).T
    for _ in range(24):
        tries = np.clip(best + spacing * offsets, low, high)
        best = tries[np.argmin(_leftovers(t, y, np.exp(tries), sign, end_value))]
        spacing *= 0.6
    return best


def _leftovers(t: Array, y: Array, constants: Array, sign: Sign, end_value: bool) -> Array:
    """Return the residual sum of squares for each row of time constants."""
    shapes = np.exp(-t[None, :, None] / constants[:, None, :])
    best = np.full(len(constants), np.inf)
    count = constants.shape[1]
    subsets = [tuple(range(count))]
    if sign == "same":
        # the best of one sign is the free best of some subset: try them all
        subsets = [s for n in range(count + 1) for s in combinations(range(count), n)]
    for subset in subsets:
        design = shapes[:, :, list(subset)]
        if end_value:
            design = np.concatenate([design, np.ones((*design.shape[:2], 1))], axis=2)
        if design.shape[2] == 0:
            continue
        weights = np.linalg.pinv(design, rcond=1e-14) @ y
        rss = np.sum((y - np.einsum("pnk,pk->pn", design, weights)) ** 2, axis=1)
        parts = weights[:, : len(subset)]
        one_sign = np.all(parts >= 0, axis=1) | np.all(parts <= 0, axis=1)
        best = np.minimum(best, np.where(one_sign | (sign == "free"), rss, np.inf))
    return best


def _finish(
    t: Array, y: Array, chosen: Array, sign: Sign, end_value: bool, fastest: float, slowest: float
) -> Decays:
    """Return the fit at the chosen time constants, polished where no bound holds it."""
    constants = _kept(t, y, np.exp(chosen), sign, end_value)
    inside = bool(np.all((constants > 1.01 * fastest) & (constants < 0.99 * slowest)))
    count = constants.size
    start = np.concatenate([_amplitudes(t, y, constants, end_value), 1 / constants])
    if inside and count and t.size >= start.size:
        try:
            fit = fit_least_squares(_sum_model(count, end_value), start, t, y)
        except BenchError:
            fit = None
        if fit is not None and _allowed(np.array(fit.parameters), count, end_value, sign):
            return _as_decays(
                np.array(fit.parameters),
                np.array(fit.standard_deviations),
                count,
                end_value,
                fit.residual_sum_of_squares,
                fit.degrees_of_freedom,
            )
    residual = y - _sum_model(count, end_value)(t, start)
    rss = float(residual @ residual)
    return _as_decays(start, None, count, end_value, rss, t.size - start.size)


def _kept(t: Array, y: Array, constants: Array, sign: Sign, end_value: bool) -> Array:
    """Return the time constants that keep an amplitude under the sign constraint."""
    if sign == "free":
        return constants
    subsets = [s for n in range(1, constants.size + 1) for s in combinations(constants, n)]
    rss = [
        float(_leftovers(t, y, np.array([s]), "free", end_value)[0])
        if _one_sign(_amplitudes(t, y, np.array(s), end_value)[end_value:])
        else np.inf
        for s in subsets
    ]
    return np.array(subsets[int(np.argmin(rss))])


def _amplitudes(t: Array, y: Array, constants: Array, end_value: bool) -> Array:
    """Return the linear parameters, the end value (if any) first."""
    columns: list[Array] = [np.ones(t.size)] if end_value else []
    columns += [np.exp(-t / constant) for constant in constants]
    design = np.column_stack(columns)
    return np.asarray(np.linalg.lstsq(design, y, rcond=None)[0], dtype=float)


def _sum_model(count: int, end_value: bool) -> Model:
    def model(t: Array, p: Array) -> Array:
        level = p[0] if end_value else 0.0
        amplitudes, rates = p[-2 * count : -count or None], p[len(p) - count :]
        total: Array = level + np.exp(-t[:, None] * rates[None, :]) @ amplitudes
        return total

    return model


def _one_sign(amplitudes: Sequence[float] | Array) -> bool:
    amplitudes = np.asarray(amplitudes)
    return bool(np.all(amplitudes >= 0) or np.all(amplitudes <= 0))


def _allowed(p: Array, count: int, end_value: bool, sign: Sign) -> bool:
    amplitudes, rates = p[int(end_value) : int(end_value) + count], p[len(p) - count :]
    return bool(np.all(rates > 0)) and (sign == "free" or _one_sign(amplitudes))


def _as_decays(
    p: Array, sd: Array | None, count: int, end_value: bool, rss: float, freedom: int
) -> Decays:
    first = int(end_value)
    order = np.argsort(p[first + count :])
    amplitudes, rates = p[first : first + count][order], p[first + count :][order]
    spread = None if sd is None else (sd[first : first + count][order], sd[first + count :][order])
    return Decays(
        end_value=float(p[0]) if end_value else 0.0,
        amplitudes=tuple(amplitudes.tolist()),
        time_constants_s=tuple((1 / rates).tolist()),
        end_value_sd=float(sd[0]) if sd is not None and end_value else None,
        amplitudes_sd=None if spread is None else tuple(spread[0].tolist()),
        time_constants_sd_s=None if spread is None else tuple((spread[1] / rates**2).tolist()),
        residual_sum_of_squares=rss,
        degrees_of_freedom=freedom,
    )


@dataclass(frozen=True, slots=True)
class Leakage:
    """When a re-forming capacitor's leakage passes its limit.

    ``passed`` says whether the last reading is inside the limit. ``passes_s`` is the likely
    time, within ``earliest_s`` and ``latest_s``; None where it may never come to that.
    """

    passed: bool
    passes_s: float | None
    earliest_s: float | None
    latest_s: float | None
    last_a: float


def fit_leakage(time_s: ArrayLike, current_a: ArrayLike, limit_a: float) -> Leakage:
    """Return when the leakage current of a re-forming capacitor passes its limit.

    Parameters
    ----------
    time_s, current_a
        At least three readings: rising times above 0 s since the voltage was applied, and
        currents above 0 A.
    limit_a
        The highest leakage accepted, in amperes.

    Raises
    ------
    BenchError
        When a time, a current or the limit is not above zero, or fewer than three are given.

    Notes
    -----
    Between two readings the current falls along a straight line of log current over time.
    Ahead of the last reading two laws bound it: an exponential with the latest rate is the
    soonest it can go, a power of time (absorption in the dielectric) the slowest usual one.
    Readings that no longer fall promise nothing, and no time is given.

    References
    ----------
    Absorption current as a power of time: Curie and von Schweidler (from memory).

    Examples
    --------
    A 20 µF part, limit 500 µA (retronics.no/2023/02/28, part 5):

    >>> found = fit_leakage([20, 900, 3600, 10800], [4.5e-3, 1e-3, 120e-6, 50e-6], 500e-6)
    >>> found.passed, found.earliest_s, found.latest_s, round(found.passes_s / 60)
    (True, 900.0, 3600.0, 30)
    """
    t, current = _check_leakage(time_s, current_a, limit_a)
    last = float(current[-1])
    above = np.flatnonzero(current > limit_a)
    if not above.size:
        return Leakage(True, float(t[0]), 0.0, float(t[0]), last)
    if last <= limit_a:
        k = int(above[-1])
        share = np.log(current[k] / limit_a) / np.log(current[k] / current[k + 1])
        passes = float(t[k] + share * (t[k + 1] - t[k]))
        return Leakage(True, passes, float(t[k]), float(t[k + 1]), last)
    return _foresee_leakage(t, current, limit_a)


def _check_leakage(time_s: ArrayLike, current_a: ArrayLike, limit_a: float) -> tuple[Array, Array]:
    t = np.asarray(time_s, dtype=float)
    current = np.asarray(current_a, dtype=float)
    if t.size < 3 or t.size != current.size:
        raise BenchError(
            f"{t.size} times and {current.size} currents are not three pairs or more.",
            "leakage readings",
            "Give a current for each time, three or more.",
        )
    for name, values in (("time", t), ("current", current), ("limit", np.array([limit_a]))):
        bad = values[~(values > 0)]
        if bad.size:
            raise BenchError(
                f"A {name} of {bad[0]:g} is not above zero.", "leakage readings", "Check the sign."
            )
    if np.any(np.diff(t) <= 0):
        raise BenchError(
            "The times do not rise.", "leakage readings", "Give the rows in the order taken."
        )
    return t, current


def _foresee_leakage(t: Array, current: Array, limit_a: float) -> Leakage:
    """Return the time ahead, between an exponential and a power of time from the last rows."""
    last, tail = float(current[-1]), slice(-max(3, t.size // 3), None)
    logs, needed = np.log(current[tail]), np.log(current[-1] / limit_a)
    rate = -float(np.polyfit(t[tail], logs, 1)[0])
    power = -float(np.polyfit(np.log(t[tail]), logs, 1)[0])
    fallen = logs[0] - logs[-1]
    if rate <= 0 or power <= 0 or fallen <= 0:
        return Leakage(False, None, None, None, last)
    earliest = float(t[-1] + needed / rate)
    latest = float(t[-1] * np.exp(min(needed / power, 50.0)))
    if latest < earliest:
        earliest, latest = latest, earliest
    likely = float(np.sqrt(earliest * latest))
    return Leakage(False, likely, earliest, latest, last)

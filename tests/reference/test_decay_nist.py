"""The fitting core against the certified values of https://www.itl.nist.gov/div898/strd."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.decay import fit_decays
from backtospec.analysis.least_squares import Model, fit_least_squares

Array = NDArray[np.float64]
DATA = Path(__file__).parent / "data" / "nist"


def _three_decays(x: Array, b: Array) -> Array:
    rates = np.exp(-x[:, None] * b[None, 1::2])
    return np.asarray(rates @ b[0::2])


def _approach(x: Array, b: Array) -> Array:
    return np.asarray(b[0] * (1 - np.exp(-b[1] * x)))


def _decay_over_line(x: Array, b: Array) -> Array:
    return np.asarray(np.exp(-b[0] * x) / (b[1] + b[2] * x))


MODELS: dict[str, Model] = {
    "BoxBOD": _approach,
    "Chwirut1": _decay_over_line,
    "Chwirut2": _decay_over_line,
    "DanWood": lambda x, b: b[0] * x ** b[1],
    "Eckerle4": lambda x, b: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Lanczos1": _three_decays,
    "Lanczos3": _three_decays,
    "MGH09": lambda x, b: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH17": lambda x, b: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Misra1a": _approach,
    "Misra1b": lambda x, b: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
    "Rat42": lambda x, b: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda x, b: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda x, b: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
}
# the far starting vector of this set lies on a plateau that slopes away from the answer
STARTS = [(name, start) for name in MODELS for start in (0, 1) if (name, start) != ("BoxBOD", 0)]
# 1e-13 of noise: the last digits of its deviations are the rounding of the data themselves
ROUNDED = {"Lanczos1"}


@dataclass(frozen=True)
class Certified:
    starts: Array
    parameters: Array
    deviations: Array
    residual_sum_of_squares: float
    x: Array
    y: Array


def _read(name: str) -> Certified:
    lines = (DATA / f"{name}.dat").read_text().splitlines()
    rows = [re.match(r"\s*b\d+\s*=\s*(.*)", line) for line in lines[:60]]
    table = np.array([[float(part) for part in row[1].split()] for row in rows if row])
    rss = next(line for line in lines if line.startswith("Residual Sum of Squares"))
    data = np.array([[float(part) for part in line.split()] for line in lines[60:] if line.strip()])
    return Certified(
        table[:, :2].T, table[:, 2], table[:, 3], float(rss.split()[-1]), data[:, 1], data[:, 0]
    )


def _digits(found: Array, certified: Array) -> float:
    off = float(np.max(np.abs(np.asarray(found) / certified - 1)))
    return 11.0 if off == 0 else min(11.0, -np.log10(off))


@pytest.mark.parametrize(("name", "start"), STARTS)
def test_certified_digits(name: str, start: int) -> None:
    known = _read(name)
    fit = fit_least_squares(MODELS[name], known.starts[start], known.x, known.y)
    assert _digits(np.array(fit.parameters), known.parameters) >= 7
    if name not in ROUNDED:
        assert _digits(np.array(fit.standard_deviations), known.deviations) >= 7
        assert fit.residual_sum_of_squares == pytest.approx(known.residual_sum_of_squares, rel=1e-7)
    assert fit.degrees_of_freedom == known.y.size - known.parameters.size


@pytest.mark.parametrize("name", ["Misra1a", "Chwirut2", "Rat43"])
def test_a_model_that_refuses_complex_numbers_still_gives_six_digits(name: str) -> None:
    known, smooth = _read(name), MODELS[name]

    def real_only(x: Array, b: Array) -> Array:
        return np.asarray(smooth(x, b), dtype=np.float64) if np.isrealobj(b) else _refuse()

    fit = fit_least_squares(real_only, known.starts[1], known.x, known.y)
    assert _digits(np.array(fit.parameters), known.parameters) >= 6


def _refuse() -> Array:
    raise TypeError("real numbers only")


SUMS: dict[str, tuple[int, bool, Callable[[Array], tuple[Array, Array]]]] = {
    "MGH17": (2, True, lambda b: (b[[1, 2]], b[[3, 4]])),
    "Lanczos1": (3, False, lambda b: (b[[0, 2, 4]], b[[1, 3, 5]])),
    "Lanczos3": (3, False, lambda b: (b[[0, 2, 4]], b[[1, 3, 5]])),
}


@pytest.mark.parametrize("name", SUMS)
def test_sums_of_decays_need_no_starting_values(name: str) -> None:
    known = _read(name)
    count, with_end, parts = SUMS[name]
    fit = fit_decays(known.x, known.y, count, sign="free", end_value=with_end)
    amplitudes, rates = parts(known.parameters)
    assert _digits(np.array(fit.amplitudes), amplitudes) >= 6
    assert _digits(1 / np.array(fit.time_constants_s), rates) >= 6
    if with_end:
        assert _digits(np.array([fit.end_value]), known.parameters[:1]) >= 6


def test_one_sign_is_a_constraint_where_the_data_have_two() -> None:
    known = _read("MGH17")
    held = fit_decays(known.x, known.y, 2)
    assert min(held.amplitudes) >= 0 or max(held.amplitudes) <= 0
    assert held.residual_sum_of_squares > 10 * known.residual_sum_of_squares


def test_one_sign_costs_nothing_where_the_data_have_one() -> None:
    known = _read("Lanczos3")
    free = fit_decays(known.x, known.y, 3, sign="free", end_value=False)
    held = fit_decays(known.x, known.y, 3, end_value=False)
    assert held.residual_sum_of_squares == pytest.approx(free.residual_sum_of_squares, rel=1e-9)

"""Intermodulation figures of one channel, each with the definition it follows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import Total, decibels, total
from backtospec.analysis.lattice_fit import LatticeFit, Line

Array = NDArray[np.float64]

ToneRatio: TypeAlias = Literal["4:1", "1:1"]

#: Products up to this order are stated one by one.
STATED_ORDER = 5
_DB = 20 / math.log(10)
#: f2 near 1.5·f1 puts f2 − f1 and 2·f1 − f2 side by side.
_TOTAL_DIFFERENCE_RATIO = (1.45, 1.55)

PRODUCTS_DEFINITION: Mapping[ToneRatio, str] = {
    "4:1": "line at |m·f1 + n·f2| over the line at f2",
    "1:1": "line at |m·f1 + n·f2| over the sum of the lines at f1 and f2",
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One intermodulation figure.

    Parameters
    ----------
    percent, percent_u
        With the noise bias removed, and its standard uncertainty; ``None`` when noise hides it.
    percent_at_most
        Upper bound at three standard deviations, where ``percent`` is ``None``.
    definition
        What is summed, how, and over what.
    """

    percent: float | None
    percent_u: float | None
    percent_at_most: float | None
    definition: str


@dataclass(frozen=True, slots=True)
class Intermodulation:
    """Everything that two tones make together in one channel.

    Parameters
    ----------
    products_db, products_db_u, products_db_at_most
        By ``"m,n"``, to the fifth order and below half the rate; see
        :data:`PRODUCTS_DEFINITION`.
    imd_pairs, imd_rms
        Sidebands of orders 1 and 2, for 4:1 only.
    d2, d3
        Second and third order by arithmetic sum.
    total_difference
        For 1:1 with f2 near 1.5·f1 only.

    A figure is ``None`` where it is not defined or one of its lines lies out of the band.
    """

    products_db: Mapping[str, float]
    products_db_u: Mapping[str, float]
    products_db_at_most: Mapping[str, float]
    imd_pairs: Figure | None = None
    imd_rms: Figure | None = None
    d2: Figure | None = None
    d3: Figure | None = None
    total_difference: Figure | None = None


_SIDEBANDS: tuple[tuple[Line, ...], ...] = (((1, 1), (1, -1)), ((2, 1), (2, -1)))


def read_intermodulation(fit: LatticeFit, column: int, ratio: ToneRatio) -> Intermodulation:
    """Return the intermodulation of one channel.

    Parameters
    ----------
    fit
        Lines with f1 and f2 as the first two frequencies.
    column
        Which channel of it.
    ratio
        ``"4:1"`` or ``"1:1"``, which decides the definitions.

    References
    ----------
    SMPTE RP 120 and DIN 45403 for 4:1; IEC 60268-3 for modulation, difference-frequency and total
    difference-frequency distortion. Restated from memory.
    """
    heard = _Heard(fit, column)
    low, high = heard.amplitude((1, 0)), heard.amplitude((0, 1))
    reference = high if ratio == "4:1" else low + high
    known, doubt, bounded = heard.products_db(reference)
    if ratio == "4:1":
        return Intermodulation(
            known,
            doubt,
            bounded,
            imd_pairs=heard.paired(
                _SIDEBANDS,
                reference,
                "per order m = 1, 2 the lines at f2 + m·f1 and f2 − m·f1 added linearly, orders "
                "added by squares, over the line at f2",
            ),
            imd_rms=heard.squared(
                _SIDEBANDS[0] + _SIDEBANDS[1],
                reference,
                "the four lines at f2 ± f1 and f2 ± 2·f1 added by squares, over the line at f2",
            ),
            d2=heard.paired(
                _SIDEBANDS[:1],
                reference,
                "modulation distortion of second order: lines at f2 − f1 and f2 + f1 added "
                "linearly, over the line at f2",
            ),
            d3=heard.paired(
                _SIDEBANDS[1:],
                reference,
                "modulation distortion of third order: lines at f2 − 2·f1 and f2 + 2·f1 added "
                "linearly, over the line at f2",
            ),
        )
    least, most = _TOTAL_DIFFERENCE_RATIO
    beside = least < float(fit.hz[1] / fit.hz[0]) < most
    return Intermodulation(
        known,
        doubt,
        bounded,
        d2=heard.paired(
            (((1, -1),),),
            reference,
            "difference-frequency distortion of second order: line at f2 − f1 over the sum of "
            "the lines at f1 and f2",
        ),
        d3=heard.paired(
            (((2, -1), (1, -2)),),
            reference,
            "difference-frequency distortion of third order: lines at 2·f1 − f2 and 2·f2 − f1 "
            "added linearly, over the sum of the lines at f1 and f2",
        ),
        total_difference=heard.squared(
            ((1, -1), (2, -1)),
            reference,
            "total difference-frequency distortion: lines at f2 − f1 and 2·f1 − f2 added by "
            "squares, over the sum of the lines at f1 and f2",
        )
        if beside
        else None,
    )


class _Heard:
    """Lines of one channel, asked for by order."""

    def __init__(self, fit: LatticeFit, column: int) -> None:
        self.lines = {
            (line[0], line[1]): float(abs(amplitude))
            for line, amplitude in zip(fit.lines, fit.amplitudes[:, column], strict=True)
            if not any(line[2:])
        }
        self.amplitude_u = float(fit.amplitude_u[column])

    def amplitude(self, line: Line) -> float:
        return self.lines[line[0], line[1]]

    def products_db(
        self, reference: float
    ) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
        """Return lines in decibels, their uncertainties, and bounds of hidden ones."""
        known, doubt, bounded = {}, {}, {}
        for (m, n), amplitude in self.lines.items():
            if m + abs(n) > STATED_ORDER:
                continue
            one = total(np.array([amplitude]), self.amplitude_u, reference)
            if one.ratio is not None and one.ratio_u is not None:
                known[f"{m},{n}"] = decibels(one.ratio)
                doubt[f"{m},{n}"] = _DB * one.ratio_u / one.ratio
            elif one.at_most is not None:
                bounded[f"{m},{n}"] = decibels(one.at_most)
        return known, doubt, bounded

    def squared(self, lines: tuple[Line, ...], reference: float, definition: str) -> Figure | None:
        """Return the lines added by squares."""
        if any(line not in self.lines for line in lines):
            return None
        found = np.array([self.amplitude(line) for line in lines])
        return _figure(total(found, self.amplitude_u, reference), definition)

    def paired(
        self, orders: tuple[tuple[Line, ...], ...], reference: float, definition: str
    ) -> Figure | None:
        """Return the lines of each order added linearly, the orders by squares."""
        if any(line not in self.lines for order in orders for line in order):
            return None
        found = np.array([[self.amplitude(line) for line in order] for order in orders])
        return _figure(linear_total(found, self.amplitude_u, reference), definition)


def linear_total(amplitudes: Array, amplitude_u: float, reference: float) -> Total:
    """Return the root of squared linear sums over a reference, with the noise bias removed.

    Parameters
    ----------
    amplitudes
        Measured peak amplitudes, shape (orders, lines); each row is added linearly.
    amplitude_u
        Standard uncertainty s of each. A square is 2·s² too large on average, an amplitude well
        above the noise by s²/2 of itself.
    reference
        What the sum is taken over.

    Examples
    --------
    >>> round(linear_total(np.array([[1e-3, 2e-3], [3e-3, 1e-3]]), 1e-9, 1.0).ratio, 12)
    0.005
    """
    by_squares = total(amplitudes.ravel(), amplitude_u, reference)
    count = amplitudes.shape[1]
    if by_squares.ratio is None:
        # (a + b)² ≤ 2·(a² + b²)
        bound = by_squares.at_most
        return Total(None, None, None if bound is None else math.sqrt(count) * bound)
    single = np.sqrt(np.maximum(amplitudes**2 - amplitude_u**2, 0.0))
    cross = np.sum(single, axis=1) ** 2 - np.sum(single**2, axis=1)
    squares = np.sum(amplitudes**2 - 2 * amplitude_u**2, axis=1)
    root = math.sqrt(float(np.sum(squares + cross)))
    return Total(root / reference, math.sqrt(count) * amplitude_u / reference, None)


def _figure(found: Total, definition: str) -> Figure:
    percent = [None if r is None else 100 * r for r in (found.ratio, found.ratio_u, found.at_most)]
    return Figure(percent[0], percent[1], percent[2], definition)

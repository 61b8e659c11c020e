"""A measured value with its standard uncertainty, which remembers what it shares with others."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import uncertainties
import uncertainties.umath

# The library ships no types; this one name keeps the rest of the module checked.
propagation: Any = uncertainties


class Measured:
    """A value with its standard uncertainty, propagated to first order with its correlations.

    Two values made apart are independent; values computed from a shared one are correlated, so
    that what they share cancels in a ratio or a difference.

    Parameters
    ----------
    value
        Best estimate; finite.
    u
        Standard uncertainty in the same unit; finite, not negative.

    Raises
    ------
    ValueError
        Where a value or an uncertainty, given or computed, is not finite.

    Notes
    -----
    JCGM 100:2008, 5.1 and 5.2. First order only: a function that bends within one standard
    uncertainty, such as the square of a value near zero, is not described.

    Examples
    --------
    >>> volt, ohm = Measured(20.0, 0.1), Measured(8.0, 0.04)
    >>> print(volt**2 / ohm)
    50.00 (u 0.56)
    >>> print(volt / volt)
    1
    """

    __slots__ = ("_linear",)
    __array_ufunc__ = None  # numpy numbers leave the arithmetic to this class

    _linear: Any

    def __init__(self, value: float, u: float = 0.0) -> None:
        if not (math.isfinite(value) and math.isfinite(u) and u >= 0):
            raise ValueError(f"value {value}, standard uncertainty {u}: neither is usable so")
        self._linear = propagation.ufloat(float(value), float(u)) if u else float(value)

    @classmethod
    def _of(cls, linear: Any) -> Measured:
        """Wrap a number or a linear form, refusing what is not finite."""
        measured = cls.__new__(cls)
        measured._linear = linear
        if isinstance(linear, complex) or not (
            math.isfinite(measured.value) and math.isfinite(measured.u)
        ):
            raise ValueError(f"{linear} is not a finite real value")
        return measured

    @classmethod
    def correlated(
        cls, values: Sequence[float], covariance: Sequence[Sequence[float]]
    ) -> tuple[Measured, ...]:
        """Return values that share errors as a covariance matrix says.

        Parameters
        ----------
        values
            n best estimates.
        covariance
            n × n, in products of the values' units.
        """
        return tuple(cls._of(v) for v in propagation.correlated_values(values, covariance))

    @property
    def value(self) -> float:
        """Best estimate."""
        return float(propagation.nominal_value(self._linear))

    @property
    def u(self) -> float:
        """Standard uncertainty, in the unit of the value."""
        return float(propagation.std_dev(self._linear))

    @property
    def relative(self) -> float:
        """Standard uncertainty over the size of the value; infinite at zero unless exact."""
        if self.u == 0:
            return 0.0
        return self.u / abs(self.value) if self.value else math.inf

    def expanded(self, k: float = 2.0) -> float:
        """Return the expanded uncertainty k·u; k = 2 covers about 95 %."""
        return k * self.u

    def __add__(self, other: Measured | float) -> Measured:
        return self._of(self._linear + _linear(other))

    def __sub__(self, other: Measured | float) -> Measured:
        return self._of(self._linear - _linear(other))

    def __mul__(self, other: Measured | float) -> Measured:
        return self._of(self._linear * _linear(other))

    def __truediv__(self, other: Measured | float) -> Measured:
        return self._of(self._linear / _linear(other))

    def __pow__(self, other: Measured | float) -> Measured:
        return self._of(self._linear ** _linear(other))

    def __radd__(self, other: float) -> Measured:
        return self._of(other + self._linear)

    def __rsub__(self, other: float) -> Measured:
        return self._of(other - self._linear)

    def __rmul__(self, other: float) -> Measured:
        return self._of(other * self._linear)

    def __rtruediv__(self, other: float) -> Measured:
        return self._of(other / self._linear)

    def __rpow__(self, other: float) -> Measured:
        return self._of(other**self._linear)

    def __neg__(self) -> Measured:
        return self._of(-self._linear)

    def __abs__(self) -> Measured:
        return -self if self.value < 0 else self

    # A copy would be a new, independent variable; an immutable value needs none.
    def __copy__(self) -> Measured:
        return self

    def __deepcopy__(self, memo: dict[int, object]) -> Measured:
        return self

    def __str__(self) -> str:
        if self.u == 0:
            return f"{self.value:.12g}"
        places = max(0, 1 - math.floor(math.log10(self.u)))
        return f"{self.value:.{places}f} (u {self.u:.{places}f})"

    def __repr__(self) -> str:
        return f"Measured({self.value!r}, {self.u!r})"


def _linear(operand: Measured | float) -> Any:
    return operand._linear if isinstance(operand, Measured) else float(operand)


def sqrt(x: Measured | float) -> Measured:
    """Return the square root."""
    return Measured._of(propagation.umath.sqrt(_linear(x)))


def log10(x: Measured | float) -> Measured:
    """Return the logarithm to the base 10."""
    return Measured._of(propagation.umath.log10(_linear(x)))


def exp(x: Measured | float) -> Measured:
    """Return e to the power x."""
    return Measured._of(propagation.umath.exp(_linear(x)))


def decibel_ratio(a: Measured | float, b: Measured | float) -> Measured:
    """Return 20·log10(a/b), the ratio of two amplitudes in decibels.

    Examples
    --------
    >>> print(decibel_ratio(2.0, 1.0))
    6.02059991328
    """
    return 20 * log10(Measured._of(_linear(a) / _linear(b)))


def rectangular(value: float, half_width: float) -> Measured:
    """Return a value known only to lie within ± half_width: u = half_width/√3.

    Notes
    -----
    JCGM 100:2008, 4.3.7.
    """
    return Measured(value, half_width / math.sqrt(3))


def with_tolerance(value: float, percent: float) -> Measured:
    """Return a value with a tolerance in percent of itself, taken as a rectangle.

    Examples
    --------
    >>> print(with_tolerance(8.0, 1.0))
    8.000 (u 0.046)
    """
    return rectangular(value, abs(value) * percent / 100)


class MeterRange:
    """One range of one meter: turns its readings into values that share the gain error.

    Parameters
    ----------
    percent
        Accuracy in percent of reading, not negative.
    counts
        Accuracy in counts of the last digit, not negative.
    step
        Size of one count in SI units, not negative.

    Notes
    -----
    Percent and counts are added and the sum a is taken as a rectangle, u = a/√3 (JCGM 100:2008,
    4.3.7). The percent part is the gain error, one variable for all readings of this range, so it
    cancels in their ratios; the rest is private to each reading.

    Examples
    --------
    >>> meter = MeterRange(percent=0.5, counts=3, step=1e-3)
    >>> print(meter.measured(2.0))
    2.0000 (u 0.0075)
    """

    __slots__ = ("_counts_part", "_gain", "_percent_part")

    def __init__(self, percent: float, counts: float, step: float) -> None:
        if not all(math.isfinite(x) and x >= 0 for x in (percent, counts, step)):
            raise ValueError(f"meter range with {percent} %, {counts} counts of {step}")
        self._percent_part = percent / 100
        self._counts_part = counts * step
        self._gain = Measured(1.0, self._percent_part / math.sqrt(3))

    def measured(self, reading: float) -> Measured:
        """Return a reading, in SI units, with the meter's uncertainty."""
        gain_part = self._percent_part * abs(reading)
        # (gain + counts)² − gain²: what is left of the whole once the shared part is taken out
        private = math.sqrt(self._counts_part * (self._counts_part + 2 * gain_part) / 3)
        return reading * self._gain + Measured(0.0, private)

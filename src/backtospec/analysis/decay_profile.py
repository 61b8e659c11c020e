"""Two decays of one sign: how well they fit for any given end, over all time constants."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.warm_up_log import Stretch

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Pairs = tuple[Index, Index]

MEMORY_S = 60.0
"""The slow part of the noise (air on the heatsink, mains) forgets itself in about a minute."""
COARSE = 12
PACES = (6, 3, 2, 1, 1)


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve that the readings allow: its end, and per stretch two decays from its start."""

    end_value: float
    time_constants_s: tuple[float, float]
    amplitudes: tuple[tuple[float, float], ...]
    misfit: float

    def remaining(self, since_start_s: float) -> float:
        """Return how far the last stretch still is from the end, in the unit of the readings."""
        return abs(
            sum(
                amplitude * float(np.exp(-since_start_s / constant))
                for amplitude, constant in zip(
                    self.amplitudes[-1], self.time_constants_s, strict=True
                )
            )
        )

    def slowest(self, tolerance: float) -> float:
        """Return the slowest time constant in s that carries more than the tolerance, or 0."""
        carried = [
            constant
            for amplitude, constant in zip(self.amplitudes[-1], self.time_constants_s, strict=True)
            if abs(amplitude) > tolerance
        ]
        return max(carried, default=0.0)


@dataclass(frozen=True, slots=True)
class NoiseSpectrum:
    """The eigenvectors of the slow noise of one stretch, so that any share whitens at once."""

    vectors: Array
    powers: Array

    @classmethod
    def of(cls, stretch: Stretch) -> NoiseSpectrum:
        apart = np.abs(stretch.time_s[:, None] - stretch.time_s[None, :])
        powers, vectors = np.linalg.eigh(np.exp(-apart / MEMORY_S))
        return cls(vectors, powers)

    def whiten(self, columns: Array, slow_share: float) -> Array:
        """Return the columns, one row per reading, turned so that the noise is white."""
        white: Array = self.vectors.T @ columns
        return white / np.sqrt(1 - slow_share + slow_share * self.powers)[:, None]


@dataclass(frozen=True, slots=True)
class _Products:
    """Whitened inner products of one stretch: all that the fit needs to know of it."""

    shapes: Array
    shapes_one: Array
    shapes_value: Array
    one_one: float
    one_value: float
    value_value: float


@dataclass(frozen=True, slots=True)
class DecayProfile:
    """Least misfit for given end values, over pairs of time constants on a fine grid."""

    constants: Array
    parts: tuple[_Products, ...]
    origin: float

    @classmethod
    def of(
        cls,
        stretches: Sequence[Stretch],
        spectra: Sequence[NoiseSpectrum],
        constants: Array,
        share: float,
    ) -> DecayProfile:
        # differences to the last reading keep the sums of squares free of cancellation
        origin = float(stretches[-1].value[-1])
        parts = []
        for stretch, spectrum in zip(stretches, spectra, strict=True):
            since = stretch.time_s - stretch.start_s
            shapes = np.exp(-since[:, None] / constants[None, :])
            columns = np.column_stack([shapes, np.ones(since.size), stretch.value - origin])
            white = spectrum.whiten(columns, share)
            gram = white.T @ white
            parts.append(
                _Products(
                    shapes=gram[:-2, :-2],
                    shapes_one=gram[:-2, -2],
                    shapes_value=gram[:-2, -1],
                    one_one=float(gram[-2, -2]),
                    one_value=float(gram[-2, -1]),
                    value_value=float(gram[-1, -1]),
                )
            )
        return cls(constants, tuple(parts), origin)

    def scan(self, ends: Array) -> tuple[Array, Pairs]:
        """Return the least misfit for each end value, and the pair that gives it."""
        coarse = np.arange(0, self.constants.size, COARSE)
        first, second = np.triu_indices(coarse.size, 1)
        pairs = coarse[first][:, None], coarse[second][:, None]
        return self._close_in(pairs, ends, self._misfits, 0)

    def _close_in(
        self, pairs: Pairs, ends: Array, weigh: Callable[[Pairs, Array], Array], slowest_from: int
    ) -> tuple[Array, Pairs]:
        """Return the least misfit and its pair, from coarse pairs to the finest neighbours.

        The course may be cut up in more than one good way, so the best of each third of the
        slow time constants is followed down.
        """
        misfits = weigh(pairs, ends)
        slow = pairs[1][:, 0]
        thirds = np.array_split(np.unique(slow), 3)
        starts = []
        for third in thirds:
            rows = np.flatnonzero(np.isin(slow, third))
            if rows.size:
                starts.append(rows[misfits[rows].argmin(axis=0)])
        rows = np.concatenate(starts)
        best, every = (pairs[0][rows, 0], pairs[1][rows, 0]), np.tile(ends, len(starts))
        reach = np.arange(-2, 3)
        left, right = (offset.reshape(-1, 1) for offset in np.meshgrid(reach, reach))
        top, here = self.constants.size - 1, np.arange(every.size)
        for pace in PACES:
            near = (
                np.clip(best[0] + pace * left, 0, top),
                np.clip(best[1] + pace * right, slowest_from, top),
            )
            misfits = weigh(near, every)
            which = misfits.argmin(axis=0)
            best = near[0][which, here], near[1][which, here]
        least = misfits.min(axis=0).reshape(-1, ends.size)
        chosen = least.argmin(axis=0) * ends.size + np.arange(ends.size)
        return least.min(axis=0), (best[0][chosen], best[1][chosen])

    def _misfits(self, pairs: Pairs, ends: Array) -> Array:
        total: Array = np.zeros(1)
        for part in self.parts:
            pulls = self._pull(part, pairs[0], ends), self._pull(part, pairs[1], ends)
            gain = _gain(part.shapes, pairs, *pulls)
            total = total + self._bare(part, ends) - gain
        return total

    def _bare(self, part: _Products, ends: Array) -> Array:
        away = ends - self.origin
        bare: Array = part.value_value - 2 * away * part.one_value + away**2 * part.one_one
        return bare

    def _pull(self, part: _Products, which: Index, ends: Array) -> Array:
        pull: Array = part.shapes_value[which] - part.shapes_one[which] * (ends - self.origin)
        return pull

    def curves(self, ends: Array) -> tuple[Curve, ...]:
        """Return the best curve for each end value."""
        misfits, pairs = self.scan(ends)
        weights = [
            _amplitudes(
                part.shapes, pairs, *(self._pull(part, constant, ends) for constant in pairs)
            )
            for part in self.parts
        ]
        return tuple(
            Curve(
                float(end),
                (float(self.constants[pairs[0][k]]), float(self.constants[pairs[1][k]])),
                tuple((float(a[k]), float(b[k])) for a, b in weights),
                float(misfits[k]),
            )
            for k, end in enumerate(ends)
        )

    def misfit_with_slow_part(self, ends: Array, slower_than_s: float, amplitude: float) -> float:
        """Return the least misfit with at least that amplitude in a slow last part."""
        limit = int(np.searchsorted(self.constants, slower_than_s, side="right"))
        slow = np.arange(limit, self.constants.size, COARSE)
        if not slow.size:
            return np.inf
        fast = np.arange(0, self.constants.size, COARSE)
        left, right = (side.reshape(-1, 1) for side in np.meshgrid(fast, slow))

        def weigh(pairs: Pairs, ends: Array) -> Array:
            return self._misfits_holding(pairs, ends, amplitude)

        return float(self._close_in((left, right), ends, weigh, limit)[0].min())

    def _misfits_holding(self, pairs: Pairs, ends: Array, amplitude: float) -> Array:
        """Return the misfits with at least that amplitude, of either sign, in the second part."""
        fast, slow = pairs
        part = self.parts[-1]
        before = DecayProfile(self.constants, self.parts[:-1], self.origin)._misfits(pairs, ends)
        own, shared = part.shapes[slow, slow], part.shapes[fast, slow]
        pull_fast, pull_slow = self._pull(part, fast, ends), self._pull(part, slow, ends)
        trials = []
        for held in (amplitude, -amplitude):
            # take the held amplitude out of the readings, then weigh what is left
            left, right = pull_fast - held * shared, pull_slow - held * own
            gain = _gain(part.shapes, pairs, left, right, sign=np.sign(held))
            bare = self._bare(part, ends) - 2 * held * pull_slow + held**2 * own
            trials.append(before + bare - gain)
        return np.minimum(*trials)


def _gain(shapes: Array, pairs: Pairs, left: Array, right: Array, sign: float = 0.0) -> Array:
    """Return the misfit that two amplitudes of one sign take away, for each pair.

    With two amplitudes the constrained best is either the free one or one of the two alone.
    """
    a, b, c = shapes[pairs[0], pairs[0]], shapes[pairs[1], pairs[1]], shapes[pairs]
    one, two = b * left - c * right, a * right - c * left
    if sign:
        both = (sign * one > 0) & (sign * two > 0)
        alone_left, alone_right = np.maximum(sign * left, 0), np.maximum(sign * right, 0)
    else:
        both = one * two > 0
        alone_left, alone_right = left, right
    alone = np.maximum(alone_left**2 / a, alone_right**2 / b)
    return np.where(both, (one * left + two * right) / _area(a, b, c), alone)


def _amplitudes(shapes: Array, pairs: Pairs, left: Array, right: Array) -> tuple[Array, Array]:
    """Return the two amplitudes whose gain :func:`_gain` gives."""
    a, b, c = shapes[pairs[0], pairs[0]], shapes[pairs[1], pairs[1]], shapes[pairs]
    area = _area(a, b, c)
    one, two = (b * left - c * right) / area, (a * right - c * left) / area
    both = one * two > 0
    first = left**2 / a >= right**2 / b
    return (
        np.where(both, one, np.where(first, left / a, 0.0)),
        np.where(both, two, np.where(first, 0.0, right / b)),
    )


def _area(a: Array, b: Array, c: Array) -> Array:
    """Return the determinant of a pair, infinite where both time constants are the same."""
    area = a * b - c * c
    return np.where(area > 1e-12 * a * b, area, np.inf)

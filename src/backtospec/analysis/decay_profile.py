"""Two decays of one sign: how well they fit for any given end, over all time constants."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

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
_AROUND = np.arange(-2, 3)
_FASTER, _SLOWER = (side.ravel() for side in np.meshgrid(_AROUND, _AROUND))


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

    def turn(self, columns: Array) -> Array:
        """Return the columns, one row per reading, turned so that no rows share their noise."""
        turned: Array = self.vectors.T @ columns
        return turned

    def level(self, turned: Array, slow_share: float) -> Array:
        """Return turned columns with the noise of every row made alike."""
        return turned / np.sqrt(1 - slow_share + slow_share * self.powers)[:, None]

    def whiten(self, columns: Array, slow_share: float) -> Array:
        """Return the columns, one row per reading, turned so that the noise is white."""
        return self.level(self.turn(columns), slow_share)


@dataclass(frozen=True, slots=True)
class _Products:
    """Whitened inner products of one stretch: all that the fit needs to know of it.

    ``gram`` is those of the decays, the constant 1, the readings and the mark of the last one.
    Beside it the decays scaled to ``lengths`` of one, so that their products are cosines.
    """

    gram: Array
    cosines: Array
    lengths: Array
    one: Array
    value: Array

    @classmethod
    def of(cls, gram: Array) -> _Products:
        lengths = np.sqrt(np.diagonal(gram)[:-3])
        return cls(
            gram,
            cosines=gram[:-3, :-3] / lengths[:, None] / lengths,
            lengths=lengths,
            one=gram[:-3, -3] / lengths,
            value=gram[:-3, -2] / lengths,
        )

    def bare(self, away: Array) -> Array:
        """Return the misfits of no decay at all, for ends so far away from the origin."""
        (one_one, one_value), (_, value_value) = self.gram[-3:-1, -3:-1]
        misfits: Array = value_value - 2 * away * one_value + away**2 * one_one
        return misfits

    def without_last(self) -> _Products:
        """Return the products of the same stretch before its last reading was taken."""
        # a reading with an unknown of its own tells nothing: take the mark's direction out
        last = self.gram[-1]
        return self.of(self.gram - last[:, None] * (last / last[-1]))


@dataclass(frozen=True, slots=True)
class TurnedStretches:
    """The decays and the readings of each stretch, ready to be whitened for any share."""

    constants: Array
    origin: float
    columns: tuple[Array, ...]
    spectra: tuple[NoiseSpectrum, ...]

    @classmethod
    def of(cls, stretches: Sequence[Stretch], constants: Array) -> TurnedStretches:
        # differences to the last reading keep the sums of squares free of cancellation
        origin = float(stretches[-1].value[-1])
        spectra = tuple(NoiseSpectrum.of(stretch) for stretch in stretches)
        columns = []
        for stretch, spectrum in zip(stretches, spectra, strict=True):
            since = stretch.time_s - stretch.start_s
            shapes = np.exp(-since[:, None] / constants[None, :])
            last = np.arange(since.size) == since.size - 1
            beside = np.ones(since.size), stretch.value - origin, last
            columns.append(spectrum.turn(np.column_stack([shapes, *beside])))
        return cls(constants, origin, tuple(columns), spectra)

    def volumes(self, slow_shares: Array) -> Array:
        """Return the logarithm of the noise's volume (its covariance determinant) per share."""
        powers = np.concatenate([spectrum.powers for spectrum in self.spectra])
        volumes: Array = np.log(1 - slow_shares[:, None] * (1 - powers)).sum(axis=1)
        return volumes

    def profile(self, slow_share: float, every: int = 1) -> DecayProfile:
        """Return the profile for a share of slow noise, over every so many time constants."""
        count = self.constants.size
        kept = np.r_[0:count:every, count : count + 3]
        parts = []
        for columns, spectrum in zip(self.columns, self.spectra, strict=True):
            white = spectrum.level(columns[:, kept], slow_share)
            parts.append(_Products.of(white.T @ white))
        return DecayProfile(self.constants[::every], tuple(parts), self.origin)


@dataclass(frozen=True, slots=True)
class DecayProfile:
    """Least misfit for given end values, over pairs of time constants on a fine grid."""

    constants: Array
    parts: tuple[_Products, ...]
    origin: float

    def without_last(self) -> DecayProfile:
        """Return the profile as it was before the last reading."""
        return replace(self, parts=(*self.parts[:-1], self.parts[-1].without_last()))

    def scan(self, ends: Array) -> tuple[Array, Pairs]:
        """Return the least misfit for each end value, and the pair that gives it."""
        return _scan(_Trial([self], ends))

    def curves(self, ends: Array) -> tuple[Curve, ...]:
        """Return the best curve for each end value."""
        misfits, pairs = self.scan(ends)
        constants = np.column_stack([self.constants[which] for which in pairs]).tolist()
        amplitudes = _Trial([self], ends).amplitudes(pairs)
        return tuple(
            Curve(end, (fast, slow), tuple((one, two) for one, two in per_part), misfit)
            for end, (fast, slow), per_part, misfit in zip(
                ends.tolist(), constants, amplitudes.tolist(), misfits.tolist(), strict=True
            )
        )

    def misfit_with_slow_part(self, ends: Array, slower_than_s: float, amplitude: float) -> float:
        """Return the least misfit with at least that amplitude in a slow last part."""
        size = self.constants.size
        limit = int(np.searchsorted(self.constants, slower_than_s, side="right"))
        if limit >= size:
            return np.inf
        slow, fast = np.meshgrid(
            np.arange(limit, size, COARSE), np.arange(0, size, COARSE), indexing="ij"
        )
        trial = _Trial([self], ends, held=amplitude)
        return float(_close_in((fast.ravel(), slow.ravel()), trial, limit)[0].min())


def find_least_misfits(profiles: Sequence[DecayProfile], ends: Array) -> Array:
    """Return the least misfit of each profile over all of the end values.

    The profiles must be of the same stretches over the same time constants.
    """
    misfits: Array = _scan(_Trial(profiles, ends))[0].reshape(len(profiles), -1)
    return np.asarray(misfits.min(axis=1))


class _Trial:
    """The readings less each of some end values, to be weighed against pairs of decays.

    There is a row for each end value, of one profile after the other. With ``held``, the second
    decay of the last stretch keeps at least that amplitude, of either sign.
    """

    def __init__(
        self, profiles: Sequence[DecayProfile], ends: Array, held: float | None = None
    ) -> None:
        self.held = held
        self.count = len(profiles) * ends.size
        self.size = profiles[0].constants.size
        self.first_cosine = np.repeat(np.arange(len(profiles)) * self.size**2, ends.size)
        self.by_part = list(zip(*(profile.parts for profile in profiles), strict=True))
        self.cosines = [np.stack([p.cosines for p in parts]) for parts in self.by_part]
        away = ends - profiles[0].origin
        self.pulls = []
        self.bare = np.zeros(self.count)
        for parts in self.by_part:
            self.pulls.append(np.concatenate([p.value - away[:, None] * p.one for p in parts]))
            self.bare += np.concatenate([p.bare(away) for p in parts])

    def misfits(self, pairs: Pairs, at: Index) -> Array:
        """Return the misfit of each pair, in a row for each of the rows ``at``."""
        gains = [
            _gain(*self._angles(number, pairs, at))
            for number in range(len(self.by_part) - (self.held is not None))
        ]
        total: Array = self.bare[at][:, None] - sum(gains)
        return total if self.held is None else total - self._gain_holding(pairs, at)

    def amplitudes(self, pairs: Pairs) -> Array:
        """Return the amplitudes of one pair for each row of one profile: rows × parts × 2."""
        at, columns = np.arange(self.count), (pairs[0][:, None], pairs[1][:, None])
        return np.stack(
            [
                _amplitudes(*self._angles(number, columns, at))[:, 0]
                / np.column_stack([parts[0].lengths[which] for which in pairs])
                for number, parts in enumerate(self.by_part)
            ],
            axis=1,
        )

    def _angles(self, number: int, pairs: Pairs, at: Index) -> tuple[Array, Array, Array]:
        """Return the cosine of each pair, and how far the readings lie along either decay."""
        fast, slow = pairs
        pull, row = self.pulls[number], at[:, None] * self.size
        # flat positions are twice as quick as a pair of indices
        cosine = self.first_cosine[at][:, None] + fast * self.size + slow
        return self.cosines[number].take(cosine), pull.take(row + fast), pull.take(row + slow)

    def _gain_holding(self, pairs: Pairs, at: Index) -> Array:
        cosine, left, right = self._angles(-1, pairs, at)
        assert self.held is not None
        held = self.held * self.by_part[-1][0].lengths[pairs[1]]
        # take the held amplitude out of the readings, then weigh what is left
        more = _gain(cosine, left - held * cosine, right - held, 1.0) + held * (2 * right - held)
        less = _gain(cosine, left + held * cosine, right + held, -1.0) - held * (2 * right + held)
        return np.asarray(np.maximum(more, less))


def _scan(trial: _Trial) -> tuple[Array, Pairs]:
    slow, fast = np.tril_indices(-(-trial.size // COARSE), -1)
    return _close_in((fast * COARSE, slow * COARSE), trial)


def _close_in(pairs: Pairs, trial: _Trial, slowest_from: int = 0) -> tuple[Array, Pairs]:
    """Return the least misfit of each row and its pair, from coarse pairs to the finest neighbours.

    The course may be cut up in more than one good way, so the best of each third of the
    slow time constants is followed down. The pairs are in order of the slow ones.
    """
    every = np.arange(trial.count)
    misfits = trial.misfits(pairs, every)
    rank = (pairs[1] - pairs[1][0]) // COARSE
    edges = np.searchsorted(rank * 3 // (rank[-1] + 1), [0, 1, 2, 3])
    starts = [
        misfits[:, low:high].argmin(axis=1) + low
        for low, high in pairwise(edges.tolist())
        if high > low
    ]
    rows = np.concatenate(starts)
    fast, slow, at = pairs[0][rows], pairs[1][rows], np.tile(every, len(starts))
    here = np.arange(at.size)
    for pace in PACES:
        near = (
            np.minimum(np.maximum(fast[:, None] + pace * _FASTER, 0), trial.size - 1),
            np.minimum(np.maximum(slow[:, None] + pace * _SLOWER, slowest_from), trial.size - 1),
        )
        misfits = trial.misfits(near, at)
        which = misfits.argmin(axis=1)
        fast, slow = near[0][here, which], near[1][here, which]
    least = misfits[here, which].reshape(-1, every.size)
    chosen = least.argmin(axis=0) * every.size + every
    return least.min(axis=0), (fast[chosen], slow[chosen])


def _gain(cosine: Array, left: Array, right: Array, sign: float = 0.0) -> Array:
    """Return the misfit that two amplitudes of one sign take away, for each pair.

    With two amplitudes the constrained best is either the free one or one of the two alone.
    """
    one, two = left - cosine * right, right - cosine * left
    if sign:
        both = np.minimum(sign * one, sign * two) > 0
        alone = np.maximum(np.maximum(sign * left, sign * right), 0) ** 2
    else:
        both = one * two > 0
        alone = np.maximum(left**2, right**2)
    return np.where(both, (one * left + two * right) / _area(cosine), alone)


def _amplitudes(cosine: Array, left: Array, right: Array) -> Array:
    """Return the two amplitudes whose gain :func:`_gain` gives, on a last axis of two."""
    area = _area(cosine)
    one, two = (left - cosine * right) / area, (right - cosine * left) / area
    first = left**2 >= right**2
    alone = np.stack([np.where(first, left, 0.0), np.where(first, 0.0, right)], axis=-1)
    return np.where((one * two > 0)[..., None], np.stack([one, two], axis=-1), alone)


def _area(cosine: Array) -> Array:
    """Return the determinant of a pair, infinite where both time constants are the same."""
    area = 1 - cosine * cosine
    return np.where(area > 1e-12, area, np.inf)

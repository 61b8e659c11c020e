"""Where a warming part will settle: the end value with an interval that can be believed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.warm_up_log import Stretch

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Pairs = tuple[Index, Index]

FASTEST_S = 20.0
SLOWEST_S = 3600.0
"""No chassis of this size warms slower than about an hour: common practice, no source."""
MEMORY_S = 60.0
"""The slow part of the noise (air on the heatsink, mains) forgets itself in about a minute."""
SLOW_SHARES = (0.05, 0.12, 0.25, 0.4, 0.6)
"""Shares of the noise power that may be slow; the readings choose."""
FLICKER = 0.65
"""A meter in use flickers by about this part of its last digit: common practice, no source."""
MOST_POINTS = 240
CONSTANTS = 361
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
class EndValue:
    """The settled value with its 95 % interval, and the curves inside that interval.

    ``best`` fits best; ``curves`` run from the lowest end value allowed to the highest. A
    curve's ``misfit`` is its whitened residual sum of squares, ``noise`` the standard deviation
    of one reading, ``cautious_noise`` the same but never calmer than a meter in use, for
    decisions that must not come too early. ``last`` is the last stretch as fitted.
    """

    value: float
    low: float
    high: float
    noise: float
    slow_share: float
    cautious_noise: float
    one_sided: float
    best: Curve
    curves: tuple[Curve, ...]
    last: Stretch
    _profile: _Profile
    _spectrum: _Spectrum

    def whiten_last(self, columns: Array) -> Array:
        """Return the columns, one row per reading of ``last``, with their noise made white."""
        return self._spectrum.whiten(columns, self.slow_share)

    def bound_remaining(self, since_start_s: float) -> float:
        """Return the upper 95 % bound of what still remains that long after the last start."""
        allowed = self.best.misfit + (self.one_sided * self.cautious_noise) ** 2
        curves = (curve for curve in self.curves if curve.misfit <= allowed)
        return max(curve.remaining(since_start_s) for curve in (self.best, *curves))

    def allows_slow_part(self, slower_than_s: float, amplitude: float, deviations: float) -> bool:
        """Return whether a part that slow may carry that amplitude in the last stretch.

        ``deviations`` says how many standard deviations off the best fit is still allowed.
        """
        ends = np.array([curve.end_value for curve in self.curves[::2]])
        least = self._profile.misfit_with_slow_part(ends, slower_than_s, amplitude)
        return bool(least <= self.best.misfit + (deviations * self.cautious_noise) ** 2)


def bound_end_value(
    stretches: Sequence[Stretch], step: float, *, slow_share: float | None = None
) -> EndValue:
    """Return the end value of two same-sign exponentials with its 95 % interval.

    Parameters
    ----------
    stretches
        One or more runs of readings of the same part, each with amplitudes of its own (the
        part cooled or was driven in between), all with the same time constants and end.
        Together at least 6 readings.
    step
        Smallest step of the meter, in the unit of the readings; the noise is never taken as
        less than step/√12.
    slow_share
        Share of the noise power that is slow; found from the readings when not given.

    Notes
    -----
    Profile likelihood over the end value, with two time constants of 20 s to 60 min and
    amplitudes of one sign in each stretch, all minimised for every end value tried. One time
    constant alone would claim an interval that misses the end wherever there really are two.
    The noise is white plus a slow part of one minute's memory. Assumes that the part tends to
    one end under steady conditions; a drift, a draught or a jump must be taken out before.

    References
    ----------
    W. Q. Meeker and L. A. Escobar, "Teaching about approximate confidence regions based on
    maximum likelihood estimation", 1995 (profile likelihood; from memory).
    """
    from scipy.special import stdtrit

    thinned, groups = _thin(stretches)
    spectra = [_Spectrum.of(stretch) for stretch in thinned]
    count = sum(s.time_s.size for s in thinned)
    grid = np.geomspace(FASTEST_S, SLOWEST_S, CONSTANTS)
    share = slow_share or _choose_slow_share(thinned, spectra, count)
    profile = _Profile.of(thinned, spectra, grid, share)
    freedom = max(count - 2 - 2 * len(stretches), 1)
    minutes = sum(float(np.ptp(s.time_s)) for s in stretches) / MEMORY_S
    independent = max(min(freedom, minutes), 1.0)
    last = thinned[-1].value[-1]
    span = max(float(np.ptp(np.concatenate([s.value for s in thinned]))), step)
    offsets = np.geomspace(step / 50, 40 * span, 32)
    ends = np.concatenate([last - offsets[::-1], [last], last + offsets])
    misfits = profile.scan(ends)[0]
    ends, misfits = _insert(profile, ends, misfits, np.argmin(misfits), np.argmin(misfits))
    least = float(misfits.min())
    floor = step**2 / 12 / groups / (1 - share)
    variance = max(least / freedom, floor)
    allowance = float(stdtrit(independent, 0.975)) ** 2 * variance
    for _ in range(2):
        inside = np.flatnonzero(misfits <= least + allowance)
        ends, misfits = _insert(profile, ends, misfits, inside[0], inside[-1])
    inside = np.flatnonzero(misfits <= least + allowance)
    best = profile.curves(ends[[np.argmin(misfits)]])[0]
    # a meter that hardly flickers hides up to half a step, which no averaging finds
    hidden = step / 2 if least / freedom < floor * 1.3 else 0.0
    return EndValue(
        value=best.end_value,
        low=float(ends[inside[0]]) - hidden,
        high=float(ends[inside[-1]]) + hidden,
        noise=float(np.sqrt(variance)),
        slow_share=share,
        cautious_noise=max(float(np.sqrt(variance)), FLICKER * step / np.sqrt(groups)),
        one_sided=float(stdtrit(independent, 0.95)),
        best=best,
        curves=profile.curves(np.linspace(ends[inside[0]], ends[inside[-1]], 41)),
        last=thinned[-1],
        _profile=profile,
        _spectrum=spectra[-1],
    )


def _insert(
    profile: _Profile, ends: Array, misfits: Array, first: np.intp, last: np.intp
) -> tuple[Array, Array]:
    """Return the tried end values with finer ones added around the two edges."""
    more: list[Array] = []
    for edge in {int(first), int(last)}:
        left, right = max(edge - 1, 0), min(edge + 1, ends.size - 1)
        more.append(np.linspace(ends[left], ends[right], 14)[1:-1])
    added = np.concatenate(more)
    every = np.concatenate([ends, added])
    order = np.argsort(every)
    return every[order], np.concatenate([misfits, profile.scan(added)[0]])[order]


def _thin(stretches: Sequence[Stretch]) -> tuple[list[Stretch], int]:
    """Return the stretches with neighbours averaged so that few readings remain, and how many."""
    groups = max(1, -(-sum(s.time_s.size for s in stretches) // MOST_POINTS))
    return [_average(stretch, groups) for stretch in stretches], groups


def _average(stretch: Stretch, groups: int) -> Stretch:
    """Return the stretch with every ``groups`` neighbours averaged, the rest dropped in front."""
    if groups == 1:
        return stretch
    count = max(stretch.time_s.size // groups, 1)
    keep = min(count * groups, stretch.time_s.size)
    return Stretch(
        stretch.start_s,
        stretch.time_s[-keep:].reshape(count, -1).mean(axis=1),
        stretch.value[-keep:].reshape(count, -1).mean(axis=1),
    )


@dataclass(frozen=True, slots=True)
class _Spectrum:
    """The eigenvectors of the slow noise of one stretch, so that any share whitens at once."""

    vectors: Array
    powers: Array

    @classmethod
    def of(cls, stretch: Stretch) -> _Spectrum:
        apart = np.abs(stretch.time_s[:, None] - stretch.time_s[None, :])
        powers, vectors = np.linalg.eigh(np.exp(-apart / MEMORY_S))
        return cls(vectors, powers)

    def whiten(self, columns: Array, slow_share: float) -> Array:
        """Return the columns, one row per reading, turned so that the noise is white."""
        white: Array = self.vectors.T @ columns
        return white / np.sqrt(1 - slow_share + slow_share * self.powers)[:, None]


def _choose_slow_share(
    stretches: Sequence[Stretch], spectra: Sequence[_Spectrum], count: int
) -> float:
    """Return the share of slow noise that the readings favour, held loosely near a quarter."""
    last = stretches[-1].value[-1]
    span = float(np.ptp(np.concatenate([s.value for s in stretches]))) or 1e-6
    offsets = np.geomspace(span / 300, 5 * span, 9)
    ends = np.concatenate([last - offsets[::-1], [last], last + offsets])
    grid = np.geomspace(FASTEST_S, SLOWEST_S, 121)
    scores = []
    for share in SLOW_SHARES:
        profile = _Profile.of(stretches, spectra, grid, share)
        volume = sum(float(np.log(1 - share + share * s.powers).sum()) for s in spectra)
        least = max(float(profile.scan(ends)[0].min()), 1e-30)
        odds = np.log(share / (1 - share)) - np.log(0.25 / 0.75)
        scores.append(count * np.log(least) + volume + odds**2)
    # too small a share claims too much: of those that fit alike, take the largest
    return max(s for s, score in zip(SLOW_SHARES, scores, strict=True) if score < min(scores) + 1.5)


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
class _Profile:
    """Least misfit for given end values, over pairs of time constants on a fine grid."""

    constants: Array
    parts: tuple[_Products, ...]
    origin: float

    @classmethod
    def of(
        cls,
        stretches: Sequence[Stretch],
        spectra: Sequence[_Spectrum],
        constants: Array,
        share: float,
    ) -> _Profile:
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
        before = _Profile(self.constants, self.parts[:-1], self.origin)._misfits(pairs, ends)
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

"""Where a warming part will settle: the end value with an interval that can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.decay_profile import (
    MEMORY_S,
    Curve,
    DecayProfile,
    NoiseSpectrum,
    TurnedStretches,
    find_least_misfits,
)
from backtospec.analysis.warm_up_log import Stretch

Array = NDArray[np.float64]

FASTEST_S = 20.0
SLOWEST_S = 3600.0
"""No chassis of this size warms slower than about an hour: common practice, no source."""
SLOW_SHARES = (0.05, 0.12, 0.25, 0.4, 0.6)
"""Shares of the noise power that may be slow; the readings choose."""
FLICKER = 0.65
"""A meter in use flickers by about this part of its last digit: common practice, no source."""
MOST_POINTS = 180
CONSTANTS = 361


@dataclass(frozen=True, slots=True)
class EndValue:
    """The settled value with its 95 % interval, and the curves inside that interval.

    ``best`` fits best; ``curves`` run from the lowest end value allowed to the highest. A
    curve's ``misfit`` is its whitened residual sum of squares, ``noise`` the standard deviation
    of one reading, ``cautious_noise`` the same but never calmer than a meter in use, for
    decisions that must not come too early. ``stretches`` are those given, as fitted.
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
    stretches: tuple[Stretch, ...]
    _profile: DecayProfile
    _spectrum: NoiseSpectrum
    _groups: int
    _step: float

    @property
    def last(self) -> Stretch:
        """The last stretch, its readings averaged where there are very many."""
        return self.stretches[-1]

    def before_last(self) -> EndValue:
        """Return what the same readings said before the last of them, as fitted, was taken.

        The last stretch must hold at least two.
        """
        *earlier, last = self.stretches
        shorter = Stretch(last.start_s, last.time_s[:-1], last.value[:-1])
        return _bound(
            self._profile.without_last(),
            self._spectrum,
            [*earlier, shorter],
            self._groups,
            self._step,
            self.slow_share,
        )

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


def bound_end_value(stretches: Sequence[Stretch], step: float) -> EndValue:
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
    thinned, groups = _thin(stretches)
    turned = TurnedStretches.of(thinned, np.geomspace(FASTEST_S, SLOWEST_S, CONSTANTS))
    share = _choose_slow_share(thinned, turned)
    return _bound(turned.profile(share), turned.spectra[-1], thinned, groups, step, share)


def _bound(
    profile: DecayProfile,
    spectrum: NoiseSpectrum,
    thinned: Sequence[Stretch],
    groups: int,
    step: float,
    share: float,
) -> EndValue:
    """Return the end value with its interval from the profile of the readings as thinned."""
    from scipy.special import stdtrit

    freedom = max(sum(s.time_s.size for s in thinned) - 2 - 2 * len(thinned), 1)
    minutes = sum(float(np.ptp(s.time_s)) for s in thinned) / MEMORY_S
    independent = max(min(freedom, minutes), 1.0)
    last = thinned[-1].value[-1]
    span = max(float(np.ptp(np.concatenate([s.value for s in thinned]))), step)
    offsets = np.geomspace(step / 50, 40 * span, 25)
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
    between = np.linspace(ends[inside[0]], ends[inside[-1]], 31)
    best, *curves = profile.curves(np.concatenate([ends[[np.argmin(misfits)]], between]))
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
        curves=tuple(curves),
        stretches=tuple(thinned),
        _profile=profile,
        _spectrum=spectrum,
        _groups=groups,
        _step=step,
    )


def _insert(
    profile: DecayProfile, ends: Array, misfits: Array, first: np.intp, last: np.intp
) -> tuple[Array, Array]:
    """Return the tried end values with finer ones added around the two edges."""
    more: list[Array] = []
    for edge in {int(first), int(last)}:
        left, right = max(edge - 1, 0), min(edge + 1, ends.size - 1)
        more.append(np.linspace(ends[left], ends[right], 11)[1:-1])
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


def _choose_slow_share(stretches: Sequence[Stretch], turned: TurnedStretches) -> float:
    """Return the share of slow noise that the readings favour, held loosely near a quarter."""
    count = sum(s.time_s.size for s in stretches)
    last = stretches[-1].value[-1]
    span = float(np.ptp(np.concatenate([s.value for s in stretches]))) or 1e-6
    offsets = np.geomspace(span / 300, 5 * span, 9)
    ends = np.concatenate([last - offsets[::-1], [last], last + offsets])
    profiles = [turned.profile(share, every=3) for share in SLOW_SHARES]
    least = np.maximum(find_least_misfits(profiles, ends), 1e-30)
    shares = np.array(SLOW_SHARES)
    odds = np.log(shares / (1 - shares)) - np.log(0.25 / 0.75)
    scores = count * np.log(least) + turned.volumes(shares) + odds**2
    # too small a share claims too much: of those that fit alike, take the largest
    return float(shares[scores < scores.min() + 1.5].max())

"""Harmonics, THD, THD+N, signal to noise, hum and single lines of one fitted channel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.notes import measuring_bands
from backtospec.analysis.quality import CrestLoss, crest_loss
from backtospec.analysis.tone_fit import FittedTone
from backtospec.analysis.weighting import Weighting, power_gain

Array = NDArray[np.float64]

_STATED_ORDERS = 10
_SURE = 3.0
_SURE_AMONG_MANY = 5.0
_LOWEST = 1e-40
_WEIGHTINGS: tuple[Weighting, ...] = ("A", "468")
_WEIGHTED_TOP_HZ = 20_000.0


@dataclass(frozen=True, slots=True)
class Total:
    """A sum of squared amplitudes freed of its noise bias.

    Parameters
    ----------
    ratio
        Root of the sum over the fundamental, or ``None`` where the noise hides it.
    ratio_u
        Standard uncertainty of the ratio.
    at_most
        Upper bound of the ratio at three standard deviations, where ``ratio`` is ``None``.
    """

    ratio: float | None
    ratio_u: float | None
    at_most: float | None

    @property
    def known(self) -> float:
        """The ratio, or its bound where only a bound is honest."""
        return self.ratio if self.ratio is not None else self.at_most or 0.0


@dataclass(frozen=True, slots=True)
class Distortion:
    """Everything beside the fundamental in one channel, relative to the fundamental.

    Parameters
    ----------
    thd_percent, thd_db
        H2…H10 below half the rate, noise bias removed; ``None`` when noise hides it, and then
        ``thd_percent_at_most`` and ``thd_db_at_most`` hold.
    thd_harmonics
        Orders included.
    thd_all_percent
        Every harmonic to the band edge; bounded alike.
    harmonics_db, harmonics_db_u, harmonics_db_at_most
        By order: every harmonic to the band edge that stands out of the noise; bounds up to the
        tenth.
    thdn_percent, thdn_db
        By band, relative to the fundamental. DC never counts. ``A`` and ``468`` (the curve of
        BS.468) are weighted and rms, the fundamental unweighted.
    thdn_percent_re_total
        By band, relative to the whole signal in that band.
    snr_db
        By band: fundamental over noise, hum and single lines, without harmonics.
    hum_db
        By nominal frequency of the line, such as ``"100"``.
    spurs_db
        By frequency in Hz.
    crest
        How far the crests are flattened.
    """

    thd_percent: float | None
    thd_percent_u: float | None
    thd_percent_at_most: float | None
    thd_harmonics: tuple[int, ...]
    thd_all_percent: float | None
    thd_all_percent_at_most: float | None
    harmonics_db: Mapping[str, float]
    harmonics_db_u: Mapping[str, float]
    harmonics_db_at_most: Mapping[str, float]
    thdn_percent: Mapping[str, float]
    thdn_percent_re_total: Mapping[str, float]
    snr_db: Mapping[str, float]
    hum_db: Mapping[str, float]
    hum_db_u: Mapping[str, float]
    spurs_db: Mapping[str, float]
    crest: CrestLoss

    @property
    def thd_db(self) -> float | None:
        """THD in decibels."""
        return None if self.thd_percent is None else decibels(self.thd_percent / 100)

    @property
    def thd_db_u(self) -> float | None:
        """Standard uncertainty of THD in decibels."""
        if self.thd_percent is None or self.thd_percent_u is None:
            return None
        return 20 / math.log(10) * self.thd_percent_u / max(self.thd_percent, _LOWEST)

    @property
    def thd_db_at_most(self) -> float | None:
        """Bound of THD in decibels, where only a bound is honest."""
        bound = self.thd_percent_at_most
        return None if bound is None else decibels(bound / 100)

    @property
    def thdn_db(self) -> Mapping[str, float]:
        """THD+N by band in decibels."""
        return {band: decibels(value / 100) for band, value in self.thdn_percent.items()}

    @property
    def clipped_thd(self) -> float:
        """THD of every harmonic as a ratio, 0 where noise hides it."""
        return (self.thd_all_percent or 0.0) / 100


def decibels(ratio: float) -> float:
    """Return 20·log10 of a ratio, never below −800 dB."""
    return 20 * math.log10(max(ratio, _LOWEST))


def total(amplitudes: Array, amplitude_u: float, fundamental: float) -> Total:
    """Return the root sum of squares over the fundamental, with the noise bias removed.

    Parameters
    ----------
    amplitudes
        Measured peak amplitudes.
    amplitude_u
        Standard uncertainty s of each; each square is 2·s² too large on average.
    fundamental
        Peak amplitude of the fundamental.

    Examples
    --------
    >>> round(total(np.array([3e-3, 4e-3]), 1e-9, 1.0).ratio, 9)
    0.005
    """
    bias = 2 * amplitude_u**2 * len(amplitudes)
    square = float(np.sum(amplitudes**2)) - bias
    doubt_of_nothing = 2 * amplitude_u**2 * math.sqrt(len(amplitudes))
    doubt = math.sqrt(4 * max(square, 0.0) * amplitude_u**2 + doubt_of_nothing**2)
    if len(amplitudes) and square > _SURE * doubt_of_nothing:
        root = math.sqrt(square)
        return Total(root / fundamental, doubt / (2 * root) / fundamental, None)
    bound = math.sqrt(max(square, 0.0) + _SURE * doubt_of_nothing)
    return Total(None, None, bound / fundamental)


def read_distortion(
    fitted: FittedTone,
    column: int,
    rate_hz: float,
    bands_hz: tuple[tuple[float, float], ...] = (),
) -> Distortion:
    """Return everything beside the fundamental in one channel.

    Parameters
    ----------
    fitted
        The fit.
    column
        Which channel of it.
    rate_hz
        Sampling rate.
    bands_hz
        Bands for THD+N and signal to noise beside the usual ones, low and high end of each.
    """
    lines = np.abs(fitted.harmonics[:, column])
    fundamental, amplitude_u = float(lines[0]), float(fitted.amplitude_u[column])
    stated = [i for i, order in enumerate(fitted.orders) if 2 <= order <= _STATED_ORDERS]
    thd = total(lines[stated], amplitude_u, fundamental)
    thd_all = total(lines[1:], amplitude_u, fundamental)
    known, doubt, bounded = _harmonics(lines, fitted.orders, amplitude_u)
    hum, hum_u = _hum(fitted, column, fundamental)
    thdn, re_total, snr = _bands(fitted, column, rate_hz, bands_hz)
    return Distortion(
        thd_percent=_percent(thd.ratio),
        thd_percent_u=_percent(thd.ratio_u),
        thd_percent_at_most=_percent(thd.at_most),
        thd_harmonics=tuple(int(fitted.orders[i]) for i in stated),
        thd_all_percent=_percent(thd_all.ratio),
        thd_all_percent_at_most=_percent(thd_all.at_most),
        harmonics_db=known,
        harmonics_db_u=doubt,
        harmonics_db_at_most=bounded,
        thdn_percent=thdn,
        thdn_percent_re_total=re_total,
        snr_db=snr,
        hum_db=hum,
        hum_db_u=hum_u,
        spurs_db={
            f"{hz:.3f}": decibels(float(abs(line[column])) / fundamental)
            for hz, line in fitted.single_lines()
        },
        crest=crest_loss(fitted.harmonics[:, column], fitted.orders),
    )


def _harmonics(
    lines: Array, orders: NDArray[np.int64], amplitude_u: float
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Return each harmonic, its uncertainty, and bounds up to the tenth, in decibels by order.

    Beyond the tenth dozens are looked at, of which chance lifts one over three standard
    deviations: only what stands over five is stated, and no bounds are.
    """
    known, doubt, bounded = {}, {}, {}
    fundamental = float(lines[0])
    for order, line in zip(orders[1:], lines[1:], strict=True):
        name = str(int(order))
        one = total(np.array([line]), amplitude_u, fundamental)
        stated = order <= _STATED_ORDERS
        if not stated and line < _SURE_AMONG_MANY * amplitude_u:
            continue
        if one.ratio is not None and one.ratio_u is not None:
            known[name] = decibels(one.ratio)
            doubt[name] = 20 / math.log(10) * one.ratio_u / one.ratio
        elif stated and one.at_most is not None:
            bounded[name] = decibels(one.at_most)
    return known, doubt, bounded


def _percent(ratio: float | None) -> float | None:
    return None if ratio is None else 100 * ratio


def _hum(
    fitted: FittedTone, column: int, fundamental: float
) -> tuple[dict[str, float], dict[str, float]]:
    """Return hum lines and their uncertainty in decibels by nominal frequency."""
    if fitted.mains is None:
        return {}, {}
    family = fitted.fit.families[1]
    nominal = 50 if abs(family.hz - 50) < abs(family.hz - 60) else 60
    amplitude_u = float(fitted.amplitude_u[column])
    known, doubt = {}, {}
    for order, line in zip(family.orders, np.abs(fitted.fit.amplitudes[1][:, column]), strict=True):
        if line > 2 * _SURE * amplitude_u:
            known[str(order * nominal)] = decibels(float(line) / fundamental)
            doubt[str(order * nominal)] = 20 / math.log(10) * amplitude_u / float(line)
    return known, doubt


def _bands(
    fitted: FittedTone, column: int, rate_hz: float, more_hz: tuple[tuple[float, float], ...]
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Return THD+N, THD+N re the whole signal (percent) and signal to noise (dB) by band.

    ``A`` and ``468`` are weighted sums from 20 Hz to 20 kHz or half the rate, rms; the
    fundamental itself is not weighted.
    """
    power, bins_hz = _residual_density(fitted, column, rate_hz)
    fundamental = float(abs(fitted.harmonics[0, column]))
    bias = 2 * float(fitted.amplitude_u[column]) ** 2
    harmonics_hz = np.asarray(fitted.orders[1:] * fitted.hz, dtype=np.float64)
    harmonics = np.abs(fitted.harmonics[1:, column]) ** 2 - bias
    others = [
        (order * family.hz, float(abs(line[column])) ** 2 - bias)
        for family, lines in zip(fitted.fit.families[1:], fitted.fit.amplitudes[1:], strict=True)
        for order, line in zip(family.orders, lines, strict=True)
    ]
    others_hz, squares = (np.array([line[part] for line in others]) for part in (0, 1))
    thdn, re_total, snr = {}, {}, {}
    for name, weighting, low, high in _sums(rate_hz, more_hz):

        def gain(hz: Array, w: Weighting = weighting, a: float = low, b: float = high) -> Array:
            return np.where((hz >= a) & (hz <= b), power_gain(w, hz), 0.0)

        noise = 2 * float(np.dot(power, gain(bins_hz))) + float(np.dot(squares, gain(others_hz)))
        everything = max(noise + float(np.dot(harmonics, gain(harmonics_hz))), 0.0)
        ratio = math.sqrt(everything) / fundamental
        thdn[name] = 100 * ratio
        re_total[name] = 100 * ratio / math.sqrt(1 + ratio**2)
        snr[name] = -decibels(math.sqrt(max(noise, 0.0)) / fundamental)
    return thdn, re_total, snr


def _sums(
    rate_hz: float, more_hz: tuple[tuple[float, float], ...]
) -> list[tuple[str, Weighting, float, float]]:
    """Return (name, weighting, low in Hz, high in Hz) of everything that is summed."""
    plain = list(measuring_bands(rate_hz))
    plain += [(f"{low:g}-{high:g}", low, high) for low, high in more_hz]
    top_hz = min(_WEIGHTED_TOP_HZ, rate_hz / 2)
    weighted: list[tuple[str, Weighting, float, float]] = [
        (weighting, weighting, 20.0, top_hz) for weighting in _WEIGHTINGS
    ]
    return [(name, "unweighted", low, high) for name, low, high in plain] + weighted


def _residual_density(fitted: FittedTone, column: int, rate_hz: float) -> tuple[Array, Array]:
    """Return mean square per bin of what is left, and the bins in Hz, by a plain DFT."""
    residual = fitted.residual[:, column]
    count = len(residual)
    square = np.abs(np.fft.rfft(residual)) ** 2 * 2 / count**2
    total_square = float(np.mean(residual**2))
    scale = float(fitted.variance[column]) / total_square if total_square > 0 else 1.0
    return square * scale, np.asarray(np.fft.rfftfreq(count, 1 / rate_hz))

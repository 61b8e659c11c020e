"""One clean stretch of a tone, fitted: all harmonics, hum, single lines, and what is left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import (
    MAINS_HZ,
    UNRESOLVED_CYCLES,
    Mains,
    find_mains,
    find_single_lines,
)
from backtospec.analysis.line_fit import Family, LineFit, fit_lines
from backtospec.analysis.phase_track import PhaseTrack, follow_phase

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_FIRST_ORDERS = 10
_JOINT_ORDERS = 40
_BATCH_ORDERS = 40
_ROUNDS = 2
_MOST_ORDERS = 400
#: Only a wave distorted this much has anything to show beyond the joint orders.
_SHOWS_HIGH_ORDERS = 1e-3
_MOVING_TERMS = 6
#: Relative change of level over the record above which the level is followed, not averaged.
_STEADY_LEVEL = 3e-4
#: Bins that a single line keeps from a known one: always, and where more terms are asked for.
_CLEAR_BINS = 4
_NEAR_BINS = 1
#: Hum is mostly these orders; fewer mains cycles do not tell them from each other.
_COMMON_HUM = (1, 2, 3, 4, 6)
_FEWEST_MAINS_CYCLES = 2.0


@dataclass(frozen=True, slots=True)
class FittedTone:
    """Everything found in the clean stretch of one or more channels that share a frequency.

    Parameters
    ----------
    fit
        Families: the tone; then hum, when ``mains`` is not ``None``; then single lines.
    orders, harmonics
        All orders to the band edge and their complex peak amplitudes, shape (orders, channels).
    residual
        What is left when every line is removed, shape (samples, channels).
    variance
        Of the residual, with the parameters' share put back.
    cycles
        Phase of the fundamental at each sample in cycles, 0 at the centre of the fit.
    wander_hz
        Rms deviation of the frequency from its mean, where it was followed; else 0.
    """

    fit: LineFit
    mains: Mains | None
    orders: NDArray[np.int64]
    harmonics: Complex
    residual: Array
    variance: Array
    cycles: Array
    wander_hz: float = 0.0

    @property
    def hz(self) -> float:
        """The tone's frequency."""
        return self.fit.families[0].hz

    @property
    def hz_u(self) -> float:
        """Standard uncertainty of the frequency."""
        return self.fit.frequency_u[0]

    @property
    def amplitude_u(self) -> Array:
        """Standard uncertainty of any line's amplitude, per channel."""
        return np.asarray(np.sqrt(2 * self.variance / len(self.residual)))

    @property
    def level_change(self) -> Array:
        """Relative change of level from the start to the end, per channel."""
        return np.asarray(2 * np.real(self.fit.level_slope[0][0]))

    def single_lines(self) -> tuple[tuple[float, Complex], ...]:
        """Return (frequency, complex amplitude per channel) of lines that belong to nothing."""
        first = 2 if self.mains else 1
        return tuple(
            (family.hz, lines[0])
            for family, lines in zip(
                self.fit.families[first:], self.fit.amplitudes[first:], strict=True
            )
        )


def orders_below(edge_hz: float, hz: float, most: int = _MOST_ORDERS) -> tuple[int, ...]:
    """Return the orders of a tone's harmonics that lie below an edge, at least order 1.

    Examples
    --------
    >>> orders_below(24_000, 5000)
    (1, 2, 3, 4)
    """
    return tuple(range(1, max(1, min(most, int(np.ceil(edge_hz / hz)) - 1)) + 1))


@dataclass(frozen=True, slots=True)
class MoreTerms:
    """Terms to give a fit although nothing in the recording asked for them.

    Parameters
    ----------
    hum
        Take up hum at the nominal mains frequency where none can be found by itself.
    level
        Follow level and phase as polynomials of time.
    pitch
        Follow the phase, however little it wavers.
    lines
        Take up single lines as near to known ones as can be told apart.
    """

    hum: bool = False
    level: bool = False
    pitch: bool = False
    lines: bool = False


def fit_tone(
    samples: Array,
    positions: Array,
    rate_hz: float,
    start_hz: float,
    mains_nominal_hz: float | None,
    more: MoreTerms | None = None,
) -> FittedTone:
    """Return the tone with all its harmonics, hum and single lines.

    Parameters
    ----------
    samples, positions
        Clean samples, shape (samples, channels), and their index in the file.
    start_hz
        The tone to about a third of a cycle per record.
    mains_nominal_hz
        50, 60 or ``None``.
    more
        Terms beyond those that the recording itself asks for.
    """
    more = more or MoreTerms()
    edge_hz = _band_edge(rate_hz)
    orders = orders_below(edge_hz, start_hz, _fitting_orders(len(samples), _FIRST_ORDERS))
    fit = fit_lines(samples, positions, rate_hz, (Family(start_hz, orders),))
    track = follow_phase(samples, positions, rate_hz, fit.families[0].hz, always=more.pitch)
    cycles = track.cycles if track else None
    steady_hz = track.hz if track else fit.families[0].hz
    probe = Family(steady_hz, orders, free=False, level_terms=1)
    fit = fit_lines(samples, positions, rate_hz, (probe,), phase_cycles=cycles)
    terms = _MOVING_TERMS if more.level else _level_terms(fit)
    quiet = _is_quiet(fit)
    tone_hz = fit.families[0].hz
    # Each order costs as many columns again as there are terms: the high ones are fitted apart.
    most = _FIRST_ORDERS if terms else _JOINT_ORDERS
    orders = orders_below(edge_hz, tone_hz, _fitting_orders(len(samples), most))
    tone = Family(tone_hz, orders, level_terms=terms)
    fit = fit_lines(samples, positions, rate_hz, (tone,), phase_cycles=cycles)
    mains = None
    if not quiet:
        fit, mains = _with_hum(fit, samples, positions, rate_hz, mains_nominal_hz, cycles)
    if mains is None and more.hum:
        fit, mains = _with_nominal_hum(fit, samples, positions, rate_hz, mains_nominal_hz, cycles)
    if not _is_quiet(fit):
        fit = _with_single_lines(fit, samples, positions, rate_hz, cycles, near=more.lines)
    if track:
        # The frequency has no one value: its wander is what is uncertain about it.
        fit = replace(fit, frequency_u=(track.wander_hz, *fit.frequency_u[1:]))
    return _with_high_orders(fit, positions, rate_hz, mains, track)


def _with_hum(
    fit: LineFit,
    samples: Array,
    positions: Array,
    rate_hz: float,
    nominal_hz: float | None,
    cycles: Array | None,
) -> tuple[LineFit, Mains | None]:
    """Return the tone fitted together with the hum that it leaves, and that hum."""
    tone_hz = fit.families[0].hz
    mains = find_mains(fit.residual, rate_hz, tone_hz, nominal_hz)
    if mains is None:
        return fit, None
    families = (*fit.families, Family(mains.hz, mains.orders))
    fit = fit_lines(samples, positions, rate_hz, families, phase_cycles=cycles)
    left = fit.residual + _hum_alone(fit, positions, rate_hz)
    again = find_mains(left, rate_hz, tone_hz, nominal_hz)
    if again and again.orders != mains.orders:
        mains = again
        families = (fit.families[0], Family(mains.hz, mains.orders))
        fit = fit_lines(samples, positions, rate_hz, families, phase_cycles=cycles)
    return fit, mains


def _with_nominal_hum(
    fit: LineFit,
    samples: Array,
    positions: Array,
    rate_hz: float,
    nominal_hz: float | None,
    cycles: Array | None,
) -> tuple[LineFit, Mains | None]:
    """Return the tone fitted with hum of known frequency: in a record too short to find it."""
    span_s = (positions[-1] - positions[0] + 1) / rate_hz
    found: tuple[LineFit, Mains | None] = (fit, None)
    for mains_hz in (nominal_hz,) if nominal_hz else MAINS_HZ:
        if span_s * mains_hz < _FEWEST_MAINS_CYCLES:
            continue
        hidden = tuple(k for k in _COMMON_HUM if _hides(fit.families[0], k * mains_hz, span_s))
        orders = tuple(k for k in _COMMON_HUM if k not in hidden)
        families = (fit.families[0], Family(mains_hz, orders, free=False))
        tried = fit_lines(samples, positions, rate_hz, families, phase_cycles=cycles)
        if float(tried.variance.sum()) < float(found[0].variance.sum()):
            found = tried, Mains(mains_hz, orders, hidden)
    return found


def _hides(tone: Family, hz: float, span_s: float) -> bool:
    """Whether a line is too near a harmonic of the tone, or zero, to be told from it."""
    order = round(hz / tone.hz)
    return abs(hz - order * tone.hz) * span_s < UNRESOLVED_CYCLES


def _with_single_lines(
    fit: LineFit,
    samples: Array,
    positions: Array,
    rate_hz: float,
    cycles: Array | None,
    near: bool,
) -> LineFit:
    """Return the fit with the lines in its residual that belong to nothing.

    Lines near to known ones share with them what the residual has left: they are fitted jointly.
    """
    tone = fit.families[0]
    known = (0.0, *(k * f.hz for f in fit.families for k in f.orders))
    beyond = tuple(k * tone.hz for k in orders_below(rate_hz / 2, tone.hz)[len(tone.orders) :])
    guard = _NEAR_BINS if near else _CLEAR_BINS
    singles = find_single_lines(fit.residual, rate_hz, known + beyond, guard)
    if not singles:
        return fit
    lines = tuple(Family(hz, (1,)) for hz in singles)
    if near:
        families = (*fit.families, *lines)
        return fit_lines(samples, positions, rate_hz, families, phase_cycles=cycles)
    return _joined(fit, fit_lines(fit.residual, positions, rate_hz, lines))


def _is_quiet(fit: LineFit) -> bool:
    """Return whether only the rounding of the arithmetic is left."""
    return bool(np.all(fit.variance < 1e-20 * np.abs(fit.amplitudes[0][0]) ** 2))


def _joined(fit: LineFit, more: LineFit) -> LineFit:
    """Return a fit with the lines of another one that was made on its residual."""
    freedom = max(len(more.residual) - fit.parameters - more.parameters, 1)
    return replace(
        more,
        families=fit.families + more.families,
        frequency_u=fit.frequency_u + more.frequency_u,
        shift_hz=np.concatenate((fit.shift_hz, more.shift_hz)),
        shift_u=np.concatenate((fit.shift_u, more.shift_u)),
        amplitudes=fit.amplitudes + more.amplitudes,
        level_slope=fit.level_slope + more.level_slope,
        dc=fit.dc + more.dc,
        variance=np.sum(more.residual**2, axis=0) / freedom,
        parameters=fit.parameters + more.parameters,
    )


def _band_edge(rate_hz: float) -> float:
    """Harmonics this near half the rate cannot be told from their mirror image."""
    return 0.499 * rate_hz


def _fitting_orders(count: int, most: int) -> int:
    """Leave at least three quarters of the samples as degrees of freedom."""
    return max(1, min(most, count // 8 - 1))


def _level_terms(fit: LineFit) -> int:
    change = np.abs(fit.level_slope[0][0])
    doubt = fit.amplitude_u / np.abs(fit.amplitudes[0][0])
    moving = (change > _STEADY_LEVEL) & (change > 6 * doubt)
    return _MOVING_TERMS if np.any(moving) else 0


def _hum_alone(fit: LineFit, positions: Array, rate_hz: float) -> Array:
    family, lines = fit.families[1], fit.amplitudes[1]
    turn = np.exp(2j * np.pi * family.hz * (positions - fit.centre) / rate_hz)
    total = np.zeros((len(positions), lines.shape[1]))
    for order, line in zip(family.orders, lines, strict=True):
        total += np.real(turn[:, None] ** order * line)
    return total


def _with_high_orders(
    fit: LineFit,
    positions: Array,
    rate_hz: float,
    mains: Mains | None,
    track: PhaseTrack | None,
) -> FittedTone:
    """Fit the orders beyond the joint ones to what is left, batch by batch."""
    tone = fit.families[0]
    cycles = track.cycles if track else None
    residual = fit.residual
    orders = list(tone.orders)
    harmonics = [fit.amplitudes[0]]
    every = orders_below(_band_edge(rate_hz), tone.hz)
    room = len(residual) // 4 - fit.parameters
    beyond = every[len(orders) : max(len(orders), room // 2)]
    lines = np.abs(harmonics[0])
    distorted = np.sum(lines[1:] ** 2, axis=0) > (_SHOWS_HIGH_ORDERS * lines[0]) ** 2
    if not np.any(distorted):
        beyond = tuple(order for order in beyond if order <= _JOINT_ORDERS)
    batches = [beyond[at : at + _BATCH_ORDERS] for at in range(0, len(beyond), _BATCH_ORDERS)]
    batches = [tone.orders, *batches] if batches else []
    found = {batch: np.zeros((len(batch), residual.shape[1]), complex) for batch in batches}
    # Batch after batch and round again: each then sees the others removed.
    for batch in (batches * _ROUNDS)[1:]:
        family = Family(tone.hz, batch, free=False)
        more = fit_lines(residual, positions, rate_hz, (family,), phase_cycles=cycles)
        residual = more.residual
        found[batch] += more.amplitudes[0]
    if batches:
        orders = [order for batch in batches for order in batch]
        harmonics = [harmonics[0] + found[tone.orders], *(found[b] for b in batches[1:])]
    parameters = fit.parameters + 2 * len(beyond)
    variance = np.sum(residual**2, axis=0) / max(len(residual) - parameters, 1)
    return FittedTone(
        fit=fit,
        mains=mains,
        orders=np.array(orders),
        harmonics=np.concatenate(harmonics),
        residual=residual,
        variance=variance,
        cycles=track.cycles if track else tone.hz * (positions - fit.centre) / rate_hz,
        wander_hz=track.wander_hz if track else 0.0,
    )

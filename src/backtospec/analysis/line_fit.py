"""Least squares of a tone, its harmonics, mains hum and single lines, with fitted frequencies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_CHUNK = 4096
_MOST_STEPS = 12


@dataclass(frozen=True, slots=True)
class Family:
    """Lines at whole multiples of one frequency.

    Parameters
    ----------
    hz
        Frequency of order 1, fitted from this start.
    orders
        Which multiples are present.
    free
        Whether the frequency is fitted; otherwise it is kept.
    level_terms
        Degree of the polynomial of time that multiplies each line; 0 for a steady line.
    """

    hz: float
    orders: tuple[int, ...]
    free: bool = True
    level_terms: int = 0


@dataclass(frozen=True, slots=True)
class LineFit:
    """Fitted lines of one or more channels.

    Parameters
    ----------
    families
        As given, with fitted frequencies.
    frequency_u
        Standard uncertainty of each family's frequency in Hz; 0 where it was kept.
    shift_hz
        Per family and channel, what this channel alone would add to the frequency, shape
        (families, channels), and its standard uncertainty in ``shift_u``.
    amplitudes
        Per family, complex peak amplitudes, shape (orders, channels), phase at the centre.
    level_slope
        Per family, relative change of level per half record, shape (orders, channels).
    dc
        Mean of each channel.
    residual
        What is left, shape (samples, channels); the slow terms are removed too.
    variance
        Of the residual per channel, with the parameters' share put back.
    parameters
        How many linear parameters each channel has.
    centre
        Sample index to which phases refer.
    """

    families: tuple[Family, ...]
    frequency_u: tuple[float, ...]
    shift_hz: Array
    shift_u: Array
    amplitudes: tuple[Complex, ...]
    level_slope: tuple[Complex, ...]
    dc: Array
    residual: Array
    variance: Array
    parameters: int
    centre: float

    @property
    def amplitude_u(self) -> Array:
        """Standard uncertainty of a line's amplitude per channel, √(2σ²/N)."""
        return np.asarray(np.sqrt(2 * self.variance / len(self.residual)))


def fit_lines(
    samples: Array,
    positions: Array,
    rate_hz: float,
    families: tuple[Family, ...],
    *,
    phase_cycles: Array | None = None,
) -> LineFit:
    """Return the least-squares fit of all lines, frequencies included.

    Parameters
    ----------
    samples
        Shape (samples, channels), digital amplitude.
    positions
        Index of each sample in the file, shape (samples,); stretches may be missing.
    rate_hz
        Sampling rate.
    families
        The lines; each start must lie within about half a cycle per record of the truth.
    phase_cycles
        For a first family whose pitch wavers: its phase in cycles at each sample, instead of a
        constant frequency.

    Notes
    -----
    Gauss-Newton on the frequencies with the amplitudes projected out, all channels weighted by
    their own residual. IEEE 1057 four-parameter sine fit, extended to harmonics and more lines.
    Assumes white residual for the uncertainties.
    """
    design = _Design(positions, rate_hz, families, phase_cycles)
    gram = design.gram()
    solution = design.solve(gram, samples)
    shift = np.zeros((len(families), samples.shape[1]))
    shift_u = np.zeros_like(shift)
    joint_u = np.zeros(len(families))
    free = [i for i, family in enumerate(families) if family.free and phase_cycles is None]
    for _ in range(_MOST_STEPS if free else 0):
        step, joint_u, shift, shift_u = design.frequency_step(gram, solution, samples, free)
        limit = 0.5 * rate_hz / design.span
        families = tuple(
            replace(family, hz=family.hz + float(np.clip(step[i], -limit, limit)))
            for i, family in enumerate(families)
        )
        design = _Design(positions, rate_hz, families, phase_cycles)
        gram = design.gram()
        solution = design.solve(gram, samples)
        if np.all(np.abs(step) * design.span / rate_hz < 1e-13) or np.all(
            np.abs(step[free]) < 1e-3 * joint_u[free]
        ):
            break
    return design.result(solution, samples, joint_u, shift, shift_u)


class _Design:
    """The columns of the fit: DC, slope, then cosine and sine of every line, chunk by chunk."""

    def __init__(
        self,
        positions: Array,
        rate_hz: float,
        families: tuple[Family, ...],
        phase_cycles: Array | None,
    ) -> None:
        self.families = families
        self.rate_hz = rate_hz
        self.centre = float(positions[0] + positions[-1]) / 2
        self.span = float(positions[-1] - positions[0]) + 1
        self.offset = positions - self.centre
        self.phase_cycles = phase_cycles
        self.width = 2 + sum(2 * len(f.orders) * (1 + f.level_terms) for f in families)

    def chunks(self) -> Iterator[tuple[slice, Array]]:
        """Yield (which samples, their columns as rows, shape (width, samples))."""
        for start in range(0, len(self.offset), _CHUNK):
            here = slice(start, start + _CHUNK)
            yield here, self._rows(here)

    def _rows(self, here: slice) -> Array:
        offset = self.offset[here]
        slow = offset * (2 / self.span)
        rows = np.empty((self.width, len(offset)))
        rows[0] = 1.0
        rows[1] = slow
        at = 2
        for index, family in enumerate(self.families):
            if index == 0 and self.phase_cycles is not None:
                cycles = self.phase_cycles[here]
            else:
                cycles = family.hz * offset / self.rate_hz
            turn = np.exp(2j * np.pi * (cycles - np.round(cycles)))
            reached = family.orders[0]
            line = turn**reached
            lines = 2 * len(family.orders)
            for place, order in enumerate(family.orders):
                while reached < order:
                    line = line * turn
                    reached += 1
                rows[at + 2 * place] = line.real
                rows[at + 2 * place + 1] = line.imag
            for power in range(1, 1 + family.level_terms):
                shape = np.polynomial.legendre.legval(slow, [0.0] * power + [1.0])
                there = at + power * lines
                np.multiply(rows[at : at + lines], shape, out=rows[there : there + lines])
            at += lines * (1 + family.level_terms)
        return rows

    def gram(self) -> Array:
        total = np.zeros((self.width, self.width))
        for _, rows in self.chunks():
            total += rows @ rows.T
        return total

    def solve(self, gram: Array, samples: Array) -> Array:
        """Return the coefficients, refined once on the residual for the last digits."""
        solution = np.zeros((self.width, samples.shape[1]))
        for _ in range(2):
            right = np.zeros_like(solution)
            for here, rows in self.chunks():
                right += rows @ (samples[here] - rows.T @ solution)
            solution = solution + np.linalg.lstsq(gram, right, rcond=1e-13)[0]
        return solution

    def frequency_step(
        self, gram: Array, solution: Array, samples: Array, free: list[int]
    ) -> tuple[Array, Array, Array, Array]:
        """Return (step, its uncertainty, step per channel, its uncertainty), all in Hz."""
        channels, count = samples.shape[1], len(self.families)
        cross = np.zeros((channels, self.width, count))
        square = np.zeros((channels, count, count))
        along = np.zeros((channels, count))
        left = np.zeros(channels)
        quarter = self._quarter_turned(solution)
        for here, rows in self.chunks():
            residual = samples[here] - rows.T @ solution
            left += np.sum(residual**2, axis=0)
            radians = (2 * np.pi / self.rate_hz) * self.offset[here]
            for channel in range(channels):
                slopes = radians[:, None] * (rows.T @ quarter[channel])
                cross[channel] += rows @ slopes
                square[channel] += slopes.T @ slopes
                along[channel] += slopes.T @ residual[:, channel]
        weight = max(len(samples) - self.width, 1) / np.maximum(left, 1e-300)
        # Where the level is followed too, the turning of its own slope tells the frequency.
        turning = [i for i in free if self.families[i].level_terms]
        steady = [i for i in free if i not in turning]
        step, joint_u = np.zeros(count), np.zeros(count)
        single, single_u = np.zeros((count, channels)), np.zeros((count, channels))
        information = np.zeros((len(steady), len(steady)))
        pull = np.zeros(len(steady))
        for channel in range(channels):
            seen = (
                square[channel]
                - cross[channel].T @ np.linalg.lstsq(gram, cross[channel], rcond=1e-13)[0]
            )
            part = weight[channel] * seen[np.ix_(steady, steady)]
            drive = weight[channel] * along[channel][steady]
            information += part
            pull += drive
            single[steady, channel], single_u[steady, channel] = _solved(part, drive)
        step[steady], joint_u[steady] = _solved(information, pull)
        for i in turning:
            mean, change = self.lines(solution, i)
            power = np.abs(mean[0]) ** 2 * weight * len(samples) / 6
            scale = self.rate_hz / (np.pi * self.span)
            single[i] = np.imag(change[0]) * scale
            single_u[i] = scale / np.sqrt(np.maximum(power, 1e-300))
            step[i] = float(np.sum(single[i] * power) / max(power.sum(), 1e-300))
            joint_u[i] = scale / np.sqrt(max(power.sum(), 1e-300))
        return step, joint_u, single, single_u

    def lines(self, solution: Array, index: int) -> tuple[Complex, Complex]:
        """Return a family's complex amplitudes and their relative change per half record."""
        family, at = self.families[index], self._first_columns()[index]
        lines = 2 * len(family.orders)
        mean = solution[at : at + lines : 2] - 1j * solution[at + 1 : at + lines : 2]
        change = np.zeros_like(mean)
        if family.level_terms:
            there = slice(at + lines, at + 2 * lines)
            change = solution[there][0::2] - 1j * solution[there][1::2]
        return mean, np.asarray(change / np.where(mean == 0, 1, mean), dtype=np.complex128)

    def _quarter_turned(self, solution: Array) -> Array:
        """Return coefficients of the derivative by phase, shape (channels, width, families)."""
        turned = np.zeros((solution.shape[1], self.width, len(self.families)))
        for index, (family, at) in enumerate(
            zip(self.families, self._first_columns(), strict=True)
        ):
            cosines = at + 2 * np.arange(len(family.orders))
            orders = np.array(family.orders)[:, None]
            turned[:, cosines, index] = (orders * solution[cosines + 1]).T
            turned[:, cosines + 1, index] = (-orders * solution[cosines]).T
        return turned

    def _first_columns(self) -> list[int]:
        starts, at = [], 2
        for family in self.families:
            starts.append(at)
            at += 2 * len(family.orders) * (1 + family.level_terms)
        return starts

    def result(
        self, solution: Array, samples: Array, joint_u: Array, shift: Array, shift_u: Array
    ) -> LineFit:
        residual = np.empty_like(samples)
        for here, rows in self.chunks():
            residual[here] = samples[here] - rows.T @ solution
        freedom = max(len(samples) - self.width, 1)
        pairs = [self.lines(solution, index) for index in range(len(self.families))]
        return LineFit(
            families=self.families,
            frequency_u=tuple(float(u) for u in joint_u),
            shift_hz=shift,
            shift_u=shift_u,
            amplitudes=tuple(mean for mean, _ in pairs),
            level_slope=tuple(change for _, change in pairs),
            dc=solution[0].copy(),
            residual=residual,
            variance=np.sum(residual**2, axis=0) / freedom,
            parameters=self.width,
            centre=self.centre,
        )


def _solved(information: Array, pull: Array) -> tuple[Array, Array]:
    """Return (information⁻¹·pull, standard uncertainties); scaled, so units may differ."""
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    inverse = np.linalg.pinv(information / np.outer(scale, scale))
    step = inverse @ (pull / scale) / scale
    return step, np.sqrt(np.maximum(np.diag(inverse), 0)) / scale


def strongest_line(samples: Array, rate_hz: float, low_hz: float, high_hz: float) -> float:
    """Return the frequency in Hz of the largest line in a range, from an interpolated Hann peak.

    Parameters
    ----------
    samples
        Shape (samples, channels); the channels' powers are added.
    low_hz, high_hz
        Where to look.
    """
    power = line_spectrum(samples)
    bin_hz = rate_hz / len(samples)
    first = max(1, int(np.floor(low_hz / bin_hz)))
    last = min(len(power) - 2, int(np.ceil(high_hz / bin_hz)))
    peak = first + int(np.argmax(power[first : last + 1]))
    return interpolated_bin(power, peak) * bin_hz


def line_spectrum(samples: Array) -> Array:
    """Return |X|² of the Hann-windowed samples, summed over the channels, scaled so that a line
    of peak amplitude A reads A² on its bin."""
    count = len(samples)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(count) / count)
    centred = (samples - samples.mean(axis=0)) * window[:, None]
    spectrum = np.fft.rfft(centred, axis=0)
    return np.asarray(np.sum(np.abs(spectrum) ** 2, axis=1) * (4 / count) ** 2)


def interpolated_bin(power: Array, peak: int) -> float:
    """Return the place of a Hann peak between the bins, in bins (exact for one pure line)."""
    if peak + 1 >= len(power) or peak < 1:
        return float(peak)
    here = np.sqrt(max(power[peak], 1e-300))
    right = power[peak + 1] >= power[peak - 1]
    ratio = np.sqrt(power[peak + 1] if right else power[peak - 1]) / here
    offset = (2 * ratio - 1) / (ratio + 1)
    return float(peak + (offset if right else -offset))

"""Least squares of lines at whole-number sums of a few free frequencies: m·f1 + n·f2 + …"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Line = tuple[int, ...]

_CHUNK = 4096
_MOST_STEPS = 12
#: A shift this small leaves the columns' products as they were, for a solution that is refined.
_NEGLIGIBLE_CYCLES = 1e-6
#: Columns before the lines: DC and slope.
_SLOW = 2


@dataclass(frozen=True, slots=True)
class LatticeFit:
    """Fitted lines of one or more channels that share their frequencies.

    Parameters
    ----------
    hz, hz_u
        The free frequencies and their standard uncertainties, shape (frequencies,).
    lines
        Per line, how often each frequency is taken.
    amplitudes
        Complex peak amplitudes, shape (lines, channels), phase at the centre of the stretch.
    dc
        Mean of each channel.
    residual
        What is left, shape (samples, channels).
    variance
        Of the residual per channel, with the parameters' share put back.
    rate_hz, centre
        Sampling rate, and the sample index to which phases refer.
    count
        Samples that the fit rests on.
    """

    hz: Array
    hz_u: Array
    lines: tuple[Line, ...]
    amplitudes: Complex
    dc: Array
    residual: Array
    variance: Array
    rate_hz: float
    centre: float
    count: int

    @property
    def amplitude_u(self) -> Array:
        """Standard uncertainty of a line's amplitude per channel, √(2σ²/N)."""
        return np.asarray(np.sqrt(2 * self.variance / self.count))

    @property
    def line_hz(self) -> Array:
        """Frequency of each line, never negative."""
        return np.asarray(np.abs(np.array(self.lines) @ self.hz))

    def line(self, which: Line) -> Complex | None:
        """Return one line's complex amplitudes by channel, or ``None`` if it was not fitted."""
        return self.amplitudes[self.lines.index(which)] if which in self.lines else None

    def with_residual(self, residual: Array) -> LatticeFit:
        """Return the same lines with less left over, as when further lines are taken out."""
        share = np.sum(residual**2, axis=0) / np.maximum(np.sum(self.residual**2, axis=0), 1e-300)
        return replace(self, residual=residual, variance=self.variance * share)

    def wave(self, positions: Array) -> Array:
        """Return the lines and DC at any sample indices, shape (samples, channels)."""
        cycles = np.outer((positions - self.centre) / self.rate_hz, np.array(self.lines) @ self.hz)
        turn = np.exp(2j * np.pi * (cycles - np.round(cycles)))
        return np.asarray(np.real(turn @ self.amplitudes) + self.dc)


def fit_lattice(
    samples: Array,
    positions: Array,
    rate_hz: float,
    start_hz: Array,
    lines: tuple[Line, ...],
    *,
    free: bool = True,
) -> LatticeFit:
    """Return the least-squares fit of all lines, every frequency fitted too.

    Parameters
    ----------
    samples
        Shape (samples, channels), digital amplitude.
    positions
        Index of each sample in the file, shape (samples,); stretches may be missing.
    rate_hz
        Sampling rate.
    start_hz
        The frequencies, each within about a third of a cycle per record of the truth.
    lines
        Per line one whole number for each frequency, such as ``(1, -1)`` for f1 − f2. No two
        may fall on one frequency, and none on zero.
    free
        Whether the frequencies are fitted; otherwise they are kept.

    Notes
    -----
    Gauss-Newton on the frequencies with the amplitudes projected out, every channel weighted by
    its own residual: the sine fit of IEEE 1057 extended to several frequencies and their sums.
    Uncertainties assume a white residual.

    Examples
    --------
    >>> time_s = np.arange(4800) / 48_000
    >>> wave = np.cos(2 * np.pi * 1000.1 * time_s) + 0.01 * np.cos(2 * np.pi * 2200.3 * time_s)
    >>> fit = fit_lattice(
    ...     wave[:, None], np.arange(4800.0), 48_000, np.array([1000, 1200.2]), ((1, 0), (1, 1))
    ... )
    >>> fit.hz.round(6).tolist(), np.abs(fit.amplitudes[:, 0]).round(9).tolist()
    ([1000.1, 1200.2], [1.0, 0.01])
    """
    hz = np.array(start_hz, dtype=np.float64)
    hz_u = np.zeros_like(hz)
    design = _Design(positions, rate_hz, hz, lines)
    inverse = design.inverse()
    solution = design.solve(inverse, samples, None)
    for _ in range(_MOST_STEPS if free else 0):
        step, hz_u = design.frequency_step(inverse, solution, samples)
        limit = 0.5 * rate_hz / design.span
        hz = hz + np.clip(step, -limit, limit)
        design = _Design(positions, rate_hz, hz, lines)
        moved_cycles = np.abs(step) * design.span / rate_hz
        if np.max(moved_cycles) > _NEGLIGIBLE_CYCLES:
            inverse = design.inverse()
        solution = design.solve(inverse, samples, solution)
        if np.all((moved_cycles < 1e-11) | (np.abs(step) < 1e-3 * hz_u)):
            break
    residual = design.residual(solution, samples)
    at = solution[_SLOW:]
    return LatticeFit(
        hz=hz,
        hz_u=hz_u,
        lines=lines,
        amplitudes=np.asarray(at[0::2] - 1j * at[1::2], dtype=np.complex128),
        dc=solution[0].copy(),
        residual=residual,
        variance=np.sum(residual**2, axis=0) / max(len(samples) - design.width, 1),
        rate_hz=rate_hz,
        centre=design.centre,
        count=len(samples),
    )


class _Design:
    """The columns of the fit: DC, slope, then cosine and sine of every line, chunk by chunk."""

    def __init__(
        self, positions: Array, rate_hz: float, hz: Array, lines: tuple[Line, ...]
    ) -> None:
        self.rate_hz = rate_hz
        self.hz = hz
        self.lines = np.array(lines, dtype=np.int64)
        self.span = float(positions[-1] - positions[0]) + 1
        self.centre = float(positions[0] + positions[-1]) / 2
        self.offset = positions - self.centre
        self.width = _SLOW + 2 * len(lines)

    def chunks(self) -> Iterator[tuple[slice, Array]]:
        """Yield (which samples, their columns as rows, shape (width, samples))."""
        for start in range(0, len(self.offset), _CHUNK):
            here = slice(start, start + _CHUNK)
            yield here, self._rows(self.offset[here])

    def _rows(self, offset: Array) -> Array:
        rows = np.empty((self.width, len(offset)))
        rows[0] = 1.0
        rows[1] = offset * (2 / self.span)
        powers = [
            _powers(hz * offset / self.rate_hz, int(np.abs(self.lines[:, index]).max()))
            for index, hz in enumerate(self.hz)
        ]
        for place, counts in enumerate(self.lines.tolist()):
            parts = [
                turns[count] if count > 0 else turns[-count].conj()
                for turns, count in zip(powers, counts, strict=True)
                if count
            ]
            wave = reduce(np.multiply, parts)
            rows[_SLOW + 2 * place] = wave.real
            rows[_SLOW + 2 * place + 1] = wave.imag
        return rows

    def inverse(self) -> Array:
        """Return the inverse of the columns' products.

        The products of lines are sums of cosines with a closed form, and far quicker so. The last
        digits do not matter: solutions are refined on their residual.
        """
        turn = 2 * np.pi / self.rate_hz * (self.lines @ self.hz)
        apart = self._sum_of_turns(turn[:, None] - turn)
        together = self._sum_of_turns(turn[:, None] + turn)
        gram = np.empty((self.width, self.width))
        gram[_SLOW::2, _SLOW::2] = np.real(together + apart) / 2
        gram[_SLOW + 1 :: 2, _SLOW + 1 :: 2] = np.real(apart - together) / 2
        gram[_SLOW::2, _SLOW + 1 :: 2] = np.imag(together - apart) / 2
        gram[_SLOW + 1 :: 2, _SLOW::2] = gram[_SLOW::2, _SLOW + 1 :: 2].T
        gram[:, :_SLOW] = sum(rows @ rows[:_SLOW].T for _, rows in self.chunks())
        gram[:_SLOW] = gram[:, :_SLOW].T
        return np.asarray(np.linalg.inv(gram))

    def _sum_of_turns(self, turn: Array) -> Complex:
        """Return the sum of e^(j·turn·offset) over the samples, run by run."""
        edges = np.flatnonzero(np.diff(self.offset) != 1) + 1
        half = np.where(np.abs(np.sin(turn / 2)) < 1e-12, 1e-12, turn / 2)
        total = np.zeros(turn.shape, dtype=np.complex128)
        for run in np.split(self.offset, edges):
            middle = (run[0] + run[-1]) / 2
            total += np.exp(1j * turn * middle) * np.sin(len(run) * half) / np.sin(half)
        return total

    def solve(self, inverse: Array, samples: Array, start: Array | None) -> Array:
        """Return the coefficients, refined on the residual for the last digits."""
        solution = np.zeros((self.width, samples.shape[1])) if start is None else start
        for _ in range(2 if start is None else 1):
            right = np.zeros_like(solution)
            for here, rows in self.chunks():
                right += rows @ (samples[here] - rows.T @ solution)
            solution = solution + inverse @ right
        return solution

    def residual(self, solution: Array, samples: Array) -> Array:
        left = np.empty_like(samples)
        for here, rows in self.chunks():
            left[here] = samples[here] - rows.T @ solution
        return left

    def frequency_step(
        self, inverse: Array, solution: Array, samples: Array
    ) -> tuple[Array, Array]:
        """Return (step, its standard uncertainty) of each frequency in Hz."""
        channels, count = samples.shape[1], len(self.hz)
        turned = self._quarter_turned(solution)
        cross = np.zeros((channels, self.width, count))
        square = np.zeros((channels, count, count))
        along = np.zeros((channels, count))
        left = np.zeros(channels)
        for here, rows in self.chunks():
            residual = samples[here] - rows.T @ solution
            left += np.sum(residual**2, axis=0)
            time = (2 * np.pi / self.rate_hz) * self.offset[here]
            for channel in range(channels):
                slopes = (rows.T @ turned[channel]) * time[:, None]
                cross[channel] += rows @ slopes
                square[channel] += slopes.T @ slopes
                along[channel] += slopes.T @ residual[:, channel]
        weight = max(len(samples) - self.width, 1) / np.maximum(left, 1e-300)
        information = np.zeros((count, count))
        for channel in range(channels):
            explained = cross[channel].T @ inverse @ cross[channel]
            information += weight[channel] * (square[channel] - explained)
        scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
        spread = np.linalg.pinv(information / np.outer(scale, scale))
        step = spread @ ((weight @ along) / scale) / scale
        return step, np.sqrt(np.maximum(np.diag(spread), 0)) / scale

    def _quarter_turned(self, solution: Array) -> Array:
        """Return coefficients of the derivative by phase, shape (channels, width, frequencies)."""
        turned = np.zeros((solution.shape[1], self.width, len(self.hz)))
        cosine, sine = solution[_SLOW::2].T, solution[_SLOW + 1 :: 2].T
        turned[:, _SLOW::2] = sine[:, :, None] * self.lines
        turned[:, _SLOW + 1 :: 2] = -cosine[:, :, None] * self.lines
        return turned


def _powers(cycles: Array, most: int) -> list[Complex]:
    """Return e^(j·k·phase) for k = 0 … most."""
    turn = np.exp(2j * np.pi * (cycles - np.round(cycles)))
    powers = [np.ones_like(turn)]
    for _ in range(most):
        powers.append(powers[-1] * turn)
    return powers


def lattice_lines(
    hz: tuple[float, float], rate_hz: float, span: float, most: tuple[int, int, int]
) -> tuple[Line, ...]:
    """Return the sums (m, n), m ≥ 0, of two frequencies that can be told apart, low orders first.

    Parameters
    ----------
    hz
        The two frequencies.
    rate_hz, span
        Sampling rate, and length of the record in samples.
    most
        Largest \\|m\\|, \\|n\\| and \\|m\\| + \\|n\\|.

    Notes
    -----
    Left out: lines at or beyond 0.499 of the rate, and those within two cycles per record of
    zero or of a line of lower order.

    Examples
    --------
    >>> lattice_lines((60.0, 7000.0), 44_100, 44_100, (2, 1, 2))
    ((0, 1), (1, 0), (1, -1), (1, 1), (2, 0))
    """
    resolved_hz = 2 * rate_hz / span
    every = [
        (m, n)
        for m in range(most[0] + 1)
        for n in range(-most[1], most[1] + 1)
        if 0 < m + abs(n) <= most[2] and (m > 0 or n > 0)
    ]
    kept: list[Line] = []
    taken = [0.0]
    for m, n in sorted(every, key=lambda line: (line[0] + abs(line[1]), line)):
        at = abs(m * hz[0] + n * hz[1])
        if at < 0.499 * rate_hz and min(abs(at - other) for other in taken) > resolved_hz:
            kept.append((m, n))
            taken.append(at)
    return tuple(kept)

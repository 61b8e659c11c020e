"""The block method for long recordings: every quarter frame fitted by one shared inverse.

A recording is cut on a fixed grid into quarter frames of about 21 ms. In each the fundamental,
its harmonics, DC, slope and the change of level are one matrix product with a pseudo-inverse
that all quarters share. Four quarters make a frame, whose residual is turned into noise by band.
What is kept per quarter is a few numbers, so memory hardly depends on length.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import Family, fit_lines, strongest_line
from backtospec.analysis.notes import measuring_bands
from backtospec.analysis.quality import overload_fraction, run_lengths
from backtospec.analysis.tone_fit import orders_below
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

QUARTERS = 4
_FRAMES_A_BATCH = 16
_QUARTER_S = 0.0213
_QUARTER_CYCLES = 2.0
_STATED_ORDERS = 10
_MOST_ORDERS = 64
_FINE_CYCLES = 2.5
_FINE_SPLITS = (8, 4, 2)
_SEARCH = 0.03


@dataclass(frozen=True, slots=True)
class _Fit:
    """A shared inverse: ``inverse`` is (samples, columns); harmonics first, then DC, slope and
    the fundamental's change of level."""

    columns: Array
    inverse: Array
    orders: NDArray[np.int64]

    def solve(self, pieces: Array) -> tuple[Array, Complex, Complex]:
        """Return (coefficients, complex amplitudes, relative change of level per half piece)."""
        solved = pieces @ self.inverse
        lines = 2 * len(self.orders)
        amplitudes = solved[..., 0:lines:2] - 1j * solved[..., 1:lines:2]
        change = solved[..., -2] - 1j * solved[..., -1]
        return solved, amplitudes, change


def _shared_fit(samples: int, hz: float, rate_hz: float, most_orders: int) -> _Fit:
    most = max(1, min(most_orders, int(0.6 * samples) // 2 - 2))
    orders = np.array(orders_below(0.499 * rate_hz, hz, most))
    offset = np.arange(samples) - (samples - 1) / 2
    turn = np.exp(2j * np.pi * hz * offset / rate_hz)
    slow = offset * (2 / samples)
    columns = np.empty((samples, 2 * len(orders) + 4))
    for place, order in enumerate(orders):
        line = turn ** int(order)
        columns[:, 2 * place], columns[:, 2 * place + 1] = line.real, line.imag
    columns[:, -4], columns[:, -3] = 1.0, slow
    columns[:, -2], columns[:, -1] = slow * turn.real, slow * turn.imag
    return _Fit(columns, np.ascontiguousarray(np.linalg.pinv(columns).T), orders)


@dataclass(frozen=True, slots=True)
class Grid:
    """How a recording is cut, and the shared inverses.

    Parameters
    ----------
    rate_hz, hz
        Sampling rate, and the carrier that phases are counted against.
    quarter
        Samples per quarter frame.
    bands
        (name, low, high) of the THD+N bands.
    closely_from
        THD as a ratio from which every harmonic to the band edge is taken.
    criteria
        THD ratios whose crossing is looked at in fine steps.
    """

    rate_hz: float
    hz: float
    quarter: int
    bands: tuple[tuple[str, float, float], ...]
    closely_from: float
    criteria: tuple[float, ...]
    stated: _Fit
    every: _Fit
    fine: _Fit | None
    window: Array
    weights: Array

    @property
    def quarter_s(self) -> float:
        """Length of a quarter frame in seconds."""
        return self.quarter / self.rate_hz

    @property
    def batch(self) -> int:
        """Samples that are worked on at once; work is shared out at multiples of it."""
        return self.quarter * QUARTERS * _FRAMES_A_BATCH


def make_grid(rate_hz: float, hz: float, criteria: tuple[float, ...]) -> Grid:
    """Return the grid for a tone.

    Parameters
    ----------
    rate_hz
        Sampling rate, 32 000…192 000 Hz.
    hz
        The tone, to 0.05 Hz; see :func:`find_frequency`.
    criteria
        THD ratios that will be asked for, such as 0.01.
    """
    smallest = max(_QUARTER_S * rate_hz, _QUARTER_CYCLES * rate_hz / hz)
    quarter = 64 * int(np.ceil(smallest / 64 - 0.01))
    frame = quarter * QUARTERS
    bands = measuring_bands(rate_hz)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(frame) / frame)
    bins_hz = np.fft.rfftfreq(frame, 1 / rate_hz)
    weights = np.empty((len(bins_hz), len(bands)))
    for index, (_, low, high) in enumerate(bands):
        weights[:, index] = (bins_hz >= low) & (bins_hz <= high)
    weights *= 2 / (frame * np.sum(window**2))
    every = _shared_fit(quarter, hz, rate_hz, _MOST_ORDERS)
    return Grid(
        rate_hz=rate_hz,
        hz=hz,
        quarter=quarter,
        bands=bands,
        closely_from=0.2 * min(criteria),
        criteria=criteria,
        stated=_shared_fit(quarter, hz, rate_hz, _STATED_ORDERS),
        every=every,
        fine=_fine_fit(quarter, hz, rate_hz, len(every.orders)),
        window=window,
        weights=weights,
    )


def _fine_fit(quarter: int, hz: float, rate_hz: float, orders: int) -> _Fit | None:
    for split in _FINE_SPLITS:
        piece = quarter // split
        if quarter % split == 0 and piece * hz / rate_hz >= _FINE_CYCLES:
            fit = _shared_fit(piece, hz, rate_hz, orders)
            if len(fit.orders) == orders:
                return fit
    return None


@dataclass(frozen=True, slots=True)
class Quarters:
    """What is kept of each quarter frame; first axis quarters, second channels.

    Parameters
    ----------
    phasor
        Fundamental against the carrier.
    harmonics
        H2 and up, turned so that the fundamental's phase is 0; third axis orders.
    change
        Relative change of level over half a quarter.
    dc, noise
        Mean, and mean square of what the fit leaves (harmonics above the tenth included).
    high
        Sum of squared amplitudes beyond the tenth harmonic, noise included; NaN where not needed.
    crest
        What the positive and negative crest lose, third axis; NaN where not needed.
    zeros
        Longest run of exact zeros.
    bands
        Mean square of what the harmonics leave by band, for whole frames: first axis frames.
    fine
        Rows of (time s, channel, amplitude, squared harmonics, squared amplitude noise).
    rails
        Samples on a converter's rail, per channel.
    same
        Whether both channels held the same samples.
    """

    phasor: Complex
    harmonics: NDArray[np.complex64]
    change: NDArray[np.float32]
    dc: Array
    noise: Array
    high: Array
    crest: NDArray[np.float32]
    zeros: NDArray[np.int32]
    bands: Array
    fine: Array
    rails: Array
    same: bool

    @classmethod
    def joined(cls, parts: tuple[Quarters, ...]) -> Quarters:
        """Return consecutive parts as one."""
        joined = {
            f.name: np.concatenate([getattr(part, f.name) for part in parts])
            for f in fields(cls)
            if f.name not in ("rails", "same")
        }
        rails = np.sum([part.rails for part in parts], axis=0)
        return cls(**joined, rails=rails, same=all(part.same for part in parts))


@dataclass(frozen=True, slots=True)
class RampFrames:
    """A ramp on its way through: what is done, and samples that wait for a whole batch.

    Parameters
    ----------
    grid
        How the recording is cut.
    first
        Index of the first sample fed; a multiple of ``grid.batch``.
    done
        Finished batches.
    waiting
        Samples after them, shape (samples, channels).
    """

    grid: Grid
    first: int
    done: tuple[Quarters, ...]
    waiting: Array

    @property
    def next_sample(self) -> int:
        """Index of the sample after the last one fed."""
        return self.first + len(self.done) * self.grid.batch + len(self.waiting)


def find_frequency(excerpts: tuple[Array, ...], rate_hz: float, nominal_hz: float) -> float:
    """Return the tone's frequency from excerpts of a recording, to 0.05 Hz or better.

    Parameters
    ----------
    excerpts
        Stretches of 0.1 s or more, shape (samples, channels).
    rate_hz, nominal_hz
        Sampling rate, and what the generator was set to.

    Raises
    ------
    BenchError
        When no excerpt holds a tone near the nominal frequency.
    """
    best, best_hz = 0.0, None
    for excerpt in excerpts:
        if len(excerpt) * nominal_hz / rate_hz < 2 * _QUARTER_CYCLES:
            continue
        bin_hz = rate_hz / len(excerpt)
        low, high = nominal_hz * (1 - _SEARCH) - bin_hz, nominal_hz * (1 + _SEARCH) + bin_hz
        start_hz = strongest_line(excerpt, rate_hz, low, min(high, 0.49 * rate_hz))
        orders = orders_below(0.45 * rate_hz, start_hz, 5)
        positions = np.arange(len(excerpt), dtype=float)
        fit = fit_lines(excerpt, positions, rate_hz, (Family(start_hz, orders),))
        power = float(np.sum(np.abs(fit.amplitudes[0][0]) ** 2))
        left = float(np.sum(fit.variance))
        hz = fit.families[0].hz
        # Prefer the loudest excerpt, and of equals the one in which least is left over.
        worth = power / (1 + 10 * left / max(power, 1e-300))
        if worth > best and low <= hz <= high and power > 0.1 * left:
            best, best_hz = worth, hz
    if best_hz is None:
        raise BenchError(
            f"no tone within {100 * _SEARCH:g} % of the nominal {nominal_hz:g} Hz was found.",
            "nominal frequency",
            "Give the frequency the generator was set to.",
        )
    return best_hz


def start(grid: Grid, channels: int, first: int = 0) -> RampFrames:
    """Return an empty ramp.

    Parameters
    ----------
    grid
        From :func:`make_grid`.
    channels
        1 or 2.
    first
        Sample of the file at which feeding starts; a multiple of ``grid.batch``.
    """
    return RampFrames(grid, first, (), np.empty((0, channels)))


def feed(state: RampFrames, block: Array) -> RampFrames:
    """Return the ramp with a block of samples added.

    Parameters
    ----------
    block
        Shape (samples, channels), any length.
    """
    waiting = np.concatenate((state.waiting, block)) if len(state.waiting) else block
    size = state.grid.batch
    done = []
    at = state.first + len(state.done) * size
    for offset in range(0, len(waiting) - size + 1, size):
        done.append(read_quarters(state.grid, waiting[offset : offset + size], at + offset))
    rest = waiting[len(done) * size :]
    return replace(state, done=(*state.done, *done), waiting=rest.copy() if done else rest)


def merge(earlier: RampFrames, later: RampFrames) -> RampFrames:
    """Return two neighbouring parts of a ramp as one; the later starts where the earlier ends."""
    if earlier.next_sample != later.first or len(earlier.waiting):
        raise ValueError("the parts are not neighbours on the batch grid")
    return replace(later, first=earlier.first, done=(*earlier.done, *later.done))


def settle(state: RampFrames) -> Quarters:
    """Return all quarters of a ramp, those of the last incomplete batch included."""
    size = state.grid.quarter
    whole = len(state.waiting) // size * size
    parts = state.done
    if whole or not parts:
        at = state.first + len(state.done) * state.grid.batch
        parts = (*parts, read_quarters(state.grid, state.waiting[:whole], at))
    return Quarters.joined(parts)


def read_quarters(grid: Grid, samples: Array, first: int) -> Quarters:
    """Return the quarters of whole quarter frames of samples.

    Parameters
    ----------
    samples
        Shape (quarters × grid.quarter, channels).
    first
        Index of the first sample in the file.
    """
    count, channels = len(samples) // grid.quarter, samples.shape[1]
    pieces = np.ascontiguousarray(samples.T).reshape(channels, count, grid.quarter)
    solved, lines, change = grid.stated.solve(pieces)
    model = solved.copy()
    model[..., -4:-2] = 0.0
    left = pieces - model @ grid.stated.columns.T
    slow = solved[..., -4:-2] @ grid.stated.columns[:, -4:-2].T
    noise = np.sum((left - slow) ** 2, axis=-1) / (grid.quarter - solved.shape[-1])
    close = _look_closely(grid, pieces, lines, noise)
    level = np.abs(lines[..., 0])
    unit = np.where(level > 0, lines[..., 0] / np.where(level > 0, level, 1.0), 1.0)
    turned = lines[..., 1:] * unit[..., None].conj() ** grid.stated.orders[1:]
    centres = first + np.arange(count) * grid.quarter + (grid.quarter - 1) / 2
    cycles = grid.hz * centres / grid.rate_hz
    carrier = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    stated = np.sum(np.abs(turned) ** 2, axis=-1)
    relative = np.real(change / np.where(level > 0, lines[..., 0], 1.0))
    return Quarters(
        phasor=(lines[..., 0] * carrier).T,
        harmonics=np.moveaxis(turned, 0, 1).astype(np.complex64),
        change=relative.T.astype(np.float32),
        dc=solved[..., -4].T,
        noise=noise.T,
        high=close.high.T,
        crest=np.moveaxis(close.crest, 0, 1),
        zeros=_longest_zeros(pieces).T,
        bands=_bands(grid, left, solved.shape[-1] - 2),
        fine=_fine_rows(grid, pieces, first, level, relative, stated + close.high, noise),
        rails=np.array(
            [overload_fraction(samples[:, c], grid.rate_hz / grid.hz) for c in range(channels)]
        )
        * len(samples),
        same=channels == 2 and np.array_equal(samples[:, 0], samples[:, 1]),
    )


@dataclass(frozen=True, slots=True)
class _Close:
    high: Array
    crest: NDArray[np.float32]


def _look_closely(grid: Grid, pieces: Array, lines: Complex, noise: Array) -> _Close:
    """Return the squares beyond the tenth harmonic and the crest losses, where distortion shows.

    There ``lines`` and ``noise`` are replaced by what the fit of every harmonic gives, since
    high harmonics would leak into the low ones and count as noise.
    """
    level = np.abs(lines[..., 0])
    high = np.full(level.shape, np.nan)
    crest = np.full((*level.shape, 2), np.nan, dtype=np.float32)
    stated = np.sum(np.abs(lines[..., 1:]) ** 2, axis=-1)
    bias = 4 * noise / grid.quarter * (lines.shape[-1] - 1)
    chosen = (level > 1e-6) & (stated - 2 * bias > (grid.closely_from * level) ** 2)
    if not chosen.any():
        return _Close(high, crest)
    solved, every, _ = grid.every.solve(pieces[chosen])
    left = pieces[chosen] - solved @ grid.every.columns.T
    noise[chosen] = np.sum(left**2, axis=-1) / (grid.quarter - solved.shape[-1])
    kept = lines.shape[-1]
    lines[chosen] = every[:, :kept]
    high[chosen] = np.sum(np.abs(every[:, kept:]) ** 2, axis=-1)
    orders = grid.every.orders
    unit = every[:, :1] / np.abs(every[:, :1])
    aligned = np.real(every[:, 1:] * unit.conj() ** orders[1:]) / np.abs(every[:, :1])
    sign = np.where(orders[1:] % 2 == 0, 1.0, -1.0)
    crest[chosen, 0] = -aligned.sum(axis=1)
    crest[chosen, 1] = (aligned * sign).sum(axis=1)
    return _Close(high, crest)


def _fine_rows(
    grid: Grid,
    pieces: Array,
    first: int,
    level: Array,
    change: Array,
    square: Array,
    noise: Array,
) -> Array:
    """Return fine steps of level and distortion where a moving level crosses a criterion."""
    if grid.fine is None:
        return np.empty((0, 5))
    thd = np.sqrt(square) / np.where(level > 0, level, 1)
    moving = np.abs(change) > 0.001
    near = np.zeros(level.shape, dtype=bool)
    for criterion in grid.criteria:
        near |= (thd > criterion / 5) & (thd < criterion * 20)
    chosen = np.argwhere(moving & near)
    if not len(chosen):
        return np.empty((0, 5))
    chosen = chosen[np.argsort(chosen[:, 1], kind="stable")]
    size = len(grid.fine.columns)
    parts = grid.quarter // size
    fine = pieces[chosen[:, 0], chosen[:, 1]].reshape(len(chosen), parts, size)
    _, lines, _ = grid.fine.solve(fine)
    rows = np.empty((len(chosen), parts, 5))
    starts = first + chosen[:, 1] * grid.quarter
    middle = np.arange(parts) * size + (size - 1) / 2
    rows[..., 0] = (starts[:, None] + middle) / grid.rate_hz
    rows[..., 1] = chosen[:, 0][:, None]
    rows[..., 2] = np.abs(lines[..., 0])
    rows[..., 3] = np.sum(np.abs(lines[..., 1:]) ** 2, axis=-1)
    rows[..., 4] = 2 * noise[chosen[:, 0], chosen[:, 1]][:, None] / size
    # Where the supply ripples, clipping comes and goes within a quarter: only its mean counts.
    thd = np.sqrt(rows[..., 3]) / rows[..., 2]
    rising = np.sign(change[chosen[:, 0], chosen[:, 1]])[:, None]
    return rows[_even(thd, rising)].reshape(-1, 5)


def _even(thd: Array, direction: Array) -> NDArray[np.bool_]:
    """Return which rows of THD move in one direction only, within a tenth of their range."""
    steps = np.diff(thd, axis=1) * direction
    slack = 0.1 * np.ptp(thd, axis=1, keepdims=True)
    return np.asarray(np.all(steps >= -slack, axis=1))


def _longest_zeros(pieces: Array) -> NDArray[np.int32]:
    longest = np.zeros(pieces.shape[:2], dtype=np.int32)
    zero = pieces == 0.0
    for channel, quarter in np.argwhere(zero.sum(axis=-1) >= 4):
        longest[channel, quarter] = run_lengths(zero[channel, quarter]).max()
    return longest


def _bands(grid: Grid, left: Array, parameters: int) -> Array:
    """Return mean square by band of whole frames, shape (frames, channels, bands)."""
    channels, count, size = left.shape
    frames = count // QUARTERS
    whole = left[:, : frames * QUARTERS].reshape(channels, frames, QUARTERS * size)
    centred = whole - whole.mean(axis=-1, keepdims=True)
    power = np.abs(np.fft.rfft(centred * grid.window, axis=-1)) ** 2
    return np.asarray(np.moveaxis(power @ grid.weights, 0, 1) * (size / (size - parameters)))

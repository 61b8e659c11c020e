"""The grid of a long recording: how it is cut, and the inverses that all its pieces share."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import Family, fit_lines, interpolated_bin, line_spectrum
from backtospec.analysis.notes import measuring_bands
from backtospec.analysis.tone_fit import orders_below
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Complex = NDArray[np.complex128]

QUARTERS = 4
#: Means of what the tone leaves, kept per quarter: enough to find hum to 150 Hz.
SLOW_STEPS = 8
#: Many, for each batch costs some time whatever it holds.
_FRAMES_A_BATCH = 128
_QUARTER_S = 0.0213
_QUARTER_CYCLES = 2.0
_STATED_ORDERS = 10
_MOST_ORDERS = 64
_ROWS_AT_ONCE = 64
_PRODUCT = 2**18 // _ROWS_AT_ONCE
_CUTS = (1, 2, 4, 8, 16, 32, 64, 128)
_FINE_CYCLES = 2.5
_FINE_SPLITS = (8, 4, 2)
_SEARCH = 0.03
_LINE_BINS = 4
_FAINTEST = 0.05
_FITTED_S = 0.2
_FITTED_CYCLES = 20


@dataclass(frozen=True, slots=True)
class SharedFit:
    """A shared least-squares inverse in single precision.

    Parameters
    ----------
    columns
        Shape (columns, samples): cosine and sine of each harmonic, then DC, slope, and the
        fundamental's change of level.
    inverse
        Shape (samples, columns).
    orders
        Harmonics, 1 first.
    slope_square
        Sum of squares of the slope's column.
    at_once
        Samples of a product that is too small for the linear algebra to share out among threads:
        that costs more than it saves, and here whole processes share the work.
    """

    columns: Single
    inverse: Single
    orders: NDArray[np.int64]
    slope_square: float
    at_once: int

    def solve(self, pieces: Single) -> Single:
        """Return the coefficients of pieces of shape (…, samples)."""
        flat = pieces.reshape(-1, pieces.shape[-1])
        samples, columns = self.inverse.shape
        cuts = (-1, samples // self.at_once, self.at_once)
        inverse = self.inverse.reshape(-1, self.at_once, columns)
        found = np.empty((len(flat), columns), dtype=np.float32)
        for rows in _in_turn(len(flat)):
            np.sum(flat[rows].reshape(cuts).swapaxes(0, 1) @ inverse, axis=0, out=found[rows])
        return found.reshape(*pieces.shape[:-1], columns)

    def lines(self, solved: NDArray[np.floating]) -> Complex:
        """Return the complex amplitudes that coefficients hold, the fundamental first."""
        most = 2 * len(self.orders)
        return np.asarray(solved[..., 0:most:2] - 1j * solved[..., 1:most:2], dtype=np.complex128)

    def sound(self, solved: Single, out: Single) -> None:
        """Put the samples that coefficients stand for into an array of shape (…, samples)."""
        flat, found = solved.reshape(-1, solved.shape[-1]), out.reshape(-1, out.shape[-1])
        pieces = (-1, found.shape[1] // self.at_once, self.at_once)
        columns = self.columns.reshape(pieces).swapaxes(0, 1)
        for rows in _in_turn(len(flat)):
            np.matmul(flat[rows], columns, out=found[rows].reshape(pieces).swapaxes(0, 1))


def _in_turn(rows: int) -> list[slice]:
    return [slice(at, at + _ROWS_AT_ONCE) for at in range(0, rows, _ROWS_AT_ONCE)]


def _shared_fit(samples: int, hz: float, rate_hz: float, most_orders: int) -> SharedFit:
    most = max(1, min(most_orders, int(0.6 * samples) // 2 - 2))
    orders = np.array(orders_below(0.499 * rate_hz, hz, most))
    offset = np.arange(samples) - (samples - 1) / 2
    turn = np.exp(2j * np.pi * hz * offset / rate_hz)
    slow = offset * (2 / samples)
    columns = np.empty((2 * len(orders) + 4, samples))
    for place, order in enumerate(orders):
        line = turn ** int(order)
        columns[2 * place], columns[2 * place + 1] = line.real, line.imag
    columns[-4], columns[-3] = 1.0, slow
    columns[-2], columns[-1] = slow * turn.real, slow * turn.imag
    # The normal equations: the lines are nearly orthogonal, and far cheaper than decomposing.
    inverse = np.linalg.solve(columns @ columns.T, columns)
    return SharedFit(
        columns.astype(np.float32),
        np.ascontiguousarray(inverse.T, dtype=np.float32),
        orders,
        float(np.sum(slow**2)),
        max(size for size in _CUTS if samples % size == 0 and size * len(columns) <= _PRODUCT),
    )


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
    stated, every, fine
        Shared inverses: H1…H10; to the band edge; the same over short pieces.
    window, edges, band_scale
        Hann window of a frame, bins at which the bands begin and end, and what turns a sum of
        squares there into a mean square.
    """

    rate_hz: float
    hz: float
    quarter: int
    bands: tuple[tuple[str, float, float], ...]
    closely_from: float
    criteria: tuple[float, ...]
    stated: SharedFit
    every: SharedFit
    fine: SharedFit | None
    window: Single
    edges: tuple[int, ...]
    band_scale: float

    @property
    def quarter_s(self) -> float:
        """Length of a quarter frame in seconds."""
        return self.quarter / self.rate_hz

    @property
    def fine_parts(self) -> int:
        """Steps into which a quarter is cut where its level is looked at finely; at least 1."""
        return 1 if self.fine is None else self.quarter // len(self.fine.inverse)

    @property
    def batch(self) -> int:
        """Samples that are worked on at once; work is shared out at multiples of it."""
        return self.quarter * QUARTERS * _FRAMES_A_BATCH


@lru_cache(maxsize=4)
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
    bin_hz = rate_hz / frame
    lowest = int(np.ceil(bands[0][1] / bin_hz))
    edges = (lowest, *(int(high / bin_hz) + 1 for _, _, high in bands))
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
        window=window.astype(np.float32),
        edges=edges,
        band_scale=2 / (frame * float(np.sum(window**2))),
    )


def _fine_fit(quarter: int, hz: float, rate_hz: float, orders: int) -> SharedFit | None:
    for split in _FINE_SPLITS:
        piece = quarter // split
        if quarter % split == 0 and piece * hz / rate_hz >= _FINE_CYCLES:
            fit = _shared_fit(piece, hz, rate_hz, orders)
            if len(fit.orders) == orders:
                return fit
    return None


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
    worthy = sorted(
        (
            found
            for excerpt in excerpts
            if len(excerpt) * nominal_hz / rate_hz >= 2 * _QUARTER_CYCLES
            for found in (_promise(excerpt, rate_hz, nominal_hz),)
            if found is not None
        ),
        key=lambda found: -found[0],
    )
    most = int(max(_FITTED_S, _FITTED_CYCLES / nominal_hz) * rate_hz)
    for _, start_hz, whole in worthy:
        excerpt = whole[:most]
        orders = orders_below(0.45 * rate_hz, start_hz, 5)
        positions = np.arange(len(excerpt), dtype=float)
        fit = fit_lines(excerpt, positions, rate_hz, (Family(start_hz, orders),))
        power = float(np.sum(np.abs(fit.amplitudes[0][0]) ** 2))
        hz = fit.families[0].hz
        bin_hz = rate_hz / len(excerpt)
        near = abs(hz - nominal_hz) <= _SEARCH * nominal_hz + bin_hz
        if near and power > 0.1 * float(np.sum(fit.variance)):
            return hz
    raise BenchError(
        f"no tone within {100 * _SEARCH:g} % of the nominal {nominal_hz:g} Hz was found.",
        "nominal frequency",
        "Give the frequency the generator was set to.",
    )


def _promise(
    excerpt: Array, rate_hz: float, nominal_hz: float
) -> tuple[float, float, Array] | None:
    """Return (worth, the tone's frequency, the excerpt), or ``None`` where no tone stands out.

    The loudest excerpt is worth most, and of equals the one in which least is left over.
    """
    bin_hz = rate_hz / len(excerpt)
    reach = _SEARCH * nominal_hz + bin_hz
    highest = min(nominal_hz + reach, 0.49 * rate_hz)
    power = line_spectrum(excerpt)
    first = max(1, int(np.floor((nominal_hz - reach) / bin_hz)))
    last = min(len(power) - 2, int(np.ceil(highest / bin_hz)))
    peak = first + int(np.argmax(power[first : last + 1]))
    tone = float(power[max(0, peak - _LINE_BINS) : peak + _LINE_BINS + 1].sum())
    left = float(power[_LINE_BINS:].sum()) - tone
    if tone <= max(_FAINTEST * left, 0.0):
        return None
    return tone / (1 + 10 * max(left, 0.0) / tone), interpolated_bin(power, peak) * bin_hz, excerpt

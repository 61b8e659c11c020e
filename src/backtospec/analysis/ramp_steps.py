"""The figures of one plateau of a ramp, by averaging its quarters with their phases locked."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import Distortion, Total, decibels, total
from backtospec.analysis.quality import CrestLoss, middle, run_edges
from backtospec.analysis.ramp_grid import QUARTERS, Grid
from backtospec.analysis.ramp_health import read_hum
from backtospec.analysis.ramp_levels import SettledRamp
from backtospec.analysis.ramp_quarters import Quarters
from backtospec.analysis.tone import ChannelTone

Array = NDArray[np.float64]
Rows = NDArray[np.int64]

_SPOILED = 6.0
_SURE = 3.0


def read_step(ramp: SettledRamp, channel: int, row: tuple[int, int]) -> ChannelTone:
    """Return the figures of one channel on one plateau.

    Parameters
    ----------
    ramp
        The ramp.
    channel
        Which channel.
    row
        First quarter of the plateau and one past its last; the outermost are left out.
    """
    grid, quarters, setup, name = ramp.grid, ramp.quarters, ramp.setup, ramp.names[channel]
    inner = np.arange(row[0] + 1, row[1] - 1)
    inner = inner[~ramp.spoiled[inner]]
    noise = quarters.noise[inner, channel]
    inner = inner[noise <= _SPOILED * middle(noise)]
    amplitudes = np.abs(quarters.phasor[inner, channel]).astype(np.float64)
    amplitude = float(amplitudes.mean())
    variance = float(quarters.noise[inner, channel].mean(dtype=np.float64))
    samples = len(inner) * grid.quarter
    amplitude_u = math.sqrt(2 * variance / samples)
    level_u = max(amplitude_u, float(amplitudes.std()) / math.sqrt(len(inner)))
    volts = setup.volts(name)
    vrms, power_w = amplitude * volts / math.sqrt(2), setup.power_w(name, amplitude)
    return ChannelTone(
        valid=True,
        frequency_hz=ramp.hz,
        level_dbfs_peak=decibels(amplitude),
        level_dbfs_peak_u=20 / math.log(10) * level_u / amplitude,
        fundamental_vrms=vrms,
        fundamental_vrms_u=vrms * level_u / amplitude,
        power_w=power_w,
        power_w_u=power_w * setup.relative_power_u(level_u / amplitude),
        dc_v=float(quarters.dc[inner, channel].mean(dtype=np.float64)) * volts,
        dc_v_u=math.sqrt(variance / samples) * volts,
        noise_floor_dbfs=10 * math.log10(max(variance, 1e-40)),
        distortion=_distortion(ramp, channel, inner, row, amplitude, amplitude_u),
    )


def clean_samples(ramp: SettledRamp, row: tuple[int, int]) -> tuple[int, int]:
    """Return (first sample, one past the last) of the longest clean stretch of a plateau."""
    starts, ends = run_edges(~ramp.spoiled[row[0] + 1 : row[1] - 1])
    longest = int(np.argmax(ends - starts))
    first = row[0] + 1
    quarter = ramp.grid.quarter
    return (first + int(starts[longest])) * quarter, (first + int(ends[longest])) * quarter


def _distortion(
    ramp: SettledRamp,
    channel: int,
    inner: Rows,
    row: tuple[int, int],
    amplitude: float,
    amplitude_u: float,
) -> Distortion:
    grid, quarters = ramp.grid, ramp.quarters
    lines = np.abs(_mean_harmonics(ramp, channel, inner))
    orders = grid.stated.orders[1:]
    thd = total(lines, amplitude_u, amplitude)
    looked_at, rows = quarters.closely(channel, *row)
    close: Array = rows[np.isin(looked_at, inner)].astype(np.float64)
    every = _every(grid, len(inner), close[:, 0], lines, amplitude, amplitude_u)
    singles = _singles(orders, lines, amplitude, amplitude_u)
    thdn = _noise_and_distortion(
        grid, quarters, channel, row, amplitude, lines**2, np.asarray(orders * ramp.hz)
    )
    humming = read_hum(grid, quarters, channel, row, ramp.setup.mains_hz)
    hum, hum_u = (humming.amplitudes, humming.amplitude_u) if humming else ({}, 0.0)
    loss = close[:, 1:].mean(axis=0) if len(close) else np.zeros(2)
    return Distortion(
        thd_percent=None if thd.ratio is None else 100 * thd.ratio,
        thd_percent_u=None if thd.ratio_u is None else 100 * thd.ratio_u,
        thd_percent_at_most=None if thd.at_most is None else 100 * thd.at_most,
        thd_harmonics=tuple(int(order) for order in orders),
        thd_all_percent=None if every.ratio is None else 100 * every.ratio,
        thd_all_percent_at_most=None if every.at_most is None else 100 * every.at_most,
        harmonics_db=singles.db,
        harmonics_db_u=singles.db_u,
        harmonics_db_at_most=singles.db_at_most,
        thdn_percent={band: 100 * ratio for band, ratio in thdn.items()},
        thdn_percent_re_total={
            band: 100 * ratio / math.sqrt(1 + ratio**2) for band, ratio in thdn.items()
        },
        snr_db={},
        hum_db={key: decibels(line / amplitude) for key, line in hum.items()},
        hum_db_u={key: 20 / math.log(10) * hum_u / line for key, line in hum.items()},
        spurs_db={},
        crest=CrestLoss(float(loss[0]), float(loss[1])),
    )


def _mean_harmonics(ramp: SettledRamp, channel: int, inner: Rows) -> NDArray[np.complex128]:
    """Return the harmonics of one channel over the inner quarters of a plateau."""
    first = ramp.harmonics_at
    a, b = np.searchsorted(first, inner[0], side="right") - 1, np.searchsorted(first, inner[-1] + 1)
    spans = ramp.quarters.spans[a:b]
    inside = np.searchsorted(inner, first[a:b] + spans) - np.searchsorted(inner, first[a:b])
    rows = ramp.quarters.harmonics[a:b, channel].astype(np.complex128)
    return np.asarray(inside @ rows / np.sum(inside))


@dataclass(frozen=True, slots=True)
class _Singles:
    """Each harmonic in decibels by its order: a value with its uncertainty, or a bound."""

    db: dict[str, float]
    db_u: dict[str, float]
    db_at_most: dict[str, float]


def _singles(
    orders: NDArray[np.int64], lines: Array, amplitude: float, amplitude_u: float
) -> _Singles:
    """Return every harmonic by itself, by the rule of :func:`total`.

    Written out for single numbers: a long ramp has thousands of plateaus.
    """
    found = _Singles({}, {}, {})
    bias = 2 * amplitude_u**2
    for order, line in zip(orders.tolist(), lines.tolist(), strict=True):
        square = line**2 - bias
        if square > _SURE * bias:
            doubt = math.sqrt(4 * square * amplitude_u**2 + bias**2)
            found.db[str(order)] = decibels(math.sqrt(square) / amplitude)
            found.db_u[str(order)] = 10 / math.log(10) * doubt / square
        else:
            bound = max(square, 0.0) + _SURE * bias
            found.db_at_most[str(order)] = decibels(math.sqrt(bound) / amplitude)
    return found


def _every(
    grid: Grid,
    inner: int,
    high: Array,
    lines: Array,
    amplitude: float,
    amplitude_u: float,
) -> Total:
    """Return THD of every harmonic: the high ones only count where they were looked at."""
    seen = high[np.isfinite(high)]
    extra = 0.0
    if len(seen):
        count = len(grid.every.orders) - len(grid.stated.orders)
        extra = max(float(seen.mean()) - 2 * inner * amplitude_u**2 * count, 0.0)
    return total(np.append(lines, math.sqrt(extra)), amplitude_u, amplitude)


def _noise_and_distortion(
    grid: Grid,
    quarters: Quarters,
    channel: int,
    row: tuple[int, int],
    amplitude: float,
    squares: Array,
    lines_hz: Array,
) -> dict[str, float]:
    """Return THD+N as a ratio by band, from the whole frames inside a plateau."""
    first, last = -(-(row[0] + 1) // QUARTERS), (row[1] - 1) // QUARTERS
    bands = quarters.bands[first:last, channel].astype(np.float64)
    bands = bands[np.isfinite(bands[:, 0])]
    if not len(bands):
        return {}
    left, mean = middle(bands), bands.mean(axis=0)
    spoiled = mean > _SPOILED * left
    power = np.where(spoiled, left, mean)
    found = {}
    for index, (name, low, high) in enumerate(grid.bands):
        inside = (lines_hz >= low) & (lines_hz <= high)
        everything = 2 * float(power[index]) + float(squares[inside].sum())
        found[name] = math.sqrt(everything) / amplitude
    return found

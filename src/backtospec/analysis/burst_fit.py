"""The tone of a burst recording, fitted: its frequency between the bursts, each burst alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import total
from backtospec.analysis.line_fit import Family, LineFit, fit_lines, line_spectrum, strongest_line
from backtospec.analysis.quality import crest_loss, is_clipping
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone_fit import orders_below
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_SEARCH = 0.03
_HEARD_OVER_DOUBT = 6.0
_HEARD_IN_SPECTRUM = 1e2
_STATED_ORDERS = 10
_MOST_ORDERS = 40
_DB = 20 / math.log(10)
#: Left out at both ends of a burst: a cycle, in which filters and couplings still ring.
_GUARD_CYCLES = 1.0
_FITTED_CYCLES = 6


@dataclass(frozen=True, slots=True)
class BurstChannel:
    """One channel of one burst.

    Parameters
    ----------
    level_dbfs_peak, fundamental_vrms, power_w
        Of the fundamental, mean over the burst; a full-scale sine reads 0 dB.
    thd_percent
        H2…H10 below half the rate; ``None`` when noise hides it, and then
        ``thd_percent_at_most`` holds.
    thd_all_percent
        Every harmonic to the band edge, bounded alike: this one decides the headroom.
    clipping
        Whether the shape of its cycle says that crests are cut off.

    Figures ending in ``_u`` are standard uncertainties in the same unit.
    """

    level_dbfs_peak: float
    level_dbfs_peak_u: float
    fundamental_vrms: float
    fundamental_vrms_u: float
    power_w: float
    power_w_u: float
    thd_percent: float | None
    thd_percent_u: float | None
    thd_percent_at_most: float | None
    thd_all_percent: float | None
    thd_all_percent_at_most: float | None
    clipping: bool

    def stays_within(self, limit_percent: float) -> bool:
        """Return whether THD, every harmonic, is known to be at most this."""
        found = self.thd_all_percent
        bound = self.thd_all_percent_at_most if found is None else found
        return bound is not None and bound <= limit_percent

    def goes_beyond(self, limit_percent: float) -> bool:
        """Return whether THD, every harmonic, is known to be more than this."""
        return self.thd_all_percent is not None and self.thd_all_percent > limit_percent


def find_tone(samples: Array, rate_hz: float, nominal_hz: float) -> float:
    """Return the tone to a fraction of a percent, refusing a recording without it."""
    low, high = nominal_hz * (1 - _SEARCH), min(nominal_hz * (1 + _SEARCH), 0.49 * rate_hz)
    power = line_spectrum(samples)
    bin_hz = rate_hz / len(samples)
    near = power[int(low / bin_hz) : int(high / bin_hz) + 2]
    strongest = 1 + int(np.argmax(power[1:]))
    loud = float(near.max(initial=0.0))
    if loud < 0.1 * power[strongest] or loud < _HEARD_IN_SPECTRUM * float(np.median(power)):
        raise BenchError(
            f"the strongest tone is at {strongest * bin_hz:.5g} Hz, not near the nominal "
            f"{nominal_hz:g} Hz (±{100 * _SEARCH:g} %).",
            "nominal frequency",
            "Give the frequency the generator was set to.",
        )
    return float(np.clip(strongest_line(samples, rate_hz, low, high), low, high))


def fit_frequency(
    samples: Array, rate_hz: float, hz: float, places: tuple[tuple[int, int], ...]
) -> tuple[float, float]:
    """Return the frequency and its standard uncertainty from the quiet stretches.

    Each stretch has a phase of its own: the generator need not keep it through a burst.
    """
    cycle = rate_hz / hz
    edges = [0, *(edge for place in places for edge in place), len(samples)]
    quiet = list(zip(edges[::2], edges[1::2], strict=True))
    for stretches in (quiet, list(places)):
        found = []
        for a, b in stretches:
            first, last = math.ceil(a + 2 * cycle), math.floor(b - 2 * cycle)
            if last - first < _FITTED_CYCLES * cycle:
                continue
            part = samples[first:last]
            at = strongest_line(part, rate_hz, hz * (1 - _SEARCH), hz * (1 + _SEARCH))
            start = at if abs(at - hz) < rate_hz / len(part) else hz
            family = Family(start, orders_below(0.45 * rate_hz, hz, 5))
            fit = fit_lines(part, np.arange(first, last, dtype=float), rate_hz, (family,))
            if not all(is_hidden(fit, column) for column in range(samples.shape[1])):
                found.append((fit.families[0].hz, max(fit.frequency_u[0], 1e-12)))
        if found:
            each, each_u = np.array(found).T
            weight = each_u**-2.0
            return float(weight @ each / weight.sum()), float(weight.sum() ** -0.5)
    return hz, rate_hz / max(b - a for a, b in places)


def fit_burst(samples: Array, rate_hz: float, hz: float, place: tuple[int, int]) -> LineFit:
    """Return the fit of one burst, its first and last cycle left out, the level free to sag."""
    a, b = place
    guard = round(_GUARD_CYCLES * rate_hz / hz)
    first, last = (a + guard if a else a), (b - guard if b < len(samples) else b)
    most = max(1, min(_MOST_ORDERS, (last - first) // 12))
    orders = orders_below(0.499 * rate_hz, hz, most)
    family = Family(hz, orders, free=False, level_terms=1)
    return fit_lines(samples[first:last], np.arange(first, last, dtype=float), rate_hz, (family,))


def is_hidden(fit: LineFit, column: int) -> bool:
    amplitude = float(abs(fit.amplitudes[0][0, column]))
    return amplitude < _HEARD_OVER_DOUBT * float(fit.amplitude_u[column])


def read_burst(fit: LineFit, column: int, name: str, setup: CaptureSetup) -> BurstChannel:
    """Return the figures of one channel of a fitted burst."""
    lines = np.abs(fit.amplitudes[0][:, column])
    amplitude, amplitude_u = float(lines[0]), float(fit.amplitude_u[column])
    orders = np.array(fit.families[0].orders)
    thd = total(lines[1:][orders[1:] <= _STATED_ORDERS], amplitude_u, amplitude)
    thd_all = total(lines[1:], amplitude_u, amplitude)
    vrms = setup.volts(name) / math.sqrt(2)
    power_w = setup.power_w(name, amplitude)
    relative_u = amplitude_u / amplitude
    return BurstChannel(
        level_dbfs_peak=20 * math.log10(amplitude),
        level_dbfs_peak_u=_DB * relative_u,
        fundamental_vrms=amplitude * vrms,
        fundamental_vrms_u=amplitude_u * vrms,
        power_w=power_w,
        power_w_u=power_w * setup.relative_power_u(relative_u),
        thd_percent=_percent(thd.ratio),
        thd_percent_u=_percent(thd.ratio_u),
        thd_percent_at_most=_percent(thd.at_most),
        thd_all_percent=_percent(thd_all.ratio),
        thd_all_percent_at_most=_percent(thd_all.at_most),
        clipping=is_clipping(
            thd_all.ratio or 0.0, crest_loss(fit.amplitudes[0][:, column], orders)
        ),
    )


def _percent(ratio: float | None) -> float | None:
    return None if ratio is None else 100 * ratio

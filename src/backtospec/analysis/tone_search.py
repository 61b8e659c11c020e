"""Where a recorded tone is: its frequency, in each channel, and what a transient spoils."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import Family, fit_lines, line_spectrum, strongest_line
from backtospec.analysis.stretches import thump_end
from backtospec.analysis.tone_fit import FittedTone, orders_below
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_SEARCH = 0.03
_SHORTEST_CYCLES = 2
_MOST_THUMP_STEPS = 8
_HEARD_IN_SPECTRUM = 1e3
#: A tone a tenth or less of the other channel's is not one that was played into this one.
UNDRIVEN_RATIO = 0.1


def find_tone(samples: Array, rate_hz: float, nominal_hz: float) -> float:
    """Return the tone's frequency to a fraction of a bin, refusing a recording without it."""
    if len(samples) * nominal_hz / rate_hz < _SHORTEST_CYCLES:
        raise BenchError(
            f"{len(samples) / rate_hz:.4g} s hold less than {_SHORTEST_CYCLES} cycles of "
            f"{nominal_hz:g} Hz.",
            "recording",
            "Record for longer.",
        )
    bin_hz = rate_hz / len(samples)
    low, high = _neighbourhood(samples, rate_hz, nominal_hz)
    hz = strongest_line(samples, rate_hz, low, high)
    power = line_spectrum(samples)
    bins = np.arange(len(power)) * bin_hz
    near = float(power[(bins >= low) & (bins <= high)].max(initial=0.0))
    strongest = 1 + int(np.argmax(power[1:]))
    if near < 0.1 * power[strongest] or not low <= hz <= high:
        raise BenchError(
            f"the strongest tone is at {strongest * bin_hz:.5g} Hz, not near the nominal "
            f"{nominal_hz:g} Hz (±{100 * _SEARCH:g} %).",
            "nominal frequency",
            "Give the frequency the generator was set to.",
        )
    return hz


def driven_channels(samples: Array, rate_hz: float, hz: float) -> tuple[bool, ...]:
    """Return for each channel whether its tone comes within 20 dB of the loudest.

    Parameters
    ----------
    samples
        Shape (samples, channels).
    hz
        The tone.
    """
    low, high = _neighbourhood(samples, rate_hz, hz)
    bin_hz = rate_hz / len(samples)
    first, last = int(low / bin_hz), int(high / bin_hz) + 2
    peaks = [
        float(line_spectrum(samples[:, [column]])[first:last].max())
        for column in range(samples.shape[1])
    ]
    return tuple(peak >= UNDRIVEN_RATIO**2 * max(peaks) for peak in peaks)


def _neighbourhood(samples: Array, rate_hz: float, hz: float) -> tuple[float, float]:
    """Return how low and how high a tone of this nominal frequency may lie."""
    bin_hz = rate_hz / len(samples)
    return hz * (1 - _SEARCH) - bin_hz, min(hz * (1 + _SEARCH) + bin_hz, 0.49 * rate_hz)


def own_frequencies(samples: Array, rate_hz: float, hz: float) -> tuple[float, ...] | None:
    """Return each channel's frequency where they lie too far apart for one fit, else ``None``."""
    bin_hz = rate_hz / len(samples)
    low, high = _neighbourhood(samples, rate_hz, hz)
    found = []
    for column in range(samples.shape[1]):
        power = line_spectrum(samples[:, [column]])
        near = power[int(low / bin_hz) + 1 : int(high / bin_hz) + 1]
        if not len(near) or float(near.max()) < _HEARD_IN_SPECTRUM * float(np.median(power)):
            return None
        found.append(strongest_line(samples[:, [column]], rate_hz, low, high))
    return tuple(found) if max(found) - min(found) > 0.25 * bin_hz else None


def spoiled_by_thump(samples: Array, positions: Array, rate_hz: float, hz: float) -> int:
    """Return how many samples at the start a transient spoils."""
    most = max(1, len(positions) // 8 - 1)
    tone = Family(hz, orders_below(0.45 * rate_hz, hz, min(10, most)))
    spoiled = 0
    for _ in range(_MOST_THUMP_STEPS):
        fit = fit_lines(samples[spoiled:], positions[spoiled:], rate_hz, (tone,))
        more = thump_end(fit, rate_hz)
        if not more:
            break
        spoiled += more
    return spoiled


def frequencies_differ(fitted: FittedTone) -> bool:
    """Whether the channels hold tones of different frequency, beyond doubt."""
    shift, doubt = fitted.fit.shift_hz[0], fitted.fit.shift_u[0]
    if len(shift) < 2:
        return False
    apart = abs(float(shift[1] - shift[0]))
    return apart > 8 * float(np.hypot(*doubt)) and apart > 1e-7 * fitted.hz

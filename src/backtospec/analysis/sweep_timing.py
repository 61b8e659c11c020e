"""Where a sweep lies in a recording, how fast the recorder's clock ran, and whether it is whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import find_mains
from backtospec.analysis.line_fit import Family, fit_lines, strongest_line
from backtospec.analysis.quality import overload_fraction, run_edges
from backtospec.analysis.sweep_signal import Stimulus, sweep_wave
from backtospec.analysis.sweep_spectrum import SweepSpectrum, impulse_delay
from backtospec.analysis.tone_fit import FittedTone, fit_tone
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_CLEAR_PEAK = 10.0
_CLEAR_IN_OCTAVE = 5.0
_MOST_PPM = 1000.0
_PILOT_SETTLES_S = 0.08
_PILOT_ENDS_S = 0.015
_SURE_PILOT = 20.0
_RINGS_S = 0.15
_GAP_OF_ZEROS_S = 0.001
_JUMP_S = 5e-5
_JUMPS_FROM_HZ = 40.0


@dataclass(frozen=True, slots=True)
class Timing:
    """Where the parts of a recorded sweep lie, in samples from the start of the file.

    Parameters
    ----------
    pilot_start, pilot_end, sweep_start, sweep_end
        Places in the file, fractional.
    frames, rate_hz
        Length of the file, and its sampling rate.
    """

    pilot_start: float
    pilot_end: float
    sweep_start: float
    sweep_end: float
    frames: int
    rate_hz: float

    def quiet(self) -> tuple[slice, ...]:
        """Return the stretches in which nothing is played, the longest first."""
        rings = _RINGS_S * self.rate_hz
        early = 0.01 * self.rate_hz
        pairs = (
            (0.0, self.pilot_start - early),
            ((self.pilot_end + self.sweep_start) / 2, self.sweep_start - early),
            (self.sweep_end + rings, float(self.frames)),
        )
        found = [slice(int(a), int(b)) for a, b in pairs if b - a > 0.02 * self.rate_hz]
        return tuple(sorted(found, key=lambda s: s.start - s.stop))

    def stretch(self) -> slice:
        """Return the stretch to be divided by the sweep: half of the gap, sweep, and its tail."""
        lead = min((self.sweep_start - self.pilot_end) / 2, 0.2 * self.rate_hz)
        tail = 1.0 * self.rate_hz
        return slice(
            max(0, int(self.sweep_start - lead)), min(self.frames, int(self.sweep_end + tail))
        )


def find_sweep(samples: Array, rate_hz: float, stimulus: Stimulus) -> Timing:
    """Return where pilot and sweep lie, to some milliseconds, by the nominal clock.

    Parameters
    ----------
    samples
        Shape (frames, channels), only channels that sound.

    Raises
    ------
    BenchError
        Where no such sweep is found, or the recording starts or ends within it.
    """
    from scipy.fft import next_fast_len

    sweep = sweep_wave(stimulus, np.arange(int(stimulus.Td_s * rate_hz) + 1) / rate_hz)
    frames = len(samples)
    length = 2 * int(next_fast_len((frames + len(sweep)) // 2 + 1, real=True))
    played = np.fft.rfft(sweep, length)
    bins_hz = np.fft.rfftfreq(length, 1 / rate_hz)
    swept = (bins_hz > 2 * stimulus.f1) & (bins_hz < stimulus.f2)
    best_place, best_clear = 0.0, 0.0
    for column in range(samples.shape[1]):
        phases = np.fft.rfft(samples[:, column], length) * np.conj(played) * swept
        place, clear = impulse_delay(phases, length, 0)
        if clear > best_clear:
            best_place, best_clear = place, clear
    if best_clear < _CLEAR_PEAK:
        raise BenchError(
            f"no sweep from {stimulus.f1:g} to {stimulus.f2:g} Hz in {stimulus.Td_s:.4g} s is "
            "heard in it.",
            "recording",
            "Name the stimulus file of the sweep that was played.",
        )
    since_pilot = (stimulus.sweep_start_s - stimulus.pilot_start_s) * rate_hz
    pilot_start = best_place - since_pilot
    timing = Timing(
        pilot_start,
        pilot_start + stimulus.pilot_len_s * rate_hz,
        best_place,
        best_place + stimulus.Td_s * rate_hz,
        frames,
        rate_hz,
    )
    _refuse_cut(timing, stimulus)
    return timing


def _refuse_cut(timing: Timing, stimulus: Stimulus) -> None:
    slack = 0.005 * timing.rate_hz
    if timing.pilot_start < -slack:
        late_s = -timing.pilot_start / timing.rate_hz
        raise BenchError(
            f"the recording starts {late_s:.2f} s after the {stimulus.pilot_hz:g} Hz pilot did.",
            "recording",
            "Start the recorder before the stimulus.",
        )
    if timing.sweep_end > timing.frames + slack:
        short_s = (timing.sweep_end - timing.frames) / timing.rate_hz
        raise BenchError(
            f"the recording stops {short_s:.2f} s before the sweep does.",
            "recording",
            "Let the recorder run until a second after the sweep.",
        )


def measure_clock(
    samples: Array,
    timing: Timing,
    stimulus: Stimulus,
    mains_hz: float | None,
) -> tuple[float, float]:
    """Return frequency in the file over frequency as played, and its standard uncertainty.

    Raises
    ------
    BenchError
        Where the pilot is missing, or further than 1000 ppm from its frequency.
    """
    rate_hz = timing.rate_hz
    settles = min(_PILOT_SETTLES_S, 0.25 * stimulus.pilot_len_s)
    first = round(max(timing.pilot_start, 0.0) + settles * rate_hz)
    last = round(timing.pilot_end - _PILOT_ENDS_S * rate_hz)
    heard = samples[first:last]
    reach_hz = 2e-3 * stimulus.pilot_hz + rate_hz / len(heard)
    places = np.arange(first, last, dtype=np.float64)
    found: list[FittedTone] = []
    for column in range(samples.shape[1]):
        one = heard[:, [column]]
        start_hz = strongest_line(
            one, rate_hz, stimulus.pilot_hz - reach_hz, stimulus.pilot_hz + reach_hz
        )
        tone = fit_tone(one, places, rate_hz, start_hz, mains_hz)
        amplitude = float(abs(tone.harmonics[0, 0]))
        loud = amplitude**2 / 2 > float(tone.variance[0])
        if loud and amplitude > _SURE_PILOT * float(tone.amplitude_u[0]):
            found.append(tone)
    if not found:
        raise BenchError(
            f"the {stimulus.pilot_hz:g} Hz pilot is not heard "
            f"{stimulus.sweep_start_s - stimulus.pilot_start_s:g} s before the sweep.",
            "recording",
            "Record pilot and sweep in one piece.",
        )
    weight = np.array([1 / max(tone.hz_u, 1e-12) ** 2 for tone in found])
    hz = float(np.sum(weight * [tone.hz for tone in found]) / np.sum(weight))
    hz_u = float(1 / np.sqrt(np.sum(weight)))
    ppm = (hz / stimulus.pilot_hz - 1) * 1e6
    if abs(ppm) > _MOST_PPM:
        raise BenchError(
            f"the pilot is at {hz:.3f} Hz, {ppm:+.0f} ppm from {stimulus.pilot_hz:g} Hz; clocks "
            f"differ by less than ±{_MOST_PPM:g} ppm.",
            "pilot_hz",
            "Name the stimulus file of the sweep that was played.",
        )
    return hz / stimulus.pilot_hz, hz_u / stimulus.pilot_hz


def hum_estimate(
    samples: Array, timing: Timing, stimulus: Stimulus, mains_hz: float | None
) -> tuple[Array, float | None]:
    """Return the mains hum at every sample, learnt where nothing is played, and its frequency.

    Parameters
    ----------
    samples
        Shape (frames, channels).

    Notes
    -----
    Assumes that the hum keeps its level and phase through the sweep. A harmonic whose phase
    cannot be foretold to a twentieth of a cycle over the recording is left alone.
    """
    nothing = np.zeros_like(samples)
    stretches = timing.quiet()
    if not stretches:
        return nothing, None
    rate_hz, longest = timing.rate_hz, samples[stretches[0]]
    mains = find_mains(longest, rate_hz, stimulus.pilot_hz, mains_hz)
    if mains is None:
        return nothing, None
    family = Family(mains.hz, mains.orders)
    fit = fit_lines(longest, _positions(stretches[:1]), rate_hz, (family,))
    span_s = timing.frames / rate_hz
    orders = mains.orders
    if fit.frequency_u[0] * span_s * max(orders) < 0.2 and len(stretches) > 1:
        in_order = tuple(sorted(stretches, key=lambda s: s.start))
        places = _positions(in_order)
        heard = np.concatenate([samples[s] for s in in_order])
        fit = fit_lines(heard, places, rate_hz, (Family(fit.families[0].hz, orders),))
    known = [k for k in orders if k * fit.frequency_u[0] * span_s < 0.05]
    turn = 2j * np.pi * fit.families[0].hz / rate_hz * (np.arange(len(samples)) - fit.centre)
    hum = nothing
    for place, order in enumerate(orders):
        if order in known:
            hum += np.real(np.exp(order * turn)[:, None] * fit.amplitudes[0][place])
    return hum, (fit.families[0].hz if known else None)


def _positions(stretches: tuple[slice, ...]) -> Array:
    return np.concatenate([np.arange(s.start, s.stop, dtype=np.float64) for s in stretches])


def overload_share(samples: Array, timing: Timing, stimulus: Stimulus, clock: float) -> float:
    """Return the share of a channel's samples on a converter's rail, octave by octave.

    Parameters
    ----------
    samples
        One channel of the whole file, shape (frames,).
    """
    rate_hz = timing.rate_hz
    pilot = samples[round(max(timing.pilot_start, 0.0)) : round(timing.pilot_end)]
    share = overload_fraction(pilot, rate_hz / stimulus.pilot_hz)
    low_hz = stimulus.f1
    while low_hz < stimulus.f2:
        high_hz = min(2 * low_hz, stimulus.f2)
        a, b = (
            round(timing.sweep_start + stimulus.time_of(hz) * rate_hz / clock)
            for hz in (low_hz, high_hz)
        )
        share = max(share, overload_fraction(samples[max(a, 0) : b], rate_hz / low_hz))
        low_hz = high_hz
    return share


def gaps_of_zeros(samples: Array, timing: Timing) -> tuple[float, ...]:
    """Return the starts in seconds of stretches of zeros, 1 ms or longer, within the sweep.

    Parameters
    ----------
    samples
        One channel of the whole file, shape (frames,).
    """
    first, last = max(0, round(timing.sweep_start)), round(timing.sweep_end)
    starts, ends = run_edges(samples[first:last] == 0)
    shortest = _GAP_OF_ZEROS_S * timing.rate_hz
    return tuple(
        float(first + a) / timing.rate_hz
        for a, b in zip(starts, ends, strict=True)
        if b - a >= shortest
    )


def time_jumps(spectrum: SweepSpectrum, timing: Timing) -> tuple[tuple[float, float], ...]:
    """Return (where in s, by how much in s) the sweep jumps in time between its octaves.

    Notes
    -----
    Lost samples move all that follows, so the upper octaves' impulse response comes early. The
    delay of an amplifier varies too, by less than a quarter of a cycle of the lower octave.
    Smaller jumps show in the uncertainty alone.
    """
    stimulus = spectrum.stimulus
    length = 2 * (len(spectrum.quotient) - 1)
    rate_hz = length * spectrum.bin_hz
    found = []
    before_s: float | None = None
    low_hz = max(2 * stimulus.f1, _JUMPS_FROM_HZ)
    while 2 * low_hz < stimulus.f2:
        band = np.zeros(len(spectrum.quotient), dtype=np.complex128)
        inside = slice(int(low_hz / spectrum.bin_hz), int(2 * low_hz / spectrum.bin_hz))
        band[inside] = spectrum.quotient[inside]
        place, clear = impulse_delay(band, length, 0)
        low_hz *= 2
        if clear < _CLEAR_IN_OCTAVE:
            continue
        delay_s = place / rate_hz
        if before_s is not None and abs(delay_s - before_s) > _JUMP_S + 1.0 / low_hz:
            at_s = float(timing.sweep_start / timing.rate_hz + stimulus.time_of(low_hz / 2))
            found.append((at_s, delay_s - before_s))
        before_s = delay_s
    return tuple(found)

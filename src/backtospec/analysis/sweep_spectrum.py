"""A recorded sweep divided by the sweep that was played, and read at any frequency and order."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.sweep_signal import Stimulus, sweep_wave

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Half of the band over which a reading is smoothed, relative to its frequency.
_SMOOTHED = 0.06
#: That band reaches at least this many reciprocals of the time to the neighbouring order: of the
#: fundamental, which is the strongest; of a harmonic, which must stand clear of the fundamental.
_APART = 3.0
_HARMONICS_APART = 5.0
_DEGREE = 2
#: The smoothing is judged by repeating it over a band this much narrower.
_NARROWER = 1.5
#: What it leaves in any case, relative, seen against closed forms.
_METHOD_U = 1e-5
#: What it leaves of a harmonic, relative, times the square of the band over the frequency.
_HARMONIC_METHOD_U = 0.03
#: The least of the fundamental that leaks into a harmonic, relative: rounding.
_LEAK_LEFT = 1e-10
_FEWEST_BINS = 8
#: The delay is taken from frequencies above this multiple of the start of the sweep.
_DELAY_FROM = 4.0


@dataclass(frozen=True, slots=True)
class Line:
    """A complex transfer, and the standard uncertainty of its modulus and of its real part."""

    value: complex
    u: float

    @property
    def modulus(self) -> float:
        """Amplitude of the output line over the amplitude of the sweep as played."""
        return abs(self.value)

    @property
    def db_u(self) -> float:
        """Standard uncertainty of the modulus in decibels."""
        return 20 / math.log(10) * self.u / max(self.modulus, 1e-300)


@dataclass(frozen=True, slots=True)
class SweepSpectrum:
    """One channel's spectrum over the played sweep's, by bin.

    Parameters
    ----------
    stimulus
        What was played.
    clock
        Frequency in the file over frequency as played.
    bin_hz
        Distance of the bins.
    quotient
        Spectrum recorded over spectrum played, shape (bins,); the drive counts as 1, the delay
        is removed; 0 outside the swept band.
    noise
        Variance of each bin of the quotient, shape (bins,).
    delay_s
        From the expected start of the sweep to the peak of the impulse response.
    """

    stimulus: Stimulus
    clock: float
    bin_hz: float
    quotient: Complex
    noise: Array
    delay_s: float

    def reach_hz(self, order: int = 1) -> tuple[float, float]:
        """Return the lowest and highest input frequency at which an order can be read.

        The lowest keeps half of the smoothing band inside the sweep, for a harmonic all of it:
        cut off, the band would let the fundamental through.
        """
        inside = 0.5 if order == 1 else 1.0
        low = order * self.stimulus.f1 + inside * self._fewest_hz(order)
        return low / order, self.stimulus.f2 / order / 1.02

    def line(self, hz: float, order: int = 1) -> Line:
        """Return the output line at ``order`` times a frequency, over the sweep as played.

        Parameters
        ----------
        hz
            Input frequency by the generator's clock, within :meth:`reach_hz`.
        order
            1 for the fundamental, k for the k-th harmonic.

        Notes
        -----
        The quotient is freed of the order's own advance L·ln k, so that it varies slowly, and
        fitted by a parabola over a few hertz or ±6 %, weighted with the fourth power of a
        cosine; the other orders turn quickly there and cancel. The uncertainty holds the noise
        and how far a narrower band reads differently: a resonance too sharp for the sweep, or
        samples lost at that frequency, show in it.
        """
        half_hz = self._half_band(order * hz * self.clock, order)
        value, noise_u, leak = self._read(hz, order, half_hz)
        if order > 1:
            width = half_hz / (order * hz * self.clock)
            return Line(
                value, math.hypot(noise_u, leak, _HARMONIC_METHOD_U * width**2 * abs(value))
            )
        narrower, narrower_u, _ = self._read(hz, order, half_hz / _NARROWER)
        unlike = abs(narrower - value) ** 2 - 2 * narrower_u**2
        method_u = max(math.sqrt(max(unlike, 0.0)), _METHOD_U * abs(value))
        return Line(value, math.hypot(noise_u, method_u))

    def _half_band(self, there_hz: float, order: int) -> float:
        """Return half of the band over which a reading at an output frequency is smoothed."""
        below = there_hz - order * self.stimulus.f1 * self.clock
        above = self.stimulus.f2 * self.clock - there_hz
        fewest = max(self._fewest_hz(order), _FEWEST_BINS * self.bin_hz)
        wide = max(_SMOOTHED * there_hz, fewest)
        return min(max(min(wide, below, above), fewest), max(below, above))

    def _read(self, hz: float, order: int, half_hz: float) -> tuple[complex, float, float]:
        """Return the value, its uncertainty from noise, and what leaks of the fundamental."""
        there_hz = order * hz * self.clock
        low = max(there_hz - half_hz, order * self.stimulus.f1 * self.clock)
        high = min(there_hz + half_hz, self.stimulus.f2 * self.clock)
        bins = np.arange(math.ceil(low / self.bin_hz), math.floor(high / self.bin_hz) + 1)
        away = np.asarray((bins * self.bin_hz - there_hz) / half_hz, dtype=np.float64)
        share = _reading_weights(away)
        if order > 1:
            advance_s = self.stimulus.L_s / self.clock * math.log(order)
            turned = share * np.exp(-2j * np.pi * bins * self.bin_hz * advance_s)
            leak = abs(np.sum(turned)) + _LEAK_LEFT
        else:
            turned, leak = share, 0.0
        here = self.quotient[bins]
        noise_u = math.sqrt(float(np.sum(share**2 * self.noise[bins])) / 2)
        return complex(np.sum(turned * here)), noise_u, float(leak * np.mean(np.abs(here)))

    def _fewest_hz(self, order: int) -> float:
        """Return half of the narrowest band in which an order's neighbours cancel."""
        apart_s = self.stimulus.L_s / self.clock * math.log((order + 1) / order)
        return (_APART if order == 1 else _HARMONICS_APART) / apart_s


def _reading_weights(away: Array) -> Array:
    """Return what each bin contributes to the value of a local parabola at 0.

    Parameters
    ----------
    away
        Distance of each bin over half of the band, −1…1.
    """
    weight = np.cos(np.pi / 2 * away) ** 4
    powers = away ** np.arange(_DEGREE + 1)[:, None]
    gram = (powers * weight) @ powers.T
    first = np.zeros(_DEGREE + 1)
    first[0] = 1.0
    return np.asarray((np.linalg.solve(gram, first) @ powers) * weight)


def divide_by_sweep(
    samples: Array,
    stimulus: Stimulus,
    *,
    start: int,
    clock: float,
    rate_hz: float,
    quiet: Array,
) -> tuple[SweepSpectrum, ...]:
    """Return each channel's spectrum over that of the sweep, re-synthesised at the true clock.

    Parameters
    ----------
    samples
        The stretch that holds the sweep and the tail of its response, shape (samples, channels).
    stimulus
        What was played.
    start
        Expected start of the sweep, in samples from the start of the stretch.
    clock
        Frequency in the file over frequency as played.
    rate_hz
        Sampling rate.
    quiet
        Samples without any signal, shape (samples, channels), from which the noise is taken; it
        may be empty, then no uncertainty is known and 0 is stated.

    Notes
    -----
    A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine
    technique", 108th AES Convention (2000), from memory; the division is exact, so the fades
    and the ripple at the ends of the sweep do not matter.
    """
    from scipy.fft import next_fast_len

    length = 2 * int(next_fast_len(len(samples) // 2 + 1, real=True))
    time_s = (np.arange(len(samples), dtype=np.float64) - start) * (clock / rate_hz)
    played = np.fft.rfft(stimulus.drive_fs * sweep_wave(stimulus, time_s), length)
    bins_hz = np.asarray(np.fft.rfftfreq(length, 1 / rate_hz), dtype=np.float64)
    swept = (bins_hz >= stimulus.f1 * clock) & (bins_hz <= stimulus.f2 * clock)
    power = np.where(swept, np.abs(played) ** 2, np.inf)
    spectra = []
    for column in range(samples.shape[1]):
        recorded = np.fft.rfft(samples[:, column], length)
        quotient = recorded * np.conj(played) / power
        noise = noise_density(quiet[:, column], bins_hz / rate_hz) * len(samples) / power
        spectrum = SweepSpectrum(stimulus, clock, rate_hz / length, quotient, noise, 0.0)
        spectra.append(_without_delay(spectrum, length, rate_hz))
    return tuple(spectra)


def noise_density(quiet: Array, cycles: Array) -> Array:
    """Return the variance of noise per sample by frequency; equal to σ² for white noise.

    Parameters
    ----------
    quiet
        Noise alone, shape (samples,).
    cycles
        Frequencies in cycles per sample, ascending, 0…0.5.

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal(20_000)
    >>> bool(abs(noise_density(noise, np.array([0.25]))[0] - 1) < 0.1)
    True
    """
    count = len(quiet)
    if count < 64:
        return np.zeros_like(cycles)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(count) / count)
    power = np.abs(np.fft.rfft((quiet - quiet.mean()) * window)) ** 2 / np.sum(window**2)
    total = np.concatenate(([0.0], np.cumsum(power)))
    place = np.geomspace(1.0, len(power) - 1.0, 120)
    low = np.maximum(np.minimum(0.85 * place, place - 3), 0).astype(int)
    high = np.minimum(np.maximum(1.15 * place, place + 4), len(power)).astype(int)
    mean = (total[high] - total[low]) / (high - low)
    return np.asarray(np.interp(cycles * count, place, mean))


def _without_delay(spectrum: SweepSpectrum, length: int, rate_hz: float) -> SweepSpectrum:
    """Return the spectrum with its impulse response moved to time 0."""
    delay_s = impulse_delay(
        spectrum.quotient, length, _DELAY_FROM * spectrum.stimulus.f1 * length / rate_hz
    )[0]
    delay_s /= rate_hz
    turn = np.exp(2j * np.pi * spectrum.bin_hz * delay_s * np.arange(len(spectrum.quotient)))
    return replace(spectrum, quotient=spectrum.quotient * turn, delay_s=delay_s)


def impulse_delay(quotient: Complex, length: int, from_bin: float) -> tuple[float, float]:
    """Return where the impulse response peaks, in samples (negative: earlier), and how clearly.

    Parameters
    ----------
    quotient
        Spectrum recorded over played, or any spectrum with its phase.
    length
        Samples of the transform.
    from_bin
        Lower bins are left out.

    Returns
    -------
    tuple
        The place, −length/2…length/2; and the peak over the root mean square of the whole.

    Notes
    -----
    Only phases count, so that the tilt of a response does not blur the peak.
    """
    whitened = np.zeros(length, dtype=np.complex128)
    modulus = np.abs(quotient)
    used = (modulus > 0) & (np.arange(len(quotient)) >= from_bin)
    used[-1] = False
    whitened[: len(quotient)][used] = quotient[used] / modulus[used]
    envelope = np.abs(np.fft.ifft(whitened))
    peak = int(np.argmax(envelope))
    before, here, after = envelope[[peak - 1, peak, (peak + 1) % length]]
    bend = before - 2 * here + after
    place = peak + (0.5 * (before - after) / bend if bend < 0 else 0.0)
    clear = here / max(float(np.sqrt(np.mean(envelope**2))), 1e-300)
    return float(place if place < length / 2 else place - length), float(clear)

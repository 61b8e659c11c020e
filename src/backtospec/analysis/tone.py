"""A steady tone: level, power, harmonics, THD, THD+N, hum, noise, and whether to believe them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import Distortion, read_distortion
from backtospec.analysis.line_fit import Family, fit_lines, line_spectrum, strongest_line
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.quality import overload_fraction, quantisation_step
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stretches import Stretches, find_stretches, thump_end
from backtospec.analysis.tone_fit import FittedTone, fit_tone, orders_below
from backtospec.analysis.tone_notes import channel_notes, whole_notes
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_SEARCH = 0.03
_SHORTEST_CYCLES = 2
_SILENT_RMS = 1e-5
_MOST_THUMP_STEPS = 8
_HEARD_OVER_DOUBT = 6.0
_HEARD_IN_SPECTRUM = 1e3


@dataclass(frozen=True, slots=True)
class ChannelTone:
    """One channel of a steady tone; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload`` or ``silence``.
    frequency_hz
        Fitted frequency as the recorder's clock counts it.
    level_dbfs_peak
        20·log10 of the fundamental's peak amplitude; a full-scale sine reads 0 dB.
    fundamental_vrms, power_w
        Of the fundamental alone.
    dc_v
        Mean value.
    noise_floor_dbfs
        20·log10 of the rms of what is left when every line is removed, to half the rate.
    distortion
        Harmonics, THD, THD+N, signal to noise, hum, single lines.

    Figures ending in ``_u`` are standard uncertainties in the same unit.
    """

    valid: bool
    reason: str | None = None
    frequency_hz: float | None = None
    frequency_hz_u: float | None = None
    level_dbfs_peak: float | None = None
    level_dbfs_peak_u: float | None = None
    fundamental_vrms: float | None = None
    fundamental_vrms_u: float | None = None
    power_w: float | None = None
    power_w_u: float | None = None
    dc_v: float | None = None
    dc_v_u: float | None = None
    noise_floor_dbfs: float | None = None
    distortion: Distortion | None = None


@dataclass(frozen=True, slots=True)
class ToneAnalysis:
    """A recorded steady tone, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    tracking_db_r_minus_l
        Level of the right channel minus the left; ``None`` without two valid channels.
    clock_ppm
        Frequency in the file over nominal, minus one, in parts per million.
    mains_hz
        Fitted mains frequency, where hum was found.
    tone_start_s, tone_end_s
        Where the tone plays, seconds from the start of the file.
    notes
        Remarks; see :data:`backtospec.analysis.notes.NoteCode`.
    """

    kind: ClassVar[Literal["tone"]] = "tone"
    file: FileFacts
    channels: Mapping[str, ChannelTone]
    tracking_db_r_minus_l: float | None = None
    tracking_db_r_minus_l_u: float | None = None
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    mains_hz: float | None = None
    mains_hz_u: float | None = None
    tone_start_s: float | None = None
    tone_end_s: float | None = None
    notes: tuple[Note, ...] = field(default=())


def analyse_tone(samples: Array, file: FileFacts, setup: CaptureSetup) -> ToneAnalysis:
    """Return the figures of a steady tone.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude, from 0.02 s and
        two cycles up.
    file
        Facts of the file.
    setup
        Calibration, load and nominal frequency.

    Raises
    ------
    BenchError
        When the recording is too short, or its tone is not near the nominal frequency.

    Notes
    -----
    Least squares with every harmonic to the band edge, DC, slope, hum and single lines; the
    frequencies by Gauss-Newton (IEEE 1057 sine fit, extended). Uncertainties assume a white
    residual. Samples lost, gaps of zeros and a transient at the start are left out.

    Examples
    --------
    >>> rate_hz = 48_000
    >>> turn = 2 * np.pi * 997.03 * np.arange(rate_hz) / rate_hz
    >>> wave = 0.5 * (np.cos(turn) + 0.001 * np.cos(2 * turn))
    >>> noise = 1e-5 * np.random.default_rng(1).standard_normal(rate_hz)
    >>> found = analyse_tone(
    ...     (wave + noise)[:, None],
    ...     FileFacts(rate_hz, rate_hz, 24),
    ...     CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0),
    ... )
    >>> mono = found.channels["M"]
    >>> f"{mono.frequency_hz:.3f} Hz, {mono.power_w:.3f} W"
    '997.030 Hz, 25.000 W'
    >>> f"{mono.distortion.thd_percent:.3f} %"
    '0.100 %'
    """
    rate_hz = float(file.sample_rate_hz)
    names = channel_names(samples.shape[1])
    channels: dict[str, ChannelTone] = {}
    notes: list[Note] = []
    alive = _sounding(samples, names, channels, notes)
    if not alive:
        return ToneAnalysis(file, channels, notes=tuple(notes))
    hz = _find_tone(samples[:, alive], rate_hz, setup.nominal_hz)
    stretches = find_stretches(samples[:, alive], rate_hz, hz)
    heard = samples[stretches.start : stretches.end]
    for index in list(alive):
        share = overload_fraction(heard[:, index], rate_hz / hz)
        if share > 0:
            alive.remove(index)
            channels[names[index]] = ChannelTone(False, "adc-overload")
            notes.append(_overload_note(names[index], share))
    if not alive:
        return ToneAnalysis(file, _in_order(channels, names), notes=tuple(notes))
    fits, stretches = _fit_channels(samples, alive, rate_hz, hz, setup, stretches)
    notes.extend(stretches.notes)
    for index, (fitted, column) in fits.items():
        name = names[index]
        if abs(fitted.harmonics[0, column]) < _HEARD_OVER_DOUBT * fitted.amplitude_u[column]:
            channels[name] = ChannelTone(False, "silence")
            notes.append(Note("silence", "No tone stands out of the noise.", name))
            continue
        channels[name] = _channel(fitted, column, rate_hz, name, setup)
        step = quantisation_step(samples[:, index])
        notes.extend(channel_notes(name, fitted, column, channels[name].distortion, rate_hz, step))
    valid = {index: fit for index, fit in fits.items() if channels[names[index]].valid}
    notes.extend(whole_notes(samples, valid, names))
    return _summary(file, setup, _in_order(channels, names), fits, stretches, notes)


Fits = Mapping[int, tuple[FittedTone, int]]


def _sounding(
    samples: Array, names: tuple[str, ...], channels: dict[str, ChannelTone], notes: list[Note]
) -> list[int]:
    """Return the channels that are not silent; note and refuse those that are."""
    alive = []
    for index, name in enumerate(names):
        if float(np.std(samples[:, index])) > _SILENT_RMS:
            alive.append(index)
            continue
        channels[name] = ChannelTone(False, "silence")
        notes.append(Note("silence", "Nothing but silence was recorded.", name))
    return alive


def _overload_note(name: str, share: float) -> Note:
    return Note(
        "adc-overload",
        f"The recorder was overloaded: {100 * share:.2g} % of the samples sit on its rail. "
        "Turn its input down and record again.",
        name,
    )


def _find_tone(samples: Array, rate_hz: float, nominal_hz: float) -> float:
    """Return the tone's frequency to a fraction of a bin, refusing a recording without it."""
    if len(samples) * nominal_hz / rate_hz < _SHORTEST_CYCLES:
        raise BenchError(
            f"{len(samples) / rate_hz:.4g} s hold less than {_SHORTEST_CYCLES} cycles of "
            f"{nominal_hz:g} Hz.",
            "recording",
            "Record for longer.",
        )
    bin_hz = rate_hz / len(samples)
    low, high = nominal_hz * (1 - _SEARCH) - bin_hz, nominal_hz * (1 + _SEARCH) + bin_hz
    hz = strongest_line(samples, rate_hz, low, min(high, 0.49 * rate_hz))
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


def _fit_channels(
    samples: Array,
    alive: list[int],
    rate_hz: float,
    hz: float,
    setup: CaptureSetup,
    stretches: Stretches,
) -> tuple[Fits, Stretches]:
    """Return the fit of each channel, jointly unless their frequencies differ."""
    taken = stretches.longest
    heard = samples[taken][:, alive]
    spoiled = _thump(heard, taken.astype(float), rate_hz, hz)
    if spoiled:
        taken, heard = taken[spoiled:], heard[spoiled:]
        text = "A thump at the start is left out."
        note = Note("thump", text, at_s=float(stretches.start / rate_hz))
        stretches = replace(stretches, start=int(taken[0]), notes=(note, *stretches.notes))
    own_hz = _own_frequencies(heard, rate_hz, hz)
    apart = own_hz is not None
    if own_hz is None:
        fitted = fit_tone(heard, taken.astype(float), rate_hz, hz, setup.mains_hz)
        apart = _differ(fitted)
        own_hz = tuple(fitted.hz + fitted.fit.shift_hz[0])
    if not apart:
        return {index: (fitted, column) for column, index in enumerate(alive)}, stretches
    fits = {}
    for column, index in enumerate(alive):
        single = heard[:, [column]]
        own = fit_tone(single, taken.astype(float), rate_hz, own_hz[column], setup.mains_hz)
        fits[index] = (own, 0)
    return fits, stretches


def _own_frequencies(samples: Array, rate_hz: float, hz: float) -> tuple[float, ...] | None:
    """Return each channel's frequency where they lie too far apart for one fit, else ``None``."""
    bin_hz = rate_hz / len(samples)
    low, high = hz * (1 - _SEARCH) - bin_hz, min(hz * (1 + _SEARCH) + bin_hz, 0.49 * rate_hz)
    found = []
    for column in range(samples.shape[1]):
        power = line_spectrum(samples[:, [column]])
        near = power[int(low / bin_hz) + 1 : int(high / bin_hz) + 1]
        if not len(near) or float(near.max()) < _HEARD_IN_SPECTRUM * float(np.median(power)):
            return None
        found.append(strongest_line(samples[:, [column]], rate_hz, low, high))
    return tuple(found) if max(found) - min(found) > 0.25 * bin_hz else None


def _thump(samples: Array, positions: Array, rate_hz: float, hz: float) -> int:
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


def _differ(fitted: FittedTone) -> bool:
    """Whether the channels hold tones of different frequency, beyond doubt."""
    shift, doubt = fitted.fit.shift_hz[0], fitted.fit.shift_u[0]
    if len(shift) < 2:
        return False
    apart = abs(float(shift[1] - shift[0]))
    return apart > 8 * float(np.hypot(*doubt)) and apart > 1e-7 * fitted.hz


def _channel(
    fitted: FittedTone, column: int, rate_hz: float, name: str, setup: CaptureSetup
) -> ChannelTone:
    amplitude = float(abs(fitted.harmonics[0, column]))
    relative_u = float(fitted.amplitude_u[column]) / amplitude
    volts = setup.volts(name)
    variance = float(fitted.variance[column])
    vrms, power_w = amplitude * volts / math.sqrt(2), setup.power_w(name, amplitude)
    return ChannelTone(
        valid=True,
        frequency_hz=fitted.hz,
        frequency_hz_u=fitted.hz_u,
        level_dbfs_peak=20 * math.log10(amplitude),
        level_dbfs_peak_u=20 / math.log(10) * relative_u,
        fundamental_vrms=vrms,
        fundamental_vrms_u=vrms * relative_u,
        power_w=power_w,
        power_w_u=power_w * setup.relative_power_u(relative_u),
        dc_v=float(fitted.fit.dc[column]) * volts,
        dc_v_u=math.sqrt(variance / len(fitted.residual)) * volts,
        noise_floor_dbfs=10 * math.log10(max(variance, 1e-40)),
        distortion=read_distortion(fitted, column, rate_hz),
    )


def _in_order(
    channels: Mapping[str, ChannelTone], names: tuple[str, ...]
) -> Mapping[str, ChannelTone]:
    return {name: channels[name] for name in names if name in channels}


def _summary(
    file: FileFacts,
    setup: CaptureSetup,
    channels: Mapping[str, ChannelTone],
    fits: Fits,
    stretches: Stretches,
    notes: list[Note],
) -> ToneAnalysis:
    best = min((fitted for fitted, _ in fits.values()), key=lambda f: f.hz_u)
    levels = [channels[n].level_dbfs_peak for n in ("L", "R") if n in channels]
    doubts = [channels[n].level_dbfs_peak_u for n in ("L", "R") if n in channels]
    tracking = tracking_u = None
    if len(levels) == 2 and levels[0] is not None and levels[1] is not None:
        tracking = levels[1] - levels[0]
        tracking_u = math.hypot(*(u for u in doubts if u is not None))
    return ToneAnalysis(
        file=file,
        channels=channels,
        tracking_db_r_minus_l=tracking,
        tracking_db_r_minus_l_u=tracking_u,
        clock_ppm=(best.hz / setup.nominal_hz - 1) * 1e6,
        clock_ppm_u=best.hz_u / setup.nominal_hz * 1e6,
        mains_hz=best.fit.families[1].hz if best.mains else None,
        mains_hz_u=best.fit.frequency_u[1] if best.mains else None,
        tone_start_s=stretches.start / file.sample_rate_hz,
        tone_end_s=stretches.end / file.sample_rate_hz,
        notes=tuple(notes),
    )

"""A steady tone: level, power, harmonics, THD, THD+N, hum, noise, and whether to believe them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import Distortion, read_distortion
from backtospec.analysis.notes import FileFacts, Note, channel_names, refuse_bands
from backtospec.analysis.quality import overload_fraction, quantisation_step
from backtospec.analysis.recording_chain import chain_notes
from backtospec.analysis.residual import ResidualCycle, average_residual
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stretches import Stretches, find_stretches
from backtospec.analysis.tone_crosscheck import ChannelFit, CrossCheck, fit_checked_tone
from backtospec.analysis.tone_crosstalk import Crosstalk, read_crosstalk
from backtospec.analysis.tone_fit import FittedTone
from backtospec.analysis.tone_notes import channel_notes, undriven_note, whole_notes
from backtospec.analysis.tone_search import (
    driven_channels,
    find_tone,
    frequencies_differ,
    own_frequencies,
    spoiled_by_thump,
)

Array = NDArray[np.float64]

_SILENT_RMS = 1e-5
_HEARD_OVER_DOUBT = 6.0
_LARGEST_OVER_CREST = 1.4


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
    driven
        Whether this channel plays the tone, where there are two; an undriven one has only the
        figures that stand out of its noise.
    crosstalk
        For an undriven channel, its line over that of the driven one.
    check
        The tone and its harmonics read a second time, through a window.
    cycle
        The average residual over one cycle.

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
    driven: bool | None = None
    crosstalk: Crosstalk | None = None
    check: CrossCheck | None = None
    cycle: ResidualCycle | None = None


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
    residual. Samples lost, gaps of zeros and a transient at the start are left out. Every line is
    read again through a window; where the two readings differ, terms are added, and that is said.

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
    refuse_bands(setup.bands_hz, rate_hz)
    names = channel_names(samples.shape[1])
    channels: dict[str, ChannelTone] = {}
    notes: list[Note] = []
    alive = _sounding(samples, names, channels, notes)
    if not alive:
        return ToneAnalysis(file, channels, notes=tuple(notes))
    hz = find_tone(samples[:, alive], rate_hz, setup.nominal_hz)
    playing = driven_channels(samples[:, alive], rate_hz, hz)
    driven = [index for index, plays in zip(alive, playing, strict=True) if plays]
    stretches = find_stretches(samples[:, driven], rate_hz, hz)
    heard = samples[stretches.start : stretches.end]
    for index in list(alive):
        share = overload_fraction(heard[:, index], rate_hz / hz)
        if share > 0:
            alive.remove(index)
            channels[names[index]] = ChannelTone(False, "adc-overload")
            notes.append(_overload_note(names[index], share))
    if not alive:
        return ToneAnalysis(file, _in_order(channels, names), notes=tuple(notes))
    driven = [index for index in driven if index in alive] or alive
    fits, stretches = _fit_channels(samples, alive, driven, rate_hz, hz, setup, stretches)
    notes.extend(stretches.notes)
    for index, name in enumerate(names):
        if index in fits:
            step = quantisation_step(samples[:, index])
            found, remarks = _read_channel(fits, index, names, rate_hz, step, setup)
            if _exceeds_samples(fits[index], heard[:, index]):
                found = ChannelTone(False, "methods-differ")
                remarks = [_inseparable_note(name)]
            channels[name] = found
            notes.extend(remarks)
    played = {i: fit for i, fit in fits.items() if channels[names[i]].driven is not False}
    valid = {i: fit for i, fit in played.items() if channels[names[i]].valid}
    notes.extend(whole_notes(samples, valid, names))
    for index in valid:
        clean = samples[stretches.start : stretches.end, index]
        notes.extend(chain_notes(clean, rate_hz, names[index], hz))
    return _summary(file, setup, _in_order(channels, names), fits, stretches, notes)


Fits = Mapping[int, ChannelFit]


def _sounding(
    samples: Array, names: tuple[str, ...], channels: dict[str, ChannelTone], notes: list[Note]
) -> list[int]:
    """Return the channels to listen to; note and refuse those that are silent.

    Beside a channel that sounds, one that holds anything at all may hold crosstalk.
    """
    loud = bool(np.any(np.std(samples, axis=0) > _SILENT_RMS))
    alive = []
    for index, name in enumerate(names):
        if loud and np.ptp(samples[:, index]) > 0:
            alive.append(index)
            continue
        channels[name] = ChannelTone(False, "silence")
        notes.append(Note("silence", "Nothing but silence was recorded.", name))
    return alive


def _exceeds_samples(own: ChannelFit, heard: Array) -> bool:
    """Whether the fitted tone is larger than the samples allow: terms that cancel each other.

    The fundamental of a square wave, the largest for its crest, is 4/π of it (Fourier series).
    """
    crest = float(np.ptp(heard)) / 2
    return float(abs(own.fitted.harmonics[0, own.column])) > _LARGEST_OVER_CREST * crest


def _inseparable_note(name: str) -> Note:
    text = (
        "Two lines lie too close together to be told apart in so short a recording; no figure is "
        "given. Record one steady tone for longer."
    )
    return Note("methods-differ", text, name)


def _overload_note(name: str, share: float) -> Note:
    return Note(
        "adc-overload",
        f"The recorder was overloaded: {100 * share:.2g} % of the samples sit on its rail. "
        "Turn its input down and record again.",
        name,
    )


def _fit_channels(
    samples: Array,
    alive: list[int],
    driven: list[int],
    rate_hz: float,
    hz: float,
    setup: CaptureSetup,
    stretches: Stretches,
) -> tuple[Fits, Stretches]:
    """Return the fit of each channel, jointly unless two that are driven differ in frequency."""
    taken = stretches.longest
    spoiled = spoiled_by_thump(samples[taken][:, driven], taken.astype(float), rate_hz, hz)
    if spoiled:
        taken = taken[spoiled:]
        text = "A thump at the start is left out."
        note = Note("thump", text, at_s=float(stretches.start / rate_hz))
        stretches = replace(stretches, start=int(taken[0]), notes=(note, *stretches.notes))
    heard, positions = samples[taken][:, alive], taken.astype(float)
    own_hz = own_frequencies(heard, rate_hz, hz) if len(driven) > 1 else None
    if own_hz is None:
        checked = fit_checked_tone(heard, positions, rate_hz, hz, setup.mains_hz)
        fitted = checked.fitted
        if len(driven) < 2 or not frequencies_differ(fitted):
            return {i: ChannelFit(checked, column) for column, i in enumerate(alive)}, stretches
        own_hz = tuple(fitted.hz + fitted.fit.shift_hz[0])
    fits = {}
    for column, index in enumerate(alive):
        single = heard[:, [column]]
        own = fit_checked_tone(single, positions, rate_hz, own_hz[column], setup.mains_hz)
        fits[index] = ChannelFit(own, 0)
    return fits, stretches


def _read_channel(
    fits: Fits,
    index: int,
    names: tuple[str, ...],
    rate_hz: float,
    step: float,
    setup: CaptureSetup,
) -> tuple[ChannelTone, list[Note]]:
    """Return the figures of one channel and the remarks on it."""
    own, name = fits[index], names[index]
    fitted, column = own.fitted, own.column
    line, doubt = float(abs(fitted.harmonics[0, column])), float(fitted.amplitude_u[column])
    crosstalk = _crosstalk(fits, index, names, setup)
    if crosstalk is not None:
        plain = _channel(fitted, column, name, setup)
        if line < _HEARD_OVER_DOUBT * doubt:
            plain = ChannelTone(
                True, dc_v=plain.dc_v, dc_v_u=plain.dc_v_u, noise_floor_dbfs=plain.noise_floor_dbfs
            )
        found = replace(plain, driven=False, crosstalk=crosstalk)
        return found, [undriven_note(name, crosstalk)]
    if line < _HEARD_OVER_DOUBT * doubt:
        text = "No tone stands out of the noise."
        return ChannelTone(False, "silence"), [Note("silence", text, name)]
    found = replace(
        _channel(fitted, column, name, setup),
        distortion=read_distortion(fitted, column, rate_hz, setup.bands_hz),
        driven=True if len(names) > 1 else None,
        check=own.checked.checks[column],
        cycle=average_residual(fitted, column, rate_hz),
    )
    notes = channel_notes(name, own.checked, column, found.distortion, found.cycle, rate_hz, step)
    return found, notes


def _crosstalk(
    fits: Fits, index: int, names: tuple[str, ...], setup: CaptureSetup
) -> Crosstalk | None:
    """Return what of another channel's tone is heard in this one, where this is not driven."""
    own = fits[index]
    for other, theirs in fits.items():
        if other != index and theirs.checked is own.checked:
            ratio = setup.volts(names[index]) / setup.volts(names[other])
            return read_crosstalk(own.fitted, own.column, theirs.column, ratio)
    return None


def _channel(fitted: FittedTone, column: int, name: str, setup: CaptureSetup) -> ChannelTone:
    """Return the tone itself: level, volts, power, and what stands beside it."""
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
    best = min((one.fitted for one in fits.values()), key=lambda fitted: fitted.hz_u)
    played = [channels[n] for n in ("L", "R") if n in channels and channels[n].driven]
    levels = [channel.level_dbfs_peak for channel in played]
    doubts = [channel.level_dbfs_peak_u for channel in played]
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

"""A recorded logarithmic sweep: response, harmonics against frequency, replay equalisation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.document_parts import head, note_list
from backtospec.analysis.equalisation import compare, riaa_replay_db
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.sweep_figures import (
    REFERENCE_HZ,
    decibels,
    find_corner,
    read_harmonics,
    read_response,
)
from backtospec.analysis.sweep_signal import Stimulus
from backtospec.analysis.sweep_spectrum import SweepSpectrum, divide_by_sweep
from backtospec.analysis.sweep_timing import (
    Timing,
    find_sweep,
    gaps_of_zeros,
    hum_estimate,
    measure_clock,
    overload_share,
    time_jumps,
)
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Document = dict[str, Any]

_SILENT_RMS = 1e-5
_HEARD = 6.0
_HIGHEST_SHARE = 0.49


@dataclass(frozen=True, slots=True)
class ChannelSweep:
    """One channel of a sweep; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload``, ``silence``, ``dropout`` or
        ``lost-samples``.
    level_dbfs_peak, fundamental_vrms, power_w
        Of the fundamental while the sweep passes 1 kHz.
    response_db
        By frequency in Hz, relative to 1 kHz.
    phase_deg
        By frequency, −180…180 degrees, a pure delay (the peak of the impulse response) removed.
    harmonic_db
        By order, then by the frequency of the fundamental: harmonic over fundamental, both at
        the output; in ``harmonic_db_at_most`` where noise hides it.
    riaa_error_db, riaa_low_cut_error_db
        Response minus the RIAA replay curve, without and with the later 7950 µs low cut.
    corner_low_hz, corner_high_hz
        Where the response has fallen by 3 dB (half power) from 1 kHz; with ``…_at_most`` and
        ``…_at_least`` where the sweep ends before.
    spectrum
        From which any other frequency can be read: :meth:`SweepSpectrum.line`.

    Figures ending in ``_u`` are standard uncertainties in the same unit, from the noise where
    nothing is played.
    """

    valid: bool
    reason: str | None = None
    level_dbfs_peak: float | None = None
    level_dbfs_peak_u: float | None = None
    fundamental_vrms: float | None = None
    power_w: float | None = None
    delay_s: float | None = None
    response_db: Mapping[float, float] = field(default_factory=dict)
    response_db_u: Mapping[float, float] = field(default_factory=dict)
    phase_deg: Mapping[float, float] = field(default_factory=dict)
    harmonic_db: Mapping[int, Mapping[float, float]] = field(default_factory=dict)
    harmonic_db_u: Mapping[int, Mapping[float, float]] = field(default_factory=dict)
    harmonic_db_at_most: Mapping[int, Mapping[float, float]] = field(default_factory=dict)
    riaa_error_db: Mapping[float, float] = field(default_factory=dict)
    riaa_low_cut_error_db: Mapping[float, float] = field(default_factory=dict)
    corner_low_hz: float | None = None
    corner_low_hz_u: float | None = None
    corner_low_hz_at_most: float | None = None
    corner_high_hz: float | None = None
    corner_high_hz_u: float | None = None
    corner_high_hz_at_least: float | None = None
    spectrum: SweepSpectrum | None = None

    def response_at(self, frequencies_hz: Array) -> Array:
        """Return the response in decibels relative to 1 kHz at any frequencies in the sweep.

        Raises
        ------
        BenchError
            Where the channel is not valid, or a frequency lies outside what can be read.
        """
        if self.spectrum is None:
            raise BenchError(f"the channel has no figures ({self.reason}).", "sweep", "Repeat it.")
        low, high = self.spectrum.reach_hz()
        for hz in frequencies_hz:
            if not low <= hz <= high:
                raise BenchError(
                    f"{hz:g} Hz is outside {low:.4g}…{high:.5g} Hz, what this sweep can tell.",
                    "frequency",
                    "Choose a frequency inside, or play a wider sweep.",
                )
        reference = self.spectrum.line(REFERENCE_HZ).modulus
        ratios = [self.spectrum.line(float(hz)).modulus / reference for hz in frequencies_hz]
        return np.asarray([decibels(ratio) for ratio in ratios])


@dataclass(frozen=True, slots=True)
class SweepAnalysis:
    """A recorded sweep, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    clock_ppm
        Frequency in the file over frequency as played, minus one, in parts per million.
    tracking_db_r_minus_l
        Level of the right channel minus the left at 1 kHz.
    mains_hz
        Where hum was found and taken out.
    sweep_start_s
        Where the sweep starts, seconds from the start of the file.
    notes
        Remarks; see :data:`backtospec.analysis.notes.NoteCode`.
    """

    kind: ClassVar[Literal["sweep"]] = "sweep"
    file: FileFacts
    channels: Mapping[str, ChannelSweep]
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    tracking_db_r_minus_l: float | None = None
    tracking_db_r_minus_l_u: float | None = None
    mains_hz: float | None = None
    sweep_start_s: float | None = None
    notes: tuple[Note, ...] = ()


def analyse_sweep(
    samples: Array, file: FileFacts, setup: CaptureSetup, stimulus: Stimulus
) -> SweepAnalysis:
    """Return response, harmonics and equalisation error of a recorded sweep.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude.
    file
        Facts of the file.
    setup
        Calibration and load; its nominal frequency plays no part.
    stimulus
        What was played.

    Raises
    ------
    BenchError
        Where the rate is too low for the sweep, or sweep or pilot are not in the recording.

    Notes
    -----
    The clock comes from the pilot, the reference is re-synthesised at that clock, and the k-th
    harmonic's response lies earlier by L·ln k. The response is smoothed over ±6 %, at the low
    end over a few hertz: narrower resonances come out lower, with an uncertainty that says so.
    """
    rate_hz = float(file.sample_rate_hz)
    _refuse_band(stimulus, rate_hz)
    names = channel_names(samples.shape[1])
    notes: list[Note] = []
    sounding = []
    for index, name in enumerate(names):
        if float(np.std(samples[:, index])) > _SILENT_RMS:
            sounding.append(index)
        else:
            notes.append(Note("silence", "Nothing but silence was recorded.", name))
    if not sounding:
        return SweepAnalysis(file, _all_channels(names, {}, notes), notes=tuple(notes))
    timing = find_sweep(samples[:, sounding], rate_hz, stimulus)
    clock, clock_u = measure_clock(samples[:, sounding], timing, stimulus, setup.mains_hz)
    for index in list(sounding):
        note = _spoiled(samples[:, index], names[index], timing, stimulus, clock)
        if note:
            sounding.remove(index)
            notes.append(note)
    measured: dict[str, ChannelSweep] = {}
    mains_hz: float | None = None
    if sounding:
        hum, mains_hz = hum_estimate(samples[:, sounding], timing, stimulus, setup.mains_hz)
        spectra = _divide(samples[:, sounding] - hum, timing, stimulus, clock)
        for index, spectrum in zip(sounding, spectra, strict=True):
            note = _useless(spectrum, names[index], timing)
            if note:
                notes.append(note)
            else:
                measured[names[index]] = _channel(spectrum, names[index], setup)
    channels = _all_channels(names, measured, notes)
    tracking, tracking_u = _tracking(channels)
    return SweepAnalysis(
        file=file,
        channels=channels,
        clock_ppm=(clock - 1) * 1e6,
        clock_ppm_u=clock_u * 1e6,
        tracking_db_r_minus_l=tracking,
        tracking_db_r_minus_l_u=tracking_u,
        mains_hz=mains_hz,
        sweep_start_s=timing.sweep_start / rate_hz,
        notes=tuple(notes),
    )


def _refuse_band(stimulus: Stimulus, rate_hz: float) -> None:
    if stimulus.f2 > _HIGHEST_SHARE * rate_hz:
        raise BenchError(
            f"the sweep ends at {stimulus.f2:g} Hz; {rate_hz:g} samples a second carry "
            f"{_HIGHEST_SHARE * rate_hz:.0f} Hz.",
            "recording",
            "Record at a higher sampling rate.",
        )
    if not stimulus.f1 * 1.5 < REFERENCE_HZ < stimulus.f2 / 1.1:
        raise BenchError(
            f"a sweep from {stimulus.f1:g} to {stimulus.f2:g} Hz does not pass well through "
            f"{REFERENCE_HZ:g} Hz, to which the response refers.",
            "f1",
            "Play a sweep that starts below 600 Hz and ends above 1100 Hz.",
        )


def _all_channels(
    names: tuple[str, ...], measured: Mapping[str, ChannelSweep], notes: list[Note]
) -> Mapping[str, ChannelSweep]:
    """Return every channel in order; one that was not measured with its note as the reason."""
    reasons = {note.channel: note.code for note in notes}
    return {name: measured.get(name) or ChannelSweep(False, reasons[name]) for name in names}


def _spoiled(
    samples: Array, name: str, timing: Timing, stimulus: Stimulus, clock: float
) -> Note | None:
    """Return the remark on what makes a channel useless, or ``None``."""
    share = overload_share(samples, timing, stimulus, clock)
    if share > 0:
        text = (
            f"The recorder was overloaded: up to {100 * share:.2g} % of the samples in an octave "
            "sit on its rail. Turn its input down and record again."
        )
        return Note("adc-overload", text, name)
    gaps = gaps_of_zeros(samples, timing)
    if gaps:
        text = "Samples within the sweep are missing (zeros). Record again."
        return Note("dropout", text, name, at_s=gaps[0])
    return None


def _divide(
    samples: Array, timing: Timing, stimulus: Stimulus, clock: float
) -> tuple[SweepSpectrum, ...]:
    stretch, quiet = timing.stretch(), timing.quiet()
    heard = samples[stretch]
    still = samples[quiet[0]] if quiet else samples[:0]
    if quiet:
        heard = heard - still.mean(axis=0)
    start = round(timing.sweep_start) - stretch.start
    return divide_by_sweep(
        heard, stimulus, start=start, clock=clock, rate_hz=timing.rate_hz, quiet=still
    )


def _useless(spectrum: SweepSpectrum, name: str, timing: Timing) -> Note | None:
    """Return the remark on what makes a divided channel useless, or ``None``."""
    reference = spectrum.line(REFERENCE_HZ)
    if reference.modulus < _HEARD * reference.u:
        return Note("silence", "No sweep stands out of the noise.", name)
    jumps = time_jumps(spectrum, timing)
    if not jumps:
        return None
    at_s, by_s = jumps[0]
    text = (
        f"The sweep jumps by {1000 * by_s:+.2f} ms in the octave from {at_s:.2f} s on: "
        "samples were lost or repeated. Record again."
    )
    return Note("lost-samples", text, name, at_s=at_s)


def _channel(spectrum: SweepSpectrum, name: str, setup: CaptureSetup) -> ChannelSweep:
    reference = spectrum.line(REFERENCE_HZ)
    amplitude = reference.modulus * spectrum.stimulus.drive_fs
    response, response_u, phase = read_response(spectrum)
    harmonics, harmonics_u, at_most = read_harmonics(spectrum)
    low, low_u, low_at_most = find_corner(spectrum, response, upward=False)
    high, high_u, high_at_least = find_corner(spectrum, response, upward=True)
    return ChannelSweep(
        valid=True,
        level_dbfs_peak=decibels(amplitude),
        level_dbfs_peak_u=reference.db_u,
        fundamental_vrms=amplitude * setup.volts(name) / math.sqrt(2),
        power_w=setup.power_w(name, amplitude),
        delay_s=spectrum.delay_s,
        response_db=response,
        response_db_u=response_u,
        phase_deg=phase,
        harmonic_db=harmonics,
        harmonic_db_u=harmonics_u,
        harmonic_db_at_most=at_most,
        riaa_error_db=compare(response, riaa_replay_db).error_db,
        riaa_low_cut_error_db=compare(
            response, lambda hz: riaa_replay_db(hz, low_cut=True)
        ).error_db,
        corner_low_hz=low,
        corner_low_hz_u=low_u,
        corner_low_hz_at_most=low_at_most,
        corner_high_hz=high,
        corner_high_hz_u=high_u,
        corner_high_hz_at_least=high_at_least,
        spectrum=spectrum,
    )


def _tracking(channels: Mapping[str, ChannelSweep]) -> tuple[float | None, float | None]:
    """Return level right minus left at 1 kHz and its uncertainty, where both are known."""
    known = [
        (channel.level_dbfs_peak, channel.level_dbfs_peak_u)
        for name, channel in channels.items()
        if name in ("L", "R")
    ]
    match known:
        case [(float(left), float(left_u)), (float(right), float(right_u))]:
            return right - left, math.hypot(left_u, right_u)
    return None, None


def document_of(analysis: SweepAnalysis) -> Document:
    """Return an analysis as nested dictionaries, lists, numbers and text, ready for JSON.

    Parameters
    ----------
    analysis
        A sweep.

    Notes
    -----
    Keys carry their unit; frequencies are keys, ``"31.5"``. A figure that is not known is left
    out; no NaN or infinity occurs.
    """
    return {
        **head(analysis.kind, analysis.file),
        "channels": {name: _channel_document(one) for name, one in analysis.channels.items()},
        **_known(
            tracking_db_r_minus_l=analysis.tracking_db_r_minus_l,
            tracking_db_r_minus_l_u=analysis.tracking_db_r_minus_l_u,
            mains_hz=analysis.mains_hz,
            clock_ppm=analysis.clock_ppm,
            clock_ppm_u=analysis.clock_ppm_u,
            sweep_start_s=analysis.sweep_start_s,
        ),
        "notes": note_list(analysis.notes),
    }


def _channel_document(channel: ChannelSweep) -> Document:
    left_out = ("valid", "reason", "spectrum")
    figures = {f.name: getattr(channel, f.name) for f in fields(channel) if f.name not in left_out}
    kept = _known(**figures) if channel.valid else {}
    return {"valid": channel.valid, "reason": channel.reason, **kept}


def _known(**figures: Any) -> Document:
    """Return the figures that are known, with frequencies and orders as text."""
    return {key: _as_text(value) for key, value in figures.items() if value is not None}


def _as_text(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {f"{key:g}": _as_text(item) for key, item in value.items()}
    return value

"""Residual output without a signal: noise in microvolts, weighted and not, and what hums in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.document_parts import head, note_list
from backtospec.analysis.line_fit import line_spectrum
from backtospec.analysis.noise_lines import (
    PIECE_S,
    HumReading,
    NoiseLine,
    fit_hum,
    fit_single_lines,
    read_hum,
)
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.quality import (
    is_quantisation_limited,
    overload_fraction,
    quantisation_step,
    run_edges,
)
from backtospec.analysis.recording_chain import chain_notes
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.weighting import Weighting, power_gain
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_WEIGHTINGS: tuple[Weighting, ...] = ("unweighted", "A", "468")
_LOW_HZ, _HIGH_HZ = 20.0, 20_000.0
_SHORTEST_S = 0.5
_SPECTRUM_CELLS = 240
_FRAME_S = 0.05
_BURST_OVER_MEDIAN = 25.0
_HELD_S = 0.005
_DC_FULL_SCALE = 1e-3


@dataclass(frozen=True, slots=True)
class ChannelNoise:
    """Residual output of one channel; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload``, ``silence`` or
        ``dropout``.
    rms_uv, rms_db_u
        Everything by weighting, µV rms, and its standard uncertainty in dB. ``468`` is the curve
        of BS.468 with rms detection, not a quasi-peak reading.
    hum_uv, noise_uv, lines_uv
        The same split into hum, noise proper, and single lines that are no hum.
    hum_lines_uv
        µV rms by nominal frequency of the line, such as ``"100"``.
    single_lines_uv
        µV rms by frequency in Hz.
    mains_hz, mains_hz_u
        Fitted mains frequency, where hum was found.
    hum
        What the hum lines mean.
    snr_db
        By weighting, against the rated power where that is given.
    dc_v
        Mean value.
    spectrum
        (Hz, dB re 1 V rms of a line) on a logarithmic scale, the largest in each cell.
    """

    valid: bool
    reason: str | None = None
    rms_uv: Mapping[str, float] | None = None
    rms_db_u: Mapping[str, float] | None = None
    hum_uv: Mapping[str, float] | None = None
    noise_uv: Mapping[str, float] | None = None
    lines_uv: Mapping[str, float] | None = None
    hum_lines_uv: Mapping[str, float] | None = None
    single_lines_uv: Mapping[str, float] | None = None
    mains_hz: float | None = None
    mains_hz_u: float | None = None
    hum: HumReading | None = None
    snr_db: Mapping[str, float] | None = None
    dc_v: float | None = None
    spectrum: tuple[tuple[float, float], ...] = ()

    def share_percent(self, part: Mapping[str, float] | None, weighting: str) -> float:
        """Return the share of ``hum_uv``, ``noise_uv`` or ``lines_uv`` in the mean square."""
        whole = (self.rms_uv or {}).get(weighting, 0.0)
        return 100 * ((part or {}).get(weighting, 0.0) / whole) ** 2 if whole else 0.0


@dataclass(frozen=True, slots=True)
class NoiseAnalysis:
    """A recording of the output without a signal, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    band_hz
        Between which frequencies every figure is summed.
    notes
        Remarks.
    """

    kind: ClassVar[Literal["noise"]] = "noise"
    file: FileFacts
    channels: Mapping[str, ChannelNoise]
    band_hz: tuple[float, float]
    notes: tuple[Note, ...] = ()


def analyse_noise(samples: Array, file: FileFacts, setup: CaptureSetup) -> NoiseAnalysis:
    """Return the residual output of an amplifier without a signal.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude, from 0.5 s up.
    file
        Facts of the file.
    setup
        Calibration, mains frequency, and the rated power for the signal-to-noise ratio; its
        nominal frequency is not used.

    Raises
    ------
    BenchError
        When the recording is shorter than 0.5 s.

    Notes
    -----
    Hum and single lines by least squares; the rest by a plain DFT, scaled by N/(N − p), from
    20 Hz to 20 kHz or half the rate. The uncertainty of noise is 4.34/√(B·T) dB, B being the
    noise's effective bandwidth after weighting; the calibration is not in it.

    Examples
    --------
    >>> noise = 1e-5 * np.random.default_rng(2).standard_normal((96_000, 1))
    >>> found = analyse_noise(
    ...     noise,
    ...     FileFacts(96_000, 48_000, 24),
    ...     CaptureSetup(full_scale_volts=(4.0,), load_ohm=(8.0,), nominal_hz=1000.0),
    ... )
    >>> f"{found.channels['M'].rms_uv['unweighted']:.1f} µV"
    '36.5 µV'
    """
    rate_hz = float(file.sample_rate_hz)
    if len(samples) < _SHORTEST_S * rate_hz:
        raise BenchError(
            f"{len(samples) / rate_hz:.3g} s are less than the {_SHORTEST_S:g} s that noise and "
            "hum need.",
            "recording",
            "Record for 10 s.",
        )
    band = (_LOW_HZ, min(_HIGH_HZ, rate_hz / 2))
    names = channel_names(samples.shape[1])
    channels: dict[str, ChannelNoise] = {}
    notes: list[Note] = []
    for index, name in enumerate(names):
        channels[name] = _channel(samples[:, index], rate_hz, name, setup, band, notes)
    if samples.shape[1] == 2 and np.array_equal(samples[:, 0], samples[:, 1]):
        text = "Both channels hold the very same samples: one was recorded twice."
        notes.append(Note("mono", text))
    return NoiseAnalysis(file, channels, band, tuple(notes))


def _channel(
    samples: Array,
    rate_hz: float,
    name: str,
    setup: CaptureSetup,
    band: tuple[float, float],
    notes: list[Note],
) -> ChannelNoise:
    if np.ptp(samples) == 0:
        notes.append(Note("silence", "Every sample is the same: nothing was recorded.", name))
        return ChannelNoise(False, "silence")
    share = overload_fraction(samples, 1.0)
    if share > 0:
        text = (
            f"The recorder was overloaded: {100 * share:.2g} % of the samples sit on its rail. "
            "Turn its input down and record again."
        )
        notes.append(Note("adc-overload", text, name))
        return ChannelNoise(False, "adc-overload")
    clean = _longest_alive(samples, rate_hz, name, notes)
    if len(clean) < _SHORTEST_S * rate_hz:
        return ChannelNoise(False, "dropout")
    hum = fit_hum(clean, rate_hz, setup.mains_hz)
    singles, residual, parameters = fit_single_lines(hum, rate_hz)
    _note_bursts(residual, rate_hz, name, notes)
    power, bins_hz = _density(residual, rate_hz, parameters)
    inside = (bins_hz >= band[0]) & (bins_hz <= band[1])
    volts = setup.volts(name)
    sums = {
        w: _sums(w, power[inside], bins_hz[inside], hum.lines, singles, band) for w in _WEIGHTINGS
    }
    parts: list[dict[str, float]] = [
        {w: 1e6 * volts * math.sqrt(max(one[part], 0.0)) for w, one in sums.items()}
        for part in range(4)
    ]
    channel = ChannelNoise(
        valid=True,
        rms_uv=parts[0],
        rms_db_u={w: 10 / math.log(10) * one[4] / one[0] for w, one in sums.items()},
        hum_uv=parts[1],
        noise_uv=parts[2],
        lines_uv=parts[3],
        hum_lines_uv={line.name: 1e6 * volts * math.sqrt(line.square) for line in hum.lines},
        single_lines_uv={line.name: 1e6 * volts * math.sqrt(line.square) for line in singles},
        mains_hz=hum.mains_hz,
        mains_hz_u=hum.mains_hz_u,
        hum=read_hum(hum, volts),
        snr_db=_snr(parts[0], name, setup),
        dc_v=float(clean.mean()) * volts,
        spectrum=_spectrum(clean, rate_hz, volts),
    )
    _note_resolution(samples, residual, name, notes)
    notes.extend(chain_notes(clean, rate_hz, name))
    if abs(clean.mean()) > _DC_FULL_SCALE:
        text = f"A steady {100 * clean.mean():+.2f} % of full scale was recorded."
        notes.append(Note("dc", text, name))
    if channel.hum and channel.share_percent(channel.hum_uv, "unweighted") > 50:
        notes.append(Note("hum", channel.hum.text, name))
    return channel


def _longest_alive(samples: Array, rate_hz: float, name: str, notes: list[Note]) -> Array:
    """Return the longest stretch in which the recorder did not hold one value."""
    step = quantisation_step(samples)
    if float(np.std(samples)) < 2 * step:
        return samples
    starts, ends = run_edges(np.diff(samples) == 0)
    long = ends - starts > _HELD_S * rate_hz
    if not np.any(long):
        return samples
    edges = np.concatenate(
        ([0], np.stack((starts, ends + 1), axis=1)[long].ravel(), [len(samples)])
    )
    pieces = edges.reshape(-1, 2)
    for start, end in zip(starts[long], ends[long], strict=True):
        text = f"The recorder stood still for {1e3 * (end - start) / rate_hz:.1f} ms; left out."
        notes.append(Note("dropout", text, name, at_s=float(start / rate_hz)))
    first, last = pieces[int(np.argmax(pieces[:, 1] - pieces[:, 0]))]
    return samples[first:last]


def _density(residual: Array, rate_hz: float, parameters: int) -> tuple[Array, Array]:
    """Return mean square per bin of what is left, and the bins in Hz, by a plain DFT."""
    count = len(residual)
    power = np.abs(np.fft.rfft(residual)) ** 2 * 2 / count**2
    freedom = max(count - parameters, 1)
    return power * (count / freedom), np.asarray(np.fft.rfftfreq(count, 1 / rate_hz))


def _sums(
    weighting: Weighting,
    power: Array,
    bins_hz: Array,
    hum: tuple[NoiseLine, ...],
    singles: tuple[NoiseLine, ...],
    band: tuple[float, float],
) -> tuple[float, float, float, float, float]:
    """Return weighted mean squares: all, hum, noise, lines; and the uncertainty of all."""
    weighted = power * power_gain(weighting, bins_hz)
    noise = float(weighted.sum())
    # A bin of noise scatters by its own size, and its square reads twice too large.
    variance = float(np.sum(weighted**2)) / 2
    squares = []
    for lines in (hum, singles):
        within = [line for line in lines if band[0] <= line.hz <= band[1]]
        gains = [float(power_gain(weighting, line.hz)) for line in within]
        squares.append(sum(g * line.square for g, line in zip(gains, within, strict=True)))
        variance += sum((g * line.square_u) ** 2 for g, line in zip(gains, within, strict=True))
    whole = max(noise + squares[0] + squares[1], 1e-300)
    return whole, squares[0], noise, squares[1], math.sqrt(variance)


def _snr(rms_uv: Mapping[str, float], name: str, setup: CaptureSetup) -> dict[str, float] | None:
    if setup.rated_power_w is None:
        return None
    rated_uv = 1e6 * math.sqrt(setup.rated_power_w * setup.ohms(name))
    return {w: 20 * math.log10(rated_uv / uv) for w, uv in rms_uv.items() if uv > 0}


def _note_bursts(residual: Array, rate_hz: float, name: str, notes: list[Note]) -> None:
    """Note a short burst in otherwise even noise; it stays in the figures."""
    frame = max(1, int(_FRAME_S * rate_hz))
    frames = residual[: len(residual) // frame * frame].reshape(-1, frame)
    squares = np.mean(frames**2, axis=1)
    usual = float(np.median(squares))
    worst = int(np.argmax(squares))
    if squares[worst] > _BURST_OVER_MEDIAN * usual > 0:
        text = (
            f"A burst {math.sqrt(squares[worst] / usual):.0f} times as loud as the rest; it is "
            "counted in."
        )
        notes.append(Note("thump", text, name, at_s=float(worst * frame / rate_hz)))


def _note_resolution(samples: Array, residual: Array, name: str, notes: list[Note]) -> None:
    if is_quantisation_limited(float(np.std(residual)), quantisation_step(samples)):
        text = "The steps of the 16-bit recording set the noise floor. Record with 24 bits."
        notes.append(Note("quantisation-limited", text, name))


def _spectrum(samples: Array, rate_hz: float, volts: float) -> tuple[tuple[float, float], ...]:
    """Return the largest line in each of some cells evenly spaced in the logarithm of Hz."""
    count = max(1, int(len(samples) / (PIECE_S * rate_hz)))
    length = len(samples) // count
    power = line_spectrum(samples[: count * length].reshape(count, length).T) / count
    bins_hz = np.arange(len(power)) * rate_hz / length
    top_hz = min(_HIGH_HZ, rate_hz / 2)
    edges = np.searchsorted(bins_hz, np.geomspace(_LOW_HZ, top_hz, _SPECTRUM_CELLS + 1))
    points = []
    for first, last in pairwise(edges):
        if first < last:
            peak = int(first) + int(np.argmax(power[first:last]))
            level = 10 * math.log10(max(float(power[peak]) / 2 * volts**2, 1e-80))
            points.append((float(bins_hz[peak]), level))
    return tuple(points)


def document_of(analysis: NoiseAnalysis) -> dict[str, Any]:
    """Return an analysis as nested dictionaries, lists, numbers and text.

    Parameters
    ----------
    analysis
        Of a recording without a signal.
    """
    return {
        **head(analysis.kind, analysis.file),
        "band_hz": list(analysis.band_hz),
        "detector": "rms",
        "channels": {name: _channel_document(one) for name, one in analysis.channels.items()},
        "notes": note_list(analysis.notes),
    }


def _channel_document(channel: ChannelNoise) -> dict[str, Any]:
    document: dict[str, Any] = {"valid": channel.valid, "reason": channel.reason}
    if not channel.valid:
        return document
    figures = {
        "rms_uv": channel.rms_uv,
        "rms_db_u": channel.rms_db_u,
        "hum_uv": channel.hum_uv,
        "noise_uv": channel.noise_uv,
        "lines_uv": channel.lines_uv,
        "hum_share_percent": {w: channel.share_percent(channel.hum_uv, w) for w in _WEIGHTINGS},
        "noise_share_percent": {w: channel.share_percent(channel.noise_uv, w) for w in _WEIGHTINGS},
        "hum_lines_uv": channel.hum_lines_uv,
        "single_lines_uv": channel.single_lines_uv,
        "mains_hz": channel.mains_hz,
        "mains_hz_u": channel.mains_hz_u,
        "snr_db": channel.snr_db,
        "dc_v": channel.dc_v,
        "spectrum": [{"hz": hz, "level_dbv": level} for hz, level in channel.spectrum],
    }
    document |= {key: value for key, value in figures.items() if value is not None}
    if channel.hum:
        document["hum"] = {
            "cause": channel.hum.cause,
            "text": channel.hum.text,
        } | (
            {}
            if channel.hum.once_over_twice_db is None
            else {"once_over_twice_db": channel.hum.once_over_twice_db}
        )
    return document

"""A square wave: rise time, slew, overshoot, ringing, tilt, and what the recorder can show."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.document_parts import head, note_list
from backtospec.analysis.line_fit import Family, fit_lines, strongest_line
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.quality import overload_fraction
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone_fit import orders_below
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_SEARCH = 0.03
_SHORTEST_CYCLES = 8
_MOST_SAMPLES = 1 << 19
_MOST_ORDERS = 200
_POINTS = 1 << 15
_SILENT_RMS = 1e-4
#: Third harmonic over the fundamental: a third for a square, a ninth for a triangle.
_THIRD = (0.2, 0.45)
#: Slower than this many times the recorder, a rise time stands for itself.
_SLOW_ENOUGH = 3.0
_PLATEAU = (0.45, 0.92)
_LONGEST_RISE = 0.2
#: Ringing nearer to half the sampling rate is the recorder's.
_RINGING_TOP = 0.35
_RINGING_PERCENT = 1.0


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge of the averaged cycle.

    Parameters
    ----------
    time_s
        From 10 to 90 % of the step; ``None`` where the recorder is not fast enough, and then
        ``time_s_at_most`` holds.
    slew_v_per_us
        Steepest slope, up to 9 % high on a straight edge, where a recorder's band limit makes it
        ripple; ``None`` alike, and then ``slew_v_per_us_at_least`` holds.
    overshoot_percent
        Highest point beyond the new level, of the step; ``None`` alike, and then
        ``overshoot_percent_at_most`` holds: the recorder overshoots by itself.
    ringing_hz, ringing_peaks
        Frequency of what rings after the edge, and how many extremes exceed 1 % of the step.
    """

    time_s: float | None
    time_s_at_most: float | None
    slew_v_per_us: float | None
    slew_v_per_us_at_least: float | None
    overshoot_percent: float | None
    overshoot_percent_at_most: float | None
    ringing_hz: float | None
    ringing_peaks: int


@dataclass(frozen=True, slots=True)
class ChannelSquare:
    """One channel of a square wave; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``silence``, ``adc-overload``, ``not-square``
        or ``no-plateau``.
    frequency_hz
        Fitted.
    step_v
        From one level to the other, at the edges.
    rising, falling
        The two edges.
    tilt_percent
        Fall of the tops over half a cycle, of the step; negative where they rise.
    noise_v_rms
        What the averaging has removed.
    """

    valid: bool
    reason: str | None = None
    frequency_hz: float | None = None
    step_v: float | None = None
    rising: Edge | None = None
    falling: Edge | None = None
    tilt_percent: float | None = None
    noise_v_rms: float | None = None


@dataclass(frozen=True, slots=True)
class SquareAnalysis:
    """A recorded square wave, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    interface_rise_s
        Rise time of the recorder itself, from loop-back where given, else of an ideal one.
    interface_measured
        Whether that came from a loop-back.
    notes
        Remarks.
    """

    kind: ClassVar[Literal["square"]] = "square"
    file: FileFacts
    channels: Mapping[str, ChannelSquare]
    interface_rise_s: float
    interface_measured: bool
    notes: tuple[Note, ...] = ()


def analyse_square(
    samples: Array, file: FileFacts, setup: CaptureSetup, *, interface_rise_s: float | None = None
) -> SquareAnalysis:
    """Return the step figures of a square wave.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude, from 8 cycles up.
    file
        Facts of the file.
    setup
        Calibration and nominal frequency.
    interface_rise_s
        Rise time of generator and recorder in loop-back; an ideal recorder is taken without it.

    Raises
    ------
    BenchError
        When the recording is too short, or the frequency leaves fewer than seven harmonics.

    Notes
    -----
    All cycles are averaged as a sum of harmonics to half the rate, by least squares. A sampling
    interface is not Gaussian, so its rise time cannot be taken out by squares: a rise time is
    stated from three times the interface's own up, and is a bound below.
    """
    rate_hz = float(file.sample_rate_hz)
    if len(samples) * setup.nominal_hz < _SHORTEST_CYCLES * rate_hz:
        raise BenchError(
            f"{len(samples) / rate_hz:.4g} s hold less than {_SHORTEST_CYCLES} cycles of "
            f"{setup.nominal_hz:g} Hz.",
            "recording",
            "Record for longer.",
        )
    if setup.nominal_hz > rate_hz / 15:
        raise BenchError(
            f"{setup.nominal_hz:g} Hz leave fewer than 7 harmonics below {rate_hz / 2:g} Hz.",
            "nominal frequency",
            f"Use a square wave of {rate_hz / 50:.0f} Hz or less.",
        )
    own_s = interface_rise_s or _ideal_rise_s(rate_hz, setup.nominal_hz)
    channels: dict[str, ChannelSquare] = {}
    notes: list[Note] = []
    for index, name in enumerate(channel_names(samples.shape[1])):
        column = samples[:_MOST_SAMPLES, index]
        channels[name] = _channel(column, rate_hz, setup.nominal_hz, setup.volts(name), own_s)
        notes.extend(_notes(channels[name], name))
    return SquareAnalysis(file, channels, own_s, interface_rise_s is not None, tuple(notes))


def _notes(channel: ChannelSquare, name: str) -> list[Note]:
    if channel.reason == "silence":
        return [Note("silence", "Nothing but silence was recorded.", name)]
    if channel.reason == "adc-overload":
        text = "The recorder was overloaded. Turn its input down and record again."
        return [Note("adc-overload", text, name)]
    if channel.rising and channel.rising.time_s is None:
        text = "The edges are as fast as the recorder: rise time and slew are bounds only."
        return [Note("floor-limited", text, name)]
    return []


def _channel(
    samples: Array, rate_hz: float, nominal_hz: float, volts: float, own_s: float
) -> ChannelSquare:
    if float(np.std(samples)) < _SILENT_RMS:
        return ChannelSquare(False, "silence")
    if overload_fraction(samples, rate_hz / nominal_hz) > 0:
        return ChannelSquare(False, "adc-overload")
    column = samples[:, None]
    low_hz, high_hz = nominal_hz * (1 - _SEARCH), nominal_hz * (1 + _SEARCH)
    start_hz = strongest_line(column, rate_hz, low_hz, high_hz)
    positions = np.arange(len(samples), dtype=float)
    few = fit_lines(column, positions, rate_hz, (Family(start_hz, (1, 3, 5, 7)),))
    hz = few.families[0].hz
    first, third = np.abs(few.amplitudes[0][:2, 0])
    if not _THIRD[0] < third / first < _THIRD[1] or not low_hz <= hz <= high_hz:
        return ChannelSquare(False, "not-square")
    orders = orders_below(0.499 * rate_hz, hz, _MOST_ORDERS)
    fit = fit_lines(column, positions, rate_hz, (Family(hz, orders, free=False),))
    cycle = _cycle(fit.amplitudes[0][:, 0]) * volts
    read = _read_cycle(cycle, hz)
    if read is None:
        return ChannelSquare(False, "no-plateau", frequency_hz=hz)
    (rising, falling), tilt, step_v = read
    return ChannelSquare(
        valid=True,
        frequency_hz=hz,
        step_v=step_v,
        rising=_edge(rising, own_s, rate_hz),
        falling=_edge(falling, own_s, rate_hz),
        tilt_percent=100 * tilt,
        noise_v_rms=math.sqrt(float(fit.variance[0])) * volts,
    )


def _cycle(lines: Complex) -> Array:
    """Return one finely sampled cycle that begins a quarter cycle before the rising edge."""
    orders = np.arange(1, len(lines) + 1)
    turned = lines * np.exp(-1j * np.angle(lines[0]) * orders)
    spectrum = np.zeros(_POINTS // 2 + 1, dtype=np.complex128)
    # A cosine rises through zero at three quarters of its cycle.
    spectrum[orders] = turned * np.exp(1j * np.pi * orders) * _POINTS / 2
    return np.asarray(np.fft.irfft(spectrum, _POINTS))


@dataclass(frozen=True, slots=True)
class _Step:
    """One edge as it was recorded, turned upward, with the step as unit."""

    rise_s: float
    slew_v_per_us: float
    overshoot: float
    ringing_hz: float | None
    ringing_peaks: int


def _read_cycle(cycle: Array, hz: float) -> tuple[tuple[_Step, _Step], float, float] | None:
    """Return both edges, the tilt and the step in volts, or ``None`` without a flat top."""
    point_s = 1 / (hz * len(cycle))
    half = len(cycle) // 2
    found, tilts, sizes = [], [], []
    for sign, turn in ((1.0, 0), (-1.0, half)):
        wave = sign * np.roll(cycle, -turn)
        before, after = np.polyfit(*_plateau(wave, 0), 1), np.polyfit(*_plateau(wave, half), 1)
        edge = _edge_place(wave, before, after)
        low, high = np.polyval(before, edge), np.polyval(after, edge)
        step = float(high - low)
        if step <= 0:
            return None
        one = _read_step((wave - low) / step, edge, after / step, point_s, step)
        if one is None:
            return None
        found.append(one)
        sizes.append(step)
        tilts.append(-after[0] * half / step)
    return (found[0], found[1]), float(np.mean(tilts)), float(np.mean(sizes))


def _plateau(wave: Array, half: int) -> tuple[Array, Array]:
    """Return places and values of the flat part of the half cycle around an edge at a quarter.

    The half before the edge runs from −1/4 to 1/4 of the cycle, the one after from 1/4 to 3/4.
    """
    quarter = len(wave) // 4
    first = -quarter + half
    places = np.arange(
        first + int(_PLATEAU[0] * 2 * quarter), first + int(_PLATEAU[1] * 2 * quarter)
    )
    return places.astype(float), wave[places % len(wave)]


def _edge_place(wave: Array, before: Array, after: Array) -> float:
    """Return where the wave is half way between the two plateaus, near a quarter."""
    quarter = len(wave) // 4
    middle = (np.polyval(before, quarter) + np.polyval(after, quarter)) / 2
    places = np.arange(quarter // 2, quarter + quarter // 2)
    above = wave[places] >= middle
    rises = np.flatnonzero(above[1:] & ~above[:-1])
    nearest = rises[np.argmin(np.abs(places[rises] - quarter))] if len(rises) else len(places) // 2
    return float(places[nearest])


def _read_step(wave: Array, edge: float, after: Array, point_s: float, step: float) -> _Step | None:
    """Return the figures of an upward edge of a wave whose step is 0 to 1."""
    quarter, middle = len(wave) // 4, int(edge)
    start, end = middle - quarter // 2, middle + quarter
    piece = wave[start:end]
    low = np.flatnonzero(piece[: middle - start + 1] <= 0.1)
    high = np.flatnonzero(piece[middle - start :] >= 0.9)
    if not len(low) or not len(high):
        return None
    first = _crossing(piece, int(low[-1]), 0.1)
    last = _crossing(piece, middle - start + int(high[0]) - 1, 0.9)
    rise_s = (last - first) * point_s
    if rise_s > _LONGEST_RISE * 2 * quarter * point_s:
        return None
    slope = float(np.max(np.gradient(piece)))
    places = np.arange(middle, middle + int(0.9 * 2 * quarter))
    rest = wave[places % len(wave)] - (1 + after[0] * (places - edge))
    reached = int(np.argmax(rest >= 0)) if np.any(rest >= 0) else 0
    tail = rest[reached:]
    inner = np.flatnonzero((tail[1:-1] - tail[:-2]) * (tail[2:] - tail[1:-1]) <= 0) + 1
    peaks = inner[np.abs(tail[inner]) > _RINGING_PERCENT / 100]
    ringing_hz = None
    if len(peaks) >= 2:
        ringing_hz = 1 / (2 * float(np.median(np.diff(peaks))) * point_s)
    return _Step(
        rise_s=rise_s,
        slew_v_per_us=slope * step / point_s * 1e-6,
        overshoot=max(float(tail.max(initial=0.0)), 0.0),
        ringing_hz=ringing_hz,
        ringing_peaks=len(peaks),
    )


def _crossing(piece: Array, at: int, level: float) -> float:
    """Return the place between two points where a rising wave passes a level."""
    here, there = float(piece[at]), float(piece[at + 1])
    return at + (level - here) / (there - here) if there > here else float(at)


def _edge(step: _Step, own_s: float, rate_hz: float) -> Edge:
    """Return figures where the edge is slow beside the recorder, else bounds."""
    known = step.rise_s >= _SLOW_ENOUGH * own_s
    percent = 100 * step.overshoot
    rings = step.ringing_hz is not None and step.ringing_hz < _RINGING_TOP * rate_hz
    return Edge(
        time_s=step.rise_s if known else None,
        time_s_at_most=None if known else max(step.rise_s, own_s),
        slew_v_per_us=step.slew_v_per_us if known else None,
        slew_v_per_us_at_least=None if known else step.slew_v_per_us,
        overshoot_percent=percent if known else None,
        overshoot_percent_at_most=None if known else percent,
        ringing_hz=step.ringing_hz if rings else None,
        ringing_peaks=step.ringing_peaks if rings else 0,
    )


def _ideal_rise_s(rate_hz: float, hz: float) -> float:
    """Return the rise time that a perfect square shows with every harmonic below half the rate."""
    orders = np.array(orders_below(0.499 * rate_hz, hz, _MOST_ORDERS))
    lines = np.where(orders % 2 == 1, (-1.0) ** ((orders - 1) // 2) / orders, 0.0)
    read = _read_cycle(_cycle(lines.astype(np.complex128)), hz)
    return read[0][0].rise_s if read else 0.45 / (0.5 * rate_hz)


def document_of(analysis: SquareAnalysis) -> dict[str, Any]:
    """Return an analysis as nested dictionaries, lists, numbers and text.

    Parameters
    ----------
    analysis
        Of a square wave.
    """
    return {
        **head(analysis.kind, analysis.file),
        "interface_rise_s": analysis.interface_rise_s,
        "interface_measured": analysis.interface_measured,
        "channels": {name: _channel_document(one) for name, one in analysis.channels.items()},
        "notes": note_list(analysis.notes),
    }


def _channel_document(channel: ChannelSquare) -> dict[str, Any]:
    figures = {
        key: getattr(channel, key)
        for key in ("frequency_hz", "step_v", "tilt_percent", "noise_v_rms")
    }
    figures |= {
        name: {
            key: value
            for key in Edge.__dataclass_fields__
            if (value := getattr(edge, key)) is not None
        }
        for name, edge in (("rising", channel.rising), ("falling", channel.falling))
        if edge is not None
    }
    known = {key: value for key, value in figures.items() if value is not None}
    return {"valid": channel.valid, "reason": channel.reason} | known

"""Where tones of several frequencies, played one after another, lie in a recording."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import interpolated_bin, line_spectrum, strongest_line
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_FRAME_S = 0.15
_HOPS_IN_FRAME = 5
_LEAST_DB = -40.0
_LEAST_SHARE = 0.3
_SAME_DB = 0.5
_SAME_SHARE, _SAME_HZ = 0.02, 4.0
_FEWEST_FRAMES = 6
_HOP_S = 0.01
_WINDOW_HOPS = 5
_CLEAR_SCORE = 0.5
_INSET_S = 0.04
_INSET_SHARE = 0.2
#: Hum fills the silence between the tones; it returns there, far below them.
_HUM_RETURNS = 3
_HUM_DB = -20.0


@dataclass(frozen=True, slots=True)
class PlannedTone:
    """One tone as it was played: where it starts in the file that was played, and how long."""

    frequency_hz: float
    start_s: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class Place:
    """The part of a recording in which one tone is steady: first sample, and one past the last."""

    hz: float
    start: int
    end: int


def find_tones(samples: Array, rate_hz: float) -> tuple[Place, ...]:
    """Return every steady tone of a third of a second or more, in order, found from the sound.

    Parameters
    ----------
    samples
        Shape (samples, channels), the channels that sound.
    rate_hz
        Sampling rate.

    Raises
    ------
    BenchError
        Where fewer than two tones are found.

    Notes
    -----
    A tone ends where frequency or level changes. Tones must lie 2 % and 4 Hz apart, within
    40 dB of the strongest, and hold at least a third of the power while they play.
    """
    frame = round(_FRAME_S * rate_hz)
    hop = frame // _HOPS_IN_FRAME
    starts = np.arange(0, max(len(samples) - frame, 0) + 1, hop)
    heard = [_strongest(samples[at : at + frame], rate_hz) for at in starts.tolist()]
    loudest_db = max((db for _, db in heard), default=0.0)
    runs: list[tuple[int, int]] = []
    first = 0
    for index, (one, other) in enumerate(pairwise(heard), start=1):
        if not _is_same(one, other):
            runs.append((first, index))
            first = index
    runs.append((first, len(heard)))
    kept = [
        (a, b)
        for a, b in runs
        if b - a >= _FEWEST_FRAMES and _middle(heard, a, b)[1] > loudest_db + _LEAST_DB
    ]
    places = []
    for a, b in _without_hum(kept, heard, loudest_db):
        # a frame in which this tone only just prevails is half its neighbour's
        start, end = a * hop + frame // 2 + hop, (b - 1) * hop + frame // 2 - hop
        rough_hz = _middle(heard, a, b)[0]
        reach_hz = max(_SAME_SHARE * rough_hz, rate_hz / frame)
        hz = strongest_line(samples[start:end], rate_hz, rough_hz - reach_hz, rough_hz + reach_hz)
        places.append(Place(hz, start, end))
    if len(places) < 2:
        found = ", ".join(f"{place.hz:.5g} Hz" for place in places) or "none"
        raise BenchError(
            f"no two steady tones, one after the other, are heard in it ({found}).",
            "recording",
            "Record stepped tones, or analyse it as a tone.",
        )
    return tuple(places)


def _strongest(frame: Array, rate_hz: float) -> tuple[float, float]:
    """Return (frequency, level in dB) of a frame's strongest line, −∞ dB where none rules it."""
    power = line_spectrum(frame)
    peak = 1 + int(np.argmax(power[1:-1]))
    mean_square = float(np.sum(np.var(frame, axis=0)))
    if power[peak] / 2 < _LEAST_SHARE * mean_square or mean_square <= 0:
        return 0.0, -math.inf
    return interpolated_bin(power, peak) * rate_hz / len(frame), 10 * math.log10(mean_square)


def _is_same(one: tuple[float, float], other: tuple[float, float]) -> bool:
    if math.isinf(one[1]) or math.isinf(other[1]):
        return False
    near_hz = max(_SAME_SHARE * one[0], _SAME_HZ)
    return abs(one[0] - other[0]) < near_hz and abs(one[1] - other[1]) < _SAME_DB


def _middle(heard: list[tuple[float, float]], a: int, b: int) -> tuple[float, float]:
    hz, db = np.median(np.array(heard[a:b]), axis=0)
    return float(hz), float(db)


def _without_hum(
    runs: list[tuple[int, int]], heard: list[tuple[float, float]], loudest_db: float
) -> list[tuple[int, int]]:
    """Return the runs without those of a faint line that comes back again and again."""
    figures = [_middle(heard, a, b) for a, b in runs]

    def returns(hz: float) -> int:
        return sum(
            abs(other - hz) < _SAME_HZ and db < loudest_db + _HUM_DB for other, db in figures
        )

    return [
        run
        for run, (hz, db) in zip(runs, figures, strict=True)
        if db >= loudest_db + _HUM_DB or returns(hz) < _HUM_RETURNS
    ]


def place_tones(
    samples: Array, rate_hz: float, tones: tuple[PlannedTone, ...]
) -> tuple[Place, ...]:
    """Return where planned tones lie: the plan as a whole is laid over the recording.

    Parameters
    ----------
    samples
        Shape (samples, channels), the channels that sound.
    rate_hz
        Sampling rate.
    tones
        As played, in order of time.

    Raises
    ------
    BenchError
        Where the plan fits nowhere, or the recording starts or ends within it.
    """
    hop = round(_HOP_S * rate_hz)
    begin_s = tones[0].start_s
    gates = [
        (
            round((t.start_s - begin_s) / _HOP_S),
            round((t.start_s - begin_s + t.duration_s) / _HOP_S),
        )
        for t in tones
    ]
    length = gates[-1][1]
    count = len(samples) // hop
    score = np.zeros(count + length + 1)
    for tone, (a, b) in zip(tones, gates, strict=True):
        power = _power_at(samples[: count * hop], rate_hz, tone.frequency_hz, hop)
        padded = np.concatenate(
            (np.zeros(length), power / max(power.max(), 1e-300), np.zeros(length))
        )
        total = np.concatenate(([0.0], np.cumsum(padded)))
        at = np.arange(len(score))
        inside = (total[at + b] - total[at + a]) / (b - a)
        everything = (total[at + length] - total[at]) / length
        score += (inside - everything) / len(tones)
    best = int(np.argmax(score))
    if score[best] < _CLEAR_SCORE * (1 - 1 / len(tones)):
        named = ", ".join(f"{tone.frequency_hz:g}" for tone in tones)
        raise BenchError(
            f"tones of {named} Hz in this order are not heard in it.",
            "recording",
            "Name the description of the tones that were played.",
        )
    offset_s = (best - length) * _HOP_S - begin_s
    return tuple(_place(tone, offset_s, len(samples), rate_hz) for tone in tones)


def _place(tone: PlannedTone, offset_s: float, frames: int, rate_hz: float) -> Place:
    inset_s = min(_INSET_S, _INSET_SHARE * tone.duration_s)
    start = round((tone.start_s + offset_s + inset_s) * rate_hz)
    end = round((tone.start_s + offset_s + tone.duration_s - inset_s) * rate_hz)
    if start < 0 or end > frames:
        what = "starts after" if start < 0 else "stops before the end of"
        raise BenchError(
            f"the recording {what} the tone of {tone.frequency_hz:g} Hz.",
            "recording",
            "Record all of the tones in one piece.",
        )
    return Place(tone.frequency_hz, start, end)


def _power_at(samples: Array, rate_hz: float, hz: float, hop: int) -> Array:
    """Return the power near a frequency, smoothed over 50 ms, once a hop."""
    cycles = hz * np.arange(len(samples)) / rate_hz
    carrier = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    power = np.zeros(len(samples) // hop)
    for channel in range(samples.shape[1]):
        parts = (samples[:, channel] * carrier).reshape(-1, hop).sum(axis=1)
        smooth = np.convolve(parts, np.ones(_WINDOW_HOPS), mode="same")
        power += np.abs(smooth) ** 2
    return power

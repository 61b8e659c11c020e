"""What the computer did to a recording on its way: another sampling rate, a turned-up level.

Hints, not proofs: what a resampler or a level control leaves behind can have other causes, so
every note says "may".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.notes import Note

Array = NDArray[np.float64]

#: Rates that sound is resampled from, and how a bare tone is told from its images.
_RATES_HZ = (8_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000, 88_200, 96_000)
_PIECE = 8192
_MOST_PIECES = 400
#: Sidelobes of this window lie below -170 dB: a tone must not fill what is empty.
_KAISER = 24.0
_CELLS_PER_OCTAVE = 48

#: The share of half the rate that an edge may lie at; above, it is the converter's own filter.
_HIGHEST_EDGE = 0.8
_LEAST_DROP_DB = 20.0
#: No converter is this quiet above an edge; what remains is rounding.
_EMPTY_DBFS = -132.0
_HALF_DB = 6.0
#: A filter of coils or amplifiers is of a lower order than this.
_STEEPEST_ORDER = 12
_EDGE_PLACES = (0.93, 1.05)

_IMAGE_DB = -90.0
_IMAGE_OVER_FLOOR_DB = 25.0
_CLEAR_BINS = 8

_TONE_FRAME_S = 0.02
_NOISE_FRAME_S = 0.1
_FEWEST_FRAMES = 12
_BREATHING_TONE_DB = 0.3
_BREATHING_NOISE_DB = 4.0
_GRADUAL = 0.5
_FEWEST_SWINGS = 3
_RECOVERED = 0.5


@dataclass(frozen=True, slots=True)
class Swing:
    """One move of a level from a turning point to the next.

    Parameters
    ----------
    start
        Frame at which it begins.
    change_db
        How far it goes, dB, with its sign.
    gradual
        Whether it moves on the way, rather than jumps.
    """

    start: int
    change_db: float
    gradual: bool


def chain_notes(
    samples: Array, rate_hz: float, name: str, tone_hz: float | None = None
) -> list[Note]:
    """Return notes where a recording may have been resampled, or its level turned.

    Parameters
    ----------
    samples
        One channel, shape (samples,), digital amplitude.
    rate_hz
        Sampling rate.
    name
        ``L``, ``R`` or ``M``.
    tone_hz
        Of a steady tone; ``None`` for a recording without a signal.
    """
    notes = []
    if text := _resampled_text(samples, rate_hz, tone_hz):
        notes.append(Note("resampled", text, name))
    if tone_hz is None:
        level_db, frame_s, least_db = noise_level_db(samples, rate_hz), 0.1, _BREATHING_NOISE_DB
        what = "noise"
    else:
        level_db, frame_s = tone_level_db(samples, rate_hz, tone_hz), _TONE_FRAME_S
        least_db, what = _BREATHING_TONE_DB, "tone"
    found = find_level_control(level_db, least_db, rises=tone_hz is None)
    if found:
        text = (
            f"The level of the {what} moves by {abs(found.change_db):.2g} dB as by itself: the "
            "recorder may control its level. Turn automatic gain and enhancements off."
        )
        notes.append(Note("level-control", text, name, at_s=found.start * frame_s))
    return notes


def _resampled_text(samples: Array, rate_hz: float, tone_hz: float | None) -> str:
    if len(samples) < 2 * _PIECE:
        return ""
    bins_hz, density = _density(samples, rate_hz)
    if edge_hz := find_empty_above(bins_hz, density, rate_hz):
        return (
            f"Above {edge_hz / 1e3:.4g} kHz nothing is recorded but rounding: the system may have "
            f"resampled from {2 * edge_hz:.0f} Hz. Record at that rate."
        )
    if tone_hz and (image_hz := find_image(bins_hz, density, tone_hz)):
        return (
            f"An image of the tone stands at {image_hz:.0f} Hz: the system may have resampled from "
            f"{image_hz + tone_hz:.0f} Hz. Play and record at one rate."
        )
    return ""


def _density(samples: Array, rate_hz: float) -> tuple[Array, Array]:
    """Return bins in Hz and mean square per bin, from pieces spread over the recording."""
    window = np.kaiser(_PIECE, _KAISER)
    scale = 2 / (_PIECE * float(np.sum(window**2)))
    last = len(samples) - _PIECE
    count = min(_MOST_PIECES, 2 * last // _PIECE + 1)
    starts = np.linspace(0, last, count).astype(int)
    density = np.zeros(_PIECE // 2 + 1)
    for start in starts:
        density += np.abs(np.fft.rfft(window * samples[start : start + _PIECE])) ** 2
    bins_hz = np.asarray(np.fft.rfftfreq(_PIECE, 1 / rate_hz), dtype=np.float64)
    return bins_hz, density * scale / len(starts)


def find_empty_above(bins_hz: Array, density: Array, rate_hz: float) -> float | None:
    """Return half of a usual sampling rate above which a spectrum is empty, or ``None``.

    Parameters
    ----------
    bins_hz, density
        Spectrum, mean square per bin of the digital amplitude.
    rate_hz
        Sampling rate of the file.

    Notes
    -----
    Common practice, no source. The noise must fall by 20 dB at least, as steeply as no filter of
    an analogue circuit does, near half of a rate in use, and to less than any converter's
    own noise. Not seen: a rate within a fifth of the file's, whose edge is the converter's own.
    """
    found = {}
    for edge_hz in (rate / 2 for rate in _RATES_HZ):
        if edge_hz <= _HIGHEST_EDGE * rate_hz / 2:
            place = _edge_place(bins_hz, density, edge_hz)
            if place is not None and _EDGE_PLACES[0] < place < _EDGE_PLACES[1]:
                found[edge_hz] = abs(math.log(place))
    return min(found, key=lambda edge_hz: found[edge_hz], default=None)


def _edge_place(bins_hz: Array, density: Array, edge_hz: float) -> float | None:
    """Return where the spectrum has fallen by half, over a frequency; ``None`` without an edge."""
    step = 2 ** (1 / _CELLS_PER_OCTAVE)
    count = int(math.log(0.97 * float(bins_hz[-1]) / (0.7 * edge_hz), step))
    cells_hz = 0.7 * edge_hz * step ** np.arange(count + 1)
    places = np.searchsorted(bins_hz, cells_hz)
    pieces = [density[first : max(last, first + 1)] for first, last in pairwise(places)]
    level_db = 10 * np.log10([float(np.median(piece)) + 1e-30 for piece in pieces])
    middles_hz = cells_hz[:-1] * math.sqrt(step)
    below_db = float(np.median(level_db[middles_hz < 0.85 * edge_hz]))
    above_db = float(np.median(level_db[middles_hz > 1.2 * edge_hz]))
    drop_db = below_db - above_db
    left_dbfs = above_db + 10 * math.log10(np.sum(bins_hz > 1.2 * edge_hz))
    if drop_db < _LEAST_DROP_DB or left_dbfs > _EMPTY_DBFS:
        return None
    late = middles_hz > 0.8 * edge_hz
    far_db = min(30.0, drop_db - 3)
    half_hz, far_hz = (
        float(middles_hz[int(np.argmax(late & (level_db < below_db - fall_db)))])
        for fall_db in (_HALF_DB, far_db)
    )
    return half_hz / edge_hz if far_hz / half_hz < _steepest_ratio(far_db) else None


def _steepest_ratio(far_db: float) -> float:
    """Return how far a Butterworth low-pass needs from half of the amplitude to so far down."""
    ratio = (10 ** (far_db / 10) - 1) / (10 ** (_HALF_DB / 10) - 1)
    return float(ratio ** (1 / (2 * _STEEPEST_ORDER)))


def find_image(bins_hz: Array, density: Array, tone_hz: float) -> float | None:
    """Return where a tone is mirrored at half of a usual sampling rate, or ``None``.

    Parameters
    ----------
    bins_hz, density
        Spectrum, mean square per bin.
    tone_hz
        The tone.
    """
    bin_hz = float(bins_hz[1])

    def peak(hz: float) -> float:
        middle = round(hz / bin_hz)
        return float(density[max(0, middle - 2) : middle + 3].max())

    tone = peak(tone_hz) + 1e-30
    for rate in _RATES_HZ:
        image_hz = rate - tone_hz
        order = image_hz / tone_hz
        near_harmonic = abs(order - round(order)) * tone_hz < _CLEAR_BINS * bin_hz
        if near_harmonic or not 2 * tone_hz < image_hz < 0.99 * float(bins_hz[-1]):
            continue
        middle = round(image_hz / bin_hz)
        around = density[middle - 60 : middle + 61]
        over_db = 10 * math.log10((peak(image_hz) + 1e-30) / (float(np.median(around)) + 1e-30))
        level_db = 10 * math.log10((peak(image_hz) + 1e-30) / tone)
        if over_db > _IMAGE_OVER_FLOOR_DB and level_db > _IMAGE_DB:
            return float(image_hz)
    return None


def tone_level_db(samples: Array, rate_hz: float, tone_hz: float) -> Array:
    """Return the level of a tone in frames of about 20 ms, dB re its median.

    Frames in which nothing plays are left out.
    """
    cycles = max(4, round(_TONE_FRAME_S * tone_hz))
    frame = max(8, round(cycles * rate_hz / tone_hz))
    count = len(samples) // frame
    if not count:
        return np.zeros(0)
    frames = samples[: count * frame].reshape(count, frame)
    turn = 2 * np.pi * tone_hz / rate_hz * np.arange(frame)
    window = np.hanning(frame)
    level = np.hypot(frames @ (window * np.cos(turn)), frames @ (window * np.sin(turn)))
    usual = float(np.median(level))
    return 20 * np.log10(level[level > 0.01 * usual] / usual) if usual > 0 else np.zeros(0)


def noise_level_db(samples: Array, rate_hz: float) -> Array:
    """Return the level of noise in frames of 0.1 s, dB re its median.

    Of the differences between samples: hum and slow wandering hardly count.
    """
    frame = round(_NOISE_FRAME_S * rate_hz)
    count = len(samples) // frame
    if not count:
        return np.zeros(0)
    frames = samples[: count * frame].reshape(count, frame)
    square = np.array([np.mean(np.diff(one) ** 2) for one in frames])
    usual = float(np.median(square))
    return 10 * np.log10(square[square > 0] / usual) if usual > 0 else np.zeros(0)


def find_level_control(level_db: Array, least_db: float, *, rises: bool = False) -> Swing | None:
    """Return the swing that gives a level control away, or ``None``.

    Parameters
    ----------
    level_db
        Level by frame.
    least_db
        Moves smaller than this are not looked at.
    rises
        Whether a level that only rises gradually is enough: that of noise, where nothing plays.

    Notes
    -----
    Common practice, no source. It breathes when it moves gradually at least three times, to and
    fro; it recovers when at least half of a sudden loss comes back gradually. A drift one way, or
    the jumps of a bad contact, are neither.

    Examples
    --------
    >>> frames = np.arange(200)
    >>> find_level_control(np.sin(frames / 10), 0.3).gradual
    True
    >>> find_level_control(-frames / 100, 0.3) is None
    True
    """
    if len(level_db) < _FEWEST_FRAMES:
        return None
    inner = level_db[1:-1]
    smooth = np.median(np.stack((inner[:-2], inner[1:-1], inner[2:])), axis=0)
    swings = _swings(smooth, least_db)
    gradual = [swing for swing in swings if swing.gradual]
    if len(gradual) >= _FEWEST_SWINGS:
        return max(gradual, key=lambda swing: abs(swing.change_db))
    for loss, back in pairwise(swings):
        fell = loss.change_db < 0 and not loss.gradual
        if fell and back.gradual and back.change_db > -_RECOVERED * loss.change_db:
            return back
    if rises and len(swings) == 1 and gradual and gradual[0].change_db > 0:
        return gradual[0]
    return None


def _swings(level_db: Array, least_db: float) -> list[Swing]:
    """Return the moves of a level between turning points, leaving out small ones."""
    lowest = highest = extreme = direction = 0
    turns: list[int] = []
    for at, value in enumerate(level_db):
        if direction:
            back = direction * (level_db[extreme] - value)
            if back < 0:
                extreme = at
            elif back >= least_db:
                turns.append(extreme)
                direction, extreme = -direction, at
            continue
        lowest = at if value < level_db[lowest] else lowest
        highest = at if value > level_db[highest] else highest
        if level_db[highest] - level_db[lowest] >= least_db:
            direction, extreme = (1, highest) if highest > lowest else (-1, lowest)
            turns.append(min(lowest, highest))
    if direction:
        turns.append(extreme)
    swings = []
    for start, end in pairwise(turns):
        change = float(level_db[end] - level_db[start])
        part = level_db[start : end + 1]
        jump = float(np.max(np.abs(part[2:] - part[:-2]), initial=0.0)) if end - start > 2 else 1e9
        swings.append(Swing(start, change, jump < _GRADUAL * abs(change)))
    return swings

"""Crackle and dropouts while a control is turned once, slowly, with a tone or without."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.document_parts import head, known, note_list
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.quality import overload_fraction, run_edges
from backtospec.analysis.setup import CaptureSetup
from backtospec.errors import BenchError

Array = NDArray[np.float64]

EventKind: TypeAlias = Literal["crackle", "dropout"]

_SHORTEST_S = 1.0
#: The second difference is quiet for hum and a turning hand, loud for a crackle.
_FRAME_S = 1e-3
#: A millisecond this far above the median around it: Gaussian noise never gets there.
_OVER_NEIGHBOURS = 6.0
_NEIGHBOURHOOD_S = 0.12
#: Crackles nearer than this are one event.
_JOINED_S = 0.02
_SHARP = 0.3
_SILENT_TONE = 1e-3
_TONE_FRAME_S = 0.02
_TONE_ORDERS = (1, 2, 3, 4, 5)
_LEVEL_FRAME_S = 0.01
_DROP = 0.5
_RECOVERED = 0.7
_LEVEL_NEIGHBOURHOOD_S = 1.0
_OVER_NOISE = 10.0
_SMALLEST = 2.0**-30


@dataclass(frozen=True, slots=True)
class ControlEvent:
    """One crackle or dropout.

    Parameters
    ----------
    kind
        Which.
    start_s, end_s
        From the start of the file.
    rotation_percent
        Where in the turn, 0 at its start and 100 at its end, when the hand moves evenly.
    level_db
        Crackle: its peak over the tone's (at its loudest), or over digital full scale without a
        tone. Dropout: how far the tone falls.
    peak_v
        Peak of a crackle in volts; ``None`` for a dropout.
    """

    kind: EventKind
    start_s: float
    end_s: float
    rotation_percent: float
    level_db: float
    peak_v: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelControl:
    """One channel of one turn; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload`` or ``silence``.
    has_tone
        Whether a tone was there; without one dropouts cannot be seen.
    events
        In order of time.
    crackles_per_s, dropouts_per_s
        Over the turn.
    worst_crackle_db, worst_dropout_db
        The loudest and the deepest.
    text
        The reading in plain words.
    """

    valid: bool
    reason: str | None = None
    has_tone: bool | None = None
    events: tuple[ControlEvent, ...] = ()
    crackles_per_s: float | None = None
    dropouts_per_s: float | None = None
    worst_crackle_db: float | None = None
    worst_dropout_db: float | None = None
    text: str | None = None


@dataclass(frozen=True, slots=True)
class ControlAnalysis:
    """A recording of one slow turn of a control, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    turn_s
        When the turn began and ended.
    notes
        Remarks.
    """

    kind: ClassVar[Literal["control"]] = "control"
    file: FileFacts
    channels: Mapping[str, ChannelControl]
    turn_s: tuple[float, float]
    notes: tuple[Note, ...] = ()


def analyse_control(
    samples: Array,
    file: FileFacts,
    setup: CaptureSetup,
    *,
    turn_s: tuple[float, float] | None = None,
) -> ControlAnalysis:
    """Return crackle and dropouts against time and rotation.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude, from 1 s up.
    file
        Facts of the file.
    setup
        Calibration, and the frequency of the tone if there is one.
    turn_s
        When the turn began and ended; the whole recording without it.

    Raises
    ------
    BenchError
        When the recording is too short or the turn is not within it.

    Notes
    -----
    Crackle: the second difference, freed of the tone frame by frame, against its median over the
    120 ms around. Dropouts: the tone's level at half its median over the second around or less,
    with a return on both sides, so that the turn itself does not count. Thresholds are common
    practice, no source.
    """
    rate_hz = float(file.sample_rate_hz)
    length_s = len(samples) / rate_hz
    if length_s < _SHORTEST_S:
        raise BenchError(
            f"{length_s:.3g} s are less than the {_SHORTEST_S:g} s that one slow turn takes.",
            "recording",
            "Turn the control once from end to end in about ten seconds.",
        )
    begin_s, end_s = turn_s or (0.0, length_s)
    if not 0 <= begin_s < end_s <= length_s:
        raise BenchError(
            f"the turn from {begin_s:g} to {end_s:g} s is not within 0…{length_s:.3g} s.",
            "turn",
            "Give its start and end as they are in the recording.",
        )
    channels: dict[str, ChannelControl] = {}
    notes: list[Note] = []
    for index, name in enumerate(channel_names(samples.shape[1])):
        column = samples[:, index]
        refused = _refused(column, rate_hz / setup.nominal_hz, name)
        if refused is None:
            channels[name] = _channel(
                column, rate_hz, setup.nominal_hz, setup.volts(name), (begin_s, end_s)
            )
        else:
            channels[name] = ChannelControl(False, refused.code)
            notes.append(refused)
    return ControlAnalysis(file, channels, (begin_s, end_s), tuple(notes))


def _refused(samples: Array, cycle_samples: float, name: str) -> Note | None:
    """Return why a channel cannot be read, or ``None``."""
    if np.ptp(samples) == 0:
        return Note("silence", "Every sample is the same: nothing was recorded.", name)
    if overload_fraction(samples, cycle_samples) > 0:
        text = "The recorder was overloaded. Turn its input down and record again."
        return Note("adc-overload", text, name)
    return None


def _channel(
    samples: Array, rate_hz: float, hz: float, volts: float, turn_s: tuple[float, float]
) -> ChannelControl:
    frame = max(int(_LEVEL_FRAME_S * rate_hz), math.ceil(4 * rate_hz / hz))
    level = _tone_level(samples, rate_hz, hz, frame)
    tone = float(np.percentile(level, 99))
    has_tone = tone > _SILENT_TONE and tone > 0.3 * math.sqrt(2 * float(np.mean(samples**2)))
    tone_hz, scale = (hz, tone) if has_tone else (None, 1.0)
    sharp = _bent(samples)
    drops: list[ControlEvent] = []
    if has_tone:
        sharp = _without_tone(sharp, rate_hz, hz)
        rest = _without_tone(samples, rate_hz, hz)
        noise = float(np.median(np.abs(rest))) / 0.6745 * math.sqrt(3 / frame)
        drops = _dropouts(level, frame / rate_hz, _OVER_NOISE * noise, turn_s)
    crackles = [
        crackle
        for crackle in _crackles(samples, sharp, rate_hz, tone_hz, scale, volts, turn_s)
        if not any(_touch(crackle, drop) for drop in drops)
    ]
    found = [one for one in (*crackles, *drops) if turn_s[0] <= one.start_s <= turn_s[1]]
    events = tuple(sorted(found, key=lambda event: event.start_s))
    return _summary(events, has_tone, turn_s)


def _touch(crackle: ControlEvent, drop: ControlEvent) -> bool:
    """Whether a crackle is the edge of a dropout."""
    return drop.start_s - _JOINED_S < crackle.start_s < drop.end_s + _JOINED_S


def _summary(
    events: tuple[ControlEvent, ...], has_tone: bool, turn_s: tuple[float, float]
) -> ChannelControl:
    span_s = turn_s[1] - turn_s[0]
    crackles = [event for event in events if event.kind == "crackle"]
    drops = [event for event in events if event.kind == "dropout"]
    worst = max(crackles, key=lambda event: event.level_db, default=None)
    deepest = min(drops, key=lambda event: event.level_db, default=None)
    said = []
    if worst:
        reference = "the tone" if has_tone else "full scale"
        said.append(
            f"{len(crackles)} crackles, the loudest {worst.level_db:.0f} dB re {reference} at "
            f"{worst.rotation_percent:.0f} % of the turn"
        )
    if deepest:
        said.append(
            f"{len(drops)} dropouts, the deepest {deepest.level_db:.0f} dB at "
            f"{deepest.rotation_percent:.0f} % of the turn"
        )
    text = "; ".join(said) + ": clean the control." if said else "The control turns quietly."
    return ChannelControl(
        valid=True,
        has_tone=has_tone,
        events=events,
        crackles_per_s=len(crackles) / span_s,
        dropouts_per_s=len(drops) / span_s if has_tone else None,
        worst_crackle_db=worst.level_db if worst else None,
        worst_dropout_db=deepest.level_db if deepest else None,
        text=text,
    )


def _bent(samples: Array) -> Array:
    """Return the second difference, as long as the samples."""
    return np.diff(samples, 2, prepend=samples[:1], append=samples[-1:])


def _tone_level(samples: Array, rate_hz: float, hz: float, frame: int) -> Array:
    """Return the peak amplitude near the tone's frequency in each frame."""
    window = np.hanning(frame)
    turn = np.exp(-2j * np.pi * hz * np.arange(frame) / rate_hz) * window / window.sum() * 2
    frames = samples[: len(samples) // frame * frame].reshape(-1, frame)
    return np.asarray(np.abs(frames @ turn))


def _without_tone(samples: Array, rate_hz: float, hz: float) -> Array:
    """Return the samples without the tone, its harmonics and a slow bend, frame by frame.

    Level and pitch may change across a frame: every line is also fitted times t and t².
    """
    frame = max(int(_TONE_FRAME_S * rate_hz), math.ceil(8 * rate_hz / hz))
    place = np.arange(frame, dtype=np.float64) - (frame - 1) / 2
    basis, _ = np.linalg.qr(_columns(place, rate_hz, hz))
    count = len(samples) // frame
    frames = samples[: count * frame].reshape(count, frame)
    return np.asarray((frames - (frames @ basis) @ basis.T).ravel())


def _columns(place: Array, rate_hz: float, hz: float | None) -> Array:
    """Return a slow bend, and the tone with its harmonics, times 1, t and t²."""
    slow = place / np.abs(place).max()
    columns = [np.ones(len(place)), slow, slow**2]
    for order in _TONE_ORDERS if hz else ():
        if hz and order * hz < 0.45 * rate_hz:
            turn = 2 * np.pi * order * hz * place / rate_hz
            for wave in (np.cos(turn), np.sin(turn)):
                columns.extend((wave, wave * slow, wave * slow**2))
    return np.stack(columns, axis=1)


def _peak(samples: Array, first: int, last: int, rate_hz: float, hz: float | None) -> float:
    """Return the peak of a crackle over what the clean samples around it lead one to expect."""
    reach, margin = int(_TONE_FRAME_S * rate_hz), int(_FRAME_S * rate_hz)
    begin, end = max(0, first - reach), min(len(samples), last + reach)
    place = np.arange(begin, end, dtype=np.float64) - (begin + end - 1) / 2
    clean = np.ones(len(place), dtype=bool)
    clean[max(0, first - margin - begin) : last + margin - begin] = False
    columns = _columns(place, rate_hz, hz)
    solution = np.linalg.lstsq(columns[clean], samples[begin:end][clean], rcond=None)[0]
    return float(np.abs(samples[begin:end] - columns @ solution)[~clean].max())


def _crackles(
    samples: Array,
    sharp: Array,
    rate_hz: float,
    hz: float | None,
    scale: float,
    volts: float,
    turn_s: tuple[float, float],
) -> list[ControlEvent]:
    from scipy.ndimage import median_filter

    frame = max(8, int(_FRAME_S * rate_hz))
    count = len(sharp) // frame
    peaks = np.abs(sharp[: count * frame]).reshape(count, frame).max(axis=1)
    around = median_filter(peaks, int(_NEIGHBOURHOOD_S / _FRAME_S) | 1, mode="nearest")
    over = peaks > _OVER_NEIGHBOURS * np.maximum(around, _SMALLEST)
    near = np.convolve(over, np.ones(int(_JOINED_S / _FRAME_S)))[:count] > 0
    events = []
    for start, end in zip(*run_edges(near), strict=True):
        # Taking out the tone smears a little of a crackle over its whole frame.
        within = peaks[start:end]
        strong = np.flatnonzero(within >= _SHARP * within.max())
        first, last = int(start + strong[0]), int(start + strong[-1]) + 1
        begin_s = first * frame / rate_hz
        peak = _peak(samples, first * frame, last * frame, rate_hz, hz)
        events.append(
            ControlEvent(
                kind="crackle",
                start_s=begin_s,
                end_s=last * frame / rate_hz,
                rotation_percent=_rotation(begin_s, turn_s),
                level_db=20 * math.log10(max(peak / scale, 1e-15)),
                peak_v=peak * volts,
            )
        )
    return events


def _dropouts(
    level: Array, frame_s: float, least: float, turn_s: tuple[float, float]
) -> list[ControlEvent]:
    from scipy.ndimage import median_filter

    width = max(3, int(_LEVEL_NEIGHBOURHOOD_S / frame_s) | 1)
    usual = median_filter(level, width, mode="nearest")
    low = (level < _DROP * usual) & (usual > least)
    events = []
    for start, end in zip(*run_edges(low), strict=True):
        before, after = level[max(0, start - 5) : start], level[end : end + 5]
        both = min(before.max(initial=0.0), after.max(initial=0.0))
        if both < _RECOVERED * usual[start]:
            continue
        depth = float(np.min(level[start:end] / usual[start:end]))
        events.append(
            ControlEvent(
                kind="dropout",
                start_s=float(start * frame_s),
                end_s=float(end * frame_s),
                rotation_percent=_rotation(float(start * frame_s), turn_s),
                level_db=20 * math.log10(max(depth, 1e-6)),
            )
        )
    return events


def _rotation(at_s: float, turn_s: tuple[float, float]) -> float:
    return 100 * (at_s - turn_s[0]) / (turn_s[1] - turn_s[0])


def document_of(analysis: ControlAnalysis) -> dict[str, Any]:
    """Return an analysis as nested dictionaries, lists, numbers and text.

    Parameters
    ----------
    analysis
        Of one turn of a control.
    """
    return {
        **head(analysis.kind, analysis.file),
        "turn_s": list(analysis.turn_s),
        "channels": {name: _channel_document(one) for name, one in analysis.channels.items()},
        "notes": note_list(analysis.notes),
    }


def _channel_document(channel: ChannelControl) -> dict[str, Any]:
    document: dict[str, Any] = {"valid": channel.valid, "reason": channel.reason}
    if not channel.valid:
        return document
    document |= known(
        has_tone=channel.has_tone,
        crackles_per_s=channel.crackles_per_s,
        dropouts_per_s=channel.dropouts_per_s,
        worst_crackle_db=channel.worst_crackle_db,
        worst_dropout_db=channel.worst_dropout_db,
        text=channel.text,
    )
    document["events"] = [
        known(
            kind=event.kind,
            start_s=event.start_s,
            end_s=event.end_s,
            rotation_percent=event.rotation_percent,
            level_db=event.level_db,
            peak_v=event.peak_v,
        )
        for event in channel.events
    ]
    return document

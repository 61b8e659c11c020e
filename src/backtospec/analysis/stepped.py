"""Tones of several frequencies one after another: power, distortion and response of each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.document import channel_of_tone
from backtospec.analysis.document_parts import Document, head, known, note_list
from backtospec.analysis.notes import FileFacts, Note, NoteCode, channel_names
from backtospec.analysis.power_bandwidth import (
    DEFINITION,
    PowerBandwidth,
    PowerPoint,
    find_power_bandwidth,
)
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stepped_places import Place, PlannedTone, find_tones, place_tones
from backtospec.analysis.tone import ChannelTone, ToneAnalysis, analyse_tone
from backtospec.errors import BenchError

Array = NDArray[np.float64]

REFERENCE_HZ = 1000.0
#: The tone that the response refers to lies within a third of an octave of 1 kHz.
_REFERENCE_REACH = 2 ** (1 / 3)
_SILENT_RMS = 1e-5
#: More of a tone makes no figure better that is stated here.
_MOST_SAMPLES = 2**16
_FEWEST_CYCLES = 20
#: Without these two in the band nothing is known of a tone's distortion.
_NEEDED_HARMONICS = {2, 3}
#: Remarks on the recording as a whole: said once, not for every tone.
_SAID_ONCE: frozenset[NoteCode] = frozenset(
    {
        "adc-overload",
        "hum",
        "undithered",
        "quantisation-limited",
        "dc",
        "mono",
        "inverted",
        "undriven",
    }
)


@dataclass(frozen=True, slots=True)
class SteppedTone:
    """One tone of the series.

    Parameters
    ----------
    frequency_hz
        As played, or as found where nobody said; see each channel for the fitted one.
    start_s, end_s
        Where it is steady, seconds from the start of the file.
    channels
        Figures by channel, without those that were refused throughout.
    tracking_db_r_minus_l
        Level of the right channel minus the left.
    """

    frequency_hz: float
    start_s: float
    end_s: float
    channels: Mapping[str, ChannelTone]
    tracking_db_r_minus_l: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelStepped:
    """One channel over all tones; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload`` or ``silence``.
    response_db, response_db_u
        By frequency, relative to the tone at 1 kHz, with standard uncertainty.
    power_bandwidth
        ``None`` without a tone at 1 kHz, or where that one is beyond the rated distortion.
    """

    valid: bool
    reason: str | None = None
    response_db: Mapping[float, float] = field(default_factory=dict)
    response_db_u: Mapping[float, float] = field(default_factory=dict)
    power_bandwidth: PowerBandwidth | None = None


@dataclass(frozen=True, slots=True)
class SteppedAnalysis:
    """A recording of stepped tones, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    tones
        In order of time.
    reference_hz
        The tone that the response refers to.
    clock_ppm
        Frequency in the file over frequency as played, minus one, in parts per million; only
        where it was said what was played.
    rated_thd_percent
        The distortion up to which power counts.
    notes
        Remarks; see :data:`backtospec.analysis.notes.NoteCode`.
    """

    kind: ClassVar[Literal["stepped"]] = "stepped"
    file: FileFacts
    channels: Mapping[str, ChannelStepped]
    tones: tuple[SteppedTone, ...] = ()
    reference_hz: float | None = None
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    rated_thd_percent: float | None = None
    notes: tuple[Note, ...] = ()


def analyse_stepped(
    samples: Array,
    file: FileFacts,
    setup: CaptureSetup,
    played: Sequence[PlannedTone] | None = None,
) -> SteppedAnalysis:
    """Return level, power, distortion and response of tones played one after another.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude.
    file
        Facts of the file.
    setup
        Calibration and load; its nominal frequency plays no part. With a rated distortion the
        power bandwidth holds to that too.
    played
        What was played; without it the tones are found from the sound.

    Raises
    ------
    BenchError
        Where no such tones are heard.

    Notes
    -----
    Each tone is analysed as a steady tone of its own: see
    :func:`backtospec.analysis.tone.analyse_tone`.

    Examples
    --------
    >>> from backtospec.analysis.stimuli import stepped_tones
    >>> made = stepped_tones((100.0, 1000.0, 5000.0), 0.5)
    >>> file = FileFacts(len(made.samples), made.rate_hz, 24)
    >>> setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0)
    >>> found = analyse_stepped(made.samples[:, None], file, setup)
    >>> [round(tone.frequency_hz) for tone in found.tones]
    [100, 1000, 5000]
    """
    rate_hz = float(file.sample_rate_hz)
    names = channel_names(samples.shape[1])
    notes: list[Note] = []
    refused: dict[str, str] = {}
    for index, name in enumerate(names):
        if float(np.std(samples[:, index])) <= _SILENT_RMS:
            refused[name] = "silence"
            notes.append(Note("silence", "Nothing but silence was recorded.", name))
    sounding = [index for index, name in enumerate(names) if name not in refused]
    if not sounding:
        return SteppedAnalysis(file, _refused_all(names, refused), notes=tuple(notes))
    heard = samples[:, sounding]
    found = place_tones(heard, rate_hz, tuple(played)) if played else find_tones(heard, rate_hz)
    places = [_last_part(place, rate_hz) for place in found]
    analysed = [(place, _one_tone(samples, file, setup, place)) for place in places]
    for _, one in analysed:
        refused |= {n: c.reason for n, c in one.channels.items() if c.reason == "adc-overload"}
    notes += _notes(analysed, rate_hz, refused)
    tones = tuple(
        SteppedTone(
            place.hz,
            place.start / rate_hz,
            place.end / rate_hz,
            {name: c for name, c in one.channels.items() if name not in refused},
            None if refused else one.tracking_db_r_minus_l,
        )
        for place, one in analysed
    )
    reference_hz = _reference(tones)
    if reference_hz is None:
        text = "No tone lies within a third of an octave of 1 kHz: no response is stated."
        notes.append(Note("no-reference", text))
    clock_ppm, clock_ppm_u = _clock([one for _, one in analysed]) if played else (None, None)
    return SteppedAnalysis(
        file=file,
        channels={
            name: ChannelStepped(False, refused[name])
            if name in refused
            else _over_tones(tones, name, reference_hz, setup.rated_thd_percent)
            for name in names
        },
        tones=tones,
        reference_hz=reference_hz,
        clock_ppm=clock_ppm,
        clock_ppm_u=clock_ppm_u,
        rated_thd_percent=setup.rated_thd_percent,
        notes=tuple(notes),
    )


def _refused_all(names: tuple[str, ...], refused: Mapping[str, str]) -> dict[str, ChannelStepped]:
    return {name: ChannelStepped(False, refused[name]) for name in names}


def _last_part(place: Place, rate_hz: float) -> Place:
    """Return what is analysed of a tone: its end, when the amplifier has settled on it."""
    most = max(_MOST_SAMPLES, round(_FEWEST_CYCLES * rate_hz / place.hz))
    return replace(place, start=max(place.start, place.end - most))


def _one_tone(samples: Array, file: FileFacts, setup: CaptureSetup, place: Place) -> ToneAnalysis:
    """Return the analysis of one tone; where it is not heard, channels that say so."""
    part = samples[place.start : place.end]
    facts = FileFacts(len(part), file.sample_rate_hz, file.valid_bits)
    try:
        return analyse_tone(part, facts, replace(setup, nominal_hz=place.hz))
    except BenchError:
        text = "The tone does not stand out of what else is there."
        unheard = {name: ChannelTone(False, "silence") for name in channel_names(part.shape[1])}
        return ToneAnalysis(facts, unheard, notes=(Note("silence", text),))


def _notes(
    analysed: Sequence[tuple[Place, ToneAnalysis]], rate_hz: float, refused: Mapping[str, str]
) -> list[Note]:
    """Return the remarks on the tones, each with the tone it concerns and its place in the file."""
    notes: list[Note] = []
    said: set[tuple[NoteCode, str | None]] = set()
    for place, one in analysed:
        for note in one.notes:
            of_refused = note.channel is not None and refused.get(note.channel) not in (
                None,
                note.code,
            )
            known_already = note.channel in refused and note.code == "silence"
            again = note.code in _SAID_ONCE and (note.code, note.channel) in said
            if of_refused or known_already or again:
                continue
            said.add((note.code, note.channel))
            text = f"{place.hz:.5g} Hz: {note.text}"
            at_s = place.start / rate_hz + (note.at_s or 0.0)
            notes.append(replace(note, text=text, at_s=at_s))
    return notes


def _reference(tones: Sequence[SteppedTone]) -> float | None:
    """Return the frequency of the tone nearest to 1 kHz, if it is near enough."""
    nearest = min(tones, key=lambda tone: abs(math.log(tone.frequency_hz / REFERENCE_HZ)))
    away = abs(math.log(nearest.frequency_hz / REFERENCE_HZ))
    return nearest.frequency_hz if away <= math.log(_REFERENCE_REACH) else None


def _clock(analysed: Sequence[ToneAnalysis]) -> tuple[float | None, float | None]:
    """Return the clock offset in ppm from all tones together, and its uncertainty."""
    told = [
        (one.clock_ppm, max(one.clock_ppm_u, 1e-9))
        for one in analysed
        if one.clock_ppm is not None and one.clock_ppm_u is not None
    ]
    if not told:
        return None, None
    each, each_u = np.array(told).T
    weight = each_u**-2.0
    return float(weight @ each / weight.sum()), float(weight.sum() ** -0.5)


def _over_tones(
    tones: Sequence[SteppedTone],
    name: str,
    reference_hz: float | None,
    rated_thd_percent: float | None,
) -> ChannelStepped:
    """Return response and power bandwidth of one channel."""
    heard = {tone.frequency_hz: tone.channels[name] for tone in tones if tone.channels[name].valid}
    if not heard:
        return ChannelStepped(False, tones[0].channels[name].reason)
    if reference_hz is None or reference_hz not in heard:
        return ChannelStepped(True)
    reference = heard[reference_hz]
    response, doubt, points = {}, {}, []
    for hz, one in heard.items():
        assert one.level_dbfs_peak is not None
        assert reference.level_dbfs_peak is not None
        response[hz] = one.level_dbfs_peak - reference.level_dbfs_peak
        both = (one.level_dbfs_peak_u or 0.0, reference.level_dbfs_peak_u or 0.0)
        doubt[hz] = 0.0 if hz == reference_hz else math.hypot(*both)
        points.append(PowerPoint(hz, one.power_w or 0.0, _thd_percent(one)))
    bandwidth = find_power_bandwidth(points, reference_hz, rated_thd_percent)
    return ChannelStepped(True, None, response, doubt, bandwidth)


def _thd_percent(tone: ChannelTone) -> float | None:
    """Return the distortion of every harmonic, or its bound; ``None`` without H2 and H3."""
    found = tone.distortion
    if found is None or not set(found.thd_harmonics) >= _NEEDED_HARMONICS:
        return None
    known_percent = found.thd_all_percent
    return found.thd_all_percent_at_most if known_percent is None else known_percent


def document_of(analysis: SteppedAnalysis) -> Document:
    """Return an analysis of stepped tones as nested dictionaries, lists, numbers and text.

    Notes
    -----
    A figure that is not known is left out. Frequencies are keys, ``"1000"``.
    """
    return {
        **head(analysis.kind, analysis.file),
        "channels": {name: _channel_document(one) for name, one in analysis.channels.items()},
        "steps": [_tone_document(tone) for tone in analysis.tones],
        **known(
            reference_hz=analysis.reference_hz,
            rated_thd_percent=analysis.rated_thd_percent,
            clock_ppm=analysis.clock_ppm,
            clock_ppm_u=analysis.clock_ppm_u,
        ),
        "definition": {"power_bandwidth": DEFINITION},
        "notes": note_list(analysis.notes),
    }


def _channel_document(channel: ChannelStepped) -> Document:
    bandwidth = channel.power_bandwidth
    return {
        "valid": channel.valid,
        "reason": channel.reason,
        **(
            {
                "response_db": by_frequency(channel.response_db),
                "response_db_u": by_frequency(channel.response_db_u),
            }
            if channel.response_db
            else {}
        ),
        **({"power_bandwidth": known(**asdict(bandwidth))} if bandwidth else {}),
    }


def by_frequency(figures: Mapping[float, float]) -> dict[str, float]:
    """Return figures with their frequencies as text.

    Examples
    --------
    >>> by_frequency({1000.0: 0.0, 31.5: -0.1})
    {'1000': 0.0, '31.5': -0.1}
    """
    return {f"{hz:.6g}": value for hz, value in figures.items()}


def _tone_document(tone: SteppedTone) -> Document:
    return {
        "frequency_hz": tone.frequency_hz,
        "start_s": tone.start_s,
        "end_s": tone.end_s,
        "channels": {name: channel_of_tone(one) for name, one in tone.channels.items()},
        **known(tracking_db_r_minus_l=tone.tracking_db_r_minus_l),
    }

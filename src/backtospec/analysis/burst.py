"""Bursts of a tone between quiet stretches: level and distortion of each, dynamic headroom."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import ClassVar, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.burst_edges import SHORTEST_CYCLES, find_bursts
from backtospec.analysis.burst_fit import (
    BurstChannel,
    find_tone,
    fit_burst,
    fit_frequency,
    is_hidden,
    read_burst,
)
from backtospec.analysis.document_parts import Document, head, known, note_list
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.quality import overload_fraction
from backtospec.analysis.setup import CaptureSetup
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_SILENT_RMS = 1e-5
#: THD at which an amplifier counts as clipping, where the maker's figure is not given.
_CLIPPING_THD_PERCENT = 1.0
_DB = 20 / math.log(10)

HEADROOM_DEFINITION = (
    "10·log10 of the power of the strongest burst whose THD stays within the limit over the rated "
    "power; of two channels the lower"
)

#: Reason and remark by name of a channel that gives no figures.
Refused: TypeAlias = dict[str, tuple[str, Note]]


@dataclass(frozen=True, slots=True)
class Burst:
    """One burst: where it plays, and its channels by name; refused channels are left out."""

    start_s: float
    end_s: float
    channels: Mapping[str, BurstChannel]


@dataclass(frozen=True, slots=True)
class ChannelBursts:
    """One channel over all bursts; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload`` or ``silence``.
    headroom_db
        Of the strongest burst within the THD limit, with a rated power.
    headroom_db_at_most
        Of the weakest burst that goes beyond the limit: what the amplifier has lies below it.
    limit_reached
        Whether a burst went beyond the THD limit. When none did, ``headroom_db`` is the least
        that the amplifier has.
    """

    valid: bool
    reason: str | None = None
    headroom_db: float | None = None
    headroom_db_u: float | None = None
    headroom_db_at_most: float | None = None
    limit_reached: bool | None = None


@dataclass(frozen=True, slots=True)
class BurstAnalysis:
    """A recording of tone bursts, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    bursts
        In order of time.
    frequency_hz
        Fitted to the quiet stretches, or to the bursts where nothing sounds between them.
    clock_ppm
        Frequency in the file over nominal, minus one, in parts per million.
    thd_limit_percent
        The distortion up to which a burst counts: the maker's figure, or 1 %.
    headroom_db
        Dynamic headroom of the channel that has less; see :data:`HEADROOM_DEFINITION`.
    headroom_db_at_most
        The bound of it, from the weakest burst beyond the limit.
    limit_reached
        Whether that channel was driven beyond the limit; otherwise it has at least this much.
    notes
        Remarks; see :data:`backtospec.analysis.notes.NoteCode`.
    """

    kind: ClassVar[Literal["burst"]] = "burst"
    file: FileFacts
    channels: Mapping[str, ChannelBursts]
    bursts: tuple[Burst, ...] = ()
    frequency_hz: float | None = None
    frequency_hz_u: float | None = None
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    thd_limit_percent: float | None = None
    headroom_db: float | None = None
    headroom_db_u: float | None = None
    headroom_db_at_most: float | None = None
    limit_reached: bool | None = None
    notes: tuple[Note, ...] = ()


def analyse_burst(samples: Array, file: FileFacts, setup: CaptureSetup) -> BurstAnalysis:
    """Return the level, power and distortion of every tone burst, and the dynamic headroom.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude.
    file
        Facts of the file.
    setup
        Calibration, load, nominal frequency; with ``rated_power_w`` the headroom too.

    Raises
    ------
    BenchError
        When the tone is not near the nominal frequency, or no burst of four cycles stands 6 dB
        above what surrounds it.

    Notes
    -----
    Frequency from the quiet stretches; then least squares of each burst without its first and
    last cycle, with every harmonic to the band edge, DC and slopes. Uncertainties assume a
    white residual.

    References
    ----------
    IHF-A-202 (1978), dynamic headroom: 1 kHz, 20 ms on, 480 ms at −20 dB. Restated from memory.

    Examples
    --------
    >>> time_s = np.arange(48_000) / 48_000
    >>> gate = np.where(time_s % 0.5 < 0.02, 0.5, 0.05)
    >>> found = analyse_burst(
    ...     (gate * np.cos(2 * np.pi * 1000 * time_s))[:, None],
    ...     FileFacts(48_000, 48_000, 24),
    ...     CaptureSetup(
    ...         full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0, rated_power_w=20.0
    ...     ),
    ... )
    >>> [round(burst.start_s, 3) for burst in found.bursts], round(found.headroom_db, 4)
    ([0.0, 0.5], 0.9691)
    """
    rate_hz = float(file.sample_rate_hz)
    names = channel_names(samples.shape[1])
    refused: Refused = {}
    for index, name in enumerate(names):
        if float(np.std(samples[:, index])) <= _SILENT_RMS:
            text = "Nothing but silence was recorded."
            refused[name] = ("silence", Note("silence", text, name))
    alive = [index for index, name in enumerate(names) if name not in refused]
    if not alive:
        return _refused_whole(file, names, refused)
    hz = find_tone(samples[:, alive], rate_hz, setup.nominal_hz)
    places = find_bursts(samples[:, alive], rate_hz, hz)
    if not places:
        raise BenchError(
            f"no burst of {SHORTEST_CYCLES} or more cycles of {setup.nominal_hz:g} Hz stands "
            "6 dB above what surrounds it.",
            "recording",
            "Record tone bursts, or analyse it as a tone.",
        )
    for index in list(alive):
        loud = np.concatenate([samples[a:b, index] for a, b in places])
        share = overload_fraction(loud, rate_hz / hz)
        if share > 0:
            alive.remove(index)
            refused[names[index]] = ("adc-overload", _overload_note(names[index], share))
    if not alive:
        return _refused_whole(file, names, refused)
    heard = samples[:, alive]
    hz, hz_u = fit_frequency(heard, rate_hz, hz, places)
    fits = [fit_burst(heard, rate_hz, hz, place) for place in places]
    for column, index in enumerate(alive):
        if all(is_hidden(fit, column) for fit in fits):
            text = "No burst stands out of the noise."
            refused[names[index]] = ("silence", Note("silence", text, names[index]))
    columns = {names[i]: column for column, i in enumerate(alive) if names[i] not in refused}
    bursts = tuple(
        Burst(
            a / rate_hz,
            b / rate_hz,
            {name: read_burst(fit, column, name, setup) for name, column in columns.items()},
        )
        for (a, b), fit in zip(places, fits, strict=True)
    )
    limit = setup.rated_thd_percent or _CLIPPING_THD_PERCENT
    channels = {
        name: ChannelBursts(False, refused[name][0])
        if name in refused
        else _over_bursts([burst.channels[name] for burst in bursts], limit, setup.rated_power_w)
        for name in names
    }
    weaker = _weaker(channels)
    return BurstAnalysis(
        file=file,
        channels=channels,
        bursts=bursts,
        frequency_hz=hz,
        frequency_hz_u=hz_u,
        clock_ppm=(hz / setup.nominal_hz - 1) * 1e6,
        clock_ppm_u=hz_u / setup.nominal_hz * 1e6,
        thd_limit_percent=limit,
        headroom_db=weaker.headroom_db,
        headroom_db_u=weaker.headroom_db_u,
        headroom_db_at_most=weaker.headroom_db_at_most,
        limit_reached=weaker.limit_reached,
        notes=(*(note for _, note in refused.values()), *_clipping_notes(bursts, columns)),
    )


def _refused_whole(file: FileFacts, names: tuple[str, ...], refused: Refused) -> BurstAnalysis:
    channels = {name: ChannelBursts(False, refused[name][0]) for name in names}
    return BurstAnalysis(file, channels, notes=tuple(note for _, note in refused.values()))


def _overload_note(name: str, share: float) -> Note:
    text = (
        f"The recorder was overloaded: {100 * share:.2g} % of the bursts' samples sit on its "
        "rail. Turn its input down and record again."
    )
    return Note("adc-overload", text, name)


def _over_bursts(
    bursts: list[BurstChannel], limit_percent: float, rated_power_w: float | None
) -> ChannelBursts:
    """Return the headroom of one channel."""
    within = [burst for burst in bursts if burst.stays_within(limit_percent)]
    reached = len(within) < len(bursts)
    if rated_power_w is None:
        return ChannelBursts(True, limit_reached=reached)
    if not within:
        least_w = min(burst.power_w for burst in bursts)
        bound_db = 10 * math.log10(least_w / rated_power_w)
        return ChannelBursts(True, headroom_db_at_most=bound_db, limit_reached=True)
    best = max(within, key=lambda burst: burst.power_w)
    beyond = [
        burst.power_w
        for burst in bursts
        if burst not in within and burst.power_w > best.power_w and burst.goes_beyond(limit_percent)
    ]
    return ChannelBursts(
        True,
        headroom_db_at_most=10 * math.log10(min(beyond) / rated_power_w) if beyond else None,
        headroom_db=10 * math.log10(best.power_w / rated_power_w),
        headroom_db_u=_DB / 2 * best.power_w_u / best.power_w,
        limit_reached=reached,
    )


def _weaker(channels: Mapping[str, ChannelBursts]) -> ChannelBursts:
    """Return the valid channel with less headroom: a bound, unless a figure lies below it."""
    valid = [channel for channel in channels.values() if channel.valid]
    if not valid:
        return ChannelBursts(False)

    def most(channel: ChannelBursts) -> float:
        found = channel.headroom_db
        return (channel.headroom_db_at_most or 0.0) if found is None else found

    return min(valid, key=most)


def _clipping_notes(bursts: tuple[Burst, ...], names: Iterable[str]) -> list[Note]:
    notes = []
    for name in names:
        first = next((burst for burst in bursts if burst.channels[name].clipping), None)
        if first:
            text = f"The amplifier clips, first in the burst at {first.start_s:.3f} s."
            notes.append(Note("amplifier-clipping", text, name, at_s=first.start_s))
    return notes


def document_of(analysis: BurstAnalysis) -> Document:
    """Return an analysis of bursts as nested dictionaries, lists, numbers and text.

    Notes
    -----
    A figure that is not known is left out. Where ``limit_reached`` is false no burst went beyond
    the distortion limit, and ``headroom_db`` is the least that the amplifier has.
    """
    headroom = known(
        headroom_db=analysis.headroom_db,
        headroom_db_u=analysis.headroom_db_u,
        headroom_db_at_most=analysis.headroom_db_at_most,
    )
    if headroom:
        headroom["limit_reached"] = analysis.limit_reached
        headroom["definition"] = {"headroom_db": HEADROOM_DEFINITION}
    return {
        **head(analysis.kind, analysis.file),
        "channels": {name: _over_document(one) for name, one in analysis.channels.items()},
        "bursts": [_burst_document(burst) for burst in analysis.bursts],
        **headroom,
        **known(
            thd_limit_percent=analysis.thd_limit_percent,
            frequency_hz=analysis.frequency_hz,
            frequency_hz_u=analysis.frequency_hz_u,
            clock_ppm=analysis.clock_ppm,
            clock_ppm_u=analysis.clock_ppm_u,
        ),
        "notes": note_list(analysis.notes),
    }


def _over_document(channel: ChannelBursts) -> Document:
    return {
        "valid": channel.valid,
        "reason": channel.reason,
        **known(
            headroom_db=channel.headroom_db,
            headroom_db_u=channel.headroom_db_u,
            headroom_db_at_most=channel.headroom_db_at_most,
            limit_reached=channel.limit_reached,
        ),
    }


def _burst_document(burst: Burst) -> Document:
    return {
        "start_s": burst.start_s,
        "end_s": burst.end_s,
        "channels": {name: known(**asdict(one)) for name, one in burst.channels.items()},
    }

"""Two tones at once: levels, intermodulation products, and the figures defined on them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.document_parts import Document, head, known, note_list
from backtospec.analysis.lattice_fit import LatticeFit
from backtospec.analysis.notes import FileFacts, Note, channel_names
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.two_tone_fit import ordered_pair, tone_ratio
from backtospec.analysis.two_tone_notes import (
    channel_notes,
    drift_notes,
    overload_note,
    ratio_note,
    whole_notes,
)
from backtospec.analysis.two_tone_pieces import measure_pieces, piece_edges
from backtospec.analysis.two_tone_products import (
    PRODUCTS_DEFINITION,
    Figure,
    Intermodulation,
    ToneRatio,
    read_intermodulation,
)
from backtospec.errors import BenchError

Array = NDArray[np.float64]

_HEARD_OVER_DOUBT = 6.0
_DB = 20 / math.log(10)

#: Reason and remark by name of a channel that gives no figures.
Refused: TypeAlias = dict[str, tuple[str, Note]]


@dataclass(frozen=True, slots=True)
class ChannelTwoTone:
    """One channel of two tones; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload``, ``silence`` or
        ``tone-ratio`` (its levels are not those of the other channel's test).
    levels_dbfs_peak, tones_vrms
        Of the tones f1 and f2; a full-scale sine reads 0 dB.
    power_w
        Of both tones together.
    dc_v
        Mean value.
    noise_floor_dbfs
        20·log10 of the rms of what is left when every line is removed, to half the rate.
    intermodulation
        Products and the figures defined on them.

    Figures ending in ``_u`` are standard uncertainties in the same unit.
    """

    valid: bool
    reason: str | None = None
    levels_dbfs_peak: tuple[float, float] | None = None
    levels_dbfs_peak_u: tuple[float, float] | None = None
    tones_vrms: tuple[float, float] | None = None
    tones_vrms_u: tuple[float, float] | None = None
    power_w: float | None = None
    power_w_u: float | None = None
    dc_v: float | None = None
    dc_v_u: float | None = None
    noise_floor_dbfs: float | None = None
    intermodulation: Intermodulation | None = None


@dataclass(frozen=True, slots=True)
class TwoToneAnalysis:
    """A recording of two tones, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M`` for one channel.
    ratio
        ``"4:1"`` or ``"1:1"``, low to high tone, as found; it decides the definitions.
    frequencies_hz
        f1 and f2, the low tone first, as the recorder's clock counts them.
    clock_ppm
        Frequencies in the file over nominal, minus one, in parts per million.
    mains_hz
        Fitted mains frequency, where hum was found.
    tone_start_s, tone_end_s
        Where the tones play, seconds from the start of the file.
    notes
        Remarks; see :data:`backtospec.analysis.notes.NoteCode`.
    """

    kind: ClassVar[Literal["two-tone"]] = "two-tone"
    file: FileFacts
    channels: Mapping[str, ChannelTwoTone]
    ratio: ToneRatio | None = None
    frequencies_hz: tuple[float, float] | None = None
    frequencies_hz_u: tuple[float, float] | None = None
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    mains_hz: float | None = None
    mains_hz_u: float | None = None
    tone_start_s: float | None = None
    tone_end_s: float | None = None
    notes: tuple[Note, ...] = ()


def analyse_two_tone(
    samples: Array, file: FileFacts, setup: CaptureSetup, second_hz: float
) -> TwoToneAnalysis:
    """Return the intermodulation of two tones.

    Parameters
    ----------
    samples
        Shape (frames, channels) with one or two channels, digital amplitude.
    file
        Facts of the file.
    setup
        Calibration, load, and the nominal frequency of one tone.
    second_hz
        Nominal frequency of the other tone, 1…96 000 Hz. Their order does not matter.

    Raises
    ------
    BenchError
        When the tones are not there, their levels are in a ratio of neither 4:1 nor 1:1, or the
        recording is too short to part their products.

    Notes
    -----
    Joint least squares of every line m·f1 + n·f2 up to the ninth order, hum and single lines,
    both frequencies free. Uncertainties assume a white residual. A long recording is fitted piece
    by piece and averaged in phase with the tones.

    Examples
    --------
    >>> time_s = np.arange(48_000) / 48_000
    >>> x = 0.4 * np.cos(2 * np.pi * 60 * time_s) + 0.1 * np.cos(2 * np.pi * 7000 * time_s)
    >>> found = analyse_two_tone(
    ...     (x + 0.01 * x**2)[:, None],
    ...     FileFacts(48_000, 48_000, 24),
    ...     CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=60.0),
    ...     second_hz=7000.0,
    ... )
    >>> found.ratio, round(found.channels["M"].intermodulation.imd_pairs.percent, 9)
    ('4:1', 0.8)
    """
    nominal_hz = ordered_pair(setup.nominal_hz, second_hz)
    edges = piece_edges(len(samples), file.sample_rate_hz, nominal_hz)
    return analyse_two_tone_pieces((samples[a:b] for a, b in edges), file, setup, second_hz)


def analyse_two_tone_pieces(
    pieces: Iterable[Array], file: FileFacts, setup: CaptureSetup, second_hz: float
) -> TwoToneAnalysis:
    """Return the intermodulation of two tones from a recording that is given piece by piece.

    Parameters
    ----------
    pieces
        The recording cut at :func:`~backtospec.analysis.two_tone_pieces.piece_edges`, each of
        shape (samples, channels); no two are held at a time.
    file, setup, second_hz
        As for :func:`analyse_two_tone`.

    Raises
    ------
    BenchError
        As :func:`analyse_two_tone` does.
    """
    nominal_hz = ordered_pair(setup.nominal_hz, second_hz)
    whole = measure_pieces(pieces, file.sample_rate_hz, nominal_hz, setup.mains_hz)
    names = channel_names(whole.channels)
    refused: Refused = {}
    for index, share in enumerate(whole.overloaded):
        name = names[index]
        if share is None:
            text = "Nothing but silence was recorded."
            refused[name] = ("silence", Note("silence", text, name))
        elif share > 0:
            refused[name] = ("adc-overload", overload_note(name, share))
    if whole.pair is None:
        return TwoToneAnalysis(file, _channels(names, {}, refused), notes=_reasons(refused))
    pair = whole.pair
    alive = [(c, i) for c, i in enumerate(whole.alive) if names[i] not in refused]
    heard = _heard(pair.fit, alive, names, refused)
    if not heard:
        return TwoToneAnalysis(file, _channels(names, {}, refused), notes=_reasons(refused))
    ratio = _common_ratio(pair.fit, heard, names, refused)
    columns = {names[i]: column for column, i in heard if names[i] not in refused}
    notes = [*whole.notes, *_reasons(refused)]
    valid = {}
    for name, column in columns.items():
        found = read_intermodulation(pair.fit, column, ratio)
        valid[name] = _channel(pair.fit, column, found, name, setup)
        step = whole.steps[names.index(name)]
        notes.extend(channel_notes(name, pair, column, found, ratio, step))
        notes.extend(drift_notes(name, whole.moved_db[column]))
    notes.extend(whole_notes(pair, whole.same_samples, columns, ratio, setup.mains_hz))
    fitted_hz, hz_u = pair.fit.hz, pair.fit.hz_u
    clock_ppm, clock_ppm_u = _clock(fitted_hz[:2], hz_u[:2], nominal_hz)
    return TwoToneAnalysis(
        file=file,
        channels=_channels(names, valid, refused),
        ratio=ratio,
        frequencies_hz=(float(fitted_hz[0]), float(fitted_hz[1])),
        frequencies_hz_u=(float(hz_u[0]), float(hz_u[1])),
        clock_ppm=clock_ppm,
        clock_ppm_u=clock_ppm_u,
        mains_hz=float(fitted_hz[2]) if pair.mains else None,
        mains_hz_u=float(hz_u[2]) if pair.mains else None,
        tone_start_s=whole.start / file.sample_rate_hz,
        tone_end_s=whole.end / file.sample_rate_hz,
        notes=tuple(notes),
    )


def _clock(hz: Array, hz_u: Array, nominal_hz: tuple[float, float]) -> tuple[float, float]:
    """Return the clock offset from both tones, and its standard uncertainty, in ppm."""
    offset_ppm = (hz / nominal_hz - 1) * 1e6
    offset_u = np.maximum(hz_u, 1e-15) / nominal_hz * 1e6
    weight = offset_u**-2.0 / np.sum(offset_u**-2.0)
    return float(weight @ offset_ppm), float(np.sqrt(np.sum((weight * offset_u) ** 2)))


def _heard(
    fit: LatticeFit,
    alive: Sequence[tuple[int, int]],
    names: tuple[str, ...],
    refused: Refused,
) -> list[tuple[int, int]]:
    """Return (column of the fit, channel) where both tones stand out; refuse the others."""
    heard = []
    for column, index in alive:
        weaker = float(np.min(_tones(fit, column)))
        if weaker >= _HEARD_OVER_DOUBT * fit.amplitude_u[column]:
            heard.append((column, index))
            continue
        text = "The two tones do not stand out of the noise."
        refused[names[index]] = ("silence", Note("silence", text, names[index]))
    return heard


def _tones(fit: LatticeFit, column: int) -> Array:
    """Return the peak amplitudes of f1 and f2."""
    more = (0,) * (len(fit.hz) - 2)
    at = [fit.lines.index(line) for line in ((1, 0, *more), (0, 1, *more))]
    return np.asarray(np.abs(fit.amplitudes[at, column]))


def _common_ratio(
    fit: LatticeFit,
    heard: list[tuple[int, int]],
    names: tuple[str, ...],
    refused: Refused,
) -> ToneRatio:
    """Return the ratio of the loudest channel that has one; refuse channels that differ."""
    loudest = sorted(heard, key=lambda one: -float(np.sum(_tones(fit, one[0]))))
    ratios = {index: tone_ratio(*_tones(fit, column)) for column, index in loudest}
    common = next((ratio for ratio in ratios.values() if ratio), None)
    if common is None:
        found = ", ".join(
            f"{float(low / high):.3g}:1 in {names[index]}"
            for column, index in heard
            for low, high in [_tones(fit, column)]
        )
        raise BenchError(
            f"the low tone is to the high tone as {found}; 4:1 or 1:1 (within 2.5 and 3 dB) is "
            "needed.",
            "recording",
            "Set the generator's levels to 4:1 or 1:1.",
        )
    for column, index in heard:
        if ratios[index] != common:
            low, high = _tones(fit, column)
            note = ratio_note(names[index], float(low / high), common)
            refused[names[index]] = ("tone-ratio", note)
    return common


def _reasons(refused: Mapping[str, tuple[str, Note]]) -> tuple[Note, ...]:
    return tuple(note for _, note in refused.values())


def _channels(
    names: tuple[str, ...],
    valid: Mapping[str, ChannelTwoTone],
    refused: Mapping[str, tuple[str, Note]],
) -> Mapping[str, ChannelTwoTone]:
    return {
        name: valid[name] if name in valid else ChannelTwoTone(False, refused[name][0])
        for name in names
    }


def _channel(
    fit: LatticeFit, column: int, found: Intermodulation, name: str, setup: CaptureSetup
) -> ChannelTwoTone:
    low, high = (float(one) for one in _tones(fit, column))
    amplitude_u = float(fit.amplitude_u[column])
    volts, variance = setup.volts(name), float(fit.variance[column])
    vrms = volts / math.sqrt(2)
    power_w = setup.power_w(name, low) + setup.power_w(name, high)
    return ChannelTwoTone(
        valid=True,
        levels_dbfs_peak=(20 * math.log10(low), 20 * math.log10(high)),
        levels_dbfs_peak_u=(_DB * amplitude_u / low, _DB * amplitude_u / high),
        tones_vrms=(low * vrms, high * vrms),
        tones_vrms_u=(amplitude_u * vrms, amplitude_u * vrms),
        power_w=power_w,
        power_w_u=power_w * setup.relative_power_u(amplitude_u / math.hypot(low, high)),
        dc_v=float(fit.dc[column]) * volts,
        dc_v_u=math.sqrt(variance / fit.count) * volts,
        noise_floor_dbfs=10 * math.log10(max(variance, 1e-40)),
        intermodulation=found,
    )


def document_of(analysis: TwoToneAnalysis) -> Document:
    """Return an analysis of two tones as nested dictionaries, lists, numbers and text.

    Notes
    -----
    ``definition`` in each channel names, for every figure, what is summed and over what. A
    figure that is not known is left out.
    """
    return {
        **head(analysis.kind, analysis.file),
        **known(
            amplitude_ratio=analysis.ratio,
            frequencies_hz=analysis.frequencies_hz,
            frequencies_hz_u=analysis.frequencies_hz_u,
        ),
        "channels": {
            name: _channel_document(one, analysis.ratio) for name, one in analysis.channels.items()
        },
        **known(
            mains_hz=analysis.mains_hz,
            mains_hz_u=analysis.mains_hz_u,
            clock_ppm=analysis.clock_ppm,
            clock_ppm_u=analysis.clock_ppm_u,
            tone_start_s=analysis.tone_start_s,
            tone_end_s=analysis.tone_end_s,
        ),
        "notes": note_list(analysis.notes),
    }


def _channel_document(channel: ChannelTwoTone, ratio: ToneRatio | None) -> Document:
    return {
        "valid": channel.valid,
        "reason": channel.reason,
        **known(
            levels_dbfs_peak=channel.levels_dbfs_peak,
            levels_dbfs_peak_u=channel.levels_dbfs_peak_u,
            tones_vrms=channel.tones_vrms,
            tones_vrms_u=channel.tones_vrms_u,
            power_w=channel.power_w,
            power_w_u=channel.power_w_u,
            dc_v=channel.dc_v,
            dc_v_u=channel.dc_v_u,
            noise_floor_dbfs=channel.noise_floor_dbfs,
        ),
        **(_products_document(channel.intermodulation, ratio) if channel.intermodulation else {}),
    }


def _products_document(found: Intermodulation, ratio: ToneRatio | None) -> Document:
    figures: dict[str, Figure | None] = {
        "imd_pairs_percent": found.imd_pairs,
        "imd_rms_percent": found.imd_rms,
        "d2_percent": found.d2,
        "d3_percent": found.d3,
        "total_difference_percent": found.total_difference,
    }
    document = known(
        products_db=found.products_db,
        products_db_u=found.products_db_u,
        products_db_at_most=found.products_db_at_most,
    )
    definition = {"products_db": PRODUCTS_DEFINITION[ratio]} if ratio else {}
    for key, figure in figures.items():
        if figure is not None:
            document |= known(
                **{
                    key: figure.percent,
                    f"{key}_u": figure.percent_u,
                    f"{key}_at_most": figure.percent_at_most,
                }
            )
            definition[key] = figure.definition
    return {**document, "definition": definition}

"""Any kind of recording to its document."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis import (
    burst,
    control_noise,
    measuring_floor,
    noise,
    output_resistance,
    square,
    stepped,
    sweep,
    two_tone,
)
from backtospec.analysis.document import as_document, with_output_resistance
from backtospec.analysis.document_parts import note_list
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.response_against import against_document, points_from_text
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.two_tone_fit import ordered_pair
from backtospec.analysis.two_tone_pieces import piece_edges
from backtospec.bench.captures import analyse_ramp_file, analyse_tone_file
from backtospec.bench.signals import hold_to_description
from backtospec.errors import BenchError
from backtospec.sources.sound_files import open_sound_file
from backtospec.sources.stimulus_files import read_stepped_tones, read_stimulus

Array = NDArray[np.float64]
Document = dict[str, Any]

_LONGEST_SAMPLES = 60_000_000
_BLOCKWISE = ("tone", "ramp", "two-tone")
_LONGEST_TWO_TONE_S = 1200.0
_WITH_RESPONSE = ("sweep", "stepped")


@dataclass(frozen=True, slots=True)
class Recorded:
    """What is known of one recording beside its calibration.

    Parameters
    ----------
    setup
        Calibration, loads, nominal frequency.
    second_hz
        The other tone of two.
    stimulus
        Description of what was played; a sweep needs it.
    floor
        A loop-back recording of the same tone: the generator straight into the recorder.
    open_circuit
        A recording of the same tone with the load taken off, for the output resistance.
    turn_s
        When the turn of a control began and ended; the whole recording without it.
    against
        What to hold the response of a sweep or of stepped tones against, by name; see
        :data:`~backtospec.analysis.response_against.AGAINST`.
    points
        For a loudness contour: stated decibels by frequency, or two loudness levels.
    processes
        How many may work at once; ``None`` for as many as there are processors.
    """

    setup: CaptureSetup
    second_hz: float | None = None
    stimulus: Path | None = None
    floor: Path | None = None
    open_circuit: Path | None = None
    turn_s: tuple[float, float] | None = None
    against: str | None = None
    points: str | None = None
    processes: int | None = None


def document_of_file(path: Path, kind: str, recorded: Recorded) -> Document:
    """Return the document of one recording, whatever its kind.

    Parameters
    ----------
    path
        The sound file.
    kind
        One of :data:`KINDS`.
    recorded
        What is known of it.

    Raises
    ------
    BenchError
        When the file cannot be used, holds no such signal, or something must be told first.
    """
    _refuse_what_needs_another_kind(kind, recorded)
    if recorded.stimulus is not None and kind in KINDS:
        second = () if recorded.second_hz is None else (recorded.second_hz,)
        hold_to_description(recorded.stimulus, kind, (recorded.setup.nominal_hz, *second))
    if kind == "tone":
        return _tone(path, recorded)
    if kind == "two-tone":
        return _two_tone(path, recorded)
    if kind == "ramp":
        found = analyse_ramp_file(path, recorded.setup, processes=recorded.processes)
        return as_document(found)
    analyse = _WHOLE.get(kind)
    if analyse is None:
        raise BenchError(f'"{kind}" is none of {", ".join(KINDS)}.', "--kind", "Name one of them.")
    sound = open_sound_file(path, recorded.setup.channels)
    if sound.frames * len(sound.picked) > _LONGEST_SAMPLES:
        raise BenchError(
            f"{sound.frames / sound.sample_rate_hz:.0f} s are too long for this kind.",
            path.name,
            "Cut out the part with the signal.",
        )
    facts = FileFacts(sound.frames, sound.sample_rate_hz, sound.valid_bits)
    points = points_from_text(recorded.points) if recorded.points else None
    document = analyse(sound.read(0, sound.frames), facts, recorded)
    if recorded.against:
        document = _held_against(document, recorded.against, points)
    return {**document, "notes": [*note_list(sound.notes), *document["notes"]]}


def _held_against(document: Document, against: str, points: dict[float, float] | None) -> Document:
    """Return the document with each channel's response held against something."""
    channels = {}
    for name, channel in document["channels"].items():
        own = dict(channel)
        if own.get("response_db"):
            level, doubt = (
                {float(hz): value for hz, value in own[key].items()}
                for key in ("response_db", "response_db_u")
            )
            own["against"] = against_document(level, doubt, against, points)
        channels[name] = own
    return {**document, "channels": channels}


def _refuse_what_needs_another_kind(kind: str, recorded: Recorded) -> None:
    """Raise where an option was given that this kind of recording has no use for."""
    wanted = (
        (recorded.floor, "--floor", "tone", "a loop-back recording"),
        (recorded.open_circuit, "--open-circuit", "tone", "a recording without a load"),
        (recorded.setup.bands_hz or None, "--bands", "tone", "a band for THD+N"),
        (recorded.turn_s, "--turn-s", "control", "the time of a turn"),
        (recorded.against, "--against", " or ".join(_WITH_RESPONSE), "a comparison of response"),
    )
    faults = [
        BenchError(
            f"{what} belongs to the kind {needed}, not to {kind}.",
            option,
            f"Leave it out, or use --kind {needed}.",
        )
        for given, option, needed, what in wanted
        if given is not None and kind not in needed.split(" or ") and kind in KINDS
    ]
    if recorded.points and recorded.against != "loudness":
        what = "points are held against with a loudness contour only."
        faults.append(BenchError(what, "--points", "Leave them out, or use --against loudness."))
    if faults:
        raise BenchError.of(faults)


def _tone(path: Path, recorded: Recorded) -> Document:
    """Return the document of a steady tone, beside the chain's floor and an open output."""
    setup = recorded.setup
    loaded = analyse_tone_file(path, setup)
    document = as_document(loaded)
    if recorded.open_circuit is not None:
        unloaded = analyse_tone_file(recorded.open_circuit, setup)
        found, notes = output_resistance.from_recordings(loaded, unloaded, setup)
        document = with_output_resistance(document, found, notes)
    if recorded.floor is not None:
        document = over_floor(document, as_document(analyse_tone_file(recorded.floor, setup)))
    return document


def _control(samples: Array, facts: FileFacts, recorded: Recorded) -> Document:
    found = control_noise.analyse_control(samples, facts, recorded.setup, turn_s=recorded.turn_s)
    return control_noise.document_of(found)


def _two_tone(path: Path, recorded: Recorded) -> Document:
    """Return the document of two tones, read piece by piece."""
    setup, second_hz = recorded.setup, recorded.second_hz
    if second_hz is None:
        raise BenchError(
            "two tones need two frequencies.", "--nominal-hz", "Give both, such as 60,7000."
        )
    sound = open_sound_file(path, setup.channels)
    lasts_s = sound.frames / sound.sample_rate_hz
    if lasts_s > _LONGEST_TWO_TONE_S:
        raise BenchError(
            f"{lasts_s:.0f} s are too long for two tones, at most {_LONGEST_TWO_TONE_S:.0f} s.",
            path.name,
            "Cut out a minute of it.",
        )
    pair = ordered_pair(setup.nominal_hz, second_hz)
    edges = piece_edges(sound.frames, sound.sample_rate_hz, pair)
    facts = FileFacts(sound.frames, sound.sample_rate_hz, sound.valid_bits)
    pieces = (sound.read(a, b - a) for a, b in edges)
    found = two_tone.document_of(two_tone.analyse_two_tone_pieces(pieces, facts, setup, second_hz))
    return {**found, "notes": [*note_list(sound.notes), *found["notes"]]}


def _stepped(samples: Array, facts: FileFacts, recorded: Recorded) -> Document:
    played = None if recorded.stimulus is None else read_stepped_tones(recorded.stimulus)
    return stepped.document_of(stepped.analyse_stepped(samples, facts, recorded.setup, played))


def _sweep(samples: Array, facts: FileFacts, recorded: Recorded) -> Document:
    if recorded.stimulus is None:
        raise BenchError(
            "a sweep cannot be read without knowing what was played.",
            "--stimulus",
            "Give the JSON file that was written beside the sweep.",
        )
    stimulus = read_stimulus(recorded.stimulus)
    return sweep.document_of(sweep.analyse_sweep(samples, facts, recorded.setup, stimulus))


def _burst(samples: Array, facts: FileFacts, recorded: Recorded) -> Document:
    return burst.document_of(burst.analyse_burst(samples, facts, recorded.setup))


def _noise(samples: Array, facts: FileFacts, recorded: Recorded) -> Document:
    return noise.document_of(noise.analyse_noise(samples, facts, recorded.setup))


def _square(samples: Array, facts: FileFacts, recorded: Recorded) -> Document:
    return square.document_of(square.analyse_square(samples, facts, recorded.setup))


def over_floor(document: Document, chain: Document) -> Document:
    """Return the document of a tone with every distortion near the chain's own as a bound.

    Parameters
    ----------
    document, chain
        Of the amplifier, and of the loop-back. Distortions add as vectors and may cancel, so
        nothing is subtracted: near the floor only "at most" is stated, with the range it lies in.
    """
    notes = list(document["notes"])
    channels: Document = {}
    for name, channel in document["channels"].items():
        own = dict(channel)
        floor = chain["channels"].get(name, {})
        readings = {"": (own.get("thd_percent"), floor.get("thd_percent"))}
        readings |= {
            band: (value, floor.get("thdn_percent", {}).get(band))
            for band, value in own.get("thdn_percent", {}).items()
        }
        for band, (reading, least) in readings.items():
            if reading is None or least is None:
                continue
            found = measuring_floor.combine_percent(reading, least)
            if found.at_most is None:
                continue
            _bound(own, band, found)
            notes.append(
                {
                    "code": "floor-limited",
                    "channel": name,
                    "text": f"{_figure_named(band)}: {found.text}.",
                }
            )
        if (bound := _crosstalk_bound(own, floor)) is not None:
            own = {k: v for k, v in own.items() if not k.startswith("crosstalk_")}
            own["crosstalk_db_at_most"] = bound
            text = f"Crosstalk: at most {bound:.1f} dB; the chain itself has as much."
            notes.append({"code": "floor-limited", "channel": name, "text": text})
        channels[name] = own
    return {**document, "channels": channels, "notes": notes}


def _figure_named(band: str) -> str:
    if not band:
        return "THD"
    return f"THD+N {band} Hz" if "-" in band else f"THD+N {band}-weighted"


def _crosstalk_bound(own: Document, floor: Document) -> float | None:
    """Return the bound of a crosstalk that the chain's own reaches, else ``None``."""
    reading = own.get("crosstalk_db")
    least = floor.get("crosstalk_db", floor.get("crosstalk_db_at_most"))
    if reading is None or least is None:
        return None
    found = measuring_floor.combine_db(reading, least)
    return 20 * math.log10(found.high) if found.near_floor else None


def _bound(own: Document, band: str, found: measuring_floor.OverFloor) -> None:
    """Put a bound and a range in the place of a figure that the floor reaches."""
    key = "thdn" if band else "thd"
    for suffix in ("percent", "percent_u", "db", "db_u", "percent_re_total"):
        figure = own.get(f"{key}_{suffix}")
        if band and isinstance(figure, dict):
            own[f"{key}_{suffix}"] = {b: v for b, v in figure.items() if b != band}
        elif not band:
            own.pop(f"{key}_{suffix}", None)
    high, span = 100 * found.high, [100 * found.low, 100 * found.high]
    if band:
        own.setdefault("thdn_percent_at_most", {})[band] = high
        own.setdefault("thdn_percent_range", {})[band] = span
    else:
        own["thd_percent_at_most"], own["thd_percent_range"] = high, span


_WHOLE: dict[str, Callable[[Array, FileFacts, Recorded], Document]] = {
    "sweep": _sweep,
    "stepped": _stepped,
    "burst": _burst,
    "noise": _noise,
    "square": _square,
    "control": _control,
}

KINDS = (*_BLOCKWISE, *_WHOLE)
"""Every kind of recording that can be analysed."""

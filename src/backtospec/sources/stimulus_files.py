"""A stimulus on disk: the sound to play as 24-bit WAV, and what it is, as JSON beside it."""

from __future__ import annotations

import json
import math
from dataclasses import MISSING, fields
from itertools import pairwise
from pathlib import Path
from typing import Any

import soundfile

from backtospec.analysis.stepped_places import PlannedTone
from backtospec.analysis.stimulus_playing import SCHEMA, PlayedSignal, repeated_faults
from backtospec.analysis.sweep_signal import Stimulus
from backtospec.errors import BenchError

_LARGEST_BYTES = 1_000_000
_MOST_TONES = 60
_TONE_RANGES = (
    ("frequency_hz", 1.0, 384_000.0),
    ("start_s", 0.0, 7200.0),
    ("duration_s", 0.2, 600.0),
)
_FIELDS = {field.name: field.default is MISSING for field in fields(Stimulus)}


def write_stimulus(path: Path, signal: PlayedSignal) -> Path:
    """Write the sound as 24-bit WAV and its description beside it; return the description's path.

    Parameters
    ----------
    path
        Where the sound goes, ending in ``.wav``; the description ends in ``.json``.
    signal
        From :mod:`backtospec.analysis.stimuli`.

    Raises
    ------
    BenchError
        Where the name does not end in ``.wav``, the signal passes full scale, or the folder
        cannot be written.
    """
    if path.suffix.lower() != ".wav":
        raise BenchError(
            f'"{path.name}" does not end in .wav.', str(path), "Name it, for example, sweep.wav."
        )
    peak = float(abs(signal.samples).max(initial=0.0))
    if peak > 1 - 2.0**-23:
        raise BenchError(
            f"its peak of {20 * math.log10(peak):+.3f} dBFS does not fit into the file.",
            str(path),
            "Choose a level of −0.1 dBFS or lower.",
        )
    sidecar = path.with_suffix(".json")
    text = json.dumps(signal.description, indent=2, allow_nan=False)
    try:
        soundfile.write(path, signal.samples, signal.rate_hz, subtype="PCM_24", format="WAV")
        sidecar.write_text(text + "\n", encoding="utf-8")
    except (OSError, soundfile.LibsndfileError) as error:
        reason = error.strerror if isinstance(error, OSError) else error.error_string
        raise BenchError(
            f"it cannot be written ({reason}).", str(path), "Choose a folder that can be written."
        ) from error
    return sidecar


def read_description(path: Path) -> dict[str, Any]:
    """Return the description of a stimulus as written, whatever its kind.

    Parameters
    ----------
    path
        JSON; with a ``schema`` it must be the project's own, without one it is taken as it is.

    Raises
    ------
    BenchError
        Where the file is missing, no JSON object, or of another schema.
    """
    if not path.is_file():
        raise BenchError("there is no such file.", str(path), "Check the name.")
    if path.stat().st_size > _LARGEST_BYTES:
        raise BenchError(
            f"{path.stat().st_size} bytes are too many for the description of a stimulus "
            f"(at most {_LARGEST_BYTES}).",
            path.name,
            "Name the JSON file beside the sound.",
        )
    try:
        found = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError) as error:
        place = f", line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        raise BenchError(
            "this is not JSON text.", f"{path.name}{place}", "Name the JSON file beside the sound."
        ) from error
    if not isinstance(found, dict):
        raise BenchError(
            "the file holds no keys and values.", path.name, "Name the JSON file beside the sound."
        )
    schema = found.get("schema", SCHEMA)
    if schema != SCHEMA:
        raise BenchError(
            f"its schema is {schema!r}, not {SCHEMA!r}.",
            path.name,
            "Name the JSON file beside the sound.",
        )
    return found


def read_stimulus(path: Path) -> Stimulus:
    """Return the sweep that a description states.

    Parameters
    ----------
    path
        JSON as :func:`write_stimulus` writes it, or with the bare keys of
        :class:`~backtospec.analysis.sweep_signal.Stimulus`; other keys are left alone.

    Raises
    ------
    BenchError
        All missing, mistyped and impossible figures at once, each with its key.
    """
    found = read_description(path)
    kind = found.get("kind", "sweep")
    if kind != "sweep":
        raise BenchError(
            f"it describes a {kind}, not a sweep.", path.name, "Name the file of the sweep."
        )
    faults: list[BenchError] = []
    figures: dict[str, float] = {}
    for key, needed in _FIELDS.items():
        where = f"{path.name}, {key}"
        value = found.get(key)
        if value is None:
            if needed:
                what = "the figure is missing."
                faults.append(BenchError(what, where, "Write it as the sweep was made."))
        elif isinstance(value, bool) or not isinstance(value, int | float):
            what = f"{json.dumps(value)} is not a number."
            faults.append(BenchError(what, where, "Write a plain number."))
        else:
            figures[key] = _as_float(value)
    if faults:
        raise BenchError.of(faults)
    try:
        return Stimulus(**figures)
    except BenchError as error:
        raise BenchError.of(
            BenchError(fault.what, f"{path.name}, {fault.where}", fault.fix)
            for fault in error.faults
        ) from error


def read_frequencies(path: Path, kinds: tuple[str, ...]) -> tuple[float, ...]:
    """Return the frequency or frequencies that a description states; none for a sweep.

    Parameters
    ----------
    path
        JSON as :func:`write_stimulus` writes it.
    kinds
        Which signals it may describe.

    Raises
    ------
    BenchError
        Where it describes another signal, or its frequency is missing or impossible.
    """
    found = read_description(path)
    kind = found.get("kind", "sweep" if "L_s" in found else None)
    if kind not in kinds:
        told = f"it describes a {kind}" if kind else "it does not say what it describes"
        raise BenchError(
            f"{told}, where {' or '.join(kinds)} is needed.",
            path.name,
            "Name the description of the signal that was played.",
        )
    if kind in ("sweep", "stepped-tones"):
        return ()
    key = "frequencies_hz" if kind == "two-tone" else "frequency_hz"
    value = found.get(key)
    listed = value if kind == "two-tone" and isinstance(value, list) else [value]
    figures = tuple(
        _as_float(one) if isinstance(one, int | float) and not isinstance(one, bool) else math.nan
        for one in listed
    )
    wanted = 2 if kind == "two-tone" else 1
    if len(figures) != wanted or not all(1.0 <= hz <= 384_000.0 for hz in figures):
        raise BenchError(
            f"{json.dumps(value)} is not {'two frequencies' if wanted == 2 else 'a frequency'} "
            "within 1…384000 Hz.",
            f"{path.name}, {key}",
            "Write it as the signal was made.",
        )
    return figures


def read_stepped_tones(path: Path) -> tuple[PlannedTone, ...]:
    """Return the tones that the description of stepped tones states, in order of time.

    Parameters
    ----------
    path
        JSON as :func:`write_stimulus` writes it, or at least ``tones``, a list of objects with
        ``frequency_hz``, ``start_s`` and ``duration_s``.

    Raises
    ------
    BenchError
        All missing, mistyped and impossible figures at once, each with its place.
    """
    found = read_description(path)
    kind = found.get("kind", "stepped-tones")
    if kind != "stepped-tones":
        raise BenchError(
            f"it describes a {kind}, not stepped tones.",
            path.name,
            "Name the file of the stepped tones.",
        )
    listed = found.get("tones")
    if not isinstance(listed, list) or not 2 <= len(listed) <= _MOST_TONES:
        raise BenchError(
            f"it holds no list of 2…{_MOST_TONES} tones.",
            f"{path.name}, tones",
            "Name the JSON file beside the sound.",
        )
    faults: list[BenchError] = []
    tones = []
    for count, entry in enumerate(listed, start=1):
        figures = {}
        for key, low, high in _TONE_RANGES:
            value = entry.get(key) if isinstance(entry, dict) else None
            number = isinstance(value, int | float) and not isinstance(value, bool)
            figures[key] = _as_float(value) if number and value is not None else math.nan
            if not low <= figures[key] <= high:
                what = f"{json.dumps(value)} is not a number within {low:g}…{high:g}."
                where = f"{path.name}, tone {count}, {key}"
                faults.append(BenchError(what, where, "Write it as the tones were made."))
        tones.append(PlannedTone(**figures))
    faults = faults or repeated_faults([tone.frequency_hz for tone in tones])
    if faults:
        raise BenchError.of(faults)
    tones.sort(key=lambda tone: tone.start_s)
    for one, after in pairwise(tones):
        if one.start_s + one.duration_s > after.start_s + 1e-6:
            raise BenchError(
                f"the tones of {one.frequency_hz:g} and {after.frequency_hz:g} Hz overlap.",
                f"{path.name}, tones",
                "Write them as they were made.",
            )
    return tuple(tones)


def _as_float(value: int | float) -> float:
    """Return a number as float; a whole number too long for one as infinity, to be refused."""
    try:
        return float(value)
    except OverflowError:
        return math.inf

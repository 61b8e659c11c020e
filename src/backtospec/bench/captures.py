"""A sound file on its straight path: opened by sources, analysed by pure maths, in processes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import reduce
from itertools import pairwise
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis import ramp
from backtospec.analysis.control_noise import ControlAnalysis, analyse_control
from backtospec.analysis.noise import NoiseAnalysis, analyse_noise
from backtospec.analysis.notes import FileFacts, channel_names
from backtospec.analysis.ramp import RampAnalysis
from backtospec.analysis.ramp_frames import RampFrames
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.square import SquareAnalysis, analyse_square
from backtospec.analysis.stepped import SteppedAnalysis, analyse_stepped
from backtospec.analysis.tone import ToneAnalysis, analyse_tone
from backtospec.errors import BenchError
from backtospec.sources.sound_files import SoundFile, open_sound_file

Analysis: TypeAlias = (
    ToneAnalysis | RampAnalysis | NoiseAnalysis | ControlAnalysis | SquareAnalysis | SteppedAnalysis
)

Array = NDArray[np.float64]

#: Below this many samples a second process costs more than it saves.
_WORTH_A_PROCESS = 20_000_000
_LONGEST_SAMPLES = 60_000_000
_SILENT = 1e-5


def analyse_file(
    path: Path, kind: str, setup: CaptureSetup, *, processes: int | None = None
) -> Analysis:
    """Return the analysis of a sound file.

    Parameters
    ----------
    path
        WAV or FLAC.
    kind
        ``"tone"`` for a steady tone, ``"ramp"`` for a tone while the volume is turned,
        ``"noise"`` without a signal, ``"control"`` while a control is turned, ``"square"`` for a
        square wave, ``"stepped"`` for tones one after another.
    setup
        Calibration, load, nominal frequency, channels.
    processes
        How many may work at once, from 1; without it as many as there are processors. The
        result does not depend on it.

    Raises
    ------
    BenchError
        When the file cannot be used or holds no such signal.
    """
    if processes is not None and processes < 1:
        raise BenchError(f"{processes} processes cannot work.", "processes", "Give 1 or more.")
    analyse = _KINDS.get(kind)
    if analyse is None:
        kinds = ", ".join(_KINDS)
        raise BenchError(f"{kind!r} is none of {kinds}.", "kind", "Name one of them.")
    sound = open_sound_file(path, setup.channels)
    file = FileFacts(sound.frames, sound.sample_rate_hz, sound.valid_bits)
    analysis = analyse(sound, file, setup, processes or os.cpu_count() or 1)
    return replace(analysis, notes=(*sound.notes, *analysis.notes))


def kinds() -> tuple[str, ...]:
    """Return the kinds of analysis that a check may ask for."""
    return tuple(_KINDS)


def analyse_ramp_file(
    path: Path, setup: CaptureSetup, *, processes: int | None = None
) -> RampAnalysis:
    """Return the analysis of a sound file that holds a tone while the volume is turned.

    Parameters
    ----------
    path, setup, processes
        See :func:`analyse_file`.
    """
    analysis = analyse_file(path, "ramp", setup, processes=processes)
    assert isinstance(analysis, RampAnalysis)
    return analysis


def analyse_tone_file(path: Path, setup: CaptureSetup) -> ToneAnalysis:
    """Return the analysis of a sound file that holds a steady tone.

    Parameters
    ----------
    path, setup
        See :func:`analyse_file`.
    """
    sound = open_sound_file(path, setup.channels)
    file = FileFacts(sound.frames, sound.sample_rate_hz, sound.valid_bits)
    analysis = analyse_tone(_read_whole(sound), file, setup)
    return replace(analysis, notes=(*sound.notes, *analysis.notes))


def _read_whole(sound: SoundFile) -> Array:
    """Return all samples of a recording that is short enough to be held at once."""
    if sound.frames * len(sound.picked) > _LONGEST_SAMPLES:
        longest_s = _LONGEST_SAMPLES / len(sound.picked) / sound.sample_rate_hz
        raise BenchError(
            f"{sound.frames / sound.sample_rate_hz:.0f} s are more than the {longest_s:.0f} s "
            "that it may last.",
            sound.path.name,
            "Cut out a minute of it; only a ramp may be longer.",
        )
    return sound.read(0, sound.frames)


def _whole(
    analyse: Callable[[Array, FileFacts, CaptureSetup], Analysis],
) -> Callable[[SoundFile, FileFacts, CaptureSetup, int], Analysis]:
    """Return an analysis that is given the whole recording at once."""
    return lambda sound, file, setup, _: analyse(_read_whole(sound), file, setup)


def _ramp(sound: SoundFile, file: FileFacts, setup: CaptureSetup, processes: int) -> RampAnalysis:
    rate_hz = float(sound.sample_rate_hz)
    ranges = ramp.excerpt_ranges(sound.frames, rate_hz)
    excerpts = tuple(sound.read(a, b - a) for a, b in ranges)
    if max(float(np.std(excerpt)) for excerpt in excerpts) < _SILENT:
        return ramp.silent_ramp(file, channel_names(len(sound.picked)))
    hz = ramp.find_frequency(excerpts, rate_hz, setup.nominal_hz)
    grid = ramp.grid_for(rate_hz, hz, setup)
    many = processes if sound.frames * len(sound.picked) > _WORTH_A_PROCESS else 1
    batches = -(-sound.frames // grid.batch)
    edges = [min(sound.frames, i * grid.batch) for i in _shares(batches, many)]
    jobs = [(sound, hz, setup, a, b) for a, b in pairwise(edges)]
    if len(jobs) == 1:
        parts = [_ramp_part(jobs[0])]
    else:
        with ProcessPoolExecutor(len(jobs)) as pool:
            parts = list(pool.map(_ramp_part, jobs))
    return ramp.finish(reduce(ramp.merge, parts), file, setup)


def _shares(batches: int, processes: int) -> list[int]:
    """Return the edges of nearly equal shares, none of them empty.

    Examples
    --------
    >>> _shares(5, 2), _shares(1, 4)
    ([0, 2, 5], [0, 1])
    """
    count = max(1, min(processes, batches))
    return [batches * i // count for i in range(count + 1)]


def _ramp_part(job: tuple[SoundFile, float, CaptureSetup, int, int]) -> RampFrames:
    sound, hz, setup, first, end = job
    grid = ramp.grid_for(float(sound.sample_rate_hz), hz, setup)
    state = ramp.start(grid, len(sound.picked), first)
    for block in sound.blocks(first, end, grid.batch):
        state = ramp.feed(state, block)
    return ramp.condense(state)


_KINDS: Mapping[str, Callable[[SoundFile, FileFacts, CaptureSetup, int], Analysis]] = {
    "tone": _whole(analyse_tone),
    "ramp": _ramp,
    "noise": _whole(analyse_noise),
    "control": _whole(analyse_control),
    "square": _whole(analyse_square),
    "stepped": _whole(analyse_stepped),
}

"""A sound file on its straight path: opened by sources, analysed by pure maths, in processes."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import reduce
from itertools import pairwise
from pathlib import Path
from typing import TypeAlias

import numpy as np

from backtospec.analysis import ramp
from backtospec.analysis.notes import FileFacts, channel_names
from backtospec.analysis.ramp import RampAnalysis
from backtospec.analysis.ramp_frames import RampFrames
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ToneAnalysis, analyse_tone
from backtospec.errors import BenchError
from backtospec.sources.sound_files import SoundFile, open_sound_file

Analysis: TypeAlias = ToneAnalysis | RampAnalysis

#: Below this many samples a second process costs more than it saves.
_WORTH_A_PROCESS = 20_000_000
_LONGEST_TONE_SAMPLES = 60_000_000
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
        ``"tone"`` for a steady tone, ``"ramp"`` for a tone while the volume is turned.
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


def analyse_tone_file(path: Path, setup: CaptureSetup) -> ToneAnalysis:
    """Return the analysis of a sound file that holds a steady tone.

    Parameters
    ----------
    path, setup
        See :func:`analyse_file`.
    """
    sound = open_sound_file(path, setup.channels)
    file = FileFacts(sound.frames, sound.sample_rate_hz, sound.valid_bits)
    analysis = _tone(sound, file, setup, 1)
    return replace(analysis, notes=(*sound.notes, *analysis.notes))


def _tone(sound: SoundFile, file: FileFacts, setup: CaptureSetup, _: int) -> ToneAnalysis:
    if sound.frames * len(sound.picked) > _LONGEST_TONE_SAMPLES:
        longest_s = _LONGEST_TONE_SAMPLES / len(sound.picked) / sound.sample_rate_hz
        raise BenchError(
            f"{sound.frames / sound.sample_rate_hz:.0f} s are more than the {longest_s:.0f} s "
            "that a steady tone may last.",
            sound.path.name,
            "Cut out a minute of it, or analyse it as a ramp.",
        )
    return analyse_tone(sound.read(0, sound.frames), file, setup)


def _ramp(sound: SoundFile, file: FileFacts, setup: CaptureSetup, processes: int) -> Analysis:
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


_KINDS: dict[str, Callable[[SoundFile, FileFacts, CaptureSetup, int], Analysis]] = {
    "tone": _tone,
    "ramp": _ramp,
}

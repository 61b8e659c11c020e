"""Sound files opened with suspicion: one that lies about itself is refused, or says where.

WAV, RF64, W64, AIFF, AIFC and CAF without compression, and FLAC.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.notes import Note
from backtospec.errors import BenchError, Choice, Question
from backtospec.sources.sound_aiff import aiff_layout
from backtospec.sources.sound_caf import caf_layout
from backtospec.sources.sound_chunks import SoundBytes
from backtospec.sources.sound_flac import FlacSamples, open_flac
from backtospec.sources.sound_plain import PlainSamples, is_shifted
from backtospec.sources.sound_riff import riff_layout, w64_layout

Array = NDArray[np.float64]

_PLAIN = (riff_layout, w64_layout, aiff_layout, caf_layout)
_MOST_CHANNELS = 2
_AT_ONCE = 1 << 16

#: How files begin that throw part of the signal away, and what they are.
_LOSSY = {b"OggS": "an Ogg file", b"ID3": "an MP3 file", b"\xff\xfb": "an MP3 file"}


@dataclass(frozen=True, slots=True)
class SoundFile:
    """An opened, checked sound file.

    Parameters
    ----------
    path
        Where it is.
    frames, sample_rate_hz, valid_bits
        Samples per channel, rate, bits per sample that carry sound.
    picked
        Channels taken, counted from 0; one or two.
    samples
        How to get at them.
    notes
        What is missing of a damaged file.
    """

    path: Path
    frames: int
    sample_rate_hz: int
    valid_bits: int
    picked: tuple[int, ...]
    samples: PlainSamples | FlacSamples
    notes: tuple[Note, ...] = ()

    def read(self, first: int, count: int) -> Array:
        """Return samples first…first+count as float64, shape (samples, picked channels).

        Raises
        ------
        BenchError
            When a sample is not a number, or the file ends early.
        """
        whole = np.empty((count, len(self.picked)))
        at, end = 0, first + count
        for block in self.samples.blocks(self.picked, first, end, _AT_ONCE, np.float64):
            whole[at : at + len(block)] = block
            at += len(block)
        return whole

    def blocks(self, first: int, end: int, length: int) -> Iterator[NDArray[np.float32]]:
        """Yield samples first…end in blocks of a length, in single precision and checked.

        Raises
        ------
        BenchError
            When a sample is not a number, or the file ends early.
        """
        return self.samples.blocks(self.picked, first, end, length, np.float32)


def open_sound_file(path: Path, channels: tuple[int, ...] | None = None) -> SoundFile:
    """Return a checked sound file; what a damaged one still holds, with a note.

    Parameters
    ----------
    path
        WAV, RF64, W64, AIFF or CAF (8 to 32 bits, or floating point), or FLAC.
    channels
        Which channels to take, counted from 1; needed when the file has more than two.

    Raises
    ------
    BenchError
        When the file is missing, not a sound file, damaged beyond use, empty, of an odd rate, or
        its channels cannot be taken as asked.
    Question
        When it has more than two channels and none are named.
    """
    if not path.is_file():
        raise BenchError("there is no such file.", str(path), "Check the name.")
    if path.stat().st_size == 0:
        raise BenchError("the file is empty (0 bytes).", path.name, "Record again.")
    try:
        with path.open("rb") as file:
            samples, frames, faults = _samples(path, SoundBytes(file, path.name))
    except OSError as error:
        raise BenchError(
            f"the file cannot be read ({error.strerror}).", str(path), "Copy it to another place."
        ) from error
    form = samples.form
    picked = _pick(path, channels, form.channels)
    rate_hz = int(form.rate_hz)
    notes = (Note("salvaged", " ".join(faults), at_s=frames / rate_hz),) if faults else ()
    return SoundFile(path, frames, rate_hz, form.valid_bits, picked, samples, notes)


def _samples(
    path: Path, source: SoundBytes
) -> tuple[PlainSamples | FlacSamples, int, tuple[str, ...]]:
    """Return how to get at the samples, how many there are, and what is wrong."""
    flac = open_flac(path, source)
    if flac:
        return flac, flac.frames, flac.faults
    for layout_of in _PLAIN:
        if layout := layout_of(source):
            samples = PlainSamples(path, layout.form, layout.offset)
            if is_shifted(samples, layout.frames):
                raise BenchError(
                    f"its {layout.form.valid_bits} bits stand at the wrong end of "
                    f"{8 * layout.form.width}: their level would come out wrong.",
                    path.name,
                    "Export the recording as 24-bit WAV or FLAC.",
                )
            return samples, layout.frames, layout.faults
    begins = source.at(0, 4)
    lossy = [what for mark, what in _LOSSY.items() if begins.startswith(mark)]
    what = (
        f"this is {lossy[0]}, which loses part of the signal"
        if lossy
        else "this is no sound file of a known kind"
    )
    raise BenchError(
        f"{what}; WAV, RF64, W64, AIFF, CAF and FLAC are read.",
        path.name,
        "Export the recording as 24-bit WAV or FLAC.",
    )


def _pick(path: Path, channels: tuple[int, ...] | None, count: int) -> tuple[int, ...]:
    if channels is None:
        if count <= _MOST_CHANNELS:
            return tuple(range(count))
        raise _which_channels(path, count)
    if all(1 <= channel <= count for channel in channels) and channels:
        return tuple(channel - 1 for channel in channels)
    asked = ",".join(str(channel) for channel in channels)
    raise BenchError(
        f"channel {asked} was asked for; the file has channels 1…{count}.",
        "channels",
        f"Name channels from 1 to {count}.",
    )


def _which_channels(path: Path, count: int) -> Question:
    pairs = [(first, min(first + 1, count)) for first in range(1, count + 1, 2)]
    return Question(
        f"the file has {count} channels; at most {_MOST_CHANNELS} can be measured together.",
        path.name,
        "Name the channels with --channels, for example --channels 1,2.",
        about="channels",
        quotes=(f"{count} channels",),
        choices=tuple(
            Choice(f"{a},{b}", f"channels {a} and {b}") if a < b else Choice(f"{a}", f"channel {a}")
            for a, b in pairs
        ),
        option="--channels",
    )

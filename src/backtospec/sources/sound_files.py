"""Sound files, WAV and FLAC, opened with suspicion: a file that lies about itself is refused."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from backtospec.errors import BenchError
from backtospec.sources.raw_samples import RawSamples

Array = NDArray[np.float64]
_Kind = Literal["float32", "float64"]

_FORMATS = {"WAV", "WAVEX", "RF64", "FLAC", "W64"}
_VALID_BITS = {
    "PCM_U8": 8,
    "PCM_S8": 8,
    "PCM_16": 16,
    "PCM_24": 24,
    "PCM_32": 32,
    "FLOAT": 24,
    "DOUBLE": 53,
}
_RATES_HZ = (8_000, 768_000)
_MOST_CHANNELS = 2
_UNKNOWN_SIZE = 0xFFFFFFFF


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
    raw
        Where plain 24-bit samples lie in the file, or ``None`` for other kinds.
    """

    path: Path
    frames: int
    sample_rate_hz: int
    valid_bits: int
    picked: tuple[int, ...]
    raw: RawSamples | None = None

    def read(self, first: int, count: int) -> Array:
        """Return samples first…first+count as float64, shape (samples, picked channels).

        Raises
        ------
        BenchError
            When a sample is not a number, or the file ends early.
        """
        with self._opened() as sound:
            sound.seek(first)
            return np.asarray(self._next(sound, count, first, "float64"), dtype=np.float64)

    def blocks(self, first: int, end: int, length: int) -> Iterator[NDArray[np.float32]]:
        """Yield samples first…end in blocks of a length, in single precision and checked.

        Raises
        ------
        BenchError
            When a sample is not a number, or the file ends early.
        """
        if self.raw:
            at = first
            for block in self.raw.blocks(self.path, self.picked, first, end, length):
                if len(block) < min(length, end - at):
                    raise _damaged(self.path, f"it ends at sample {at + len(block)}")
                at += len(block)
                yield block
            return
        with self._opened() as sound:
            sound.seek(first)
            for at in range(first, end, length):
                yield self._next(sound, min(length, end - at), at, "float32")

    def _opened(self) -> soundfile.SoundFile:
        return soundfile.SoundFile(self.path)

    def _next(self, sound: soundfile.SoundFile, count: int, at: int, kind: _Kind) -> Any:
        try:
            block = sound.read(count, dtype=kind, always_2d=True)
        except soundfile.LibsndfileError as error:
            raise _damaged(self.path, f"reading failed at sample {at}: {error}") from error
        if len(block) < count:
            raise _damaged(self.path, f"it ends at sample {at + len(block)} of {self.frames}")
        taken = block if block.shape[1] == len(self.picked) else block[:, list(self.picked)]
        if not np.isfinite(taken).all():
            where = at + int(np.flatnonzero(~np.isfinite(taken).all(axis=1))[0])
            raise BenchError(
                f"sample {where} ({where / self.sample_rate_hz:.3f} s) is not a number.",
                self.path.name,
                "Export the recording again as 24-bit WAV or FLAC.",
            )
        return taken


def open_sound_file(path: Path, channels: tuple[int, ...] | None = None) -> SoundFile:
    """Return a checked sound file.

    Parameters
    ----------
    path
        WAV (16, 24, 32 bits, floating point, extensible, RF64) or FLAC.
    channels
        Which channels to take, counted from 1; needed when the file has more than two.

    Raises
    ------
    BenchError
        When the file is missing, not a sound file, cut short, empty, of an odd rate, or its
        channels cannot be taken as asked.
    """
    if not path.is_file():
        raise BenchError("there is no such file.", str(path), "Check the name.")
    if path.stat().st_size == 0:
        raise BenchError("the file is empty (0 bytes).", path.name, "Record again.")
    _check_chunks(path)
    try:
        with soundfile.SoundFile(path) as sound:
            facts = (sound.frames, sound.samplerate, sound.channels, sound.format, sound.subtype)
    except soundfile.LibsndfileError as error:
        raise BenchError(
            f"this is not a WAV or FLAC file that can be read ({error.error_string}).",
            path.name,
            "Export the recording as WAV or FLAC.",
        ) from error
    frames, rate_hz, count, kind, subtype = facts
    if kind not in _FORMATS or subtype not in _VALID_BITS:
        raise BenchError(
            f"{kind} with {subtype} samples is a kind that loses or bends the signal.",
            path.name,
            "Export the recording as 24-bit WAV or FLAC.",
        )
    if frames <= 0:
        raise BenchError("the file holds no samples.", path.name, "Record again.")
    low, high = _RATES_HZ
    if not low <= rate_hz <= high:
        raise BenchError(
            f"its sampling rate of {rate_hz} Hz is outside {low}…{high} Hz.",
            path.name,
            "Record at 44 100 to 192 000 Hz.",
        )
    picked = _pick(path, channels, count)
    bits = _extensible_bits(path) or _VALID_BITS[subtype]
    chunk = _data_chunk(path) if subtype == "PCM_24" else None
    raw = RawSamples(chunk[0], count) if chunk else None
    return SoundFile(path, frames, rate_hz, bits, picked, raw)


def _pick(path: Path, channels: tuple[int, ...] | None, count: int) -> tuple[int, ...]:
    if channels is None:
        if count <= _MOST_CHANNELS:
            return tuple(range(count))
        raise BenchError(
            f"the file has {count} channels; at most {_MOST_CHANNELS} can be measured together.",
            path.name,
            "Name the channels, for example --channels 1,2.",
        )
    if all(1 <= channel <= count for channel in channels) and channels:
        return tuple(channel - 1 for channel in channels)
    asked = ",".join(str(channel) for channel in channels)
    raise BenchError(
        f"channel {asked} was asked for; the file has channels 1…{count}.",
        "channels",
        f"Name channels from 1 to {count}.",
    )


def _damaged(path: Path, what: str) -> BenchError:
    return BenchError(f"the file is damaged or cut short: {what}.", path.name, "Copy it again.")


def _check_chunks(path: Path) -> None:
    """Refuse a WAV or RF64 file whose data chunk is longer than the file, or empty.

    The sound library reads such a file as a shorter one without a word.
    """
    found = _data_chunk(path)
    if found is None:
        return
    start, size = found
    there = path.stat().st_size - start
    if size == 0:
        what = "its header says that no samples follow" + (f", yet {there} bytes do" * (there > 0))
        raise (
            _damaged(path, what)
            if there > 0
            else BenchError("the file holds no samples.", path.name, "Record again.")
        )
    if size > there:
        raise _damaged(path, f"its header promises {size} bytes of sound, {there} are there")


def _data_chunk(path: Path) -> tuple[int, int] | None:
    """Return (offset, size) of the data chunk of a RIFF or RF64 file, or ``None``."""
    with path.open("rb") as file:
        head = file.read(12)
        if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
            return None
        long_size = 0
        for name, size in _chunks(file):
            if name == b"ds64":
                long_size = struct.unpack("<QQ", file.read(16))[1]
            if name == b"data":
                wide = head[:4] == b"RF64" and size == _UNKNOWN_SIZE
                return file.tell(), long_size if wide else size
    raise _damaged(path, "it has no data chunk")


def _chunks(file: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Yield (name, size) with the file at the start of each chunk's content."""
    at = 12
    while True:
        file.seek(at)
        header = file.read(8)
        if len(header) < 8:
            return
        name, size = header[:4], struct.unpack("<I", header[4:])[0]
        yield name, size
        at += 8 + size + size % 2


def _extensible_bits(path: Path) -> int | None:
    """Return the valid bits that an extensible WAV header states, or ``None``."""
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] not in (b"RIFF", b"RF64"):
            return None
        for name, size in _chunks(file):
            if name == b"fmt " and size >= 40:
                body = file.read(40)
                tag, valid = struct.unpack("<H", body[:2])[0], struct.unpack("<H", body[18:20])[0]
                code = struct.unpack("<H", body[24:26])[0]
                is_integer = tag == 0xFFFE and code == 1
                return int(valid) if is_integer and 0 < valid <= 32 else None
            if name == b"data":
                return None
    return None

"""FLAC, decoded to its end before it is trusted: a cut or damaged file keeps what is sound."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from backtospec.sources.sound_chunks import SoundBytes
from backtospec.sources.sound_layout import SampleFormat, check_format, damaged, unread

_AT_ONCE = 4096
_BITS = (8, 16, 24)


@dataclass(frozen=True, slots=True)
class FlacSamples:
    """Samples of a FLAC file.

    Parameters
    ----------
    path
        The file.
    form
        Channels, rate and bits; its samples are packed.
    frames
        Frames that decode without a fault.
    faults
        What is wrong with the file, in whole sentences.
    """

    path: Path
    form: SampleFormat
    frames: int
    faults: tuple[str, ...]

    def blocks(
        self, picked: tuple[int, ...], first: int, end: int, length: int, dtype: Any
    ) -> Iterator[NDArray[Any]]:
        """Yield samples first…end in blocks, shape (samples, picked), digital amplitude.

        Raises
        ------
        BenchError
            When the file has changed since it was opened.
        """
        every = tuple(range(self.form.channels))
        with soundfile.SoundFile(self.path) as sound:
            self._go_to(sound, first)
            for at in range(first, end, length):
                block = np.empty((min(length, end - at), self.form.channels), dtype)
                got, _ = _fill(sound, block)
                if got < len(block):
                    raise damaged(self.path.name, f"it ends at sample {at + got}")
                yield block if picked == every else block[:, list(picked)]

    def _go_to(self, sound: soundfile.SoundFile, frame: int) -> None:
        """Move to a frame; in a damaged file only decoding finds the way."""
        if not self.faults:
            sound.seek(frame)
            return
        while left := frame - sound.tell():
            got, _ = _fill(sound, np.empty((min(left, _AT_ONCE), self.form.channels), np.int32))
            if not got:
                raise damaged(self.path.name, f"sample {frame} cannot be reached")


def _fill(sound: soundfile.SoundFile, block: NDArray[Any]) -> tuple[int, str]:
    """Return how many frames were decoded into a block, and what stopped it.

    Where decoding fails, the library does not tell how far it came. The block is marked before
    with what no sample of 24 bits is: not a number, or a lowest bit of 32.
    """
    marked = block.dtype.kind == "f"
    block.fill(np.nan if marked else 1)
    try:
        return len(sound.read(out=block)), ""
    except soundfile.LibsndfileError as error:
        blank = np.isnan(block[:, 0]) if marked else block[:, 0] == 1
        got = int(np.argmax(blank)) if blank.any() else len(block)
        return got, error.error_string or "no further block is found"


def open_flac(path: Path, source: SoundBytes) -> FlacSamples | None:
    """Return the samples of a FLAC file, or ``None`` for another kind.

    Raises
    ------
    BenchError
        When not one frame can be decoded, or its header cannot be used.

    Notes
    -----
    RFC 9639. The whole file is decoded once, and held against the checksum of its sound.
    """
    start = _after_tag(source)
    if source.at(start, 4) != b"fLaC":
        return None
    head = source.at(start + 8, 34)
    if len(head) < 34 or source.at(start + 4, 1)[0] & 0x7F:
        raise damaged(path.name, "its header is not whole")
    packed = int.from_bytes(head[10:18], "big")
    promised = packed & 0xFFFFFFFFF
    bits, channels = (packed >> 36 & 31) + 1, (packed >> 41 & 7) + 1
    form = SampleFormat("i", -(-bits // 8), bits, channels, packed >> 44)
    check_format(path.name, form)
    if bits not in _BITS:
        raise unread(path.name, f"FLAC samples of {bits} bits")
    frames, checksum, trouble = _decode(path, form)
    if not frames:
        raise damaged(path.name, trouble or "not one sample can be decoded")
    end_s, promised_s = frames / form.rate_hz, promised / form.rate_hz
    faults: tuple[str, ...] = ()
    if not promised and checksum == head[18:34]:
        faults = (f"The header gives no length; the {end_s:.3f} s in the file were taken.",)
    elif trouble or promised > frames:
        told = f"promises {promised_s:.3f} s of sound" if promised else "gives no length"
        faults = (
            f"The header {told}; the file is cut or damaged after {end_s:.3f} s, "
            "and was taken up to there.",
        )
    elif any(head[18:34]) and checksum != head[18:34]:
        faults = ("The sound is not what the checksum in the file was made of.",)
    return FlacSamples(path, form, frames, faults)


def _after_tag(source: SoundBytes) -> int:
    """Return where the file proper begins: some put a tag of another format in front."""
    head = source.at(0, 10)
    if len(head) < 10 or head[:3] != b"ID3":
        return 0
    size = 0
    for byte in head[6:]:
        size = size << 7 | byte & 0x7F
    return 10 + size


def _decode(path: Path, form: SampleFormat) -> tuple[int, bytes, str]:
    """Return how many frames decode, the checksum of their sound, and what stopped it."""
    checksum = hashlib.md5(usedforsecurity=False)
    block = np.empty((_AT_ONCE, form.channels), np.int32)
    frames, trouble = 0, ""
    try:
        with soundfile.SoundFile(path) as sound:
            stated = (sound.format, sound.channels, sound.samplerate)
            if stated != ("FLAC", form.channels, form.rate_hz):
                return 0, b"", "its header contradicts itself"
            while not trouble and frames < sound.frames:
                got, trouble = _fill(sound, block[: min(_AT_ONCE, sound.frames - frames)])
                upper = block[:got].astype("<i4").view(np.uint8).reshape(-1, 4)
                checksum.update(upper[:, 4 - form.width :].tobytes())
                frames += got
                if not got:
                    break
    except soundfile.LibsndfileError as error:
        return 0, b"", f"decoding fails ({error.error_string})"
    return frames, checksum.digest(), trouble

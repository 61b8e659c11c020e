"""Uncompressed samples of any width, either byte order, whole numbers or floating point."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError
from backtospec.sources.raw_samples import RawSamples
from backtospec.sources.sound_layout import SampleFormat, damaged

_SAMPLES_AT_ONCE = 1 << 18
#: Floating point may go beyond ±1; 60 dB beyond is no level but a file without a scale.
_HIGHEST = 1e3


@dataclass(frozen=True, slots=True)
class PlainSamples:
    """Where samples lie in a file, uncompressed.

    Parameters
    ----------
    path
        The file.
    form
        How a sample is written.
    offset
        Byte at which the first frame begins.
    """

    path: Path
    form: SampleFormat
    offset: int

    def blocks(
        self, picked: tuple[int, ...], first: int, end: int, length: int, dtype: Any
    ) -> Iterator[NDArray[Any]]:
        """Yield samples first…end in blocks, shape (samples, picked), digital amplitude.

        Raises
        ------
        BenchError
            When a sample is no number, or the file ends early.
        """
        form = self.form
        if (form.letter, form.width, form.big_endian) == ("i", 3, False):
            yield from self._blocks_of_24(picked, first, end, length, dtype)
            return
        with self.path.open("rb") as file:
            file.seek(self.offset + first * form.stride)
            for at in range(first, end, length):
                block = np.empty((min(length, end - at), len(picked)), dtype)
                for start in range(0, len(block), _frames_at_once(form)):
                    into = block[start : start + _frames_at_once(form)]
                    raw = file.read(len(into) * form.stride)
                    if len(raw) < len(into) * form.stride:
                        raise self._ended(at + start + len(raw) // form.stride)
                    frames = as_numbers(raw, form).reshape(-1, form.channels)
                    self._take(frames[:, list(picked)], into, at + start)
                yield block

    def _blocks_of_24(
        self, picked: tuple[int, ...], first: int, end: int, length: int, dtype: Any
    ) -> Iterator[NDArray[Any]]:
        """Yield blocks of the usual kind, which has a quicker way and fits single precision."""
        raw, at = RawSamples(self.offset, self.form.channels), first
        for block in raw.blocks(self.path, picked, first, end, length):
            if len(block) < min(length, end - at):
                raise self._ended(at + len(block))
            at += len(block)
            yield block.astype(dtype, copy=False)

    def _ended(self, frame: int) -> BenchError:
        return damaged(self.path.name, f"it ends at sample {frame}")

    def _take(self, frames: NDArray[Any], into: NDArray[Any], at: int) -> None:
        """Put frames into a block as digital amplitude; refuse what is no level."""
        if self.form.letter != "f":
            np.multiply(frames, 2.0 ** (1 - 8 * frames.dtype.itemsize), out=into, casting="unsafe")
            return
        good = np.isfinite(frames).all(axis=1)
        low = np.abs(np.where(good[:, None], frames, 0.0)).max(axis=1) <= _HIGHEST
        for fine, what in ((good, "is not a number"), (low, "is over 1000 times full scale")):
            if not fine.all():
                where = at + int(np.flatnonzero(~fine)[0])
                raise BenchError(
                    f"sample {where} ({where / self.form.rate_hz:.3f} s) {what}.",
                    self.path.name,
                    "Export the recording again as 24-bit WAV or FLAC.",
                )
        into[...] = frames


def _frames_at_once(form: SampleFormat) -> int:
    """Return how many frames are decoded at a time, however many channels they have."""
    return max(1, _SAMPLES_AT_ONCE // form.channels)


def as_numbers(raw: bytes, form: SampleFormat) -> NDArray[Any]:
    """Return the samples in a stretch of bytes, shape (samples,).

    Whole numbers fill their type: 24 bits come as the upper three bytes of 32.

    Examples
    --------
    >>> form = SampleFormat("i", 3, 24, 1, 48_000)
    >>> as_numbers(bytes([0, 0, 0x40, 0, 0, 0xC0]), form) / 2**31
    array([ 0.5, -0.5])
    """
    order = ">" if form.big_endian else "<"
    if form.letter == "u":
        return (np.frombuffer(raw, np.uint8) ^ 0x80).view(np.int8)
    if form.width != 3:
        return np.frombuffer(raw, f"{order}{form.letter}{form.width}")
    words = np.zeros((len(raw) // 3, 4), np.uint8)
    words[:, 0 if form.big_endian else 1 :][:, :3] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
    return words.view(f"{order}i4")[:, 0]


def is_shifted(samples: PlainSamples, frames: int) -> bool:
    """Whether samples with spare bits stand at the lower end of their bytes.

    By the standards they stand at the upper end, and the spare bits are zero. Looks at the
    first frames, 262 144 samples at most.
    """
    form = samples.form
    spare = 8 * form.width - form.valid_bits
    if form.letter == "f" or not spare:
        return False
    with samples.path.open("rb") as file:
        file.seek(samples.offset)
        numbers = as_numbers(file.read(min(frames, _frames_at_once(form)) * form.stride), form)
    widest = numbers.astype(np.int64) >> (8 * (numbers.dtype.itemsize - form.width))
    reach = 1 << (form.valid_bits - 1)
    uses_spare = bool(np.any(widest & ((1 << spare) - 1)))
    return uses_spare and bool(np.all((widest >= -reach) & (widest < reach)))

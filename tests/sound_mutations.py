"""Sound files bent in every way a disk, a cable or a crash can bend them, by seed."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

import numpy as np
import soundfile

RATE_HZ = 48_000
FRAMES = 4800

#: Container, subtype, channels.
KINDS = (
    ("WAV", "PCM_16", 2),
    ("WAV", "PCM_24", 2),
    ("WAV", "FLOAT", 1),
    ("WAVEX", "PCM_24", 2),
    ("WAVEX", "PCM_32", 4),
    ("WAV", "DOUBLE", 2),
    ("RF64", "PCM_24", 2),
    ("RF64", "FLOAT", 2),
    ("W64", "PCM_24", 2),
    ("W64", "FLOAT", 2),
    ("AIFF", "PCM_16", 2),
    ("AIFF", "PCM_24", 2),
    ("AIFF", "FLOAT", 2),
    ("CAF", "PCM_24", 2),
    ("CAF", "DOUBLE", 1),
    ("FLAC", "PCM_16", 2),
    ("FLAC", "PCM_24", 2),
    ("FLAC", "PCM_24", 1),
)
_MARKS = (b"fmt ", b"data", b"ds64", b"COMM", b"SSND", b"desc", b"fLaC", b"RIFF", b"FORM", b"riff")
_HEAD_BYTES = 128
_ABSURD = (0, 1, 2, 3, 7, 8, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFE, 0xFFFFFFFF)


@dataclass(frozen=True, slots=True)
class Bent:
    """A bent file.

    Parameters
    ----------
    container
        Of the file it was made from.
    content
        Its bytes.
    how
        What was done to it, in order.
    """

    container: str
    content: bytes
    how: tuple[str, ...]


def whole_files() -> list[tuple[str, bytes]]:
    """Return container and bytes of a tenth of a second of tone in every kind."""
    rng = np.random.default_rng(11)
    tone = 0.5 * np.sin(2 * np.pi * 997 * np.arange(FRAMES) / RATE_HZ)[:, None]
    files = []
    for container, subtype, channels in KINDS:
        samples = tone * np.ones(channels) + 1e-4 * rng.standard_normal((FRAMES, channels))
        memory = io.BytesIO()
        soundfile.write(memory, samples, RATE_HZ, subtype=subtype, format=container)
        files.append((container, memory.getvalue()))
    return files


def bend(files: list[tuple[str, bytes]], seed: int) -> Bent:
    """Return the bent file of a seed, made from one of some whole ones."""
    dice = Random(seed)
    container, whole = files[dice.randrange(len(files))]
    content, how = bytearray(whole), []
    for _ in range(dice.choice((1, 1, 1, 2, 3))):
        name = dice.choice(tuple(_BENDS))
        content = _BENDS[name](content, dice)
        how.append(name)
    return Bent(container, bytes(content), tuple(how))


def _place(content: bytearray, dice: Random) -> int:
    """Return a place in a file, as often in its header as behind it."""
    end = min(_HEAD_BYTES, len(content)) if dice.random() < 0.5 else len(content)
    return dice.randrange(max(1, end))


def _flip(content: bytearray, dice: Random) -> bytearray:
    for _ in range(dice.choice((1, 1, 2, 8, 32))):
        if content:
            content[_place(content, dice)] ^= 1 << dice.randrange(8)
    return content


def _cut(content: bytearray, dice: Random) -> bytearray:
    return content[: dice.randrange(len(content) + 1)]


def _cut_head(content: bytearray, dice: Random) -> bytearray:
    return content[: dice.randrange(min(_HEAD_BYTES, len(content)) + 1)]


def _drop(content: bytearray, dice: Random) -> bytearray:
    at = _place(content, dice)
    return content[:at] + content[at + dice.choice((1, 2, 3, 4, 8, 100, 1000)) :]


def _insert(content: bytearray, dice: Random) -> bytearray:
    at = _place(content, dice)
    return content[:at] + dice.randbytes(dice.choice((1, 2, 3, 4, 9, 64, 500))) + content[at:]


def _overwrite(content: bytearray, dice: Random) -> bytearray:
    at, size = _place(content, dice), dice.choice((1, 4, 16, 200, 3000))
    new = dice.choice((bytes(size), b"\xff" * size, dice.randbytes(size)))
    return content[:at] + new + content[at + size :]


def _repeat(content: bytearray, dice: Random) -> bytearray:
    at, size = _place(content, dice), dice.choice((4, 8, 24, 500))
    return content[: at + size] + content[at:]


def _swap(content: bytearray, dice: Random) -> bytearray:
    """Exchange two neighbouring stretches, as of two chunks."""
    a, b, c = sorted(_place(content, dice) for _ in range(3))
    return content[:a] + content[b:c] + content[a:b] + content[c:]


def _field(content: bytearray, dice: Random) -> bytearray:
    """Write a figure that cannot be meant over one field of a header."""
    marks = [at for mark in _MARKS if (at := content.find(mark)) >= 0]
    at = (dice.choice(marks) if marks else 0) + dice.randrange(2, 44)
    order = dice.choice("<>")
    code = dice.choice("BHIQ")
    value = dice.choice((*_ABSURD, dice.getrandbits(16), dice.getrandbits(32), 1 << 36))
    new = struct.pack(order + code, value & ((1 << 8 * struct.calcsize(code)) - 1))
    return content[:at] + new + content[at + len(new) :]


def _junk(content: bytearray, dice: Random) -> bytearray:
    return bytearray(content[: dice.choice((0, 4, 12, 16, 40))] + dice.randbytes(400))


def _append(content: bytearray, dice: Random) -> bytearray:
    return content + content[: dice.randrange(len(content) + 1)]


_BENDS: dict[str, Callable[[bytearray, Random], bytearray]] = {
    "flip": _flip,
    "cut": _cut,
    "cut head": _cut_head,
    "drop": _drop,
    "insert": _insert,
    "overwrite": _overwrite,
    "repeat": _repeat,
    "swap": _swap,
    "field": _field,
    "field again": _field,
    "junk": _junk,
    "append": _append,
}

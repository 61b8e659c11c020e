"""AIFF and its successor AIFC, uncompressed: chunks with the highest byte first."""

from __future__ import annotations

import math
import struct

from backtospec.sources.sound_chunks import PASSED_OVER, Chain, Chunk, SoundBytes, shown
from backtospec.sources.sound_layout import (
    SampleFormat,
    SoundLayout,
    damaged,
    float_format,
    integer_format,
    lay_out,
    no_format,
    unread,
)

_SSND_HEADER = 8
_LITTLE = {b"sowt": None, b"23ni": 32, b"42ni": 24, b"42n1": 24}
_BIG = {b"NONE": None, b"twos": None, b"in24": 24, b"in32": 32}
_FLOATS = {b"fl32": 32, b"FL32": 32, b"fl64": 64, b"FL64": 64}


def aiff_layout(source: SoundBytes) -> SoundLayout | None:
    """Return where the samples of an AIFF or AIFC file lie, or ``None`` for another kind.

    Raises
    ------
    BenchError
        When its header cannot be used.
    """
    head = source.at(0, 12)
    if head[:4] != b"FORM" or head[8:] not in (b"AIFF", b"AIFC"):
        return None
    stated: tuple[SampleFormat, int] | None = None
    sound: tuple[int, int] | None = None
    faults: tuple[str, ...] = ()
    for chunk in _CHAIN.walk(source, 12):
        if chunk is None:
            faults = (PASSED_OVER,)
        elif chunk.name == b"COMM" and not stated:
            stated = _stated_format(source, chunk, head[8:] == b"AIFC")
        elif chunk.name == b"SSND" and not sound:
            skipped = int.from_bytes(source.at(chunk.start, 4), "big")
            sound = chunk.start + _SSND_HEADER + skipped, chunk.size - _SSND_HEADER - skipped
    if not sound:
        raise damaged(source.name, "it has no sound chunk")
    if not stated:
        raise no_format(source.name)
    return _agree(source, *stated, *sound, faults)


def _chunk(source: SoundBytes, at: int) -> Chunk | None:
    head = source.at(at, 8)
    if len(head) < 8:
        return None
    size = int.from_bytes(head[4:], "big")
    return Chunk(head[:4], at + 8, size, at + 8 + size + size % 2)


_CHAIN = Chain(_chunk, (b"COMM", b"SSND"), lambda _, end: end + end % 2)


def _agree(
    source: SoundBytes,
    form: SampleFormat,
    frames: int,
    offset: int,
    size: int,
    faults: tuple[str, ...],
) -> SoundLayout:
    """Lay out the sound by both lengths that the header gives, in frames and in bytes.

    Where they differ, the longer one that is there is taken, and both are told.
    """
    counted = frames * form.stride
    given = [length for length in (counted, size) if length > 0]
    if not given:
        empty = frames == 0 and size == 0
        return lay_out(source, form, offset, 0 if empty else None, _CHAIN, faults)
    there = [length for length in given if length <= source.size - offset]
    if max(given) - min(given) > 1 or len(given) == 1:
        told = f"{frames} samples in one place and {max(0, size) // max(1, form.stride)} in another"
        faults += (f"The header counts {told}.",)
    return lay_out(source, form, offset, max(there or given), _CHAIN, faults)


def _stated_format(source: SoundBytes, chunk: Chunk, is_aifc: bool) -> tuple[SampleFormat, int]:
    """Return sample format and count of frames from a ``COMM`` chunk."""
    length = 22 if is_aifc else 18
    body = source.at(chunk.start, length)
    if chunk.size < length or len(body) < length:
        raise no_format(source.name)
    channels, frames, bits = struct.unpack(">hIh", body[:8])
    rate_hz = extended_number(body[8:18])
    code = body[18:22] or b"NONE"
    if code in _FLOATS:
        return float_format(_FLOATS[code], channels, rate_hz, big_endian=True), frames
    if code not in _LITTLE and code not in _BIG:
        raise unread(source.name, f"{shown(code)} samples")
    bits = _LITTLE.get(code) or _BIG.get(code) or bits
    form = integer_format(bits, channels, rate_hz, big_endian=code in _BIG)
    return form, frames


def extended_number(ten_bytes: bytes) -> float:
    """Return a number written in 80 bits, as AIFF writes its sampling rate.

    Parameters
    ----------
    ten_bytes
        Sign and exponent (two bytes), then 64 bits of mantissa.

    Examples
    --------
    >>> extended_number(bytes.fromhex("400ebb80000000000000"))
    48000.0
    """
    exponent, mantissa = struct.unpack(">hQ", ten_bytes)
    if not 0 <= exponent <= 16383 + 64:
        return -1.0
    return math.ldexp(mantissa, exponent - 16383 - 63)

"""CAF, uncompressed: chunks with 64-bit sizes, samples in either byte order."""

from __future__ import annotations

import math
import struct

from backtospec.sources.sound_chunks import PASSED_OVER, Chain, Chunk, SoundBytes, shown
from backtospec.sources.sound_layout import (
    SampleFormat,
    SoundLayout,
    contradiction,
    damaged,
    float_format,
    integer_format,
    lay_out,
    no_format,
    unread,
)

_EDIT_COUNT_BYTES = 4


def caf_layout(source: SoundBytes) -> SoundLayout | None:
    """Return where the samples of a CAF file lie, or ``None`` for another kind.

    Raises
    ------
    BenchError
        When its header cannot be used.
    """
    if source.at(0, 4) != b"caff":
        return None
    form: SampleFormat | None = None
    data: Chunk | None = None
    faults: tuple[str, ...] = ()
    for chunk in _CHAIN.walk(source, 8):
        if chunk is None:
            faults = (PASSED_OVER,)
        elif chunk.name == b"desc" and not form:
            form = _stated_format(source, chunk)
        elif chunk.name == b"data" and not data:
            data = chunk
    if not data:
        raise damaged(source.name, "it has no data chunk")
    if not form:
        raise no_format(source.name)
    size = data.size - _EDIT_COUNT_BYTES
    start = data.start + _EDIT_COUNT_BYTES
    return lay_out(source, form, start, size if size >= 0 else None, _CHAIN, faults)


def _chunk(source: SoundBytes, at: int) -> Chunk | None:
    head = source.at(at, 12)
    if len(head) < 12:
        return None
    size = int.from_bytes(head[4:], "big", signed=True)
    return Chunk(head[:4], at + 12, size, at + 12 + size)


_CHAIN = Chain(_chunk, (b"desc", b"data"))


def _stated_format(source: SoundBytes, chunk: Chunk) -> SampleFormat:
    body = source.at(chunk.start, 32)
    if chunk.size < 32 or len(body) < 32:
        raise no_format(source.name)
    rate_hz, code, flags, packet, per_packet, channels, bits = struct.unpack(">d4sIIIII", body)
    if code != b"lpcm":
        raise unread(source.name, f"{shown(code)} samples")
    width, over = divmod(packet, max(1, channels))
    if over or per_packet != 1 or not 0 < bits <= 8 * width or not math.isfinite(rate_hz):
        raise contradiction(source.name, channels, bits, packet)
    is_float, big_endian = bool(flags & 1), not flags & 2
    if not is_float:
        return integer_format(bits, channels, rate_hz, width=width, big_endian=big_endian)
    if bits != 8 * width or bits not in (32, 64):
        raise unread(source.name, f"floating-point samples of {bits} bits")
    return float_format(bits, channels, rate_hz, big_endian=big_endian)

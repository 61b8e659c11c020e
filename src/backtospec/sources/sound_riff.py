"""WAV in its three sizes: RIFF, RF64 beyond 4 GiB, and W64 with 64-bit sizes throughout."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from backtospec.sources.sound_chunks import PASSED_OVER, Chain, Chunk, SoundBytes, is_chunk_name
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

_UNKNOWN = 0xFFFFFFFF
_WIDE_UNKNOWN = 0xFFFFFFFFFFFFFFFF
_FOUR_GIB = 1 << 32
_CODES = {2: "ADPCM", 6: "A-law", 7: "µ-law", 0x11: "ADPCM", 0x31: "GSM", 0x55: "MP3"}
_EXTENSIBLE = 0xFFFE
_CODE_TAIL = bytes.fromhex("000000001000800000aa00389b71")

# The four letters of a W64 chunk are followed by twelve fixed bytes; "riff" has its own.
_W64_RIFF = b"riff" + bytes.fromhex("2e91cf11a5d628db04c10000")
_W64_TAIL = bytes.fromhex("f3acd3118cd100c04f8edb8a")
_W64_HEADER = 24


@dataclass(slots=True)
class _Found:
    """What a walk along the chunks has come upon."""

    form: SampleFormat | None = None
    data: Chunk | None = None
    long_size: int | None = None
    faults: tuple[str, ...] = ()

    def both(self, name: str) -> tuple[SampleFormat, Chunk]:
        """Return format and sound, both of which a file must have."""
        if self.data is None:
            raise damaged(name, "it has no data chunk")
        if self.form is None:
            raise no_format(name)
        return self.form, self.data


def riff_layout(source: SoundBytes) -> SoundLayout | None:
    """Return where the samples of a WAV or RF64 file lie, or ``None`` for another kind.

    Raises
    ------
    BenchError
        When its header cannot be used.

    Notes
    -----
    EBU Tech 3306 (RF64); ITU-R BS.2088 calls the same layout BW64.
    """
    head = source.at(0, 12)
    wide = head[:4] in (b"RF64", b"BW64")
    if not (wide or head[:4] == b"RIFF") or head[8:] != b"WAVE":
        return None
    found = _walk(source, 12, _RIFF)
    form, data = found.both(source.name)
    size: int | None = data.size
    if size == _UNKNOWN:
        size = found.long_size if wide else None
    there = source.size - data.start
    if not wide and there >= _FOUR_GIB and size == there % _FOUR_GIB:
        size = there
        found.faults += ("The length in the header has run over at 4 GiB; all of it was taken.",)
    return lay_out(source, form, data.start, size, _RIFF, found.faults)


def _walk(source: SoundBytes, start: int, chain: Chain) -> _Found:
    """Return what the chunks from an offset tell."""
    found = _Found()
    for chunk in chain.walk(source, start):
        if chunk is None:
            found.faults = (PASSED_OVER,)
        elif chunk.name == b"fmt " and not found.form:
            found.form = _wave_format(source, chunk)
        elif chunk.name == b"data" and not found.data:
            found.data = chunk
        elif chunk.name == b"ds64" and len(size := source.at(chunk.start + 8, 8)) == 8:
            known = int.from_bytes(size, "little")
            found.long_size = known if 0 < known < _WIDE_UNKNOWN else None
    return found


def _riff_chunk(source: SoundBytes, at: int) -> Chunk | None:
    head = source.at(at, 8)
    if len(head) < 8:
        return None
    size = int.from_bytes(head[4:], "little")
    return Chunk(head[:4], at + 8, size, _padded_end(source, at + 8 + size))


def _padded_end(source: SoundBytes, end: int) -> int:
    """Return where the next chunk begins; some writers leave out the byte that makes it even."""
    if end % 2 == 0:
        return end
    return end if _is_link(source, end) and not _is_link(source, end + 1) else end + 1


def _is_link(source: SoundBytes, at: int) -> bool:
    head = source.at(at, 8)
    whole = at + 8 + int.from_bytes(head[4:], "little") <= source.size
    return is_chunk_name(head[:4]) and (whole or head[:4] == b"data")


_RIFF = Chain(_riff_chunk, (b"fmt ", b"data"), _padded_end)


def w64_layout(source: SoundBytes) -> SoundLayout | None:
    """Return where the samples of a W64 file lie, or ``None`` for another kind.

    Raises
    ------
    BenchError
        When its header cannot be used.
    """
    if source.at(0, 16) != _W64_RIFF or source.at(24, 16) != b"wave" + _W64_TAIL:
        return None
    found = _walk(source, 40, _W64)
    form, data = found.both(source.name)
    size = data.size if 0 <= data.size < _WIDE_UNKNOWN - _W64_HEADER else None
    return lay_out(source, form, data.start, size, _W64, found.faults)


def _w64_chunk(source: SoundBytes, at: int) -> Chunk | None:
    head = source.at(at, _W64_HEADER)
    if len(head) < _W64_HEADER:
        return None
    size = int.from_bytes(head[16:], "little")
    name = head[:4] if head[4:16] == _W64_TAIL else head[:16]
    next_at = at + max(_W64_HEADER, size + -size % 8)
    return Chunk(name, at + _W64_HEADER, size - _W64_HEADER, next_at)


_W64 = Chain(_w64_chunk, (b"fmt " + _W64_TAIL, b"data" + _W64_TAIL), lambda _, end: end + -end % 8)


def _wave_format(source: SoundBytes, chunk: Chunk) -> SampleFormat:
    """Return the sample format that a ``fmt`` chunk states."""
    body = source.at(chunk.start, 40)
    if chunk.size < 16 or len(body) < 16:
        raise no_format(source.name)
    code, channels, rate_hz, _, stride, bits = struct.unpack("<HHIIHH", body[:16])
    valid = bits
    if code == _EXTENSIBLE:
        if chunk.size < 40 or len(body) < 40 or body[26:40] != _CODE_TAIL:
            raise unread(source.name, "samples of a private kind")
        valid = struct.unpack("<H", body[18:20])[0] or bits
        code = struct.unpack("<H", body[24:26])[0]
    if code not in (1, 3):
        raise unread(source.name, f"{_CODES.get(code, f'code {code}')} samples")
    width, over = divmod(stride, max(1, channels))
    if over or not channels or bits > 8 * width or not 0 < valid <= 8 * width:
        raise contradiction(source.name, channels, valid, stride)
    if code == 3:
        if bits != 8 * width or bits not in (32, 64):
            raise unread(source.name, f"floating-point samples of {bits} bits")
        return float_format(bits, channels, rate_hz)
    if width == 1:
        return SampleFormat("u", 1, valid, channels, rate_hz)
    return integer_format(valid, channels, rate_hz, width=width)

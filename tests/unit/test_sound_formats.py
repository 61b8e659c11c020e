"""Every format, width and byte order gives the samples that went in."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.sources.sound_chunks import SoundBytes
from backtospec.sources.sound_files import open_sound_file
from backtospec.sources.sound_riff import riff_layout

RATE_HZ = 96_000
FRAMES = 4801
PAIR = np.random.default_rng(3).uniform(-0.9, 0.9, (FRAMES, 2))

KINDS = [
    (suffix, container, subtype, bits)
    for suffix, container in (
        ("wav", "WAV"),
        ("wav", "WAVEX"),
        ("wav", "RF64"),
        ("w64", "W64"),
        ("aiff", "AIFF"),
        ("caf", "CAF"),
    )
    for subtype, bits in (
        ("PCM_16", 16),
        ("PCM_24", 24),
        ("PCM_32", 32),
        ("FLOAT", 24),
        ("DOUBLE", 53),
    )
]
KINDS += [("flac", "FLAC", "PCM_16", 16), ("flac", "FLAC", "PCM_24", 24)]
KINDS += [("flac", "FLAC", "PCM_S8", 8), ("wav", "WAV", "PCM_U8", 8), ("aiff", "AIFF", "PCM_S8", 8)]


@pytest.mark.parametrize(("suffix", "container", "subtype", "bits"), KINDS)
def test_every_format(tmp_path: Path, suffix: str, container: str, subtype: str, bits: int) -> None:
    path = tmp_path / f"sound.{suffix}"
    soundfile.write(path, PAIR, RATE_HZ, subtype=subtype, format=container)
    sound = open_sound_file(path)
    assert (sound.frames, sound.sample_rate_hz, sound.valid_bits) == (FRAMES, RATE_HZ, bits)
    assert sound.notes == ()
    whole = sound.read(0, FRAMES)
    reference, _ = soundfile.read(path)
    assert np.array_equal(whole, reference)
    assert np.max(np.abs(whole - PAIR)) <= 2.0 ** -min(bits - 1, 24)
    blocks = np.concatenate(list(sound.blocks(100, FRAMES, 777)))
    assert blocks.dtype == np.float32
    assert np.array_equal(blocks, whole[100:].astype(np.float32))
    assert np.array_equal(sound.read(1234, 99), whole[1234:1333])


@pytest.mark.parametrize("container", ["AIFF", "CAF"])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_the_lowest_byte_first(tmp_path: Path, container: str, subtype: str) -> None:
    if not soundfile.check_format(container, subtype, "LITTLE"):
        assert container == "AIFF"
        return
    path = tmp_path / "sound"
    soundfile.write(path, PAIR, RATE_HZ, subtype=subtype, format=container, endian="LITTLE")
    assert np.array_equal(open_sound_file(path).read(0, FRAMES), soundfile.read(path)[0])


def test_floating_point_beyond_full_scale_is_kept(tmp_path: Path) -> None:
    for subtype in ("FLOAT", "DOUBLE"):
        soundfile.write(tmp_path / "loud.wav", 20 * PAIR, RATE_HZ, subtype=subtype)
        taken = open_sound_file(tmp_path / "loud.wav").read(0, FRAMES)
        assert np.allclose(taken, 20 * PAIR, rtol=1e-7)


def extensible(
    numbers: np.ndarray, bits: int, valid: int, *, code: int = 1, channels: int = 2
) -> bytes:
    """Return a WAV file with an extensible header around samples ready in their bytes."""
    stride = channels * bits // 8
    tail = bytes.fromhex("000000001000800000aa00389b71")
    form = struct.pack("<HHIIHH", 0xFFFE, channels, RATE_HZ, RATE_HZ * stride, stride, bits)
    form += struct.pack("<HHIH", 22, valid, 0, code) + tail
    body = numbers.tobytes()
    chunks = b"fmt " + struct.pack("<I", len(form)) + form
    chunks += b"data" + struct.pack("<I", len(body)) + body
    return b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks


@pytest.mark.parametrize("valid", [18, 20, 24])
def test_fewer_valid_bits_than_the_container_holds(tmp_path: Path, valid: int) -> None:
    coarse = np.round(PAIR * 2 ** (valid - 1)).astype(np.int64)
    path = tmp_path / "wide.wav"
    path.write_bytes(extensible((coarse << (32 - valid)).astype("<i4"), 32, valid))
    sound = open_sound_file(path)
    assert (sound.frames, sound.valid_bits) == (FRAMES, valid)
    assert np.array_equal(sound.read(0, FRAMES), coarse / 2 ** (valid - 1))


def test_valid_bits_left_open_are_all_of_them(tmp_path: Path) -> None:
    path = tmp_path / "open.wav"
    path.write_bytes(extensible(np.round(PAIR * 2**31).astype("<i4"), 32, 0))
    assert open_sound_file(path).valid_bits == 32


def test_24_bits_in_32_without_extensible_header(tmp_path: Path) -> None:
    coarse = (np.round(PAIR * 2**23).astype("<i4") << 8).astype("<i4")
    whole = bytearray(extensible(coarse, 32, 24))
    whole[20:22] = struct.pack("<H", 1)
    whole[34:36] = struct.pack("<H", 24)
    (tmp_path / "plain.wav").write_bytes(whole)
    sound = open_sound_file(tmp_path / "plain.wav")
    assert sound.valid_bits == 24
    assert np.array_equal(sound.read(0, FRAMES), coarse / 2**31)


def test_an_extensible_float_is_not_taken_for_whole_numbers(tmp_path: Path) -> None:
    path = tmp_path / "float.wav"
    path.write_bytes(extensible(PAIR.astype("<f4"), 32, 32, code=3))
    sound = open_sound_file(path)
    assert sound.valid_bits == 24
    assert np.array_equal(sound.read(0, FRAMES), PAIR.astype("<f4"))


def test_channels_keep_their_order(tmp_path: Path) -> None:
    several = np.arange(1, 9) / 10 * np.ones((50, 1))
    for suffix, container in (("wav", "WAVEX"), ("caf", "CAF"), ("aiff", "AIFF"), ("flac", "FLAC")):
        path = tmp_path / f"eight.{suffix}"
        soundfile.write(path, several, RATE_HZ, subtype="PCM_24", format=container)
        taken = open_sound_file(path, (7, 2)).read(0, 50)
        assert np.allclose(taken, [0.7, 0.2], atol=1e-6)
        single = np.concatenate(list(open_sound_file(path, (8,)).blocks(0, 50, 7)))
        assert np.allclose(single, 0.8, atol=1e-6)


def test_a_great_many_channels(tmp_path: Path) -> None:
    several = np.arange(1024) / 2048 * np.ones((300, 1))
    soundfile.write(tmp_path / "many.wav", several, RATE_HZ, subtype="PCM_16")
    taken = open_sound_file(tmp_path / "many.wav", (1024, 513)).read(0, 300)
    assert np.allclose(taken, [1023 / 2048, 512 / 2048], atol=1e-4)


def sparse_file(path: Path, head: bytes, size: int, mark: tuple[int, bytes]) -> None:
    """Write a file of so many bytes, nearly all of them never stored."""
    with path.open("wb") as file:
        file.write(head)
        file.seek(mark[0])
        file.write(mark[1])
        file.truncate(size)


def test_beyond_four_gibibytes(tmp_path: Path) -> None:
    frames = 800_000_000
    sound = frames * 6
    form = struct.pack("<HHIIHH", 1, 2, RATE_HZ, RATE_HZ * 6, 6, 24)
    long_sizes = struct.pack("<QQQI", sound + 72, sound, frames, 0)
    start = b"WAVE" + b"ds64" + struct.pack("<I", 28) + long_sizes + b"fmt "
    start += struct.pack("<I", 16) + form + b"data" + b"\xff" * 4
    head = b"RF64" + b"\xff" * 4 + start
    last = struct.pack("<i", 1 << 30)[1:] * 2
    path = tmp_path / "long.wav"
    for magic in (b"RF64", b"BW64"):
        whole = magic + head[4:]
        size = len(head) + sound
        sparse_file(path, whole, size, (size - 6, last))
        opened = open_sound_file(path)
        assert (opened.frames, opened.notes) == (frames, ())
        assert np.array_equal(opened.read(frames - 2, 2), [[0.0, 0.0], [0.5, 0.5]])


def test_a_length_that_ran_over_at_four_gibibytes(tmp_path: Path) -> None:
    frames = 800_000_000
    form = struct.pack("<HHIIHH", 1, 2, RATE_HZ, RATE_HZ * 6, 6, 24)
    head = b"RIFF" + bytes(4) + b"WAVEfmt " + struct.pack("<I", 16) + form
    head += b"data" + struct.pack("<I", frames * 6 % 2**32)
    path = tmp_path / "long.wav"
    sparse_file(path, head, len(head) + frames * 6, (10**9, b"1"))
    opened = open_sound_file(path)
    assert opened.frames == frames
    assert "4 GiB" in opened.notes[0].text


def test_a_file_of_another_kind_is_left_to_others() -> None:
    assert riff_layout(SoundBytes(io.BytesIO(b"FORM....AIFF"), "x")) is None

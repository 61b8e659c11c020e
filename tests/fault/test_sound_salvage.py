"""Damaged recordings: what is there is taken, and what is missing is said."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.analysis.setup import CaptureSetup
from backtospec.bench.recordings import Recorded, document_of_file
from backtospec.errors import BenchError
from backtospec.sources.sound_files import SoundFile, open_sound_file

RATE_HZ = 48_000
FRAMES = 3 * RATE_HZ
PAIR = np.random.default_rng(4).uniform(-0.5, 0.5, (FRAMES, 2))
PLAIN = ["wav", "rf64", "w64", "aiff", "caf"]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], bytes]:
    """Return the bytes of three seconds of noise in a format."""
    folder = tmp_path_factory.mktemp("whole")
    kept: dict[str, bytes] = {}

    def written(kind: str) -> bytes:
        if kind not in kept:
            path = folder / kind
            soundfile.write(path, PAIR, RATE_HZ, subtype="PCM_24", format=kind.upper())
            kept[kind] = path.read_bytes()
        return kept[kind]

    return written


Whole = Callable[[str], bytes]


def salvaged(path: Path, content: bytes, *parts: str) -> SoundFile:
    """Open a damaged file; what it still holds must be what was in it, and be told of."""
    path.write_bytes(content)
    sound = open_sound_file(path)
    taken = sound.read(0, sound.frames)
    assert np.max(np.abs(taken - PAIR[: sound.frames])) < 1e-6
    blocks = np.concatenate(list(sound.blocks(0, sound.frames, 10_000)))
    assert np.max(np.abs(blocks - taken)) < 1e-6
    middle = sound.frames // 2
    assert np.array_equal(sound.read(middle, sound.frames - middle), taken[middle:])
    (note,) = sound.notes
    assert (note.code, note.channel) == ("salvaged", None)
    assert note.at_s == sound.frames / RATE_HZ
    for part in parts:
        assert part in note.text
    return sound


def replaced(content: bytes, at: int, new: bytes) -> bytes:
    return content[:at] + new + content[at + len(new) :]


def data_size_at(content: bytes, kind: str) -> tuple[int, str]:
    """Return where the size of the sound is written, and how."""
    if kind == "w64":
        return content.index(b"data\xf3\xac") + 16, "<Q"
    if kind == "caf":
        return content.index(b"data") + 4, ">q"
    if kind == "aiff":
        return content.index(b"SSND") + 4, ">I"
    return content.index(b"data") + 4, "<I"


@pytest.mark.parametrize("kind", PLAIN)
def test_cut_anywhere(tmp_path: Path, whole: Whole, kind: str) -> None:
    content = whole(kind)
    size_at, code = data_size_at(content, kind)
    start = size_at + struct.calcsize(code) + {"aiff": 8, "caf": 4}.get(kind, 0)
    for cut in (6, 7, 100_001, 432_000, 600_000):
        sound = salvaged(tmp_path / "cut", content[: start + cut], "promises 3.000 s", "ends at")
        assert sound.frames == cut // 6


@pytest.mark.parametrize("kind", ["wav", "rf64", "w64", "caf"])
@pytest.mark.parametrize("size", [0, 2**32 - 1])
def test_a_recorder_that_stopped_early(tmp_path: Path, whole: Whole, kind: str, size: int) -> None:
    content = whole(kind)
    at, code = data_size_at(content, kind)
    if size and struct.calcsize(code) == 8:
        size = 2**64 - 1 if code == "<Q" else -1
    content = replaced(content, at, struct.pack(code, size))
    if kind == "rf64":
        content = replaced(content, content.index(b"ds64") + 16, struct.pack("<Q", 0))
    sound = salvaged(tmp_path / "early", content, "no length", "3.000 s")
    assert sound.frames == FRAMES


@pytest.mark.parametrize("counted", [0, 2**32 - 1, 1000])
@pytest.mark.parametrize("sized", [0, 2**32 - 1, None])
def test_an_aiff_that_counts_twice(
    tmp_path: Path, whole: Whole, counted: int, sized: int | None
) -> None:
    content = whole("aiff")
    content = replaced(content, content.index(b"COMM") + 10, struct.pack(">I", counted))
    if sized is not None:
        content = replaced(content, content.index(b"SSND") + 4, struct.pack(">I", sized))
    sound = salvaged(tmp_path / "twice", content, "header")
    assert sound.frames == (1000 if counted == 1000 and sized is not None else FRAMES)


def test_a_header_that_counts_too_little(tmp_path: Path, whole: Whole) -> None:
    for kind in ("wav", "w64", "caf", "aiff"):
        content = whole(kind)
        at, code = data_size_at(content, kind)
        extra = {"w64": 24, "caf": 4, "aiff": 8}.get(kind, 0)
        content = replaced(content, at, struct.pack(code, 6 * RATE_HZ + extra))
        if kind == "aiff":
            content = replaced(content, content.index(b"COMM") + 10, struct.pack(">I", RATE_HZ))
        sound = salvaged(tmp_path / "little", content, "Only the 1.000 s", "bytes")
        assert sound.frames == RATE_HZ


def test_a_sample_that_is_not_whole(tmp_path: Path, whole: Whole) -> None:
    content = whole("wav")
    at, code = data_size_at(content, "wav")
    salvaged(tmp_path / "odd", replaced(content, at, struct.pack(code, 600 + 3)), "not whole")


def chunk(name: bytes, content: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(content) if size is None else size) + content


def test_chunks_before_the_sound(tmp_path: Path, whole: Whole) -> None:
    content = whole("wav")
    at = content.index(b"data")
    path = tmp_path / "chunks.wav"
    for good in (chunk(b"bext", bytes(602)), chunk(b"abcd", b"odd") + b"\0"):
        path.write_bytes(content[:at] + good + content[at:])
        sound = open_sound_file(path)
        assert (sound.frames, sound.notes) == (FRAMES, ())
    for unpadded in (b"odd", b"odder"):
        path.write_bytes(content[:at] + chunk(b"LIST", unpadded) + content[at:])
        sound = open_sound_file(path)
        assert (sound.frames, sound.notes) == (FRAMES, ())
        assert np.max(np.abs(sound.read(0, 1000) - PAIR[:1000])) < 1e-6
    for bad in (
        bytes(13),
        b"\xff\x01\x7f",
        chunk(b"junk", b"short", 2**31),
        bytes(range(200, 250)),
    ):
        sound = salvaged(path, content[:at] + bad + content[at:], "part of the header is damaged")
        assert sound.frames == FRAMES


def test_chunks_after_the_sound(tmp_path: Path, whole: Whole) -> None:
    content = whole("wav")
    path = tmp_path / "after.wav"
    odd_mono = PAIR[:101, 0]
    for after in (chunk(b"LIST", bytes(20)), chunk(b"id3 ", b"odd") + b"\0", bytes(500), b""):
        path.write_bytes(content + after)
        assert open_sound_file(path).notes == ()
        soundfile.write(tmp_path / "mono.wav", odd_mono, RATE_HZ, subtype="PCM_24")
        path.write_bytes((tmp_path / "mono.wav").read_bytes()[: 44 + 303] + after)
        assert open_sound_file(path).notes == ()
    salvaged(path, content + content[44:1044], "bytes belong to no part")
    salvaged(path, content + chunk(b"data", content[44:1044]), "second stretch")


def test_an_empty_file_with_chunks_after_is_empty(tmp_path: Path) -> None:
    path = tmp_path / "empty.wav"
    soundfile.write(path, PAIR[:0], RATE_HZ, subtype="PCM_24")
    path.write_bytes(path.read_bytes() + chunk(b"LIST", bytes(20)))
    with pytest.raises(BenchError, match="no samples"):
        open_sound_file(path)


def test_a_cut_flac(tmp_path: Path, whole: Whole) -> None:
    content = whole("flac")
    for share in (0.3, 0.61, 0.97):
        cut = int(share * len(content))
        sound = salvaged(tmp_path / "cut", content[:cut])
        assert share * FRAMES - 3 * 4096 < sound.frames <= share * FRAMES + 4096


def test_a_flac_damaged_inside(tmp_path: Path, whole: Whole) -> None:
    content = whole("flac")
    at = len(content) // 2
    sound = salvaged(tmp_path / "bad", replaced(content, at, bytes(40)), "cut or damaged after")
    assert FRAMES // 2 - 3 * 4096 < sound.frames <= FRAMES // 2 + 4096


def test_a_flac_without_a_length(tmp_path: Path, whole: Whole) -> None:
    content = whole("flac")
    packed = int.from_bytes(content[18:26], "big") >> 36 << 36
    no_length = replaced(content, 18, packed.to_bytes(8, "big"))
    assert salvaged(tmp_path / "none", no_length, "no length").frames == FRAMES
    short = replaced(content, 18, (packed + RATE_HZ).to_bytes(8, "big"))
    assert salvaged(tmp_path / "short", short, "checksum").frames == RATE_HZ
    long = replaced(content, 18, (packed + 2**35).to_bytes(8, "big"))
    assert salvaged(tmp_path / "long", long, "promises").frames == FRAMES


def test_a_flac_behind_a_tag(tmp_path: Path, whole: Whole) -> None:
    tag = b"ID3\4\0\0" + bytes([0, 0, 2, 5]) + bytes(261)
    (tmp_path / "tagged.flac").write_bytes(tag + whole("flac"))
    sound = open_sound_file(tmp_path / "tagged.flac")
    assert (sound.frames, sound.notes) == (FRAMES, ())
    assert np.max(np.abs(sound.read(5000, 1000) - PAIR[5000:6000])) < 1e-6
    (tmp_path / "song.mp3").write_bytes(tag + b"\xff\xfb" + bytes(5000))
    with pytest.raises(BenchError, match="MP3"):
        open_sound_file(tmp_path / "song.mp3")


def test_a_flac_that_is_hopeless(tmp_path: Path, whole: Whole) -> None:
    content = whole("flac")
    for spoiled in (content[:30], content[:50], content[:86] + bytes(len(content) - 86)):
        (tmp_path / "bad.flac").write_bytes(spoiled)
        with pytest.raises(BenchError, match="damaged"):
            open_sound_file(tmp_path / "bad.flac")


def test_bits_at_the_wrong_end(tmp_path: Path) -> None:
    numbers = np.round(PAIR[:1000] * 2**23).astype("<i4")
    form = struct.pack("<HHIIHH", 1, 2, RATE_HZ, RATE_HZ * 8, 8, 24)
    path = tmp_path / "low.wav"
    body = chunk(b"fmt ", form) + chunk(b"data", numbers.tobytes())
    path.write_bytes(chunk(b"RIFF", b"WAVE" + body))
    with pytest.raises(BenchError, match="wrong end"):
        open_sound_file(path)


@pytest.mark.parametrize("kind", ["tone", "ramp", "noise"])
def test_an_analysis_says_what_is_missing(tmp_path: Path, kind: str) -> None:
    turn = 2 * np.pi * 997 * np.arange(4 * RATE_HZ) / RATE_HZ
    wave = 0.5 * np.sin(turn)[:, None] * np.ones(2) if kind != "noise" else 0.0
    hiss = 1e-5 * np.random.default_rng(2).standard_normal((4 * RATE_HZ, 2))
    path = tmp_path / "cut.wav"
    soundfile.write(path, wave + hiss, RATE_HZ, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[: 44 + 3 * RATE_HZ * 6])
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)
    document = document_of_file(path, kind, Recorded(setup))
    assert document["file"]["frames"] == 3 * RATE_HZ
    assert document["channels"]["L"]["valid"]
    (note,) = [note for note in document["notes"] if note["code"] == "salvaged"]
    assert note["at_s"] == 3.0
    assert note["text"] == "The header promises 4.000 s of sound; the file ends at 3.000 s."


@pytest.mark.parametrize("kind", ["tone", "noise"])
def test_an_analysis_hints_at_resampling(tmp_path: Path, kind: str) -> None:
    from scipy.signal import resample_poly

    count = 2 * RATE_HZ
    wave = 0.5 * np.sin(2 * np.pi * 997 * np.arange(count) / RATE_HZ) if kind == "tone" else 0.0
    hiss = 1e-5 * np.random.default_rng(2).standard_normal(count)
    path = tmp_path / "resampled.wav"
    soundfile.write(path, resample_poly(wave + hiss, 2, 1), 2 * RATE_HZ, subtype="PCM_24")
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)
    codes = [note["code"] for note in document_of_file(path, kind, Recorded(setup))["notes"]]
    assert codes.count("resampled") == 1

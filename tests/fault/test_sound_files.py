"""Sound files that cannot be used: each refusal says what, where, and what to do."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.analysis.setup import CaptureSetup
from backtospec.bench.captures import analyse_file
from backtospec.errors import BenchError
from backtospec.sources.sound_files import open_sound_file

WAVE = 0.5 * np.cos(2 * np.pi * 997 * np.arange(4800) / 48_000)
PAIR = np.stack([WAVE, WAVE], axis=1)


def setup(nominal_hz: float = 997.0, channels: tuple[int, ...] | None = None) -> CaptureSetup:
    return CaptureSetup(
        full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=nominal_hz, channels=channels
    )


def assert_three_parts(error: BenchError, part: str) -> None:
    for fault in error.faults:
        assert fault.what.endswith(".")
        assert fault.where
        assert fault.fix.endswith(".")
    assert part in str(error)


def read_all(path: Path, channels: tuple[int, ...] | None) -> None:
    sound = open_sound_file(path, channels)
    sound.read(0, sound.frames)


def refused(path: Path, part: str, channels: tuple[int, ...] | None = None) -> None:
    with pytest.raises(BenchError) as caught:
        read_all(path, channels)
    assert_three_parts(caught.value, part)


def written(path: Path, samples: np.ndarray, subtype: str = "PCM_24") -> bytes:
    soundfile.write(path, samples, 48_000, subtype=subtype)
    return path.read_bytes()


def test_missing_empty_and_garbage(tmp_path: Path) -> None:
    refused(tmp_path / "none.wav", "no such file")
    (tmp_path / "empty.wav").write_bytes(b"")
    refused(tmp_path / "empty.wav", "0 bytes")
    (tmp_path / "garbage.wav").write_bytes(bytes(range(256)) * 40)
    refused(tmp_path / "garbage.wav", "not a WAV or FLAC")
    (tmp_path / "head.wav").write_bytes(b"RIFF\x24\0\0\0WAVE")
    refused(tmp_path / "head.wav", "no data chunk")


def test_cut_short(tmp_path: Path) -> None:
    whole = written(tmp_path / "whole.wav", PAIR)
    (tmp_path / "cut.wav").write_bytes(whole[: len(whole) // 2])
    refused(tmp_path / "cut.wav", "promises")
    whole = written(
        tmp_path / "whole.flac", np.random.default_rng(1).uniform(-0.5, 0.5, (48_000, 2))
    )
    (tmp_path / "cut.flac").write_bytes(whole[: len(whole) // 2])
    refused(tmp_path / "cut.flac", "cut short")


def test_a_header_without_samples(tmp_path: Path) -> None:
    whole = written(tmp_path / "whole.wav", PAIR)
    at = whole.index(b"data") + 4
    (tmp_path / "zero.wav").write_bytes(whole[:at] + struct.pack("<I", 0) + whole[at + 4 :])
    refused(tmp_path / "zero.wav", "no samples follow")
    soundfile.write(tmp_path / "none.wav", np.zeros((0, 2)), 48_000, subtype="PCM_16")
    refused(tmp_path / "none.wav", "no samples")


def test_not_a_number(tmp_path: Path) -> None:
    spoiled = PAIR.copy()
    spoiled[1234, 1] = np.nan
    written(tmp_path / "nan.wav", spoiled, "FLOAT")
    refused(tmp_path / "nan.wav", "sample 1234")


def test_channels(tmp_path: Path) -> None:
    written(tmp_path / "four.wav", np.tile(WAVE[:, None], 4))
    refused(tmp_path / "four.wav", "4 channels")
    refused(tmp_path / "four.wav", "channels 1…4", (5,))
    assert open_sound_file(tmp_path / "four.wav", (3, 1)).read(0, 10).shape == (10, 2)


def test_a_lossy_kind(tmp_path: Path) -> None:
    written(tmp_path / "law.wav", PAIR, "ULAW")
    refused(tmp_path / "law.wav", "ULAW")


@pytest.mark.parametrize(
    ("name", "subtype", "format_", "bits"),
    [
        ("a.wav", "PCM_16", "WAV", 16),
        ("b.wav", "PCM_24", "WAVEX", 24),
        ("c.wav", "PCM_32", "WAV", 32),
        ("d.wav", "FLOAT", "WAV", 24),
        ("e.wav", "DOUBLE", "WAVEX", 53),
        ("f.wav", "PCM_24", "RF64", 24),
        ("g.flac", "PCM_16", "FLAC", 16),
    ],
)
def test_good_kinds_are_read(
    tmp_path: Path, name: str, subtype: str, format_: str, bits: int
) -> None:
    soundfile.write(tmp_path / name, PAIR, 48_000, subtype=subtype, format=format_)
    sound = open_sound_file(tmp_path / name)
    assert (sound.frames, sound.sample_rate_hz, sound.valid_bits) == (4800, 48_000, bits)
    whole = sound.read(0, 4800)
    assert np.max(np.abs(whole - PAIR)) < 2.0**-15
    blocks = np.concatenate(list(sound.blocks(100, 4800, 777)))
    assert np.array_equal(blocks, whole[100:].astype(np.float32))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("load_ohm", (0.0,)),
        ("load_ohm", (-8.0,)),
        ("load_ohm", (float("nan"),)),
        ("load_ohm", (8.0, 8.0, 8.0)),
        ("full_scale_volts", (0.0,)),
        ("full_scale_volts", (float("inf"),)),
        ("nominal_hz", 0.0),
        ("mains_hz", 55.0),
        ("channels", (0,)),
        ("channels", (1, 1)),
        ("load_tolerance_percent", -1.0),
        ("rated_thd_percent", float("nan")),
    ],
)
def test_a_setup_that_cannot_be_meant(field: str, value: object) -> None:
    good = {"full_scale_volts": (40.0,), "load_ohm": (8.0,), "nominal_hz": 997.0}
    with pytest.raises(BenchError) as caught:
        CaptureSetup(**{**good, field: value})  # type: ignore[arg-type]
    assert_three_parts(caught.value, field.split("_")[0])


def test_what_cannot_be_analysed(tmp_path: Path) -> None:
    written(tmp_path / "tone.wav", PAIR)
    for kind, nominal_hz, processes, part in (
        ("chirp", 997.0, 1, "chirp"),
        ("tone", 440.0, 1, "440"),
        ("ramp", 440.0, 1, "440"),
        ("tone", 997.0, 0, "processes"),
    ):
        with pytest.raises(BenchError) as caught:
            analyse_file(tmp_path / "tone.wav", kind, setup(nominal_hz), processes=processes)
        assert_three_parts(caught.value, part)
    written(tmp_path / "short.wav", PAIR[:40])
    with pytest.raises(BenchError) as caught:
        analyse_file(tmp_path / "short.wav", "tone", setup())
    assert_three_parts(caught.value, "cycles")

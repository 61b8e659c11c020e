"""Sound files that cannot be used: each refusal says what, where, and what to do."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.analysis.setup import CaptureSetup
from backtospec.bench.captures import analyse_file
from backtospec.errors import BenchError, Question
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
    refused(tmp_path / "garbage.wav", "no sound file")
    (tmp_path / "head.wav").write_bytes(b"RIFF\x24\0\0\0WAVE")
    refused(tmp_path / "head.wav", "no data chunk")


def test_a_file_without_samples(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "none.wav", np.zeros((0, 2)), 48_000, subtype="PCM_16")
    refused(tmp_path / "none.wav", "no samples")
    whole = written(tmp_path / "whole.wav", PAIR)
    (tmp_path / "head.wav").write_bytes(whole[: whole.index(b"data") + 8])
    refused(tmp_path / "head.wav", "no samples")


def test_not_a_number(tmp_path: Path) -> None:
    spoiled = PAIR.copy()
    spoiled[1234, 1] = np.nan
    written(tmp_path / "nan.wav", spoiled, "FLOAT")
    refused(tmp_path / "nan.wav", "sample 1234")


def test_floating_point_without_a_scale(tmp_path: Path) -> None:
    written(tmp_path / "unscaled.wav", 20_000 * PAIR, "FLOAT")
    refused(tmp_path / "unscaled.wav", "1000 times full scale")


def test_channels(tmp_path: Path) -> None:
    several = np.arange(1, 6) / 10 * WAVE[:, None]
    written(tmp_path / "five.wav", several)
    with pytest.raises(Question, match="5 channels") as caught:
        open_sound_file(tmp_path / "five.wav")
    assert (caught.value.about, caught.value.option) == ("channels", "--channels")
    assert [choice.value for choice in caught.value.choices] == ["1,2", "3,4", "5"]
    refused(tmp_path / "five.wav", "channels 1…5", (6,))
    refused(tmp_path / "five.wav", "channels 1…5", (0,))
    taken = open_sound_file(tmp_path / "five.wav", (4, 1)).read(0, 4800)
    assert np.allclose(taken, several[:, [3, 0]], atol=1e-6)


@pytest.mark.parametrize(
    ("name", "subtype", "part"),
    [
        ("law.wav", "ULAW", "µ-law"),
        ("law.w64", "ALAW", "A-law"),
        ("law.aiff", "ULAW", "ulaw"),
        ("small.caf", "ALAC_24", "alac"),
        ("small.mp3", "MPEG_LAYER_III", "MP3"),
        ("small.ogg", "VORBIS", "Ogg"),
        ("other.au", "PCM_24", "no sound file"),
    ],
)
def test_a_kind_that_is_not_read(tmp_path: Path, name: str, subtype: str, part: str) -> None:
    written(tmp_path / name, PAIR, subtype)
    refused(tmp_path / name, part)


@pytest.mark.parametrize("rate_hz", [1, 7_999, 768_001, 4_000_000_000])
def test_an_absurd_rate(tmp_path: Path, rate_hz: int) -> None:
    whole = written(tmp_path / "whole.wav", PAIR)
    at = whole.index(b"fmt ") + 12
    (tmp_path / "odd.wav").write_bytes(whole[:at] + struct.pack("<I", rate_hz) + whole[at + 4 :])
    refused(tmp_path / "odd.wav", f"rate of {rate_hz} Hz is outside 8000…768000 Hz")
    whole = written(tmp_path / "whole.aiff", PAIR)
    at = whole.index(b"COMM") + 16
    rate = struct.pack(">HQ", 16383 + 63, rate_hz)
    (tmp_path / "odd.aiff").write_bytes(whole[:at] + rate + whole[at + 10 :])
    refused(tmp_path / "odd.aiff", f"rate of {rate_hz} Hz is outside 8000…768000 Hz")
    soundfile.write(tmp_path / "whole.caf", PAIR, 48_000, "PCM_24")
    whole = (tmp_path / "whole.caf").read_bytes()
    at = whole.index(b"desc") + 12
    (tmp_path / "odd.caf").write_bytes(whole[:at] + struct.pack(">d", rate_hz) + whole[at + 8 :])
    refused(tmp_path / "odd.caf", f"rate of {rate_hz} Hz is outside 8000…768000 Hz")


def test_a_rate_that_is_no_whole_number(tmp_path: Path) -> None:
    whole = written(tmp_path / "whole.caf", PAIR)
    at = whole.index(b"desc") + 12
    for rate_hz, part in ((44_099.5, "not a whole number"), (float("nan"), "claims")):
        new = whole[:at] + struct.pack(">d", rate_hz) + whole[at + 8 :]
        (tmp_path / "odd.caf").write_bytes(new)
        refused(tmp_path / "odd.caf", part)


def test_a_header_that_contradicts_itself(tmp_path: Path) -> None:
    whole = written(tmp_path / "whole.wav", PAIR)
    at = whole.index(b"fmt ") + 10
    for channels in (0, 3, 5, 60_000):
        spoiled = whole[:at] + struct.pack("<H", channels) + whole[at + 2 :]
        (tmp_path / "odd.wav").write_bytes(spoiled)
        refused(tmp_path / "odd.wav", f"claims {channels} channels")


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


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(tmp_path / "kept.wav", PAIR)

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    refused(tmp_path / "kept.wav", "Permission denied")

"""Hints of a resampled or level-controlled recording: seen where they are, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.recording_chain import chain_notes, find_level_control

Array = NDArray[np.float64]

SECONDS = 1


def rounded(samples: Array, bits: int = 24) -> Array:
    scale = 2.0 ** (bits - 1)
    dither = np.random.default_rng(1).random((2, len(samples)))
    return np.asarray(np.round(samples * scale + dither[0] - dither[1]) / scale)


def noise(rate_hz: float, dbfs: float = -95.0, seed: int = 2, seconds: float = SECONDS) -> Array:
    count = int(seconds * rate_hz)
    return np.asarray(10 ** (dbfs / 20) * np.random.default_rng(seed).standard_normal(count))


def tone(rate_hz: float, hz: float = 997.0, seconds: float = SECONDS) -> Array:
    turn = 2 * np.pi * hz * np.arange(int(seconds * rate_hz)) / rate_hz
    return np.asarray(0.5 * np.sin(turn) + 1e-4 * np.sin(3 * turn))


def codes(samples: Array, rate_hz: float, tone_hz: float | None = None) -> list[str]:
    return [note.code for note in chain_notes(samples, rate_hz, "L", tone_hz)]


@pytest.mark.parametrize(
    ("from_hz", "up", "down", "edge"),
    [
        (48_000, 2, 1, "24 kHz"),
        (48_000, 4, 1, "24 kHz"),
        (44_100, 320, 147, "22.05 kHz"),
        (96_000, 2, 1, "48 kHz"),
        (16_000, 3, 1, "8 kHz"),
        (32_000, 3, 2, "16 kHz"),
    ],
)
@pytest.mark.parametrize("with_tone", [True, False])
def test_resampled(from_hz: int, up: int, down: int, edge: str, with_tone: bool) -> None:
    from scipy.signal import resample_poly

    played = noise(from_hz) + (tone(from_hz) if with_tone else 0.0)
    rate_hz = from_hz * up / down
    for window in (("kaiser", 5.0), ("kaiser", 9.0)):
        resampled = resample_poly(played, up, down, window=window)
        found = chain_notes(rounded(resampled), rate_hz, "R", 997.0 if with_tone else None)
        (note,) = [note for note in found if note.code == "resampled"]
        assert f"Above {edge}" in note.text
        assert "may" in note.text
        assert note.channel == "R"


@pytest.mark.parametrize("hz", [997.0, 1003.7])
def test_an_image_of_the_tone(hz: float) -> None:
    rate_hz = 96_000
    held = np.repeat(tone(48_000, hz), 2)
    held = (held + np.roll(held, 1)) / 2
    (note,) = chain_notes(rounded(held + noise(rate_hz)), rate_hz, "L", hz)
    assert note.code == "resampled"
    assert f"{48_000 - hz:.0f} Hz" in note.text


def ordinary_recordings(rate_hz: float) -> dict[str, Array]:
    """Return what comes off a bench: wide, rolled off, filtered, shaped, with lines."""
    from scipy.signal import bessel, butter, ellip, sosfilt

    own = noise(rate_hz, -112.0, 5)
    wide = noise(rate_hz, -85.0)
    recordings = {"wide": wide, "quiet": own}
    for order in (1, 6, 10):
        for corner_hz in (11_500, 20_000, 21_500):
            sos = butter(order, corner_hz, fs=rate_hz, output="sos")
            recordings[f"butter {order} {corner_hz}"] = sosfilt(sos, wide) + own
    recordings["bessel"] = sosfilt(bessel(6, 20_000, fs=rate_hz, output="sos"), wide) + own
    aes = ellip(7, 0.2, 60, 20_000, fs=rate_hz, output="sos")
    recordings["measuring low-pass"] = sosfilt(aes, wide) + own
    shaped = butter(4, 20_000, "high", fs=rate_hz, output="sos")
    recordings["noise-shaped"] = own + sosfilt(shaped, noise(rate_hz, -70.0, 6))
    return recordings


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_an_ordinary_recording_is_not_called_resampled(rate_hz: int) -> None:
    for what, recording in ordinary_recordings(rate_hz).items():
        assert codes(rounded(recording), rate_hz) == [], what
        with_tone = 0.9 * tone(rate_hz) + recording
        assert codes(rounded(with_tone), rate_hz, 997.0) == [], what
        assert codes(rounded(with_tone, 16), rate_hz, 997.0) == [], what


def test_a_tone_on_a_rate_has_harmonics_where_images_would_be() -> None:
    rate_hz = 96_000
    turn = 2 * np.pi * 1000 * np.arange(SECONDS * rate_hz) / rate_hz
    wave = sum(0.5 / order * np.sin(order * turn) for order in range(1, 48, 2))
    assert codes(rounded(wave + noise(rate_hz)), rate_hz, 1000.0) == []


def along(rate_hz: float, seconds: float) -> Array:
    return np.asarray(np.arange(int(seconds * rate_hz)) / rate_hz)


def gain(db: Array) -> Array:
    return np.asarray(10 ** (db / 20))


@pytest.mark.parametrize("depth_db", [0.5, 3.0])
@pytest.mark.parametrize("period_s", [0.5, 2.0])
def test_a_level_that_breathes(depth_db: float, period_s: float) -> None:
    rate_hz = 48_000
    time_s = along(rate_hz, 8)
    moved = gain(depth_db / 2 * np.sin(2 * np.pi * time_s / period_s))
    played = moved * tone(rate_hz, seconds=8) + noise(rate_hz, -60.0, seconds=8)
    (note,) = chain_notes(played, rate_hz, "L", 997.0)
    assert note.code == "level-control"
    assert any(f"by {depth_db * share:.2g} dB" in note.text for share in (0.96, 0.98, 1.0, 1.06))
    assert "may" in note.text


def test_a_gain_that_recovers_after_a_loss() -> None:
    rate_hz = 48_000
    time_s = along(rate_hz, 6)
    moved = gain(np.where(time_s < 2, 0.0, -6.0 * np.exp(-(time_s - 2) / 1.0)))
    played = moved * tone(rate_hz, seconds=6) + noise(rate_hz, -60.0, seconds=6)
    (note,) = chain_notes(played, rate_hz, "L", 997.0)
    assert note.code == "level-control"
    assert note.at_s == pytest.approx(2.0, abs=0.1)


def test_noise_that_is_turned_up() -> None:
    rate_hz = 48_000
    time_s = along(rate_hz, 8)
    moved = gain(20 * (1 - np.exp(-time_s / 3)))
    assert codes(moved * noise(rate_hz, seconds=8), rate_hz) == ["level-control"]


def steady_tones(rate_hz: float, seconds: float) -> dict[str, Array]:
    """Return what a tone may do without any level control."""
    time_s = along(rate_hz, seconds)
    hiss = noise(rate_hz, -70.0, seconds=seconds)
    plain = tone(rate_hz, seconds=seconds)
    jumps = np.where((time_s % 2.3 > 1.1) & (time_s > 1), -1.0, 0.0)
    return {
        "steady": plain + hiss,
        "noisy": plain + noise(rate_hz, -35.0, seconds=seconds),
        "drift": plain * gain(-0.1 * time_s) + hiss,
        "settling": plain * gain(0.8 * np.exp(-time_s / 0.7)) + hiss,
        "rising": plain * gain(-0.8 * np.exp(-time_s / 2)) + hiss,
        "bad contact": plain * gain(jumps) + hiss,
        "one loss": plain * gain(np.where(time_s > 3, -2.0, 0.0)) + hiss,
        "hum": plain + 0.05 * np.sin(2 * np.pi * 50 * time_s) + hiss,
        "near hum": plain + 5e-4 * np.sin(2 * np.pi * 1000 * time_s) + hiss,
        "gap": np.where((time_s > 2) & (time_s < 2.1), 0.0, plain) + hiss,
        "off pitch": np.sin(2 * np.pi * 997.4 * time_s) / 2 + hiss,
    }


def test_an_ordinary_tone_is_not_called_controlled() -> None:
    for rate_hz in (44_100, 96_000):
        for what, played in steady_tones(rate_hz, 7.0).items():
            assert codes(played, rate_hz, 997.0) == [], what


def test_ordinary_noise_is_not_called_controlled() -> None:
    rate_hz = 48_000
    time_s = along(rate_hz, 10)
    white = noise(rate_hz, seconds=10)
    hum = 1e-3 * np.sin(2 * np.pi * 50.02 * time_s) + 3e-4 * np.sin(2 * np.pi * 100.04 * time_s)
    flicker = np.cumsum(white) * 0.02
    thump = 0.3 * np.exp(-time_s * 3) * np.sin(2 * np.pi * 8 * time_s)
    crackle = np.where(np.random.default_rng(8).random(len(white)) < 1e-4, 3e-3, 0.0)
    for what, played in {
        "white": white,
        "hum": white + hum,
        "flicker": white + flicker,
        "thump": white + thump,
        "crackle": white + crackle,
    }.items():
        assert codes(played, rate_hz) == [], what


def test_short_or_silent_recordings_give_no_hint() -> None:
    assert codes(np.zeros(96_000), 48_000.0) == []
    assert codes(np.zeros(96_000), 48_000.0, 997.0) == []
    assert codes(tone(48_000, seconds=0.05), 48_000.0, 997.0) == []
    assert codes(np.zeros(0), 48_000.0, 997.0) == []
    assert find_level_control(np.zeros(5), 0.3) is None

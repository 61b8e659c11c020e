"""A recording given to a check arrives analysed, is kept with the job, and is read back alike."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from backtospec.analysis.waveforms import white_noise
from tests.cli.conftest import Command

Array = NDArray[np.float64]

RATE_HZ = 48_000


def noise() -> Array:
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    return 1e-3 * np.sin(2 * np.pi * 100 * time_s) + white_noise(len(time_s), 1e-5, 1)


def turn() -> Array:
    return white_noise(8 * RATE_HZ, 1e-5, 2)


def stepped() -> Array:
    time_s = np.arange(RATE_HZ) / RATE_HZ
    tones = [0.3 * np.sin(2 * np.pi * hz * time_s) for hz in (40, 100, 1000, 10_000)]
    return np.concatenate(tones) + white_noise(4 * RATE_HZ, 1e-5, 3)


def square() -> Array:
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    odd = range(1, 24, 2)
    wave = np.sum([np.sin(2 * np.pi * 1000 * k * time_s) / k for k in odd], axis=0)
    return np.asarray(0.3 * wave) + white_noise(len(time_s), 1e-5, 4)


SCALE = ("--set", "full_scale_left=36", "--set", "full_scale_right=36")


@pytest.mark.parametrize(
    ("check", "key", "make", "settings"),
    [
        ("hum-noise", "recording", noise, SCALE),
        ("controls-contacts", "recording", turn, ()),
        ("small-signal-response", "recording", stepped, ()),
        ("small-signal-response", "edges", square, ()),
        ("small-signal-stability", "recording", square, ()),
    ],
)
def test_a_recording_is_judged_kept_and_read_back(
    command: Command,
    job: str,
    tmp_path: Path,
    check: str,
    key: str,
    make: Callable[[], Array],
    settings: tuple[str, ...],
) -> None:
    path = tmp_path / "made.wav"
    soundfile.write(path, np.column_stack([make(), make()]), RATE_HZ, "PCM_24")
    words = ("run", check, "--file", f"{key}={path}", *settings, "--state", "driven")
    alone = command(*words)
    assert alone.status in (0, 1), alone.out
    assert alone.document["results"]
    # the second run in the job takes the analysis that the first one remembered
    for _ in range(2):
        kept = command(*words, "--job", job)
        assert kept.status == alone.status, kept.out
        values = [(r["key"], r["value"]) for r in kept.document["results"]]
        assert values == [(r["key"], r["value"]) for r in alone.document["results"]]

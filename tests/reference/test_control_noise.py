"""Crackle and dropouts of a control against turns whose faults are known."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis import document_parts
from backtospec.analysis.control_noise import ChannelControl, analyse_control, document_of
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import as_recorded, white_noise
from backtospec.errors import BenchError

Array = NDArray[np.float64]
SETUP = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0)


def turn(seed: int, tone: bool = True, rate_hz: int = 48_000, seconds: float = 8.0) -> Array:
    """A volume control turned up or down without a fault, with noise and hum that follow it."""
    chance = np.random.default_rng(seed)
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    level_db = np.interp(time, [0, 0.5, seconds - 0.5, seconds], [-50, -50, 0, 0])
    gain = 10 ** (level_db / 20)
    if seed % 2:
        gain = gain[::-1]
    hum = 1e-3 * np.cos(2 * np.pi * 50.01 * time) + 3e-4 * np.cos(2 * np.pi * 100.02 * time + 1)
    wave = gain * (hum + white_noise(len(time), 1e-4, seed)) + white_noise(
        len(time), 1e-6, seed + 1
    )
    if tone:
        cycles = 1000.2 * time + float(chance.uniform())
        tone_wave = np.cos(2 * np.pi * cycles)
        wave = wave + 0.5 * gain * (tone_wave + 1e-3 * tone_wave**2 - 2e-3 * tone_wave**3)
    return np.asarray(wave)


def crackled(
    wave: Array, at_s: list[float], size: float, seed: int, rate_hz: int = 48_000
) -> Array:
    """Short bursts of contact noise added at given times."""
    chance, spoiled = np.random.default_rng(seed), wave.copy()
    for second in at_s:
        start, length = round(second * rate_hz), int(chance.integers(20, 200))
        spoiled[start : start + length] += size * chance.choice([-1.0, 1.0], length)
    return spoiled


def dropped(wave: Array, at_s: list[float], depth: float, length_s: float) -> Array:
    spoiled = wave.copy()
    for second in at_s:
        start = round(second * 48_000)
        spoiled[start : start + round(length_s * 48_000)] *= depth
    return spoiled


def analyse(wave: Array, rate_hz: int = 48_000) -> ChannelControl:
    return analyse_control(wave[:, None], FileFacts(len(wave), rate_hz, 24), SETUP).channels["M"]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("tone", [True, False])
def test_a_clean_control_turns_quietly(seed: int, tone: bool) -> None:
    rate_hz = [44_100, 48_000, 96_000][seed % 3]
    wave = turn(seed, tone, rate_hz)
    if seed >= 4:
        wave = as_recorded(wave, 16, dither_seed=seed)
    found = analyse(wave, rate_hz)
    assert found.events == ()
    assert found.has_tone == tone
    assert found.text == "The control turns quietly."
    assert found.crackles_per_s == 0
    assert found.worst_crackle_db is None


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("tone", [True, False])
def test_every_crackle_is_found(seed: int, tone: bool) -> None:
    chance = np.random.default_rng(seed + 50)
    at_s = sorted(float(x) for x in 0.6 + 0.7 * np.arange(10) + chance.uniform(0, 0.5, 10))
    found = analyse(crackled(turn(seed, tone), at_s, 0.02, seed))
    assert [event.kind for event in found.events] == ["crackle"] * 10
    for event, second in zip(found.events, at_s, strict=True):
        assert event.start_s == pytest.approx(second, abs=0.003)
        assert event.rotation_percent == pytest.approx(100 * second / 8, abs=0.1)
        assert event.peak_v == pytest.approx(0.02 * 40, rel=0.2)
    assert found.crackles_per_s == pytest.approx(10 / 8)
    expected = 20 * math.log10(0.02 / (0.5 if tone else 1.0))
    assert found.worst_crackle_db == pytest.approx(expected, abs=1.6)
    assert found.text is not None
    assert "10 crackles" in found.text


@pytest.mark.parametrize("seed", range(4))
def test_every_dropout_is_found(seed: int) -> None:
    at_s = [2.03, 4.51, 6.27]
    found = analyse(dropped(turn(seed), at_s, 0.05, 0.12))
    assert [event.kind for event in found.events] == ["dropout"] * 3
    for event, second in zip(found.events, at_s, strict=True):
        assert event.start_s == pytest.approx(second, abs=0.02)
        assert event.end_s - event.start_s == pytest.approx(0.12, abs=0.03)
    assert found.dropouts_per_s == pytest.approx(3 / 8)
    assert found.worst_dropout_db == pytest.approx(-26, abs=2.5)


def test_without_a_tone_dropouts_are_not_denied() -> None:
    found = analyse(turn(0, tone=False))
    assert found.dropouts_per_s is None


def test_only_the_turn_counts() -> None:
    wave = crackled(turn(2), [1.0, 4.0], 0.02, 3)[:, None]
    found = analyse_control(wave, FileFacts(len(wave), 48_000, 24), SETUP, turn_s=(2.0, 7.0))
    (event,) = found.channels["M"].events
    assert event.rotation_percent == pytest.approx(40, abs=0.1)
    with pytest.raises(BenchError, match="is not within 0…8 s"):
        analyse_control(wave, FileFacts(len(wave), 48_000, 24), SETUP, turn_s=(2.0, 9.0))
    with pytest.raises(BenchError, match=r"0\.5 s are less than the 1 s"):
        analyse_control(wave[:24_000], FileFacts(24_000, 48_000, 24), SETUP)


def test_the_document_holds_every_event() -> None:
    wave = np.stack([crackled(turn(2), [3.0], 0.02, 3), turn(3)], axis=1)
    found = analyse_control(wave, FileFacts(len(wave), 48_000, 24), SETUP)
    printed = json.loads(json.dumps(document_of(found), allow_nan=False))
    assert printed["schema"] == document_parts.SCHEMA
    assert len(printed["channels"]["L"]["events"]) == 1
    assert printed["channels"]["R"]["events"] == []

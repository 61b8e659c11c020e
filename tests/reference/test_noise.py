"""Residual noise against closed forms: totals, weightings, hum and what the hum means."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis import document_parts
from backtospec.analysis.noise import ChannelNoise, NoiseAnalysis, analyse_noise, document_of
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import as_recorded, white_noise
from backtospec.analysis.weighting import power_gain
from backtospec.errors import BenchError

Array = NDArray[np.float64]
RATE_HZ = 48_000
VOLTS = 4.0
DATA = Path(__file__).parent / "data"
GAINS = json.loads((DATA / "weighting_itu_r_468_network.json").read_text(encoding="utf-8"))[
    "white_noise_power_gain"
]


def analyse(samples: Array, rate_hz: int = RATE_HZ, **more: float | None) -> NoiseAnalysis:
    setup = CaptureSetup(
        full_scale_volts=(VOLTS,),
        load_ohm=(8.0,),
        nominal_hz=1000.0,
        mains_hz=more.get("mains_hz"),
        rated_power_w=more.get("rated_power_w"),
    )
    columns = samples if samples.ndim == 2 else samples[:, None]
    return analyse_noise(columns, FileFacts(len(columns), rate_hz, 24), setup)


def mono(samples: Array, rate_hz: int = RATE_HZ, **more: float | None) -> ChannelNoise:
    return analyse(samples, rate_hz, **more).channels["M"]


def codes(found: NoiseAnalysis) -> set[str]:
    return {note.code for note in found.notes}


def even_noise(seconds: float, rms: float, seed: int, rate_hz: int = RATE_HZ) -> Array:
    """Every DFT bin equally strong, in chance phase: from 20 Hz to 20 kHz exactly this rms."""
    frames = round(seconds * rate_hz)
    hz = np.fft.rfftfreq(frames, 1 / rate_hz)
    inside = int(np.sum((hz >= 20) & (hz <= 20_000)))
    turn = np.exp(2j * np.pi * np.random.default_rng(seed).uniform(size=len(hz)))
    turn[0] = 0
    return np.asarray(np.fft.irfft(turn, frames) * rms * frames / math.sqrt(2 * inside))


def hum(seconds: float, lines: dict[int, float], mains_hz: float, rate_hz: int = RATE_HZ) -> Array:
    """Lines of given rms at multiples of the mains frequency."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = np.zeros_like(time)
    for order, rms in lines.items():
        wave += math.sqrt(2) * rms * np.cos(2 * np.pi * order * mains_hz * time + 0.7 * order)
    return wave


def decibels(a: float, b: float) -> float:
    return 20 * math.log10(a / b)


def known(channel: ChannelNoise) -> dict[str, float]:
    assert channel.rms_uv is not None
    return dict(channel.rms_uv)


@pytest.mark.parametrize(
    ("rate_hz", "seconds"), [(44_100, 1.0), (48_000, 4.3), (96_000, 1.0), (192_000, 1.7)]
)
def test_even_noise_in_every_weighting(rate_hz: int, seconds: float) -> None:
    rms = known(mono(even_noise(seconds, 1e-4, 3, rate_hz), rate_hz))
    whole = 1e-4 * VOLTS * 1e6
    assert decibels(rms["unweighted"], whole) == pytest.approx(0, abs=0.01)
    assert decibels(rms["A"], whole) == pytest.approx(GAINS["A_20Hz_20kHz_dB"], abs=0.01)
    assert decibels(rms["468"], whole) == pytest.approx(GAINS["468_20Hz_20kHz_dB"], abs=0.01)


@pytest.mark.parametrize("mains_hz", [50.018, 49.93, 60.02])
@pytest.mark.parametrize("seconds", [1.0, 5.0])
def test_hum_and_noise_are_told_apart(mains_hz: float, seconds: float) -> None:
    lines = {1: 2e-4, 2: 5e-4, 3: 3e-5, 6: 4e-5, 24: 3e-5}
    channel = mono(even_noise(seconds, 1e-4, 5) + hum(seconds, lines, mains_hz))
    base = round(mains_hz, -1)
    assert channel.mains_hz == pytest.approx(mains_hz, abs=6 * (channel.mains_hz_u or 0) + 1e-4)
    assert channel.hum_lines_uv is not None
    for order, rms in lines.items():
        found = channel.hum_lines_uv[f"{order * base:.0f}"]
        scatter = 1e-4 / math.sqrt(seconds * 20_000) / rms
        allowed = 0.02 + 8.686 * 4 * scatter
        assert decibels(found, rms * VOLTS * 1e6) == pytest.approx(0, abs=allowed)
    gain = dict(zip(lines, power_gain("A", [k * mains_hz for k in lines]), strict=True))
    hum_square = sum(rms**2 for rms in lines.values())
    hum_a = sum(rms**2 * gain[k] for k, rms in lines.items())
    found_rms = known(channel)
    whole = math.sqrt(1e-8 + hum_square) * VOLTS * 1e6
    assert decibels(found_rms["unweighted"], whole) == pytest.approx(0, abs=0.05)
    whole_a = math.sqrt(1e-8 * 10 ** (GAINS["A_20Hz_20kHz_dB"] / 10) + hum_a) * VOLTS * 1e6
    assert decibels(found_rms["A"], whole_a) == pytest.approx(0, abs=0.05)
    share = 100 * hum_square / (1e-8 + hum_square)
    assert channel.share_percent(channel.hum_uv, "unweighted") == pytest.approx(share, abs=0.2)
    rest = channel.share_percent(channel.noise_uv, "unweighted")
    assert rest == pytest.approx(100 - share, abs=0.2)


def test_hum_of_a_wandering_mains_is_still_hum() -> None:
    time = np.arange(12 * RATE_HZ) / RATE_HZ
    cycles = 50 * time + 0.03 / (2 * np.pi / 20) * np.sin(2 * np.pi * time / 20)
    wave = math.sqrt(2) * 5e-4 * np.cos(2 * np.pi * 2 * cycles)
    channel = mono(wave + even_noise(12, 1e-4, 6))
    assert channel.hum_lines_uv is not None
    assert decibels(channel.hum_lines_uv["100"], 5e-4 * VOLTS * 1e6) == pytest.approx(0, abs=0.05)
    assert channel.noise_uv is not None
    assert decibels(channel.noise_uv["unweighted"], 1e-4 * VOLTS * 1e6) < 0.3


def test_stated_uncertainty_is_the_scatter_of_noise() -> None:
    channels = [mono(white_noise(RATE_HZ // 2, 1e-4, seed)) for seed in range(60)]
    for weighting in ("unweighted", "A", "468"):
        levels = [20 * math.log10(known(channel)[weighting]) for channel in channels]
        stated = [(channel.rms_db_u or {})[weighting] for channel in channels]
        assert np.std(levels) == pytest.approx(np.mean(stated), rel=0.3)
        if weighting == "unweighted":
            assert np.mean(stated) == pytest.approx(4.34 / math.sqrt(19_980 * 0.5), rel=0.03)


@pytest.mark.parametrize("seed", range(12))
def test_noise_alone_holds_no_hum(seed: int) -> None:
    chance = np.random.default_rng(seed)
    seconds = float(chance.uniform(0.5, 6))
    noise = white_noise(round(seconds * RATE_HZ), 1e-5, seed)
    if seed % 2:
        noise = np.cumsum(noise) - 0.999 * np.cumsum(np.roll(noise, 1))
    channel = mono(noise)
    assert channel.hum is None
    assert not channel.hum_lines_uv


@pytest.mark.parametrize(
    ("lines", "cause"),
    [
        ({2: 5e-4, 4: 2e-4, 6: 1e-4, 1: 5e-5}, "ripple"),
        ({2: 5e-4}, "ripple"),
        ({1: 5e-4, 3: 2e-4, 2: 8e-5}, "induction-or-loop"),
        ({1: 5e-4}, "induction-or-loop"),
        ({1: 4e-4, 2: 3e-4}, "both"),
        ({3: 4e-4}, "other-multiples"),
    ],
)
@pytest.mark.parametrize("base", [50, 60])
def test_what_the_hum_means(lines: dict[int, float], cause: str, base: int) -> None:
    found = analyse(even_noise(2, 3e-5, 8) + hum(2, lines, base * 1.0002), mains_hz=base)
    reading = found.channels["M"].hum
    assert reading is not None
    assert reading.cause == cause
    loudest = max(lines, key=lambda order: lines[order])
    assert f"strongest at {loudest * base} Hz" in reading.text
    if 1 in lines and 2 in lines:
        ratio = decibels(lines[1], lines[2])
        assert reading.once_over_twice_db == pytest.approx(ratio, abs=0.1)
    assert "hum" in codes(found)


def test_hum_too_small_to_be_heard_is_said_to_be_so() -> None:
    quiet = mono(hum(2, {2: 4e-4}, 50.0) + white_noise(2 * RATE_HZ, 1e-5, 1)).hum
    loud = mono(hum(2, {2: 6e-4}, 50.0) + white_noise(2 * RATE_HZ, 1e-5, 1)).hum
    assert quiet is not None
    assert loud is not None
    assert "not heard" in quiet.text
    assert "not heard" not in loud.text


def test_single_lines_are_no_hum() -> None:
    time = np.arange(3 * RATE_HZ) / RATE_HZ
    whistle = math.sqrt(2) * 1e-4 * np.cos(2 * np.pi * 15_734.2 * time)
    channel = mono(whistle + even_noise(3, 1e-4, 9))
    assert channel.single_lines_uv is not None
    ((hz, uv),) = channel.single_lines_uv.items()
    assert float(hz) == pytest.approx(15_734.2, abs=0.01)
    assert decibels(uv, 1e-4 * VOLTS * 1e6) == pytest.approx(0, abs=0.05)
    assert channel.hum is None
    whole = math.sqrt(2) * 1e-4 * VOLTS * 1e6
    assert decibels(known(channel)["unweighted"], whole) == pytest.approx(0, abs=0.05)


def test_signal_to_noise_against_the_rated_power() -> None:
    snr = mono(even_noise(2, 1e-4, 2), rated_power_w=50.0).snr_db
    assert snr is not None
    assert snr["unweighted"] == pytest.approx(decibels(20.0, 4e-4), abs=0.01)


def test_what_spoils_a_recording_is_said() -> None:
    noise = white_noise((4 * RATE_HZ, 2), 1e-4, 4)
    burst = noise.copy()
    burst[RATE_HZ : RATE_HZ + 500, 0] += 0.01
    found = analyse(burst)
    (note,) = [note for note in found.notes if note.code == "thump"]
    assert note.channel == "L"
    assert note.at_s == pytest.approx(1.0, abs=0.06)
    loud = 3 * noise / np.std(noise)
    found = analyse(np.stack([np.clip(loud[:, 0], -1, 1), noise[:, 1]], axis=1))
    assert not found.channels["L"].valid
    assert found.channels["L"].reason == "adc-overload"
    assert found.channels["R"].valid
    held = noise.copy()
    held[RATE_HZ : RATE_HZ + 2400, 0] = 0
    found = analyse(held)
    (note,) = [note for note in found.notes if note.code == "dropout"]
    assert note.at_s == pytest.approx(1.0, abs=1e-3)
    rms = known(found.channels["L"])["unweighted"]
    expected = 1e-4 * math.sqrt(19_980 / 24_000) * VOLTS * 1e6
    assert decibels(rms, expected) == pytest.approx(0, abs=0.1)
    found = analyse(np.zeros(4 * RATE_HZ))
    assert found.channels["M"].reason == "silence"
    assert not codes(analyse(noise))
    assert codes(analyse(np.stack([noise[:, 0]] * 2, axis=1))) == {"mono"}
    coarse = as_recorded(white_noise(2 * RATE_HZ, 1e-5, 1), 16)
    assert "quantisation-limited" in codes(analyse(coarse))


def test_too_short_a_recording_is_refused() -> None:
    with pytest.raises(BenchError, match=r"0\.4 s are less than the 0\.5 s"):
        mono(white_noise(RATE_HZ * 2 // 5, 1e-4, 1))


def test_the_document_holds_every_figure() -> None:
    found = analyse(even_noise(2, 1e-4, 2) + hum(2, {1: 1e-4, 2: 5e-4}, 50.01))
    printed = json.loads(json.dumps(document_of(found), allow_nan=False))
    assert printed["schema"] == document_parts.SCHEMA
    assert printed["kind"] == "noise"
    channel = printed["channels"]["M"]
    assert channel["rms_uv"].keys() == {"unweighted", "A", "468"}
    assert channel["hum"]["cause"] == "ripple"
    spectrum = {point["hz"]: point["level_dbv"] for point in channel["spectrum"]}
    assert max(spectrum, key=lambda hz: spectrum[hz]) == pytest.approx(100, abs=1)
    assert max(spectrum.values()) == pytest.approx(decibels(5e-4 * VOLTS, 1), abs=0.2)
    assert document_of(analyse(np.zeros(RATE_HZ)))["channels"]["M"] == {
        "valid": False,
        "reason": "silence",
    }

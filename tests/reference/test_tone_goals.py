"""How low and how near a steady tone is read: floors and sums at their limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ChannelTone, analyse_tone
from backtospec.analysis.waveforms import harmonic_wave, phase_cycles, white_noise
from backtospec.analysis.weighting import Weighting, power_gain

Array = NDArray[np.float64]


def analysed(
    samples: Array, rate_hz: int, hz: float, bands_hz: tuple[tuple[float, float], ...] = ()
) -> ChannelTone:
    setup = CaptureSetup(
        full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=hz, bands_hz=bands_hz
    )
    return analyse_tone(samples[:, None], FileFacts(len(samples), rate_hz, 53), setup).channels["M"]


def floor_db(channel: ChannelTone) -> float:
    assert channel.distortion is not None
    known, bound = channel.distortion.thd_db, channel.distortion.thd_db_at_most
    floor = known if known is not None else bound
    assert floor is not None
    return floor


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize(
    ("hz", "seconds"),
    [(997.0, 0.02), (1000.37, 0.02), (1000.37, 0.3), (20.03, 0.1), (20.03, 0.35), (6301.7, 0.02)],
)
def test_floor_without_noise(hz: float, seconds: float, rate_hz: int) -> None:
    frames = math.ceil(seconds * rate_hz)
    # In extended precision: a hundred cycles in a double are rounded to −260 dB themselves.
    turns = 0.123 + np.longdouble(hz) * np.arange(frames) / rate_hz
    cycles = np.asarray(turns - np.round(turns), dtype=np.float64)
    assert floor_db(analysed(0.9 * harmonic_wave(cycles, {1: 1.0}), rate_hz, hz)) <= -290


@pytest.mark.parametrize(("hz", "rate_hz"), [(997.0, 48_000), (1000.37, 96_000), (20.03, 44_100)])
@pytest.mark.parametrize("order", [2, 3, 10])
def test_a_harmonic_at_minus_two_hundred_decibels(hz: float, rate_hz: int, order: int) -> None:
    cycles = phase_cycles(rate_hz // 2, rate_hz, hz, 0.1)
    found = analysed(0.9 * harmonic_wave(cycles, {1: 1.0, order: 1e-10}), rate_hz, hz)
    assert found.distortion is not None
    assert found.distortion.harmonics_db[str(order)] == pytest.approx(-200, abs=1e-4)


@pytest.mark.parametrize(("db_per_s", "seconds"), [(1.0, 0.5), (-1.0, 2.0), (0.2, 0.7)])
def test_floor_while_the_level_moves(db_per_s: float, seconds: float) -> None:
    rate_hz = 44_100
    frames = round(seconds * rate_hz)
    level = 0.3 * 10 ** (db_per_s * np.arange(frames) / rate_hz / 20)
    cycles = phase_cycles(frames, rate_hz, 997.02, 0.4)
    assert floor_db(analysed(level * harmonic_wave(cycles, {1: 1.0}), rate_hz, 997.0)) <= -150


@pytest.mark.parametrize(
    "band", ["20-20000", "20-22000", "400-30000", "20-45000", "100-200", "A", "468"]
)
@pytest.mark.parametrize("hz", [997.02, 3150.4])
def test_noise_and_distortion_in_one_second(band: str, hz: float) -> None:
    """Against the closed form of the lines and the noise as it is in these samples."""
    rate_hz = 96_000
    bands_hz = ((400.0, 30_000.0), (20.0, 45_000.0), (100.0, 200.0))
    noise = white_noise(rate_hz, 3e-5, 11)
    lines = {2: 2e-4, 3: 1e-4j, 5: 5e-5}
    samples = 0.5 * harmonic_wave(phase_cycles(rate_hz, rate_hz, hz, 0.3), {1: 1.0, **lines})
    distortion = analysed(samples + noise, rate_hz, round(hz), bands_hz).distortion
    assert distortion is not None
    weighting: Weighting = "A" if band == "A" else "468" if band == "468" else "unweighted"
    low, high = (float(end) for end in band.split("-")) if "-" in band else (20.0, 20_000.0)

    def gain(at_hz: Array) -> Array:
        inside = (at_hz >= low) & (at_hz <= high)
        return np.where(inside, power_gain(weighting, at_hz), 0.0)

    power = np.abs(np.fft.rfft(noise)) ** 2 * 2 / rate_hz**2
    bins_hz = np.asarray(np.fft.rfftfreq(rate_hz, 1 / rate_hz), dtype=np.float64)
    hiss = float(np.dot(power, gain(bins_hz))) / 0.125
    bent = sum(
        abs(line) ** 2 * float(gain(np.array([order * hz]))[0]) for order, line in lines.items()
    )
    assert distortion.thdn_db[band] == pytest.approx(10 * math.log10(hiss + bent), abs=0.05)
    assert distortion.snr_db[band] == pytest.approx(-10 * math.log10(hiss), abs=0.05)

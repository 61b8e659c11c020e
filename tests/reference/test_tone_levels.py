"""A steady tone against closed forms: every figure that an analysis states."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.document import as_document
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ToneAnalysis, analyse_tone
from backtospec.analysis.waveforms import (
    as_recorded,
    clipped_cosine_harmonics,
    clipped_wave,
    harmonic_wave,
    phase_cycles,
    white_noise,
)

Array = NDArray[np.float64]
RATE_HZ = 48_000
NOISE = 3e-6


def analyse(
    samples: Array, nominal_hz: float, rate_hz: int = RATE_HZ, **more: float
) -> ToneAnalysis:
    if samples.ndim == 1:
        samples = samples[:, None]
    setup = CaptureSetup(
        full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=nominal_hz, mains_hz=more.get("mains")
    )
    return analyse_tone(samples, FileFacts(len(samples), rate_hz, 24), setup)


def tone(
    seconds: float, hz: float = 997.02, amplitude: float = 0.5, rate_hz: int = RATE_HZ
) -> Array:
    cycles = phase_cycles(round(seconds * rate_hz), rate_hz, hz, 0.13)
    return amplitude * harmonic_wave(cycles, {1: 1.0, 2: 1e-3, 3: 5e-4j})


def noisy(samples: Array, seed: int = 1) -> Array:
    return samples + white_noise(samples.shape, NOISE, seed)


def codes(found: ToneAnalysis) -> set[tuple[str, str | None]]:
    return {(note.code, note.channel) for note in found.notes}


def test_every_figure_of_a_plain_tone() -> None:
    clean = np.stack([tone(2.0) + 2e-4, 0.96 * tone(2.0) - 3e-4], axis=1)
    noise = white_noise(clean.shape, NOISE, 7)
    found = analyse(clean + noise, 997.0)
    left, right = found.channels["L"], found.channels["R"]
    assert left.frequency_hz == pytest.approx(997.02, abs=2e-7)
    assert left.level_dbfs_peak == pytest.approx(20 * math.log10(0.5), abs=2e-5)
    assert left.power_w == pytest.approx(25.0, rel=1e-5)
    assert left.dc_v == pytest.approx(0.008, abs=2e-6)
    assert right.dc_v == pytest.approx(-0.012, abs=2e-6)
    assert found.tracking_db_r_minus_l == pytest.approx(20 * math.log10(0.96), abs=2e-5)
    assert found.clock_ppm == pytest.approx(0.02 / 997 * 1e6, abs=1e-3)
    distortion = left.distortion
    assert distortion is not None
    assert distortion.harmonics_db["2"] == pytest.approx(-60, abs=0.002)
    assert distortion.harmonics_db["3"] == pytest.approx(20 * math.log10(5e-4), abs=0.003)
    assert "4" in distortion.harmonics_db_at_most
    assert distortion.thd_percent == pytest.approx(100 * math.hypot(1e-3, 5e-4), rel=2e-4)
    spectrum = np.abs(np.fft.rfft(noise[:, 0])) ** 2 * 2 / len(noise) ** 2
    bins_hz = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)
    for band, high in (("20-20000", 20_000), ("20-22000", 22_000)):
        inside = (bins_hz >= 20) & (bins_hz <= high)
        realised = 2 * float(spectrum[inside].sum()) / 0.25
        thdn = 10 * math.log10(realised + 1e-6 + 2.5e-7)
        assert distortion.thdn_db[band] == pytest.approx(thdn, abs=0.01)
        assert distortion.snr_db[band] == pytest.approx(-10 * math.log10(realised), abs=0.01)
    assert codes(found) == set()


@pytest.mark.parametrize("mains_hz", [49.97, 50.02, 60.03])
def test_hum_is_fitted_with_its_own_frequency(mains_hz: float) -> None:
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    lines = {1: 1e-3, 2: 5e-3, 3: 2e-4, 6: 3e-4}
    hum = sum(a * np.cos(2 * np.pi * k * mains_hz * time_s + k) for k, a in lines.items())
    found = analyse(noisy(tone(2.0) + hum), 997.0)
    assert found.mains_hz == pytest.approx(mains_hz, abs=1e-4)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    for order, amplitude in lines.items():
        key = str(order * round(mains_hz / 10) * 10)
        assert distortion.hum_db[key] == pytest.approx(20 * math.log10(amplitude / 0.5), abs=0.05)
    assert distortion.harmonics_db["2"] == pytest.approx(-60, abs=0.01)
    assert ("hum", "M") in codes(found)


def test_hum_in_a_short_record_spoils_no_harmonic() -> None:
    time_s = np.arange(9600) / RATE_HZ
    wave = 0.5 * harmonic_wave(phase_cycles(9600, RATE_HZ, 997.02), {1: 1.0, 2: 1e-4})
    hum = 5e-3 * np.cos(2 * np.pi * 100.04 * time_s) + 1e-3 * np.cos(2 * np.pi * 50.02 * time_s)
    distortion = analyse(noisy(wave + hum), 997.0).channels["M"].distortion
    assert distortion is not None
    assert distortion.harmonics_db["2"] == pytest.approx(-80, abs=0.1)


def test_a_tone_on_a_hum_line_is_said() -> None:
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    hum = 3e-3 * np.cos(2 * np.pi * 100.037 * time_s) + 1e-3 * np.cos(2 * np.pi * 50.0185 * time_s)
    found = analyse(noisy(tone(2.0, hz=1000.37) + hum), 1000.0)
    assert ("near-hum-line", "M") in codes(found)


def test_an_overloaded_channel_gives_only_its_reason() -> None:
    cycles = phase_cycles(RATE_HZ, RATE_HZ, 997.02)
    loud = 1.1 * np.cos(2 * np.pi * cycles)
    pair = np.stack([noisy(tone(1.0)), noisy(loud, 2)], axis=1)
    found = analyse(as_recorded(pair, 24), 997.0)
    right = found.channels["R"]
    assert (right.valid, right.reason) == (False, "adc-overload")
    assert (right.level_dbfs_peak, right.power_w, right.distortion) == (None, None, None)
    assert found.channels["L"].power_w == pytest.approx(25.0, rel=1e-5)
    assert found.tracking_db_r_minus_l is None
    assert ("adc-overload", "R") in codes(found)


@pytest.mark.parametrize(
    ("upper", "lower", "amplitude"), [(0.44, 0.53, 0.58), (0.95, 0.95, 1.2), (0.9, 0.6, 1.0)]
)
def test_a_clipping_amplifier_is_measured_not_refused(
    upper: float, lower: float, amplitude: float
) -> None:
    cycles = phase_cycles(2 * RATE_HZ, RATE_HZ, 630.02)
    samples = noisy(clipped_wave(cycles, amplitude, upper, lower, 38))
    found = analyse(as_recorded(samples, 24), 630.0)
    mean, lines = clipped_cosine_harmonics(upper / amplitude, lower / amplitude, range(1, 39))
    channel = found.channels["M"]
    assert channel.valid
    assert channel.level_dbfs_peak == pytest.approx(20 * math.log10(lines[0] * amplitude), abs=2e-4)
    assert channel.dc_v == pytest.approx(40 * float(mean) * amplitude, abs=1e-4)
    distortion = channel.distortion
    assert distortion is not None
    thd = math.sqrt(float(np.sum(lines[1:10] ** 2))) / float(lines[0])
    every = math.sqrt(float(np.sum(lines[1:] ** 2))) / float(lines[0])
    assert distortion.thd_percent == pytest.approx(100 * thd, rel=5e-4)
    assert distortion.thd_all_percent == pytest.approx(100 * every, rel=5e-4)
    sure = [k for k in range(2, 39) if abs(lines[k - 1] / lines[0]) > 1e-4]
    assert {str(k) for k in sure} <= set(distortion.harmonics_db)
    assert set(distortion.harmonics_db) <= {str(k) for k in range(2, 39)}
    assert not {str(k) for k in range(11, 39)} & set(distortion.harmonics_db_at_most)
    for k in sure:
        wanted = 20 * math.log10(abs(lines[k - 1] / lines[0]))
        assert distortion.harmonics_db[str(k)] == pytest.approx(wanted, abs=0.02)
    assert ("amplifier-clipping", "M") in codes(found)
    assert (("asymmetric", "M") in codes(found)) == (upper != lower)
    assert ("adc-overload", "M") not in codes(found)


@pytest.mark.parametrize(("at", "lost"), [(28_800, 947), (62_400, 5), (48_000, 1)])
def test_lost_samples_are_found_and_left_out(at: int, lost: int) -> None:
    clean = noisy(tone(2.2))
    found = analyse(np.delete(clean, slice(at, at + lost)), 997.0)
    (note,) = found.notes
    assert note.code == "lost-samples"
    assert note.at_s == pytest.approx(at / RATE_HZ, abs=1e-3)
    jump = (360 * lost * 997.02 / RATE_HZ + 180) % 360 - 180
    assert note.phase_jump_deg == pytest.approx(jump, abs=0.5)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    assert distortion.thd_db == pytest.approx(20 * math.log10(math.hypot(1e-3, 5e-4)), abs=0.005)


@pytest.mark.parametrize(("first", "length", "hz"), [(30_000, 1128, 997.02), (30_000, 200, 50.01)])
def test_a_gap_of_zeros_is_found_and_left_out(first: int, length: int, hz: float) -> None:
    samples = noisy(tone(2.0, hz=hz))
    samples[first : first + length] = 0.0
    found = analyse(samples, round(hz))
    (note,) = found.notes
    assert note.code == "dropout"
    assert note.at_s == pytest.approx(first / RATE_HZ, abs=1e-3)
    assert found.channels["M"].level_dbfs_peak == pytest.approx(20 * math.log10(0.5), abs=2e-4)


@pytest.mark.parametrize(("height", "decay_s"), [(0.2, 0.05), (0.02, 0.02)])
def test_a_thump_at_the_start_is_left_out(height: float, decay_s: float) -> None:
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    found = analyse(noisy(tone(2.0)) + height * np.exp(-time_s / decay_s), 997.0)
    assert ("thump", None) in codes(found)
    distortion = found.channels["M"].distortion
    assert distortion is not None
    assert distortion.thdn_db["20-20000"] == pytest.approx(-59.03, abs=0.01)


def test_silence_around_the_tone_is_left_out() -> None:
    samples = tone(2.0)
    samples[:9600] = samples[-4800:] = 0.0
    found = analyse(noisy(samples), 997.0)
    assert codes(found) == set()
    assert found.tone_start_s == pytest.approx(0.2, abs=0.02)
    assert found.tone_end_s == pytest.approx(1.9, abs=0.02)
    assert found.channels["M"].level_dbfs_peak == pytest.approx(20 * math.log10(0.5), abs=2e-5)


def test_remarks_on_a_pair_of_channels() -> None:
    one = noisy(tone(1.0))
    assert codes(analyse(np.stack([one, one], axis=1), 997.0)) == {("mono", None)}
    turned = np.stack([one, noisy(-0.9 * tone(1.0), 2)], axis=1)
    assert codes(analyse(turned, 997.0)) == {("inverted", "R")}
    quiet = np.stack([one, white_noise(len(one), 1e-6, 3)], axis=1)
    assert codes(analyse(quiet, 997.0)) == {("undriven", "R")}
    empty = np.stack([one, np.zeros(len(one))], axis=1)
    assert codes(analyse(empty, 997.0)) == {("silence", "R")}
    assert codes(analyse(np.zeros((4800, 2)), 997.0)) == {("silence", "L"), ("silence", "R")}


def test_channels_of_different_frequency_are_fitted_apart() -> None:
    pair = np.stack([noisy(tone(2.0)), noisy(tone(2.0, hz=997.52), 2)], axis=1)
    found = analyse(pair, 997.0)
    assert found.channels["L"].frequency_hz == pytest.approx(997.02, abs=1e-6)
    assert found.channels["R"].frequency_hz == pytest.approx(997.52, abs=1e-6)


def test_sixteen_bits_with_and_without_dither() -> None:
    wave = 0.5 * harmonic_wave(phase_cycles(RATE_HZ, RATE_HZ, 997.02), {1: 1.0})
    assert ("undithered", "M") in codes(analyse(as_recorded(wave, 16), 997.0))
    dithered = codes(analyse(as_recorded(wave, 16, 5), 997.0))
    assert ("undithered", "M") not in dithered
    assert ("quantisation-limited", "M") in dithered


def test_the_document_holds_the_named_keys_and_only_numbers() -> None:
    import json

    document = as_document(
        analyse(np.stack([noisy(tone(1.0)), noisy(tone(1.0), 2)], axis=1), 997.0)
    )
    json.dumps(document, allow_nan=False)
    assert document["schema"] == "backtospec/analyse/1"
    assert set(document["file"]) == {"frames", "sample_rate_hz", "valid_bits"}
    wanted = (
        "valid reason frequency_hz level_dbfs_peak fundamental_vrms power_w dc_v noise_floor_dbfs "
        "thd_percent thd_db thd_harmonics harmonics_db thdn_percent thdn_db snr_db hum_db spurs_db"
    )
    assert set(wanted.split()) <= set(document["channels"]["L"])
    assert document["channels"]["L"]["thd_harmonics"] == list(range(2, 11))

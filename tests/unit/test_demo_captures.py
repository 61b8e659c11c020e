"""Recordings of the invented amplifier: same seed same file, and they hold what was put in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.demo.amplifier import (
    FilterCapacitor,
    FloatArray,
    OutputStage,
    PowerAmplifier,
    Supply,
)
from backtospec.demo.captures import (
    SoundInterface,
    VolumeControl,
    VolumePlan,
    render_ramp,
    write_capture,
)

RATE_HZ = 48_000
GOOD = FilterCapacitor(7400e-6, 0.028)
AMPLIFIER = PowerAmplifier(OutputStage(0.011, 7.96), OutputStage(0.011, 8.03), Supply(GOOD, GOOD))
SHORT = VolumePlan(powers_w=(1.0, 10.0), pause_s=0.5, turn_s=0.2)
CONTROL = VolumeControl(0.9, 0.4, 0.1)


def first_pause(samples: FloatArray) -> FloatArray:
    return samples[int(0.45 * RATE_HZ) : int(0.85 * RATE_HZ)]


def amplitude(samples: FloatArray, *frequencies_hz: float) -> FloatArray:
    """Amplitude of the first frequency, fitted jointly with the others."""
    turn = 2 * np.pi * np.outer(np.arange(len(samples)) / RATE_HZ, frequencies_hz)
    model = np.column_stack((np.cos(turn), np.sin(turn), np.ones(len(samples))))
    parts = np.linalg.lstsq(model, samples, rcond=None)[0]
    return np.asarray(np.hypot(parts[0], parts[len(frequencies_hz)]))


@pytest.fixture(scope="module")
def short() -> FloatArray:
    return render_ramp(AMPLIFIER, CONTROL, SHORT, SoundInterface(), seed=7)


def test_equal_seeds_give_equal_files_and_others_do_not(short: FloatArray) -> None:
    again = render_ramp(AMPLIFIER, CONTROL, SHORT, SoundInterface(), seed=7)
    other = render_ramp(AMPLIFIER, CONTROL, SHORT, SoundInterface(), seed=8)
    assert np.array_equal(short, again)
    assert short.shape != other.shape or not np.allclose(short, other)


def test_a_pause_holds_its_power_and_the_mistracking(short: FloatArray) -> None:
    volts = amplitude(first_pause(short), 997 * (1 - 31e-6)) * np.array([50.0, 49.7])
    assert volts[0] ** 2 / 2 / 8 == pytest.approx(1.0, rel=2e-3)
    wanted_db = CONTROL.mistracking_db(np.array([-10.0]))[0]
    assert 20 * np.log10(volts[1] / volts[0]) == pytest.approx(wanted_db, abs=0.005)


def test_the_recorders_clock_shifts_the_frequency(short: FloatArray) -> None:
    tone = first_pause(short)[:, 0]
    offsets_ppm = np.linspace(-200, 200, 401)
    heights = [amplitude(tone[:, None], 997 * (1 + ppm * 1e-6))[0] for ppm in offsets_ppm]
    assert offsets_ppm[int(np.argmax(heights))] == pytest.approx(-31, abs=5)


def test_hum_lies_at_twice_the_mains_and_far_down(short: FloatArray) -> None:
    pause = first_pause(short)
    tone_hz = 997 * (1 - 31e-6)
    hum_v = amplitude(pause, 100.03, tone_hz)[0] * 50
    beside_v = amplitude(pause, 87.0, 100.03, tone_hz)[0] * 50
    assert 5 * beside_v < hum_v < 1e-3


def test_silence_around_the_tone_is_only_noise(short: FloatArray) -> None:
    for quiet in (short[: int(0.35 * RATE_HZ)], short[-int(0.35 * RATE_HZ) :]):
        assert np.std(quiet) < 10 ** (-100 / 20)
        assert np.std(quiet) > 10 ** (-112 / 20)


def folded_and_eleventh(monkeypatch: pytest.MonkeyPatch, oversampling: int) -> tuple[float, float]:
    """Mirror image of H27, and H11, of a hard clipped tone on rails without ripple."""
    monkeypatch.setattr("backtospec.demo.captures._OVERSAMPLING", oversampling)
    steady_supply = Supply(FilterCapacitor(1.0, 0.0), FilterCapacitor(1.0, 0.0))
    amplifier = PowerAmplifier(OutputStage(0.011), OutputStage(0.011), steady_supply)
    plan = VolumePlan(powers_w=(70.0,), pause_s=1.0)
    samples = render_ramp(amplifier, CONTROL, plan, SoundInterface(clock_ppm=0.0))
    pause = samples[int(0.5 * RATE_HZ) : int(1.3 * RATE_HZ)]
    lines_hz = [997.0 * order for order in range(1, 24)]
    folded = amplitude(pause, 48_000 - 27 * 997.0, *lines_hz)[0]
    return float(folded), float(amplitude(pause, *lines_hz[10:], *lines_hz[:10])[0])


def test_harmonics_above_the_band_are_filtered_not_mirrored(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plain, eleventh_plain = folded_and_eleventh(monkeypatch, 1)
    filtered, eleventh = folded_and_eleventh(monkeypatch, 4)
    assert eleventh == pytest.approx(eleventh_plain, rel=0.02)
    assert filtered < plain / 20


@pytest.mark.parametrize("ending", ["flac", "wav"])
def test_a_written_file_is_24_bit_and_reads_back(
    short: FloatArray, tmp_path: Path, ending: str
) -> None:
    path = tmp_path / f"ramp.{ending}"
    write_capture(path, short, RATE_HZ)
    assert soundfile.info(path).subtype == "PCM_24"
    back, rate_hz = soundfile.read(path)
    assert rate_hz == RATE_HZ
    assert np.abs(back - short).max() <= 2**-23

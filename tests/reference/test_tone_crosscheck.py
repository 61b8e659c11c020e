"""The second reading of a tone, through a window: its own figures, and what it finds."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.tone_crosscheck import LOBE_BINS, CheckedTone, fit_checked_tone, flat_top
from backtospec.analysis.waveforms import harmonic_wave, phase_cycles, white_noise

Array = NDArray[np.float64]
RATE_HZ = 48_000


def tone(seconds: float) -> Array:
    cycles = phase_cycles(round(seconds * RATE_HZ), RATE_HZ, 997.02, 0.13)
    return 0.5 * harmonic_wave(cycles, {1: 1.0, 2: 1e-3, 3: 5e-4})


def checked(wave: Array, seed: int = 1) -> CheckedTone:
    samples = (wave + white_noise(len(wave), 3e-6, seed))[:, None]
    return fit_checked_tone(samples, np.arange(len(wave), dtype=float), RATE_HZ, 997.0, None)


def test_the_window_is_the_published_one() -> None:
    """Side lobes −248.4 dB, flat within 0.0009 dB over half a bin, noise bandwidth 5.65 bins."""
    count, finer = 4096, 64
    window = flat_top(count)
    shape_db = 20 * np.log10(np.abs(np.fft.rfft(window, count * finer)) + 1e-300)
    assert shape_db[0] == pytest.approx(0, abs=1e-9)
    assert abs(shape_db[finer // 2]) < 9e-4
    assert shape_db[(LOBE_BINS + 1) * finer :].max() < -248
    assert count * float(np.sum(window**2)) == pytest.approx(5.6512, abs=1e-4)


def test_a_clean_tone_reads_the_same_twice() -> None:
    found = checked(tone(1.0))
    assert found.added is None
    lines = found.checks[0].lines
    assert found.checks[0].differing == ()
    assert abs(lines[1].difference_db) < 1e-6
    assert abs(lines[2].difference_db) < 0.01


def test_chance_alone_rarely_makes_the_two_differ() -> None:
    """Lines near the noise scatter; 0.27 % of the records may be called different."""
    cycles = phase_cycles(4800, RATE_HZ, 997.02)
    wave = 0.5 * harmonic_wave(cycles, {1: 1.0, 2: 4e-7, 3: 4e-7, 4: 4e-7})
    called = sum(checked(wave, seed).added is not None for seed in range(40))
    assert called <= 1


@pytest.mark.parametrize("away_hz", [5.0, -6.3, 7.4])
def test_a_line_close_to_a_harmonic_is_noticed_and_taken_up(away_hz: float) -> None:
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    beside = 3e-4 * np.cos(2 * np.pi * (1994.04 + away_hz) * time_s)
    found = checked(tone(0.5) + beside)
    assert found.added == "lines close to the harmonics"
    assert found.checks[0].differing == ()
    harmonic = abs(found.fitted.harmonics[1, 0]) / abs(found.fitted.harmonics[0, 0])
    assert 20 * np.log10(harmonic) == pytest.approx(-60, abs=0.05)


def test_a_level_that_swings_is_followed() -> None:
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    found = checked(tone(0.5) * (1 + 0.05 * np.cos(2 * np.pi * 4 * time_s)))
    assert found.added == "a moving level"
    assert found.checks[0].differing == ()


def test_hum_too_short_to_be_found_by_itself_is_taken_up() -> None:
    time_s = np.arange(2880) / RATE_HZ
    found = checked(tone(0.06) + 5e-3 * np.cos(2 * np.pi * 100.02 * time_s))
    assert found.added == "hum at the mains frequency"
    harmonic = abs(found.fitted.harmonics[1, 0]) / abs(found.fitted.harmonics[0, 0])
    assert 20 * np.log10(harmonic) == pytest.approx(-60, abs=0.05)


def test_too_short_a_record_has_no_second_reading() -> None:
    found = checked(tone(0.02))
    assert found.checks[0].lines == {}
    assert found.excess == 0

"""Tone bursts against closed forms: edges, level, distortion and headroom of each."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.burst import BurstAnalysis, analyse_burst, document_of
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import (
    as_recorded,
    clipped_cosine_harmonics,
    clipped_wave,
    white_noise,
)
from backtospec.errors import BenchError

Array = NDArray[np.float64]
RATE_HZ = 48_000


def gated(
    levels: Sequence[float],
    *,
    hz: float = 1000.12,
    on_s: float = 0.02,
    period_s: float = 0.5,
    first_s: float = 0.1,
    between_db: float = -20.0,
    rate_hz: int = RATE_HZ,
    limit: float = 10.0,
) -> Array:
    """Return bursts of each level in turn, each with the quiet stretch that follows it."""
    time_s = np.arange(round((first_s + period_s * len(levels)) * rate_hz)) / rate_hz
    count = np.floor((time_s - first_s) / period_s + 1e-9).astype(int)
    level = np.asarray(levels)[np.clip(count, 0, len(levels) - 1)]
    plays = (time_s >= first_s - 1e-9) & (time_s - first_s - count * period_s < on_s - 1e-9)
    drive = level * np.where(plays, 1.0, 10 ** (between_db / 20))
    most = int(0.49 * rate_hz / hz)
    return clipped_wave(hz * time_s, drive, limit, limit, most)


def noisy(samples: Array, rms: float = 1e-5, seed: int = 1) -> Array:
    return samples + white_noise(samples.shape, rms, seed)


def analyse(
    samples: Array, nominal_hz: float = 1000.0, rate_hz: int = RATE_HZ, **more: float
) -> BurstAnalysis:
    if samples.ndim == 1:
        samples = samples[:, None]
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=nominal_hz, **more)  # type: ignore[arg-type]
    return analyse_burst(samples, FileFacts(len(samples), rate_hz, 24), setup)


@pytest.mark.parametrize(
    ("hz", "rate_hz", "on_s", "period_s", "first_s", "between_db"),
    [
        (1000.12, 48_000, 0.02, 0.5, 0.1, -20),
        (1000.12, 48_000, 0.02, 0.5, 0.0, -20),
        (999.5, 44_100, 0.02, 0.5, 0.123, -20),
        (1000.5, 96_000, 0.05, 0.2, 0.1, -10),
        (1000.0, 48_000, 0.25, 0.5, 0.1, -300),
        (400.1, 44_100, 0.04, 0.3, 0.1, -20),
        (1000.0, 48_000, 0.008, 0.3, 0.1, -20),
    ],
)
def test_edges_level_and_power_of_each_burst(
    hz: float, rate_hz: int, on_s: float, period_s: float, first_s: float, between_db: float
) -> None:
    levels = (0.5, 0.5, 0.6)
    wave = gated(
        levels,
        hz=hz,
        on_s=on_s,
        period_s=period_s,
        first_s=first_s,
        between_db=between_db,
        rate_hz=rate_hz,
    )
    found = analyse(noisy(wave), round(hz, -1), rate_hz)
    assert len(found.bursts) == len(levels)
    assert found.frequency_hz == pytest.approx(hz, abs=5e-4)
    for index, (burst, level) in enumerate(zip(found.bursts, levels, strict=True)):
        assert burst.start_s == pytest.approx(first_s + index * period_s, abs=2e-4)
        assert burst.end_s == pytest.approx(first_s + index * period_s + on_s, abs=2e-4)
        mono = burst.channels["M"]
        assert mono.level_dbfs_peak == pytest.approx(20 * math.log10(level), abs=2e-4)
        assert mono.fundamental_vrms == pytest.approx(40 * level / math.sqrt(2), rel=3e-5)
        assert mono.power_w == pytest.approx((40 * level) ** 2 / 16, rel=6e-5)


def test_level_holds_in_noise_and_its_uncertainty_too() -> None:
    wave = gated([0.5] * 20, period_s=0.1)
    found = analyse(noisy(wave, 5e-4))
    off = [b.channels["M"].level_dbfs_peak - 20 * math.log10(0.5) for b in found.bursts]
    stated = found.bursts[3].channels["M"].level_dbfs_peak_u
    assert len(off) == 20
    assert max(abs(one) for one in off) < 0.005
    assert 0.6 < float(np.std(off)) / stated < 1.5


def test_the_phase_need_not_run_on_through_a_burst() -> None:
    wave = gated([0.5] * 4)
    turned = -wave[round(1.08 * RATE_HZ) :]
    found = analyse(noisy(np.concatenate([wave[: round(1.08 * RATE_HZ)], turned])))
    assert len(found.bursts) == 4
    for burst in found.bursts[:2] + found.bursts[3:]:
        assert burst.channels["M"].level_dbfs_peak == pytest.approx(20 * math.log10(0.5), abs=1e-3)


def test_headroom_is_that_of_the_strongest_burst_within_the_limit() -> None:
    limit = 0.6
    drives = [0.4, 0.5, 0.58, 0.61, 0.64, 0.75]
    truths = []
    for drive in drives:
        _, lines = clipped_cosine_harmonics(limit / drive, limit / drive, range(1, 24))
        thd = 100 * math.sqrt(float(np.sum(lines[1:] ** 2))) / lines[0]
        truths.append((float(lines[0]) * drive, float(thd)))
    found = analyse(noisy(gated(drives, limit=limit)), rated_power_w=25.0)
    for burst, (level, thd) in zip(found.bursts, truths, strict=True):
        mono = burst.channels["M"]
        assert mono.level_dbfs_peak == pytest.approx(20 * math.log10(level), abs=1e-3)
        if thd > 0.1:
            assert mono.thd_all_percent == pytest.approx(thd, rel=0.01)
    allowed = max(level for level, thd in truths if thd <= 1)
    assert found.headroom_db == pytest.approx(10 * math.log10(allowed**2 * 100 / 25), abs=1e-3)
    assert found.limit_reached
    assert any(note.code == "amplifier-clipping" for note in found.notes)
    strict = analyse(noisy(gated(drives, limit=limit)), rated_power_w=25.0, rated_thd_percent=0.1)
    allowed = max(level for level, thd in truths if thd <= 0.1)
    assert strict.headroom_db == pytest.approx(10 * math.log10(allowed**2 * 100 / 25), abs=1e-3)


def test_headroom_is_a_bound_where_no_burst_tells_it() -> None:
    below = analyse(noisy(gated([0.5, 0.5])), rated_power_w=20.0)
    assert below.headroom_db == pytest.approx(10 * math.log10(25 / 20), abs=1e-3)
    assert below.limit_reached is False
    beyond = analyse(noisy(gated([0.9, 0.9], limit=0.6)), rated_power_w=20.0)
    assert beyond.headroom_db is None
    assert beyond.headroom_db_at_most is not None
    assert beyond.limit_reached
    assert analyse(noisy(gated([0.5, 0.5]))).headroom_db is None


def test_headroom_lies_below_the_weakest_burst_beyond_the_limit() -> None:
    drives = [0.5, 0.58, 0.61, 0.64, 0.75]
    found = analyse(noisy(gated(drives, limit=0.6)), rated_power_w=25.0)
    assert found.headroom_db is not None
    assert found.headroom_db_at_most is not None
    assert found.headroom_db < found.headroom_db_at_most
    powers = [burst.channels["M"].power_w for burst in found.bursts]
    steps = [10 * math.log10(power / 25) for power in powers]
    assert found.headroom_db_at_most == pytest.approx(
        steps[steps.index(found.headroom_db) + 1], abs=1e-12
    )


def test_uncertainty_of_the_headroom_covers_noise_and_the_load() -> None:
    wave = gated([0.5])
    runs = [analyse(noisy(wave, 2e-3, seed), rated_power_w=20.0) for seed in range(30)]
    found = np.array([run.headroom_db for run in runs], dtype=float)
    stated = np.mean([run.headroom_db_u for run in runs if run.headroom_db_u])
    assert 0.7 < float(np.std(found)) / stated < 1.4
    assert abs(float(np.mean(found)) - 10 * math.log10(25 / 20)) < 4 * stated / math.sqrt(30)
    loose = analyse(noisy(wave), rated_power_w=20.0, load_tolerance_percent=5.0)
    assert loose.headroom_db_u == pytest.approx(10 / math.log(10) * 0.05 / math.sqrt(3), rel=0.01)


def test_the_weaker_channel_gives_the_headroom() -> None:
    pair = np.stack([gated([0.5, 0.5]), gated([0.4, 0.4])], axis=1)
    found = analyse(noisy(pair), rated_power_w=20.0)
    assert found.headroom_db == pytest.approx(10 * math.log10(16 / 20), abs=1e-3)
    assert found.channels["L"].headroom_db == pytest.approx(10 * math.log10(25 / 20), abs=1e-3)


def test_thd_below_the_noise_is_only_a_bound() -> None:
    mono = analyse(noisy(gated([0.5, 0.5]), 1e-3)).bursts[0].channels["M"]
    assert mono.thd_percent is None
    assert mono.thd_percent_at_most is not None
    assert 0.001 < mono.thd_percent_at_most < 0.2


def test_an_overloaded_channel_gives_only_its_reason() -> None:
    pair = noisy(np.stack([gated([0.5] * 3), gated([1.2] * 3)], axis=1))
    found = analyse(as_recorded(pair, 24), rated_power_w=20.0)
    assert found.channels["R"].reason == "adc-overload"
    assert [list(burst.channels) for burst in found.bursts] == [["L"]] * 3
    assert found.headroom_db == pytest.approx(10 * math.log10(25 / 20), abs=1e-3)
    assert [(note.code, note.channel) for note in found.notes] == [("adc-overload", "R")]


def test_silence_around_the_recording_makes_no_burst() -> None:
    quiet = np.zeros(round(0.2 * RATE_HZ))
    found = analyse(noisy(np.concatenate([quiet, gated([0.5] * 3), quiet]), 1e-6))
    assert [round(burst.start_s, 3) for burst in found.bursts] == [0.3, 0.8, 1.3]


@pytest.mark.parametrize(
    ("wave", "said"),
    [
        (gated([0.5] * 3, between_db=0), "no burst"),
        (gated([0.5] * 3, between_db=-3), "no burst"),
        (gated([0.5] * 3, hz=1400), "not near the nominal 1000 Hz"),
    ],
)
def test_what_holds_no_bursts_is_refused(wave: Array, said: str) -> None:
    with pytest.raises(BenchError, match=said):
        analyse(noisy(wave))


def test_the_document_holds_every_burst() -> None:
    pair = noisy(np.stack([gated([0.5] * 2), np.zeros_like(gated([0.5] * 2))], axis=1), 1e-6)
    found = document_of(analyse(pair, rated_power_w=20.0))
    document = json.loads(json.dumps(found, allow_nan=False))
    assert document["schema"] == "backtospec/analyse/1"
    assert document["kind"] == "burst"
    assert document["channels"]["R"] == {"valid": False, "reason": "silence"}
    assert document["channels"]["L"]["valid"]
    assert document["headroom_db"] == pytest.approx(10 * math.log10(25 / 20), abs=1e-3)
    assert document["definition"]["headroom_db"]
    left = document["bursts"][1]["channels"]["L"]
    assert document["bursts"][1]["start_s"] == pytest.approx(0.6, abs=1e-3)
    for key in ("level_dbfs_peak", "fundamental_vrms", "power_w"):
        assert key in left
        assert left[f"{key}_u"] > 0
    assert "thd_percent" in left or "thd_percent_at_most" in left

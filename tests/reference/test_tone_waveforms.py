"""Published and derived distortion figures of clipped, square and bent waves."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ChannelTone, analyse_tone
from backtospec.analysis.waveforms import (
    bent_cosine_harmonics,
    clipped_cosine_harmonics,
    clipped_wave,
    harmonic_wave,
    phase_cycles,
)

TABLE = Path(__file__).parent / "data" / "hard_clipped_sine.csv"


def rows() -> list[dict[str, float]]:
    lines = [line for line in TABLE.read_text().splitlines() if not line.startswith("#")]
    return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(lines)]


def measured(samples: np.ndarray, rate_hz: int, hz: float) -> ChannelTone:
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=hz)
    return analyse_tone(samples[:, None], FileFacts(len(samples), rate_hz, 53), setup).channels["M"]


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['c']:g}")
def test_hard_clipped_sine_in_closed_form(row: dict[str, float]) -> None:
    orders = range(1, 26)
    _, lines = clipped_cosine_harmonics(row["c"], row["c"], orders)
    assert lines[0] == pytest.approx(row["b1"], abs=1e-9)
    for order in range(3, 26, 2):
        # The table is for a sine: every second odd harmonic has the other sign for a cosine.
        sign = -1.0 if order % 4 == 3 else 1.0
        assert sign * lines[order - 1] / lines[0] == pytest.approx(row[f"h{order}"], rel=1e-4)


@pytest.mark.parametrize("row", rows()[::3], ids=lambda row: f"{row['c']:g}")
def test_hard_clipped_sine_as_measured(row: dict[str, float]) -> None:
    rate_hz = 96_000
    cycles = phase_cycles(rate_hz // 2, rate_hz, 1000.03, 0.21)
    found = measured(0.5 * clipped_wave(cycles, 1.0, row["c"], row["c"], 25), rate_hz, 1000.0)
    assert found.distortion is not None
    assert found.distortion.thd_all_percent == pytest.approx(100 * row["THD_F_to_25"], rel=1e-6)
    assert found.level_dbfs_peak == pytest.approx(20 * math.log10(0.5 * row["b1"]), abs=1e-6)


def test_square_wave() -> None:
    """THD of a square wave is √(π²/8 − 1), 0.48343; to H9 it is 0.42879."""
    rate_hz, hz, most = 192_000, 400.03, 237
    lines = {k: 4 / math.pi / k * (1 if k % 4 == 1 else -1) for k in range(1, most + 1, 2)}
    cycles = phase_cycles(rate_hz // 4, rate_hz, hz, 0.1)
    found = measured(0.4 * harmonic_wave(cycles, lines), rate_hz, 400.0)
    assert found.distortion is not None
    assert found.distortion.thd_percent == pytest.approx(42.879476837849, rel=1e-5)
    left_out = sum(1 / k**2 for k in range(most + 2, 200_001, 2))
    infinite = math.hypot((found.distortion.thd_all_percent or 0) / 100, math.sqrt(left_out))
    assert infinite == pytest.approx(0.4834258476, rel=1e-5)


def test_bent_transfer_curve() -> None:
    """y = x + 0.01·x² + 0.02·x³ at full drive: H1 1.015, THD 0.69666 %."""
    lines = bent_cosine_harmonics((0.0, 1.0, 0.01, 0.02), 1.0)
    assert math.hypot(lines[2], lines[3]) / lines[1] == pytest.approx(0.0069665692727738674)
    cycles = phase_cycles(48_000, 48_000, 997.03)
    x = np.cos(2 * np.pi * cycles)
    found = measured(0.5 * (x + 0.01 * x**2 + 0.02 * x**3), 48_000, 997.0)
    assert found.distortion is not None
    assert found.distortion.thd_percent == pytest.approx(0.69665692727738674, rel=1e-7)

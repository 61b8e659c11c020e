"""One channel driven: what of its tone the other one holds, in decibels and phase."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.document import as_document
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ToneAnalysis, analyse_tone
from backtospec.analysis.waveforms import harmonic_wave, phase_cycles, white_noise

Array = NDArray[np.float64]
RATE_HZ = 48_000


def analysed(db: float, turn_deg: float, seed: int = 1, **more: float) -> ToneAnalysis:
    """Return the analysis of a driven left channel and its crosstalk in the right one."""
    frames = round(more.get("seconds", 1.0) * RATE_HZ)
    cycles = phase_cycles(frames, RATE_HZ, 997.02, 0.2)
    left = 0.5 * harmonic_wave(cycles, {1: 1.0, 2: 1e-3})
    line = 0.5 * 10 ** (db / 20) * np.exp(1j * math.radians(turn_deg))
    right = harmonic_wave(cycles, {1: line})
    if "hum" in more:
        right += more["hum"] * np.cos(2 * np.pi * 100.03 * np.arange(frames) / RATE_HZ)
    samples = np.column_stack((left, right)) + white_noise((frames, 2), 3e-6, seed)
    setup = CaptureSetup(full_scale_volts=(40.0, 20.0), load_ohm=(8.0,), nominal_hz=997.0)
    return analyse_tone(samples, FileFacts(frames, RATE_HZ, 24), setup)


@pytest.mark.parametrize(("db", "turn_deg"), [(-30.0, 10.0), (-62.0, 91.0), (-95.0, -178.0)])
def test_crosstalk_and_its_phase(db: float, turn_deg: float) -> None:
    found = analysed(db, turn_deg)
    right = found.channels["R"]
    assert (right.valid, right.driven, found.channels["L"].driven) == (True, False, True)
    assert right.crosstalk is not None
    assert right.crosstalk.db is not None
    assert right.crosstalk.db_u is not None
    assert right.crosstalk.phase_deg is not None
    # The right channel's full scale is half as many volts.
    assert right.crosstalk.db == pytest.approx(db - 6.0206, abs=1e-4 + 5 * right.crosstalk.db_u)
    assert right.crosstalk.phase_deg == pytest.approx(
        turn_deg, abs=1e-3 + 5 * (right.crosstalk.phase_deg_u or 0)
    )
    assert [(n.code, n.channel) for n in found.notes] == [("undriven", "R")]
    assert found.tracking_db_r_minus_l is None


def test_the_stated_uncertainty_is_the_scatter() -> None:
    found = [analysed(-90.0, 40.0, seed, seconds=0.1).channels["R"].crosstalk for seed in range(80)]
    known = [one for one in found if one is not None and one.db is not None]
    assert len(known) == 80
    scatter = float(np.std([one.db or 0.0 for one in known]))
    stated = float(np.mean([one.db_u or 0.0 for one in known]))
    assert scatter == pytest.approx(stated, rel=0.25)


def test_below_the_noise_only_a_bound_is_stated() -> None:
    bounds = []
    for seed in range(20):
        found = analysed(-160.0, 0.0, seed, seconds=0.2).channels["R"]
        assert found.valid
        assert found.crosstalk is not None
        if found.crosstalk.db is None:
            bounds.append(found.crosstalk.db_at_most)
    assert len(bounds) >= 19
    # The line's standard deviation over the driven channel's, three times and a little.
    sigma_db = 20 * math.log10(3e-6 * math.sqrt(2 / 9600) / 0.5 * 0.5)
    assert all(sigma_db < bound < sigma_db + 16 for bound in bounds if bound is not None)


def test_hum_in_the_undriven_channel_does_not_count() -> None:
    found = analysed(-70.0, 0.0, hum=2e-3).channels["R"].crosstalk
    assert found is not None
    assert found.db == pytest.approx(-76.0206, abs=0.01)


def test_the_document_names_the_undriven_channel() -> None:
    document = as_document(analysed(-62.0, 91.0))
    assert document["channels"]["L"]["driven"] is True
    right = document["channels"]["R"]
    assert right["driven"] is False
    assert {"crosstalk_db", "crosstalk_db_u", "crosstalk_phase_deg"} <= set(right)
    assert "thd_percent" not in right
    hidden = as_document(analysed(-160.0, 0.0, 2, seconds=0.2))["channels"]["R"]
    assert "crosstalk_db_at_most" in hidden
    assert "crosstalk_db" not in hidden

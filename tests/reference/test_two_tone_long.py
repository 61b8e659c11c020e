"""Two tones that last: piece by piece, in bounded memory, as exact as in one."""

from __future__ import annotations

import math
import tracemalloc
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.two_tone import TwoToneAnalysis, analyse_two_tone_pieces
from backtospec.analysis.two_tone_pieces import piece_edges
from backtospec.errors import BenchError

Array = NDArray[np.float64]

RATE_HZ = 48_000
SETUP = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=60.0)
HZ = (60.017, 7002.03)
SQUARE = 1e-5


def piece(first: int, end: int, noise: float, level: float = 1.0, right: float = -0.8) -> Array:
    """Two tones bent by a faint square, from one sample to another, right channel inverted."""
    time_s = np.arange(first, end) / RATE_HZ
    low, high = (np.cos(2 * np.pi * ((hz * time_s) % 1.0)) for hz in HZ)
    wave = level * (0.4 * low + 0.1 * high + 2 * SQUARE * 0.04 * low * high)
    hiss = noise * np.random.default_rng(first).standard_normal((end - first, 2))
    return np.stack([wave, right * wave], axis=1) + hiss


def analyse(pieces: Iterator[Array], frames: int) -> TwoToneAnalysis:
    return analyse_two_tone_pieces(pieces, FileFacts(frames, RATE_HZ, 24), SETUP, 7000.0)


def test_pieces_are_averaged_in_phase() -> None:
    """A product 26 dB below the noise of one piece's line comes out within its uncertainty."""
    frames, edges = 96_000, [(at, at + 12_000) for at in range(0, 96_000, 12_000)]
    found = analyse((piece(a, b, 2e-4) for a, b in edges), frames)
    truth_db = 20 * math.log10(SQUARE * 0.04 / 0.1)
    for name in ("L", "R"):
        read = found.channels[name].intermodulation
        assert read is not None
        for order in ("1,1", "1,-1"):
            if order in read.products_db:
                error = read.products_db[order] - truth_db
                assert abs(error) < 4 * read.products_db_u[order]
            else:
                assert read.products_db_at_most[order] > truth_db
        for order in ("1,0", "0,1"):
            assert read.products_db_u[order] < 1e-3
    one = analyse(iter([piece(0, 12_000, 2e-4)]), 12_000).channels["L"]
    whole = found.channels["L"]
    assert whole.levels_dbfs_peak_u is not None
    assert one.levels_dbfs_peak_u is not None
    assert whole.levels_dbfs_peak_u[1] == pytest.approx(
        one.levels_dbfs_peak_u[1] / math.sqrt(8), rel=0.02
    )
    assert [note.code for note in found.notes if note.channel == "R"].count("inverted") == 1


def test_a_faint_product_rises_out_of_the_noise_with_length() -> None:
    product_db = 20 * math.log10(SQUARE * 0.04 / 0.1)
    edges = [(at, at + 12_000) for at in range(0, 144_000, 12_000)]
    one = analyse(iter([piece(0, 12_000, 2.5e-5)]), 12_000).channels["L"].intermodulation
    many = analyse((piece(a, b, 2.5e-5) for a, b in edges), 144_000).channels["L"].intermodulation
    assert one is not None
    assert many is not None
    assert one.d2 is not None
    assert many.d2 is not None
    assert one.d2.percent is None
    assert many.d2.percent == pytest.approx(200 * 10 ** (product_db / 20), rel=0.3)


def test_ten_minutes_are_cut_into_pieces_that_memory_holds() -> None:
    for rate_hz in (44_100, 96_000, 192_000):
        edges = piece_edges(600 * rate_hz, rate_hz, (60.0, 7000.0))
        assert edges[0][0] == 0
        assert edges[-1][1] == 600 * rate_hz
        assert all(b == c for (_, b), (c, _) in pairwise(edges))
        assert max(b - a for a, b in edges) < 1_000_000


def test_more_pieces_take_no_more_memory() -> None:
    peaks = []
    tracemalloc.start()
    for count in (2, 6):
        tracemalloc.reset_peak()
        edges = [(at, at + 12_000) for at in range(0, count * 12_000, 12_000)]
        analyse((piece(a, b, 1e-6) for a, b in edges), count * 12_000)
        peaks.append(tracemalloc.get_traced_memory()[1])
    tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]


def test_a_level_that_moves_is_said() -> None:
    edges = [(at, at + 12_000) for at in range(0, 48_000, 12_000)]
    moving = (piece(a, b, 1e-6, level=1 - a / 2.5e6) for a, b in edges)
    notes = analyse(moving, 48_000).notes
    assert {note.channel for note in notes if note.code == "drift"} == {"L", "R"}


def test_silence_before_between_and_after_is_left_out() -> None:
    quiet = 1e-6 * np.random.default_rng(2).standard_normal((24_000, 2))
    wave = [quiet, piece(0, 24_000, 1e-6), quiet * 20, piece(0, 24_000, 1e-6), quiet]
    found = analyse(iter(wave), 120_000)
    assert found.tone_start_s == pytest.approx(0.5, abs=0.06)
    assert found.tone_end_s == pytest.approx(2.0, abs=0.06)
    assert [note.at_s for note in found.notes if note.code == "dropout"] == [1.0]
    assert found.clock_ppm == pytest.approx(287, abs=5)


def test_an_overload_in_any_piece_refuses_the_channel() -> None:
    loud = piece(24_000, 48_000, 1e-6)
    loud[:, 1] = np.clip(2.6 * loud[:, 1], -1, 1 - 2.0**-23)
    found = analyse(iter([piece(0, 24_000, 1e-6), loud]), 48_000)
    assert found.channels["R"].reason == "adc-overload"
    assert found.channels["R"].levels_dbfs_peak is None
    assert found.channels["L"].valid


def test_without_tones_anywhere_it_is_refused() -> None:
    hiss = 1e-2 * np.random.default_rng(2).standard_normal((24_000, 2))
    with pytest.raises(BenchError, match="no tone of about"):
        analyse(iter([hiss, hiss[::-1]]), 48_000)
    found = analyse(iter([np.zeros((24_000, 2))] * 2), 48_000)
    assert [channel.reason for channel in found.channels.values()] == ["silence", "silence"]


def test_channels_of_different_ratio_are_told_apart() -> None:
    wave = piece(0, 24_000, 1e-6)
    time_s = np.arange(24_000) / RATE_HZ
    wave[:, 1] = 0.2 * np.cos(2 * np.pi * HZ[0] * time_s) + 0.2 * np.cos(2 * np.pi * HZ[1] * time_s)
    wave[:, 1] += 1e-6 * np.random.default_rng(4).standard_normal(24_000)
    found = analyse(iter([wave]), 24_000)
    refused = [name for name, channel in found.channels.items() if not channel.valid]
    assert len(refused) == 1
    notes = [note for note in found.notes if note.code == "tone-ratio"]
    assert [note.channel for note in notes] == refused

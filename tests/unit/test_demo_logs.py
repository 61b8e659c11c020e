"""Warm-up logs of the invented amplifier."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from backtospec.demo.logs import WarmUp, read_meter, write_warm_up

CREEP = WarmUp(10.8, -1.5, -1.9)
MINUTES = np.arange(0.0, 75.01, 0.5)


def test_the_creep_starts_and_ends_where_it_says() -> None:
    assert CREEP.at(np.array([0.0]))[0] == pytest.approx(7.4)
    assert CREEP.at(np.array([600.0]))[0] == pytest.approx(10.8)


def test_the_meter_shows_whole_steps_near_the_creep() -> None:
    shown = read_meter(CREEP, MINUTES, np.random.default_rng(3))
    assert np.allclose(shown * 10, np.round(shown * 10))
    error_mv = shown - CREEP.at(MINUTES)
    assert abs(error_mv.mean()) < 0.03
    assert 0.03 < error_mv.std() < 0.1


def test_the_file_is_seeded_and_holds_both_channels(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("one.csv", "same.csv", "other.csv")]
    for path, seed in zip(paths, (1, 1, 2), strict=True):
        write_warm_up(path, "idle current", CREEP, WarmUp(2.1, -0.4, -0.3), seed=seed)
    one, same, other = (path.read_text(encoding="utf-8") for path in paths)
    assert one == same != other
    lines = one.splitlines()
    assert lines[:2] == ["# idle current", "minutes;L mV;R mV"]
    table = np.array([[float(cell) for cell in line.split(";")] for line in lines[2:]])
    assert table.shape == (151, 3)
    assert table[-1] == pytest.approx([75.0, 10.8, 2.1], abs=0.25)

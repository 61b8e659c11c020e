"""Bent sound files: read, salvaged or refused, never a crash, a hang or a silent loss."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.sound_campaign import Tally, run_campaign
from tests.sound_mutations import bend, whole_files


def described(tally: Tally, inputs: int) -> str:
    counts = ", ".join(f"{count} {outcome}" for outcome, count in sorted(tally.counts.items()))
    return (
        f"{inputs} bent sound files: {counts}; {len(tally.failures)} failures; "
        f"peak {tally.peak_bytes / 2**20:.0f} MiB"
        + "".join(f"\n  seed {seed}: {what}" for seed, what in tally.failures[:20])
    )


def check(tally: Tally, inputs: int) -> None:
    assert tally.failures == [], described(tally, inputs)
    counts = tally.counts
    assert counts["refused"] + counts["salvaged"] + counts["read"] == inputs
    assert min(counts["refused"], counts["salvaged"], counts["read"]) > inputs / 50


def test_bending_repeats_itself() -> None:
    files = whole_files()
    assert [bend(files, seed) for seed in range(20)] == [bend(files, seed) for seed in range(20)]


def test_a_slice_of_the_campaign(tmp_path: Path) -> None:
    check(run_campaign(0, 300, tmp_path), 300)


@pytest.mark.campaign
def test_the_campaign(tmp_path: Path) -> None:
    inputs = 100_000
    tally = run_campaign(1_000_000, 1_000_000 + inputs, tmp_path)
    print(described(tally, inputs))
    check(tally, inputs)

"""Recordings nobody has seen: made at chance, each held to its own truth."""

from __future__ import annotations

import pytest

from tests.tone_campaign import outside


@pytest.mark.parametrize("seed", [1, 4, 6, 7, 14, 17])
def test_a_few_chance_recordings(seed: int) -> None:
    assert list(outside(range(seed, seed + 1))) == []


@pytest.mark.campaign
def test_chance_recordings() -> None:
    """Nearly all: 0.27 % of the second readings may differ by chance, and six sigma is not all."""
    found = list(outside(range(200, 320)))
    print("\n".join(found))
    assert len(found) <= 3

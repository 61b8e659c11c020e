"""A store in a folder of its own, with a clock and ids that count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from backtospec.store.connection import Store
from backtospec.store.opening import open_store


def counting_ids() -> Callable[[str], str]:
    """Return a giver of ids that counts within each prefix."""
    given: Counter[str] = Counter()

    def identify(prefix: str) -> str:
        given[prefix] += 1
        return f"{prefix}-{given[prefix]:05d}"

    return identify


def ticking_clock() -> Callable[[], datetime]:
    """Return a clock that is one second later each time it is read."""
    seconds = count()
    start = datetime(2025, 3, 7, 20, 14, tzinfo=UTC)
    return lambda: start + timedelta(seconds=next(seconds))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path, identify=counting_ids(), now=ticking_clock()) as opened:
        yield opened

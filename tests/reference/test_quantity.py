"""The letter code of resistors and capacitors, as published."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from backtospec.quantity import read, write

LINES = (Path(__file__).parent / "data" / "letter_codes.csv").read_text(encoding="utf-8")
ROWS = list(csv.DictReader(line for line in LINES.splitlines() if not line.startswith("#")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["text"])
def test_letter_code(row: dict[str, str]) -> None:
    value = read(row["text"], row["unit"], "part")
    assert value == float(row["value"])
    assert read(write(value, row["unit"]), row["unit"], "part") == value

"""Spec sheets: a small file to keep and share, one printed line, or five answers."""

from __future__ import annotations

from backtospec.sources.spec_sheets.first_contact import (
    FirstQuestion,
    questions,
    read_meter,
    spec_from_answers,
)
from backtospec.sources.spec_sheets.printed_line import read_rating
from backtospec.sources.spec_sheets.reading import read_spec
from backtospec.sources.spec_sheets.writing import write_spec

__all__ = [
    "FirstQuestion",
    "questions",
    "read_meter",
    "read_rating",
    "read_spec",
    "spec_from_answers",
    "write_spec",
]

"""Pieces that every analysis document is built from: schema, facts of the file, notes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from backtospec.analysis.notes import FileFacts, Note

SCHEMA = "backtospec/analyse/1"

Document = dict[str, Any]


def known(**figures: Any) -> Document:
    """Return the figures that are known and finite.

    Examples
    --------
    >>> known(power_w=1.0, thd_percent=None, dc_v=math.nan)
    {'power_w': 1.0}
    """
    return {key: kept for key, value in figures.items() if (kept := _finite(value)) is not None}


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {k: v for k, item in value.items() if (v := _finite(item)) is not None}
    if isinstance(value, tuple):
        return [_finite(item) for item in value]
    return value


def head(kind: str, file: FileFacts) -> Document:
    """Return schema, kind and facts of the file."""
    return {
        "schema": SCHEMA,
        "kind": kind,
        "file": {
            "frames": file.frames,
            "sample_rate_hz": file.sample_rate_hz,
            "valid_bits": file.valid_bits,
        },
    }


def note_list(notes: tuple[Note, ...]) -> list[Document]:
    """Return notes as a document holds them."""
    return [
        {
            "code": note.code,
            "channel": note.channel,
            **known(at_s=note.at_s, phase_jump_deg=note.phase_jump_deg),
            "text": note.text,
        }
        for note in notes
    ]

"""One answer as the store keeps it: the text as typed, and how it was understood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import assert_never

from backtospec.bench.runs import Given
from backtospec.check import (
    Answers,
    CaptureInput,
    Check,
    ChoiceInput,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    TableInput,
    TextInput,
)
from backtospec.records import Meter, Reading
from backtospec.store.write import Entry

TOLD = "."
"""Stands between an input's key and what was asked about its file: ``left_series.date_order``."""


def entries_of(
    check: Check, given: Given, answers: Answers, kept: Mapping[str, str]
) -> tuple[Entry, ...]:
    """Return everything to keep of one run of a check.

    Parameters
    ----------
    check, given, answers
        The run.
    kept
        SHA-256 of each kept file, by input key.
    """
    found = [
        entry_of(item, answers, given.meter, kept.get(item.key))
        for item in check.inputs
        if item.key in answers.texts
    ]
    found += [
        Entry(f"{key}{TOLD}{about}", value)
        for key, said in given.told.items()
        for about, value in said.items()
    ]
    return tuple(found)


def told_of(readings: tuple[Reading, ...]) -> dict[str, dict[str, str]]:
    """Return what was answered to questions about files, from what was kept of it."""
    found: dict[str, dict[str, str]] = {}
    for reading in readings:
        key, mark, about = reading.key.partition(TOLD)
        if mark:
            found.setdefault(key, {})[about] = reading.text
    return found


def entry_of(item: Input, answers: Answers, meter: Meter | None, sha256: str | None) -> Entry:
    """Return one answer as the store keeps it: the text as typed, and how it was understood."""
    entry = Entry(item.key, answers.texts[item.key], file_sha256=sha256)
    number, minutes = answers.number(item.key), answers.number("minutes_since_on")
    match item:
        case NumberInput():
            return replace(
                entry,
                value=None if number is None else number.value,
                unit=item.unit,
                channel=item.channel,
                probed_at=item.probed_at,
                meter=meter if item.by_meter else None,
                minutes_since_on=minutes.value / 60 if minutes and item.by_meter else None,
            )
        case SeriesInput():
            return replace(
                entry,
                unit=item.unit,
                channel=item.channel,
                probed_at=item.probed_at,
                meter=meter,
            )
        case ChoiceInput() | TextInput() | TableInput() | CaptureInput() | PhotoInput():
            return entry
        case _:
            assert_never(item)

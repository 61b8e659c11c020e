"""Spec sheets and meters as the surfaces ask for them."""

from __future__ import annotations

from collections.abc import Mapping

from backtospec.records import Channel, Meter, SpecSheet
from backtospec.sources.spec_sheets import (
    FirstQuestion,
    questions,
    read_meter,
    read_spec,
    spec_from_answers,
    write_spec,
)

__all__ = [
    "FirstQuestion",
    "channel_named",
    "meter_from_answers",
    "meter_named",
    "questions",
    "sheet_from_answers",
    "spec_of",
]

_CHANNELS = {
    Channel.LEFT: ("l", "lch", "left", "links", "gauche", "sinistra", "левый", "左"),
    Channel.RIGHT: ("r", "rch", "right", "rechts", "droite", "destra", "правый", "右"),
}


def spec_of(text: str, name: str) -> SpecSheet:
    """Return the spec sheet that a file's text holds."""
    return read_spec(text, name)


def sheet_from_answers(answers: Mapping[str, str]) -> str:
    """Return the text of a spec sheet file made from the five answers."""
    return write_spec(spec_from_answers(answers))


def meter_from_answers(answers: Mapping[str, str]) -> Meter | None:
    """Return the meter named among the five answers, or ``None``."""
    text = answers.get("meter", "").strip()
    return read_meter(text) if text else None


def meter_named(name: str, accuracy: str) -> Meter:
    """Return a meter from its accuracy, under the person's name for it.

    Examples
    --------
    >>> meter_named("bench", "0.5 % + 3")
    Meter(name='bench', percent=0.5, counts=3.0)
    """
    found = read_meter(accuracy, "meter")
    return Meter(name, found.percent, found.counts)


def channel_named(text: str) -> Channel | None:
    """Return the channel that a word names in any of the usual languages, or ``None``.

    Examples
    --------
    >>> channel_named("Lch"), channel_named("rechts"), channel_named("9.6mV")
    (<Channel.LEFT: 'L'>, <Channel.RIGHT: 'R'>, None)
    """
    word = text.strip().casefold().rstrip(":")
    return next((c for c, words in _CHANNELS.items() if word in words), None)

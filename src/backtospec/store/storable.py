"""What no database keeps alike, refused before any of them sees it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime

from backtospec.errors import BenchError


def refuse_unstorable(value: object, where: str) -> None:
    """Refuse a fact that cannot be kept exactly as it is.

    Parameters
    ----------
    value
        A record, or anything it may hold: text, number, time, mapping, sequence.
    where
        The field, in the user's words.

    Raises
    ------
    BenchError
        For a number that is not finite, a text with a NUL or half a character, or a time without
        a time zone; all of them at once.

    Examples
    --------
    >>> refuse_unstorable({"idle": [0.0098, "9.8 mV"]}, "reading")
    >>> refuse_unstorable({"idle": float("nan")}, "reading")
    Traceback (most recent call last):
    backtospec.errors.BenchError: reading, idle: nan is not a finite number. Read the meter again.
    """
    faults = _faults(value, where)
    if faults:
        raise BenchError.of(faults)


def _faults(value: object, where: str) -> list[BenchError]:
    match value:
        case float() if not math.isfinite(value):
            return [BenchError(f"{value} is not a finite number.", where, "Read the meter again.")]
        case str():
            return _text_faults(value, where)
        case datetime() if value.tzinfo is None:
            return [
                BenchError(
                    f"{value.isoformat(sep=' ')} has no time zone.",
                    where,
                    "Say which time zone it was written in.",
                )
            ]
        case Mapping():
            return [
                fault
                for key, item in value.items()
                for fault in _faults(item, f"{where}, {str(key).replace('_', ' ')}")
            ]
        case Sequence() if not isinstance(value, bytes):
            return [fault for item in value for fault in _faults(item, where)]
        case _ if is_dataclass(value):
            return _faults({f.name: getattr(value, f.name) for f in fields(value)}, where)
        case _:
            return []


def _text_faults(text: str, where: str) -> list[BenchError]:
    if "\0" in text:
        what = f"{text!r} holds a NUL, which is no character of any text."
        return [BenchError(what, where, "Type it again without the NUL.")]
    try:
        text.encode()
    except UnicodeEncodeError:
        what = f"{text!r} holds half a character."
        return [BenchError(what, where, "Type it again.")]
    return []

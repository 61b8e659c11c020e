"""The report as data: everything that is printed, frozen, so that it reprints unchanged."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from backtospec.check import (
    BarsFigure,
    CurveFigure,
    CycleFigure,
    Figure,
    SeriesFigure,
    TableFigure,
)
from backtospec.errors import BenchError

SCHEMA = "backtospec/report/1"


@dataclass(frozen=True, slots=True)
class Cell:
    """One number as printed, its verdict as mark and word, and the readings it rests on."""

    text: str
    mark: str
    word: str
    readings: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity: per channel, or one value for both, against what it must keep."""

    title: str
    limit: str
    conditions: str
    source: str
    method: str = ""
    left: Cell | None = None
    right: Cell | None = None
    both: Cell | None = None
    difference: str = ""
    missing: str = ""


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """One word and one sentence."""

    word: str
    reason: str


@dataclass(frozen=True, slots=True)
class CauseLine:
    """A possible cause, what speaks for and against it, and the reading that would tell."""

    name: str
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    next_reading: str


@dataclass(frozen=True, slots=True)
class Section:
    """One check as judged from one sitting."""

    check_id: str
    sitting_id: str
    title: str
    visit: str
    circumstances: str
    rows: tuple[Row, ...]
    advice: tuple[AdviceLine, ...]
    causes: tuple[CauseLine, ...]
    next_step: str


@dataclass(frozen=True, slots=True)
class Change:
    """One number before and after the work."""

    before: Cell
    after: Cell


@dataclass(frozen=True, slots=True)
class Comparison:
    """One result before and after the work, per channel or for both."""

    check: str
    title: str
    left: Change | None = None
    right: Change | None = None
    both: Change | None = None


@dataclass(frozen=True, slots=True)
class Plate:
    """One figure, the check and visit it belongs to, and what it shows, in words."""

    id: str
    sitting_id: str
    check: str
    visit: str
    description: str
    figure: Figure


@dataclass(frozen=True, slots=True)
class Part:
    """One part that was replaced."""

    designator: str
    old: str
    new: str
    reason: str
    fitted: str


@dataclass(frozen=True, slots=True)
class Instrument:
    """What was measured with, its accuracy, and whether that is only assumed."""

    name: str
    accuracy: str
    used_for: str
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Omission:
    """What was not shown, and why."""

    what: str
    why: str


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One reading exactly as taken."""

    id: str
    key: str
    channel: str
    text: str
    value: str
    probed_at: str
    meter: str
    taken: str
    since_on: str
    file_sha256: str


@dataclass(frozen=True, slots=True)
class EvidenceGroup:
    """The readings of one sitting."""

    sitting_id: str
    title: str
    circumstances: str
    taken: str
    note: str
    readings: tuple[EvidenceLine, ...]


@dataclass(frozen=True, slots=True)
class Headline:
    """The verdict in one line, with its mark and word."""

    mark: str
    word: str
    line: str


@dataclass(frozen=True, slots=True)
class ReportDocument:
    """Everything that one report says.

    Parameters
    ----------
    claims
        What the maker promised, each against what was measured.
    sections
        Every check with all its findings.
    tracking
        How the channels compare: results that say so, and right minus left of all others.
    evidence_sha256
        Hash of the readings the report rests on, see :func:`backtospec.report.evidence.digest`.
    """

    schema: str
    id: str
    job_id: str
    job_title: str
    maker: str
    model: str
    serial: str
    facts: tuple[str, ...]
    made: str
    made_at: str
    headline: Headline
    claims: tuple[Row, ...]
    sections: tuple[Section, ...]
    tracking: tuple[Row, ...]
    comparisons: tuple[Comparison, ...]
    plates: tuple[Plate, ...]
    parts: tuple[Part, ...]
    instruments: tuple[Instrument, ...]
    cautions: tuple[str, ...]
    omissions: tuple[Omission, ...]
    evidence: tuple[EvidenceGroup, ...]
    evidence_sha256: str

    def as_data(self) -> dict[str, Any]:
        """Return the document as JSON-ready values; a figure carries its kind."""
        data = _plain(self)
        assert isinstance(data, dict)
        return data

    def as_json(self) -> str:
        """Return the document as JSON, always the same text for the same document."""
        return json.dumps(self.as_data(), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


_FIGURES: Mapping[str, type[Any]] = {
    "series": SeriesFigure,
    "curve": CurveFigure,
    "cycle": CycleFigure,
    "bars": BarsFigure,
    "table": TableFigure,
}


def document_from_json(text: str) -> ReportDocument:
    """Return the document that :meth:`ReportDocument.as_json` wrote.

    Raises
    ------
    BenchError
        Where the text is not a report of this schema.
    """
    fix = "Use a report.json that this program wrote."
    try:
        data = json.loads(text)
    except ValueError as error:
        raise BenchError(f"is not JSON ({error}).", "stored report", fix) from error
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != SCHEMA:
        raise BenchError(f'has schema "{schema}", not "{SCHEMA}".', "stored report", fix)
    try:
        document = _restored(ReportDocument, data)
    except (KeyError, TypeError, ValueError) as error:
        raise BenchError(f"is incomplete or altered ({error!r}).", "stored report", fix) from error
    assert isinstance(document, ReportDocument)
    return document


def _plain(value: Any) -> Any:
    """Return a value with dataclasses, enums and number types reduced to what JSON holds."""
    if is_dataclass(value):
        data = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
        kinds = [name for name, kind in _FIGURES.items() if type(value) is kind]
        return {"kind": kinds[0], **data} if kinds else data
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, bool | str):
        return value
    # 50 and 50.0 are one number and must give one text
    return int(value) if value == round(value) and abs(value) < 1e15 else float(value)


def _restored(wanted: Any, value: Any) -> Any:
    """Rebuild a value of the wanted type from JSON; a missing or unknown name is an error."""
    if wanted == Figure:
        return _restored(_FIGURES[value["kind"]], {k: v for k, v in value.items() if k != "kind"})
    origin, arguments = get_origin(wanted), get_args(wanted)
    if origin in (Union, UnionType):
        (inner,) = [a for a in arguments if a is not NoneType]
        return None if value is None else _restored(inner, value)
    if origin is tuple:
        return tuple(_restored(arguments[0], item) for item in _expected(value, list))
    if is_dataclass(wanted):
        hints = get_type_hints(wanted)
        if set(_expected(value, dict)) != set(hints):
            raise KeyError(", ".join(sorted(set(value) ^ set(hints))))
        make: Any = wanted
        return make(**{name: _restored(hint, value[name]) for name, hint in hints.items()})
    if isinstance(wanted, type) and issubclass(wanted, Enum):
        return wanted(value)
    if wanted is float:
        return float(_expected(value, int | float))
    return _expected(value, wanted)


def _expected(value: Any, kind: Any) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise TypeError(f"{value!r:.60} where {getattr(kind, '__name__', kind)} belongs")
    return value

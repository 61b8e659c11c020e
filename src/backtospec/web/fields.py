"""A check's inputs as fields of a form, and a form that was sent as what the bench is given."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import takewhile
from typing import assert_never

from backtospec.bench.jobs import Bench
from backtospec.bench.runs import Given
from backtospec.check import (
    CaptureInput,
    Check,
    Choice,
    ChoiceInput,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    TableInput,
    TextInput,
    read_answers,
)
from backtospec.errors import BenchError, Fault, Question
from backtospec.records import Channel, Meter, PowerState, SpecSheet
from backtospec.report.wording import accuracy_text, amount, measured

FILE, NAME, TOLD, CELL = "file:", "name:", "told:", "cell:"
"""Prefixes of hidden fields: a kept file's hash, its name, an answer about it, a table's cell."""

_SPARE_ROWS = 3


@dataclass(frozen=True, slots=True)
class FileGiven:
    """A file that was uploaded for a field: its hash and the name people know it by."""

    sha256: str
    name: str


@dataclass(frozen=True, slots=True)
class Field:
    """One input as it stands on the page.

    Parameters
    ----------
    item
        Its declaration.
    value
        As typed.
    cells
        As typed, for a table: rows of cells.
    file
        The file given for it.
    told
        What was answered about the file.
    faults
        What is wrong with it.
    question
        What must be answered first.
    echo
        How it was understood.
    """

    item: Input
    value: str = ""
    cells: tuple[tuple[str, ...], ...] = ()
    file: FileGiven | None = None
    told: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    question: Question | None = None
    echo: str = ""

    @property
    def kind(self) -> str:
        """Names the macro that draws it."""
        item = self.item
        match item:
            case NumberInput():
                return "number"
            case ChoiceInput():
                return "choice"
            case TextInput():
                return "text"
            case SeriesInput():
                return "series"
            case TableInput():
                return "table"
            case CaptureInput():
                return "capture"
            case PhotoInput():
                return "photo"
            case _:
                assert_never(item)

    @property
    def channel(self) -> Channel | None:
        """The channel it belongs to."""
        return getattr(self.item, "channel", None)

    @property
    def filled(self) -> bool:
        """Whether anything was given or is wrong: then it is never folded away."""
        return bool(self.value.strip() or self.file or self.faults or self.question) or any(
            cell.strip() for row in self.cells for cell in row
        )


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together, under one heading; folded away until they are needed."""

    title: str
    fields: tuple[Field, ...]
    folded: bool

    @property
    def pairs(self) -> tuple[tuple[Field, ...], ...]:
        """The fields, left and right of one thing side by side."""
        rows: list[tuple[Field, ...]] = []
        for one in self.fields:
            last = rows[-1] if rows else ()
            beside = len(last) == 1 and (last[0].channel, one.channel) == (
                Channel.LEFT,
                Channel.RIGHT,
            )
            if beside:
                rows[-1] = (*last, one)
            else:
                rows.append((one,))
        return tuple(rows)


@dataclass(frozen=True, slots=True)
class Sent:
    """A form as it was sent: text by field name."""

    values: Mapping[str, str]

    def text(self, name: str) -> str:
        """Return one field, or an empty text."""
        return self.values.get(name, "")

    @property
    def token(self) -> str:
        """Names this sending of this form: the same content sent again is kept once."""
        content = {k: v for k, v in self.values.items() if k not in ("form_token", "ago")}
        digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
        return f"{self.text('token')[:40]}-{digest[:16]}" if self.text("token") else ""

    def file(self, key: str) -> FileGiven | None:
        """Return the file given for an input."""
        sha256 = self.text(FILE + key)
        return FileGiven(sha256, self.text(NAME + key) or "unnamed") if sha256 else None

    def told(self, key: str) -> dict[str, str]:
        """Return what was answered about the file of an input."""
        start = f"{TOLD}{key}:"
        return {k.removeprefix(start): v for k, v in self.values.items() if k.startswith(start)}

    def cells(self, item: TableInput) -> tuple[tuple[str, ...], ...]:
        """Return the rows of a table that hold anything."""
        start = f"{CELL}{item.key}:"
        numbers = {
            int(n)
            for k in self.values
            if k.startswith(start) and (n := k.split(":")[2]).isdecimal()
        }
        rows = (
            tuple(self.text(f"{start}{n}:{column.key}") for column in item.columns)
            for n in sorted(numbers)
        )
        return tuple(row for row in rows if any(cell.strip() for cell in row))


_MANY = 6
"""More conditions than these are not shown all at once."""


def groups_of(fields: Sequence[Field]) -> tuple[Group, ...]:
    """Return fields in groups: what is read first, then what it was read under."""
    wanted: dict[str, list[Field]] = {
        "Where, and what": [],
        "Read": [],
        "Recorded": [],
        "Over time": [],
        "In a table": [],
        "Under which conditions": [],
        "What else is known": [],
        "Beside it": [],
    }
    leading = leading_choices(tuple(one.item for one in fields))
    for one in fields:
        title = "Where, and what" if one.item in leading else _group_title(one.item)
        wanted[title].append(one)
    conditions = wanted["Under which conditions"]
    stated = [one for one in conditions if one.filled or one.item.required]
    if stated and len(conditions) > _MANY:
        # what is known by itself stands open, and does not unfold all the others with it
        wanted["Under which conditions"] = stated
        wanted["What else is known"] = [one for one in conditions if one not in stated]
    shown = [(title, tuple(found)) for title, found in wanted.items() if found]
    first = [t for t, _ in shown if t in ("Where, and what", "Read", "Recorded")] or [shown[0][0]]
    return tuple(
        Group(
            title, found, title not in first and not any(f.filled or f.item.required for f in found)
        )
        for title, found in shown
    )


def leading_choices(items: tuple[Input, ...]) -> tuple[Input, ...]:
    """Return the choices declared before the first reading: they say what is read."""
    return tuple(takewhile(lambda item: isinstance(item, ChoiceInput), items))


def _group_title(item: Input) -> str:
    match item:
        case NumberInput():
            read = item.by_meter or item.channel is not None
            if item.required and not read:
                return "Where, and what"
            return "Read" if read else "Under which conditions"
        case ChoiceInput():
            return "Where, and what" if item.required else "Under which conditions"
        case TextInput():
            return "Where, and what" if item.required else "Beside it"
        case SeriesInput():
            return "Over time"
        case TableInput():
            return "In a table"
        case CaptureInput():
            return "Recorded"
        case PhotoInput():
            return "Beside it"
        case _:
            assert_never(item)


def blank_fields(check: Check, before: Mapping[str, str]) -> tuple[Field, ...]:
    """Return an empty form; what a meter did not show is taken over from the sitting before."""
    found = []
    for item in check.inputs:
        keeps = isinstance(item, ChoiceInput) or (
            isinstance(item, NumberInput) and not item.by_meter
        )
        value = before.get(item.key, "") if keeps else ""
        default = getattr(item, "default", None)
        one = Field(item, value or default or "")
        if isinstance(item, TableInput):
            one = replace(one, cells=_with_spare(item, ()))
        found.append(one)
    return tuple(found)


def _with_spare(item: TableInput, rows: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], ...]:
    empty = tuple("" for _ in item.columns)
    return rows + (empty,) * max(1, _SPARE_ROWS - len(rows))


def sent_fields(check: Check, sent: Sent, error: BenchError | None) -> tuple[Field, ...]:
    """Return a form as it was typed, with each fault beside its field."""
    faults = error.faults if error else ()
    found = []
    for item in check.inputs:
        mine = tuple(f for f in faults if concerns(f, item))
        one = Field(
            item,
            sent.text(item.key),
            (),
            sent.file(item.key),
            sent.told(item.key),
            mine,
            error if isinstance(error, Question) and mine else None,
        )
        if isinstance(item, TableInput):
            one = replace(one, cells=_with_spare(item, sent.cells(item)))
        found.append(one)
    return tuple(found)


def concerns(fault: Fault, item: Input) -> bool:
    """Return whether a fault is about one input: it is named by its key or by its prompt."""
    where = fault.where.casefold()
    names = (item.key.casefold(), item.prompt.rstrip("?:. ").casefold())
    return any(where == name or where.startswith(f"{name}, ") for name in names)


def homeless(check: Check, error: BenchError | None) -> tuple[Fault, ...]:
    """Return the faults that are about no single field."""
    faults = error.faults if error else ()
    return tuple(f for f in faults if not any(concerns(f, item) for item in check.inputs))


def given_of(
    check: Check,
    sent: Sent,
    bench: Bench,
    spec: SpecSheet,
    meter: Meter | None,
    power_state: PowerState | None,
) -> Given:
    """Return what a form that was sent gives to the bench."""
    texts: dict[str, str] = {}
    files = {i.key: f for i in check.inputs if (f := sent.file(i.key)) is not None}
    for item in check.inputs:
        if item.key in files:
            continue
        if isinstance(item, TableInput):
            rows = sent.cells(item)
            if rows:
                texts[item.key] = "; ".join(" | ".join(c.strip() for c in row) for row in rows)
        elif sent.text(item.key).strip():
            texts[item.key] = sent.text(item.key).strip()
    return Given(
        texts,
        {key: bench.file_path(f.sha256) for key, f in files.items()},
        {key: f.name for key, f in files.items()},
        spec,
        meter,
        power_state,
        {key: told for key in files if (told := sent.told(key))},
    )


@dataclass(frozen=True, slots=True)
class Echo:
    """How one field would be understood; ``choices`` where it can be read in several ways."""

    text: str = ""
    fault: Fault | None = None
    choices: tuple[Choice, ...] = ()


def echo_of(item: Input, text: str, meter: Meter | None) -> Echo:
    """Return how a text would be understood, before it counts."""
    if not text.strip():
        return Echo()
    try:
        answers = read_answers((item,), {item.key: text}, meter=meter)
    except Question as question:
        return Echo(fault=question.faults[0], choices=question.choices)
    except BenchError as error:
        return Echo(fault=error.faults[0])
    match item:
        case NumberInput():
            value = answers.numbers[item.key]
            plain = measured(value, item.unit)
            if not item.by_meter:
                return Echo(plain)
            whose = f"meter {accuracy_text(meter)}" if meter else "a hand meter assumed"
            return Echo(f"{plain} · {whose}")
        case SeriesInput():
            series = answers.series_by_key[item.key]
            read = series.readings()
            last_s, last = read[-1]
            return Echo(
                f"{len(read)} readings, the last {amount(last, item.unit)} at {last_s / 60:.3g} min"
            )
        case ChoiceInput() | TextInput() | TableInput() | CaptureInput() | PhotoInput():
            return Echo()
        case _:
            assert_never(item)

"""The answers of one sitting: text as typed on one side, measured values on the other."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias, TypeVar, assert_never

from backtospec import quantity
from backtospec.check.inputs import (
    CaptureInput,
    ChoiceInput,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    TableInput,
    TextInput,
)
from backtospec.errors import BenchError, Question
from backtospec.quantity import Measured, MeterRange
from backtospec.records import Meter, PowerState, SpecSheet

Analysed: TypeAlias = object
"""What an analysis of a recording gives; each kind of analysis has a type of its own."""

Kind = TypeVar("Kind")


@dataclass(frozen=True, slots=True)
class Series:
    """Readings over time.

    Parameters
    ----------
    time_s
        Seconds, of equal length with ``value``; since power-on where ``since_on`` is true, else
        since the first row.
    value
        SI units; ``None`` where the meter showed no reading.
    step
        Smallest step of the meter in SI units.
    """

    time_s: tuple[float, ...]
    value: tuple[float | None, ...]
    step: float
    unit: str
    since_on: bool = False
    first_time: str | None = None

    def readings(self) -> tuple[tuple[float, float], ...]:
        """Return the rows that hold a reading, as (seconds, value)."""
        return tuple((t, v) for t, v in zip(self.time_s, self.value, strict=True) if v is not None)


Cell = Measured | str
Row = Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class Answers:
    """Everything a check is given, by input key.

    A key that was not answered is absent; the reading methods then return ``None``, an empty
    tuple, or the declared default.
    """

    texts: Mapping[str, str]
    numbers: Mapping[str, Measured] = field(default_factory=dict)
    choices: Mapping[str, str] = field(default_factory=dict)
    series_by_key: Mapping[str, Series] = field(default_factory=dict)
    tables: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    captures: Mapping[str, Analysed] = field(default_factory=dict)
    spec: SpecSheet | None = None
    meter: Meter | None = None
    power_state: PowerState | None = None

    def number(self, key: str) -> Measured | None:
        """Return the measured value of a number, or ``None``."""
        return self.numbers.get(key)

    def choice(self, key: str) -> str:
        """Return the chosen value, or an empty string."""
        return self.choices.get(key, "")

    def series(self, key: str) -> Series | None:
        """Return a series, or ``None``."""
        return self.series_by_key.get(key)

    def table(self, key: str) -> tuple[Row, ...]:
        """Return the rows of a table."""
        return self.tables.get(key, ())

    def capture(self, key: str, kind: type[Kind]) -> Kind | None:
        """Return an analysed recording of the given kind, or ``None``."""
        found = self.captures.get(key)
        return found if isinstance(found, kind) else None

    def answered(self, *keys: str) -> tuple[str, ...]:
        """Return those of the keys that were answered, in their order."""
        return tuple(key for key in keys if key in self.texts)


def read_answers(
    inputs: tuple[Input, ...],
    texts: Mapping[str, str],
    *,
    series: Mapping[str, Series] | None = None,
    captures: Mapping[str, Analysed] | None = None,
    spec: SpecSheet | None = None,
    meter: Meter | None = None,
    power_state: PowerState | None = None,
) -> Answers:
    """Return the answers to a check's inputs, read from text as people type it.

    Parameters
    ----------
    inputs
        The check's declaration.
    texts
        Text by input key. For a log or a recording the text is the file's name, and its content
        arrives in ``series`` or ``captures``.
    series, captures
        Files already read, by input key.
    spec, meter, power_state
        What else is known.

    Raises
    ------
    BenchError
        All faults of the form at once.
    """
    faults: list[BenchError] = []
    given = {key: text for key, text in texts.items() if text.strip()}
    known = {item.key for item in inputs}
    for key in given.keys() - known:
        names = ", ".join(sorted(known))
        faults.append(BenchError(f"no such input; there are {names}.", key, "Correct the name."))
    numbers: dict[str, Measured] = {}
    choices: dict[str, str] = {}
    rows: dict[str, tuple[Row, ...]] = {}
    over_time: dict[str, Series] = dict(series or {})
    ranges = _Ranges(meter)
    for item in inputs:
        text = given.get(item.key)
        if text is None:
            text = getattr(item, "default", None)
        if text is None:
            if item.required:
                faults.append(_missing(item))
            continue
        try:
            match item:
                case NumberInput():
                    numbers[item.key] = ranges.read(item, text)
                case ChoiceInput():
                    choices[item.key] = _read_choice(item, text)
                case TableInput():
                    rows[item.key] = _read_table(item, text, ranges)
                case SeriesInput():
                    if item.key not in over_time:
                        over_time[item.key] = _read_series(item, text)
                    _check_series(item, over_time[item.key])
                case CaptureInput() | TextInput() | PhotoInput():
                    pass
                case _:
                    assert_never(item)
        except Question as question:
            question.option = f"--set {item.key}="
            faults.append(question)
        except BenchError as error:
            faults.append(error)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise BenchError.of(faults)
    return Answers(
        given, numbers, choices, over_time, rows, dict(captures or {}), spec, meter, power_state
    )


class _Ranges:
    """Turns readings into measured values; one meter and range shares its percent part."""

    def __init__(self, meter: Meter | None) -> None:
        self._meter = meter
        self._ranges: dict[tuple[float, float, str, float], MeterRange] = {}

    def read(self, item: NumberInput, text: str) -> Measured:
        where = item.prompt.rstrip("?:. ")
        value = quantity.read(text, item.unit, where, item.low, item.high)
        if not item.by_meter:
            if item.tolerance_percent:
                return quantity.with_tolerance(value, item.tolerance_percent)
            return Measured(value)
        # A hand meter's accuracy says nothing of a distortion meter's dials.
        meter = None if item.unit in ("W", "%") else self._meter
        percent = meter.percent if meter else item.assumed_percent
        counts = meter.counts if meter else item.assumed_counts
        step = quantity.resolution(text, item.unit)
        place = (percent, counts, item.unit, step)
        if place not in self._ranges:
            self._ranges[place] = MeterRange(percent, counts, step)
        return self._ranges[place].measured(value)


def _missing(item: Input) -> BenchError:
    prompt = item.prompt.rstrip("?:. ")
    words = (
        f" as one of {', '.join(c.value for c in item.choices)}"
        if isinstance(item, ChoiceInput)
        else ""
    )
    return BenchError(f"“{prompt}” was not answered.", item.key, f"Give {item.key}{words}.")


def _read_choice(item: ChoiceInput, text: str) -> str:
    wanted = text.strip().casefold().replace(" ", "-").replace("_", "-")
    for choice in item.choices:
        if wanted in (choice.value.casefold(), choice.text.casefold().replace(" ", "-")):
            return choice.value
    names = ", ".join(choice.value for choice in item.choices)
    raise BenchError(f'"{text}" is not one of {names}.', item.key, "Choose one of them.")


def _read_table(item: TableInput, text: str, ranges: _Ranges) -> tuple[Row, ...]:
    rows: list[Row] = []
    for count, line in enumerate(_lines(text), start=1):
        where = f"{item.key}, row {count}"
        cells = _split_cells(line, len(item.columns))
        if len(cells) != len(item.columns):
            names = ", ".join(f"{c.key} ({getattr(c, 'unit', 'word')})" for c in item.columns)
            raise BenchError(f'"{line}" does not hold {names}.', where, "Give one value for each.")
        rows.append(_read_row(item, cells, where, ranges))
    return tuple(rows)


def _read_row(item: TableInput, cells: list[str], where: str, ranges: _Ranges) -> Row:
    row: dict[str, Cell] = {}
    for column, cell in zip(item.columns, cells, strict=True):
        if cell in _EMPTY:
            if column.required:
                raise BenchError(f"{column.key} is empty.", where, f"Give {column.key}.")
            continue
        try:
            match column:
                case NumberInput():
                    row[column.key] = ranges.read(column, cell)
                case ChoiceInput():
                    row[column.key] = _read_choice(column, cell)
                case TextInput():
                    row[column.key] = cell
                case _:
                    assert_never(column)
        except BenchError as error:
            fault = error.faults[0]
            raise BenchError(f"{column.key}: {fault.what}", where, fault.fix) from error
    return row


_EMPTY = ("", "-", "–", "—")
"""What stands in a cell that was not measured."""


def _lines(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"[;\n]", text) if part.strip()]


def _split_cells(line: str, count: int) -> list[str]:
    """Split ``L 1 W 0.02 %`` into its cells: a unit stays with the number before it."""
    if "|" in line or "\t" in line:
        cells = [cell.strip() for cell in re.split(r"[|\t]", line.strip("|"))]
        return cells + [""] * (count - len(cells))
    cells = []
    for word in re.split(r",\s+|\s+", line):
        starts_number = bool(re.match(r"[-+−≤<]?[.,]?\d", word))
        if cells and not starts_number and re.match(r".*\d\s*$", cells[-1]):
            cells[-1] += f" {word}"
        else:
            cells.append(word)
    return cells if len(cells) == count else [line]


def _read_series(item: SeriesInput, text: str) -> Series:
    """Read ``20 s 4.5 mA; 15 min 1 mA``: in each part a time with its unit, then the reading."""
    times: list[float] = []
    values: list[float | None] = []
    steps: list[float] = []
    for count, line in enumerate(_lines(text), start=1):
        where = f"{item.key}, reading {count}"
        parts = re.match(
            r"\s*([\d.,]+\s*(?:seconds?|sec|s|minutes?|min|m|hours?|h))\b[ :,=]*(.+)", line
        )
        if parts is None:
            raise BenchError(
                f'"{line}" is not a time and a reading.', where, 'Type it as "15 min 1 mA".'
            )
        clock = re.sub(r"(?<=\d)\s*m$", " min", parts[1])
        times.append(quantity.read(clock, "s", where, 0, 1e6))
        values.append(quantity.read(parts[2], item.unit, where, item.low, item.high))
        steps.append(quantity.resolution(parts[2], item.unit))
    if times != sorted(times):
        raise BenchError("the times do not run forward.", item.key, "Put them in order.")
    return Series(tuple(times), tuple(values), min(steps), item.unit, since_on=True)


def _check_series(item: SeriesInput, series: Series) -> None:
    low, high = quantity.to_si(item.low, item.unit), quantity.to_si(item.high, item.unit)
    outside = [v for _, v in series.readings() if not low <= v <= high]
    if outside:
        got = quantity.in_unit(outside[0], item.unit)
        raise BenchError(
            f"{got:g} {item.unit} is outside {item.low:g}…{item.high:g} {item.unit}.",
            item.key,
            "Check the unit.",
        )

"""A TOML text with the line of every key, so that each mistake can be shown its place."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from backtospec import quantity
from backtospec.errors import BenchError
from backtospec.sources.spec_sheets import phrases

Value = TypeVar("Value")
Path = tuple[str | int, ...]

_LONGEST = 200  # characters of one phrase
_IN_KEY = {
    "V": {"v": "V", "mv": "mV"},
    "A": {"a": "A", "ma": "mA"},
    "W": {"w": "W"},
    "Ω": {"ohm": "Ω"},
    "F": {"uf": "µF"},
    "%": {"percent": "%"},
    "min": {"minutes": "min"},
}
"""Endings of a key that name the unit of a plain number, by the unit wanted."""


class Document:
    """A TOML text, the line of each of its keys, and the mistakes found so far.

    Parameters
    ----------
    text
        The whole text.
    name
        What the person calls it, such as the file's name.

    Raises
    ------
    BenchError
        Where the text is no TOML, with the line.
    """

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        text = text.removeprefix("\ufeff").replace("\r\n", "\n")
        try:
            self.values = tomllib.loads(text)
        except (ValueError, RecursionError) as error:  # numbers too long, lists too deep
            raise _syntax_fault(text, name, str(error)) from error
        self.lines = dict(_lines(text))
        self._faults: list[tuple[int, BenchError]] = []

    def where(self, path: Path) -> str:
        """Name a key and its line, or the line of the nearest key above it."""
        words = ".".join(str(step) for step in path if isinstance(step, str))
        line = self.line(path)
        return f"{self.name}, line {line}, {words}" if line else f"{self.name}, {words}"

    def line(self, path: Path) -> int:
        """Return the line of a key, of the heading it belongs to, or 0."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 0)

    def blame(self, path: Path, error: BenchError) -> None:
        """Note a mistake and go on, so that all are shown at once."""
        self._faults.append((self.line(path), error))

    def refuse(self, path: Path, what: str, fix: str) -> None:
        """Note a mistake in words and go on."""
        self.blame(path, BenchError(what, self.where(path), fix))

    def finish(self) -> None:
        """Raise every mistake noted, in the order of their lines."""
        if self._faults:
            raise BenchError.of(error for _, error in sorted(self._faults, key=lambda f: f[0]))

    def sections(self, key: str) -> list[Section]:
        """Return the tables of a name: one ``[key]``, any number of ``[[key]]``, or none."""
        given = self.values.get(key, [])
        if isinstance(given, dict):
            return [Section(self, (key,), given)]
        if isinstance(given, list) and all(isinstance(item, dict) for item in given):
            return [Section(self, (key, place), item) for place, item in enumerate(given)]
        self.refuse((key,), f"{_show(given)} stands alone.", f"Put it under a heading [{key}].")
        return []


class Section:
    """One table of a document; mistakes are noted, and the value is then ``None``."""

    def __init__(self, document: Document, path: Path, values: dict[str, Any]) -> None:
        self.document = document
        self.path = path
        self.values = values
        self._names: dict[str, None] = {}
        self._accepted: set[str] = set()

    def where(self, key: str) -> str:
        """Name a key of this table and its line."""
        return self.document.where((*self.path, key))

    def refuse(self, key: str, what: str, fix: str) -> None:
        """Note a mistake at a key."""
        self.document.refuse((*self.path, key), what, fix)

    def know(self, key: str) -> None:
        """Accept a key that is read elsewhere."""
        self._names[key] = None

    def given(self, key: str, kind: type[Value], example: str) -> Value | None:
        """Return the value of a key where it is there and of the right kind."""
        self.know(key)
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.refuse(key, f"{_show(value)} is of another kind.", f"Write {key} = {example}.")
            return None
        return value

    def phrase(self, key: str, read: Callable[[str, str], Value], example: str) -> Value | None:
        """Return what a reader makes of a text, given the text and where it stands."""
        text = self.given(key, str, f'"{example}"')
        if text is None:
            return None
        if len(text) > _LONGEST:
            self.refuse(key, f"{_show(text)} is too long.", f'Write {key} = "{example}".')
            return None
        try:
            return read(text, self.where(key))
        except BenchError as error:
            self.document.blame((*self.path, key), error)
            return None

    def words(self, key: str, fix: str = "") -> str:
        """Return a text; an empty one is a mistake where a fix says that it must be there."""
        text = (self.given(key, str, '"…"') or "").strip()
        if fix and not text and isinstance(self.values.get(key, ""), str):
            self.refuse(key, "nothing was given.", fix)
        return text

    def quantity(
        self, key: str, unit: str, low: float, high: float, example: str, *, needed: bool = False
    ) -> float | None:
        """Return an SI value, given as text with its unit or plain with the unit in the key."""

        def read(text: str, where: str) -> float:
            return phrases.read_with_unit(text, unit, where, low, high)

        self.know(key)
        endings = {f"{key}_{ending}": name for ending, name in _IN_KEY.get(unit, {}).items()}
        self._accepted.update(endings)
        there = [name for name in (key, *endings) if name in self.values]
        if len(there) > 1:
            self.refuse(
                there[1], f"{there[0]} says it already.", f"Keep one of {' and '.join(there)}."
            )
            return None
        if not there and needed:
            self.refuse(key, "nothing was given.", f'Write {key} = "{example}".')
        if there and there[0] in endings:
            return self._plain_number(there[0], endings[there[0]], unit, low, high)
        value = self.values.get(key)
        if isinstance(value, int | float) and not isinstance(value, bool):
            self.refuse(key, f"{_show(value)} has no unit.", f'Write {key} = "{example}".')
            return None
        return self.phrase(key, read, example)

    def _plain_number(
        self, key: str, unit: str, wanted: str, low: float, high: float
    ) -> float | None:
        """Return a plain number whose key names its unit."""
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(key, f"{_show(value)} is no plain number.", f"Write {key} = 1.5, say.")
            return None
        edges = (quantity.in_unit(quantity.to_si(edge, wanted), unit) for edge in (low, high))
        try:
            return quantity.read(repr(value), unit, self.where(key), *edges)
        except BenchError as error:
            self.document.blame((*self.path, key), error)
            return None

    def whole(self, key: str, low: int, high: int, example: str) -> int | None:
        """Return a whole number within a range, bounds included."""
        value = self.given(key, int, example)
        if value is not None and not low <= value <= high:
            self.refuse(key, f"{_show(value)} is outside {low}…{high}.", "Check the number.")
            return None
        return value

    def finish(self) -> None:
        """Note every key that nobody asked for."""
        for key in self.values:
            if key not in self._names and key not in self._accepted:
                what = "this key is not known here."
                self.refuse(key, what, phrases.nearest(key, list(self._names)))


def _show(value: object) -> str:
    """Return a value as a person would have written it, cut to a readable length."""
    if isinstance(value, bool):
        return str(value).lower()
    text = f"{value}" if isinstance(value, int | float) else f"“{value}”"
    return text if len(text) <= 60 else f"{text[:58]}…{text[-1]}"


def _syntax_fault(text: str, name: str, message: str) -> BenchError:
    """Say where a text stops being TOML, in plain words."""
    rows = text.split("\n")
    found = re.search(r"\(at (?:line (\d+)|end of document)", message)
    if found is None:
        what = "it holds a number too long or a list too deep to read."
        return BenchError(what, name, "Write every value in quotation marks, as people write it.")
    line = int(found[1]) if found[1] else max(1, len(rows) - rows[::-1].index(_last(rows)))
    row = rows[line - 1].strip()
    complaint = re.sub(r"\s*\(at .*\)", "", message)
    fix = "Close the quotation marks." if row.count('"') % 2 else "Mend this line."
    bare = re.fullmatch(r"([\w.-]+)\s*=\s*([^\"'\[{#]+?)\s*(?:#.*)?", row)
    if bare and len(row) <= _LONGEST:
        fix = f'Put what stands behind the = in quotes: {bare[1]} = "{bare[2]}".'
    return BenchError(f"{_show(row)} cannot be read ({complaint}).", f"{name}, line {line}", fix)


def _last(rows: list[str]) -> str:
    """Return the last row that holds anything."""
    return next((row for row in reversed(rows) if row.strip()), rows[-1])


_CLOSES = re.compile(r"\]|\}|\"\"\"|'''")


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Cut a valid text into its statements, each with the line it begins on."""
    begun, held = 0, ""
    for number, row in enumerate(text.split("\n"), start=1):
        begun, held = (begun, f"{held}\n{row}") if held else (number, row)
        if begun != number and not _CLOSES.search(row):
            continue
        try:
            tomllib.loads(held)
        except tomllib.TOMLDecodeError:
            continue  # a text or list over several lines
        if held.strip() and not held.lstrip().startswith("#"):
            yield begun, held
        held = ""


def _lines(text: str) -> Iterator[tuple[Path, int]]:
    """Find the line of every key and heading of a valid text."""
    here: Path = ()
    counts: dict[Path, int] = {}
    for line, statement in _statements(text):
        parsed = tomllib.loads(statement)
        if not statement.lstrip().startswith("["):
            yield from ((here + path, line) for path in _paths(parsed))
            continue
        here = ()
        steps = [step for step in max(_paths(parsed), key=len) if isinstance(step, str)]
        repeated = statement.lstrip().startswith("[[")
        for place, step in enumerate(steps):
            here = (*here, step)
            if repeated and place == len(steps) - 1:
                counts[here] = counts.get(here, -1) + 1
            if here in counts:
                here = (*here, counts[here])
        yield here, line


def _paths(value: object, above: Path = ()) -> Iterator[Path]:
    """Walk through every key of a parsed value, tables before what they hold."""
    if above:
        yield above
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _paths(item, (*above, key))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from _paths(item, (*above, place))

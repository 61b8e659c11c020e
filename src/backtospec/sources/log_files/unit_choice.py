"""Which unit a column of readings is in: row, title, header, the person's word, or a question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError, Choice, Question
from backtospec.sources.log_files.cells import READ, Cells
from backtospec.sources.log_files.numbers import Number
from backtospec.sources.log_files.reading import Assumption
from backtospec.sources.log_files.shapes import Ints
from backtospec.sources.log_files.spans import Spans
from backtospec.sources.log_files.units import Unit, read_unit

OPTION = "--unit"
_RANGE_STEP = (300.0, 3000.0)
_CLEAR_SPACE = 20.0
_MOST_COUNTS = 10**18


@dataclass(frozen=True, slots=True)
class Stated:
    """A unit and where it was found."""

    unit: Unit
    source: str
    line: int | None


def stated_units(option: str | None) -> tuple[Unit, ...]:
    """Return the unit, or the pair of units, that the person named.

    Raises
    ------
    BenchError
        Not a unit.

    Examples
    --------
    >>> [unit.symbol for unit in stated_units("V/mV")]
    ['V', 'mV']
    """
    if option is None:
        return ()
    units = tuple(read_unit(part) for part in option.split("/"))
    known = tuple(unit for unit in units if unit is not None and unit.scale != "div")
    pair_fits = len(known) == 1 or (len(known) == 2 and known[0].si == known[1].si)
    if len(known) != len(units) or not pair_fits:
        raise BenchError(
            f"{option!r} is not a unit that can be read.",
            OPTION,
            "Give mV, V, mA, A, ohm, °C or °F, or a pair such as V/mV.",
        )
    return known


def choose_units(
    name: str,
    shown: Sequence[str],
    cells: Cells,
    lines: Sequence[int],
    by_row: Spans | None,
    stated: Stated | None,
    option: tuple[Unit, ...],
) -> tuple[Ints, list[Unit], list[Assumption]]:
    """Return the unit of every row as an index, the units, and what was assumed.

    Parameters
    ----------
    shown
        The cells as written, for quoting.
    by_row
        Cells of the column of units, if there is one.
    stated
        Unit from the column title or the header.
    option
        What the person said.

    Raises
    ------
    Question
        No unit is stated, or the numbers jump as those of a meter that changed its range.
    """
    units = list(cells.units)
    index = cells.unit.copy()
    if by_row is not None:
        texts, which = by_row.distinct()
        by_text = [read_unit(text) for text in texts]
        units += [u for u in dict.fromkeys(by_text) if u is not None and u not in units]
        place = np.array([-1 if unit is None else units.index(unit) for unit in by_text])
        index = np.where(index < 0, place[which], index)
    read = cells.state == READ
    bare = read & (index < 0)
    notes: list[Assumption] = []
    named = [int(i) for i in np.unique(index[read & (index >= 0)])]
    if named:
        _refuse_contradiction(name, [units[i] for i in named], option)
        if len(named) > 1 and len({units[i].power for i in named}) > 1:
            change = int(np.flatnonzero(np.diff(index[read & (index >= 0)]))[0])
            row = int(np.flatnonzero(read & (index >= 0))[change + 1])
            symbols = ", ".join(units[i].symbol for i in named)
            notes.append(Assumption(lines[row], f"unit changes between rows: {symbols}"))
    if not bare.any():
        return index, units, notes
    first = int(np.flatnonzero(bare)[0])
    if stated is None and len(named) == 1 and not option:
        notes.append(
            Assumption(lines[first], f"no unit here: {units[named[0]].symbol} as in the other rows")
        )
        index[bare] = named[0]
        return index, units, notes
    if named and stated is None and not option:
        raise _no_unit(name, shown, first, lines)
    split = None if named or cells.scientific else _range_split(cells, bare)
    if split is not None and len(option) != 1:
        low, high, quotes = split
        pair = option if len(option) == 2 else None
        if pair is None:
            raise _range_question(name, lines, first, quotes, stated)
        units += list(pair)
        index[low], index[high] = len(units) - 2, len(units) - 1
        symbols = f"{pair[0].symbol}, {pair[1].symbol}"
        return index, units, [*notes, Assumption(None, f"unit changes between rows: {symbols}")]
    if stated is not None:
        if not named:
            _refuse_contradiction(name, [stated.unit], option)
        units.append(stated.unit)
        if stated.source != "title":
            text = f"unit from {stated.source}: {stated.unit.symbol}"
            notes.append(Assumption(stated.line, text))
    elif len(option) == 1:
        units.append(option[0])
    else:
        raise _no_unit(name, shown, first, lines)
    index[bare] = len(units) - 1
    return index, units, notes


def apply_divisions(
    name: str, cells: Cells, index: Ints, units: list[Unit], volts: Number | None
) -> tuple[Cells, list[Unit]]:
    """Return the cells with screen divisions turned into volts.

    Raises
    ------
    BenchError
        The file does not say what a division is worth.
    """
    divisions = [i for i, unit in enumerate(units) if unit.scale == "div"]
    here = np.isin(index, divisions) & (cells.state == READ)
    if not here.any():
        return cells, units
    if volts is None:
        raise BenchError(
            "The readings are in divisions of the screen, and no volts per division are stated.",
            name,
            "Add a line such as 'Volts/Div,0.5' above the rows.",
        )
    largest = int(np.abs(cells.count[here]).max())
    if volts.count * largest >= _MOST_COUNTS:
        raise BenchError(
            f"{volts.as_float():g} V per division has too many digits.",
            name,
            "Correct the volts per division in the header.",
        )
    count = np.where(here, cells.count * volts.count, cells.count)
    exponent = np.where(here, cells.exponent + volts.exponent, cells.exponent)
    in_volts = [Unit("V", "V", 0) if unit.scale == "div" else unit for unit in units]
    return replace(cells, count=count, exponent=exponent, grain=volts.count), in_volts


def _same(a: Unit, b: Unit) -> bool:
    return (a.si, a.power, a.scale) == (b.si, b.power, b.scale)


def _refuse_contradiction(name: str, named: Sequence[Unit], option: tuple[Unit, ...]) -> None:
    if not option or any(unit.scale == "div" for unit in named):
        return
    # a log may hold a temperature beside the readings the option speaks of
    if any(unit.si != option[0].si for unit in named):
        return
    if any(_same(unit, said) for unit in named for said in option) or len(named) > 1:
        return
    raise BenchError(
        f"The file states {named[0].symbol}, not {option[0].symbol}.",
        f"{OPTION}, {name}",
        f"Leave out {OPTION}.",
    )


def _range_split(
    cells: Cells, rows: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], tuple[str, str]] | None:
    """Rows of the low and the high cluster, if the numbers jump by about a thousand and back.

    A meter that changed its range also changes the number of decimals it shows.
    """
    size = np.abs(cells.count * 10.0**cells.exponent)
    sizes = np.sort(size[rows & (size > 0)])
    if len(sizes) < 2:
        return None
    ratios = sizes[1:] / sizes[:-1]
    at = int(np.argmax(ratios))
    if ratios[at] < _CLEAR_SPACE:
        return None
    low_sizes, high_sizes = sizes[: at + 1], sizes[at + 1 :]
    step = float(np.median(high_sizes) / np.median(low_sizes))
    touching = high_sizes[0] <= 1500 * low_sizes[-1] and high_sizes[-1] >= 1000 / 1.5 * low_sizes[0]
    if not (_RANGE_STEP[0] <= step <= _RANGE_STEP[1] and touching):
        return None
    low = rows & (size <= low_sizes[-1])
    high = rows & (size >= high_sizes[0])
    nonzero_low = low & (size > 0)
    if int(cells.exponent[nonzero_low].max()) >= int(cells.exponent[high].min()):
        return None
    return low, high, _quotes(cells, nonzero_low, high)


def _quotes(cells: Cells, low: NDArray[np.bool_], high: NDArray[np.bool_]) -> tuple[str, str]:
    """The first pair of neighbours on both sides of a jump, as numbers."""
    rows = np.flatnonzero(low | high)
    sides = high[rows]
    change = int(np.flatnonzero(np.diff(sides.astype(np.int64)))[0])
    first, second = int(rows[change]), int(rows[change + 1])
    return _shown(cells, first), _shown(cells, second)


def _shown(cells: Cells, row: int) -> str:
    count, exponent = int(cells.count[row]), int(cells.exponent[row])
    return f"{count / 10**-exponent:.{-exponent}f}" if exponent < 0 else str(count * 10**exponent)


def _range_question(
    name: str, lines: Sequence[int], row: int, quotes: tuple[str, str], stated: Stated | None
) -> Question:
    small, large = sorted(quotes, key=lambda text: abs(float(text)))
    base = stated.unit.si if stated is not None and stated.unit.si in ("V", "A", "W") else "V"
    singles = [stated.unit.symbol] if stated is not None else [base, f"m{base}"]
    choices = [
        Choice(
            f"{base}/m{base}",
            f"{base} then m{base}, auto-ranged: {small} {base} beside {large} m{base}",
        )
    ]
    choices += [
        Choice(symbol, f"one unit and real jumps: {small} {symbol} beside {large} {symbol}")
        for symbol in singles
    ]
    told = f"all in {stated.unit.symbol}" if stated is not None else "no unit is logged"
    return Question(
        f"The readings jump between {small} and {large}, and {told}: the meter may have changed "
        "its range.",
        f"{name}, line {lines[row]}",
        f"Say which with {OPTION} {choices[0].value} or {OPTION} {choices[1].value}.",
        about="unit",
        quotes=quotes,
        choices=tuple(choices),
        option=OPTION,
    )


def _no_unit(name: str, shown: Sequence[str], row: int, lines: Sequence[int]) -> Question:
    quote = shown[row]
    return ask_unit(f"{name}, line {lines[row]}", quote)


def ask_unit(where: str, quote: str) -> Question:
    """Return the question which unit a reading is in."""
    return Question(
        f"The reading {quote!r} has no unit, and the file names none.",
        where,
        f"Say which with {OPTION} mV or {OPTION} V.",
        about="unit",
        quotes=(quote,),
        choices=tuple(
            Choice(symbol, f"{quote} {symbol}") for symbol in ("mV", "V", "mA", "A", "°C")
        ),
        option=OPTION,
    )

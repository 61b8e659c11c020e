"""From cells to series: units, overload, smallest step, gaps, repeated stamps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError
from backtospec.sources.log_files.cells import OVERLOAD, READ, REASON, Cells
from backtospec.sources.log_files.numbers import Number
from backtospec.sources.log_files.reading import Duplicate, Gap, Series
from backtospec.sources.log_files.shapes import Ints
from backtospec.sources.log_files.timeline import Timeline
from backtospec.sources.log_files.units import Unit

_EXACT_COUNT = 2**53
# volts or amperes that no bench has (common practice, no source)
_ABSURD = 1e5
_EXACT_POWER = 22
# more than the powers of ten a number can have
_EXPONENTS = 1 << 16
# so many different readings do not share a factor by chance (1 in 2 ** 20)
_ENOUGH_COUNTS = 20
_REGULAR_SHARE = 0.8
_FEWEST_INTERVALS = 7


@dataclass(frozen=True, slots=True)
class Readings:
    """Rows of one channel: SI values, states, and the powers and counts behind them."""

    channel: str | None
    unit: str
    rows: Ints
    value: NDArray[np.float64]
    state: Ints
    quantum: float | None


def si_values(cells: Cells, rows: Ints, units: Ints, known: Sequence[Unit]) -> NDArray[np.float64]:
    """Return the readings of the rows in SI units, each the double nearest to count × step."""
    value = np.full(len(rows), np.nan)
    count, exponent, state = cells.count[rows], cells.exponent[rows], cells.state[rows]
    for unit_index, power in _pairs(units, exponent, state):
        unit = known[unit_index]
        here = (units == unit_index) & (exponent == power) & (state == READ)
        total = power + unit.power
        plain = not unit.scale and int(np.abs(count[here]).max()) < _EXACT_COUNT
        if plain and -_EXACT_POWER <= total < 0:
            value[here] = count[here] / 10.0**-total
        elif plain and total == 0:
            value[here] = count[here]
        else:
            distinct, inverse = np.unique(count[here], return_inverse=True)
            exact = [unit.to_si(Number(int(c), power)).as_float() for c in distinct]
            value[here] = np.array(exact)[inverse]
    return value


def smallest_step(cells: Cells, rows: Ints, units: Ints, known: Sequence[Unit]) -> float | None:
    """Return the smallest step of the readings, SI.

    The last digit shown, unless the readings leave out most of its values: an instrument that
    counts in steps of 4 shows them in a long enough log. Trailing zeros of a number written
    with an exponent are padding.
    """
    count, exponent, state = cells.count[rows], cells.exponent[rows], cells.state[rows]
    steps: list[tuple[int, Number, Unit]] = []
    total = 0
    for unit_index, power in _pairs(units, exponent, state):
        here = (units == unit_index) & (exponent == power) & (state == READ)
        distinct = np.unique(np.abs(count[here]))
        factor = int(np.gcd.reduce(distinct))
        if cells.scientific and factor and len(distinct) < _ENOUGH_COUNTS:
            factor = 10 ** (len(str(factor)) - len(str(factor).rstrip("0")))
        steps.append((factor, Number(cells.grain, power), known[unit_index]))
        total += len(distinct)
    if not steps:
        return None
    if total < _ENOUGH_COUNTS and not cells.scientific:
        return min(unit.step_to_si(step).as_float() for _, step, unit in steps)
    if any(unit.scale in ("F", "K") for _, _, unit in steps):
        return min(unit.step_to_si(step).as_float() for _, step, unit in steps)
    exact = [unit.step_to_si(Number(factor or 1, step.exponent)) for factor, step, unit in steps]
    lowest = min(number.exponent for number in exact)
    counts = [number.count * 10 ** (number.exponent - lowest) for number in exact]
    return Number(math.gcd(*counts), lowest).as_float()


def refuse_absurd(where: str, unit: str, value: NDArray[np.float64]) -> None:
    """Refuse voltages and currents that only a wrong prefix explains, such as MV for mV."""
    if unit not in ("V", "A") or not np.isfinite(value).any():
        return
    largest = float(np.nanmax(np.abs(value)))
    if largest > _ABSURD:
        raise BenchError(
            f"A reading comes to {largest:g} {unit}; up to {_ABSURD:g} {unit} can be meant.",
            where,
            f"Correct the unit: m{unit} stands for a thousandth, M{unit} for a million.",
        )


def mark_sentinels(cells: Cells, rows: Ints) -> int:
    """Turn readings of all nines that stand far from every other one into overload.

    Returns how many there were. ``9999`` beside ``9998`` is a reading; beside 12.3 it is not.
    """
    count, state = cells.count[rows], cells.state[rows]
    size = np.abs(count)
    nines = np.zeros(len(rows), bool)
    for digits in range(3, 9):
        nines |= size == 10**digits - 1
    nines &= state == READ
    if not nines.any() or nines.all():
        return 0
    with np.errstate(over="ignore"):
        magnitude = size * 10.0 ** cells.exponent[rows]
    others = magnitude[(state == READ) & ~nines]
    if not len(others):
        return 0
    sentinel = nines & (magnitude > 10 * max(float(others.max()), 1e-300))
    cells.state[rows[sentinel]] = OVERLOAD
    return int(sentinel.sum())


def build_series(readings: Readings, timeline: Timeline, since_on_s: float | None) -> Series:
    """Return the finished series.

    Parameters
    ----------
    since_on_s
        Seconds since switch-on at the first row of the file, where stated.
    """
    rows = readings.rows
    elapsed = timeline.elapsed_s(rows)
    first = int(rows[0])
    start = timeline.start_s(first)
    if since_on_s is not None:
        origin = timeline.ticks[np.flatnonzero(timeline.ok)[0]]
        start = since_on_s + float(timeline.ticks[first] - origin) / timeline.per_second
    missing = np.flatnonzero(readings.state != READ)
    values: list[float | None] = readings.value.tolist()
    for row in missing.tolist():
        values[row] = None
    return Series(
        channel=readings.channel,
        unit=readings.unit,
        first_time=timeline.first_time(first),
        elapsed_s=tuple(elapsed.tolist()),
        value=tuple(values),
        status={row: REASON[int(readings.state[row])] for row in missing.tolist()},
        quantum=readings.quantum,
        t0_s=start if start else None,
        clock_first=timeline.clock_first(first),
    )


def find_gaps(series: Sequence[Series]) -> tuple[Gap, ...]:
    """Return the stretches a regular series leaves out; an irregular series has none."""
    found: dict[tuple[float, float], list[str | None]] = {}
    for each in series:
        steps = np.diff(np.array(each.elapsed_s))
        moving = steps[steps > 0]
        if len(moving) < _FEWEST_INTERVALS:
            continue
        usual = float(np.median(moving))
        # stamps in whole seconds make a 1.5 s interval look like 1 and 2
        grain = _grain(moving)
        near = np.abs(moving - usual) <= max(0.1 * usual, grain)
        if near.mean() < _REGULAR_SHARE:
            continue
        for index in np.flatnonzero(steps > max(1.5 * usual, usual + 1.5 * grain)).tolist():
            key = (each.elapsed_s[index], each.elapsed_s[index + 1])
            found.setdefault(key, []).append(each.channel)
    return tuple(Gap(start, end, tuple(who)) for (start, end), who in sorted(found.items()))


def find_duplicates(series: Sequence[Series]) -> tuple[Duplicate, ...]:
    """Return the stamps that repeat the row before; a clock coarser than the log has none."""
    found: dict[float, list[str | None]] = {}
    for each in series:
        elapsed = np.array(each.elapsed_s)
        repeated = np.flatnonzero(np.diff(elapsed) == 0) + 1
        if len(elapsed) > _ENOUGH_COUNTS and len(repeated) > 0.3 * len(elapsed):
            continue
        for index in repeated.tolist():
            found.setdefault(each.elapsed_s[index], []).append(each.channel)
    return tuple(Duplicate(at, tuple(dict.fromkeys(who))) for at, who in sorted(found.items()))


def _grain(steps: NDArray[np.float64]) -> float:
    """Smallest unit of the stamps: a whole second where all steps are whole, otherwise none."""
    whole = bool(np.all(np.abs(steps - np.round(steps)) < 1e-6))
    return 1.0 if whole and len(np.unique(np.round(steps))) > 1 and np.median(steps) < 5 else 0.0


def _pairs(units: Ints, exponent: Ints, state: Ints) -> list[tuple[int, int]]:
    here = state == READ
    if not here.any():
        return []
    keys = np.unique(units[here] * _EXPONENTS + exponent[here] + _EXPONENTS // 2)
    pairs = [divmod(int(key), _EXPONENTS) for key in keys]
    return [(unit, power - _EXPONENTS // 2) for unit, power in pairs]

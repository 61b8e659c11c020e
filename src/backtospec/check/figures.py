"""What there is to see, as data: a closed set of kinds that page, report and terminal each draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from backtospec.records import Channel


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: its words, the unit printed with it, and whether it is logarithmic."""

    title: str
    unit: str
    logarithmic: bool = False


@dataclass(frozen=True, slots=True)
class Trace:
    """One line or set of points.

    Parameters
    ----------
    x, y
        Equally long, in the units of the axes.
    channel
        Decides colour, dash and marker, alike everywhere.
    points
        True for measured points, False for a drawn line.
    at_most
        Indices of points that are only upper bounds.
    """

    title: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    channel: Channel | None = None
    points: bool = False
    at_most: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """An area between two lines, such as an interval around a prediction."""

    title: str
    x: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    channel: Channel | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A straight line across the figure: a limit, a floor, or a moment.

    ``across`` is ``"x"`` for an upright line at that x, ``"y"`` for a level one at that y.
    """

    title: str
    across: str
    at: float
    role: str = "limit"


@dataclass(frozen=True, slots=True)
class SeriesFigure:
    """A quantity over time with fit, band and limits."""

    key: str
    title: str
    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class CurveFigure:
    """A quantity against power or frequency with limits and floor."""

    key: str
    title: str
    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class CycleFigure:
    """One cycle of a wave, or of what is left of it, against phase in degrees."""

    key: str
    title: str
    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar with the range it should lie in, where one is known."""

    title: str
    value: float
    low: float | None = None
    high: float | None = None
    channel: Channel | None = None


@dataclass(frozen=True, slots=True)
class BarsFigure:
    """A few values side by side."""

    key: str
    title: str
    y: Axis
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class TableFigure:
    """Rows of text."""

    key: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


Figure: TypeAlias = SeriesFigure | CurveFigure | CycleFigure | BarsFigure | TableFigure

"""Figures as SVG of our own: drawn twice, for a wide page and for a phone, in the page's ink."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import assert_never

from backtospec.check import (
    Band,
    BarsFigure,
    CurveFigure,
    CycleFigure,
    Figure,
    Mark,
    SeriesFigure,
    TableFigure,
    Trace,
)
from backtospec.records import Channel
from backtospec.web.drawing_bars import draw_bars
from backtospec.web.drawing_scale import Scale, scale_of

WIDE, NARROW = (720, 300), (360, 250)
"""Width and height in pixels."""

MOST_POINTS = 400
"""A line is thinned to so many points: more than a screen can show."""

MOST_ROWS = 60
_MOST_SIGNS = 40
_LOOKS = {Channel.LEFT: "left", Channel.RIGHT: "right", Channel.MONO: "mono", None: "other"}


@dataclass(frozen=True, slots=True)
class Table:
    """The numbers behind a figure."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class Drawing:
    """A figure as the page shows it.

    Parameters
    ----------
    wide, narrow
        SVG, empty where the figure is nothing but a table.
    legend
        Class and words of each trace.
    tables
        The numbers behind it.
    """

    title: str
    wide: str
    narrow: str
    legend: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]


def draw(figure: Figure) -> Drawing:
    """Return any figure as the page shows it."""
    match figure:
        case SeriesFigure() | CurveFigure():
            return _lines(figure, figure.bands)
        case CycleFigure():
            return _lines(figure, ())
        case BarsFigure():
            rows = tuple(
                (
                    b.title,
                    plain(b.value),
                    "" if b.low is None else plain(b.low),
                    "" if b.high is None else plain(b.high),
                )
                for b in figure.bars
            )
            columns = ("what", _axis_words(figure.y.title, figure.y.unit), "from", "to")
            wide, narrow = draw_bars(figure, WIDE[0]), draw_bars(figure, NARROW[0])
            return Drawing(figure.title, wide, narrow, (), (Table(figure.title, columns, rows),))
        case TableFigure():
            table = Table(figure.title, figure.columns, figure.rows)
            return Drawing(figure.title, "", "", (), (table,))
        case _:
            assert_never(figure)


def plain(value: float) -> str:
    """Return a number for a table or a scale.

    Examples
    --------
    >>> plain(0.0123456), plain(-5.0), plain(20000.0), plain(-0.0)
    ('0.01235', '−5', '20000', '0')
    """
    text = f"{value:.4g}"
    if "e" in text:
        text = f"{value:.4e}" if abs(value) < 1e-4 or abs(value) >= 1e7 else f"{value:.0f}"
    return "0" if text in ("-0", "0") else text.replace("-", "−")


def _axis_words(title: str, unit: str) -> str:
    return f"{title} / {unit}" if unit else title


_Lines = SeriesFigure | CurveFigure | CycleFigure


def _lines(figure: _Lines, bands: tuple[Band, ...]) -> Drawing:
    legend = tuple(
        dict.fromkeys(
            (f"{_LOOKS[t.channel]} {'points' if t.points else 'line'}", t.title)
            for t in figure.traces
        )
    )
    return Drawing(
        figure.title,
        _canvas(figure, bands, WIDE),
        _canvas(figure, bands, NARROW),
        legend,
        tuple(_table(trace, figure) for trace in figure.traces if trace.points or len(trace.x) < 3)
        or tuple(_table(trace, figure) for trace in figure.traces),
    )


def _table(trace: Trace, figure: _Lines) -> Table:
    step = -(-len(trace.x) // MOST_ROWS) or 1
    rows = tuple(
        (plain(trace.x[i]), ("≤ " if i in trace.at_most else "") + plain(trace.y[i]))
        for i in range(0, len(trace.x), step)
    )
    columns = (
        _axis_words(figure.x.title, figure.x.unit),
        _axis_words(figure.y.title, figure.y.unit),
    )
    return Table(trace.title, columns, rows, len(trace.x) - len(rows))


def _canvas(figure: _Lines, bands: tuple[Band, ...], size: tuple[int, int]) -> str:
    width, height = size
    x_marks = [m.at for m in figure.marks if m.across == "x"]
    y_marks = [m.at for m in figure.marks if m.across == "y"]
    xs = [v for t in figure.traces for v in t.x] + [v for b in bands for v in b.x] + x_marks
    ys = [v for t in figure.traces for v in t.y] + y_marks
    ys += [v for b in bands for v in (*b.low, *b.high)]
    x = scale_of(xs, figure.x.logarithmic, 52.0, width - 14.0, upright=False)
    y = scale_of(ys, figure.y.logarithmic, height - 40.0, 26.0, upright=True)
    parts = [_grid(figure, x, y, size)]
    parts += [_band(band, x, y) for band in bands]
    parts += [_mark(mark, x, y) for mark in figure.marks]
    parts += [_trace(trace, x, y) for trace in figure.traces]
    if not any(t.x for t in figure.traces):
        parts.append(f'<text x="{width / 2}" y="{height / 2}" class="mid">no reading yet</text>')
    name = escape(_spoken(figure), quote=True)
    return (
        f'<svg viewBox="0 0 {width} {height}" role="img" aria-label="{name}">'
        + "".join(parts)
        + "</svg>"
    )


def _spoken(figure: _Lines) -> str:
    """Return what the figure shows, for those who cannot see it."""
    parts = [
        f"{t.title}: {len(t.x)} points, the last {plain(t.y[-1])} {figure.y.unit} "
        f"at {plain(t.x[-1])} {figure.x.unit}"
        for t in figure.traces
        if t.x and t.points
    ]
    parts += [f"{m.title} {plain(m.at)}" for m in figure.marks]
    return f"{figure.title}. {'. '.join(parts)}. The numbers are in the table below."


def _grid(figure: _Lines, x: Scale, y: Scale, size: tuple[int, int]) -> str:
    left, right, bottom, top = x.start, x.end, y.start, y.end
    lines = "".join(f"M{left:.0f} {y.at(v):.1f}H{right:.0f}" for v in y.ticks)
    ticks = "".join(f"M{x.at(v):.1f} {bottom:.0f}v5" for v in x.ticks)
    words = "".join(
        f'<text x="{left - 6:.0f}" y="{y.at(v) + 4:.1f}" class="end">{plain(v)}</text>'
        for v in y.ticks
    )
    words += "".join(
        f'<text x="{x.at(v):.1f}" y="{bottom + 18:.0f}" class="mid">{plain(v)}</text>'
        for v in x.ticks
    )
    y_name = escape(_axis_words(figure.y.title, figure.y.unit))
    x_name = escape(_axis_words(figure.x.title, figure.x.unit))
    return (
        f'<path class="grid" d="{lines}"/><path class="axis" d="M{left:.0f} {top:.0f}'
        f'V{bottom:.0f}H{right:.0f}{ticks}"/>{words}'
        f'<text x="4" y="14" class="name">{y_name}</text>'
        f'<text x="{right:.0f}" y="{size[1] - 5}" class="end name">{x_name}</text>'
    )


def _band(band: Band, x: Scale, y: Scale) -> str:
    rows = [
        (x.at(a), y.at(low), y.at(high))
        for a, low, high in _thinned(list(zip(band.x, band.low, band.high, strict=True)))
        if x.holds(a) and y.holds(low) and y.holds(high)
    ]
    if len(rows) < 2:
        return ""
    there = " ".join(f"{a:.1f},{h:.1f}" for a, _, h in rows)
    back = " ".join(f"{a:.1f},{low:.1f}" for a, low, _ in reversed(rows))
    return f'<polygon class="band {_LOOKS[band.channel]}" points="{there} {back}"/>'


def _mark(mark: Mark, x: Scale, y: Scale) -> str:
    along = x if mark.across == "x" else y
    if not along.holds(mark.at):
        return ""
    at = along.at(mark.at)
    role = mark.role if mark.role in ("limit", "floor") else "moment"
    name = escape(mark.title)
    if mark.across == "x":
        late = at > (x.start + x.end) / 2
        return (
            f'<path class="mark {role}" d="M{at:.1f} {y.end:.0f}V{y.start:.0f}"/>'
            f'<text class="{role}{" end" if late else ""}" x="{at + (-4 if late else 4):.1f}" '
            f'y="{y.end + 10:.0f}">{name}</text>'
        )
    return (
        f'<path class="mark {role}" d="M{x.start:.0f} {at:.1f}H{x.end:.0f}"/>'
        f'<text class="{role} end" x="{x.end:.0f}" y="{at - 4:.1f}">{name} {plain(mark.at)}</text>'
    )


def _thinned(rows: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
    """Return at most twice MOST_POINTS rows; of each stretch its lowest and highest are kept."""
    if len(rows) <= MOST_POINTS:
        return rows
    kept: list[tuple[float, ...]] = []
    size = len(rows) / (MOST_POINTS / 2)
    for n in range(MOST_POINTS // 2):
        part = rows[round(n * size) : round((n + 1) * size)]
        low, high = min(part, key=lambda r: r[1]), max(part, key=lambda r: r[1])
        kept += sorted({low, high})
    return kept


def _trace(trace: Trace, x: Scale, y: Scale) -> str:
    look = _LOOKS[trace.channel]
    bounds = {(trace.x[i], trace.y[i]) for i in trace.at_most if i < len(trace.x)}
    rows = [(a, b) for a, b in zip(trace.x, trace.y, strict=True) if x.holds(a) and y.holds(b)]
    points = [(r[0], r[1]) for r in _thinned([(a, b) for a, b in rows])]
    drawn = ""
    if len(points) > 1:
        line = " ".join(f"{x.at(a):.1f},{y.at(b):.1f}" for a, b in points)
        thin = " thin" if trace.points else ""
        drawn = f'<polyline class="line {look}{thin}" points="{line}"/>'
    if trace.points or len(points) == 1:
        step = -(-len(points) // _MOST_SIGNS) or 1
        for a, b in points[::step]:
            drawn += _sign(look, x.at(a), y.at(b), (a, b) in bounds)
    return drawn


def _sign(look: str, x: float, y: float, at_most: bool) -> str:
    """Return the sign of a channel: round, triangle, square, or diamond; a bound points down."""
    if at_most:
        return f'<path class="sign bound {look}" d="M{x - 4.5:.1f} {y - 4:.1f}h9l-4.5 8z"/>'
    match look:
        case "left":
            return f'<circle class="sign left" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        case "right":
            return f'<path class="sign right" d="M{x:.1f} {y - 5:.1f}l5 9h-10z"/>'
        case "mono":
            return f'<path class="sign mono" d="M{x - 4:.1f} {y - 4:.1f}h8v8h-8z"/>'
        case _:
            return f'<path class="sign other" d="M{x:.1f} {y - 5:.1f}l5 5-5 5-5-5z"/>'


def sign_svg(look: str) -> str:
    """Return the sign of a channel for a legend or a label."""
    drawn = _sign(look, 7, 7.5, at_most=False)
    return f'<svg class="key" viewBox="0 0 14 14" aria-hidden="true">{drawn}</svg>'


def drawings(figures: Sequence[Figure]) -> tuple[Drawing, ...]:
    """Return every figure as the page shows it."""
    return tuple(draw(figure) for figure in figures)

"""Every kind of figure, drawn: quiet, warm, and readable without colour."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, assert_never

from backtospec.check import (
    Axis,
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
from backtospec.report.plot_bars import draw_bars, draw_table
from backtospec.report.plot_style import (
    HALF_IN,
    LINE,
    LOOKS,
    MOMENT,
    ROLES,
    SHEET,
    SOFT,
    STYLE,
    WIDE_IN,
    blank,
    plain_number,
    short,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

_LABEL_GAP_PT = 9.5
_MANY_POINTS = 60
_SIGNS: dict[Channel | None, str] = {
    Channel.LEFT: "● ",
    Channel.RIGHT: "▲ ",
    Channel.MONO: "■ ",
    None: "◆ ",
}


def draw(figure: Figure, narrow: bool = False) -> bytes:
    """Return a figure as SVG; the same figure always gives the same bytes.

    Parameters
    ----------
    figure
        Of any kind. Points that a logarithmic axis cannot hold are left out and counted in a note;
        a figure without any point says so.
    narrow
        For half the width of the text, so that two stand side by side; bars always are.
    """
    import matplotlib

    with matplotlib.rc_context({"backend": "svg", **STYLE}):
        match figure:
            case SeriesFigure() | CurveFigure():
                canvas = _lines(figure, figure.bands, narrow)
            case CycleFigure():
                canvas = _lines(figure, (), narrow)
            case BarsFigure():
                canvas = draw_bars(figure)
            case TableFigure():
                canvas = draw_table(figure)
            case _:
                assert_never(figure)
        written = io.BytesIO()
        canvas.savefig(written, format="svg", transparent=True, metadata={"Date": None})
    return written.getvalue()


def _lines(
    figure: SeriesFigure | CurveFigure | CycleFigure, bands: tuple[Band, ...], narrow: bool
) -> Canvas:
    if narrow:
        canvas = blank(HALF_IN, 2.05)
        axes = canvas.add_axes((0.125, 0.195, 0.865, 0.625))
    else:
        canvas = blank(WIDE_IN, 2.5)
        axes = canvas.add_axes((0.06, 0.155, 0.76, 0.765))
    x, y, marks = figure.x, figure.y, figure.marks
    traces = [_drawable(trace, x, y) for trace in figure.traces]
    xs = [v for t in traces for v in t.x] + _at(marks, "x", x)
    ys = [v for t in traces for v in t.y] + _at(marks, "y", y)
    _set_scale(axes, "x", x, xs + [v for b in bands for v in b.x], 2.2 if narrow else 3.3)
    _set_scale(axes, "y", y, ys + [v for b in bands for v in (*b.low, *b.high)], 2.2)
    axes.grid(axis="y", color=LINE, linewidth=0.5, zorder=0)
    for band in bands:
        axes.fill_between(
            band.x,
            band.low,
            band.high,
            color=LOOKS[band.channel]["color"],
            alpha=0.12,
            linewidth=0,
            zorder=1.5,
        )
    read = {t.channel for t in traces if t.points}
    shown = [trace for trace in traces if trace.x]
    for trace in shown:
        _draw_trace(axes, trace, drawn_only=not trace.points and trace.channel in read)
    for mark in marks:
        _draw_mark(axes, mark, x if mark.across == "x" else y, shown)
    names = [(t, _name(t, not t.points and t.channel in read, 22 if narrow else 18)) for t in shown]
    if narrow:
        _label_above(canvas, names)
    else:
        _label_ends(canvas, axes, names)
    _note(canvas, axes, figure.traces, traces)
    return canvas


def _drawable(trace: Trace, x: Axis, y: Axis) -> Trace:
    """Return a trace without what the axes cannot hold."""
    kept = [
        i
        for i, (a, b) in enumerate(zip(trace.x, trace.y, strict=True))
        if math.isfinite(a)
        and math.isfinite(b)
        and (a > 0 or not x.logarithmic)
        and (b > 0 or not y.logarithmic)
    ]
    return Trace(
        trace.title,
        tuple(trace.x[i] for i in kept),
        tuple(trace.y[i] for i in kept),
        trace.channel,
        trace.points,
        tuple(new for new, old in enumerate(kept) if old in trace.at_most),
    )


def _at(marks: tuple[Mark, ...], across: str, axis: Axis) -> list[float]:
    return [m.at for m in marks if m.across == across and (m.at > 0 or not axis.logarithmic)]


def _set_scale(
    axes: Axes, which: str, axis: Axis, values: list[float], fine_decades: float
) -> None:
    """Set label, scale, range and ticks; a single value gets room on both sides."""
    from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

    if axis.logarithmic:
        values = [v for v in values if v > 0]
    low, high = (min(values), max(values)) if values else (1.0, 10.0)
    side = axes.xaxis if which == "x" else axes.yaxis
    set_range: Callable[..., Any] = axes.set_xlim if which == "x" else axes.set_ylim
    if axis.logarithmic:
        (axes.set_xscale if which == "x" else axes.set_yscale)("log")
        room = 2.0 if low == high else 1.12 if which == "x" else 1.45
        set_range(low / room, high * room)
        fine = math.log10(high / low) < fine_decades
        side.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if fine else (1.0,), numticks=30))
        side.set_minor_formatter(NullFormatter())
    else:
        span = high - low or abs(high) or 1.0
        room = span * (0.03 if which == "x" else 0.12)
        start = 0.0 if which == "x" and 0 <= low <= 0.3 * high else low - room
        set_range(start, high + room)
        side.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    side.set_major_formatter(FuncFormatter(lambda v, _: plain_number(v)))
    name = short(f"{axis.title} / {axis.unit}" if axis.unit else axis.title, 40)
    if which == "x":
        axes.set_xlabel(name)
    else:  # level, above the axis: nobody tilts their head at the bench
        axes.annotate(
            name, (0, 1), xycoords="axes fraction", xytext=(-22, 6), textcoords="offset points"
        )
    axes.tick_params(which="both", length=2.5, width=0.6)
    axes.tick_params(which="minor", length=1.5)


def _name(trace: Trace, drawn_only: bool, most: int) -> str:
    return ("— " if drawn_only else _SIGNS[trace.channel]) + short(trace.title, most)


def _draw_trace(axes: Axes, trace: Trace, drawn_only: bool) -> None:
    """Draw a line, or points joined by a thin one; only bounds are open and point down.

    A line that no points of its channel accompany carries a few signs, so that its shape tells the
    channel; ``drawn_only`` is a line beside points, on which signs would pass for readings.
    """
    count, look = len(trace.x), LOOKS[trace.channel]
    many = count > _MANY_POINTS
    as_points = trace.points or count == 1
    if count > 1 and not (as_points and many):
        axes.plot(
            trace.x,
            trace.y,
            linewidth=0.7 if as_points else 1.4,
            alpha=0.75 if as_points else 1.0,
            color=look["color"],
            linestyle=look["linestyle"],
            zorder=look["zorder"],
        )
    signs = range(0 if as_points else count // 10, count, 1 if as_points else max(1, count // 5))
    exact = [i for i in signs if not drawn_only and i not in trace.at_most]
    if as_points and many:  # a log: small dots, with the channel's sign on a few of them
        axes.plot(trace.x, trace.y, ".", markersize=1.6, color=look["color"], zorder=look["zorder"])
        exact = [i for i in range(count // 12, count, count // 6) if i not in trace.at_most]
    for chosen, marker, face in (
        (exact, look["marker"], look["color"]),
        (trace.at_most, "v", SHEET),
    ):
        axes.plot(
            [trace.x[i] for i in chosen],
            [trace.y[i] for i in chosen],
            linestyle="none",
            marker=marker,
            markersize=4.2,
            markerfacecolor=face,
            markeredgecolor=look["color"],
            markeredgewidth=0.9,
            zorder=look["zorder"] + 0.5,
        )


def _draw_mark(axes: Axes, mark: Mark, axis: Axis, traces: list[Trace]) -> None:
    if axis.logarithmic and mark.at <= 0:
        return
    look = ROLES.get(mark.role, MOMENT)
    upright = mark.across == "x"
    (axes.axvline if upright else axes.axhline)(mark.at, zorder=2, **look)
    if upright:
        to_fraction = axes.transData + axes.transAxes.inverted()
        at_right = bool(to_fraction.transform((mark.at, axes.get_ylim()[0]))[0] > 0.7)
    else:
        at_right = _crowded(axes, mark.at, traces, 0.0) > _crowded(axes, mark.at, traces, 0.7)
    axes.annotate(
        short(mark.title, 40),
        (mark.at, 0.99) if upright else (0.995 if at_right else 0.005, mark.at),
        xycoords=axes.get_xaxis_transform() if upright else axes.get_yaxis_transform(),
        xytext=(-3 if at_right else 3, 0) if upright else (-2 if at_right else 2, 2),
        textcoords="offset points",
        va="top" if upright else "bottom",
        ha="right" if at_right else "left",
        color=look["color"],
        fontsize=7,
        zorder=4,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": SHEET, "edgecolor": "none", "alpha": 0.8},
    )


def _crowded(axes: Axes, at: float, traces: list[Trace], start: float) -> int:
    """Return how many points lie where a level line's name would stand, from ``start`` on."""
    to_fraction = axes.transData + axes.transAxes.inverted()
    height = to_fraction.transform((axes.get_xlim()[0], at))[1]
    count = 0
    for trace in traces:
        for x, y in to_fraction.transform(list(zip(trace.x, trace.y, strict=True))):
            count += start <= x <= start + 0.3 and height - 0.03 <= y <= height + 0.13
    return count


def _label_ends(canvas: Canvas, axes: Axes, names: list[tuple[Trace, str]]) -> None:
    """Write each trace's name beside its end, pushed apart so that none covers another."""
    height_pt = axes.get_position().height * canvas.get_figheight() * 72
    bottom, top = axes.transAxes.transform([(0, 0), (0, 1)])[:, 1]
    right = axes.get_xlim()[1]
    heights = [
        float((axes.transData.transform((right, t.y[-1]))[1] - bottom) / (top - bottom))
        for t, _ in names
    ]
    lowest = -math.inf
    spots: list[tuple[float, Trace, str]] = []
    for i in sorted(range(len(names)), key=heights.__getitem__):
        lowest = max(heights[i] * height_pt, lowest + _LABEL_GAP_PT)
        spots.append((lowest, *names[i]))
    excess = max(0.0, lowest - height_pt)
    for spot, trace, name in spots:
        axes.annotate(
            name,
            (1.0, (spot - excess) / height_pt),
            xycoords="axes fraction",
            xytext=(5, 0),
            textcoords="offset points",
            color=LOOKS[trace.channel]["color"],
            va="center",
            annotation_clip=False,
        )


def _label_above(canvas: Canvas, names: list[tuple[Trace, str]]) -> None:
    """Write the names in a row above the axes, as many as fit."""
    at = 0.0
    for trace, name in sorted(names, key=lambda n: n[0].channel is None or n[1][0] == "—"):
        width = (len(name) + 2) * 0.062 / HALF_IN
        if at and at + width > 1.05:
            canvas.text(at, 0.94, "…")
            return
        canvas.text(at, 0.94, name, color=LOOKS[trace.channel]["color"])
        at += width


def _note(canvas: Canvas, axes: Axes, given: tuple[Trace, ...], drawn: list[Trace]) -> None:
    """Say what the signs mean and what could not be drawn."""
    lost = sum(len(t.x) for t in given) - sum(len(t.x) for t in drawn)
    notes = ["▽ at most"] if any(t.at_most for t in drawn) else []
    notes += [f"{lost} at or below zero not drawn"] if lost else []
    canvas.text(0.995, 0.02, " · ".join(notes), fontsize=7, ha="right")
    if not any(t.x for t in drawn):
        axes.text(0.5, 0.5, "no reading to draw", transform=axes.transAxes, ha="center", color=SOFT)

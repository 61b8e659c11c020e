"""Every kind of figure, drawn: quiet, warm, and readable without colour."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, assert_never

from backtospec.check import (
    Axis,
    Band,
    Bar,
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
from backtospec.report.glyphs import visible

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

INK, SOFT, LINE, BAND, SHEET, RIGHT = (
    "#1f1b16",
    "#5d554a",
    "#d9cfbd",
    "#e9dfc9",
    "#fffdf8",
    "#b3261e",
)
WIDE_IN, HALF_IN = 6.7, 3.25
"""Width in inches of the text, and of half of it."""

_STYLE = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "text.parse_math": False,  # a dollar sign in a title is a dollar sign
    "text.color": SOFT,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": SOFT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "hatch.linewidth": 0.7,
    "svg.fonttype": "path",
    "svg.hashsalt": "backtospec",
}
_LOOKS: dict[Channel | None, dict[str, Any]] = {
    Channel.LEFT: {"color": INK, "linestyle": "-", "marker": "o", "zorder": 3.1},
    Channel.RIGHT: {"color": RIGHT, "linestyle": (0, (5, 2.2)), "marker": "^", "zorder": 3.2},
    Channel.MONO: {"color": INK, "linestyle": "-", "marker": "s", "zorder": 3.0},
    None: {"color": SOFT, "linestyle": "-.", "marker": "D", "zorder": 3.0},
}
_ROLES = {
    "limit": {"color": "#8a5200", "linestyle": "-", "linewidth": 1.0},
    "floor": {"color": SOFT, "linestyle": (0, (1, 1.6)), "linewidth": 1.0},
}
_MOMENT = {"color": SOFT, "linestyle": (0, (3, 3)), "linewidth": 0.8}
_LABEL_GAP_PT = 9.5


def draw(figure: Figure) -> bytes:
    """Return a figure as SVG; the same figure always gives the same bytes.

    Parameters
    ----------
    figure
        Of any kind. Points that a logarithmic axis cannot hold are left out and counted in a note;
        a figure without any point says so.
    """
    import matplotlib

    with matplotlib.rc_context({"backend": "svg", **_STYLE}):
        match figure:
            case SeriesFigure() | CurveFigure():
                canvas = _lines(figure.x, figure.y, figure.traces, figure.bands, figure.marks)
            case CycleFigure():
                canvas = _lines(figure.x, figure.y, figure.traces, (), figure.marks)
            case BarsFigure():
                canvas = _bars(figure)
            case TableFigure():
                canvas = _table(figure)
            case _:
                assert_never(figure)
        written = io.BytesIO()
        canvas.savefig(written, format="svg", transparent=True, metadata={"Date": None})
    return written.getvalue()


def width_of(figure: Figure) -> float:
    """Return the share of the text width that a figure is drawn for."""
    return HALF_IN / WIDE_IN if isinstance(figure, BarsFigure) else 1.0


def _canvas(width_in: float, height_in: float) -> Canvas:
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure as Canvas

    canvas = Canvas(figsize=(width_in, height_in))
    FigureCanvasSVG(canvas)
    return canvas


def _lines(
    x: Axis,
    y: Axis,
    traces: tuple[Trace, ...],
    bands: tuple[Band, ...],
    marks: tuple[Mark, ...],
) -> Canvas:
    canvas = _canvas(WIDE_IN, 2.65)
    axes = canvas.add_axes((0.085, 0.175, 0.74, 0.765))
    drawable = [_drawable(trace, x, y) for trace in traces]
    _set_scale(axes, "x", x, [v for t in drawable for v in t.x], _at(marks, "x", x))
    _set_scale(axes, "y", y, [v for t in drawable for v in t.y], _at(marks, "y", y))
    axes.grid(axis="y", color=LINE, linewidth=0.5, zorder=0)
    for band in bands:
        _draw_band(axes, band)
    labels = [label for trace in drawable if (label := _draw_trace(axes, trace))]
    for mark in marks:
        _draw_mark(axes, mark, x if mark.across == "x" else y)
    _place_labels(canvas, axes, labels)
    _notes(canvas, axes, traces, drawable)
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
    axes: Axes, which: str, axis: Axis, values: list[float], marks: list[float]
) -> None:
    """Set label, scale, range and ticks; a single value gets room on both sides."""
    from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

    name = f"{axis.title} / {axis.unit}" if axis.unit else axis.title
    everything = values + marks
    low, high = (min(everything), max(everything)) if everything else (1.0, 10.0)
    side = axes.xaxis if which == "x" else axes.yaxis
    set_range: Callable[..., Any] = axes.set_xlim if which == "x" else axes.set_ylim
    if axis.logarithmic:
        (axes.set_xscale if which == "x" else axes.set_yscale)("log")
        room = max(1.12 if which == "x" else 1.5, (2.0 if low == high else 1.0))
        set_range(low / room, high * room)
        few = math.log10(high / low) < 1.3 if low < high else True
        side.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if few else (1.0,), numticks=20))
        side.set_minor_formatter(NullFormatter())
    else:
        span = high - low or abs(high) or 1.0
        room = span * (0.03 if which == "x" else 0.12)
        start = 0.0 if which == "x" and 0 <= low <= 0.3 * high else low - room
        set_range(start, high + room)
        side.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    side.set_major_formatter(FuncFormatter(lambda v, _: plain_number(v)))
    side.set_label_text(visible(name))
    axes.tick_params(which="both", length=2.5, width=0.6)
    axes.tick_params(which="minor", length=1.5)


def plain_number(value: float) -> str:
    """Return a tick as people write it: no exponent, thousands set apart.

    Examples
    --------
    >>> plain_number(0.01), plain_number(20000.0), plain_number(-5.0)
    ('0.01', '20\\u202f000', '−5')
    """
    if abs(value) < 1e-9:
        return "0"
    text = f"{value:,.0f}" if abs(value) >= 10000 else f"{value:.6f}".rstrip("0").rstrip(".")
    return text.replace(",", "\u202f").replace("-", "−")


def _draw_band(axes: Axes, band: Band) -> None:
    color = _LOOKS[band.channel]["color"]
    axes.fill_between(
        band.x, band.low, band.high, color=color, alpha=0.12, linewidth=0, zorder=1.5
    )


def _draw_trace(axes: Axes, trace: Trace) -> tuple[float, str, str, str] | None:
    """Draw one trace; return height of its end, words, colour and sign for its label."""
    if not trace.x:
        return None
    look = _LOOKS[trace.channel]
    line = {k: look[k] for k in ("color", "linestyle", "zorder")}
    exact = [i for i in range(len(trace.x)) if i not in trace.at_most]
    many = len(trace.x) > 60
    if len(trace.x) > 1 and not (trace.points and many):
        width = 0.7 if trace.points else 1.4
        axes.plot(trace.x, trace.y, linewidth=width, alpha=0.75 if trace.points else 1, **line)
    if trace.points or len(trace.x) == 1 or trace.at_most:
        shown = exact if trace.points or len(trace.x) == 1 else []
        common = {
            "color": look["color"],
            "linestyle": "none",
            "zorder": look["zorder"] + 0.5,
            "markersize": 2.2 if many else 4.2,
        }
        axes.plot(
            [trace.x[i] for i in shown], [trace.y[i] for i in shown], marker=look["marker"], **common
        )
        axes.plot(
            [trace.x[i] for i in trace.at_most],
            [trace.y[i] for i in trace.at_most],
            marker="v",
            markerfacecolor=SHEET,
            markeredgewidth=0.9,
            **common,
        )
    signs = {Channel.LEFT: "● ", Channel.RIGHT: "▲ "}
    return trace.y[-1], trace.title, look["color"], signs.get(trace.channel, "")  # type: ignore[arg-type]


def _draw_mark(axes: Axes, mark: Mark, axis: Axis) -> None:
    if axis.logarithmic and mark.at <= 0:
        return
    look: dict[str, Any] = _ROLES.get(mark.role, _MOMENT)
    upright = mark.across == "x"
    (axes.axvline if upright else axes.axhline)(mark.at, zorder=2, **look)
    where = (mark.at, 0.99) if upright else (0.005, mark.at)
    axes.annotate(
        visible(mark.title),
        where,
        xycoords=axes.get_xaxis_transform() if upright else axes.get_yaxis_transform(),
        xytext=(3, 0) if upright else (2, 2),
        textcoords="offset points",
        va="top" if upright else "bottom",
        color=look["color"],
        fontsize=7,
        zorder=4,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": SHEET, "edgecolor": "none", "alpha": 0.8},
    )


def _place_labels(
    canvas: Canvas, axes: Axes, labels: list[tuple[float, str, str, str]]
) -> None:
    """Write each trace's name beside its end, pushed apart so that none covers another."""
    height_pt = axes.get_position().height * canvas.get_figheight() * 72
    to_axes = axes.transData.transform
    bottom, top = axes.transAxes.transform([(0, 0), (0, 1)])[:, 1]
    x_any = axes.get_xlim()[1]
    ends = sorted(
        (float((to_axes((x_any, y))[1] - bottom) / (top - bottom)) * height_pt, title, color, sign)
        for y, title, color, sign in labels
    )
    lowest = -math.inf
    spots = []
    for end, *rest in ends:
        lowest = max(end, lowest + _LABEL_GAP_PT)
        spots.append((lowest, *rest))
    excess = max(0.0, lowest - height_pt)
    for spot, title, color, sign in spots:
        axes.annotate(
            sign + _short(title),
            (1.0, (spot - excess) / height_pt),
            xycoords="axes fraction",
            xytext=(5, 0),
            textcoords="offset points",
            color=color,
            va="center",
            annotation_clip=False,
        )


def _short(title: str) -> str:
    shown = visible(title).replace("\u200b", "")
    return shown if len(shown) <= 22 else shown[:21] + "…"


def _notes(
    canvas: Canvas, axes: Axes, given: Iterable[Trace], drawn: Iterable[Trace]
) -> None:
    given, drawn = list(given), list(drawn)
    lost = sum(len(t.x) for t in given) - sum(len(t.x) for t in drawn)
    notes = []
    if any(t.at_most for t in drawn):
        notes.append("▽ at most")
    if lost:
        notes.append(f"{lost} at or below zero not drawn")
    if notes:
        canvas.text(0.845, 0.03, " · ".join(notes), fontsize=7)
    if not any(t.x for t in drawn):
        axes.text(0.5, 0.5, "no reading to draw", transform=axes.transAxes, ha="center")


def _bars(figure: BarsFigure) -> Canvas:
    """Draw level bars, each with the range it should lie in behind it."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    bars = [b for b in figure.bars if math.isfinite(b.value)]
    height = 0.62 + 0.27 * max(1, len(bars))
    canvas = _canvas(HALF_IN, height)
    foot, head = 0.42 / height, 0.06 / height
    axes = canvas.add_axes((0.27, foot, 0.68, 1 - foot - head))
    edges = [v for b in bars for v in (b.value, b.low, b.high) if v is not None]
    low, high = min([0.0, *edges]), max([0.0, *edges]) if any(edges) else 1.0
    room = 0.16 * (high - low or 1.0)
    axes.set_xlim(low - (room if low < 0 else 0), high + room)
    axes.set_ylim(max(1, len(bars)) - 0.4, -0.6)
    for row, bar in enumerate(bars):
        _draw_bar(axes, row, bar, figure.y.unit)
    axes.axvline(0, color=SOFT, linewidth=0.7, zorder=4)
    axes.set_yticks(range(len(bars)), [_short(b.title) for b in bars])
    axes.tick_params(axis="y", length=0, colors=INK)
    axes.tick_params(axis="x", length=2.5, width=0.6)
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: plain_number(v)))
    unit = f" / {figure.y.unit}" if figure.y.unit else ""
    axes.set_xlabel(visible(figure.y.title + unit))
    if not bars:
        axes.text(0.5, 0.5, "no reading to draw", transform=axes.transAxes, ha="center")
    return canvas


def _draw_bar(axes: Axes, row: int, bar: Bar, unit: str) -> None:
    left, right = axes.get_xlim()
    start = left if bar.low is None else bar.low
    end = right if bar.high is None else bar.high
    if bar.low is not None or bar.high is not None:
        axes.barh(row, end - start, 0.74, start, color=BAND, zorder=1)
        for edge in (bar.low, bar.high):
            if edge is not None:
                axes.plot([edge, edge], [row - 0.37, row + 0.37], zorder=2, **_ROLES["limit"])
    color = _LOOKS[bar.channel]["color"]
    hatched = bar.channel is Channel.RIGHT
    axes.barh(
        row,
        bar.value,
        0.36,
        facecolor=SHEET if hatched else color,
        edgecolor=color,
        hatch="//////" if hatched else None,
        linewidth=0.9,
        zorder=3,
    )
    axes.annotate(
        f"{bar.value:.3g} {unit}".rstrip().replace("-", "−"),
        (bar.value, row),
        xytext=(3 if bar.value >= 0 else -3, 0),
        textcoords="offset points",
        ha="left" if bar.value >= 0 else "right",
        va="center",
        color=color,
        zorder=5,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": SHEET, "edgecolor": "none", "alpha": 0.75},
    )


def _table(figure: TableFigure) -> Canvas:
    """Draw rows of text, the heads over a line."""
    lines = [figure.columns, *figure.rows]
    height = 0.1 + 0.19 * len(lines)
    canvas = _canvas(WIDE_IN, height)
    columns = max(1, *(len(line) for line in lines))
    for row, line in enumerate(lines):
        for column, text in enumerate(line):
            canvas.text(
                0.01 + column / columns,
                1 - (0.13 + 0.19 * row) / height,
                _short(text),
                color=SOFT if row == 0 else INK,
                va="center",
            )
    canvas.add_artist(_rule(1 - 0.225 / height))
    return canvas


def _rule(y: float) -> Any:
    from matplotlib.lines import Line2D

    return Line2D([0.005, 0.995], [y, y], color=SOFT, linewidth=0.7)

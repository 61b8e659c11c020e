"""Bars and tables, drawn."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from backtospec.check import Bar, BarsFigure, TableFigure
from backtospec.records import Channel
from backtospec.report.plot_style import (
    BAND,
    HALF_IN,
    INK,
    LOOKS,
    ROLES,
    SHEET,
    SOFT,
    WIDE_IN,
    blank,
    plain_number,
    short,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas


def draw_bars(figure: BarsFigure) -> Canvas:
    """Draw level bars, each with the range it should lie in behind it."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    bars = [b for b in figure.bars if math.isfinite(b.value)]
    height = 0.62 + 0.27 * max(1, len(bars))
    canvas = blank(HALF_IN, height)
    foot, head = 0.42 / height, 0.06 / height
    names = [short(b.title) for b in bars]
    left = 0.05 + 0.021 * max([6, *map(len, names)])
    axes = canvas.add_axes((left, foot, 0.77 - left, 1 - foot - head))
    edges = [v for b in bars for v in (b.value, b.low, b.high) if v is not None]
    low, high = min([0.0, *edges]), max([0.0, *edges]) if any(edges) else 1.0
    room = 0.06 * (high - low or 1.0)
    axes.set_xlim(low - room, high + room)
    axes.set_ylim(max(1, len(bars)) - 0.4, -0.6)
    for row, bar in enumerate(bars):
        _draw_bar(axes, row, bar, figure.y.unit)
    axes.axvline(0, color=SOFT, linewidth=0.7, zorder=4)
    axes.set_yticks(range(len(bars)), names)
    axes.tick_params(axis="y", length=0, colors=INK)
    axes.tick_params(axis="x", length=2.5, width=0.6)
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: plain_number(v)))
    unit = f" / {figure.y.unit}" if figure.y.unit else ""
    axes.set_xlabel(short(figure.y.title + unit, 40))
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
                axes.plot([edge, edge], [row - 0.37, row + 0.37], zorder=2, **ROLES["limit"])
    color = LOOKS[bar.channel]["color"]
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
        short(f"{bar.value:.3g} {unit}").strip().replace("-", "−"),
        (1.0, row),
        xycoords=axes.get_yaxis_transform(),
        xytext=(3, 0),
        textcoords="offset points",
        va="center",
        color=color,
        annotation_clip=False,
    )


def draw_table(figure: TableFigure) -> Canvas:
    """Draw rows of text, the heads over a line."""
    from matplotlib.lines import Line2D

    lines = [figure.columns, *figure.rows]
    height = 0.1 + 0.19 * len(lines)
    canvas = blank(WIDE_IN, height)
    columns = max(1, *(len(line) for line in lines))
    for row, line in enumerate(lines):
        for column, text in enumerate(line):
            canvas.text(
                0.01 + column / columns,
                1 - (0.13 + 0.19 * row) / height,
                short(text),
                color=SOFT if row == 0 else INK,
                va="center",
            )
    rule = 1 - 0.225 / height
    canvas.add_artist(Line2D([0.005, 0.995], [rule, rule], color=SOFT, linewidth=0.7))
    return canvas

"""Figures of every kind as SVG of our own: labelled, bounded, and with their numbers."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

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
from backtospec.web.drawing import MOST_POINTS, MOST_ROWS, draw

TIME, MV = Axis("time", "min"), Axis("reading", "mV")
LEFT = Trace("Left", (0.0, 10.0, 20.0), (5.0, 8.0, 9.0), Channel.LEFT, points=True)
RIGHT = Trace("Right <b>", (0.0, 10.0, 20.0), (4.0, 7.0, 8.0), Channel.RIGHT, points=True)

FIGURES: list[Figure] = [
    SeriesFigure(
        "s",
        "Warm-up & more",
        TIME,
        MV,
        (LEFT, RIGHT),
        (Band("95 %", (0.0, 20.0), (4.0, 8.0), (6.0, 10.0), Channel.LEFT),),
        (
            Mark("limit", "y", 13.0),
            Mark("now", "x", 12.0, "moment"),
            Mark("floor", "y", 0.1, "floor"),
        ),
    ),
    CurveFigure(
        "c",
        "Distortion",
        Axis("power", "W", True),
        Axis("THD", "%", True),
        (Trace("Left", (0.0, 1.0, 10.0), (0.1, 0.05, 0.02), Channel.LEFT, False, (2,)),),
    ),
    CycleFigure("y", "One cycle", Axis("phase", "°"), Axis("rest", "mV"), (LEFT,)),
    BarsFigure("b", "Idle", Axis("current", "mA"), (Bar("Left", 22.0, 20.0, 30.0), Bar("R", -1.0))),
]


@pytest.mark.parametrize("figure", FIGURES, ids=lambda f: type(f).__name__)
def test_a_figure_is_sound_svg_with_units_and_a_name(figure: Figure) -> None:
    drawing = draw(figure)
    for svg in (drawing.wide, drawing.narrow):
        root = ElementTree.fromstring(svg)
        words = " ".join(e.text or "" for e in root.iter() if e.tag == "text")
        assert root.attrib["role"] == "img"
        assert figure.title in root.attrib["aria-label"]
        assert "NaN" not in svg
        assert not re.search(r"\sstyle=|<style", svg)  # the page's policy allows none
        assert f"/ {figure.y.unit}" in words  # type: ignore[union-attr]
    assert drawing.tables[0].rows


def test_limit_floor_and_moment_are_drawn_with_their_names() -> None:
    wide = draw(FIGURES[0]).wide
    for role, words in (("limit", "limit 13"), ("floor", "floor 0.1"), ("moment", "now")):
        assert f'class="mark {role}"' in wide
        assert f">{words}</text>" in wide


def test_channels_differ_by_shape_and_not_by_colour_alone() -> None:
    wide = draw(FIGURES[0]).wide
    assert '<circle class="sign left"' in wide
    assert '<path class="sign right"' in wide


def test_a_bound_is_shown_and_told_as_one() -> None:
    drawing = draw(FIGURES[1])
    assert drawing.tables[0].rows[2] == ("10", "≤ 0.02")
    assert len(drawing.tables[0].rows) == 3  # what a logarithmic axis cannot hold is told still


def test_long_lines_are_thinned_without_losing_their_peaks() -> None:
    values = [0.0] * 50_000
    values[31_337] = 7.0
    trace = Trace("log", tuple(map(float, range(50_000))), tuple(values), Channel.LEFT)
    drawing = draw(SeriesFigure("k", "Long", TIME, MV, (trace,)))
    line = re.search(r'class="line left" points="([^"]+)"', drawing.wide)
    assert line
    heights = [float(pair.split(",")[1]) for pair in line[1].split()]
    assert len(heights) <= MOST_POINTS
    assert min(heights) < max(heights) - 100
    assert len(drawing.tables[0].rows) <= MOST_ROWS
    assert drawing.tables[0].left_out == 50_000 - len(drawing.tables[0].rows)


def test_nothing_to_draw_is_said() -> None:
    assert "no reading yet" in draw(SeriesFigure("k", "Empty", TIME, MV, ())).wide


def test_a_table_is_a_table() -> None:
    drawing = draw(TableFigure("t", "Spots", ("W", "%"), (("1", "0.02"),)))
    assert not drawing.wide
    assert drawing.tables[0].rows == (("1", "0.02"),)

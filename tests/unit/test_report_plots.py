"""Every kind of figure draws, whatever it holds, and twice the same."""

from __future__ import annotations

import math
import re
from dataclasses import replace
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
from backtospec.report.plot_style import LOOKS, RIGHT
from backtospec.report.plots import draw

LEFT, RIGHT_CHANNEL, MONO = Channel.LEFT, Channel.RIGHT, Channel.MONO
MINUTES = tuple(5.0 * i for i in range(13))


def settling(end: float, channel: Channel) -> Trace:
    y = tuple(end * (1 - 0.5 * math.exp(-t / 18)) for t in MINUTES)
    return Trace("left" if channel is LEFT else "right", MINUTES, y, channel, points=True)


SERIES = SeriesFigure(
    "warm-up",
    "Idle current, warming up",
    Axis("since power-on", "min"),
    Axis("idle current", "mA"),
    (
        settling(23, LEFT),
        settling(25, RIGHT_CHANNEL),
        Trace("predicted", (60.0, 75.0, 90.0), (22.6, 22.8, 22.9), LEFT),
    ),
    (Band("interval", (60.0, 75.0, 90.0), (22.1, 22.2, 22.2), (23.1, 23.6, 24.0), LEFT),),
    (Mark("manual 20 mA", "y", 20.0), Mark("manual 30 mA", "y", 30.0), Mark("now", "x", 60, "now")),
)
CURVE = CurveFigure(
    "thd",
    "Distortion against power",
    Axis("power", "W", True),
    Axis("THD", "%", True),
    (
        Trace("left", (0.1, 1, 10, 45, 60), (0.06, 0.025, 0.02, 0.05, 3.0), LEFT, True, (0, 1)),
        Trace("right", (0.1, 1, 10, 45, 58), (0.07, 0.03, 0.022, 0.06, 3.1), RIGHT_CHANNEL, True),
    ),
    marks=(Mark("rated 0.1 %", "y", 0.1), Mark("measuring floor", "y", 0.004, "floor")),
)
DEGREES = tuple(float(d) for d in range(0, 361, 2))
CYCLE = CycleFigure(
    "residual",
    "What is left of one cycle",
    Axis("phase", "°"),
    Axis("residual", "mV"),
    (
        Trace("left", DEGREES, tuple(math.sin(math.radians(3 * d)) for d in DEGREES), LEFT),
        Trace("sum", DEGREES, tuple(math.cos(math.radians(2 * d)) for d in DEGREES), MONO),
        Trace("mains", DEGREES, tuple(0.2 * math.cos(math.radians(d)) for d in DEGREES)),
    ),
    (Mark("crossing", "x", 180.0, "moment"),),
)
BARS = BarsFigure(
    "offset",
    "DC offset",
    Axis("offset", "mV"),
    (
        Bar("Left, cold", 14.3, -20, 20, LEFT),
        Bar("Left", 8.5, -20, 20, LEFT),
        Bar("Right", -33.5, -20, 20, RIGHT_CHANNEL),
        Bar("no range", 3.0),
        Bar("one side", 3.0, None, 10.0, MONO),
    ),
)
TABLE = TableFigure("gain", "Gain", ("input", "left"), (("tape", "40 dB"), ("phono", "75 dB")))
ALL: tuple[Figure, ...] = (SERIES, CURVE, CYCLE, BARS, TABLE)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("figure", ALL, ids=lambda f: f.key)
def test_every_kind_draws_the_same_bytes_twice(figure: Figure, narrow: bool) -> None:
    first = draw(figure, narrow)
    assert ElementTree.fromstring(first).tag == "{http://www.w3.org/2000/svg}svg"
    assert first == draw(figure, narrow)
    assert b"<text" not in first


def test_the_right_channel_is_red_and_dashed_the_left_ink_and_solid() -> None:
    svg = draw(CURVE).decode()
    styles = re.findall(r'style="([^"]+)"', svg)
    dashed = [style for style in styles if "stroke-dasharray: 3.5" in style]
    assert dashed
    assert all(RIGHT in style for style in dashed)
    assert len({look["marker"] for look in LOOKS.values()}) == len(LOOKS)


def test_limit_and_floor_are_drawn_and_named() -> None:
    with_marks, without = draw(CURVE), draw(replace(CURVE, marks=()))
    assert len(with_marks) > len(without)
    assert b"#8a5200" in with_marks
    assert b"#8a5200" not in without


def test_a_bound_is_drawn_open() -> None:
    open_marker = b"fill: #fffdf8; stroke: #1f1b16"
    exact = replace(CURVE, traces=(replace(CURVE.traces[0], at_most=()),), marks=())
    bound = replace(exact, traces=(CURVE.traces[0],))
    assert open_marker not in draw(exact)
    assert open_marker in draw(bound)


@pytest.mark.parametrize("figure", [SERIES, CURVE, CYCLE], ids=lambda f: f.key)
@pytest.mark.parametrize(
    ("x", "y"),
    [
        ((), ()),
        ((1.0,), (2.0,)),
        ((1.0, 1.0), (2.0, 2.0)),
        ((0.0, -1.0), (0.0, -1.0)),
        ((1e-9, 1e9), (1e-12, 1e6)),
        ((1.0, 2.0), (math.nan, 2.0)),
        (tuple(map(float, range(1, 3000))), tuple(map(float, range(1, 3000)))),
    ],
)
def test_few_odd_or_many_points_draw(
    figure: SeriesFigure | CurveFigure | CycleFigure, x: tuple[float, ...], y: tuple[float, ...]
) -> None:
    trace = Trace("left", x, y, LEFT, points=True)
    for marks in ((), (Mark("zero", "y", 0.0), Mark("zero", "x", 0.0))):
        assert draw(replace(figure, traces=(trace,), marks=marks)).startswith(b"<?xml")


@pytest.mark.parametrize("figure", [SERIES, CURVE, CYCLE, BARS], ids=lambda f: f.key)
def test_nothing_to_draw_is_said(figure: Figure) -> None:
    match figure:
        case BarsFigure():
            assert draw(replace(figure, bars=())) != draw(figure)
        case SeriesFigure() | CurveFigure() | CycleFigure():
            assert draw(replace(figure, traces=())) != draw(figure)


@pytest.mark.parametrize("text", ["$x^2$", "中文", "\x07", "a\nb", "W" * 300, "", "\\alpha"])
def test_any_title_draws(text: str) -> None:
    trace = Trace(text, (1.0, 2.0), (1.0, 2.0), RIGHT_CHANNEL)
    axis = Axis(text, text)
    mark = Mark(text, "y", 1.5)
    for narrow in (False, True):
        assert draw(CurveFigure("k", text, axis, axis, (trace,), marks=(mark,)), narrow)
    assert draw(BarsFigure("k", text, axis, (Bar(text, 1.0),)))
    assert draw(TableFigure("k", text, (text,), ((text,),)))


def test_values_of_nothing_draw_as_bars() -> None:
    assert draw(replace(BARS, bars=(Bar("zero", 0.0), Bar("odd", math.nan)))).startswith(b"<?xml")

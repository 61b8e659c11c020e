"""Bars lying on their side, so that their names can be read; the range they should lie in."""

from __future__ import annotations

from html import escape

from backtospec.check import Bar, BarsFigure
from backtospec.records import Channel
from backtospec.web.drawing_scale import Scale, scale_of

_ROW, _TOP = 46.0, 26.0
_LOOKS = {Channel.LEFT: "left", Channel.RIGHT: "right", Channel.MONO: "mono", None: "other"}


def draw_bars(figure: BarsFigure, width: int) -> str:
    """Return bars as SVG of that width in pixels."""
    height = _TOP + _ROW * len(figure.bars) + 34
    ends = [v for b in figure.bars for v in (b.value, b.low, b.high) if v is not None]
    low = min([*ends, 0.0])
    x = scale_of([low, *ends], figure.y.logarithmic, 12.0, width - 14.0, upright=False)
    name = f"{figure.y.title} / {figure.y.unit}" if figure.y.unit else figure.y.title
    ticks = "".join(f"M{x.at(v):.1f} {_TOP:.0f}V{height - 34:.0f}" for v in x.ticks)
    words = "".join(
        f'<text x="{x.at(v):.1f}" y="{height - 18:.0f}" class="mid">{_short(v)}</text>'
        for v in x.ticks
    )
    bars = "".join(_bar(b, x, _TOP + _ROW * n, figure.y.unit) for n, b in enumerate(figure.bars))
    spoken = ", ".join(f"{b.title} {b.value:.4g} {figure.y.unit}" for b in figure.bars)
    return (
        f'<svg viewBox="0 0 {width} {height:.0f}" role="img" '
        f'aria-label="{escape(f"{figure.title}: {spoken}", quote=True)}">'
        f'<path class="grid" d="{ticks}"/>{words}'
        f'{bars}<text x="{width - 14}" y="{height - 3:.0f}" class="end name">{escape(name)}</text>'
        "</svg>"
    )


def _bar(bar: Bar, x: Scale, top: float, unit: str) -> str:
    zero = x.at(max(x.low, 0.0) if not x.logarithmic else x.low)
    tip = x.at(bar.value) if x.holds(bar.value) else zero
    look = _LOOKS[bar.channel]
    drawn = ""
    if bar.low is not None or bar.high is not None:
        first = x.at(bar.low) if bar.low is not None and x.holds(bar.low) else x.start
        last = x.at(bar.high) if bar.high is not None else x.end
        drawn += (
            f'<rect class="wanted" x="{first:.1f}" y="{top + 16:.1f}" '
            f'width="{max(0.0, last - first):.1f}" height="26"/>'
        )
    drawn += (
        f'<rect class="bar {look}" x="{min(zero, tip):.1f}" y="{top + 22:.1f}" '
        f'width="{abs(tip - zero):.1f}" height="14"/>'
        f'<text x="12" y="{top + 12:.1f}" class="strong">{escape(bar.title)}: '
        f"{_short(bar.value)} {escape(unit)}</text>"
    )
    return drawn


def _short(value: float) -> str:
    return f"{value:.4g}".replace("-", "−")

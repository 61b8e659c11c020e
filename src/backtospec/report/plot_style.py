"""The look that every plot shares: ink and red on warm paper, never colour alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from backtospec.records import Channel
from backtospec.report.glyphs import visible

if TYPE_CHECKING:
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

STYLE: dict[Any, Any] = {
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
LOOKS: dict[Channel | None, dict[str, Any]] = {
    Channel.LEFT: {"color": INK, "linestyle": "-", "marker": "o", "zorder": 3.1},
    Channel.RIGHT: {"color": RIGHT, "linestyle": (0, (5, 2.2)), "marker": "^", "zorder": 3.2},
    Channel.MONO: {
        "color": INK,
        "linestyle": (0, (7, 1.5, 1.5, 1.5)),
        "marker": "s",
        "zorder": 3.0,
    },
    None: {"color": SOFT, "linestyle": "-.", "marker": "D", "zorder": 3.0},
}
ROLES: dict[str, dict[str, Any]] = {
    "limit": {"color": "#8a5200", "linestyle": "-", "linewidth": 1.0},
    "floor": {"color": SOFT, "linestyle": (0, (1, 1.6)), "linewidth": 1.0},
}
MOMENT: dict[str, Any] = {"color": SOFT, "linestyle": (0, (3, 3)), "linewidth": 0.8}


def blank(width_in: float, height_in: float) -> Canvas:
    """Return an empty drawing of that size in inches."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure as Canvas

    canvas = Canvas(figsize=(width_in, height_in))
    FigureCanvasSVG(canvas)
    return canvas


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


def short(title: str, most: int = 22) -> str:
    """Return a title cut to what fits beside a line."""
    shown = visible(title).replace("\u200b", "")
    return shown if len(shown) <= most else shown[: most - 1] + "…"

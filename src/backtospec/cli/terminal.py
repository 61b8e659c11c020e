"""What people read on a terminal: one word and one sentence first, then the evidence."""

from __future__ import annotations

import math
from typing import Any, assert_never

from rich.console import Console
from rich.table import Table
from rich.text import Text

from backtospec.check import (
    AdviceKind,
    Axis,
    Bar,
    BarsFigure,
    CaptureInput,
    Check,
    ChoiceInput,
    Conclusion,
    CurveFigure,
    CycleFigure,
    Figure,
    Input,
    NumberInput,
    PhotoInput,
    SeriesFigure,
    SeriesInput,
    TableFigure,
    TableInput,
    TextInput,
    Trace,
)
from backtospec.cli.response_words import headroom_words, response_words
from backtospec.quantity import write
from backtospec.verdict import Bound, Finding, Verdict

MARKS = {
    Verdict.PASS: "✓ in spec",
    Verdict.FAIL: "✕ out of spec",
    Verdict.UNDECIDED: "? undecided",
    Verdict.NOT_COMPARABLE: "≠ not comparable",
    Verdict.NO_LIMIT: "– no limit",
}
"""Marks are shape and word, never colour alone."""

_LOUD = {AdviceKind.STOP: "bold reverse", AdviceKind.REPLACE: "bold", AdviceKind.ADJUST: "bold"}
_MOST_ROWS = 8


def show_conclusion(console: Console, conclusion: Conclusion) -> None:
    """Print what follows from one run of a check."""
    for advice in conclusion.counsel.advice:
        word = Text(f" {advice.kind} ", style=_LOUD.get(advice.kind, "bold"))
        console.print(word, advice.reason)
    for cause in conclusion.counsel.causes:
        console.print(f"  perhaps: {cause.name}")
        for line in cause.evidence_for:
            console.print(f"    for: {line}")
        for line in cause.evidence_against:
            console.print(f"    against: {line}")
        if cause.next_reading:
            console.print(f"    would tell: {cause.next_reading}")
    if conclusion.counsel.next_step:
        console.print(f"  next: {conclusion.counsel.next_step}")
    console.print()
    show_findings(console, conclusion.findings)
    for figure in conclusion.figures:
        show_figure(console, figure)


def show_findings(console: Console, findings: tuple[Finding, ...]) -> None:
    """Print each result with its limit and mark, and what stands behind them."""
    table = Table(box=None, pad_edge=False, show_header=False)
    for _ in range(4):
        table.add_column(overflow="fold")
    for finding in findings:
        table.add_row(
            finding.result.title, value_text(finding), bounds_text(finding), MARKS[finding.verdict]
        )
    console.print(table)
    for line in dict.fromkeys(line for f in findings for line in _evidence(f)):
        console.print(f"  {line}")


def _evidence(finding: Finding) -> list[str]:
    result, limit = finding.result, finding.limit
    lines = [f"how: {result.method}"]
    if result.reason:
        lines.append(f"note: {result.reason}")
    if limit is not None:
        lines.append(f"limit: {limit.source}")
    if finding.verdict in (Verdict.UNDECIDED, Verdict.NOT_COMPARABLE):
        lines.append(f"{result.title}: {finding.reason}")
    return lines


def value_text(finding: Finding) -> str:
    """Return a result with its expanded uncertainty (k = 2), or its bound."""
    result = finding.result
    if result.value is None:
        return "no value"
    sign = "" if result.bound is Bound.EQUALS else f"{result.bound} "
    text = sign + write(result.value.value, result.unit)
    if result.value.u and result.bound is Bound.EQUALS:
        text += f" ± {write(2 * result.value.u, result.unit, 2)}"
    return text


def bounds_text(finding: Finding) -> str:
    """Return the bounds of a limit."""
    limit = finding.limit
    if limit is None:
        return ""
    low = None if limit.low is None else write(limit.low, limit.unit)
    high = None if limit.high is None else write(limit.high, limit.unit)
    if low is None:
        return f"≤ {high}"
    if high is None:
        return f"≥ {low}"
    return f"±{high}" if limit.low == -(limit.high or 0) else f"{low} … {high}"


def show_check(console: Console, check: Check) -> None:
    """Print the declaration of one check: cautions first."""
    console.print(Text(check.title, style="bold"), f"· {check.stage.title} · {check.id}")
    console.print(check.why)
    console.print(f"needs the amplifier: {' or '.join(check.power_states)}")
    for caution in check.cautions:
        console.print(f"  ⚠ {caution}")
    for count, step in enumerate(check.steps, start=1):
        console.print(f"  {count}. {step}")
    table = Table(box=None, pad_edge=False, header_style="italic")
    for title in ("input", "kind", "what", "accepts"):
        table.add_column(title, overflow="fold")
    for item in check.inputs:
        needed = " (needed)" if item.required else ""
        table.add_row(item.key, item.kind, item.prompt + needed, _accepts(item))
    console.print(table)
    for source in check.sources:
        console.print(f"  source: {source}")


def _accepts(item: Input) -> str:
    match item:
        case NumberInput() | SeriesInput():
            return f"{item.low:g} … {item.high:g} {item.unit}"
        case ChoiceInput():
            return " | ".join(choice.value for choice in item.choices)
        case TableInput():
            return " ".join(column.key for column in item.columns) + "; …"
        case CaptureInput():
            return "WAV or FLAC"
        case TextInput():
            return "a few words"
        case PhotoInput():
            return "JPEG or PNG"
        case _:
            assert_never(item)


def show_figure(console: Console, figure: Figure) -> None:
    """Print what there is to see as rows of numbers."""
    console.print()
    console.print(Text(figure.title, style="italic"))
    match figure:
        case SeriesFigure() | CurveFigure() | CycleFigure():
            for mark in figure.marks:
                axis = figure.x if mark.across == "x" else figure.y
                console.print(f"  {mark.role}: {mark.title} {_number(mark.at)} {axis.unit}")
            measured = [trace for trace in figure.traces if trace.points]
            for trace in measured or figure.traces:
                console.print(_trace_table(trace, figure.x, figure.y))
        case BarsFigure():
            for bar in figure.bars:
                console.print(f"  {bar.title}: {_number(bar.value)} {figure.y.unit}{_range(bar)}")
        case TableFigure():
            table = Table(*figure.columns, box=None, pad_edge=False, header_style="italic")
            for row in figure.rows:
                table.add_row(*row)
            console.print(table)
        case _:
            assert_never(figure)


def _range(bar: Bar) -> str:
    if bar.low is None and bar.high is None:
        return ""
    low = "" if bar.low is None else _number(bar.low)
    high = "" if bar.high is None else _number(bar.high)
    return f"  (should be {low} … {high})"


def _trace_table(trace: Trace, x: Axis, y: Axis) -> Table:
    table = Table(title=trace.title, title_justify="left", box=None, pad_edge=False)
    table.add_column(f"{x.title} / {x.unit}", justify="right")
    table.add_column(f"{y.title} / {y.unit}", justify="right")
    step = max(1, math.ceil(len(trace.x) / _MOST_ROWS))
    for index in range(0, len(trace.x), step):
        bound = "≤ " if index in trace.at_most else ""
        table.add_row(_number(trace.x[index]), bound + _number(trace.y[index]))
    return table


def _number(value: float) -> str:
    return f"{value:.4g}"


def show_analysis(console: Console, document: dict[str, Any]) -> None:
    """Print an analysed recording from its document: channels, plateaus, notes."""
    names = list(document["channels"])
    for name, channel in document["channels"].items():
        if not channel.get("valid", True):
            console.print(f"{name}: no figure: {channel.get('reason')}")
            continue
        console.print(f"{name}: {_channel_line(channel)}")
        for line in (*_channel_words(channel), *response_words(channel)):
            console.print(f"  {line}")
    if document.get("tracking_db_r_minus_l") is not None:
        console.print(f"right over left: {document['tracking_db_r_minus_l']:+.3f} dB")
    steps = document.get("steps", [])
    if steps:
        table = Table(box=None, pad_edge=False, header_style="italic")
        places = ("Hz", "from s", "to s") if "frequency_hz" in steps[0] else ("from s", "to s")
        for title in (*places, *(f"{n} {q}" for n in names for q in ("W", "THD %"))):
            table.add_column(title, justify="right")
        table.add_column("R over L dB", justify="right")
        for step in steps:
            cells = [f"{step['frequency_hz']:.5g}"] if "frequency_hz" in step else []
            cells += [f"{step['start_s']:.2f}", f"{step['end_s']:.2f}"]
            for name in names:
                channel = step["channels"].get(name, {})
                cells += [_cell(channel.get("power_w")), _cell(channel.get("thd_percent"))]
            table.add_row(*cells, _cell(step.get("tracking_db_r_minus_l")))
        console.print(table)
    for burst in document.get("bursts", []):
        shown = ", ".join(f"{n} {_channel_line(c)}" for n, c in burst["channels"].items())
        console.print(f"burst at {burst['start_s']:.3f} s: {shown}")
    if document.get("headroom_db") is not None:
        console.print(headroom_words(document))
    for percent, by_channel in document.get("power_at_thd", {}).items():
        for name, found in by_channel.items():
            console.print(f"{name}, {percent} % THD: {_power_line(found)}")
    for note in document.get("notes", []):
        where = f"{note['channel']}: " if note.get("channel") else ""
        console.print(f"  {where}{note['text']}")


def _channel_line(channel: dict[str, Any]) -> str:
    figures = (
        ("fundamental_vrms", "V rms"),
        ("power_w", "W"),
        ("frequency_hz", "Hz"),
        ("thd_percent", "% THD"),
        ("thd_percent_at_most", "% THD at most"),
        ("imd_pairs_percent", "% intermodulation, sidebands of an order added"),
        ("imd_rms_percent", "% intermodulation, sidebands added by squares"),
        ("d2_percent", "% second-order difference product"),
        ("d3_percent", "% third-order difference products"),
        ("crosstalk_db", "dB crosstalk"),
        ("crosstalk_db_at_most", "dB crosstalk at most"),
        ("output_resistance_ohm", "Ω output resistance"),
        ("output_resistance_ohm_at_most", "Ω output resistance at most"),
        ("damping_factor", "damping factor"),
        ("damping_factor_at_least", "damping factor at least"),
        ("corner_low_hz", "Hz, lower −3 dB point"),
        ("corner_low_hz_at_most", "Hz at most, lower −3 dB point"),
        ("corner_high_hz", "Hz, upper −3 dB point"),
        ("corner_high_hz_at_least", "Hz at least, upper −3 dB point"),
    )
    parts = [f"{channel[k]:.6g} {unit}" for k, unit in figures if channel.get(k) is not None]
    parts += [f"{v:.4g} µV {weight}" for weight, v in channel.get("rms_uv", {}).items()]
    parts += [
        f"{channel['response_db'][hz]:+.2f} dB at {hz} Hz{_phase(channel, hz)}"
        for hz in ("20", "100", "10000", "20000")
        if hz in channel.get("response_db", {})
    ]
    parts += [
        f"{v:.4g} % THD+N {_band_named(band)}"
        for band, v in channel.get("thdn_percent", {}).items()
    ]
    if "weighting_detector" in channel:
        parts += [f"{v:.2f} dB S/N {_band_named(band)}" for band, v in channel["snr_db"].items()]
    return ", ".join(parts)


def _phase(channel: dict[str, Any], hz: str) -> str:
    degrees = channel.get("phase_deg", {}).get(hz)
    return "" if degrees is None else f" ({degrees:+.1f}°)"


def _band_named(band: str) -> str:
    return f"{band} Hz" if "-" in band else f"{band}-weighted, rms"


def _channel_words(channel: dict[str, Any]) -> list[str]:
    """Return what a channel says in words: the shape of its residual, or how a control turns."""
    cycle = channel.get("cycle")
    if cycle:
        return [f"residual: {cycle['text']}", *(f"  {line}" for line in cycle["evidence"])]
    events = channel.get("events")
    if events is None:
        return []
    places = [
        f"  {one['kind']} at {one['start_s']:.3f} s, {one['rotation_percent']:.0f} % of the turn, "
        f"{one['level_db']:.0f} dB"
        for one in events[:_MOST_ROWS]
    ]
    return [channel["text"], *places]


def _power_line(found: dict[str, Any]) -> str:
    if found.get("reached"):
        return f"{found['power_w']:.4g} W"
    if found.get("at_least_w") is not None:
        return f"at least {found['at_least_w']:.4g} W, never reached"
    return "above it at every power recorded"


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"

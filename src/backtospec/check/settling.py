"""Readings over time in any check: where they end, whether that may be believed, what to do now."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from backtospec.analysis.warm_up import WarmUp, analyse_warm_up
from backtospec.check.answers import Answers, Series
from backtospec.check.figures import Axis, Band, Mark, SeriesFigure, Trace
from backtospec.quantity import Measured, MeterRange
from backtospec.records import Channel

HAND_METER = (0.5, 3.0)
"""Percent and counts taken where no meter is named (common practice for a hand meter)."""

_DRAWN = 80
_AHEAD_MIN = 20.0


@dataclass(frozen=True, slots=True)
class Settling:
    """One channel's readings over time with what they say.

    Parameters
    ----------
    name, channel
        Which channel.
    key
        The input they came from.
    end
        The settled value with interval and meter; ``None`` unless it may be believed.
    """

    name: str
    channel: Channel
    key: str
    series: Series
    warm_up: WarmUp
    end: Measured | None


def settlings(
    answers: Answers,
    keys: Mapping[str, str],
    channels: Mapping[str, Channel],
    target_v: float | None = None,
    tolerance_v: float | None = None,
) -> tuple[Settling, ...]:
    """Return what the series of each channel says.

    Parameters
    ----------
    answers
        The answers of one sitting.
    keys, channels
        Input key and channel by the channel's name.
    target_v, tolerance_v
        What the manual asks for, in volts.
    """
    found = []
    for name, key in keys.items():
        series = answers.series(key)
        if series is None:
            continue
        start = series.time_s[0] if series.since_on and series.time_s else 0.0
        warm_up = _analyse(series, start, target_v, tolerance_v)
        end = _end_of(warm_up, series, answers)
        found.append(Settling(name, channels[name], key, series, warm_up, end))
    return tuple(found)


@lru_cache(maxsize=64)
def _analyse(
    series: Series, start_s: float, target_v: float | None, tolerance_v: float | None
) -> WarmUp:
    """Return what a series says; measuring and advising ask for the same one."""
    return analyse_warm_up(
        [t - start_s for t in series.time_s],
        series.value,
        step_v=series.step or None,
        target_v=target_v,
        tolerance_v=tolerance_v,
        minutes_since_on=start_s / 60,
    )


def _end_of(warm_up: WarmUp, series: Series, answers: Answers) -> Measured | None:
    low, high = warm_up.settled_low_v, warm_up.settled_high_v
    if not warm_up.trusted or warm_up.settled_v is None or low is None or high is None:
        return None
    meter = answers.meter
    percent, counts = (meter.percent, meter.counts) if meter else HAND_METER
    end = MeterRange(percent, counts, series.step or 1e-4).measured(warm_up.settled_v)
    return end + Measured(0.0, (high - low) / 2 / 1.96)


def settling_figure(
    key: str,
    title: str,
    found: tuple[Settling, ...],
    low_v: float | None,
    high_v: float | None,
) -> SeriesFigure:
    """Return readings, fitted curve, band and limits of all channels, in minutes and millivolts."""
    traces: list[Trace] = []
    bands: list[Band] = []
    for one in found:
        readings = one.series.readings()
        minutes = tuple(t / 60 for t, _ in readings)
        values = tuple(v * 1000 for _, v in readings)
        name = one.name.capitalize()
        traces.append(Trace(name, minutes, values, one.channel, points=True))
        drawn = _predicted(one)
        if drawn is not None:
            times, middle, low, high = drawn
            traces.append(Trace(f"{name}, fitted", times, middle, one.channel))
            bands.append(Band(f"{name}, 95 %", times, low, high, one.channel))
    marks = tuple(Mark("limit", "y", v * 1000) for v in (low_v, high_v) if v is not None)
    return SeriesFigure(
        key, title, Axis("time", "min"), Axis("reading", "mV"), tuple(traces), tuple(bands), marks
    )


Line = tuple[float, ...]


def _predicted(one: Settling) -> tuple[Line, Line, Line, Line] | None:
    """Return minutes, and middle, low and high of the prediction in millivolts, or ``None``."""
    series = one.series
    start = series.time_s[0] if series.since_on else 0.0
    wait = min(one.warm_up.minutes_to_wait or 0.0, _AHEAD_MIN)
    stop = series.time_s[-1] - start + 60 * wait
    times = [stop * i / (_DRAWN - 1) for i in range(_DRAWN)]
    predicted = one.warm_up.predict(times)
    if predicted is None:
        return None
    scaled = [tuple(float(v) * 1000 for v in line) for line in predicted]
    if not all(math.isfinite(v) for line in scaled for v in line):
        return None
    return tuple((t + start) / 60 for t in times), scaled[0], scaled[1], scaled[2]


def unsettled(found: tuple[Settling, ...]) -> tuple[tuple[str, str], ...]:
    """Return (kind of advice, reason) of each channel that has not reached a trusted end.

    Runaway, jumps, a draught, a drift, or readings that are still settling: this is said before
    any limit is looked at. Empty where all have settled.
    """
    return tuple(
        (one.warm_up.advice, f"{one.name.capitalize()}: {_lowered(one.warm_up.reason)}")
        for one in found
        if one.end is None
    )


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]

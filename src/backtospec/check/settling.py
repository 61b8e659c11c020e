"""Readings over time in any check: where they end, whether that may be believed, what to do now."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from backtospec.analysis.adjustment import Quantity, guide_adjustment
from backtospec.analysis.warm_up import WarmUp, analyse_warm_up, write_mv
from backtospec.check.answers import Answers, Series
from backtospec.check.figures import Axis, Band, Mark, SeriesFigure, Trace
from backtospec.quantity import Measured, MeterRange
from backtospec.records import Channel

HAND_METER = (0.5, 3.0)
"""Percent and counts taken where no meter is named (common practice for a hand meter)."""

_DRAWN = 80
_ENOUGH_TO_LOOK_BACK = 30
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
        early = _as_it_stood(one)
        if early is not None:
            times, middle, low, high = early
            foreseen = f"{name}, as foreseen at {times[0]:.0f} min"
            traces.append(Trace(foreseen, times, middle, one.channel))
            bands.append(Band(foreseen, times, low, high, one.channel))
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


def _as_it_stood(one: Settling) -> tuple[Line, Line, Line, Line] | None:
    """Return the prediction from the first third of a settled log, to hold against what came."""
    series = one.series
    if one.end is None or len(series.time_s) < _ENOUGH_TO_LOOK_BACK:
        return None
    count = len(series.time_s) // 3
    first = replace(series, time_s=series.time_s[:count], value=series.value[:count])
    start = series.time_s[0] if series.since_on else 0.0
    warm_up = _analyse(first, start, None, None)
    if warm_up.settled_v is None:
        return None
    begin, stop = first.time_s[-1], series.time_s[-1]
    times = [begin + (stop - begin) * i / (_DRAWN - 1) for i in range(_DRAWN)]
    predicted = warm_up.predict([t - start for t in times])
    if predicted is None:
        return None
    scaled = [tuple(float(v) * 1000 for v in line) for line in predicted]
    return tuple(t / 60 for t in times), scaled[0], scaled[1], scaled[2]


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


def next_turn(
    one: Settling,
    low_v: float,
    high_v: float,
    quantity: Quantity,
    position: str,
) -> tuple[str, str] | None:
    """Return (kind of advice, reason) of the next turn of a channel's trimmer, or ``None``.

    It is for a course whose end is foreseen outside the range: wholly outside, while it is still
    warming. The reading to set now follows from the model, so that nobody waits an hour per turn.

    Parameters
    ----------
    one
        The channel's readings, taken before the trimmer was touched.
    low_v, high_v
        The range it must end in, in volts.
    quantity
        ``idle`` or ``offset``.
    position
        Where the trimmer stood, noted before the first turn; empty where nobody noted it.
    """
    warm_up = one.warm_up
    low, high = warm_up.settled_low_v, warm_up.settled_high_v
    if low is None or high is None or warm_up.alarm or warm_up.advice not in _MAY_BE_TURNED:
        return None
    outside = high < low_v or low > high_v
    if not outside:
        return None
    if not position.strip():
        return "ADJUST", (
            f"{one.name.capitalize()}: it ends between {write_mv(low)} and {write_mv(high)}, "
            "outside the range. Mark or measure where its trimmer stands, and enter that; then "
            "the reading to set now can be told."
        )
    last_s, last_v = one.series.readings()[-1]
    start = one.series.time_s[0] if one.series.since_on else 0.0
    setting = guide_adjustment(
        warm_up,
        time_s=last_s - start,
        reading_v=last_v,
        target_v=(low_v + high_v) / 2,
        tolerance_v=(high_v - low_v) / 2,
        quantity=quantity,
        original_position=position,
    )
    return setting.kind, f"{one.name.capitalize()}: {_lowered(setting.reason)}"


_MAY_BE_TURNED = ("WAIT", "ADJUST", "LEAVE")


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]

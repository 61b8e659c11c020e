"""Has it settled? What a series of idle or offset readings says, and what to do next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backtospec.analysis.course import AdviceKind, Course, WarmUp, judge_course
from backtospec.analysis.disturbance import Pause, find_power_off
from backtospec.analysis.warm_up_log import clean_series, find_smallest_step

__all__ = ["AdviceKind", "Course", "Pause", "WarmUp", "analyse_warm_up", "as_document", "write_mv"]

Array = NDArray[np.float64]

HIGH = 1.5
"""Above 1.5 × the target and not slowing down is an alarm: threshold of the trade, from memory."""


def analyse_warm_up(
    elapsed_s: ArrayLike,
    value_v: Sequence[float | None] | ArrayLike,
    *,
    step_v: float | None = None,
    target_v: float | None = None,
    tolerance_v: float | None = None,
    minutes_since_on: float = 0.0,
    pauses: Sequence[Pause] = (),
) -> WarmUp:
    """Return what the readings of one channel say about its warm-up.

    Parameters
    ----------
    elapsed_s
        Times in seconds, not falling.
    value_v
        Readings in volts; None or NaN where the meter gave none (overload), left out.
    step_v
        Smallest step of the meter in volts; the smallest difference read when not given.
    target_v, tolerance_v
        What the manual asks for, if known, in volts.
    minutes_since_on
        Minutes from switch-on to time zero of the log.
    pauses
        Times with the power off, as known; others are found where the part has cooled.

    Raises
    ------
    BenchError
        When the two series differ in length, no reading is left, or time runs backwards.

    Notes
    -----
    Two same-sign exponentials of at most 60 min are profiled (see :func:`bound_end_value`). The end
    is *trusted* when, on two successive readings, the upper bound of the remaining change is
    within max(2 %, 0.3 mV) and the time since the start is at least twice the slowest time
    constant that may still carry more than that. An interruption starts the time anew.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(0, 3600, 30)
    >>> found = analyse_warm_up(time_s, np.round(10.8 - 4 * np.exp(-time_s / 400), 1) / 1000)
    >>> found.course, found.trusted, round(found.settled_v * 1000, 1)
    ('settled', True, 10.8)
    """
    time_s, value = clean_series(elapsed_s, value_v)
    step = step_v or find_smallest_step(value)
    off = find_power_off(time_s, value, step)
    found = judge_course(time_s, value, off, step, list(pauses), minutes_since_on)
    return _advise(found, time_s, value, target_v, tolerance_v)


def _advise(
    found: WarmUp,
    time_s: Array,
    value: Array,
    target_v: float | None,
    tolerance_v: float | None,
) -> WarmUp:
    """Return the answer with its advice: one word and one sentence."""
    if target_v and _is_high_and_rising(found, time_s, value, target_v):
        found = replace(found, alarm=True)
    advice, reason = _word(found, target_v, tolerance_v)
    return replace(found, advice=advice, reason=reason)


def _is_high_and_rising(found: WarmUp, time_s: Array, value: Array, target_v: float) -> bool:
    """Return whether it stands above 1.5 × its target and its rise does not slow down."""
    if value.size < 3 or abs(value[-1]) <= HIGH * abs(target_v):
        return False
    if found.fit is None and found.course == "settling":
        rates = np.diff(np.abs(value)) / np.diff(time_s)
        return bool(rates[-1] > 0 and rates[-1] >= rates[:-1].max())
    rising = (found.slope_v_per_min or 0.0) * value[-1] > 0
    return rising and found.course in ("drifting", "runaway")


def _word(
    found: WarmUp, target_v: float | None, tolerance_v: float | None
) -> tuple[AdviceKind, str]:
    slope = write_mv(found.slope_v_per_min or 0.0, 3)
    if found.alarm and found.course != "jumping":
        return "STOP", (
            "The rise does not slow down: switch off. Check the mounting of "
            "the bias sensor and the kind of bias network, and look for oscillation."
        )
    if found.course == "jumping":
        return "REPLACE", (
            f"The reading jumped at {_list_times(found.jumps_s)}: replace the trimmer, or mend "
            "the contact, before adjusting."
        )
    if found.course == "wobble":
        since = found.excluded_s[-1][0] / 60 if found.excluded_s else 0.0
        return "REMEASURE", (
            f"Moving air has swung the reading since minute {since:.0f}: put the cover on, keep "
            "draughts off the heatsink and read again."
        )
    if found.course == "drifting":
        return "REMEASURE", (
            f"It drifts by {slope} a minute and does not slow down, so there is no end value "
            "yet: log on and watch it."
        )
    return _word_on_end(found, target_v, tolerance_v)


def _word_on_end(
    found: WarmUp, target_v: float | None, tolerance_v: float | None
) -> tuple[AdviceKind, str]:
    if found.settled_v is None or found.settled_low_v is None or found.settled_high_v is None:
        return "WAIT", "Too few readings to tell where it ends: go on reading, one every minute."
    end = (
        f"{write_mv(found.settled_v)} "
        f"({write_mv(found.settled_low_v)}…{write_mv(found.settled_high_v)})"
    )
    if not found.trusted:
        wait = found.minutes_to_wait or 1.0
        start = "Looks settled, not yet proven" if found.course == "settled" else "Still settling"
        return "WAIT", f"{start}: ends near {end}; read again in {wait:.0f} min."
    if target_v is None:
        return "LEAVE", f"Settled at {end}: write it down."
    if abs(found.settled_v - target_v) <= (tolerance_v or 0.0):
        return "LEAVE", f"Settled at {end}, within {write_mv(tolerance_v or 0)} of the target."
    return "ADJUST", f"Settled at {end}; the target is {write_mv(target_v)}."


def write_mv(volts: float, digits: int = 2) -> str:
    """Return the voltage in words people use: mV below 1 V.

    Examples
    --------
    >>> write_mv(0.0123), write_mv(1.5)
    ('12.30 mV', '1.500 V')
    """
    if abs(volts) >= 1:
        return f"{volts:.3f} V"
    return f"{volts * 1e3:.{digits}f} mV"


def _list_times(times_s: tuple[float, ...]) -> str:
    return ", ".join(f"{int(t // 60)}:{int(t % 60):02d}" for t in times_s) + " min"


def as_document(channels: Mapping[str, WarmUp]) -> dict[str, object]:
    """Return the ``warm-up`` document of all channels, ready for JSON.

    Parameters
    ----------
    channels
        The answer for each channel, by its letter.

    Examples
    --------
    >>> document = as_document({"L": analyse_warm_up([0, 60], [0.006, 0.007])})
    >>> document["schema"], document["channels"]["L"]["class"]
    ('backtospec/warm-up/1', 'settling')
    """
    return {
        "schema": "backtospec/warm-up/1",
        "channels": {name: _as_entry(found) for name, found in channels.items()},
    }


def _as_entry(found: WarmUp) -> dict[str, object]:
    return {
        "class": found.course,
        "trusted": found.trusted,
        "settled_v": found.settled_v,
        "settled_low_v": found.settled_low_v,
        "settled_high_v": found.settled_high_v,
        "minutes_to_wait": found.minutes_to_wait,
        "time_constants_min": list(found.time_constants_min),
        "slope_v_per_min": found.slope_v_per_min,
        "jumps_s": list(found.jumps_s),
        "alarm": found.alarm,
        "advice": {"kind": found.advice, "reason": found.reason},
        "remaining_v_at_most": found.remaining_v,
        "now_v": found.now_v,
        "noise_v": found.noise_v,
        "excluded_s": [list(bounds) for bounds in found.excluded_s],
    }

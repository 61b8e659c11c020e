"""Has it settled? The course of an idle voltage or offset after switch-on, and its end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backtospec.analysis.disturbance import (
    Pause,
    estimate_noise,
    find_draughts,
    find_jumps,
    find_pauses,
    find_power_off,
)
from backtospec.analysis.end_value import SLOWEST_S, EndValue, bound_end_value
from backtospec.analysis.trend import Trend, fit_drift, fit_growth
from backtospec.analysis.warm_up_log import (
    Stretch,
    clean_series,
    cut_at_pauses,
    drop_slip,
    find_runs_off,
    find_smallest_step,
    leave_out_pauses,
    merge_pauses,
)

Array = NDArray[np.float64]
Course = Literal["settling", "settled", "drifting", "jumping", "wobble", "runaway"]
AdviceKind = Literal["LEAVE", "WAIT", "REMEASURE", "ADJUST", "REPLACE", "STOP"]

FEWEST_READINGS = 6
REST_SHARE = 0.02
REST_V = 0.3e-3
"""A rest of 2 % or 0.3 mV, whichever is larger, no longer matters: common practice, no source."""
LONGEST_WAIT_MIN = 240.0


@dataclass(frozen=True, slots=True)
class WarmUp:
    """What a series of readings says of one channel's warm-up; volts, seconds of the log.

    ``settled_v`` with its 95 % interval is None where there is no end value: too few readings,
    or a course that has none. ``remaining_v`` is the upper bound of the change still to come.
    ``excluded_s`` are ranges left out of the fit (draught, power off); ``pauses`` the
    interruptions after which the part warmed again from a state of its own.
    """

    course: Course
    trusted: bool
    settled_v: float | None
    settled_low_v: float | None
    settled_high_v: float | None
    minutes_to_wait: float | None
    time_constants_min: tuple[float, ...]
    slope_v_per_min: float | None
    jumps_s: tuple[float, ...]
    alarm: bool
    remaining_v: float | None
    now_v: float | None
    noise_v: float | None
    advice: AdviceKind
    reason: str
    excluded_s: tuple[tuple[float, float], ...] = ()
    pauses: tuple[Pause, ...] = ()
    fit: EndValue | None = None
    stretch_starts_s: tuple[float, ...] = ()

    def predict(self, time_s: ArrayLike) -> tuple[Array, Array, Array] | None:
        """Return the fitted course and its 95 % band (middle, low, high), or None without a fit.

        Parameters
        ----------
        time_s
            Times in seconds on the log's clock; the future is allowed.
        """
        if self.fit is None:
            return None
        stack = self._courses(np.asarray(time_s, dtype=float))
        return stack[0], stack.min(axis=0), stack.max(axis=0)

    def list_courses(self, time_s: float) -> list[tuple[float, float]]:
        """Return (value then, end value) of every course that the readings allow, best first."""
        if self.fit is None:
            return []
        then = self._courses(np.array([time_s]))[:, 0]
        curves = (self.fit.best, *self.fit.curves)
        return [(float(v), c.end_value) for v, c in zip(then, curves, strict=True)]

    def _courses(self, time_s: Array) -> Array:
        assert self.fit is not None
        part = np.maximum(np.searchsorted(self.stretch_starts_s, time_s, side="right") - 1, 0)
        since = time_s - np.array(self.stretch_starts_s)[part]
        courses = []
        for curve in (self.fit.best, *self.fit.curves):
            amplitudes = np.array(curve.amplitudes)[part]
            decays = np.exp(-since[..., None] / np.array(curve.time_constants_s))
            courses.append(curve.end_value + np.sum(amplitudes * decays, axis=-1))
        return np.array(courses)


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
    Two same-sign exponentials of at most 60 min are profiled (see :mod:`.end_value`). The end
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
    found = _judge(time_s, value, off, step, list(pauses), minutes_since_on)
    return _advise(found, target_v, tolerance_v)


def _judge(
    time_s: Array,
    value: Array,
    off: NDArray[np.bool_],
    step: float,
    known: list[Pause],
    minutes_since_on: float,
) -> WarmUp:
    """Return the class, the end and the trust at the last reading."""
    for pause in known:
        off = off | ((time_s > pause.off_s) & (time_s < pause.on_s))
    every = time_s
    pauses = merge_pauses(known + find_runs_off(time_s, off))
    time_s, value = time_s[~off], value[~off]
    if value.size < 2:
        return _too_early(value)
    noise = estimate_noise(time_s, value, step)
    pauses = merge_pauses(pauses + list(find_pauses(time_s, value, noise)))
    jumps = leave_out_pauses(pauses, find_jumps(time_s, value, noise, step))
    time_s, value, jumps = drop_slip(time_s, value, jumps)
    level = value.copy()
    for jump in jumps:
        level[time_s >= jump.time_s] -= jump.size
    draughts = find_draughts(time_s, level, noise)
    jumps = tuple(j for j in jumps if not any(a - 150 <= j.time_s <= b + 150 for a, b in draughts))
    calm = np.ones(time_s.size, dtype=bool)
    for start, end in draughts:
        calm &= (time_s < start) | (time_s > end)
    drifting_air = bool(draughts) and draughts[-1][1] > every[-1] - 90
    stretches = cut_at_pauses(time_s[calm], value[calm], pauses)
    excluded = draughts + tuple((p.off_s, p.on_s) for p in pauses)
    found = _fit(stretches, step, minutes_since_on) if not jumps else None
    if found is None:
        found = _too_early(value)
    if jumps:
        found = replace(found, course="jumping", jumps_s=tuple(j.time_s for j in jumps), alarm=True)
    elif drifting_air:
        found = replace(found, course="wobble", trusted=False)
    return replace(found, excluded_s=excluded, pauses=tuple(pauses), noise_v=noise)


def _too_early(value: Array) -> WarmUp:
    """Return an answer without an end value."""
    now = float(value[-1]) if value.size else None
    return WarmUp(
        course="settling",
        trusted=False,
        settled_v=None,
        settled_low_v=None,
        settled_high_v=None,
        minutes_to_wait=None,
        time_constants_min=(),
        slope_v_per_min=None,
        jumps_s=(),
        alarm=False,
        remaining_v=None,
        now_v=now,
        noise_v=None,
        advice="WAIT",
        reason="",
    )


def _fit(stretches: list[Stretch], step: float, minutes_since_on: float) -> WarmUp | None:
    """Return the answer for a course without jumps, or None with too few readings."""
    if not stretches or sum(s.time_s.size for s in stretches) < FEWEST_READINGS:
        return None
    fit = bound_end_value(stretches, step)
    last = stretches[-1]
    since = float(last.time_s[-1] - last.start_s)
    if len(stretches) == 1:
        since += float(last.start_s) + 60 * minutes_since_on
    course, trend = _compare(stretches, fit, step)
    if course in ("drifting", "runaway"):
        assert trend is not None
        return replace(
            _too_early(last.value),
            course=course,
            slope_v_per_min=60 * trend.slope_per_s,
            alarm=course == "runaway",
        )
    return _describe(fit, stretches, since, step)


def _compare(stretches: list[Stretch], fit: EndValue, step: float) -> tuple[Course, Trend | None]:
    """Return whether the last stretch drifts or runs away instead of tending to an end."""
    last = stretches[-1]
    if last.time_s.size < FEWEST_READINGS:
        return "settling", None
    settling = fit if len(stretches) == 1 else bound_end_value([last], step)
    drift = fit_drift(settling.last, settling.whiten_last)
    if drift.misfit >= settling.best.misfit:
        return "settling", None
    growth = fit_growth(settling.last, settling.whiten_last)
    least = min(drift.misfit, growth.misfit)
    floor = step**2 / 12 / (1 - settling.slow_share)
    variance = max(least / max(settling.last.time_s.size - 5, 1), floor)
    rising = growth.growth * np.sign(last.value[-1]) > 5 * growth.growth_sd
    steep = growth.slope_per_s * np.sign(last.value[-1]) > 0
    if (
        rising
        and steep
        and settling.best.misfit - growth.misfit > 16 * variance
        and drift.misfit - growth.misfit > 12 * variance
    ):
        return "runaway", growth
    sure = abs(drift.slope_per_s) > 5 * drift.slope_sd_per_s
    # at the longest time constant the two courses look alike, and the straight one is simpler
    endless = settling.best.slowest(2 * settling.noise) > 0.95 * SLOWEST_S
    needed = 2.5 if endless else 12.0
    if sure and settling.best.misfit - drift.misfit > needed * variance:
        return "drifting", drift
    return "settling", None


def _describe(fit: EndValue, stretches: list[Stretch], since: float, step: float) -> WarmUp:
    """Return the answer for a course that tends to an end."""
    last = stretches[-1]
    own = float(last.time_s[-1] - last.start_s)
    rest = max(REST_SHARE * abs(fit.value), REST_V)
    trusted = _is_proven(fit, own, since) and _held_before(fit, stretches, since, step)
    waits = _weigh_waits(fit, own, since, rest)
    reached = trusted or waits[0] == 0
    best = fit.best
    amplitudes = np.array(best.amplitudes)
    carrying = np.any(np.abs(amplitudes) > 2 * fit.noise, axis=0)
    constants = sorted(c for c, on in zip(best.time_constants_s, carrying, strict=True) if on)
    rates = [-a / c for a, c in zip(best.amplitudes[-1], best.time_constants_s, strict=True)]
    decays = np.exp(-own / np.array(best.time_constants_s))
    return WarmUp(
        course="settled" if reached else "settling",
        trusted=trusted,
        settled_v=fit.value,
        settled_low_v=fit.low,
        settled_high_v=fit.high,
        minutes_to_wait=0.0 if trusted else _choose_wait(waits, own),
        time_constants_min=tuple(c / 60 for c in constants),
        slope_v_per_min=60 * float(np.dot(rates, decays)),
        jumps_s=(),
        alarm=False,
        remaining_v=fit.bound_remaining(own),
        now_v=best.end_value + float(np.dot(best.amplitudes[-1], decays)),
        noise_v=fit.noise,
        advice="WAIT",
        reason="",
        fit=fit,
        stretch_starts_s=tuple(s.start_s for s in stretches),
    )


def _is_proven(fit: EndValue, own: float, since: float) -> bool:
    """Return whether little can remain, and no slow part can still carry more than that."""
    rest = max(REST_SHARE * abs(fit.value), REST_V)
    return fit.bound_remaining(own) <= rest and not _may_be_slower(fit, since, rest)


def _held_before(fit: EndValue, stretches: list[Stretch], since: float, step: float) -> bool:
    """Return whether the end was proven already at the reading before the last."""
    *earlier, last = stretches
    if last.time_s.size < FEWEST_READINGS:
        return False
    shorter = Stretch(last.start_s, last.time_s[:-1], last.value[:-1])
    before = bound_end_value([*earlier, shorter], step, slow_share=fit.slow_share)
    waited = float(last.time_s[-1] - last.time_s[-2])
    own = float(shorter.time_s[-1] - last.start_s)
    return _is_proven(before, own, since - waited)


def _may_be_slower(fit: EndValue, since: float, rest: float) -> bool:
    """Return whether a part slower than half the time since the start may still matter.

    The larger such a part, the surer it must be ruled out; 5 % of time is kept in hand.
    """
    half = since / (2 * 1.05)
    return fit.allows_slow_part(half, rest, 1.0) or fit.allows_slow_part(half, 2 * rest, 2.5)


def _weigh_waits(fit: EndValue, own: float, since: float, rest: float) -> tuple[float, float]:
    """Return the minutes until the end is reached, as likely as not and with 90 % probability.

    Every allowed curve has its own wait; the likelier the curve, the more it counts.
    """
    ahead = np.arange(0.0, LONGEST_WAIT_MIN + 1) * 60
    waits, weights = [], []
    for curve in (fit.best, *fit.curves):
        decays = np.exp(-(own + ahead[:, None]) / np.array(curve.time_constants_s))
        left = np.abs(decays @ np.array(curve.amplitudes[-1]))
        done = (left <= rest) & (since + ahead >= 2 * curve.slowest(rest))
        waits.append(float(ahead[np.argmax(done)] / 60) if done.any() else LONGEST_WAIT_MIN)
        likelihood = np.exp(-(curve.misfit - fit.best.misfit) / (2 * fit.noise**2))
        # an end twice as far away is no likelier for being spread over twice the range
        weights.append(float(likelihood) / (curve.remaining(own) + fit.noise / 2))
    order = np.argsort(waits)
    share = np.cumsum(np.array(weights)[order]) / np.sum(weights)
    even, sure = (waits[order[int(np.searchsorted(share, q))]] for q in (0.5, 0.9))
    return even, sure


def _choose_wait(waits: tuple[float, float], own: float) -> float:
    """Return the wait to advise: where it is probably over, that of the slower courses.

    When those are over too, only proof is lacking: a quarter of the time gone by gives it.
    """
    return next((wait for wait in waits if wait >= 1), max(1.0, float(round(own / 240))))


def _advise(found: WarmUp, target_v: float | None, tolerance_v: float | None) -> WarmUp:
    """Return the answer with its advice: one word and one sentence."""
    if _is_high_and_rising(found, target_v):
        found = replace(found, alarm=True)
    advice, reason = _word(found, target_v, tolerance_v)
    return replace(found, advice=advice, reason=reason)


def _is_high_and_rising(found: WarmUp, target_v: float | None) -> bool:
    """Return whether the reading is above 1.5 × its target and its rise does not slow down."""
    if not target_v or found.now_v is None or not found.slope_v_per_min:
        return False
    if found.course not in ("drifting", "runaway"):
        return False
    outward = found.slope_v_per_min * found.now_v > 0
    return outward and abs(found.now_v) > 1.5 * abs(target_v)


def _word(
    found: WarmUp, target_v: float | None, tolerance_v: float | None
) -> tuple[AdviceKind, str]:
    slope = write_mv(found.slope_v_per_min or 0.0, 3)
    if found.alarm and found.course in ("runaway", "drifting"):
        return "STOP", (
            f"The rise does not slow down ({slope} a minute): switch off. Check the mounting of "
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

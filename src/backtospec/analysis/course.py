"""The course of a warm-up: its class, its end, and whether that end is proven."""

from __future__ import annotations

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
)
from backtospec.analysis.end_value import SLOWEST_S, EndValue, bound_end_value
from backtospec.analysis.trend import Trend, fit_drift, fit_growth
from backtospec.analysis.warm_up_log import (
    Stretch,
    cut_at_pauses,
    drop_slip,
    find_runs_off,
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
UNREST = 2.5


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


def judge_course(
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
    elif found.fit and found.fit.noise > UNREST * noise:
        # the readings scatter far more around the fit than from one to the next
        found = replace(found, trusted=False)
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
        and drift.misfit - growth.misfit > 9 * variance
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
    # half a step is always hidden: a meter that coarse can prove nothing
    fine = step / 2 <= rest
    trusted = fine and _is_proven(fit, own, since) and _held_before(fit, since)
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


def _held_before(fit: EndValue, since: float) -> bool:
    """Return whether the end was proven already at the reading before the last."""
    if fit.last.time_s.size < FEWEST_READINGS:
        return False
    last_s, before_s = fit.last.time_s[[-1, -2]].tolist()
    return _is_proven(fit.before_last(), before_s - fit.last.start_s, since - (last_s - before_s))


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
    curves = (fit.best, *fit.curves)
    ahead = np.arange(0.0, LONGEST_WAIT_MIN + 1) * 60
    constants = np.array([curve.time_constants_s for curve in curves])
    amplitudes = np.array([curve.amplitudes[-1] for curve in curves])
    decays = np.exp(-(own + ahead[:, None]) / constants[:, None])
    left = np.abs(np.einsum("cak,ck->ca", decays, amplitudes))
    slowest = np.array([curve.slowest(rest) for curve in curves])
    done = (left <= rest) & (since + ahead >= 2 * slowest[:, None])
    waits = np.where(done.any(axis=1), done.argmax(axis=1), LONGEST_WAIT_MIN)
    misfits = np.array([curve.misfit for curve in curves])
    likelihoods = np.exp(-(misfits - fit.best.misfit) / (2 * fit.noise**2))
    # an end twice as far away is no likelier for being spread over twice the range
    weights = likelihoods / (left[:, 0] + fit.noise / 2)
    order = np.argsort(waits)
    share = np.cumsum(weights[order]) / np.sum(weights)
    even, sure = (float(waits[order[np.searchsorted(share, q)]]) for q in (0.5, 0.9))
    return even, sure


def _choose_wait(waits: tuple[float, float], own: float) -> float:
    """Return the wait to advise: where it is probably over, that of the slower courses.

    When those are over too, only proof is lacking: a quarter of the time gone by gives it.
    """
    return next((wait for wait in waits if wait >= 1), max(1.0, float(round(own / 240))))

"""The only judge: a measured result against a limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from backtospec.quantity import Measured
from backtospec.records import Channel, Condition, Limit

FALSE_VERDICT = 0.025
"""Accepted probability of a false pass, and of a false fail."""

_ROUNDING = 1e-9
"""Relative; keeps the last bit of a float from deciding a verdict that lies on the edge."""


class Verdict(StrEnum):
    """The outcome of a comparison."""

    PASS = "PASS"
    FAIL = "FAIL"
    UNDECIDED = "UNDECIDED"
    NOT_COMPARABLE = "NOT_COMPARABLE"
    NO_LIMIT = "NO_LIMIT"


class Bound(StrEnum):
    """Whether a value is the quantity itself or only a bound for it."""

    EQUALS = "="
    AT_MOST = "≤"
    AT_LEAST = "≥"


@dataclass(frozen=True, slots=True)
class Result:
    """One computed quantity, the way it was computed and what it rests on.

    Parameters
    ----------
    key, title
        Stable name, and the words for people.
    value
        In SI units (percent and decibel as themselves); ``None`` where it was refused.
    unit
        SI unit.
    method
        How it was computed, in a short phrase.
    inputs
        Keys of the answers it rests on.
    conditions
        The conditions it was taken under, by the names that limits use.
    bound
        ``AT_MOST`` or ``AT_LEAST`` where only a bound is honest.
    channel
        The channel it belongs to, if any.
    reason
        Why there is no value, or what must be known beside it.
    """

    key: str
    title: str
    value: Measured | None
    unit: str
    method: str
    inputs: tuple[str, ...]
    conditions: Mapping[str, float | str] = field(default_factory=dict)
    bound: Bound = Bound.EQUALS
    channel: Channel | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A result judged: the verdict, the probability that the limit is kept, and why."""

    result: Result
    limit: Limit | None
    verdict: Verdict
    probability: float | None = None
    reason: str = ""


def conformity(value: Measured, low: float | None, high: float | None) -> float:
    """Probability that the true value lies within the limits.

    Parameters
    ----------
    value
        Measured value with its standard uncertainty, taken as normally distributed.
    low, high
        Limits in the same unit; ``None`` is open.

    Returns
    -------
    float
        Between 0 and 1.

    Notes
    -----
    JCGM 106:2012, 7.3 and 7.4.

    Examples
    --------
    The guide's burst-strength example: 509.7 kPa, u = 8.6 kPa, at least 490 kPa.

    >>> round(conformity(Measured(509.7, 8.6), 490.0, None), 2)
    0.99
    """

    return max(0.0, 1.0 - _below(value, low) - _above(value, high))


def _below(value: Measured, low: float | None) -> float:
    """Probability that the true value lies below the lower limit."""
    return 0.0 if low is None else _tail(value, low - value.value)


def _above(value: Measured, high: float | None) -> float:
    """Probability that the true value lies above the upper limit."""
    return 0.0 if high is None else _tail(value, value.value - high)


def _tail(value: Measured, excess: float) -> float:
    """Probability that a limit passed by ``excess`` (negative: kept) is broken."""
    if value.u == 0:
        return 1.0 if excess > 0 else 0.0
    return 0.5 * math.erfc(-excess / (value.u * math.sqrt(2)))


def unmet(condition: Condition, conditions: Mapping[str, float | str]) -> str | None:
    """Say in words why a condition is not met, or return ``None`` where it is."""
    taken = conditions.get(condition.name)
    name = condition.name.replace("_", " ")
    if taken is None:
        return f"{name} was not stated"
    if isinstance(taken, str) or isinstance(condition.wanted, str):
        same = taken == condition.wanted
        return None if same else f"{name}: taken with {taken}, stated for {_stated(condition)}"
    if condition.wanted is not None:
        allowance = abs(condition.wanted) * condition.tolerance_percent / 100
        if abs(taken - condition.wanted) > allowance * (1 + 1e-9):
            return f"{name}: taken with {taken:g}, stated for {condition.wanted:g}"
    if condition.low is not None and taken < condition.low:
        return f"{name}: {taken:g} lies below {condition.low:g}"
    if condition.high is not None and taken > condition.high:
        return f"{name}: {taken:g} lies above {condition.high:g}"
    return None


def _stated(condition: Condition) -> str:
    """Return what a condition wants, in words."""
    wanted = condition.wanted
    if wanted is not None:
        return wanted if isinstance(wanted, str) else f"{wanted:g}"
    edges = (condition.low, condition.high)
    return "…".join("" if edge is None else f"{edge:g}" for edge in edges)


def against(result: Result, limit: Limit | None) -> Finding:
    """Judge a result against a limit.

    Parameters
    ----------
    result
        What was measured.
    limit
        What it must keep; ``None`` where nobody stated one.

    Returns
    -------
    Finding
        PASS where the probability of a false pass is at most 2.5 %, FAIL where the probability of
        conformity is at most 2.5 %, UNDECIDED between them; NOT_COMPARABLE where a condition of
        the limit was not kept or the units differ; NO_LIMIT where the limit has no bound.

    Examples
    --------
    >>> watt = Result("power", "Power", Measured(50.6, 0.5), "W", "U²/R", ("capture",))
    >>> finding = against(watt, Limit("power", 50.0, None, "W", "leaflet"))
    >>> str(finding.verdict), round(finding.probability, 2)
    ('UNDECIDED', 0.88)
    """
    if limit is None:
        return Finding(result, None, Verdict.NO_LIMIT, None, "nobody stated a limit")
    if limit.low is None and limit.high is None:
        return Finding(result, limit, Verdict.NO_LIMIT, None, "the limit states no bound")
    if result.value is None:
        return Finding(result, limit, Verdict.UNDECIDED, None, result.reason or "no value")
    reasons = [text for c in limit.conditions if (text := unmet(c, result.conditions))]
    if limit.unit != result.unit:
        reasons.append(f"taken in {result.unit or 'no unit'}, stated in {limit.unit or 'no unit'}")
    if reasons:
        return Finding(result, limit, Verdict.NOT_COMPARABLE, None, "; ".join(reasons))
    if result.bound is not Bound.EQUALS:
        return _against_bound(result, result.value, limit)
    probability = conformity(result.value, limit.low, limit.high)
    outside = _below(result.value, limit.low) + _above(result.value, limit.high)
    if _rare(outside):
        return Finding(result, limit, Verdict.PASS, probability, "inside the limit")
    if _rare(probability):
        return Finding(result, limit, Verdict.FAIL, probability, "outside the limit")
    near = "meets it" if probability >= 0.5 else "misses it"
    reason = f"{near}, within measuring error ({100 * probability:.0f} % likely inside)"
    return Finding(result, limit, Verdict.UNDECIDED, probability, reason)


def _rare(probability: float) -> bool:
    return probability <= FALSE_VERDICT * (1 + _ROUNDING)


def _against_bound(result: Result, value: Measured, limit: Limit) -> Finding:
    """Judge a value of which only a bound is known.

    "At most" keeps an upper limit that the bound itself keeps, and misses a lower limit that the
    bound itself misses, whatever the other side; it can settle nothing else. "At least" mirrors it.
    """
    low_broken, high_broken = _below(value, limit.low), _above(value, limit.high)
    if result.bound is Bound.AT_MOST:
        passes = limit.low is None and _rare(high_broken)
        fails = limit.low is not None and _rare(1 - low_broken)
        probability = 1 - high_broken if passes else 1 - low_broken
    else:
        passes = limit.high is None and _rare(low_broken)
        fails = limit.high is not None and _rare(1 - high_broken)
        probability = 1 - low_broken if passes else 1 - high_broken
    if passes:
        return Finding(result, limit, Verdict.PASS, probability, "the bound itself is inside")
    if fails:
        return Finding(result, limit, Verdict.FAIL, probability, "the bound itself is outside")
    return Finding(result, limit, Verdict.UNDECIDED, None, "only a bound is known")


def judge(results: Iterable[Result], limits: Iterable[Limit]) -> tuple[Finding, ...]:
    """Judge every result against each limit that names it, in the order given."""
    by_key: dict[str, list[Limit]] = {}
    for limit in limits:
        by_key.setdefault(limit.key, []).append(limit)
    return tuple(
        against(result, limit) for result in results for limit in by_key.get(result.key) or (None,)
    )

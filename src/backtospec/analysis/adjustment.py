"""Guided adjustment: what to set now so that it lands on the target when hot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from backtospec.analysis.warm_up import WarmUp, write_mv
from backtospec.errors import BenchError

Quantity = Literal["idle", "offset"]
SettingKind = Literal["LEAVE", "ADJUST", "WAIT", "REMEASURE", "REPLACE", "STOP"]

NEAR_ENOUGH = 0.10
"""Within 10 % is left alone where the manual gives no tolerance (old-fidelity-forum.de,
thread 14818)."""
LARGEST_STEP = 0.25
"""No turn moves the reading by more than a quarter of the target: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One turn of a trimmer: the reading before, what was asked for, and the reading after."""

    before_v: float
    asked_v: float
    after_v: float


@dataclass(frozen=True, slots=True)
class Setting:
    """What to do with a trimmer now.

    ``lands_at_v`` is where the present setting ends when hot, between ``lands_low_v`` and
    ``lands_high_v``; ``set_now_v`` is the reading to stop turning at; ``last_step`` says
    whether that reaches the target in one go.
    """

    kind: SettingKind
    reason: str
    set_now_v: float | None = None
    lands_at_v: float | None = None
    lands_low_v: float | None = None
    lands_high_v: float | None = None
    last_step: bool = True


def guide_adjustment(
    warm_up: WarmUp,
    *,
    time_s: float,
    reading_v: float,
    target_v: float,
    tolerance_v: float | None = None,
    quantity: Quantity = "idle",
    original_position: str,
    turn: Turn | None = None,
) -> Setting:
    """Return the next step of an adjustment: one reading to set now, or why not to turn.

    Parameters
    ----------
    warm_up
        The course of this channel, from readings taken before the trimmer was touched.
    time_s
        Time of the present reading on that log's clock, in seconds.
    reading_v, target_v, tolerance_v
        Present reading, and what the manual asks for when hot, in volts; without a tolerance
        10 % of the target is near enough.
    quantity
        ``idle``: a trimmer scales the whole course; ``offset``: it shifts it.
    original_position
        Where the trimmer stood, noted in words or as its resistance, before the first turn.
    turn
        The last turn made, if any.

    Raises
    ------
    BenchError
        When the original position is not noted.

    Notes
    -----
    Assumes that a turn changes how much the part idles and not how it warms, which holds for
    small steps; after a large one the log must start again.

    Examples
    --------
    >>> import numpy as np
    >>> from backtospec.analysis.warm_up import analyse_warm_up
    >>> time_s = np.arange(0, 2700, 30)
    >>> log = analyse_warm_up(time_s, np.round(12 - 4 * np.exp(-time_s / 400), 1) / 1000)
    >>> step = guide_adjustment(log, time_s=600, reading_v=0.0111, target_v=0.010,
    ...                         tolerance_v=0.0005, original_position="2 o'clock")
    >>> step.kind, round(step.set_now_v * 1000, 1)
    ('ADJUST', 9.2)
    """
    if not original_position.strip():
        raise BenchError(
            "Nothing is noted of where the trimmer stood.",
            "original position",
            "Mark or measure it before the first turn.",
        )
    refusal = _refuse(warm_up, turn)
    if refusal:
        return refusal
    near = NEAR_ENOUGH * abs(target_v) if tolerance_v is None else tolerance_v
    ways = _ways_to_hot(warm_up, time_s, quantity)
    landings = [way.land(reading_v) for way in ways]
    lands = landings[0]
    found = Setting(
        "LEAVE",
        f"As it is it lands at {write_mv(lands)}: near enough to {write_mv(target_v)}, "
        "leave it alone.",
        lands_at_v=lands,
        lands_low_v=min(landings),
        lands_high_v=max(landings),
    )
    if abs(lands - target_v) <= near:
        return found
    return _step(found, ways[0], reading_v, target_v)


@dataclass(frozen=True, slots=True)
class _Way:
    """How a reading now becomes a reading when hot."""

    factor: float
    shift: float

    def land(self, reading_v: float) -> float:
        return reading_v * self.factor + self.shift

    def start(self, hot_v: float) -> float:
        return (hot_v - self.shift) / self.factor


def _ways_to_hot(warm_up: WarmUp, time_s: float, quantity: Quantity) -> list[_Way]:
    """Return the best way to hot, then all others that the readings allow."""
    ways = [_Way(1.0, 0.0)]
    for now_v, hot_v in warm_up.list_courses(time_s):
        if quantity == "offset":
            ways.append(_Way(1.0, hot_v - now_v))
        elif now_v * hot_v > 0:
            ways.append(_Way(hot_v / now_v, 0.0))
    return ways[1:] or ways


def _refuse(warm_up: WarmUp, turn: Turn | None) -> Setting | None:
    """Return why nothing should be turned, or None."""
    if warm_up.alarm and warm_up.course != "jumping":
        return Setting("STOP", "The reading runs away: switch off, do not adjust.")
    if warm_up.course == "jumping" or (turn and _jumped(turn)):
        return Setting(
            "REPLACE",
            "The reading jumps instead of following the trimmer: stop turning, go back to the "
            "position noted, and replace the trimmer first.",
        )
    if warm_up.course == "wobble":
        return Setting("REMEASURE", "Moving air disturbs the reading: cover it and read again.")
    if warm_up.course == "drifting":
        return Setting("REMEASURE", "It drifts without an end: find the cause before adjusting.")
    if warm_up.fit is None:
        return Setting("WAIT", "Too few readings to foresee the end: log six or more first.")
    return None


def _jumped(turn: Turn) -> bool:
    """Return whether a turn went the wrong way, or much further than was asked."""
    asked, moved = turn.asked_v - turn.before_v, turn.after_v - turn.before_v
    slack = max(0.5 * abs(asked), 0.5e-3)
    return abs(moved - asked) > slack and not 0 <= moved * np.sign(asked) <= abs(asked)


def _step(found: Setting, way: _Way, reading_v: float, target_v: float) -> Setting:
    """Return the reading to set now, no further than one step away."""
    wanted = way.start(target_v)
    largest = max(LARGEST_STEP * abs(target_v), 1e-3)
    move = float(np.clip(wanted - reading_v, -largest, largest))
    last = move == wanted - reading_v
    now = reading_v + move
    text = f"Turn slowly until it reads {write_mv(now)} and stop; "
    text += (
        f"it lands at {write_mv(target_v)} hot."
        if last
        else f"a first step towards {write_mv(wanted)}. Wait a minute and read again."
    )
    return Setting(
        "ADJUST",
        text,
        set_now_v=now,
        lands_at_v=found.lands_at_v,
        lands_low_v=found.lands_low_v,
        lands_high_v=found.lands_high_v,
        last_step=last,
    )


def choose_next(
    idle: Setting, offset: Setting | None, turned_last: Quantity | None
) -> Literal["idle", "offset", "done"]:
    """Return what to turn to next: idle, offset, idle again, for each moves the other.

    Parameters
    ----------
    idle, offset
        Present settings of one channel; None for an offset that has no trimmer.
    turned_last
        Which was turned last; after the offset the idle current is read once more.

    Examples
    --------
    >>> done, turn = Setting("LEAVE", ""), Setting("ADJUST", "")
    >>> choose_next(turn, turn, None), choose_next(done, turn, "idle")
    ('idle', 'offset')
    >>> choose_next(done, done, "offset"), choose_next(done, done, "idle")
    ('idle', 'done')
    """
    if idle.kind != "LEAVE":
        return "idle"
    if offset is not None and offset.kind != "LEAVE":
        return "offset"
    return "idle" if turned_last == "offset" else "done"

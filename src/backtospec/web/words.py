"""Words and shapes of the page: a mark is shape and word, never colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from backtospec.check import AdviceKind, Conclusion
from backtospec.records import Channel, PowerState, Visit
from backtospec.report.wording import MARKS
from backtospec.verdict import Verdict

VERDICTS: Mapping[str, tuple[str, str]] = {v.value: mark for v, mark in MARKS.items()}

_GRAVEST = (
    Verdict.FAIL,
    Verdict.UNDECIDED,
    Verdict.NOT_COMPARABLE,
    Verdict.PASS,
    Verdict.NO_LIMIT,
)
_ADVICE: Mapping[AdviceKind, str] = {
    AdviceKind.STOP: "Stop",
    AdviceKind.REPLACE: "Replace",
    AdviceKind.ADJUST: "Adjust",
    AdviceKind.REMEASURE: "Measure again",
    AdviceKind.WAIT: "Wait",
    AdviceKind.PLAN: "Plan it",
    AdviceKind.LEAVE: "Leave it alone",
}
STATES: Mapping[PowerState, tuple[str, str]] = {
    PowerState.SAFE: ("Safe", "unplugged, measured discharged"),
    PowerState.OFF: ("Off", "still dangerous"),
    PowerState.LIMITED: ("On the lamp", "current limited"),
    PowerState.REDUCED: ("Reduced mains", "neither limited nor isolated"),
    PowerState.MAINS: ("On full mains", "no limiter"),
    PowerState.DRIVEN: ("Driven", "signal into dummy loads"),
}
"""Word and meaning of each power state."""

VISITS: Mapping[Visit, str] = {Visit.BEFORE: "Before the work", Visit.AFTER: "After the work"}

NOT_READ = ("·", "not read yet")


def advice_words(kind: AdviceKind) -> str:
    """Return the one word for people.

    Examples
    --------
    >>> advice_words(AdviceKind.LEAVE)
    'Leave it alone'
    """
    return _ADVICE[kind]


def channel_word(channel: Channel | None) -> str:
    """Return a channel in a word, or an empty text."""
    if channel is None:
        return ""
    return {Channel.LEFT: "left", Channel.RIGHT: "right", Channel.MONO: "mono"}[channel]


def gravest(verdicts: Iterable[Verdict]) -> Verdict | None:
    """Return the one that counts for all of them; ``None`` where there is none."""
    found = set(verdicts)
    return next((v for v in _GRAVEST if v in found), None)


def mark_of(conclusions: Iterable[Conclusion]) -> tuple[str, str]:
    """Return shape and word for what was concluded together."""
    known = tuple(conclusions)
    if any(a.kind is AdviceKind.STOP for c in known for a in c.counsel.advice):
        return "✕", "stop"
    verdict = gravest(f.verdict for c in known for f in c.findings)
    if verdict is not None:
        return MARKS[verdict]
    return MARKS[Verdict.NO_LIMIT] if known else NOT_READ


def clock(minutes: float | None) -> str:
    """Return minutes as hours, minutes and seconds.

    Examples
    --------
    >>> clock(42.17), clock(None)
    ('0:42:10', '')
    """
    if minutes is None:
        return ""
    seconds = round(minutes * 60)
    return f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"

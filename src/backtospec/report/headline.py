"""The verdict in one line."""

from __future__ import annotations

from collections.abc import Iterable

from backtospec.bench.jobs import JudgedSitting
from backtospec.check import AdviceKind
from backtospec.records import Channel, Visit
from backtospec.report.claims import Claim, Judged, frequencies_text, judged_in
from backtospec.report.document import Headline
from backtospec.report.wording import (
    MARKS,
    limit_text,
    listed,
    lowered,
    result_text,
)
from backtospec.verdict import Verdict

MOST_NAMED = 3
"""Failures named in the line; the others are counted."""

_CHANNELS: dict[Channel | None, str] = {Channel.LEFT: "left ", Channel.RIGHT: "right "}


def headline_of(
    sittings: tuple[JudgedSitting, ...], claims: list[Claim], visit: Visit | None
) -> Headline:
    """Return the verdict in one line.

    Parameters
    ----------
    sittings
        Those that count.
    claims
        The maker's promises.
    visit
        The visit reported; ``None`` where no check was run.
    """
    if visit is None:
        return Headline("–", "nothing judged", "No check has been run; nothing is claimed.")
    found_so = visit is Visit.BEFORE
    line = "; ".join(_pieces(sittings, claims)) or "nothing could be judged"
    before = "As found, before any work: " if found_so else ""
    line = before + (line if before else line[:1].upper() + line[1:]) + "."
    return Headline(*_mark(sittings, claims), line)


def _mark(sittings: tuple[JudgedSitting, ...], claims: list[Claim]) -> tuple[str, str]:
    verdicts = [j.finding.verdict for j in judged_in(sittings)]
    if _stops(sittings):
        return "✕", "stop"
    if Verdict.FAIL in verdicts:
        return MARKS[Verdict.FAIL]
    if Verdict.UNDECIDED in verdicts:
        return MARKS[Verdict.UNDECIDED]
    spot = [c for c in claims if not c.over_band]
    open_ = {id(j.finding) for c in claims if c.over_band for j in c.judged}
    if any(c.missing for c in spot) or any(
        j.finding.verdict is Verdict.NOT_COMPARABLE and id(j.finding) not in open_
        for j in judged_in(sittings)
    ):
        return "?", "not all shown"
    if claims and len(spot) < len(claims) and not all(c.kept for c in claims if c.over_band):
        return "✓", "in spec, as shown"
    if claims:
        return MARKS[Verdict.PASS]
    if Verdict.PASS in verdicts:
        return "✓", "inside common practice"
    return MARKS[Verdict.NO_LIMIT]


def _pieces(sittings: tuple[JudgedSitting, ...], claims: list[Claim]) -> Iterable[str]:
    for reason in _stops(sittings)[:1]:
        yield f"stop: {lowered(reason).rstrip('.')}"
    yield from _failures(claims, sittings)
    for claim in claims:
        if claim.rating and claim.kept:
            where = "over its whole band" if claim.over_band else frequencies_text(claim)
            yield f"meets its rated {claim.limit} {where}".rstrip()
    yield from _kept_limits(sittings, claims)
    yield from _undecided(sittings, claims)
    yield from _not_shown(claims)


def _stops(sittings: tuple[JudgedSitting, ...]) -> list[str]:
    return [
        advice.reason
        for sitting in sittings
        if sitting.conclusion
        for advice in sitting.conclusion.counsel.advice
        if advice.kind is AdviceKind.STOP
    ]


def _failures(claims: list[Claim], sittings: tuple[JudgedSitting, ...]) -> Iterable[str]:
    rated = [c for c in claims if c.rating and c.has(Verdict.FAIL)]
    told = {id(j.finding) for c in rated for j in c.judged}
    for claim in rated:
        failed = [j for j in claim.judged if j.finding.verdict is Verdict.FAIL]
        yield f"does not meet its rated {claim.limit}: {listed(_value(j) for j in failed)}"
    others = [
        j
        for j in judged_in(sittings)
        if j.finding.verdict is Verdict.FAIL and id(j.finding) not in told
    ]
    named = [f"{lowered(j.title)} {_value(j)}, {_kept(j)}" for j in others[:MOST_NAMED]]
    more = len(others) - len(named)
    if named:
        yield f"out of spec: {'; '.join(named)}" + (f"; and {more} more" if more else "")


def _value(judged: Judged) -> str:
    result = judged.finding.result
    channel = _CHANNELS.get(result.channel, "")
    return f"{channel}{result_text(result)}"


def _kept(judged: Judged) -> str:
    limit = judged.finding.limit
    assert limit is not None
    return f"limit {limit_text(limit)}" + (" by convention" if limit.convention else "")


def _kept_limits(sittings: tuple[JudgedSitting, ...], claims: list[Claim]) -> Iterable[str]:
    """Yield the checks whose every limit is kept, the maker's apart from the trade's."""
    rated = {j.check_title for c in claims if c.rating for j in c.judged}
    by_check: dict[str, list[Judged]] = {}
    for j in judged_in(sittings):
        if j.finding.verdict is not Verdict.NO_LIMIT and j.check_title not in rated:
            by_check.setdefault(j.check_title, []).append(j)
    inside: dict[str, list[str]] = {
        "the manual": [],
        "the maker's limits": [],
        "common practice": [],
    }
    for title, found in by_check.items():
        if all(j.finding.verdict is Verdict.PASS for j in found):
            inside[_whose(found)].append(lowered(title))
    for whose, titles in inside.items():
        if titles:
            yield f"{listed(titles)} inside {whose}"


def _whose(judged: list[Judged]) -> str:
    """Return whose limits these are; one of the maker's is enough to be the maker's."""
    limits = [j.finding.limit for j in judged if j.finding.limit]
    sources = [limit.source for limit in limits if not limit.convention]
    if not sources:
        return "common practice"
    return "the manual" if all("manual" in source for source in sources) else "the maker's limits"


def _undecided(sittings: tuple[JudgedSitting, ...], claims: list[Claim]) -> Iterable[str]:
    rated = [c for c in claims if c.rating and c.has(Verdict.UNDECIDED)]
    told = {id(j.finding) for c in rated for j in c.judged}
    for claim in rated:
        open_ = [j for j in claim.judged if j.finding.verdict is Verdict.UNDECIDED]
        words = listed(dict.fromkeys(j.finding.reason for j in open_))
        yield f"rated {claim.limit} undecided: {words}"
    titles = dict.fromkeys(
        lowered(j.check_title)
        for j in judged_in(sittings)
        if j.finding.verdict is Verdict.UNDECIDED and id(j.finding) not in told
    )
    if titles:
        yield f"{listed(titles)} undecided"


def _not_shown(claims: list[Claim]) -> Iterable[str]:
    missing = [
        c for c in claims if c.missing or (c.has(Verdict.NOT_COMPARABLE) and not c.over_band)
    ]
    ratings = [f"its rated {c.limit}" for c in missing if c.rating]
    others = [lowered(c.title) for c in missing if not c.rating]
    names = list(dict.fromkeys(ratings + others))
    if names:
        yield f"{listed(names)} not shown"

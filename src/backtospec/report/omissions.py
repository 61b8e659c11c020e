"""What was not shown, and why: said as plainly as what was."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.check import Stage
from backtospec.records import Channel, Visit
from backtospec.report.claims import Claim, Judged, judged_in
from backtospec.report.document import Omission
from backtospec.report.evidence import CHANNELS
from backtospec.report.wording import amount, limit_text, listed
from backtospec.verdict import Verdict


def omissions_of(
    view: JobView, sittings: tuple[JudgedSitting, ...], claims: list[Claim]
) -> tuple[Omission, ...]:
    """Return everything a reader might take as shown and must not.

    Parameters
    ----------
    view
        The whole job.
    sittings
        Those that count.
    claims
        The maker's promises.
    """
    found = [
        *_ratings(view, claims),
        *_findings(sittings),
        *_stages(view),
        *_quick(view),
    ]
    return tuple(dict.fromkeys(found))


def _ratings(view: JobView, claims: list[Claim]) -> Iterator[Omission]:
    if not view.spec.ratings:
        yield Omission("Rated power", "the spec sheet states none")
    for claim in claims:
        if claim.missing:
            name = f"Rated {claim.limit}" if claim.rating else f"{claim.title}, {claim.limit}"
            yield Omission(name, claim.missing)
    told = {claim.rating for claim in claims if claim.over_band}
    for claim in claims:
        rating = claim.rating
        if rating is None or not claim.judged or claim.over_band:
            continue
        low, high = rating.band_low_hz, rating.band_high_hz
        taken = _numbers(claim, "frequency_hz")
        if (
            rating not in told
            and low
            and high
            and low < high
            and taken
            and not _covers(taken, low, high)
        ):
            shown = listed(amount(f, "Hz", 3) for f in sorted(taken))
            yield Omission(
                f"Rated {claim.limit} from {amount(low, 'Hz')} to {amount(high, 'Hz')}",
                f"shown at {shown} only",
            )
        if rating.rule and not any("rule" in j.finding.result.conditions for j in claim.judged):
            yield Omission(
                f"Rated {claim.limit} by the rule {rating.rule}",
                "the warm-up, duration and mains which the rule asks for were not recorded with "
                "the reading",
            )


def _numbers(claim: Claim, name: str) -> set[float]:
    values = (j.finding.result.conditions.get(name) for j in claim.judged)
    return {float(f"{v:.3g}") for v in values if isinstance(v, float | int)}


def _covers(taken: set[float], low: float, high: float) -> bool:
    return min(taken) <= low * 1.05 and max(taken) >= high / 1.05


def _findings(sittings: Iterable[JudgedSitting]) -> Iterator[Omission]:
    for j in judged_in(sittings):
        finding = j.finding
        title = j.title
        channel = j.finding.result.channel
        if channel in (Channel.LEFT, Channel.RIGHT):
            title = f"{title}, {CHANNELS[channel]}"
        if finding.verdict is Verdict.NOT_COMPARABLE:
            kept = f" against {limit_text(finding.limit)}" if finding.limit else ""
            yield Omission(title + kept, f"not comparable: {finding.reason}")
        elif finding.verdict is Verdict.UNDECIDED:
            yield Omission(title, f"undecided: {plain_reason(j)}")
        elif finding.result.value is None:
            yield Omission(title, finding.result.reason or "no value")


def plain_reason(judged: Judged) -> str:
    """Return why a finding is undecided, with how likely it is to be inside in plain words."""
    finding = judged.finding
    if finding.probability is None or "likely" in finding.reason:
        return finding.reason
    return f"{finding.reason} ({100 * finding.probability:.0f} % likely inside)"


def _stages(view: JobView) -> Iterator[Omission]:
    """Yield the stages nobody read anything in, and those that were read before the work only."""
    visits: dict[Stage, set[Visit]] = {}
    for sitting in view.sittings:
        if sitting.conclusion is not None:
            visits.setdefault(sitting.conclusion.check.stage, set()).add(sitting.sitting.visit)
    unread = [s.title for s in Stage if s not in visits and s is not Stage.HAND_BACK]
    if unread:
        yield Omission("Stages without a reading", ", ".join(unread))
    if any(Visit.AFTER in seen for seen in visits.values()):
        only = [s.title for s in Stage if visits.get(s) == {Visit.BEFORE}]
        if only:
            yield Omission("Read before the work only", ", ".join(only))


def _quick(view: JobView) -> Iterator[Omission]:
    count = sum(len(s.readings) for s in view.sittings if s.conclusion is None)
    if count:
        plural = "readings were" if count > 1 else "reading was"
        yield Omission("Quick readings", f"{count} {plural} taken outside any check: not judged")

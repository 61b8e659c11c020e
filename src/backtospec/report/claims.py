"""What the maker promised, matched with what was measured."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.records import Channel, IdleSpec, Limit, Rating, SpecSheet, Visit
from backtospec.report.evidence import SUBJECTS, title_of
from backtospec.report.wording import (
    amount,
    conditions_text,
    limit_text,
    lowered,
    rating_conditions,
    rating_text,
    source_text,
    taken_text,
)
from backtospec.verdict import Finding, Verdict

SETTINGS = ("load_ohm", "channels_driven", "frequency_hz", *SUBJECTS)
"""What makes two sittings of one check different work rather than a repetition."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One finding and the sitting it came from."""

    sitting: JudgedSitting
    finding: Finding

    @property
    def readings(self) -> tuple[str, ...]:
        """Ids of the readings it rests on."""
        return tuple(dict.fromkeys(self.sitting.reading_ids(self.finding.result.inputs)))

    @property
    def check_title(self) -> str:
        """Title of the check."""
        assert self.sitting.conclusion is not None
        return self.sitting.conclusion.check.title

    @property
    def title(self) -> str:
        """Title of the result without its channel, with the check and part where it needs them."""
        result, about = self.finding.result, title_of(self.sitting)
        title = (
            stem(result.title) if result.channel in (Channel.LEFT, Channel.RIGHT) else result.title
        )
        if about.casefold() in title.casefold():
            return title[:1].upper() + title[1:]
        return f"{about}: {lowered(title)}"


@dataclass(frozen=True, slots=True)
class Claim:
    """One promise of the maker with every finding that bears on it.

    ``missing`` says why there is no finding; ``over_band`` is a rating asked for at every frequency
    of its band, which a reading at one frequency leaves open.
    """

    title: str
    limit: str
    conditions: str
    source: str
    judged: tuple[Judged, ...] = ()
    rating: Rating | None = None
    missing: str = ""
    over_band: bool = False

    def has(self, verdict: Verdict) -> bool:
        """Return whether a finding has that verdict."""
        return any(j.finding.verdict is verdict for j in self.judged)

    @property
    def kept(self) -> bool:
        """True where every finding is inside."""
        return bool(self.judged) and all(j.finding.verdict is Verdict.PASS for j in self.judged)


def standing(view: JobView, visit: Visit) -> tuple[JudgedSitting, ...]:
    """Return the sittings that count in one visit, in the order the work is done.

    A later sitting of the same check replaces an earlier one, unless it was held at another load,
    frequency or part.
    """
    latest: dict[tuple[str | None, tuple[str, ...]], JudgedSitting] = {}
    for sitting in view.sittings:
        if sitting.conclusion is not None and sitting.sitting.visit is visit:
            latest[sitting.sitting.check_id, setting_of(sitting)] = sitting
    return tuple(sorted(latest.values(), key=_stage))


def _stage(sitting: JudgedSitting) -> tuple[int, str]:
    assert sitting.conclusion is not None
    return sitting.conclusion.check.stage, sitting.conclusion.check.id


def setting_of(sitting: JudgedSitting) -> tuple[str, ...]:
    assert sitting.conclusion is not None
    taken = {
        name: f"{value:.1g}" if isinstance(value, float | int) else value
        for finding in sitting.conclusion.findings
        for name, value in finding.result.conditions.items()
        if name in SETTINGS
    }
    texts = sitting.conclusion.answers.texts
    taken |= {name: texts[name] for name in SUBJECTS if name in texts}
    return tuple(f"{name}={taken[name]}" for name in SETTINGS if name in taken)


def judged_in(sittings: Iterable[JudgedSitting]) -> Iterator[Judged]:
    """Yield every finding of the sittings."""
    for sitting in sittings:
        if sitting.conclusion is not None:
            for finding in sitting.conclusion.findings:
                yield Judged(sitting, finding)


def stem(text: str) -> str:
    """Return a key or title without its channel, so that left and right are found together.

    Examples
    --------
    >>> stem("offset_left_v"), stem("DC offset, right"), stem("right minus left, of their mean")
    ('offset_v', 'DC offset', 'right minus left, of their mean')
    """
    if "minus" in text:
        return text
    without = re.sub(r"(?:[,:]\s*|\s+)(?:left|right)(?: channel)?\b", "", text, flags=re.I)
    without = re.sub(r"(?:^|_)(?:left|right|l|r)(?=_|$)", "", without)
    return without.lstrip("_") or text


def claims_of(view: JobView, sittings: tuple[JudgedSitting, ...], elsewhere: str) -> list[Claim]:
    """Return every promise of the maker, ratings first.

    Parameters
    ----------
    view
        The job with its spec sheet.
    sittings
        Those that count.
    elsewhere
        What to say of a promise without a finding.
    """
    makers = [j for j in judged_in(sittings) if j.finding.limit and not j.finding.limit.convention]
    claims: list[Claim] = []
    taken: set[int] = set()
    for rating in view.spec.ratings:
        mine = [j for j in makers if id(j) not in taken and _bears_on(j.finding.limit, rating)]
        taken |= {id(j) for j in mine}
        watts = [j for j in mine if j.finding.limit and j.finding.limit.unit == "W"]
        spot = tuple(j for j in watts if not _over_band(j))
        whole = tuple(j for j in watts if _over_band(j))
        words = (rating_text(rating), rating_conditions(rating), rating.source)
        missing = "" if spot else elsewhere
        claims.append(Claim("Rated power", *words, spot, rating, missing))
        if whole:
            limit = whole[0].finding.limit
            band = conditions_text(limit.conditions) if limit else ""
            title = "Rated power over its band"
            claims.append(
                Claim(title, words[0], band, rating.source, whole, rating, over_band=True)
            )
        claims += _grouped([j for j in mine if j not in watts])
    claims += _grouped([j for j in makers if id(j) not in taken])
    return claims + _unmeasured(view.spec, makers, elsewhere)


def _over_band(judged: Judged) -> bool:
    limit = judged.finding.limit
    return limit is not None and any(c.name == "band" for c in limit.conditions)


def _bears_on(limit: Limit | None, rating: Rating) -> bool:
    """Return whether a limit is one of a rating's own figures, at the rating's load."""
    if limit is None or rating.source not in limit.source:
        return False
    loads = [c.wanted for c in limit.conditions if c.name == "load_ohm"]
    if any(isinstance(ohm, float | int) and ohm != rating.load_ohm for ohm in loads):
        return False
    if limit.unit == "W":
        return limit.low is not None and math.isclose(limit.low, rating.power_w)
    return (
        limit.unit == "%"
        and limit.high is not None
        and rating.thd_percent is not None
        and math.isclose(limit.high, rating.thd_percent)
    )


def _grouped(judged: list[Judged]) -> list[Claim]:
    """Return one claim for all findings against the same limit of the same quantity."""
    groups: dict[tuple[str, ...], list[Judged]] = {}
    for j in judged:
        limit = j.finding.limit
        assert limit is not None
        text = (j.title, limit_text(limit), conditions_text(limit.conditions))
        groups.setdefault((*text, source_text(limit)), []).append(j)
    return [
        Claim(title, limit, conditions, source, tuple(found))
        for (title, limit, conditions, source), found in groups.items()
    ]


def _unmeasured(spec: SpecSheet, makers: list[Judged], elsewhere: str) -> list[Claim]:
    """Return the idle current and offset that the sheet states and nobody measured."""
    keys = {j.finding.result.key for j in makers}
    claims = []
    idle, offset = spec.idle, spec.offset
    if idle and not any(key.startswith(("idle", "drop", "supply_rise", "settled")) for key in keys):
        across = idle.across.replace("-", " ")
        claims.append(
            Claim(
                "Idle current",
                _idle_text(idle),
                f"stated as {across}",
                idle.source,
                missing=elsewhere,
            )
        )
    if offset and not any("offset" in key for key in keys):
        bound = f"within ±{amount(offset.high_v, 'V')}"
        warm = offset.warm_minutes
        words = "" if warm is None else f"at least {warm:g} min after power-on"
        claims.append(Claim("DC offset", bound, words, offset.source, missing=elsewhere))
    return claims


def _idle_text(idle: IdleSpec) -> str:
    unit = "A" if idle.across in ("current", "supply-rise") else "V"
    return limit_text(Limit("idle", idle.low, idle.high, unit, idle.source))


def frequencies_text(claim: Claim) -> str:
    """Return at which frequencies a claim was shown: "at 1 kHz", or nothing where none is known."""
    taken = {
        value
        for j in claim.judged
        if isinstance(value := j.finding.result.conditions.get("frequency_hz"), float | int)
    }
    rounded = sorted({float(f"{value:.2g}") for value in taken})
    return " and ".join(taken_text("frequency_hz", value) for value in rounded)

"""From one judged job to the document of its report. Pure: nothing is read, nothing is drawn."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.check import (
    Bar,
    BarsFigure,
    CurveFigure,
    CycleFigure,
    Figure,
    SeriesFigure,
    TableFigure,
    Trace,
)
from backtospec.records import Channel, Visit
from backtospec.report.claims import Claim, Judged, claims_of, judged_in, setting_of, standing, stem
from backtospec.report.document import (
    SCHEMA,
    AdviceLine,
    CauseLine,
    Cell,
    Change,
    Comparison,
    Part,
    Plate,
    ReportDocument,
    Row,
    Section,
)
from backtospec.report.evidence import (
    circumstances,
    digest,
    evidence_of,
    instruments_of,
    title_of,
)
from backtospec.report.headline import headline_of
from backtospec.report.omissions import omissions_of, plain_reason
from backtospec.report.wording import (
    MARKS,
    amount,
    conditions_text,
    limit_text,
    measured,
    result_text,
    source_text,
    when,
)
from backtospec.verdict import Bound, Finding, Verdict

WORST_FIRST = (
    Verdict.FAIL,
    Verdict.UNDECIDED,
    Verdict.NOT_COMPARABLE,
    Verdict.PASS,
    Verdict.NO_LIMIT,
)
PLACES: dict[Channel | None, str] = {Channel.LEFT: "left", Channel.RIGHT: "right"}


def build_document(
    view: JobView, *, made_at: datetime, instruments: Iterable[str] = ()
) -> ReportDocument:
    """Return the report of one job as data.

    Parameters
    ----------
    view
        The job, judged. It may lack ratings, sittings, or one of the two visits; the report then
        says so.
    made_at
        Printed on the report and part of its id.
    instruments
        What was used beside the meters named on readings, in words.

    Notes
    -----
    The state reported is the one after the work; where nothing was read after it, the one before.
    Every sitting stands in the evidence, repeated ones too.
    """
    after, before = standing(view, Visit.AFTER), standing(view, Visit.BEFORE)
    visit = Visit.AFTER if after else Visit.BEFORE if before else None
    reported = after or before
    claims = _claims(view, reported, before if after else ())
    shown = _with_untouched(after, before)
    rows = [row for s in shown for row in _rows(judged_in([s]))]
    readings = [reading for sitting in view.sittings for reading in sitting.readings]
    return ReportDocument(
        schema=SCHEMA,
        id=f"{view.job.id}-{made_at:%Y%m%d-%H%M%S}",
        job_id=view.job.id,
        job_title=view.job.title,
        maker=view.amplifier.maker,
        model=view.amplifier.model,
        serial=view.amplifier.serial,
        facts=_facts(view),
        made=when(made_at),
        made_at=made_at.isoformat(),
        headline=headline_of(reported, claims, visit),
        claims=tuple(row for claim in claims for row in _claim_rows(claim)),
        sections=tuple(_section(sitting) for sitting in shown),
        tracking=tuple(row for row in rows if _compares_channels(row)),
        comparisons=_comparisons(before, after),
        plates=tuple(_plates([*before, *after])),
        parts=tuple(
            Part(r.designator, r.old, r.new, r.reason, when(r.fitted_at)) for r in view.replacements
        ),
        instruments=instruments_of(view, instruments),
        cautions=_cautions(view),
        omissions=omissions_of(view, reported, claims),
        evidence=evidence_of(view),
        evidence_sha256=digest(readings),
    )


def _claims(
    view: JobView, reported: tuple[JudgedSitting, ...], before: tuple[JudgedSitting, ...]
) -> list[Claim]:
    claims = claims_of(view, reported, "not measured")
    if not before:
        return claims
    earlier = {(c.title, c.limit) for c in claims_of(view, before, "not measured") if c.judged}
    return [
        replace(c, missing="measured before the work only")
        if c.missing and (c.title, c.limit) in earlier
        else c
        for c in claims
    ]


def _with_untouched(
    after: tuple[JudgedSitting, ...], before: tuple[JudgedSitting, ...]
) -> tuple[JudgedSitting, ...]:
    """Return the sittings after the work, and those before it of checks not repeated since."""
    repeated = {s.sitting.check_id for s in after}
    kept = [s for s in before if s.sitting.check_id not in repeated]
    return tuple(sorted([*after, *kept], key=lambda s: _order(s)))


def _order(sitting: JudgedSitting) -> int:
    return sitting.conclusion.check.stage if sitting.conclusion else 0


def _facts(view: JobView) -> tuple[str, ...]:
    spec, amplifier = view.spec, view.amplifier
    facts = [f"serial number {amplifier.serial}" if amplifier.serial else "serial number not noted"]
    if spec.year:
        facts.append(str(spec.year))
    if spec.topology:
        facts.append(spec.topology.replace("-", " "))
    if spec.mains_v:
        hertz = f", {amount(spec.mains_hz, 'Hz')}" if spec.mains_hz else ""
        facts.append(f"mains {amount(spec.mains_v, 'V')}{hertz}")
    return tuple(facts)


def _cell(judged: Judged) -> Cell:
    finding = judged.finding
    mark, word = MARKS[finding.verdict]
    note = {
        Verdict.NOT_COMPARABLE: finding.reason,
        Verdict.UNDECIDED: plain_reason(judged),
    }.get(finding.verdict, finding.result.reason)
    return Cell(result_text(finding.result), mark, word, judged.readings, note)


def _limit_words(finding: Finding) -> tuple[str, str, str]:
    limit = finding.limit
    if limit is None:
        return "", "", ""
    return limit_text(limit), conditions_text(limit.conditions), source_text(limit)


def _claim_rows(claim: Claim) -> list[Row]:
    if not claim.judged:
        return [
            Row(claim.title, claim.limit, claim.conditions, claim.source, missing=claim.missing)
        ]
    return [
        replace(row, title=claim.title, limit=claim.limit, conditions=claim.conditions)
        for row in _rows(claim.judged)
    ]


def _rows(judged: Iterable[Judged]) -> list[Row]:
    """Return one row per quantity and limit, left and right side by side."""
    rows: list[tuple[tuple[str, ...], dict[str, Judged]]] = []
    for j in judged:
        result = j.finding.result
        paired = result.channel in PLACES
        title = stem(result.title) if paired else result.title
        key = (stem(result.key) if paired else result.key, title, *_limit_words(j.finding))
        place = PLACES.get(result.channel, "both")
        free = next((cells for k, cells in rows if k == key and place not in cells), None)
        if free is None:
            rows.append((key, {place: j}))
        else:
            free[place] = j
    return [_row(key[1:], cells) for key, cells in rows]


def _row(words: tuple[str, ...], cells: dict[str, Judged]) -> Row:
    title, limit, conditions, source = words
    first = next(iter(cells.values())).finding.result
    printed = {place: _cell(j) for place, j in cells.items()}
    return Row(
        title[:1].upper() + title[1:],
        limit,
        conditions,
        source,
        first.method,
        printed.get("left"),
        printed.get("right"),
        printed.get("both"),
        _difference(cells),
    )


def _difference(cells: dict[str, Judged]) -> str:
    """Return right minus left, in which what both channels share has cancelled."""
    if set(cells) != {"left", "right"}:
        return ""
    left, right = cells["left"].finding.result, cells["right"].finding.result
    exact = left.bound is Bound.EQUALS and right.bound is Bound.EQUALS
    if not exact or left.value is None or right.value is None or left.unit != right.unit:
        return ""
    like = max(abs(left.value.value), abs(right.value.value))
    return measured(right.value - left.value, left.unit, like)


def _compares_channels(row: Row) -> bool:
    words = row.title.casefold()
    return row.both is not None and any(
        w in words for w in ("tracking", "balance", "minus left", "over left")
    )


def _section(sitting: JudgedSitting) -> Section:
    conclusion = sitting.conclusion
    assert conclusion is not None
    counsel = conclusion.counsel
    return Section(
        conclusion.check.id,
        sitting.sitting.id,
        title_of(sitting),
        sitting.sitting.visit,
        circumstances(sitting),
        tuple(_rows(judged_in([sitting]))),
        tuple(AdviceLine(a.kind, a.reason) for a in counsel.advice),
        tuple(
            CauseLine(c.name, c.evidence_for, c.evidence_against, c.next_reading)
            for c in counsel.causes
        ),
        counsel.next_step,
    )


def _comparisons(
    before: tuple[JudgedSitting, ...], after: tuple[JudgedSitting, ...]
) -> tuple[Comparison, ...]:
    """Return every result that was read both before and after the work, left beside right."""
    earlier = {_same(j): j for j in _worst(before)}
    found: dict[tuple[str, str], dict[str, Change]] = {}
    for new in _worst(after):
        old = earlier.get(_same(new))
        if old is None:
            continue
        result = new.finding.result
        title = stem(result.title) if result.channel in PLACES else result.title
        row = found.setdefault((title_of(new.sitting), title[:1].upper() + title[1:]), {})
        row[PLACES.get(result.channel, "both")] = Change(_cell(old), _cell(new))
    return tuple(
        Comparison(check, title, row.get("left"), row.get("right"), row.get("both"))
        for (check, title), row in found.items()
    )


def _worst(sittings: tuple[JudgedSitting, ...]) -> Iterable[Judged]:
    """Return each result once, with its worst verdict where several limits bear on it."""
    order = list(WORST_FIRST)
    worst: dict[tuple[object, ...], Judged] = {}
    for j in judged_in(sittings):
        known = worst.setdefault(_same(j), j)
        if order.index(j.finding.verdict) < order.index(known.finding.verdict):
            worst[_same(j)] = j
    return worst.values()


def _same(judged: Judged) -> tuple[object, ...]:
    """Return what must agree for two results to be the same quantity, before and after."""
    result = judged.finding.result
    setting = setting_of(judged.sitting)
    return (judged.sitting.sitting.check_id, setting, result.key, result.title, result.channel)


def _plates(sittings: Iterable[JudgedSitting]) -> Iterable[Plate]:
    count = 0
    for sitting in sittings:
        if sitting.conclusion is None:
            continue
        for figure in sitting.conclusion.figures:
            clean = _without_gaps(figure)
            count += 1
            visit = sitting.sitting.visit
            title = title_of(sitting)
            yield Plate(
                f"figure-{count}", sitting.sitting.id, title, visit, _described(clean, visit), clean
            )


def _without_gaps(figure: Figure) -> Figure:
    """Return a figure without the points that are not finite: they are no readings."""
    if isinstance(figure, TableFigure):
        return figure
    if isinstance(figure, BarsFigure):
        return replace(figure, bars=tuple(b for b in figure.bars if _finite(b)))
    traces = tuple(_finite_trace(trace) for trace in figure.traces)
    marks = tuple(m for m in figure.marks if math.isfinite(m.at))
    if isinstance(figure, CycleFigure):
        return replace(figure, traces=traces, marks=marks)
    bands = tuple(
        band for band in figure.bands if all(map(math.isfinite, (*band.x, *band.low, *band.high)))
    )
    return replace(figure, traces=traces, bands=bands, marks=marks)


def _finite(bar: Bar) -> bool:
    return all(math.isfinite(v) for v in (bar.value, bar.low, bar.high) if v is not None)


def _finite_trace(trace: Trace) -> Trace:
    kept = [
        i
        for i, (x, y) in enumerate(zip(trace.x, trace.y, strict=True))
        if math.isfinite(x) and math.isfinite(y)
    ]
    return replace(
        trace,
        x=tuple(trace.x[i] for i in kept),
        y=tuple(trace.y[i] for i in kept),
        at_most=tuple(new for new, old in enumerate(kept) if old in trace.at_most),
    )


def _described(figure: Figure, visit: Visit) -> str:
    """Return what a figure shows, for those who do not see it."""
    match figure:
        case SeriesFigure() | CurveFigure() | CycleFigure():
            what = f"{figure.y.title} against {figure.x.title}"
            names = ", ".join(t.title for t in figure.traces)
        case BarsFigure():
            what = figure.y.title
            names = ", ".join(f"{b.title} {b.value:.3g} {figure.y.unit}" for b in figure.bars)
        case TableFigure():
            what, names = "table", ", ".join(figure.columns)
    return f"{figure.title}, {visit} the work: {what}; {names}"


def _cautions(view: JobView) -> tuple[str, ...]:
    used = [s.conclusion.check for s in view.sittings if s.conclusion]
    return tuple(dict.fromkeys(text for check in used for text in check.cautions))

"""Watching a check settle: one key a reading, the curve, where it ends and when."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fastapi import APIRouter, Request, Response

from backtospec import catalogue
from backtospec.bench.jobs import JudgedSitting
from backtospec.check import Check, ChoiceInput, NumberInput, SeriesInput, TextInput
from backtospec.check.power_path import current_state
from backtospec.check.settling import Settling, settlings
from backtospec.errors import BenchError
from backtospec.records import Channel, Reading
from backtospec.report.wording import amount
from backtospec.web.desk import Desk, desk_of
from backtospec.web.fields import (
    Field,
    Sent,
    blank_fields,
    given_of,
    homeless,
    leading_choices,
    sent_fields,
)
from backtospec.web.forms import new_token, sent_by
from backtospec.web.frames import Frame, frame_of, visit_named
from backtospec.web.rendering import go, page
from backtospec.web.results import shown_of

router = APIRouter()

_MOST_AGO_S = 12 * 3600.0


@dataclass(frozen=True, slots=True)
class Course:
    """One series as it is watched.

    Parameters
    ----------
    item
        The input.
    last
        The last reading in words, with its minutes; empty before the first.
    trend, end
        How it moves, and where it ends and when; empty where that cannot be told.
    settled
        Whether it may be believed to have arrived.
    """

    item: SeriesInput
    last: str
    minutes: str
    trend: str
    end: str
    settled: bool
    rows: tuple[tuple[str, str], ...]


@router.get("/jobs/{job_id}/checks/{check_id}/watch")
def ask(request: Request, job_id: str, check_id: str, visit: str = "") -> Response:
    """Ask what must be known before the first reading."""
    check = catalogue.check_of(check_id)
    frame = frame_of(desk_of(request), job_id, visit_named(visit), check.stage)
    return _ask(request, frame, check, None, None)


@router.post("/jobs/{job_id}/checks/{check_id}/watch")
async def begin(request: Request, job_id: str, check_id: str, visit: str = "") -> Response:
    """Begin a watch with its first reading."""
    sent, desk = await sent_by(request), desk_of(request)
    check = catalogue.check_of(check_id)
    frame = await asyncio.to_thread(frame_of, desk, job_id, visit_named(visit), check.stage)
    try:
        judged = await asyncio.to_thread(_begin, desk, frame, check, sent)
    except BenchError as error:
        return await asyncio.to_thread(_ask, request, frame, check, sent, error)
    following = _next_key(check, sent.text("series"))
    return go(f"{frame.base}/watches/{judged.sitting.id}?key={following}")


def _begin(desk: Desk, frame: Frame, check: Check, sent: Sent) -> JudgedSitting:
    bench = desk.bench
    item = _series_named(check, sent.text("series"))
    state = current_state(bench.power_steps(frame.job_id))
    if state is None:
        raise BenchError(
            "nobody has said yet how the amplifier is powered.",
            "power state",
            "Say it on the strip at the top of the page.",
        )
    meter = next((m for m in bench.meters() if m.name == sent.text("meter")), None)
    given = given_of(check, sent, bench, frame.standing.spec, meter, state)
    text = _point(item, sent.text("minutes"), sent.text("reading"))
    texts = {k: v for k, v in given.texts.items() if k in {i.key for i in _known_before(check)}}
    full = type(given)({**texts, item.key: text}, {}, {}, given.spec, meter, state)
    return bench.record(
        frame.job_id, check, full, frame.visit, sent.text("note").strip(), "", sent.token
    )


@router.get("/jobs/{job_id}/watches/{sitting_id}")
def show(request: Request, job_id: str, sitting_id: str, key: str = "") -> Response:
    """Show a watch."""
    return _page(request, job_id, sitting_id, key, {}, None)


@router.post("/jobs/{job_id}/watches/{sitting_id}")
async def read_on(request: Request, job_id: str, sitting_id: str) -> Response:
    """Keep the next reading, or where a trimmer stands."""
    sent, desk = await sent_by(request), desk_of(request)
    here = f"/jobs/{job_id}/watches/{sitting_id}"
    try:
        following = await asyncio.to_thread(_read_on, desk, sitting_id, sent)
    except BenchError as error:
        return await asyncio.to_thread(
            _page, request, job_id, sitting_id, sent.text("series"), dict(sent.values), error
        )
    return go(f"{here}?key={following}")


def _read_on(desk: Desk, sitting_id: str, sent: Sent) -> str:
    judged = desk.bench.sitting(sitting_id)
    check = catalogue.check_of(judged.sitting.check_id or "")
    if sent.text("answer_key"):
        desk.bench.read_on(sitting_id, sent.text("answer_key"), sent.text("answer"), sent.token)
        return sent.text("series")
    item = _series_named(check, sent.text("series"))
    ago = _ago_s(sent.text("ago"))
    minutes = _minutes(check, judged, datetime.now(UTC) - timedelta(seconds=ago))
    text = _point(item, f"{minutes:.2f}", sent.text("reading"))
    desk.bench.read_on(sitting_id, item.key, text, sent.token)
    return _next_key(check, item.key)


def _ago_s(text: str) -> float:
    """Return how long ago a reading was typed that could not be sent at once."""
    try:
        return min(_MOST_AGO_S, max(0.0, float(text)))
    except ValueError:
        return 0.0


def _point(item: SeriesInput, minutes: str, reading: str) -> str:
    if not reading.strip():
        raise BenchError(
            "nothing was typed.", item.key, f"Type the reading, such as 9.6 {item.unit}."
        )
    return f"{minutes.strip().removesuffix('min').strip() or '0'} min {reading.strip()}"


def _minutes(check: Check, judged: JudgedSitting, now: datetime) -> float:
    """Return minutes since power-on at a moment, by the first reading of the watch."""
    keys = {item.key for item in _series_of(check)}
    first = next((r for r in judged.readings if r.key in keys), None)
    if first is None:
        raise BenchError("has no reading yet.", judged.sitting.id, "Begin the watch anew.")
    began = float(first.text.split(" min ")[0].replace(",", "."))
    return began + max(0.0, (now - first.taken_at).total_seconds() / 60)


def _series_of(check: Check) -> tuple[SeriesInput, ...]:
    return tuple(i for i in check.inputs if isinstance(i, SeriesInput))


def _series_named(check: Check, key: str) -> SeriesInput:
    found = next((i for i in _series_of(check) if i.key == key), None)
    if found is None:
        raise BenchError(f"{check.title} is not read over time there.", key, "Choose a channel.")
    return found


def _next_key(check: Check, key: str) -> str:
    """Return what is read next: left, right, left again."""
    named = _series_named(check, key)
    keys = [i.key for i in _series_of(check) if i.unit == named.unit]
    return keys[(keys.index(key) + 1) % len(keys)]


def _known_before(check: Check) -> tuple[ChoiceInput | NumberInput | TextInput, ...]:
    """Return the inputs that are known before anything is read."""
    return tuple(
        i
        for i in check.inputs
        if isinstance(i, ChoiceInput | TextInput)
        or (isinstance(i, NumberInput) and not i.by_meter and i.key != "minutes_since_on")
    )


def _ask(
    request: Request, frame: Frame, check: Check, sent: Sent | None, error: BenchError | None
) -> Response:
    desk = desk_of(request)
    latest = frame.standing.latest(check.id, frame.visit)
    before = {r.key: r.text for r in latest.readings} if latest else {}
    fields = sent_fields(check, sent, error) if sent else blank_fields(check, before)
    keys = {item.key for item in _known_before(check)}
    mine: list[Field] = [f for f in fields if f.item.key in keys]
    leading = leading_choices(check.inputs)
    first = [f for f in mine if f.item.required or f.item in leading]
    on_min = frame.power.clocks.on_min
    return page(
        request,
        "watch_begin",
        422 if error else 200,
        frame=frame,
        check=check,
        needed=first,
        others=[f for f in mine if f not in first],
        series=_series_of(check),
        typed=dict(sent.values) if sent else {"minutes": f"{on_min:.0f}" if on_min else "0"},
        token=sent.text("token") if sent else new_token(),
        meters=desk.bench.meters(),
        faults=error.faults if error else (),
        homeless=homeless(check, error),
        accepted=frame.power.state in check.power_states,
    )


def _page(
    request: Request,
    job_id: str,
    sitting_id: str,
    key: str,
    typed: dict[str, str],
    error: BenchError | None,
) -> Response:
    desk = desk_of(request)
    judged = desk.bench.sitting(sitting_id)
    check = catalogue.check_of(judged.sitting.check_id or "")
    frame = frame_of(desk, job_id, judged.sitting.visit, check.stage)
    items = _series_of(check)
    current = next((i for i in items if i.key == key), items[0])
    courses = courses_of(check, judged)
    answered = {r.key for r in judged.readings}
    trimmers = [
        i
        for i in check.inputs
        if isinstance(i, TextInput) and "trimmer" in i.key and i.key not in answered
    ]
    word = judged.conclusion.counsel.advice[0] if judged.conclusion else None
    return page(
        request,
        "watch",
        422 if error else 200,
        frame=frame,
        check=check,
        judged=judged,
        result=shown_of(judged),
        courses=courses,
        current=current,
        trimmers=trimmers,
        typed=typed,
        token=typed.get("token") or new_token(),
        faults=error.faults if error else (),
        say=_spoken(courses, judged),
        act=word.kind.value if word and word.kind.value != "WAIT" else "",
        minutes=_minutes(check, judged, datetime.now(UTC)),
    )


def courses_of(check: Check, judged: JudgedSitting) -> tuple[Course, ...]:
    """Return every series of a check as it is watched."""
    if judged.conclusion is None:
        return ()
    items = [i for i in _series_of(check) if i.unit in ("V", "mV", "µV")]
    found = settlings(
        judged.conclusion.answers,
        {i.key: i.key for i in items},
        {i.key: i.channel or Channel.MONO for i in items},
    )
    by_key = {one.key: one for one in found}
    courses = []
    for item in _series_of(check):
        rows = [_row(r) for r in judged.readings if r.key == item.key and not r.file_sha256]
        points = tuple(p for row in rows for p in row)
        minutes, last = points[-1] if points else ("", "")
        if last[-1:].isdigit():
            last = f"{last} {item.unit}"
        one = by_key.get(item.key)
        trend, end, settled = _told(one, judged) if one else ("", "", False)
        courses.append(Course(item, last, minutes, trend, end, settled, points))
    return tuple(courses)


def _row(reading: Reading) -> list[tuple[str, str]]:
    found = []
    for part in reading.text.replace("\n", ";").split(";"):
        minutes, mark, value = part.strip().partition(" min ")
        if mark:
            found.append((minutes, value.strip()))
    return found


def _told(one: Settling, judged: JudgedSitting) -> tuple[str, str, bool]:
    """Return trend, end and whether it has settled, in words."""
    warm = one.warm_up
    slope = warm.slope_v_per_min
    trend = ""
    if slope is not None:
        quiet = abs(slope) * 10 < max(3e-4, 0.02 * abs(one.series.readings()[-1][1]))
        way = "rising" if slope > 0 else "falling"
        trend = "steady" if quiet else f"{way} {amount(abs(slope), 'V', 2)} a minute"
    low, high, settled = warm.settled_low_v, warm.settled_high_v, one.end is not None
    if warm.settled_v is None or low is None or high is None:
        return trend, "", settled
    end = f"ends near {amount(warm.settled_v, 'V')} ({amount(low, 'V')} to {amount(high, 'V')})"
    if settled:
        return trend, f"settled: {end}", True
    wait = warm.minutes_to_wait
    if wait:
        times = [r.taken_at for r in judged.readings if r.key == one.key]
        at = (max(times) + timedelta(minutes=wait)).astimezone()
        end += f", to be read again at {at:%H:%M}"
    return trend, end, False


def _spoken(courses: tuple[Course, ...], judged: JudgedSitting) -> str:
    """Return what is said aloud: value, trend, settled."""
    newest = max(
        (r for r in judged.readings if any(c.item.key == r.key for c in courses)),
        key=lambda r: r.taken_at,
        default=None,
    )
    said = []
    for course in courses:
        if newest is not None and course.item.key == newest.key:
            words = {Channel.LEFT: "left", Channel.RIGHT: "right"}
            said += [words.get(course.item.channel or Channel.MONO, ""), course.last, course.trend]
        if course.settled:
            said.append(f"{course.item.prompt.split(',')[0].lower()} settled")
    return ", ".join(word for word in said if word)

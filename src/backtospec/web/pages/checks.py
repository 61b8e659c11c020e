"""One check of a job, drawn from its declaration alone: form, result, evidence."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from backtospec import catalogue
from backtospec.bench.counsel import what_next
from backtospec.bench.jobs import JudgedSitting
from backtospec.check import CaptureInput, Check, SeriesInput
from backtospec.check.power_path import current_state
from backtospec.errors import BenchError
from backtospec.records import Meter, Visit
from backtospec.web.desk import Desk, bench_of, desk_of
from backtospec.web.fields import (
    Sent,
    blank_fields,
    echo_of,
    given_of,
    groups_of,
    homeless,
    sent_fields,
)
from backtospec.web.forms import new_token, sent_by
from backtospec.web.frames import Frame, frame_of, visit_named
from backtospec.web.rendering import go, page
from backtospec.web.results import Shown, shown_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Form:
    """What the form around the fields knows.

    Parameters
    ----------
    meters, meter
        Those known by name, and the one in use.
    typed
        What was typed beside the fields: note, name of the person.
    """

    meters: tuple[Meter, ...]
    meter: str
    typed: Mapping[str, str]
    token: str


@router.get("/jobs/{job_id}/checks/{check_id}")
def show(
    request: Request,
    job_id: str,
    check_id: str,
    visit: str = "",
    sitting: str = "",
    work: str = "",
) -> Response:
    """Show a check: what was read last, and the form to read it (again)."""
    desk, check = desk_of(request), catalogue.check_of(check_id)
    frame = frame_of(desk, job_id, visit_named(visit), check.stage)
    failed = desk.works.find(work) if work else None
    if failed is not None and failed.done and failed.sent is not None:
        error = failed.future.exception()
        if isinstance(error, BenchError):
            return _page(request, frame, check, failed.sent, error, 200)
    chosen = desk.bench.sitting(sitting) if sitting else None
    return _page(request, frame, check, None, None, 200, chosen)


@router.post("/jobs/{job_id}/checks/{check_id}")
async def keep(request: Request, job_id: str, check_id: str, visit: str = "") -> Response:
    """Keep what was read, and show what follows; a recording is analysed in the background."""
    sent = await sent_by(request)
    desk, check = desk_of(request), catalogue.check_of(check_id)
    chosen = visit_named(visit) or Visit.BEFORE
    back = f"/jobs/{job_id}/checks/{check_id}?visit={chosen}"

    def record() -> str:
        judged = _record(desk, job_id, check, sent, chosen)
        return f"{back}&sitting={judged.sitting.id}#result"

    if any(isinstance(i, CaptureInput) and sent.file(i.key) for i in check.inputs):
        work = desk.works.begin(job_id, f"{check.title}: analysing", back, record, sent)
        return go(f"/jobs/{job_id}/works/{work.id}")
    try:
        return go(await asyncio.to_thread(record))
    except BenchError as error:
        frame = await asyncio.to_thread(frame_of, desk, job_id, chosen, check.stage)
        return await asyncio.to_thread(_page, request, frame, check, sent, error, 422)


def _record(desk: Desk, job_id: str, check: Check, sent: Sent, visit: Visit) -> JudgedSitting:
    bench = desk.bench
    state = current_state(bench.power_steps(job_id))
    if state is None:
        raise BenchError(
            "nobody has said yet how the amplifier is powered.",
            "power state",
            "Say it on the strip at the top of the page.",
        )
    meter = next((m for m in bench.meters() if m.name == sent.text("meter")), None)
    given = given_of(check, sent, bench, bench.spec_of_job(job_id), meter, state)
    return bench.record(
        job_id,
        check,
        given,
        visit,
        sent.text("note").strip(),
        sent.text("taken_by").strip(),
        sent.token,
    )


@router.get("/echo/{check_id}/{key}")
def echo(request: Request, check_id: str, key: str, meter: str = "") -> Response:
    """Show how one field would be understood."""
    check = catalogue.check_of(check_id)
    item = next((i for i in check.inputs if i.key == key), None)
    if item is None:
        raise BenchError("There is no such field.", key, "Load the page anew.")
    known = next((m for m in bench_of(request).meters() if m.name == meter), None)
    text = request.query_params.get(key, "")
    return page(request, "echo", echo=echo_of(item, text, known), key=key)


def _page(
    request: Request,
    frame: Frame,
    check: Check,
    sent: Sent | None,
    error: BenchError | None,
    status: int,
    chosen: JudgedSitting | None = None,
) -> Response:
    standing = frame.standing
    mine = [
        j
        for j in standing.newest
        if j.sitting.check_id == check.id and j.sitting.visit is frame.visit
    ]
    latest = chosen or (mine[-1] if mine else None)
    before = {r.key: r.text for r in latest.readings} if latest else {}
    on_min = frame.power.clocks.on_min
    before["minutes_since_on"] = "" if on_min is None else f"{on_min:.0f} min"
    fields = sent_fields(check, sent, error) if sent else blank_fields(check, before)
    following = what_next(standing.view, standing.power, (check,))
    return page(
        request,
        "check",
        status,
        frame=frame,
        check=check,
        result=_shown(frame, latest),
        others=[
            (j, _part_of(j)) for j in mine if latest is None or j.sitting.id != latest.sitting.id
        ],
        groups=groups_of(fields),
        form=_form(frame, bench_of(request).meters(), sent),
        homeless=homeless(check, error),
        faults=error.faults if error else (),
        accepted=frame.power.state in check.power_states,
        way=following.path,
        wanted=following.state or check.power_states[0],
        cautions_known=_cautions_known(frame, check),
        unfit=check.unfit(standing.spec),
        watched=any(isinstance(i, SeriesInput) for i in check.inputs),
    )


def _shown(frame: Frame, judged: JudgedSitting | None) -> Shown | None:
    if judged is None:
        return None
    return shown_of(judged, frame.standing.faults.get(judged.sitting.id))


def _part_of(judged: JudgedSitting) -> str:
    return next((r.text for r in judged.readings if r.key == "designator"), "another")


def _form(frame: Frame, meters: tuple[Meter, ...], sent: Sent | None) -> Form:
    used = [r.meter.name for j in frame.standing.newest for r in j.readings if r.meter]
    names = [m.name for m in meters]
    usual = next((name for name in reversed(used) if name in names), names[0] if names else "")
    if sent is not None:
        return Form(meters, sent.text("meter"), sent.values, sent.text("token"))
    people = [j.sitting.taken_by for j in frame.standing.newest if j.sitting.taken_by]
    return Form(meters, usual, {"taken_by": people[-1] if people else "", "note": ""}, new_token())


def _cautions_known(frame: Frame, check: Check) -> bool:
    """Whether its cautions were read in full in this power state: something was kept in it."""
    power = frame.standing.power
    return bool(power) and any(
        j.sitting.check_id == check.id and j.sitting.taken_at >= power[-1].at
        for j in frame.standing.newest
    )

"""One job: what to do next, and the route of stages with what each has shown."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from backtospec import catalogue
from backtospec.bench.counsel import likely_causes, what_next
from backtospec.bench.jobs import JudgedSitting
from backtospec.check import Check, Stage
from backtospec.web.desk import bench_of, desk_of
from backtospec.web.forms import sent_by
from backtospec.web.frames import Frame, frame_of, visit_named
from backtospec.web.rendering import go, page
from backtospec.web.words import mark_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Row:
    """One check on the route with its newest sittings in a visit."""

    check: Check
    mark: str
    word: str
    sittings: tuple[JudgedSitting, ...]
    unfit: str


def rows_of(frame: Frame, stage: Stage) -> tuple[Row, ...]:
    """Return the checks of one stage."""
    rows = []
    for check in catalogue.all_checks():
        if check.stage is not stage:
            continue
        mine = tuple(
            j
            for j in frame.standing.newest
            if j.sitting.check_id == check.id and j.sitting.visit is frame.visit
        )
        mark, word = mark_of(j.conclusion for j in mine if j.conclusion is not None)
        rows.append(Row(check, mark, word, mine, check.unfit(frame.standing.spec)))
    return tuple(rows)


@router.get("/jobs/{job_id}")
def show(request: Request, job_id: str, visit: str = "") -> Response:
    """Show one job."""
    desk = desk_of(request)
    standing = desk.bench.standing(job_id)
    following = what_next(standing.view, standing.power)
    here = following.check.stage if following.check else None
    frame = frame_of(desk, job_id, visit_named(visit), here)
    return page(
        request,
        "job",
        frame=frame,
        standing=standing,
        route=[(stop, rows_of(frame, stop.stage)) for stop in frame.dial],
        following=following,
        causes=[c for c in likely_causes(standing.view) if c.weight > 0][:5],
        loose=desk.bench.loose_readings(),
    )


@router.post("/jobs/{job_id}/parts")
async def replace_part(request: Request, job_id: str) -> Response:
    """Keep that a part was replaced."""
    sent = await sent_by(request)
    names = ("designator", "old", "new", "reason")
    designator, old, new, reason = (sent.text(name).strip() for name in names)
    if designator:
        bench_of(request).replace_part(job_id, designator, old, new, reason)
    return go(f"/jobs/{job_id}#parts")
